# Français : ce qui s'imprime, la fiche pour la garde et le rapport pour le vétérinaire, et la page web. Règles comme dans fr.ftl.

date-year = { $weekday } { $day ->
    [one] { $day }er
   *[other] { $day }
} { $month } { $year }
page-kept-dose = Noté pour { $cat } : une dose, { $time }.
page-dose-already = Une dose de { $time } est déjà notée pour { $cat } : rien n'a été noté, et aucune ne doit être donnée. Si une deuxième a été donnée quand même, appelez le vétérinaire.
page-undone-dose = Annulée pour { $cat } : la dose de { $time }.
page-kept-meter = Noté pour { $cat } : mesure au lecteur, { $value } à { $time }.
page-undone-meter = Annulée pour { $cat } : la mesure de { $time }.
page-kept-sensor = Noté pour { $cat } : ce qui est arrivé au capteur, { $time }.
page-kept-spare = { $count ->
    [0] Noté pour { $cat } : plus de capteur de réserve.
    [one] Noté pour { $cat } : { $count } capteur de réserve.
   *[other] Noté pour { $cat } : { $count } capteurs de réserve.
}
page-kept-note = Noté pour { $cat } : la remarque.
page-kept-answer = Votre réponse est notée.
page-answer-over = Votre réponse est notée, mais ce dont il s'agissait n'est plus en cours. Ce qui est en cours maintenant est sur cette page.
page-known = C'était déjà noté ; rien n'a été noté une deuxième fois.
page-failed = Rien n'a été noté : { $reason }. Réessayez, et écrivez-le sur papier en attendant.
page-unsure = On ne sait pas si cela a été noté. Regardez sous « Ce qui s'est passé » dans quelques minutes, avant de le noter encore une fois.
page-slip-time = « { $text } » n'est pas une heure : rien n'a été noté. Écrivez-la comme 06:15, ou laissez le champ vide pour maintenant.
page-slip-future = { $time } est encore à venir : rien n'a été noté.
page-slip-level = « { $text } » n'est pas une glycémie en { $unit } : rien n'a été noté. Écrivez le nombre que montre le lecteur, ou LO ou HI.
page-slip-unlikely = { $text } { $unit } serait très inhabituel : rien n'a été noté. Est-ce l'autre unité, ou une erreur de frappe ?
page-slip-units = « { $text } » ne peut pas être les unités d'une dose : rien n'a été noté. Le champ peut rester vide.
page-slip-count = « { $text } » n'est pas un nombre de capteurs : rien n'a été noté.
page-slip-empty = La remarque était vide : rien n'a été noté.
page-slip-gone = Cela a déjà été annulé, ou remonte trop loin pour cette page ; rien n'a été changé.
page-slip-form = Ce formulaire vient d'un autre moment ou d'un autre endroit : rien n'a été noté. Recommencez depuis cette page.
page-password-wrong = Ce n'est pas le mot de passe.
page-password-wait = { $seconds ->
    [one] Trop d'erreurs. Attendez { $seconds } seconde, puis réessayez.
   *[other] Trop d'erreurs. Attendez { $seconds } secondes, puis réessayez.
}
sheet-title = { $cat } : fiche pour { $person }
sheet-made = Imprimée { $time }. Heures à l'horloge de { $zone }, valeurs en { $unit }.
sheet-emergency = Si quelque chose ne va pas
sheet-act-first = Si { $cat } semble mal, agissez d'abord, quel que soit le chiffre. Signes d'une valeur basse : faim, agitation, faiblesse, démarche incertaine, confusion, crampes ; certains chats deviennent seulement calmes ou cessent de manger.
sheet-vet = Vétérinaire :
sheet-out-of-hours = Quand le cabinet est fermé :
sheet-no-vet-phone = Aucun numéro n'est noté ici. Demandez-le avant le départ de { $owner } : ______________________
sheet-people = Qui est qui
sheet-person = Nom
sheet-phone = Téléphone
sheet-reached = Lowtide les joint par
sheet-asked = Si personne ne répond, Lowtide demande dans cet ordre.
sheet-owner = { $person }, s'occupe de Lowtide
sheet-has-cat-now = En ce moment, { $person } garde { $cat }.
sheet-has-cat-from = À partir de { $time } : { $person }.
sheet-plan = Le plan du vétérinaire
sheet-plan-limits = Selon le capteur, bas sous { $low }, dangereusement bas sous { $danger } ; au lecteur, bas sous { $meter_low }.
sheet-plan-high = Haut au-dessus de { $high }.
sheet-plan-hold = Avant une dose, sous { $hold } : n'injectez pas, appelez le vétérinaire.
sheet-plan-no-hold = La limite sous laquelle on n'injecte pas n'est pas notée : demandez au vétérinaire.
sheet-plan-on-low = Si la valeur est basse :
sheet-plan-in-words = Dans les mots du vétérinaire :
sheet-plan-sglt2 = { $cat } reçoit un médicament avec lequel la glycémie peut sembler normale alors que la vie est en danger. Si { $cat } ne mange pas, vomit ou est abattu, appelez le vétérinaire tout de suite.
sheet-doses = Doses
sheet-dose-times = Chaque jour à { $times } à l'horloge de la maison ({ $zone }).
sheet-dose-next = Les prochaines : { $times }.
sheet-dose-none = Aucune heure n'est notée : demandez à { $owner }.
sheet-dose-twice = Au moins { $apart } entre deux doses. Pas sûr qu'une dose ait été donnée ? N'en donnez aucune avant d'avoir demandé à { $owner } ou au vétérinaire.
sheet-dose-record = Notez chaque dose aussitôt avec « { $given } » dans le message : le second à appuyer apprend qu'elle est donnée.
sheet-dose-write = Notez chaque dose avec son heure, et dites-le à { $owner }.
sheet-dose-last = Dernières doses notées :
sheet-dose-last-none = Aucune dose n'est notée.
sheet-dose-by = { $time }, par { $person }
sheet-scan = Scanner
sheet-scan-how = Tenez le lecteur ou le téléphone contre le capteur jusqu'à sa réponse, puis vérifiez que la mesure est arrivée dans Lowtide. Le capteur garde { $memory } ; ce qui est plus ancien est perdu.
sheet-scan-daily = Chaque jour à { $times } : ainsi rien ne manque.
sheet-scan-daily-lost = Chaque jour à { $times }. Votre nuit est plus longue que la mémoire du capteur : de { $from } à { $until }, tout est perdu quoi qu'on fasse.
sheet-scan-every = Au moins toutes les { $span }, jour et nuit.
sheet-scan-next = Les prochains : { $times }.
sheet-scan-lost = Perdu quoi qu'on fasse : de { $from } à { $until }.
sheet-scan-dose = Scannez aussi avant chaque dose.
sheet-streamed = Le capteur envoie une mesure toutes les { $sample } de lui-même : rien à scanner. Laissez le relais près de { $cat } et branché.
sheet-now = L'état au moment d'imprimer
sheet-now-reading = Dernière mesure : { $value }, { $time }.
sheet-now-no-reading = Il n'y a pas encore de mesure.
sheet-now-blood = Sang environ { $blood }, { $trend }.
sheet-now-below = C'est moins que ce que le capteur sait lire (moins de { $level }) : on ignore jusqu'où va le sang.
sheet-now-above = C'est plus que ce que le capteur sait lire (plus de { $level }) : on ignore jusqu'où va le sang.
sheet-now-window = Le capteur garde tout jusqu'à { $time } : scannez avant.
sheet-now-wear = Capteur posé { $applied }, finit au plus tard { $ends }. Sur les chats, il finit souvent des jours plus tôt.
sheet-now-no-wear = Aucun capteur connu sur { $cat }.
sheet-now-spares = { $count ->
    [0] Il n'y a aucun capteur de réserve.
    [one] { $count } capteur de réserve est là.
   *[other] { $count } capteurs de réserve sont là.
}
sheet-now-open = En cours : « { $matter } », depuis { $time }.
sheet-now-quiet = Rien n'est en cours.
sheet-messages = Ce que veulent dire les messages
sheet-message = Le message
sheet-means = Il veut dire
sheet-do = Que faire
sheet-answer = Répondez « { $taken } » dès que vous vous occupez d'une chose. Un message critique sans réponse revient toutes les dix minutes et va aussi aux autres.
sheet-silence = Pas de message ne veut pas dire que tout va bien : un téléphone peut être muet, un réseau en panne. Regardez { $cat } et votre téléphone.
sheet-critical = agissez maintenant
sheet-warning = agissez bientôt
sheet-notice = bon à savoir

