# Français. Chaque message a .title (une ligne, jamais de valeur : elle peut apparaître sur un écran verrouillé),
# .what (ce qui s'est passé, complet dans les 150 premiers caractères) et, là où quelqu'un peut agir, .do.

## Valeurs

decimal-sign = ,
below-range = sous la plage
above-range = au-dessus de la plage
rate-per-minute = { $rate } { $unit } par minute
rate-per-hour = { $rate } { $unit } par heure
trend-falling-fast = en forte baisse, { $rate }
trend-falling = en baisse, { $rate }
trend-falling-a-little = en légère baisse
trend-steady = stable
trend-rising = en hausse, { $rate }
trend-rising-fast = en forte hausse, { $rate }
time-tomorrow = { $clock } demain
time-yesterday = { $clock } hier
time-date = { $clock } le { $weekday } { $day ->
    [one] { $day }er
   *[other] { $day }
} { $month }
time-date-year = { $clock } le { $day ->
    [one] { $day }er
   *[other] { $day }
} { $month } { $year }
span-minutes = { $count ->
    [one] { $count } minute
   *[other] { $count } minutes
}
span-hours = { $count ->
    [one] { $count } heure
   *[other] { $count } heures
}
span-hours-minutes = { $hours } h { $minutes } min
span-days = { $count ->
    [one] { $count } jour
   *[other] { $count } jours
}
chance-under-one = moins de 1 sur 10
chance-tenths = environ { $tenths } sur 10
chance-over-nine = plus de 9 sur 10
mon = lun.
tue = mar.
wed = mer.
thu = jeu.
fri = ven.
sat = sam.
sun = dim.
month-1 = janvier
month-2 = février
month-3 = mars
month-4 = avril
month-5 = mai
month-6 = juin
month-7 = juillet
month-8 = août
month-9 = septembre
month-10 = octobre
month-11 = novembre
month-12 = décembre
notice = information
warning = avertissement
critical = critique

## Autour d'un message

again = { $title } (toujours)
escalated = { $title } (pas encore de réponse)
returned = { $title } (répondu, mais toujours là)
worse = { $title } (pire)
unanswered = Personne n'a répondu depuis { $time }.
private-text = Les détails ne figurent pas sur cet écran : voyez-les à la maison avec « lowtide status ».
channel-ntfy = Notification
channel-email = Courriel
line-since = Depuis { $time }.
line-basis = Dernière mesure : { $value } à { $time }, vieille de { $age } au moment d'écrire.
line-look-again = Réexaminé au plus tard à { $time }.
caution = Un rappel, pas un dispositif médical. Les capteurs ne sont pas homologués pour les chats : vérifiez une valeur basse avec un lecteur et suivez le plan de votre vétérinaire.
button-taken = Je m'en occupe
button-later = Dans 30 min
button-sensor-fine = Le capteur va bien
button-given = Dose donnée
button-not-given = Finalement pas donnée
button-given-too = J'ai injecté aussi
button-meter-low = Lecteur : sous { $level }
button-meter-fine = Lecteur : { $level } ou plus

taken =
    .title = { $person } s'en occupe : { $cat }
    .what = { $person } s'en occupe depuis { $time } : « { $matter } ».
    .do = Vous n'avez rien à faire, sauf si { $person } vous le demande.

answer-ways = Pour répondre : { $list }.
way-button = un bouton de la notification
way-mqtt = un message à { $topic } par MQTT
way-command = « lowtide log answer { $verdict } --person { $person } » sur l'ordinateur de Lowtide
no-longer =
    .what = Ce n'est plus le cas : « { $matter } ».

summary =
    .title = Pendant que les messages ne passaient pas
    .what = { $count ->
        [one] { $count } message n'a pas pu être envoyé
       *[other] { $count } messages n'ont pas pu être envoyés
    } à temps. Le dernier, à { $time } : « { $last } ».
    .do = Rien d'autre n'attend. Ce qui est encore vrai est dit à part.

test =
    .title = Un message d'essai : Lowtide
    .what = Voici comment arrivent les messages pour { $person }. Les heures sont à votre montre ({ $time }), les valeurs comme { $level }.
    .do = Rien à faire. Si votre téléphone est resté muet, voyez ses réglages pour cette application.

test-loud =
    .title = Un simple essai de l'alarme : Lowtide
    .what = Tout va bien : ceci montre seulement à { $person } comment arrive un message critique, la nuit aussi.
    .do = Si le téléphone est resté muet, laissez passer la priorité la plus haute de cette application en mode « ne pas déranger ».

## La fenêtre de scan

window-closing =
    .title = Scannez avant { $closes } : { $cat }
    .what = Le capteur garde tout depuis { $newest }. À partir de { $closes }, les mesures les plus anciennes sont perdues.
    .do = Merci de scanner { $cat } avant { $closes }.

