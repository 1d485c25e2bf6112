# Deutsch: was gedruckt wird, der Zettel für die Vertretung und der Bericht für die Tierärztin, und die Webseite. Regeln wie in de.ftl.

date-year = { $weekday }, { $day }. { $month } { $year }
page-kept-dose = Aufgeschrieben für { $cat }: eine Dosis, { $time }.
page-dose-already = Für { $cat } ist eine Dosis von { $time } schon aufgeschrieben. Darum wurde nichts aufgeschrieben, und es soll keine gegeben werden. Wurde trotzdem eine zweite gegeben, ruf die Tierarztpraxis an.
page-undone-dose = Zurückgenommen für { $cat }: die Dosis von { $time }.
page-kept-meter = Aufgeschrieben für { $cat }: Messung mit dem Messgerät, { $value } um { $time }.
page-undone-meter = Zurückgenommen für { $cat }: die Messung von { $time }.
page-kept-sensor = Aufgeschrieben für { $cat }: was mit dem Sensor war, { $time }.
page-kept-spare = { $count ->
    [0] Aufgeschrieben für { $cat }: kein Ersatzsensor mehr da.
    [one] Aufgeschrieben für { $cat }: ein Ersatzsensor.
   *[other] Aufgeschrieben für { $cat }: { $count } Ersatzsensoren.
}
page-kept-note = Aufgeschrieben für { $cat }: die Notiz.
page-kept-answer = Deine Antwort ist aufgeschrieben.
page-answer-over = Deine Antwort ist aufgeschrieben, aber das, worum es ging, ist nicht mehr offen. Was jetzt offen ist, steht auf dieser Seite.
page-known = Das war schon aufgeschrieben; es wurde nichts noch einmal aufgeschrieben.
page-failed = Es wurde nichts aufgeschrieben: { $reason }. Versuch es noch einmal, und schreib es auf Papier, bis es geht.
page-unsure = Es ist nicht bekannt, ob das aufgeschrieben wurde. Sieh in ein paar Minuten unter „Was geschehen ist“ nach, bevor du es noch einmal aufschreibst.
page-slip-time = „{ $text }“ ist keine Uhrzeit, darum wurde nichts aufgeschrieben. Schreib sie wie 06:15, oder lass das Feld leer für jetzt.
page-slip-future = { $time } kommt erst noch, darum wurde nichts aufgeschrieben.
page-slip-level = „{ $text }“ ist kein Glukosewert in { $unit }, darum wurde nichts aufgeschrieben. Schreib die Zahl, die das Messgerät zeigt, oder LO oder HI.
page-slip-unlikely = { $text } { $unit } wäre sehr ungewöhnlich, darum wurde nichts aufgeschrieben. Ist es die andere Einheit, oder ein Versehen?
page-slip-units = „{ $text }“ können nicht die Einheiten einer Dosis sein, darum wurde nichts aufgeschrieben. Das Feld darf leer bleiben.
page-slip-count = „{ $text }“ ist keine Anzahl von Sensoren, darum wurde nichts aufgeschrieben.
page-slip-empty = Die Notiz war leer, darum wurde nichts aufgeschrieben.
page-slip-gone = Das wurde schon zurückgenommen oder ist für diese Seite zu lange her; es wurde nichts geändert.
page-slip-form = Dieses Formular ist von einer anderen Zeit oder einem anderen Ort, darum wurde nichts aufgeschrieben. Mach es von dieser Seite aus noch einmal.
page-password-wrong = Das ist nicht das Passwort.
page-password-wait = { $seconds ->
    [one] Zu oft falsch. Warte eine Sekunde und versuch es dann noch einmal.
   *[other] Zu oft falsch. Warte { $seconds } Sekunden und versuch es dann noch einmal.
}
sheet-title = { $cat }: Zettel für { $person }
sheet-made = Gedruckt { $time }. Zeiten in der Uhrzeit von { $zone }, Werte in { $unit }.
sheet-emergency = Wenn etwas nicht stimmt
sheet-act-first = Wirkt { $cat } krank, handle zuerst, was auch immer eine Zahl sagt. Zeichen eines tiefen Werts: Hunger, Unruhe, Schwäche, Schwanken, Verwirrtheit, Krämpfe; manche Katzen werden nur still oder fressen nicht mehr.
sheet-vet = Tierärztin:
sheet-out-of-hours = Wenn die Praxis geschlossen ist:
sheet-no-vet-phone = Hier steht keine Nummer. Frag danach, bevor { $owner } abreist: ______________________
sheet-people = Wer ist wer
sheet-person = Name
sheet-phone = Telefon
sheet-reached = So erreicht sie Lowtide
sheet-asked = Antwortet niemand, fragt Lowtide in dieser Reihenfolge.
sheet-owner = { $person }, betreut Lowtide
sheet-has-cat-now = Zurzeit hat { $person } { $cat }.
sheet-has-cat-from = Ab { $time }: { $person }.
sheet-plan = Der Plan der Tierärztin
sheet-plan-limits = Laut Sensor ist unter { $low } tief, unter { $danger } gefährlich tief; mit einem Messgerät ist unter { $meter_low } tief.
sheet-plan-high = Hoch ist über { $high }.
sheet-plan-hold = Vor einer Dosis, unter { $hold }: nicht spritzen, die Tierärztin anrufen.
sheet-plan-no-hold = Ab welchem Wert nicht gespritzt wird, steht hier nicht: frag die Tierärztin.
sheet-plan-on-low = Bei einem tiefen Wert:
sheet-plan-in-words = In den Worten der Tierärztin:
sheet-plan-sglt2 = { $cat } bekommt ein Mittel, bei dem der Blutzucker trotz Lebensgefahr fast normal sein kann. Frisst { $cat } nicht, erbricht oder ist matt, ruf jetzt die Tierärztin an.
sheet-doses = Dosen
sheet-dose-times = Jeden Tag um { $times } in der Uhrzeit des Hauses ({ $zone }).
sheet-dose-next = Die nächsten: { $times }.
sheet-dose-none = Zeiten stehen hier nicht: frag { $owner }.
sheet-dose-twice = Zwischen zwei Dosen liegen mindestens { $apart }. Unsicher, ob eine gegeben wurde? Gib keine, ehe du { $owner } oder die Tierärztin gefragt hast.
sheet-dose-record = Trag jede Dosis sofort mit „{ $given }“ in der Nachricht ein: wer als Zweites drückt, erfährt, dass sie gegeben ist.
sheet-dose-write = Schreib jede Dosis mit ihrer Zeit auf und sag es { $owner }.
sheet-dose-last = Zuletzt eingetragen:
sheet-dose-last-none = Noch ist keine Dosis eingetragen.
sheet-dose-by = { $time }, von { $person }
sheet-scan = Scannen
sheet-scan-how = Halte Lesegerät oder Telefon an den Sensor, bis er geantwortet hat, und sieh nach, ob der Messwert bei Lowtide angekommen ist. Der Sensor merkt sich { $memory }; was älter ist, geht verloren.
sheet-scan-daily = Jeden Tag um { $times }: so bleibt keine Lücke.
sheet-scan-daily-lost = Jeden Tag um { $times }. Deine Nacht ist länger als das Gedächtnis des Sensors: { $from } bis { $until } geht in jedem Fall verloren.
sheet-scan-every = Mindestens alle { $span }, Tag und Nacht.
sheet-scan-next = Die nächsten: { $times }.
sheet-scan-lost = In jedem Fall verloren: { $from } bis { $until }.
sheet-scan-dose = Scanne auch vor jeder Dosis.
sheet-streamed = Der Sensor sendet alle { $sample } von selbst: zu scannen gibt es nichts. Lass die Brücke in { $cat }s Nähe und am Strom.
sheet-now = So stand es beim Drucken
sheet-now-reading = Neuester Messwert: { $value }, { $time }.
sheet-now-no-reading = Es gibt noch keinen Messwert.
sheet-now-blood = Blut etwa { $blood }, { $trend }.
sheet-now-below = Das ist weniger, als der Sensor messen kann (unter { $level }): Wie tief das Blut ist, ist unbekannt.
sheet-now-above = Das ist mehr, als der Sensor messen kann (über { $level }): Wie hoch das Blut ist, ist unbekannt.
sheet-now-window = Der Sensor hält alles bis { $time }: scanne vorher.
sheet-now-wear = Sensor angelegt { $applied }, endet spätestens { $ends }. Sensoren an Katzen enden oft Tage früher.
sheet-now-no-wear = Von einem Sensor an { $cat } ist nichts bekannt.
sheet-now-spares = { $count ->
    [0] Es ist kein Ersatzsensor da.
    [one] Ein Ersatzsensor liegt bereit.
   *[other] { $count } Ersatzsensoren liegen bereit.
}
sheet-now-open = Offen: „{ $matter }“, seit { $time }.
sheet-now-quiet = Nichts ist offen.
sheet-messages = Was die Nachrichten bedeuten
sheet-message = Die Nachricht
sheet-means = Sie bedeutet
sheet-do = Was zu tun ist
sheet-answer = Antworte mit „{ $taken }“, sobald du dich um etwas kümmerst. Eine dringende Nachricht, auf die niemand antwortet, kommt alle zehn Minuten wieder und geht auch an die anderen.
sheet-silence = Keine Nachricht heißt nicht, dass alles gut ist: ein Telefon kann stumm sein, ein Netz ausfallen. Sieh nach { $cat } und auf dein Telefon.
sheet-critical = handle jetzt
sheet-warning = handle bald
sheet-notice = gut zu wissen