sheet-low-now-danger =
    .what = L'estimation du capteur est sous { $danger }, ou sous tout ce qu'il peut mesurer.
    .do = Ce que dit le cadre en haut, maintenant. Vérifiez au lecteur si vous pouvez.
sheet-low-now-meter =
    .what = Un lecteur a montré moins de { $meter_low }.
    .do = Ce que dit le cadre en haut, maintenant.
sheet-low-now =
    .what = L'estimation du capteur est sous { $low }.
    .do = Ce que dit le plan pour une valeur basse. Vérifiez au lecteur si vous pouvez.
sheet-low-now-old =
    .what = C'était bas, et aucune mesure n'est venue depuis : on ne sait pas où en est la glycémie.
    .do = Scannez maintenant et allez voir le chat. S'il semble mal : ce que dit le cadre en haut.
sheet-low-now-meter-stands =
    .what = Un lecteur a montré une valeur basse que le capteur ne montre pas.
    .do = Mesurez encore avec le lecteur. Si le chat semble mal : ce que dit l'encadré du haut.
sheet-low-now-meter-above =
    .what = Le capteur est bas, un lecteur ne l'est pas. Le lecteur compte pendant 20 minutes.
    .do = Surveillez le chat et mesurez encore dans 20 minutes.
sheet-low-ahead =
    .what = L'estimation passera sans doute sous { $low } dans les { $ahead }.
    .do = Rescannez quand le message le dit, préparez à manger, restez près.
