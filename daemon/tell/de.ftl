# Deutsch. Zu jeder Mitteilung gehören .title (eine Zeile, nie mit einem Wert: sie kann auf einem Sperrbildschirm
# stehen), .what (was geschehen ist, in den ersten 150 Zeichen ganz zu verstehen) und, wo jemand etwas tun kann, .do.

## Werte

decimal-sign = ,
below-range = unter Messbereich
above-range = über Messbereich
rate-per-minute = { $rate } { $unit } pro Minute
rate-per-hour = { $rate } { $unit } pro Stunde
trend-falling-fast = schnell fallend, { $rate }
trend-falling = fallend, { $rate }
trend-falling-a-little = leicht fallend
trend-steady = gleichbleibend
trend-rising = steigend, { $rate }
trend-rising-fast = schnell steigend, { $rate }
time-tomorrow = { $clock } morgen
time-yesterday = { $clock } gestern
time-date = { $clock } am { $weekday } { $day }. { $month }
time-date-year = { $clock } am { $day }. { $month } { $year }
span-minutes = { $count ->
    [one] 1 Minute
   *[other] { $count } Minuten
}
span-hours = { $count ->
    [one] 1 Stunde
   *[other] { $count } Stunden
}
span-hours-minutes = { $hours } Std. { $minutes } Min.
span-days = { $count ->
    [one] 1 Tag
   *[other] { $count } Tage
}
chance-under-one = weniger als 1 von 10
chance-tenths = etwa { $tenths } von 10
chance-over-nine = mehr als 9 von 10
mon = Mo
tue = Di
wed = Mi
thu = Do
fri = Fr
sat = Sa
sun = So
month-1 = Januar
month-2 = Februar
month-3 = März
month-4 = April
month-5 = Mai
month-6 = Juni
month-7 = Juli
month-8 = August
month-9 = September
month-10 = Oktober
month-11 = November
month-12 = Dezember
notice = Hinweis
warning = Warnung
critical = kritisch

## Rund um eine Nachricht

again = { $title } (noch immer)
escalated = { $title } (noch keine Antwort)
returned = { $title } (beantwortet, aber noch da)
worse = { $title } (schlimmer)
unanswered = Seit { $time } hat niemand geantwortet.
private-text = Einzelheiten stehen nicht auf diesem Bildschirm: sieh zu Hause mit „lowtide status“ nach.
channel-ntfy = Push
channel-email = Mail
line-since = Seit { $time }.
line-basis = Neuester Messwert: { $value } um { $time }, beim Schreiben { $age } alt.
line-look-again = Wird spätestens um { $time } wieder angesehen.
caution = Eine Erinnerung, kein Medizinprodukt. Sensoren sind für Katzen nicht zugelassen: Prüfe einen tiefen Wert mit einem Messgerät und halte dich an den Plan der Tierärztin.
button-taken = Ich kümmere mich
button-later = In 30 Min.
button-sensor-fine = Sensor ist in Ordnung
button-given = Dosis gegeben
button-not-given = Doch nicht gegeben
button-given-too = Ich habe auch gespritzt
button-meter-low = Messgerät: unter { $level }
button-meter-fine = Messgerät: { $level } oder mehr

taken =
    .title = { $person } kümmert sich: { $cat }
    .what = { $person } kümmert sich seit { $time } darum: „{ $matter }“.
    .do = Du musst nichts tun, außer { $person } bittet dich darum.

answer-ways = So kannst du antworten: { $list }.
way-button = mit einem Knopf der Push-Nachricht
way-mqtt = mit einer Nachricht an { $topic } über MQTT
way-command = mit „lowtide log answer { $verdict } --person { $person }“ auf Lowtides Rechner
no-longer =
    .what = Nicht mehr: „{ $matter }“.

summary =
    .title = Solange keine Nachrichten durchkamen
    .what = { $count ->
        [one] Eine Nachricht konnte
       *[other] { $count } Nachrichten konnten
    } nicht rechtzeitig gesendet werden. Die letzte war um { $time }: „{ $last }“.
    .do = Sonst wartet nichts. Was noch gilt, kommt eigens.

test =
    .title = Eine Testnachricht: Lowtide
    .what = So kommen Nachrichten für { $person } an. Zeiten stehen in deiner Uhrzeit ({ $time }), Werte als { $level }.
    .do = Nichts zu tun. Blieb dein Telefon still, sieh in seinen Einstellungen für diese App nach.

test-loud =
    .title = Nur eine Probe des Alarms: Lowtide
    .what = Alles ist gut: das zeigt { $person } nur, wie eine kritische Nachricht ankommt, auch in der Nacht.
    .do = Blieb das Telefon still, lass die höchste Stufe dieser App durch „Nicht stören“ hindurch.

## Das Scanfenster

window-closing =
    .title = Vor { $closes } scannen: { $cat }
    .what = Der Sensor hält alles seit { $newest }. Ab { $closes } gehen die ältesten Messwerte verloren.
    .do = Bitte scanne { $cat } vor { $closes }.