sheet-low-now-danger =
    .what = Laut Sensor unter { $danger } oder unter allem, was er messen kann.
    .do = Jetzt tun, was im Kasten oben steht. Miss mit einem Messgerät, wenn du kannst.
sheet-low-now-meter =
    .what = Ein Messgerät zeigte weniger als { $meter_low }.
    .do = Jetzt tun, was im Kasten oben steht.
sheet-low-now =
    .what = Laut Sensor unter { $low }.
    .do = Tun, was der Plan für tiefe Werte sagt. Miss mit einem Messgerät, wenn du kannst.
sheet-low-now-old =
    .what = Es war tief, und seither kam kein Messwert: Der jetzige Stand ist unbekannt.
    .do = Jetzt scannen und nach der Katze sehen. Wirkt sie krank: was im Kasten oben steht.
sheet-low-now-meter-stands =
    .what = Ein Messgerät zeigte einen tiefen Wert, den der Sensor nicht zeigt.
    .do = Noch einmal messen. Wirkt die Katze krank: was im Kasten oben steht.
sheet-low-now-meter-above =
    .what = Der Sensor zeigt einen tiefen Wert, ein Messgerät nicht. 20 Minuten lang gilt das Messgerät.
    .do = Die Katze beobachten und in 20 Minuten noch einmal messen.