sheet-falling-fast =
    .what = La glycémie baisse vite.
    .do = Rescannez quand le message le dit. Gardez { $cat } à l'œil.
sheet-scan-again =
    .what = Elle baissait au dernier scan et peut être basse depuis, sans qu'on le voie.
    .do = Scannez maintenant.
sheet-dose-twice-row =
    .what = Deux doses sont notées à moins de { $apart }.
    .do = Cherchez si les deux ont été données. Si oui, appelez le vétérinaire maintenant. Ne donnez plus de dose avant de lui avoir parlé.
sheet-before-dose =
    .what = Une dose est due ; le message dit où en est la glycémie, et ce qui s'oppose à la dose.
    .do = Comparez avec le plan ci-dessus. Dans le doute, n'injectez pas, appelez.
sheet-dose-late =
    .what = Une dose était prévue et n'est pas notée.
    .do = Si elle a été donnée, notez-la. Sinon, ne la donnez ni en retard ni en double sans l'avis du vétérinaire.
sheet-window-closing =
    .what = La mémoire du capteur est presque pleine.
    .do = Scannez avant l'heure indiquée.
sheet-window-closed =
    .what = La mémoire est pleine : des mesures se perdent.
    .do = Scannez maintenant.
sheet-low-found-later =
    .what = Un scan montre qu'il y a eu une valeur basse avant.
    .do = Regardez { $cat }. Dites-le à { $owner }, pour le vétérinaire.
sheet-high-long =
    .what = La glycémie est haute depuis des heures.
    .do = Une dose oubliée ? Si { $cat } ne mange pas, vomit ou est abattu, appelez le vétérinaire maintenant.
sheet-sensor-silent =
    .what = Le capteur ou son relais ne donne rien de nouveau : personne ne voit la glycémie de { $cat }.
    .do = Voyez si le capteur est encore posé, rescannez, suivez le message. Dites-le à { $owner }.