window-bedtime =
    .title = Scannez avant la nuit : { $cat }
    .what = Le capteur commence à oublier à { $closes }, pendant la nuit. Un scan à { $bedtime } tient jusqu'à { $holds }.
    .do = Merci de scanner { $cat } le plus tard possible ce soir. { $scans }

window-bedtime-loss =
    .title = Scannez avant la nuit : { $cat }
    .what = La nuit est plus longue que la mémoire du capteur : scans à { $bedtime } et { $morning }, perte de { $lost_from } à { $lost_until }.
    .do = Merci de scanner { $cat } le plus tard possible ce soir et le plus tôt possible demain. { $scans }

window-closed =
    .title = Des mesures se perdent : { $cat }
    .what = Pas de scan depuis { $newest }. Depuis { $closed }, une mesure se perd toutes les { $sample } ; { $lost ->
        [one] { $lost } perdue
       *[other] { $lost } perdues
    } jusqu'ici.
    .do = Merci de scanner { $cat } maintenant.

window-gap =
    .title = Scanné, avec un trou : { $cat }
    .what = Entre { $from } et { $until }, { $lost ->
        [one] { $lost } mesure manque
       *[other] { $lost } mesures manquent
    } pour de bon.

## Où en est le sang : un nombre seulement là où le capteur en montre un

where = { $seen ->
    [below] À { $time }, le capteur était sous ce qu'il sait lire (moins de { $floor })
    [above] À { $time }, le capteur était au-dessus de ce qu'il sait lire (plus de { $ceiling })
    [odd] À { $time }, le capteur indiquait { $value }, loin de ce qui précédait
    [stuck] Jusqu'à { $time }, le capteur montrait toujours { $value }
   *[about] Sang environ { $blood } à { $time }, { $trend }
}
where-read = { $seen ->
    [below] { where }
    [above] { where }
    [odd] { where }
    [stuck] { where }
   *[about] { where } ; le capteur indiquait { $value }
}
where-still = { $seen ->
    [below] Le capteur était sous { $floor } à { $time }
    [above] Le capteur était au-dessus de { $ceiling } à { $time }
    [odd] Le capteur indiquait { $value } à { $time }
    [stuck] { where }
   *[about] Sang environ { $blood } à { $time }
}
where-by-sensor = { $seen ->
    [below] { where-still }
    [above] { where-still }
    [odd] { where-still }
    [stuck] { where }
   *[about] Selon le capteur, sang environ { $blood } à { $time }
}
where-scanned = { $seen ->
    [below] { where }
    [above] { where }
    [odd] { where }
    [stuck] { where }
   *[about] Scan à { $time } : sang environ { $blood }, { $trend }
}
where-then = { $seen ->
    [below] puis sous les { $floor } du capteur
    [above] puis au-dessus des { $ceiling } du capteur
    [odd] puis { $value } selon le capteur
    [stuck] puis { $value } selon le capteur
   *[about] puis environ { $blood }
}
where-last = { $seen ->
    [below] { $value } à { $time }
    [above] { $value } à { $time }
    [odd] { $value } à { $time }
    [stuck] { $value } à { $time }
   *[about] { $value } à { $time }, { $trend }
}

## Glycémie basse

low-now =
    .title = Glycémie basse : { $cat }
    .what = { where-read }. Bas : sous { $low }.
    .do = { $plan } { $meter } { $sensor }

low-now-again =
    .title = De nouveau bas : { $cat }
    .what = { where-read }. Bas : sous { $low }, et cela revient.
    .do = { $plan } { $meter } { $sensor }

low-now-near =
    .title = Encore presque bas : { $cat }
    .what = { where-read }. Bas : sous { $low } ; c'est encore proche.
    .do = Gardez un œil sur { $cat }.

low-now-danger =
    .title = Dangereusement bas : { $cat }
    .what = Agissez maintenant. { where-read }.
    .do = { $plan } { $meter } { $sensor }

low-now-below-range =
    .title = Dangereusement bas : { $cat }
    .what = Agissez maintenant. { where }. On ne sait pas à quel point c'est bas.
    .do = { $plan } { $meter } { $sensor }

low-now-meter =
    .title = Bas selon le lecteur : { $cat }
    .what = Agissez maintenant. À { $check_time }, le lecteur indiquait { $check }, sous les { $meter_low } du plan.
    .do = { $plan }

low-now-meter-above =
    .title = Capteur bas, lecteur non : { $cat }
    .what = { where-by-sensor }, mais le lecteur indiquait { $check } à { $check_time }. Le lecteur compte pour l'instant.
    .do = Surveillez { $cat } et mesurez encore dans 20 minutes. Si { $cat } semble mal, agissez d'abord.