sheet-low-ahead =
    .what = Wahrscheinlich in den nächsten { $ahead } unter { $low }.
    .do = Noch einmal scannen, wenn die Nachricht es sagt, Futter bereithalten, in der Nähe bleiben.
sheet-falling-fast =
    .what = Der Blutzucker fällt schnell.
    .do = Noch einmal scannen, wenn die Nachricht es sagt. Behalte { $cat } im Auge.
sheet-scan-again =
    .what = Beim letzten Scan fiel er und kann inzwischen ungesehen tief sein.
    .do = Jetzt scannen.
sheet-dose-twice-row =
    .what = Zwei Dosen sind in weniger als { $apart } eingetragen.
    .do = Finde heraus, ob beide gegeben wurden. Wenn ja, ruf jetzt die Tierärztin an. Gib keine weitere Dosis, ehe du mit ihr gesprochen hast.
sheet-before-dose =
    .what = Eine Dosis ist fällig; die Nachricht sagt, wo der Blutzucker steht und was gegen sie spricht.
    .do = Vergleiche mit dem Plan oben. Im Zweifel nicht spritzen, anrufen.
sheet-dose-late =
    .what = Eine Dosis war fällig und ist nicht eingetragen.
    .do = Wurde sie gegeben, trag sie ein. Wenn nicht, gib sie nicht verspätet oder doppelt ohne das Wort der Tierärztin.
sheet-window-closing =
    .what = Das Gedächtnis des Sensors ist bald voll.
    .do = Vor der genannten Zeit scannen.
sheet-window-closed =
    .what = Das Gedächtnis ist voll: Messwerte gehen verloren.
    .do = Jetzt scannen.
sheet-low-found-later =
    .what = Ein Scan zeigt, dass es vorher einen tiefen Wert gab.
    .do = Sieh nach { $cat }. Sag es { $owner }, für die Tierärztin.
sheet-high-long =
    .what = Der Blutzucker ist seit Stunden hoch.
    .do = Wurde eine Dosis vergessen? Frisst { $cat } nicht, erbricht oder ist matt, ruf jetzt die Tierärztin an.