sheet-sensor-suspect =
    .what = Des mesures qui ne peuvent pas être justes.
    .do = Voyez si { $cat } est couché sur le capteur ou s'il se décolle. Fiez-vous au lecteur et à vos yeux.
sheet-sensor-not-started =
    .what = Un capteur neuf ne donne rien après sa première heure.
    .do = Vérifiez qu'il a été démarré et tient bien. Dites-le à { $owner }.
sheet-sensor-ending =
    .what = Les jours du capteur sont presque écoulés.
    .do = Demandez à { $owner } qui le change, et quand.
sheet-hand-over =
    .what = Le chat est maintenant sous votre garde, ou sous celle d'un autre.
    .do = Lisez-le une fois : jusqu'à quand, les doses, le prochain scan.
sheet-lowtide-title = … : Lowtide
sheet-lowtide =
    .what = Quelque chose ne va pas avec Lowtide lui-même.
    .do = Dites-le à { $owner }. D'ici là, scannez et regardez { $cat } plus souvent.
sheet-prefix =
    .what = Personne n'a répondu, c'est toujours là après une réponse, ou c'est devenu pire.
    .do = Occupez-vous-en et répondez, ou appelez quelqu'un de la liste ci-dessus.
sheet-taken =
    .what = Quelqu'un d'autre s'en occupe.
    .do = Rien, sauf si on vous le demande.

curve-title = { $cat } : glycémie du { $from } au { $until }
curve-made = Établi { $time } à partir des mesures du capteur. Heures à l'horloge de { $zone }, valeurs en { $unit }.
curve-tissue = Le capteur lit le liquide sous la peau, en retard de quelques minutes sur le sang. Les chiffres sont ses mesures, pas des valeurs de sang.
curve-range = Plage du plan : { $low } à { $high }.
curve-range-low = Bas selon le plan : { $low }. Le plan ne donne pas de limite haute.
curve-cycles = De dose en dose
curve-cycle = Dose
curve-pre-dose = Avant
curve-nadir = La plus basse
curve-nadir-after = après
curve-highest = La plus haute
curve-mean = Moyenne
curve-below = En dessous
curve-inside = Dans la plage
curve-above = Au-dessus
curve-held = Mesures gardées
curve-units = unités
curve-open-cycle = pas encore fini
curve-none = aucune
curve-below-floor = sous { $floor }
curve-above-ceiling = au-dessus de { $ceiling }
curve-mean-note = La moyenne laisse de côté ce que le capteur n'a pu mesurer ; « au plus » et « au moins » le signalent.
curve-at-most = au plus { $value }
curve-at-least = au moins { $value }
curve-about = environ { $value }
curve-days = Jour par jour
curve-day = Jour
curve-doses = Doses
curve-checks = Lecteur
curve-check = { $value } ({ $meter })
curve-check-sensor = le capteur : { $value }
curve-notes = Notes
curve-whole = En tout
curve-no-cycles = Aucune dose n'est notée dans ce temps, donc pas de cycles ; les jours sont plus bas.
curve-no-readings = Aucune mesure n'est gardée de ce temps.
curve-legend = Ligne : capteur. Bande grise : plage du plan. Tirets : une dose. Cercle : un lecteur. Interruption : pas de mesures.
curve-meter-pet = lecteur pour animaux
curve-meter-human = lecteur pour humains
curve-meter-whole-blood = lecteur pour humains, sang total
curve-meter-unknown = lecteur de type inconnu
curve-few = { $share } des mesures attendues sont là : des chiffres tirés de si peu peuvent tromper.
curve-overlay = Tous les cycles superposés, selon les heures depuis la dose