window-bedtime =
    .title = Vor der Nacht scannen: { $cat }
    .what = Der Sensor beginnt um { $closes } zu vergessen, mitten in der Nacht. Ein Scan um { $bedtime } hält bis { $holds }.
    .do = Bitte scanne { $cat } heute Abend so spät du kannst. { $scans }

window-bedtime-loss =
    .title = Vor der Nacht scannen: { $cat }
    .what = Die Nacht ist länger als das Gedächtnis des Sensors: bei Scans um { $bedtime } und { $morning } fehlt { $lost_from } bis { $lost_until }.
    .do = Bitte scanne { $cat } heute Abend so spät und morgen so früh du kannst. { $scans }

window-closed =
    .title = Messwerte gehen verloren: { $cat }
    .what = Seit { $newest } nicht gescannt. Seit { $closed } geht alle { $sample } ein Messwert verloren; bisher { $lost ->
        [one] einer
       *[other] { $lost }
    }.
    .do = Bitte scanne { $cat } jetzt.

window-gap =
    .title = Gescannt, mit einer Lücke: { $cat }
    .what = Zwischen { $from } und { $until } { $lost ->
        [one] fehlt ein Messwert
       *[other] fehlen { $lost } Messwerte
    } für immer.

## Wo das Blut ist: eine Zahl nur, wo der Sensor eine zeigt

where = { $seen ->
    [below] Um { $time } zeigte der Sensor weniger, als er messen kann (unter { $floor })
    [above] Um { $time } zeigte der Sensor mehr, als er messen kann (über { $ceiling })
    [odd] Um { $time } zeigte der Sensor { $value }, weit weg von dem davor
    [stuck] Der Sensor zeigte bis { $time } unverändert { $value }
   *[about] Blut etwa { $blood } um { $time }, { $trend }
}
where-read = { $seen ->
    [below] { where }
    [above] { where }
    [odd] { where }
    [stuck] { where }
   *[about] { where }; der Sensor zeigte { $value }
}
where-still = { $seen ->
    [below] Der Sensor zeigte unter { $floor } um { $time }
    [above] Der Sensor zeigte über { $ceiling } um { $time }
    [odd] Der Sensor zeigte { $value } um { $time }
    [stuck] { where }
   *[about] Blut etwa { $blood } um { $time }
}
where-by-sensor = { $seen ->
    [below] { where-still }
    [above] { where-still }
    [odd] { where-still }
    [stuck] { where }
   *[about] Laut Sensor Blut etwa { $blood } um { $time }
}
where-scanned = { $seen ->
    [below] { where }
    [above] { where }
    [odd] { where }
    [stuck] { where }
   *[about] Scan um { $time }: Blut etwa { $blood }, { $trend }
}
where-then = { $seen ->
    [below] dann unter den { $floor } des Sensors
    [above] dann über den { $ceiling } des Sensors
    [odd] dann { $value } laut Sensor
    [stuck] dann { $value } laut Sensor
   *[about] dann etwa { $blood }
}
where-last = { $seen ->
    [below] { $value } um { $time }
    [above] { $value } um { $time }
    [odd] { $value } um { $time }
    [stuck] { $value } um { $time }
   *[about] { $value } um { $time }, { $trend }
}

## Tiefe Werte

low-now =
    .title = Blutzucker ist tief: { $cat }
    .what = { where-read }. Tief heißt unter { $low }.
    .do = { $plan } { $meter } { $sensor }

low-now-again =
    .title = Wieder tief: { $cat }
    .what = { where-read }. Tief heißt unter { $low }, und es kommt wieder.
    .do = { $plan } { $meter } { $sensor }

low-now-near =
    .title = Noch nahe an tief: { $cat }
    .what = { where-read }. Tief heißt unter { $low }; das ist noch nahe.
    .do = Behalte { $cat } im Auge.

low-now-danger =
    .title = Gefährlich tief: { $cat }
    .what = Handle jetzt. { where-read }.
    .do = { $plan } { $meter } { $sensor }

low-now-below-range =
    .title = Gefährlich tief: { $cat }
    .what = Handle jetzt. { where }. Wie tief das Blut ist, ist unbekannt.
    .do = { $plan } { $meter } { $sensor }

low-now-meter =
    .title = Tief laut Messgerät: { $cat }
    .what = Handle jetzt. Um { $check_time } zeigte das Messgerät { $check }, unter den { $meter_low } des Plans.
    .do = { $plan }

low-now-meter-above =
    .title = Sensor tief, Messgerät nicht: { $cat }
    .what = { where-by-sensor }, das Messgerät zeigte aber { $check } um { $check_time }. Vorerst gilt das Messgerät.
    .do = Beobachte { $cat } und miss in 20 Minuten noch einmal. Wirkt { $cat } krank, handle zuerst.

low-now-meter-said =
    .title = Tief laut Messgerät: { $cat }
    .what = Handle jetzt. Um { $check_time } hat { $by } mit dem Messgerät weniger als die { $meter_low } des Plans gemessen.
    .do = { $plan }