sheet-sensor-silent =
    .what = Sensor oder Brücke geben nichts Neues: niemand sieht { $cat }s Blutzucker.
    .do = Sieh nach, ob der Sensor noch sitzt, scanne noch einmal, halte dich an die Nachricht. Sag es { $owner }.
sheet-sensor-suspect =
    .what = Messwerte, die nicht stimmen können.
    .do = Sieh nach, ob { $cat } auf dem Sensor liegt oder er lose ist. Trau dem Messgerät und deinen Augen.
sheet-sensor-not-started =
    .what = Ein neuer Sensor gibt nach der ersten Stunde nichts.
    .do = Prüfe, ob er gestartet wurde und gut sitzt. Sag es { $owner }.
sheet-sensor-ending =
    .what = Die Tage des Sensors sind fast um.
    .do = Frag { $owner }, wer ihn wann wechselt.
sheet-hand-over =
    .what = Jetzt hast du die Katze, oder jemand anderes.
    .do = Lies sie einmal ganz: bis wann, die Dosen, der nächste Scan.
sheet-lowtide-title = …: Lowtide
sheet-lowtide =
    .what = Mit Lowtide selbst stimmt etwas nicht.
    .do = Sag es { $owner }. Bis es behoben ist, scanne öfter und sieh öfter nach { $cat }.
sheet-prefix =
    .what = Niemand hat geantwortet, es ist nach einer Antwort noch so, oder es ist schlimmer geworden.
    .do = Kümmere dich und antworte, oder ruf jemanden aus der Liste oben an.
sheet-taken =
    .what = Jemand anders kümmert sich darum.
    .do = Nichts, außer man bittet dich darum.

curve-title = { $cat }: Blutzucker von { $from } bis { $until }
curve-made = Erstellt { $time } aus den Messwerten des Sensors. Zeiten in der Uhrzeit von { $zone }, Werte in { $unit }.
curve-tissue = Der Sensor misst in der Flüssigkeit unter der Haut, die einige Minuten hinter dem Blut herläuft. Die Zahlen sind seine Messwerte, keine Blutwerte.
curve-range = Bereich des Plans: { $low } bis { $high }.
curve-range-low = Tief laut Plan: { $low }. Eine obere Grenze gibt der Plan nicht.
curve-cycles = Von Dosis zu Dosis
curve-cycle = Dosis
curve-pre-dose = Davor
curve-nadir = Tiefster
curve-nadir-after = nach
curve-highest = Höchster
curve-mean = Mittel
curve-below = Darunter
curve-inside = Im Bereich
curve-above = Darüber
curve-held = Vorhanden
curve-units = Einheiten
curve-open-cycle = noch nicht zu Ende
curve-none = keine
curve-below-floor = unter { $floor }
curve-above-ceiling = über { $ceiling }
curve-mean-note = Das Mittel lässt aus, was der Sensor nicht messen konnte; „höchstens“ und „mindestens“ zeigen es an.
curve-at-most = höchstens { $value }
curve-at-least = mindestens { $value }
curve-about = etwa { $value }
curve-days = Tag für Tag
curve-day = Tag
curve-doses = Dosen
curve-checks = Messgerät
curve-check = { $value } ({ $meter })
curve-check-sensor = der Sensor: { $value }
curve-notes = Notizen
curve-whole = Alles zusammen
curve-no-cycles = In dieser Zeit ist keine Dosis eingetragen, also gibt es keine Zyklen; die Tage stehen darunter.
curve-no-readings = Aus dieser Zeit gibt es keine Messwerte.
curve-legend = Linie: Sensor. Graues Band: Bereich des Plans. Gestrichelt: eine Dosis. Kreis: ein Messgerät. Unterbrechung: keine Messwerte.
curve-meter-pet = Messgerät für Tiere
curve-meter-human = Messgerät für Menschen
curve-meter-whole-blood = Messgerät für Menschen, Vollblut
curve-meter-unknown = Messgerät unbekannter Art
curve-few = Vorhanden sind { $share } der fälligen Messwerte: Zahlen aus so wenigen können irreführen.
curve-overlay = Alle Zyklen übereinander, nach Stunden seit der Dosis