low-now-meter-said =
    .title = Bas selon le lecteur : { $cat }
    .what = Agissez maintenant. À { $check_time }, { $by } a mesuré moins que les { $meter_low } du plan avec le lecteur.
    .do = { $plan }

low-now-meter-above-said =
    .title = Capteur bas, lecteur non : { $cat }
    .what = { where-by-sensor }, mais { $by } a mesuré { $meter_low } ou plus à { $check_time }. Le lecteur compte pour l'instant.
    .do = Surveillez { $cat } et mesurez encore dans 20 minutes. Si { $cat } semble mal, agissez d'abord.

low-now-old =
    .title = C'était bas, rien de neuf : { $cat }
    .what = La dernière mesure a { $age } : { where-last }. On ne sait pas où en est la glycémie.
    .do = Scannez { $cat } maintenant et allez voir le chat. { $plan }

low-now-old-meter =
    .title = C'était bas, rien de neuf : { $cat }
    .what = { $checked } Il n'y a pas de mesure plus récente. On ne sait pas où en est la glycémie.
    .do = Scannez { $cat } maintenant ou mesurez encore, et allez voir le chat. { $plan }

low-now-meter-stands =
    .title = Lecteur bas, capteur non : { $cat }
    .what = { $checked } Le capteur indiquait { $value } à { $time } : cela ne tranche pas.
    .do = Mesurez encore avec le lecteur, et allez voir le chat. { $plan }

meter-showed = À { $check_time }, le lecteur indiquait { $check }.
meter-said-low = À { $check_time }, { $by } a mesuré moins de { $meter_low } avec le lecteur.
meter-said-not-low = À { $check_time }, { $by } a mesuré { $meter_low } ou plus avec le lecteur.

low-over =
    .title = Ce n'est plus bas : { $cat }
    .what = { where }.

low-eases =
    .title = Encore bas, moins grave : { $cat }
    .what = { where-read }. Dangereux : sous { $danger }, bas : sous { $low }.
    .do = Ce n'est pas fini : surveillez { $cat } et suivez le plan de votre vétérinaire.

low-over-undone =
    .title = Mesure basse retirée : { $cat }
    .what = La mesure qui montrait une valeur basse a été retirée. { where }.

low-over-undone-unseen =
    .title = Mesure basse retirée : { $cat }
    .what = La mesure qui montrait une valeur basse a été retirée. Il n'y a pas de mesure du capteur.

low-over-unknown =
    .title = Bas, puis plus de nouvelles : { $cat }
    .what = Pas de mesure depuis { $age } ; la dernière était { $value } à { $time }.
    .do = Allez voir le chat, et scannez ou mesurez avec un lecteur.

low-over-late =
    .title = C'était remonté ensuite : { $cat }
    .what = La dernière mesure a { $age } : { where-last }. On ne sait pas où en est la glycémie.
    .do = Allez voir { $cat }, et scannez ou mesurez avec un lecteur.

low-over-meter =
    .title = Bas, puis plus de nouvelles : { $cat }
    .what = { $checked } Rien de plus récent n'est venu depuis.
    .do = Allez voir le chat, et scannez ou mesurez encore.

low-over-meter-stands =
    .title = Encore bas ? On ne sait pas : { $cat }
    .what = { $checked } Pas de contrôle depuis, et le capteur ne tranche pas.
    .do = Allez voir le chat, et mesurez encore avec le lecteur.

low-ahead =
    .title = Valeur basse à craindre : { $cat }
    .what = { where }. Sous { $low } d'ici { $end } : { $chance }, { $crossing }.
    .do = { $rescan } Gardez à manger et un lecteur sous la main. { $plan } { $sensor }

low-ahead-danger =
    .title = Valeur très basse à craindre : { $cat }
    .what = { where }. Sous { $danger } d'ici { $end } : { $chance }, { $crossing }.
    .do = Allez voir { $cat } maintenant, mesurez avec un lecteur si vous pouvez. { $plan } { $sensor }

crossing-now = peut-être déjà
crossing-around = vers { $by }

low-ahead-over =
    .title = Valeur basse moins à craindre : { $cat }
    .what = { where }. Sous { $low } d'ici { $end } : { $chance }.

low-ahead-unknown =
    .title = Alerte, puis plus de nouvelles : { $cat }
    .what = La dernière mesure a { $age } : { where-last }. On ne sait pas où en est la glycémie.
    .do = Allez voir { $cat }, et scannez ou mesurez avec un lecteur.

scan-again =
    .title = Scannez encore une fois : { $cat }
    .what = { where-scanned }. Passé sous { $low } depuis, sans être vu : { $chance }.
    .do = Merci de scanner { $cat } maintenant.