low-now-meter-above-said =
    .title = Sensor tief, Messgerät nicht: { $cat }
    .what = { where-by-sensor }, { $by } hat aber { $meter_low } oder mehr gemessen ({ $check_time }). Vorerst gilt das Messgerät.
    .do = Beobachte { $cat } und miss in 20 Minuten noch einmal. Wirkt { $cat } krank, handle zuerst.

low-now-old =
    .title = War tief, nichts Neueres: { $cat }
    .what = Letzter Messwert { $age } alt: { where-last }. Der jetzige Stand ist unbekannt.
    .do = Scanne { $cat } jetzt und sieh nach der Katze. { $plan }

low-now-old-meter =
    .title = War tief, nichts Neueres: { $cat }
    .what = { $checked } Einen neueren Messwert gibt es nicht. Der jetzige Stand ist unbekannt.
    .do = Scanne { $cat } jetzt oder miss noch einmal, und sieh nach der Katze. { $plan }

low-now-meter-stands =
    .title = Messgerät tief, Sensor nicht: { $cat }
    .what = { $checked } Der Sensor zeigte { $value } um { $time }, das klärt es nicht.
    .do = Miss noch einmal mit dem Messgerät, und sieh nach der Katze. { $plan }

meter-showed = Um { $check_time } zeigte das Messgerät { $check }.
meter-said-low = Um { $check_time } hat { $by } mit dem Messgerät weniger als { $meter_low } gemessen.
meter-said-not-low = Um { $check_time } hat { $by } mit dem Messgerät { $meter_low } oder mehr gemessen.

low-over =
    .title = Nicht mehr tief: { $cat }
    .what = { where }.

low-eases =
    .title = Noch tief, nicht mehr gefährlich: { $cat }
    .what = { where-read }. Gefährlich heißt unter { $danger }, tief unter { $low }.
    .do = Es ist nicht vorbei: Beobachte { $cat } und halte dich an den Plan deiner Tierärztin.

low-over-undone =
    .title = Tiefe Messung zurückgenommen: { $cat }
    .what = Die Messung, die einen tiefen Wert zeigte, wurde zurückgenommen. { where }.

low-over-undone-unseen =
    .title = Tiefe Messung zurückgenommen: { $cat }
    .what = Die Messung, die einen tiefen Wert zeigte, wurde zurückgenommen. Es gibt keinen Messwert.

low-over-unknown =
    .title = Nichts Neues seit dem tiefen Wert: { $cat }
    .what = Seit { $age } keine Messwerte; der letzte war { $value } um { $time }.
    .do = Sieh nach der Katze und scanne, oder miss mit einem Messgerät.

low-over-late =
    .title = Wieder höher nach dem Tief: { $cat }
    .what = Letzter Messwert { $age } alt: { where-last }. Der jetzige Stand ist unbekannt.
    .do = Sieh nach { $cat } und scanne, oder miss mit einem Messgerät.

low-over-meter =
    .title = Nichts Neues seit dem tiefen Wert: { $cat }
    .what = { $checked } Seither kam nichts Neueres.
    .do = Sieh nach der Katze, und scanne oder miss noch einmal.

low-over-meter-stands =
    .title = Unbekannt, ob noch tief: { $cat }
    .what = { $checked } Seither keine Messung, und der Sensor klärt es nicht.
    .do = Sieh nach der Katze, und miss noch einmal.

low-ahead =
    .title = Tiefer Wert droht: { $cat }
    .what = { where }. Unter { $low } bis { $end }: { $chance }, { $crossing }.
    .do = { $rescan } Halte Futter und ein Messgerät bereit. { $plan } { $sensor }

low-ahead-danger =
    .title = Gefährlich tiefer Wert droht: { $cat }
    .what = { where }. Unter { $danger } bis { $end }: { $chance }, { $crossing }.
    .do = Geh jetzt zu { $cat } und miss mit einem Messgerät, wenn du kannst. { $plan } { $sensor }

crossing-now = vielleicht schon jetzt
crossing-around = gegen { $by }

low-ahead-over =
    .title = Tiefer Wert kam nicht näher: { $cat }
    .what = { where }. Unter { $low } bis { $end }: { $chance }.

low-ahead-unknown =
    .title = Nichts Neues seit der Warnung: { $cat }
    .what = Letzter Messwert { $age } alt: { where-last }. Der jetzige Stand ist unbekannt.
    .do = Sieh nach { $cat } und scanne, oder miss mit einem Messgerät.

scan-again =
    .title = Bitte noch einmal scannen: { $cat }
    .what = { where-scanned }. Inzwischen ungesehen unter { $low }: { $chance }.
    .do = Bitte scanne { $cat } jetzt.

falling-fast =
    .title = Blutzucker fällt schnell: { $cat }
    .what = { where }.
    .do = { $rescan } Behalte { $cat } im Auge.