correction = { $count ->
    [one] D'après { $count } contrôle au lecteur ({ $kinds }), le capteur semble lire { $off }, plus ou moins { $doubt } ; l'estimation du sang en tient compte.
   *[other] D'après { $count } contrôles au lecteur ({ $kinds }), le capteur semble lire { $off }, plus ou moins { $doubt } ; l'estimation du sang en tient compte.
}
correction-kind = { $meter } : { $count }
correction-high = environ { $share } trop haut
correction-low = environ { $share } trop bas
correction-right = à peu près juste
correction-people = Les lecteurs pour humains lisent le sang de chat plutôt trop bas : une part peut venir du lecteur, non du capteur.
correction-unknown = Là où le type de lecteur n'est pas connu, une part peut venir du lecteur.
correction-whole-blood = { $count ->
    [one] L'estimation du sang n'utilise pas { $count } contrôle fait avec un lecteur pour sang total.
   *[other] L'estimation du sang n'utilise pas { $count } contrôles faits avec un lecteur pour sang total.
}
correction-out-of-range = { $count ->
    [one] L'estimation du sang n'utilise pas { $count } contrôle où le lecteur était hors de sa plage.
   *[other] L'estimation du sang n'utilise pas { $count } contrôles où le lecteur était hors de sa plage.
}

agreement-title = Le capteur à côté du lecteur
agreement-meter = Lecteur
agreement-pairs = Paires
agreement-bias = Écart
agreement-mard = MARD
agreement-limits-title = Limites à 95 %
agreement-limits = { $low } à { $high }
agreement-iso = ISO 15197
agreement-clarke = Clarke A+B
agreement-parkes = Parkes A+B
agreement-sensor = { $meter }, capteur posé le { $date }
agreement-sensor-unknown = { $meter }, capteur, date inconnue
agreement-pair = Une paire est un contrôle au lecteur et ce que le capteur a lu { $lag } plus tard, quand il montre le même sang. Écart : capteur moins lecteur, en moyenne. Les types de lecteurs ne sont jamais mêlés, et rien sur cette page n'est corrigé par eux.
agreement-figures = MARD : la distance moyenne, en part de la valeur du lecteur. Limites à 95 % (Bland-Altman) : environ 19 différences sur 20 sont entre elles. ISO 15197 : paires à { $near } au plus sous { $from }, à 15 % ensuite ; les lecteurs pour humains doivent atteindre 95 %.
agreement-grids = Clarke A+B, Parkes A+B : paires dont la différence n'aurait pas égaré le traitement. Les deux grilles ont été faites pour des humains qui se traitent eux-mêmes ; pour les chats, elles ne sont qu'un langage commun.
agreement-few = Sous { $count } paires, seuls leur nombre et l'écart sont donnés : ils disent peu.
agreement-people = Les lecteurs pour humains, surtout pour sang total, lisent le sang de chat plutôt trop bas : le capteur semble alors lire trop haut.
agreement-out-of-range = { $count ->
    [one] Pour { $count } contrôle, le lecteur ou le capteur était hors de sa plage : aucun chiffre à comparer.
   *[other] Pour { $count } contrôles, le lecteur ou le capteur était hors de sa plage : aucun chiffre à comparer.
}
agreement-unmatched = { $count ->
    [one] À côté de { $count } contrôle, il n'y a pas de mesures du capteur proches avant et après.
   *[other] À côté de { $count } contrôles, il n'y a pas de mesures du capteur proches avant et après.
}