falling-fast =
    .title = La glycémie baisse vite : { $cat }
    .what = { where }.
    .do = { $rescan } Gardez un œil sur { $cat }.

low-found-later =
    .title = Il y a eu une valeur basse : { $cat }
    .what = Sous { $low } de { $from } à { $until }, au plus bas { $nadir } à { $nadir_time }. Remontée ensuite.
    .do = { $also } Parlez-en à votre vétérinaire au prochain contact, plus tôt si cela se reproduit.

low-found-later-open =
    .title = Il y a eu une valeur basse : { $cat }
    .what = Sous { $low } de { $from } à { $until }, au plus bas { $nadir } à { $nadir_time }. Suite inconnue.
    .do = { $also } Allez voir { $cat } et scannez encore maintenant, ou mesurez avec un lecteur.

low-found-later-now =
    .title = C'était plus bas avant : { $cat }
    .what = Sous { $low } de { $from } à { $until }, au plus bas { $nadir } à { $nadir_time }, reçu en retard. C'est encore bas.
    .do = { $also } Allez voir { $cat } maintenant, et dites à votre vétérinaire jusqu'où c'est descendu.

low-found-also = { $count ->
    [one] Il y a eu une autre valeur basse, de { $from } à { $until }, au plus bas { $nadir }.
   *[other] Il y a eu { $count } autres valeurs basses, la plus basse de { $from } à { $until } : { $nadir }.
}

rescan-at = Merci de scanner encore à { $time }.
rescan-none = { "" }
scans-after = Les scans suivants : { $times }.
nothing = { "" }
plan-low = Plan de votre vétérinaire : « { $plan } »
plan-low-phone = Plan de votre vétérinaire : « { $plan } » Téléphone : { $phone }.
plan-none = Faites ce que votre vétérinaire a dit pour une valeur basse ; sans consigne écrite, appelez-le.
plan-none-phone = Faites ce que votre vétérinaire a dit pour une valeur basse ; sans consigne écrite, appelez-le : { $phone }.
vet-numbers = { $number }, si c'est fermé { $closed }
vet-number-closed = si c'est fermé { $closed }
ask-meter = Si vous pouvez, mesurez avec un lecteur.
no-meter = { "" }
sensor-first-day = Capteur neuf, premier jour : il peut se tromper.
sensor-dip = C'est peut-être le capteur : { $cat } est peut-être couché dessus. Allez voir { $cat }.
sensor-jump = C'est peut-être le capteur : il a sauté. Allez voir { $cat }.
sensor-stuck = C'est peut-être le capteur : il montre toujours la même valeur.
sensor-noisy = C'est peut-être le capteur : il varie bien plus que d'habitude.
sensor-settled = { "" }

## Glycémie haute

high-long =
    .title = Haut depuis longtemps : { $cat }
    .what = Jusqu'à { $time }, au-dessus de { $high } pendant { $span }, { where-then }. Aucune dose notée depuis { $last_dose }.
    .do = Une dose a-t-elle été oubliée ou pas notée ? Si { $cat } va mal, appelez votre vétérinaire.

high-long-dosed =
    .title = Haut depuis longtemps : { $cat }
    .what = Jusqu'à { $time }, au-dessus de { $high } pendant { $span }, { where-then }.
    .do = Dites-le à votre vétérinaire. Si { $cat } ne mange pas, vomit ou est abattu, appelez maintenant.

## Le capteur

sensor-silent =
    .title = Le capteur s'est tu : { $cat }
    .what = Aucune mesure depuis { $newest } ({ $age }), alors que la passerelle est connectée : le capteur lui-même semble arrêté.
    .do = { $wear } Regardez s'il est encore sur { $cat }. { $spares }

sensor-silent-bridge =
    .title = Aucune mesure n'arrive : { $cat }
    .what = Aucune mesure depuis { $newest } ({ $age }), et rien ne dit que la passerelle est connectée : ce n'est peut-être pas le capteur.
    .do = Vérifiez la passerelle : courant, réseau, distance jusqu'à { $cat }. { $save } { $wear }

sensor-silent-scan =
    .title = Le scan n'a rien apporté : { $cat }
    .what = Scanné à { $scanned }, mais la dernière mesure date de { $newest } : le capteur semble arrêté.
    .do = Scannez encore dans 15 minutes. Si rien de plus récent ne vient, il est fini. { $wear } { $spares }

sensor-silent-error =
    .title = Le capteur signale une erreur : { $cat }
    .what = Depuis { $time }, le capteur signale une erreur et ne donne plus de mesures. La dernière date de { $newest }.
    .do = { $save } { $wear } { $spares }