low-found-later =
    .title = Es gab einen tiefen Wert: { $cat }
    .what = Von { $from } bis { $until } unter { $low }, am tiefsten { $nadir } um { $nadir_time }. Danach wieder höher.
    .do = { $also } Erzähl es deiner Tierärztin beim nächsten Kontakt, früher, wenn es wieder geschieht.

low-found-later-open =
    .title = Es gab einen tiefen Wert: { $cat }
    .what = Von { $from } bis { $until } unter { $low }, am tiefsten { $nadir } um { $nadir_time }. Danach unbekannt.
    .do = { $also } Sieh nach { $cat } und scanne jetzt noch einmal, oder miss mit einem Messgerät.

low-found-later-now =
    .title = Es war vorher noch tiefer: { $cat }
    .what = Von { $from } bis { $until } unter { $low }, am tiefsten { $nadir } um { $nadir_time }. Das kam verspätet; noch ist es tief.
    .do = { $also } Sieh jetzt nach { $cat }, und sag deiner Tierärztin, wie tief es war.

low-found-also = { $count ->
    [one] Tief war es auch von { $from } bis { $until }, am tiefsten { $nadir }.
   *[other] Tief war es noch { $count }-mal, am tiefsten von { $from } bis { $until }: { $nadir }.
}

rescan-at = Bitte scanne um { $time } noch einmal.
rescan-none = { "" }
scans-after = Die nächsten Scans danach: { $times }.
nothing = { "" }
plan-low = Der Plan deiner Tierärztin: „{ $plan }“
plan-low-phone = Der Plan deiner Tierärztin: „{ $plan }“ Telefon: { $phone }.
plan-none = Tu, was deine Tierärztin für tiefe Werte gesagt hat; hast du nichts Schriftliches, ruf sie an.
plan-none-phone = Tu, was deine Tierärztin für tiefe Werte gesagt hat; hast du nichts Schriftliches, ruf sie an: { $phone }.
vet-numbers = { $number }, wenn zu ist { $closed }
vet-number-closed = wenn zu ist { $closed }
ask-meter = Wenn du kannst, miss mit einem Messgerät.
no-meter = { "" }
sensor-first-day = Der Sensor ist neu, erster Tag: Er kann danebenliegen.
sensor-dip = Es kann am Sensor liegen: Vielleicht liegt { $cat } darauf. Sieh nach { $cat }.
sensor-jump = Es kann am Sensor liegen: Er ist gesprungen. Sieh nach { $cat }.
sensor-stuck = Es kann am Sensor liegen: Er zeigt immer wieder denselben Wert.
sensor-noisy = Es kann am Sensor liegen: Er schwankt viel mehr als sonst.
sensor-settled = { "" }

## Hohe Werte

high-long =
    .title = Lange hoch: { $cat }
    .what = Bis { $time } seit { $span } über { $high }, { where-then }. Seit { $last_dose } ist keine Dosis eingetragen.
    .do = Wurde eine Dosis vergessen oder nicht eingetragen? Geht es { $cat } schlecht, ruf deine Tierärztin an.

high-long-dosed =
    .title = Lange hoch: { $cat }
    .what = Bis { $time } seit { $span } über { $high }, { where-then }.
    .do = Sag es deiner Tierärztin. Frisst { $cat } nicht, erbricht oder ist matt, ruf jetzt an.

## Der Sensor

sensor-silent =
    .title = Sensor ist verstummt: { $cat }
    .what = Kein Messwert seit { $newest } ({ $age }), obwohl die Brücke verbunden ist: der Sensor selbst scheint aufgehört zu haben.
    .do = { $wear } Sieh nach, ob er noch an { $cat } sitzt. { $spares }

sensor-silent-bridge =
    .title = Keine Messwerte kommen an: { $cat }
    .what = Kein Messwert seit { $newest } ({ $age }), und die Brücke ist vielleicht nicht verbunden: es muss nicht am Sensor liegen.
    .do = Prüfe die Brücke: Strom, Netz, Abstand zu { $cat }. { $save } { $wear }

sensor-silent-scan =
    .title = Scan brachte nichts Neues: { $cat }
    .what = Um { $scanned } gescannt, aber der neueste Messwert ist von { $newest }: der Sensor scheint aufgehört zu haben.
    .do = Scanne in 15 Minuten noch einmal. Kommt nichts Neueres, ist er am Ende. { $wear } { $spares }

sensor-silent-error =
    .title = Sensor meldet einen Fehler: { $cat }
    .what = Seit { $time } meldet der Sensor einen Fehler und gibt keine Messwerte. Der letzte ist von { $newest }.
    .do = { $save } { $wear } { $spares }

sensor-silent-unread =
    .title = Neuester Wert nicht lesbar: { $cat }
    .what = Um { $time } zeigte der Sensor „{ $shown }“ und keinen Wert. Der letzte Wert ist von { $newest }.
    .do = Sieh nach { $cat } und nach dem Sensor. { $save } { $wear } { $spares }