correction = { $count ->
    [one] Nach einer Messung mit einem Messgerät ({ $kinds }) scheint der Sensor { $off } zu messen, plus/minus { $doubt }; der Blutwert rechnet damit.
   *[other] Nach { $count } Messungen mit einem Messgerät ({ $kinds }) scheint der Sensor { $off } zu messen, plus/minus { $doubt }; der Blutwert rechnet damit.
}
correction-kind = { $meter }: { $count }
correction-high = etwa { $share } zu hoch
correction-low = etwa { $share } zu tief
correction-right = etwa richtig
correction-people = Messgeräte für Menschen messen Katzenblut eher zu tief: ein Teil davon kann am Messgerät liegen, nicht am Sensor.
correction-unknown = Wo die Art des Messgeräts nicht bekannt ist, kann ein Teil davon am Messgerät liegen.
correction-whole-blood = { $count ->
    [one] Eine Messung mit einem Vollblut-Messgerät wird für den Blutwert nicht verwendet.
   *[other] { $count } Messungen mit einem Vollblut-Messgerät werden für den Blutwert nicht verwendet.
}
correction-out-of-range = { $count ->
    [one] Eine Messung, bei der das Messgerät außerhalb seines Bereichs war, wird für den Blutwert nicht verwendet.
   *[other] { $count } Messungen, bei denen das Messgerät außerhalb seines Bereichs war, werden für den Blutwert nicht verwendet.
}

agreement-title = Der Sensor neben dem Messgerät
agreement-meter = Messgerät
agreement-pairs = Paare
agreement-bias = Abweichung
agreement-mard = MARD
agreement-limits-title = 95-%-Grenzen
agreement-limits = { $low } bis { $high }
agreement-iso = ISO 15197
agreement-clarke = Clarke A+B
agreement-parkes = Parkes A+B
agreement-sensor = { $meter }, Sensor angelegt { $date }
agreement-sensor-unknown = { $meter }, Sensor, Tag unbekannt
agreement-pair = Ein Paar ist eine Messung mit einem Messgerät und das, was der Sensor { $lag } später las, wenn er dasselbe Blut zeigt. Abweichung: Sensor minus Messgerät, im Mittel. Arten von Messgeräten werden nie vermischt, und nichts auf dieser Seite ist danach berichtigt.
agreement-figures = MARD: der mittlere Abstand, als Anteil am Wert des Messgeräts. 95-%-Grenzen (Bland-Altman): etwa 19 von 20 Unterschieden liegen dazwischen. ISO 15197: Paare mit höchstens { $near } Abstand unter { $from }, ab da 15 %; Messgeräte für Menschen müssen 95 % erreichen.
agreement-grids = Clarke A+B, Parkes A+B: Paare, deren Unterschied die Behandlung nicht irregeführt hätte. Beide Raster wurden für Menschen gemacht, die sich selbst behandeln; für Katzen sind sie nur eine gemeinsame Sprache.
agreement-few = Unter { $count } Paaren stehen nur ihre Zahl und die Abweichung da: sie sagen wenig.
agreement-people = Messgeräte für Menschen, am meisten die für Vollblut, messen Katzenblut eher zu tief: der Sensor scheint dann zu hoch zu lesen.
agreement-out-of-range = { $count ->
    [one] Bei einer Messung war das Messgerät oder der Sensor außerhalb seines Bereichs: keine Zahl zum Vergleichen.
   *[other] Bei { $count } Messungen war das Messgerät oder der Sensor außerhalb seines Bereichs: keine Zahl zum Vergleichen.
}
agreement-unmatched = { $count ->
    [one] Neben einer Messung gibt es keine Messwerte des Sensors nah davor und danach.
   *[other] Neben { $count } Messungen gibt es keine Messwerte des Sensors nah davor und danach.
}