sensor-silent-unread =
    .title = Dernière valeur illisible : { $cat }
    .what = À { $time }, le capteur affichait « { $shown } » et aucune valeur. La dernière valeur date de { $newest }.
    .do = Voyez comment va { $cat } et regardez le capteur. { $save } { $wear } { $spares }

sensor-silent-ended =
    .title = Capteur arrêté trop tôt : { $cat }
    .what = Le capteur { $how } à { $time }. Plus rien ne surveille la glycémie de { $cat } jusqu'au prochain.
    .do = { $wear } { $spares }

sensor-ended =
    .title = Capteur arrivé à sa fin : { $cat }
    .what = Le capteur est arrivé à sa fin à { $time }. Rien ne surveille la glycémie de { $cat } jusqu'au prochain.
    .do = { $spares }

sensor-silent-over =
    .title = Les mesures sont de retour : { $cat }
    .what = La dernière : { $value } à { $time }.

wear-day = Jour { $day } sur { $days }.
wear-unknown = La date de pose n'est pas notée.
spares-some = { $count ->
    [one] { $count } capteur de réserve est là.
   *[other] { $count } capteurs de réserve sont là.
}
spares-none = Il n'y a pas de réserve : commandez-en un, et servez-vous du lecteur d'ici là.
spares-unknown = { "" }
save-scan = Un scan maintenant peut encore sauver les dernières { $memory }.
save-none = { "" }
how-failed = a cessé de mesurer
how-came-off = s'est décollé
how-removed = a été retiré
how-expired = est arrivé à son terme

sensor-suspect =
    .title = Des mesures semblent fausses : { $cat }
    .what = { $how } depuis { $since } ; la dernière, { $value } à { $time }.
    .do = Regardez si { $cat } est couché sur le capteur ou s'il s'est décollé. Mesurez avec un lecteur avant de vous y fier.
suspect-stuck = Le capteur montre toujours la même valeur
suspect-jump = Le capteur saute plus vite que la glycémie ne le peut
suspect-noisy = Le capteur tremble bien plus que d'habitude
suspect-dip = Un creux bref et profond, comme quand un chat est couché sur le capteur,

sensor-not-started =
    .title = Le nouveau capteur est muet : { $cat }
    .what = Posé à { $applied } ; la première mesure était attendue pour { $due }.
    .do = Vérifiez qu'il a été démarré et qu'il tient bien. { $spares }

sensor-ending =
    .title = Fin proche du capteur : { $cat }
    .what = Il se termine à { $ends }.
    .do = { $spares } Prévoyez le changement quand vous êtes à la maison.

spares-low =
    .title = Peu de capteurs en réserve : { $cat }
    .what = { $count ->
        [0] Il ne reste aucun capteur neuf.
        [one] Il reste { $count } capteur neuf.
       *[other] Il reste { $count } capteurs neufs.
    }
    .do = Commandez les suivants.

## Doses

dose-twice =
    .title = Deux doses notées : { $cat }
    .what = Une deuxième dose est notée à { $second }{ $by }, { $between } après celle de { $first }. Il faudrait au moins { $apart } entre les deux.
    .do = Cherchez à savoir si les deux ont été données. Si oui, appelez maintenant votre vétérinaire{ $phone } et surveillez { $cat } de près. Ne donnez plus aucune dose avant de lui avoir parlé.

dose-twice-maybe =
    .title = Une dose ou deux : { $cat }
    .what = Une dose est notée à { $first }{ $by_first } et une à { $second }{ $by }. C'est peut-être la même, notée deux fois.
    .do = Éclaircissez-le maintenant. Si deux ont été données, appelez tout de suite votre vétérinaire{ $phone } et surveillez { $cat } de près. Si c'en était une, retirez une note (lowtide log dose --at HEURE --not-given) et ne notez les doses qu'à un seul endroit.

dose-due =
    .title = Dose à donner : { $cat }
    .what = La dose de { $time } est due et pas notée. { $state }
    .do = Notez-la en la donnant : si quelqu'un l'a déjà fait, vous le saurez aussitôt.

dose-due-hold =
    .title = Vétérinaire avant la dose : { $cat }
    .what = La dose de { $time } est due et pas notée. { $state }
    .do = { $line }

dose-stop =
    .title = N'injectez pas encore : { $cat }
    .what = La dose de { $due } n'est pas encore notée. { $state }
    .do = { $line } Si elle est déjà donnée, notez-la et dites-le à votre vétérinaire.

dose-late =
    .title = Dose pas encore notée : { $cat }
    .what = La dose de { $time } n'est pas notée. { $state }
    .do = Si elle a été donnée, notez-la. Sinon, ne la donnez ni en retard ni en double sans l'accord de votre vétérinaire.