sensor-silent-ended =
    .title = Sensor vorzeitig am Ende: { $cat }
    .what = Der Sensor { $how } um { $time }. Nichts wacht über { $cat }s Blutzucker, bis ein neuer da ist.
    .do = { $wear } { $spares }

sensor-ended =
    .title = Sensor ist abgelaufen: { $cat }
    .what = Der Sensor ist um { $time } abgelaufen. Nichts wacht über { $cat }s Blutzucker, bis ein neuer da ist.
    .do = { $spares }

sensor-silent-over =
    .title = Messwerte kommen wieder: { $cat }
    .what = Neuester: { $value } um { $time }.

wear-day = Tag { $day } von { $days }.
wear-unknown = Wann er angelegt wurde, ist nicht eingetragen.
spares-some = { $count ->
    [one] Ein Ersatzsensor liegt bereit.
   *[other] { $count } Ersatzsensoren liegen bereit.
}
spares-none = Es ist kein Ersatz da: bestell einen, und nimm bis dahin das Messgerät.
spares-unknown = { "" }
save-scan = Ein Scan jetzt kann noch die letzten { $memory } retten.
save-none = { "" }
how-failed = hörte auf zu messen
how-came-off = fiel ab
how-removed = wurde abgenommen
how-expired = lief ab

sensor-suspect =
    .title = Messwerte sehen falsch aus: { $cat }
    .what = { $how } seit { $since }; neuester { $value } um { $time }.
    .do = Sieh nach, ob { $cat } auf dem Sensor liegt oder er sich gelöst hat. Miss mit einem Messgerät, ehe du dich auf ihn verlässt.
suspect-stuck = Der Sensor zeigt immer denselben Wert
suspect-jump = Der Sensor springt schneller, als Blutzucker kann
suspect-noisy = Der Sensor schwankt weit mehr als sonst
suspect-dip = Ein kurzer tiefer Einbruch, wie wenn eine Katze auf dem Sensor liegt,

sensor-not-started =
    .title = Neuer Sensor bleibt stumm: { $cat }
    .what = Um { $applied } angelegt; der erste Messwert war bis { $due } fällig.
    .do = Prüfe, ob er gestartet wurde und gut sitzt. { $spares }

sensor-ending =
    .title = Sensor läuft bald ab: { $cat }
    .what = Er endet um { $ends }.
    .do = { $spares } Plane den Wechsel für eine Zeit, in der du zu Hause bist.

spares-low =
    .title = Wenige Sensoren übrig: { $cat }
    .what = { $count ->
        [0] Es ist kein unbenutzter Sensor mehr da.
        [one] Ein unbenutzter Sensor ist noch da.
       *[other] { $count } unbenutzte Sensoren sind noch da.
    }
    .do = Bestell die nächsten.

## Dosen

dose-twice =
    .title = Zwei Dosen eingetragen: { $cat }
    .what = Zweite Dosis eingetragen um { $second }{ $by }, { $between } nach der von { $first }. Mindestens { $apart } sollten dazwischen liegen.
    .do = Finde heraus, ob beide gegeben wurden. Wenn ja, ruf jetzt deine Tierärztin an{ $phone } und beobachte { $cat } genau. Gib keine weitere Dosis, ehe du mit ihr gesprochen hast.

dose-twice-maybe =
    .title = Eine Dosis oder zwei: { $cat }
    .what = Eingetragen ist eine Dosis um { $first }{ $by_first } und eine um { $second }{ $by }. Vielleicht dieselbe, zweimal eingetragen.
    .do = Klär das jetzt. Wurden zwei gegeben, ruf jetzt deine Tierärztin an{ $phone } und beobachte { $cat } genau. War es eine, nimm einen Eintrag zurück (lowtide log dose --at ZEIT --not-given) und trag Dosen nur an einer Stelle ein.

dose-due =
    .title = Dosis fällig: { $cat }
    .what = Die Dosis von { $time } ist fällig und nicht eingetragen. { $state }
    .do = Trag sie ein, wenn du sie gibst: War jemand schneller, erfährst du es sofort.

dose-due-hold =
    .title = Vor Dosis Praxis anrufen: { $cat }
    .what = Die Dosis von { $time } ist fällig und nicht eingetragen. { $state }
    .do = { $line }

dose-stop =
    .title = Noch nicht spritzen: { $cat }
    .what = Die Dosis von { $due } ist noch nicht eingetragen. { $state }
    .do = { $line } Ist sie schon gegeben, trag sie ein und sag es deiner Tierärztin.

dose-late =
    .title = Dosis nicht eingetragen: { $cat }
    .what = Die Dosis von { $time } ist nicht eingetragen. { $state }
    .do = Wurde sie gegeben, trag sie ein. Wenn nicht, gib sie nicht verspätet oder doppelt ohne das Wort deiner Tierärztin.

dose-given =
    .title = Dosis ist gegeben: { $cat }
    .what = { $person } hat sie um { $time } gegeben.

dose-noted =
    .title = Dosis eingetragen: { $cat }
    .what = Deine Dosis von { $time } ist eingetragen.