page-now = Maintenant
page-now-title = { $cat } à { $time }
page-no-settings = Lowtide n'a pas encore de réglages.
page-answered = { $person } s'en occupe, depuis { $time }.
page-answered-you = Vous vous en occupez, depuis { $time }.
page-put-off = Remis par { $person } jusqu'à { $time }.
page-comes-back = Si c'est encore vrai à { $time }, cela revient.
page-told = Un message à ce sujet est parti vers : { $people }.
page-told-none = Aucun serveur n'a encore pris de message à ce sujet.
page-quiet = Rien n'est en cours pour { $cat }. Cela repose sur une mesure vieille de { $age }.
page-quiet-blind = Rien n'est en cours pour { $cat }, mais cela ne rassure pas : la dernière mesure est vieille de { $age }, et la suite n'est pas connue.
page-quiet-unsure = Rien n'est en cours pour { $cat }, mais cela ne rassure pas : on ne sait pas où en est le sang. La dernière mesure est vieille de { $age }.
page-quiet-none = Rien n'est en cours pour { $cat }, mais cela ne rassure pas : il n'y a aucune mesure.
page-cat = { $cat }, selon le capteur
page-reading = Dernière mesure : { $value } à { $time }, vieille de { $age }.
page-blood = Sang environ { $blood }, plus ou moins { $doubt } ; { $trend }.
page-blood-old = On ne sait pas où en est le sang : la dernière mesure est trop ancienne.
page-blood-odd = On ne sait pas où en est le sang : les dernières mesures semblent fausses.
page-chance = Sous { $low } dans les prochaines { $span } : { $chance }.
page-scan-by = Un autre scan avant { $time } serait utile.
page-scan-since = Un autre scan est utile depuis { $time } : scannez maintenant.
page-curve = Les dernières 24 heures et les 4 prochaines
page-curve-past = Les dernières 24 heures
page-curve-none = Aucune mesure n'est gardée des dernières 24 heures.
page-curve-seen = { $cat }, les dernières 24 heures : la plus basse { $lowest } à { $lowest_time }, la plus haute { $highest } à { $highest_time }.
page-curve-seen-ahead = À { $time }, le sang est entre { $from } et { $to } dans 8 cas sur 10.
page-picture-now = maintenant
page-legend-title = Ce que montre l'image
page-legend = Ligne épaisse : le capteur. Ligne fine en travers : la limite basse du plan, { $low }. Tirets de haut en bas : une dose. Cercle : un lecteur. Interruption : pas de mesures.
page-legend-band = Bande grise : la plage du plan.
page-legend-ahead = Forme au bord pointillé : où le sang peut être, dans 8 cas sur 10.
page-ahead = Les prochaines heures en chiffres
page-ahead-at = Quand
page-ahead-range = Sang dans 8 cas sur 10, { $unit }
page-ahead-span = { $from } à { $to }
page-ahead-under = Sous { $low } d'ici là
page-ahead-caution = Une supposition calculée, bien moins sûre plus loin. Elle ne sait rien des repas ni des doses à venir. Ce n'est pas un conseil sur une dose. Un capteur peut se tromper : vérifiez une valeur basse avec un lecteur.
page-next = Ce qui vient
page-dose-last = Dernière dose notée : { $dose }.
page-dose-next = Doses dues à { $times }.
page-window-past = Le capteur oublie depuis { $time } : scannez maintenant.
page-scans = Scans qui ne laissent pas de trou : { $times }.
page-scans-least = Scans qui perdent le moins : { $times }.
page-held = Mesures gardées des dernières 24 heures : { $share }.
page-hands = Qui garde le chat
page-outbox = { $count ->
    [one] { $count } message est en route.
   *[other] { $count } messages sont en route.
}
page-record = Noter
page-record-link = Noter une dose, un contrôle, un capteur, une remarque
page-record-how = Doses, remarques et réponses sont gardées sous le nom { $person }. Heures à l'horloge de { $zone } ; sans heure, c'est maintenant.
page-form-dose = { $cat } : une dose
page-form-meter = { $cat } : un contrôle au lecteur
page-form-sensor = { $cat } : le capteur
page-form-spare = { $cat } : capteurs de réserve
page-form-note = { $cat } : une remarque
page-field-at = Quand (vide : maintenant)
page-field-units = Unités données, selon le plan de votre vétérinaire (peut rester vide)
page-field-glucose = Ce que montre le lecteur, en { $unit } (un nombre, LO ou HI)
page-field-meter = Quel lecteur
page-field-event = Ce qui s'est passé
page-field-count = Capteurs neufs dans l'armoire
page-field-text = Remarque (500 lettres au plus)
page-field-password = Mot de passe
page-save-dose = Noter cette dose
page-save-meter = Noter ce contrôle
page-save-sensor = Noter cela
page-save-spare = Noter ce nombre
page-save-note = Noter cette remarque
page-undose = Cette dose n'a pas été donnée
page-check = Noté pour { $time } : { $check }.
page-unmeter = Retirer ce contrôle
page-sensor-applied = Un nouveau a été posé
page-sensor-error = Il montre une erreur
page-sensor-ok = L'erreur est passée
page-sensor-expired = Il est arrivé à sa fin
page-sensor-failed = Il a cessé de mesurer
page-sensor-came-off = Il s'est décollé
page-sensor-removed = Il a été retiré
page-ask-title = Une dose est déjà notée : { $cat }
page-ask = Une dose est notée à { $time }. Au moins { $apart } devraient séparer deux doses. Rien d'autre n'a été noté.
page-ask-do = Si vous n'avez pas injecté, ne donnez rien maintenant et demandez d'abord au vétérinaire. Si vous avez injecté, appuyez sur le bouton ci-dessous et appelez-le.
page-ask-back = Je n'ai pas injecté : retour
page-enter = Entrer
page-leave = Se déconnecter
page-you-are = À qui est cette page :
page-you = { $person } (vous)
page-history = Ce qui s'est passé
page-sensors = Capteurs
page-curve-link = La courbe de { $cat } pour le vétérinaire
page-sheet-link = La fiche sur { $cat } pour la garde
page-as-of = État à { $time }, à l'horloge de { $zone }.
page-anew = Cette page se renouvelle chaque minute.