dose-given =
    .title = La dose est donnée : { $cat }
    .what = { $person } l'a donnée à { $time }.

dose-noted =
    .title = Dose notée : { $cat }
    .what = Votre dose de { $time } est notée.

dose-already =
    .title = La dose est déjà donnée : { $cat }
    .what = { $person } l'a donnée à { $time }. Ne la donnez pas une deuxième fois.
    .do = Si vous avez injecté aussi, appelez votre vétérinaire et notez cette dose aussi.

dose-already-you =
    .title = La dose est déjà donnée : { $cat }
    .what = Vous l'avez donnée vous-même à { $time }. Rien d'autre n'a été noté.
    .do = Si vous avez injecté une deuxième fois, appelez votre vétérinaire et notez cette dose aussi.

dose-recent =
    .title = Dernière dose il y a peu : { $cat }
    .what = Une dose est notée à { $time }, il y a moins de { $apart }. Rien d'autre n'a été noté.
    .do = Si vous n'avez pas injecté, demandez d'abord à votre vétérinaire. Si vous avez injecté, appelez-le et notez cette dose aussi.

dose-undone =
    .title = Dose retirée : { $cat }
    .what = Votre dose de { $time } compte comme non donnée.

dose-stale =
    .title = Rien n'a été noté : { $cat }
    .what = Ce bouton est celui d'une dose passée ; on ne sait pas laquelle vous voulez dire.
    .do = Utilisez le bouton du message le plus récent, ou notez la dose avec son heure à la maison.

hand-over =
    .title = { $person } prend le relais : { $cat }
    .what = { $until } { $doses } { $scan } { $state }
    .do = { $plan }

hand-over-you =
    .title = Vous prenez le relais : { $cat }
    .what = { $until } { $doses } { $scan } { $state }
    .do = { $plan }

hand-over-open = Jusqu'à nouvel ordre.
hand-over-until = Jusqu'à { $time }.
hand-over-doses = Dernière dose { $last }, prochaine { $next }.
hand-over-doses-open = Dernière dose { $last } ; celle de { $due } n'est pas notée.
hand-over-open-dose = La dose de { $due } n'est pas notée.
hand-over-last = Dernière dose { $last }.
hand-over-next = Prochaine dose { $next }.
hand-over-scan = Scanner avant { $time }.
hand-over-scan-now = Veuillez scanner maintenant.
hand-over-state = { where-still }.
somebody = Quelqu'un

dose-state = { where }.
dose-state-none = Il n'y a pas de mesure récente.

before-dose =
    .title = Dose prévue à { $due } : { $cat }
    .what = { where }.
    .do = { $line }

before-dose-hold =
    .title = Vétérinaire avant la dose : { $cat }
    .what = Une dose est prévue à { $due }. { $state }
    .do = { $line }

before-dose-blind =
    .title = Dose prévue à { $due } : { $cat }
    .what = Il n'y a pas de mesure récente : la dernière date de { $time }.
    .do = Scannez { $cat } avant la dose. { $line }

before-dose-none =
    .title = Dose prévue à { $due } : { $cat }
    .what = Il n'y a aucune mesure à laquelle se fier.
    .do = Mesurez avec un lecteur ou scannez avant la dose. { $line }

hold-line = C'est sous les { $hold } du plan : n'injectez pas, appelez votre vétérinaire{ $phone }.
hold-line-low = La glycémie est basse : appelez votre vétérinaire{ $phone } avant toute dose.
hold-line-recent = La dernière dose date de { $last }, moins de { $apart } avant celle-ci : demandez à votre vétérinaire{ $phone } avant de la donner.
hold-line-twice = La dernière dose est notée deux fois, à { $first } et à { $second } : demandez à votre vétérinaire{ $phone } avant de donner celle-ci.
hold-line-general = Plan de votre vétérinaire : sous { $hold }, n'injectez pas, appelez{ $phone }.
hold-line-none = Suivez le plan de votre vétérinaire.
phone = { " " }({ $number })
recorded-by = , par { $by }

## Lowtide même

file-rejected =
    .title = Fichier illisible en partie : Lowtide
    .what = { $rows ->
        [0] Le fichier « { $file } » n'a pas pu être lu : { $reason }.
        [one] { $rows } ligne de « { $file } » n'a pas pu être lue : { $reason }.
       *[other] { $rows } lignes de « { $file } » n'ont pas pu être lues. La première : { $reason }.
    }
    .do = { $seen ->
        [aside] Rien n'est perdu : voyez « { $place } », corrigez et déposez-le de nouveau.
        [inbox] Il est toujours là : « { $place } ». Laissez Lowtide le lire, ou enlevez-le.
       *[old] Rien n'est perdu : voyez le dossier « rejected », corrigez et déposez-le de nouveau.
    }