dose-already =
    .title = Dosis ist schon gegeben: { $cat }
    .what = { $person } hat sie um { $time } gegeben. Gib sie nicht ein zweites Mal.
    .do = Hast du auch gespritzt, ruf die Tierarztpraxis an und trag auch diese Dosis ein.

dose-already-you =
    .title = Dosis ist schon gegeben: { $cat }
    .what = Du hast sie um { $time } selbst gegeben. Mehr wurde nicht eingetragen.
    .do = Hast du ein zweites Mal gespritzt, ruf die Tierarztpraxis an und trag auch diese Dosis ein.

dose-recent =
    .title = Letzte Dosis nicht lange her: { $cat }
    .what = Um { $time } ist eine Dosis eingetragen, vor weniger als { $apart }. Mehr wurde nicht eingetragen.
    .do = Hast du nicht gespritzt, frag erst deine Tierärztin. Hast du gespritzt, ruf sie an und trag auch diese Dosis ein.

dose-undone =
    .title = Dosis zurückgenommen: { $cat }
    .what = Deine Dosis von { $time } gilt als nicht gegeben.

dose-stale =
    .title = Nichts eingetragen: { $cat }
    .what = Dieser Knopf gehört zu einer früheren Dosis; welche du meinst, ist nicht klar.
    .do = Nimm den Knopf der neuesten Nachricht, oder trag die Dosis zu Hause mit ihrer Zeit ein.

hand-over =
    .title = { $person } übernimmt: { $cat }
    .what = { $until } { $doses } { $scan } { $state }
    .do = { $plan }

hand-over-you =
    .title = Du übernimmst: { $cat }
    .what = { $until } { $doses } { $scan } { $state }
    .do = { $plan }

hand-over-open = Bis auf Weiteres.
hand-over-until = Bis { $time }.
hand-over-doses = Letzte Dosis { $last }, nächste { $next }.
hand-over-doses-open = Letzte Dosis { $last }; die von { $due } ist nicht eingetragen.
hand-over-open-dose = Die Dosis von { $due } ist nicht eingetragen.
hand-over-last = Letzte Dosis { $last }.
hand-over-next = Nächste Dosis { $next }.
hand-over-scan = Scannen vor { $time }.
hand-over-scan-now = Bitte jetzt scannen.
hand-over-state = { where-still }.
somebody = Jemand

dose-state = { where }.
dose-state-none = Es gibt keinen frischen Messwert.

before-dose =
    .title = Dosis fällig um { $due }: { $cat }
    .what = { where }.
    .do = { $line }

before-dose-hold =
    .title = Vor Dosis Praxis anrufen: { $cat }
    .what = Um { $due } ist eine Dosis fällig. { $state }
    .do = { $line }

before-dose-blind =
    .title = Dosis fällig um { $due }: { $cat }
    .what = Es gibt keinen frischen Messwert: der letzte ist von { $time }.
    .do = Scanne { $cat } vor der Dosis. { $line }

before-dose-none =
    .title = Dosis fällig um { $due }: { $cat }
    .what = Es gibt keinen Messwert, nach dem man gehen könnte.
    .do = Miss mit einem Messgerät oder scanne vor der Dosis. { $line }

hold-line = Das ist unter den { $hold } des Plans: nicht spritzen, ruf deine Tierärztin an{ $phone }.
hold-line-low = Der Blutzucker ist tief: ruf vor jeder Dosis deine Tierärztin an{ $phone }.
hold-line-recent = Die letzte Dosis war um { $last }, weniger als { $apart } vor dieser: frag deine Tierärztin{ $phone }, ehe du sie gibst.
hold-line-twice = Die letzte Dosis ist doppelt eingetragen, um { $first } und um { $second }: frag deine Tierärztin{ $phone }, ehe du diese gibst.
hold-line-general = Der Plan deiner Tierärztin: unter { $hold } nicht spritzen, anrufen{ $phone }.
hold-line-none = Halte dich an den Plan deiner Tierärztin.
phone = { " " }({ $number })
recorded-by = , von { $by }

## Lowtide selbst

file-rejected =
    .title = Datei nicht ganz lesbar: Lowtide
    .what = { $rows ->
        [0] Die Datei „{ $file }“ konnte nicht gelesen werden: { $reason }.
        [one] Eine Zeile von „{ $file }“ konnte nicht gelesen werden: { $reason }.
       *[other] { $rows } Zeilen von „{ $file }“ konnten nicht gelesen werden. Die erste: { $reason }.
    }
    .do = { $seen ->
        [aside] Nichts ist verloren: sieh in „{ $place }“ nach, berichtige sie und leg sie wieder hin.
        [inbox] Sie liegt noch da, als „{ $place }“: lass Lowtide sie lesen oder nimm sie weg.
       *[old] Nichts ist verloren: sieh in den Ordner „rejected“, berichtige sie und leg sie wieder hin.
    }