page-history-of = { $span }, le plus récent d'abord. Chaque ligne est dite comme elle l'a été alors.
page-history-cut = Seules les { $count } lignes les plus récentes sont montrées.
page-history-none = Rien n'est noté de ce temps.
page-was-opened = Constaté : « { $matter } ».
page-was-changed = La suite : « { $matter } ».
page-was-cleared = Plus en cours : « { $matter } ».
page-was-unsure = On ne sait plus : « { $matter } ».
page-was-message = À { $person } : « { $title } ». { $fate }
page-was-answer = { $person } a répondu : « { $answer } ».
page-was-answer-to = { $person } a répondu : « { $answer } » ({ $matter }).
page-was-of = { $cat } : { $line }
page-was-dose = Dose notée : { $dose }.
page-was-dose-undone = La dose de { $time } a été retirée : pas donnée.
page-was-check = Contrôle de { $time } : { $check }.
page-was-check-undone = Le contrôle de { $time } a été retiré.
page-was-sensor = Capteur, { $time } : { $event }.
page-was-note = Remarque : { $text }
page-was-note-by = Remarque de { $person } : { $text }
page-fate-taken = { $channel } : le serveur l'a pris à { $time }.
page-fate-failed = Il n'est pas arrivé : { $reason }.
page-fate-withdrawn = Retiré avant qu'un serveur ne l'ait.
page-fate-waiting = Pas encore remis.
page-wear-none = Aucun capteur n'est encore noté pour { $cat }.
page-wear-on = Posé
page-wear-end = Fini
page-wear-days = Jours
page-wear-still = encore posé
page-wear-ended = { $time }, { $how }
page-cost = Jusqu'ici, un jour a coûté { $day }.
page-cost-full = À { $price } le capteur, un jour coûte { $full } s'il tient ses { $days } jours.
page-life-own = { $count } capteurs sont notés. Ce qui suit repose sur eux.
page-life-borrowed = { $count ->
    [one] { $count } capteur est noté : trop peu pour conclure. Ce qui suit repose sur des médianes publiées de capteurs sur des chats, 7 et 10 jours.
   *[other] { $count } capteurs sont notés : trop peu pour conclure. Ce qui suit repose sur des médianes publiées de capteurs sur des chats, 7 et 10 jours.
}
page-life-lasting = Plus de { $span } : { $share } d'entre eux jusqu'ici ; la vraie part peut aller de { $from } à { $to }.
page-life-present = Que l'actuel tienne jusqu'à { $time } : { $chance }.