files-rejected =
    .title = Beaucoup de fichiers illisibles : Lowtide
    .what = { $count } fichiers n'ont pas pu être lus en un jour. Le dernier, « { $file } » : { $reason }.
    .do = { $seen ->
        [aside] Rien n'est perdu : chacun est gardé avec sa raison, le dernier sous « { $place } ». Voyez ce qui écrit de tels fichiers.
        [inbox] Ils sont toujours là, le dernier sous « { $place } ». Voyez ce qui écrit de tels fichiers.
       *[old] Rien n'est perdu : le dossier « rejected » les contient avec les raisons. Voyez ce qui écrit de tels fichiers.
    }

message-rejected =
    .title = Un message MQTT est inutilisable : Lowtide
    .what = { $rows ->
        [0] Le message est inutilisable : { $reason }.
        [one] { $rows } valeur du message est inutilisable : { $reason }.
       *[other] { $rows } valeurs du message sont inutilisables. La première : { $reason }.
    }
    .do = Rien n'est perdu : « { $file } » contient le message. Corrigez ce qui l'envoie.

messages-rejected =
    .title = Messages MQTT inutilisables : Lowtide
    .what = { $count } messages étaient inutilisables en un jour. Le dernier : { $reason }.
    .do = Rien n'est perdu : le dossier « rejected » les contient, le dernier sous « { $file } ». Corrigez ce qui les envoie.

value-conflict =
    .title = Deux valeurs pour une même heure : { $cat }
    .what = { $rows ->
        [one] { $rows } mesure de « { $file } » diffère
       *[other] { $rows } mesures de « { $file } » diffèrent
    } de ce qui est gardé, d'abord à { $time } : { $came }, gardé { $held }. Les deux restent ; la première compte.
    .do = Si le capteur a été changé ou si le fichier vient d'un autre chat, remettez cela en ordre.

source-refused =
    .title = Une source ne répond pas : Lowtide
    .what = { $source } : { $reason }.
    .do = Ses mesures attendent son retour. Vérifiez qu'elle fonctionne et que le nom et le mot de passe sont bons.

source-folder =
    .title = Des fichiers ne sont pas lus : Lowtide
    .what = { $source } : { $reason }.
    .do = Les fichiers attendent ; rien n'est perdu. Vérifiez que le dossier est là et que Lowtide peut le lire et y écrire.

source-back =
    .title = Une source est de retour : Lowtide
    .what = { $source } répond de nouveau.

delivery-failing =
    .title = Des messages ne passent pas : Lowtide
    .what = { $channel } pour { $person } échoue depuis { $time } : { $reason }.
    .do = Les messages prennent les autres voies. Vérifiez le serveur, l'adresse et le mot de passe.

delivery-over =
    .title = Les messages passent de nouveau : Lowtide
    .what = { $channel } pour { $person } fonctionne de nouveau.

clock-wrong =
    .title = Fausse heure de l'ordinateur : Lowtide
    .what = L'horloge indique { $time }, mais le journal va jusqu'à { $last }.
    .do = Réglez-la ou connectez l'ordinateur à internet. D'ici là, Lowtide ne juge pas l'âge des mesures.

clock-unset =
    .title = Personne n'a réglé l'horloge de l'ordinateur : Lowtide
    .what = Aucun serveur de temps n'a réglé l'horloge de cet ordinateur depuis son démarrage. Elle indique { $time }, peut-être à tort.
    .do = Vérifiez sa connexion à internet et son service de temps. D'ici là, âges, délais et rappels peuvent être faux. S'il n'a pas de service de temps, réglez l'horloge à la main et écrivez clock = "trust" sous [home].

clock-set-back =
    .title = L'horloge a été retardée : Lowtide
    .what = L'horloge de l'ordinateur avançait de { $span } et a été retardée à { $time }. Lowtide l'a suivie et continue de veiller.
    .do = Ce qui a été noté pendant qu'elle avançait porte une fausse heure dans le journal. Si personne ne l'a réglée exprès, vérifiez le service de temps de l'ordinateur.

clock-future-low =
    .title = Bas, à une heure fausse : { $cat }
    .what = Le capteur indiquait { $value }, daté { $reading }, mais ici il est { $time }. Une horloge est fausse ; agissez comme si c'était maintenant.
    .do = { $plan } { $meter } Vérifiez ensuite l'horloge du lecteur du capteur ou de la passerelle, et celle de cet ordinateur.

clock-future-was-low =
    .title = C'était bas, à une heure fausse : { $cat }
    .what = Le capteur indiquait { $value }, daté { $reading }, puis plus haut. Ici il est { $time } : on ne sait pas quand c'était.
    .do = Allez voir { $cat }. Vérifiez ensuite l'horloge du lecteur du capteur ou de la passerelle, et celle de cet ordinateur.