files-rejected =
    .title = Viele unlesbare Dateien: Lowtide
    .what = { $count } Dateien waren binnen eines Tages nicht lesbar. Die letzte, „{ $file }“: { $reason }.
    .do = { $seen ->
        [aside] Nichts ist verloren: jede ist mit ihrem Grund aufgehoben, die letzte als „{ $place }“. Sieh nach, was solche Dateien schreibt.
        [inbox] Sie liegen noch da, die letzte als „{ $place }“. Sieh nach, was solche Dateien schreibt.
       *[old] Nichts ist verloren: sie liegen mit den Gründen im Ordner „rejected“. Sieh nach, was solche Dateien schreibt.
    }

message-rejected =
    .title = MQTT-Nachricht unbrauchbar: Lowtide
    .what = { $rows ->
        [0] Die Nachricht war nicht zu gebrauchen: { $reason }.
        [one] Ein Wert der Nachricht war nicht zu gebrauchen: { $reason }.
       *[other] { $rows } Werte der Nachricht waren nicht zu gebrauchen. Der erste: { $reason }.
    }
    .do = Nichts ist verloren: „{ $file }“ enthält die Nachricht. Berichtige, was sie schickt.

messages-rejected =
    .title = Viele unbrauchbare MQTT-Nachrichten: Lowtide
    .what = { $count } Nachrichten waren binnen eines Tages nicht zu gebrauchen. Die letzte: { $reason }.
    .do = Nichts ist verloren: sie liegen im Ordner „rejected“, die letzte als „{ $file }“. Berichtige, was sie schickt.

value-conflict =
    .title = Zwei Werte für eine Zeit: { $cat }
    .what = { $rows ->
        [one] Ein Messwert
       *[other] { $rows } Messwerte
    } aus „{ $file }“ weichen vom Vorhandenen ab, zuerst um { $time }: { $came }, vorhanden { $held }. Beide bleiben; der erste gilt.
    .do = Wurde der Sensor gewechselt oder ist die Datei von einer anderen Katze, bring das in Ordnung.

source-refused =
    .title = Eine Quelle antwortet nicht: Lowtide
    .what = { $source }: { $reason }.
    .do = Messwerte von dort warten, bis sie wieder da ist. Prüfe, ob sie läuft und ob Name und Passwort stimmen.

source-folder =
    .title = Dateien können nicht gelesen werden: Lowtide
    .what = { $source }: { $reason }.
    .do = Dateien warten, bis das behoben ist; nichts geht verloren. Prüfe, ob der Ordner da ist und ob Lowtide ihn lesen und beschreiben darf.

source-back =
    .title = Eine Quelle ist wieder da: Lowtide
    .what = { $source } antwortet wieder.

delivery-failing =
    .title = Nachrichten kommen nicht durch: Lowtide
    .what = { $channel } für { $person } geht seit { $time } nicht: { $reason }.
    .do = Nachrichten nehmen die anderen Wege, die es gibt. Prüfe Server, Adresse und Passwort.

delivery-over =
    .title = Nachrichten kommen wieder durch: Lowtide
    .what = { $channel } für { $person } geht wieder.

clock-wrong =
    .title = Uhr des Rechners geht falsch: Lowtide
    .what = Sie zeigt { $time }, aber die Aufzeichnung reicht bis { $last }.
    .do = Stell sie oder verbinde den Rechner mit dem Internet. Bis dahin beurteilt Lowtide nicht, wie alt Messwerte sind.

clock-unset =
    .title = Uhr des Rechners nicht gestellt: Lowtide
    .what = Kein Zeitserver hat die Uhr dieses Rechners seit dem Start gestellt. Sie zeigt { $time }; das kann falsch sein.
    .do = Prüfe seine Internetverbindung und seinen Zeitdienst. Bis dahin können Alter, Fristen und Erinnerungen falsch sein. Hat er keinen Zeitdienst, stell die Uhr von Hand und schreib clock = "trust" unter [home].

clock-set-back =
    .title = Uhr wurde zurückgestellt: Lowtide
    .what = Die Uhr des Rechners ging { $span } vor und wurde um { $time } zurückgestellt. Lowtide ist mitgegangen und wacht weiter.
    .do = Was eingetragen wurde, solange sie vorging, steht mit falscher Zeit in der Aufzeichnung. Hat sie niemand mit Absicht gestellt, prüfe den Zeitdienst des Rechners.

clock-future-low =
    .title = Tief, mit falscher Zeit: { $cat }
    .what = Der Sensor zeigte { $value }, datiert { $reading }, hier ist es aber { $time }. Eine Uhr geht falsch; handle, als wäre es jetzt.
    .do = { $plan } { $meter } Prüfe dann die Uhr des Lesegeräts oder der Brücke und die dieses Rechners.

clock-future-was-low =
    .title = War tief, mit falscher Zeit: { $cat }
    .what = Der Sensor zeigte { $value }, datiert { $reading }, und später mehr. Hier ist es { $time }: Wann das war, ist unbekannt.
    .do = Sieh nach { $cat }. Prüfe dann die Uhr des Lesegeräts oder der Brücke und die dieses Rechners.