page-now = Jetzt
page-now-title = { $cat } um { $time }
page-no-settings = Lowtide hat noch keine Einstellungen.
page-answered = { $person } kümmert sich darum, seit { $time }.
page-answered-you = Du kümmerst dich darum, seit { $time }.
page-put-off = Von { $person } bis { $time } aufgeschoben.
page-comes-back = Ist es um { $time } noch so, kommt es wieder.
page-told = Eine Nachricht darüber ging an: { $people }.
page-told-none = Noch kein Server hat eine Nachricht darüber angenommen.
page-quiet = Zu { $cat } ist nichts offen. Das stützt sich auf einen Messwert, der { $age } alt ist.
page-quiet-blind = Zu { $cat } ist nichts offen, aber das beruhigt nicht: der neueste Messwert ist { $age } alt, und was danach kam, ist unbekannt.
page-quiet-unsure = Zu { $cat } ist nichts offen, aber das beruhigt nicht: wo das Blut jetzt steht, ist unbekannt. Der neueste Messwert ist { $age } alt.
page-quiet-none = Zu { $cat } ist nichts offen, aber das beruhigt nicht: es gibt keinen Messwert.
page-cat = { $cat }, laut Sensor
page-reading = Neuester Messwert: { $value } um { $time }, { $age } alt.
page-blood = Blut etwa { $blood }, plus/minus { $doubt }; { $trend }.
page-blood-old = Wo das Blut jetzt steht, ist unbekannt: der neueste Messwert ist zu alt.
page-blood-odd = Wo das Blut jetzt steht, ist unbekannt: die neuesten Messwerte sehen falsch aus.
page-chance = Unter { $low } in den nächsten { $span }: { $chance }.
page-scan-by = Scanne bis { $time } noch einmal.
page-scan-since = Seit { $time } lohnt sich ein neuer Scan: bitte jetzt scannen.
page-curve = Die letzten 24 Stunden und die nächsten 4
page-curve-past = Die letzten 24 Stunden
page-curve-none = Aus den letzten 24 Stunden gibt es keine Messwerte.
page-curve-seen = { $cat }, die letzten 24 Stunden: tiefster Wert { $lowest } um { $lowest_time }, höchster { $highest } um { $highest_time }.
page-curve-seen-ahead = Um { $time } liegt das Blut in 8 von 10 Fällen zwischen { $from } und { $to }.
page-picture-now = jetzt
page-legend-title = Was das Bild zeigt
page-legend = Dicke Linie: der Sensor. Dünne Linie quer: die untere Grenze des Plans, { $low }. Gestrichelt von oben nach unten: eine Dosis. Kreis: ein Messgerät. Unterbrechung: keine Messwerte.
page-legend-band = Graues Band: Bereich des Plans.
page-legend-ahead = Fläche mit punktiertem Rand: wo das Blut sein kann, in 8 von 10 Fällen.
page-ahead = Die nächsten Stunden in Zahlen
page-ahead-at = Wann
page-ahead-range = Blut in 8 von 10 Fällen, { $unit }
page-ahead-span = { $from } bis { $to }
page-ahead-under = Bis dahin unter { $low }
page-ahead-caution = Eine gerechnete Vermutung, die mit jeder Stunde unsicherer wird. Sie weiß nichts von Futter oder Dosen, die noch kommen. Sie ist kein Rat zu einer Dosis. Ein Sensor kann sich irren: Prüfe einen tiefen Wert mit einem Messgerät.
page-next = Was ansteht
page-dose-last = Zuletzt eingetragene Dosis: { $dose }.
page-dose-next = Dosen sind fällig um { $times }.
page-window-past = Der Sensor vergisst seit { $time }: scanne jetzt.
page-scans = Scans, die keine Lücke lassen: { $times }.
page-scans-least = Scans, bei denen am wenigsten verloren geht: { $times }.
page-held = Vorhandene Messwerte der letzten 24 Stunden: { $share }.
page-hands = Wer die Katze hat
page-outbox = { $count ->
    [one] Eine Nachricht ist unterwegs.
   *[other] { $count } Nachrichten sind unterwegs.
}
page-record = Eintragen
page-record-link = Dosis, Messung, Sensor oder Notiz eintragen
page-record-how = Dosen, Notizen und Antworten stehen unter dem Namen { $person }. Zeiten in der Uhrzeit von { $zone }; ohne Zeit gilt jetzt.
page-form-dose = { $cat }: eine Dosis
page-form-meter = { $cat }: eine Messung mit dem Messgerät
page-form-sensor = { $cat }: der Sensor
page-form-spare = { $cat }: Ersatzsensoren
page-form-note = { $cat }: eine Notiz
page-field-at = Wann (leer: jetzt)
page-field-units = Gegebene Einheiten, wie der Plan der Tierärztin sie nennt (darf leer bleiben)
page-field-glucose = Was das Messgerät zeigt, in { $unit } (eine Zahl, LO oder HI)
page-field-meter = Welches Messgerät
page-field-event = Was geschehen ist
page-field-count = Unbenutzte Sensoren im Schrank
page-field-text = Notiz (höchstens 500 Zeichen)
page-field-password = Passwort
page-save-dose = Diese Dosis eintragen
page-save-meter = Diese Messung eintragen
page-save-sensor = Das eintragen
page-save-spare = Diese Zahl eintragen
page-save-note = Diese Notiz eintragen
page-undose = Diese Dosis wurde nicht gegeben
page-check = Eingetragen für { $time }: { $check }.
page-unmeter = Diese Messung zurücknehmen
page-sensor-applied = Ein neuer wurde angelegt
page-sensor-error = Er zeigt einen Fehler
page-sensor-ok = Der Fehler ist vorbei
page-sensor-expired = Er hat sein Ende erreicht
page-sensor-failed = Er hat aufgehört zu messen
page-sensor-came-off = Er ist abgefallen
page-sensor-removed = Er wurde abgenommen
page-ask-title = Schon eine Dosis eingetragen: { $cat }
page-ask = Für { $time } ist eine Dosis eingetragen. Zwischen zwei Dosen sollen mindestens { $apart } liegen. Es wurde nichts weiter eingetragen.
page-ask-do = Hast du nicht gespritzt, gib jetzt nichts und frag zuerst die Tierärztin. Hast du gespritzt, drück auf den Knopf unten und ruf sie an.
page-ask-back = Ich habe nicht gespritzt: zurück
page-enter = Hinein
page-leave = Abmelden
page-you-are = Wessen Seite das ist:
page-you = { $person } (du)
page-history = Was geschehen ist
page-sensors = Sensoren
page-curve-link = Die Kurve von { $cat } für die Tierärztin
page-sheet-link = Der Zettel über { $cat } für die Vertretung
page-as-of = Stand { $time }, in der Uhrzeit von { $zone }.
page-anew = Diese Seite erneuert sich jede Minute von selbst.