clock-future =
    .title = Des mesures venues du futur : { $cat }
    .what = Une mesure porte l'heure { $reading }, mais ici il est { $time }. Une des deux horloges est fausse.
    .do = Vérifiez l'horloge du lecteur du capteur ou de la passerelle, et celle de cet ordinateur. Ces mesures sont gardées, mais jugées seulement quand leur heure sera venue.

clock-future-check-low =
    .title = Bas selon le lecteur, à une heure fausse : { $cat }
    .what = Le lecteur indiquait { $value }, daté { $dated }, mais ici il est { $time }. Agissez comme si c'était maintenant.
    .do = { $plan } Notez ensuite ce contrôle de nouveau avec la bonne heure, et vérifiez l'horloge de l'expéditeur et celle de cet ordinateur.

clock-future-check =
    .title = Un contrôle venu du futur : { $cat }
    .what = Un contrôle au lecteur, { $value }, porte l'heure { $dated }, mais ici il est { $time }. La date ou une horloge est fausse.
    .do = Notez-le de nouveau avec la bonne heure ; celui-ci ne comptera plus. Vérifiez l'horloge de l'expéditeur et celle de cet ordinateur. Jusqu'à ce que son heure soit venue, il est gardé, mais pas jugé.

clock-future-applied =
    .title = Nouveau capteur, heure fausse : { $cat }
    .what = Un nouveau capteur est noté comme posé { $dated }, mais ici il est { $time }. La date ou une horloge est fausse.
    .do = Notez-le de nouveau avec la bonne heure ; cette note ne comptera plus. Vérifiez l'horloge de l'expéditeur et celle de cet ordinateur. Jusqu'à ce que son heure soit venue, la note est gardée, mais pas jugée.

clock-future-sensor =
    .title = Note de capteur, heure fausse : { $cat }
    .what = Une note sur le capteur porte l'heure { $dated }, mais ici il est { $time }. La date ou une horloge est fausse.
    .do = Notez-la de nouveau avec la bonne heure ; celle-ci ne comptera plus. Vérifiez l'horloge de l'expéditeur et celle de cet ordinateur. Jusqu'à ce que son heure soit venue, la note est gardée, mais pas jugée.

nobody-watching =
    .title = Personne ne veille : Lowtide
    .what = Aucune nouvelle de Lowtide pendant { $span }, depuis { $time }. Les valeurs basses et les délais de scan ne sont pas surveillés.
    .do = Vérifiez que son ordinateur est allumé et connecté. D'ici là, occupez-vous de { $cat } vous-même : scannez et guettez les valeurs basses.

nobody-watching-over =
    .title = Veille de nouveau : Lowtide
    .what = Lowtide est de retour depuis { $time } et veille de nouveau.

nobody-watching-trial =
    .title = Le serveur push est trop ancien : Lowtide
    .what = Ce serveur ne sait pas reprendre un message et ne peut donc pas dire que personne ne veille. Ignorez ce message.
    .do = Mettez le serveur à jour, ou retirez nobody_watching_hours de [notify.ntfy].

nobody-watching-unable =
    .title = Un arrêt ne se verrait pas : Lowtide
    .what = Le serveur push ne sait pas reprendre un message en attente. Si Lowtide s'arrête, rien ne le dira.
    .do = Mettez le serveur push à jour, ou utilisez une adresse [heartbeat].

nobody-watching-source = Le serveur push

disk-low =
    .title = Le disque est presque plein : Lowtide
    .what = Il reste { $free } Mo dans { $place }.
    .do = Faites de la place, sinon des mesures devront attendre dehors.

database-error =
    .title = Un souci avec l'enregistrement : Lowtide
    .what = { $reason }.
    .do = Les mesures elles-mêmes sont en sûreté dans le journal. Si cela revient, changez la carte mémoire.

record-fails =
    .title = Plus rien n'est enregistré : Lowtide
    .what = Les valeurs basses sont encore signalées, mais rien n'est gardé, pas même les doses. { $reason }.
    .do = Notez les doses sur papier jusqu'à la fin de cette panne. La personne qui s'occupe de l'ordinateur fait de la place sur le disque ; s'il y en a, la carte est usée et doit être changée. Les fichiers attendent là où ils sont.

record-back =
    .title = L'enregistrement reprend : Lowtide
    .what = Ce qui attendait est lu maintenant.

fault =
    .title = Une erreur dans le programme : Lowtide
    .what = Un événement n'a pas pu être traité. Il a été mis de côté dans « { $file } », et Lowtide continue.
    .do = Merci de le signaler, avec ce fichier, à la personne qui s'occupe du programme.