clock-future =
    .title = Messwerte aus der Zukunft: { $cat }
    .what = Ein Messwert trägt die Zeit { $reading }, hier ist es aber { $time }. Eine der beiden Uhren geht falsch.
    .do = Prüfe die Uhr des Lesegeräts oder der Brücke und die dieses Rechners. Diese Messwerte werden aufgehoben, aber erst beurteilt, wenn ihre Zeit da ist.

clock-future-check-low =
    .title = Tief laut Messgerät, mit falscher Zeit: { $cat }
    .what = Das Messgerät zeigte { $value }, datiert { $dated }, hier ist es aber { $time }. Handle, als wäre es jetzt.
    .do = { $plan } Trag die Messung dann mit der richtigen Zeit noch einmal ein, und prüfe die Uhr des Absenders und die dieses Rechners.

clock-future-check =
    .title = Eine Messung aus der Zukunft: { $cat }
    .what = Eine Messung mit dem Messgerät, { $value }, ist datiert { $dated }, hier ist es aber { $time }. Datum oder Uhr ist falsch.
    .do = Trag sie mit der richtigen Zeit noch einmal ein; dann zählt diese nicht mehr. Prüfe die Uhr des Absenders und die dieses Rechners. Bis ihre Zeit da ist, wird sie aufgehoben, aber nicht beurteilt.

clock-future-applied =
    .title = Neuer Sensor, falsche Zeit: { $cat }
    .what = Ein neuer Sensor ist als gesetzt eingetragen für { $dated }, hier ist es aber { $time }. Datum oder Uhr ist falsch.
    .do = Trag ihn mit der richtigen Zeit noch einmal ein; dann zählt dieser Eintrag nicht mehr. Prüfe die Uhr des Absenders und die dieses Rechners. Bis seine Zeit da ist, wird der Eintrag aufgehoben, aber nicht beurteilt.

clock-future-sensor =
    .title = Sensor-Eintrag, falsche Zeit: { $cat }
    .what = Ein Eintrag zum Sensor ist datiert { $dated }, hier ist es aber { $time }. Datum oder Uhr ist falsch.
    .do = Trag ihn mit der richtigen Zeit noch einmal ein; dann zählt dieser nicht mehr. Prüfe die Uhr des Absenders und die dieses Rechners. Bis seine Zeit da ist, wird der Eintrag aufgehoben, aber nicht beurteilt.

nobody-watching =
    .title = Niemand wacht: Lowtide
    .what = Von Lowtide war seit { $time } nichts zu hören, { $span } lang. Tiefe Werte und Scanfenster werden nicht überwacht.
    .do = Prüfe, ob sein Rechner läuft und Internet hat. Kümmere dich bis dahin von Hand um { $cat }: scanne und achte selbst auf tiefe Werte.

nobody-watching-over =
    .title = Wacht wieder: Lowtide
    .what = Lowtide ist seit { $time } wieder da und wacht.

nobody-watching-trial =
    .title = Der Push-Server ist zu alt: Lowtide
    .what = Dieser Server kann Nachrichten nicht zurücknehmen und daher nicht sagen, dass niemand wacht. Diese hier kannst du ignorieren.
    .do = Bring den Server auf den neuesten Stand oder nimm nobody_watching_hours aus [notify.ntfy].

nobody-watching-unable =
    .title = Ein Ausfall fiele nicht auf: Lowtide
    .what = Der Push-Server kann eine wartende Nachricht nicht zurücknehmen. Bleibt Lowtide stehen, sagt es niemand.
    .do = Bring den Push-Server auf den neuesten Stand oder nimm eine [heartbeat]-Adresse.

nobody-watching-source = Der Push-Server

disk-low =
    .title = Der Speicher ist fast voll: Lowtide
    .what = { $free } MB sind noch frei in { $place }.
    .do = Schaff Platz, sonst müssen Messwerte draußen warten.

database-error =
    .title = Aufzeichnung ist gestört: Lowtide
    .what = { $reason }.
    .do = Die Messwerte selbst sind im Journal sicher. Kommt das wieder, tausch die Speicherkarte.

record-fails =
    .title = Nichts wird aufgezeichnet: Lowtide
    .what = Tiefe Werte werden noch gemeldet, aber nichts wird behalten, auch keine Dosis. { $reason }.
    .do = Schreib Dosen auf Papier, bis das vorbei ist. Wer den Rechner betreut, schafft Platz auf der Platte; ist Platz da, ist die Karte verschlissen und muss getauscht werden. Dateien warten, wo sie sind.

record-back =
    .title = Es wird wieder aufgezeichnet: Lowtide
    .what = Was gewartet hat, wird jetzt gelesen.

fault =
    .title = Ein Fehler im Programm: Lowtide
    .what = Ein Ereignis konnte nicht verarbeitet werden. Es liegt in „{ $file }“, und Lowtide läuft weiter.
    .do = Bitte melde es mit dieser Datei dem, der das Programm betreut.