page-history-of = Die letzten { $span }, das Neueste zuerst. Jede Zeile steht so da, wie sie damals gesagt wurde.
page-history-cut = Nur die neuesten { $count } Zeilen stehen hier.
page-history-none = Aus dieser Zeit ist nichts eingetragen.
page-was-opened = Gefunden: „{ $matter }“.
page-was-changed = Mehr davon: „{ $matter }“.
page-was-cleared = Nicht mehr offen: „{ $matter }“.
page-was-unsure = Nicht mehr bekannt: „{ $matter }“.
page-was-message = An { $person }: „{ $title }“. { $fate }
page-was-answer = { $person } hat geantwortet: „{ $answer }“.
page-was-answer-to = { $person } hat geantwortet: „{ $answer }“ ({ $matter }).
page-was-of = { $cat }: { $line }
page-was-dose = Dosis eingetragen: { $dose }.
page-was-dose-undone = Die Dosis von { $time } wurde zurückgenommen: nicht gegeben.
page-was-check = Messung von { $time }: { $check }.
page-was-check-undone = Die Messung von { $time } wurde zurückgenommen.
page-was-sensor = Sensor, { $time }: { $event }.
page-was-note = Notiz: { $text }
page-was-note-by = Notiz von { $person }: { $text }
page-fate-taken = { $channel }: der Server hat sie um { $time } angenommen.
page-fate-failed = Sie kam nicht an: { $reason }.
page-fate-withdrawn = Zurückgezogen, bevor ein Server sie hatte.
page-fate-waiting = Noch nicht zugestellt.
page-wear-none = Für { $cat } ist noch kein Sensor eingetragen.
page-wear-on = Angelegt
page-wear-end = Zu Ende
page-wear-days = Tage
page-wear-still = noch dran
page-wear-ended = { $time }, { $how }
page-cost = Ein Tag hat bisher { $day } gekostet.
page-cost-full = Bei { $price } je Sensor kostet ein Tag { $full }, wenn er seine { $days } Tage hält.
page-life-own = { $count } Sensoren sind eingetragen. Darauf stützt sich, was folgt.
page-life-borrowed = { $count ->
    [one] Ein Sensor ist eingetragen: zu wenig für eine Aussage. Was folgt, stützt sich auf veröffentlichte Mediane von Sensoren an Katzen, 7 und 10 Tage.
   *[other] { $count } Sensoren sind eingetragen: zu wenig für eine Aussage. Was folgt, stützt sich auf veröffentlichte Mediane von Sensoren an Katzen, 7 und 10 Tage.
}
page-life-lasting = Länger als { $span }: bisher { $share } von ihnen; der wahre Anteil kann zwischen { $from } und { $to } liegen.
page-life-present = Dass der jetzige bis { $time } hält: { $chance }.
