# English. A telling has .title (one line, the matter first and then the cat, never a value in it: it may stand on a
# lock screen, which shows its first words), .what (what
# happened: whole in itself within about 150 characters) and, where somebody can act, .do.
# Values come in ready to read: levels with unit, local times, lengths, chances.

## Values

decimal-sign = .
below-range = below range
above-range = above range
rate-per-minute = { $rate } { $unit } a minute
rate-per-hour = { $rate } { $unit } an hour
trend-falling-fast = falling fast, { $rate }
trend-falling = falling, { $rate }
trend-falling-a-little = falling a little
trend-steady = steady
trend-rising = rising, { $rate }
trend-rising-fast = rising fast, { $rate }
time-tomorrow = { $clock } tomorrow
time-yesterday = { $clock } yesterday
time-date = { $clock } on { $weekday } { $day } { $month }
time-date-year = { $clock } on { $day } { $month } { $year }
span-minutes = { $count ->
    [one] 1 minute
   *[other] { $count } minutes
}
span-hours = { $count ->
    [one] 1 hour
   *[other] { $count } hours
}
span-hours-minutes = { $hours } h { $minutes } min
span-days = { $count ->
    [one] 1 day
   *[other] { $count } days
}
chance-under-one = less than 1 in 10
chance-tenths = about { $tenths } in 10
chance-over-nine = more than 9 in 10
mon = Mon
tue = Tue
wed = Wed
thu = Thu
fri = Fri
sat = Sat
sun = Sun
month-1 = Jan
month-2 = Feb
month-3 = Mar
month-4 = Apr
month-5 = May
month-6 = Jun
month-7 = Jul
month-8 = Aug
month-9 = Sep
month-10 = Oct
month-11 = Nov
month-12 = Dec
notice = notice
warning = warning
critical = critical

## Around a message

again = { $title } (still)
escalated = { $title } (no answer yet)
returned = { $title } (answered, but still there)
worse = { $title } (worse)
unanswered = Nobody has answered since { $time }.
private-text = Details are kept off this screen: see them at home with "lowtide status".
channel-ntfy = Push
channel-email = Mail
line-since = Since { $time }.
line-basis = Newest reading: { $value } at { $time }, { $age } old when this was written.
line-look-again = Looked at again at { $time } at the latest.
caution = A reminder, not a medical device. Sensors are not approved for cats: check a low with a meter and follow your vet's plan.
answer-ways = To answer: { $list }.
way-button = a button of the push message
way-mqtt = a message to { $topic } over MQTT
way-command = "lowtide log answer { $verdict } --person { $person }" on Lowtide's computer
no-longer =
    .what = No longer so: "{ $matter }".
button-taken = I am on it
button-later = In 30 min
button-sensor-fine = Sensor is fine
button-given = Dose given
button-not-given = Not given after all
button-given-too = I gave one too
button-meter-low = Meter: under { $level }
button-meter-fine = Meter: { $level } or more

taken =
    .title = { $person } is on it: { $cat }
    .what = { $person } has been looking after it since { $time }: "{ $matter }".
    .do = You need not do anything unless { $person } asks you.

summary =
    .title = While messages did not get through
    .what = { $count ->
        [one] One message
       *[other] { $count } messages
    } could not be sent in time. The last was at { $time }: "{ $last }".
    .do = Nothing more is waiting. What still holds is told separately.

test =
    .title = A test message: Lowtide
    .what = This is how messages for { $person } arrive. Times are shown as { $time } on your clock, levels as { $level }.
    .do = Nothing to do. If your phone stayed silent, look at its settings for this app.

test-loud =
    .title = Only a test of the alarm: Lowtide
    .what = All is well: this only lets { $person } hear how a critical message arrives, at night too.
    .do = If the phone stayed silent, let this app's highest priority sound through "do not disturb".

## The scan window

window-closing =
    .title = Scan before { $closes }: { $cat }
    .what = The sensor holds everything since { $newest }. From { $closes } on the oldest readings are lost.
    .do = Please scan { $cat } before { $closes }.

window-bedtime =
    .title = Scan before the night: { $cat }
    .what = The sensor starts to forget at { $closes }, in the night. A scan at { $bedtime } holds until { $holds }.
    .do = Please scan { $cat } as late as you can this evening. { $scans }

window-bedtime-loss =
    .title = Scan before the night: { $cat }
    .what = The night is longer than the sensor's memory: scanned at { $bedtime } and { $morning }, readings from { $lost_from } to { $lost_until } are lost.
    .do = Please scan { $cat } as late as you can this evening and as early as you can tomorrow. { $scans }

window-closed =
    .title = Readings are being lost: { $cat }
    .what = Not scanned since { $newest }. Since { $closed } one reading is lost every { $sample }; { $lost ->
        [one] one is
       *[other] { $lost } are
    } lost so far.
    .do = Please scan { $cat } now.

window-gap =
    .title = Scanned, with a gap: { $cat }
    .what = Between { $from } and { $until } { $lost ->
        [one] one reading is
       *[other] { $lost } readings are
    } missing for good.

## Where blood is: a number only where the sensor shows one

where = { $seen ->
    [below] At { $time } the sensor showed less than it can read (under { $floor })
    [above] At { $time } the sensor showed more than it can read (over { $ceiling })
    [odd] At { $time } the sensor read { $value }, far from what went before
    [stuck] The sensor has shown { $value } unchanged up to { $time }
   *[about] Blood about { $blood } at { $time }, { $trend }
}
where-read = { $seen ->
    [below] { where }
    [above] { where }
    [odd] { where }
    [stuck] { where }
   *[about] { where }; the sensor read { $value }
}
where-still = { $seen ->
    [below] The sensor showed under { $floor } at { $time }
    [above] The sensor showed over { $ceiling } at { $time }
    [odd] The sensor read { $value } at { $time }
    [stuck] { where }
   *[about] Blood about { $blood } at { $time }
}
where-by-sensor = { $seen ->
    [below] { where-still }
    [above] { where-still }
    [odd] { where-still }
    [stuck] { where }
   *[about] By the sensor blood is about { $blood } at { $time }
}
where-scanned = { $seen ->
    [below] { where }
    [above] { where }
    [odd] { where }
    [stuck] { where }
   *[about] At the last scan, { $time }, blood was about { $blood }, { $trend }
}
where-then = { $seen ->
    [below] then under the sensor's { $floor }
    [above] then over the sensor's { $ceiling }
    [odd] then { $value } by the sensor
    [stuck] then { $value } by the sensor
   *[about] then about { $blood }
}
where-last = { $seen ->
    [below] { $value } at { $time }
    [above] { $value } at { $time }
    [odd] { $value } at { $time }
    [stuck] { $value } at { $time }
   *[about] { $value } at { $time }, { $trend }
}

## Low glucose

low-now =
    .title = Glucose is low: { $cat }
    .what = { where-read }. Low is under { $low }.
    .do = { $plan } { $meter } { $sensor }

low-now-again =
    .title = Low again: { $cat }
    .what = { where-read }. Low is under { $low }, and it keeps coming back.
    .do = { $plan } { $meter } { $sensor }

low-now-near =
    .title = Still close to low: { $cat }
    .what = { where-read }. Low is under { $low }; this is still close.
    .do = Keep an eye on { $cat }.

low-now-danger =
    .title = Dangerously low: { $cat }
    .what = Act now. { where-read }.
    .do = { $plan } { $meter } { $sensor }

low-now-below-range =
    .title = Dangerously low: { $cat }
    .what = Act now. { where }. How low blood is, is not known.
    .do = { $plan } { $meter } { $sensor }

low-now-meter =
    .title = Low by the meter: { $cat }
    .what = Act now. At { $check_time } the meter showed { $check }, under the plan's { $meter_low }.
    .do = { $plan }

low-now-meter-above =
    .title = Sensor low, meter not: { $cat }
    .what = { where-by-sensor }, but the meter showed { $check } at { $check_time }. The meter counts for now.
    .do = Watch { $cat } and check again in 20 minutes. If { $cat } looks unwell, act first.

low-now-meter-said =
    .title = Low by the meter: { $cat }
    .what = Act now. At { $check_time } { $by } measured less than the plan's { $meter_low } with the meter.
    .do = { $plan }

low-now-meter-above-said =
    .title = Sensor low, meter not: { $cat }
    .what = { where-by-sensor }, but { $by } measured { $meter_low } or more at { $check_time }. The meter counts for now.
    .do = Watch { $cat } and check again in 20 minutes. If { $cat } looks unwell, act first.

low-now-old =
    .title = Was low, nothing newer: { $cat }
    .what = The last reading is { $age } old: { where-last }. Where glucose is now is not known.
    .do = Scan { $cat } now and look at the cat. { $plan }

low-now-old-meter =
    .title = Was low, nothing newer: { $cat }
    .what = { $checked } There is no newer reading. Where glucose is now is not known.
    .do = Scan { $cat } now or check with the meter again, and look at the cat. { $plan }

low-now-meter-stands =
    .title = Meter low, sensor not: { $cat }
    .what = { $checked } The sensor showed { $value } at { $time }: that does not settle it.
    .do = Check with the meter again, and look at the cat. { $plan }

meter-showed = At { $check_time } the meter showed { $check }.
meter-said-low = At { $check_time } { $by } measured less than { $meter_low } with the meter.
meter-said-not-low = At { $check_time } { $by } measured { $meter_low } or more with the meter.

low-over =
    .title = No longer low: { $cat }
    .what = { where }.

low-eases =
    .title = Still low, not dangerously: { $cat }
    .what = { where-read }. Dangerous is under { $danger }, low under { $low }.
    .do = It is not over: watch { $cat }, and go by your vet's plan.

low-over-undone =
    .title = Low check taken back: { $cat }
    .what = The meter check that showed a low was taken back. { where }.

low-over-undone-unseen =
    .title = Low check taken back: { $cat }
    .what = The meter check that showed a low was taken back. There is no reading.

low-over-unknown =
    .title = No news since the low: { $cat }
    .what = No readings for { $age }; the last was { $value } at { $time }.
    .do = Look at the cat, and scan or check with a meter.

low-over-late =
    .title = Rose again after the low: { $cat }
    .what = The last reading is { $age } old: { where-last }. Where glucose is now is not known.
    .do = Look at { $cat }, and scan or check with a meter.

low-over-meter =
    .title = No news since the low: { $cat }
    .what = { $checked } Nothing newer has come since.
    .do = Look at the cat, and scan or check with a meter.

low-over-meter-stands =
    .title = Not known whether still low: { $cat }
    .what = { $checked } No check since then, and the sensor does not settle it.
    .do = Look at the cat, and check with the meter again.

low-ahead =
    .title = Glucose may soon be low: { $cat }
    .what = { where }. Under { $low } by { $end }: { $chance }, { $crossing }.
    .do = { $rescan } Have food ready and a meter at hand. { $plan } { $sensor }

low-ahead-danger =
    .title = Dangerous low may be near: { $cat }
    .what = { where }. Under { $danger } by { $end }: { $chance }, { $crossing }.
    .do = Go to { $cat } now, check with a meter if you can. { $plan } { $sensor }

crossing-now = perhaps already
crossing-around = around { $by }

low-ahead-over =
    .title = The low came no closer: { $cat }
    .what = { where }. Under { $low } by { $end }: { $chance }.

low-ahead-unknown =
    .title = No news since the warning: { $cat }
    .what = The last reading is { $age } old: { where-last }. Where glucose is now is not known.
    .do = Look at { $cat }, and scan or check with a meter.

scan-again =
    .title = Please scan again: { $cat }
    .what = { where-scanned }. Under { $low } by now, unseen: { $chance }.
    .do = Please scan { $cat } now.

falling-fast =
    .title = Glucose is falling fast: { $cat }
    .what = { where }.
    .do = { $rescan } Keep an eye on { $cat }.

low-found-later =
    .title = There was a low: { $cat }
    .what = Under { $low } from { $from } to { $until }, lowest { $nadir } at { $nadir_time }. It was higher again after that.
    .do = { $also } Tell your vet at the next contact, sooner if it happens again.

low-found-later-open =
    .title = There was a low: { $cat }
    .what = Under { $low } from { $from } to { $until }, lowest { $nadir } at { $nadir_time }. What came after is not known.
    .do = { $also } Look at { $cat } and scan again now, or check with a meter.

low-found-later-now =
    .title = It was lower before: { $cat }
    .what = Under { $low } from { $from } to { $until }, lowest { $nadir } at { $nadir_time }: this came late. It is still low.
    .do = { $also } Look at { $cat } now, and tell your vet how low it was.

low-found-also = { $count ->
    [one] There was another low, from { $from } to { $until }, lowest { $nadir }.
   *[other] There were { $count } more lows, the deepest from { $from } to { $until }, lowest { $nadir }.
}

rescan-at = Please scan again at { $time }.
rescan-none = { "" }
scans-after = Next scans after that: { $times }.
nothing = { "" }
plan-low = Your vet's plan: "{ $plan }"
plan-low-phone = Your vet's plan: "{ $plan }" Vet: { $phone }.
plan-none = Follow what your vet told you for a low; if you have nothing in writing, call your vet.
plan-none-phone = Follow what your vet told you for a low; if you have nothing in writing, call your vet: { $phone }.
vet-numbers = { $number }, when closed { $closed }
vet-number-closed = when closed { $closed }
ask-meter = If you can, check with a meter.
no-meter = { "" }
sensor-first-day = The sensor is new, first day: it may be off.
sensor-dip = It may be the sensor: perhaps { $cat } lies on it. Look at { $cat }.
sensor-jump = It may be the sensor: it jumped. Look at { $cat }.
sensor-stuck = It may be the sensor: it shows the same value again and again.
sensor-noisy = It may be the sensor: it jitters far more than usual.
sensor-settled = { "" }

## High glucose

high-long =
    .title = High for long: { $cat }
    .what = Over { $high } for { $span } up to { $time }, { where-then }. No dose is recorded since { $last_dose }.
    .do = Was a dose missed or not recorded? If { $cat } is unwell, call your vet.

high-long-dosed =
    .title = High for long: { $cat }
    .what = Over { $high } for { $span } up to { $time }, { where-then }.
    .do = Tell your vet. If { $cat } does not eat, vomits or is dull, call now.

## The sensor

sensor-silent =
    .title = Sensor has gone silent: { $cat }
    .what = No reading since { $newest } ({ $age }), though the bridge is connected: the sensor itself seems to have stopped.
    .do = { $wear } Look whether it is still on { $cat }. { $spares }

sensor-silent-bridge =
    .title = No readings are coming in: { $cat }
    .what = No reading since { $newest } ({ $age }), and the bridge is not known to be connected: perhaps it is not the sensor.
    .do = Check the bridge: power, network, distance to { $cat }. { $save } { $wear }

sensor-silent-scan =
    .title = Scan brought nothing new: { $cat }
    .what = Scanned at { $scanned }, but the newest reading is from { $newest }: the sensor seems to have stopped.
    .do = Scan once more in 15 minutes. If nothing newer comes, it has ended. { $wear } { $spares }

sensor-silent-error =
    .title = Sensor reports an error: { $cat }
    .what = Since { $time } the sensor reports an error and gives no readings. The last is from { $newest }.
    .do = { $save } { $wear } { $spares }

sensor-silent-unread =
    .title = Newest value cannot be read: { $cat }
    .what = At { $time } the sensor showed "{ $shown }" and no value. The last value is from { $newest }.
    .do = Look at { $cat } and at the sensor. { $save } { $wear } { $spares }

sensor-silent-ended =
    .title = Sensor ended early: { $cat }
    .what = The sensor { $how } at { $time }. Nothing watches { $cat }'s glucose until there is a new one.
    .do = { $wear } { $spares }

sensor-ended =
    .title = Sensor has ended: { $cat }
    .what = The sensor reached its end at { $time }. Nothing watches { $cat }'s glucose until there is a new one.
    .do = { $spares }

sensor-silent-over =
    .title = Readings are back: { $cat }
    .what = Newest: { $value } at { $time }.

wear-day = Day { $day } of { $days }.
wear-unknown = When it was put on is not recorded.
spares-some = { $count ->
    [one] One spare is in the cupboard.
   *[other] { $count } spares are in the cupboard.
}
spares-none = There is no spare: order one, and use the meter until then.
spares-unknown = { "" }
save-scan = A scan now can still save the last { $memory }.
save-none = { "" }
how-failed = stopped working
how-came-off = came off
how-removed = was taken off
how-expired = reached its end

sensor-suspect =
    .title = Readings look wrong: { $cat }
    .what = { $how } since { $since }; newest { $value } at { $time }.
    .do = Look whether { $cat } lies on the sensor or it has come loose. Use a meter before you rely on it.
suspect-stuck = The sensor shows the same value again and again
suspect-jump = The sensor jumped faster than glucose can
suspect-noisy = The sensor jitters far more than usual
suspect-dip = A short deep dip, as when a cat lies on the sensor,

sensor-not-started =
    .title = New sensor is silent: { $cat }
    .what = Put on at { $applied }; the first reading was due by { $due }.
    .do = Check that it was started and sits well. { $spares }

sensor-ending =
    .title = Sensor ends soon: { $cat }
    .what = It ends at { $ends }.
    .do = { $spares } Plan the change for a time when you are at home.

spares-low =
    .title = Few sensors left: { $cat }
    .what = { $count ->
        [0] No unused sensor is left.
        [one] One unused sensor is left.
       *[other] { $count } unused sensors are left.
    }
    .do = Order the next ones.

## Doses

dose-twice =
    .title = Two doses recorded: { $cat }
    .what = A second dose is recorded at { $second }{ $by }, { $between } after the one at { $first }. At least { $apart } should lie between.
    .do = Find out whether both were given. If so, call your vet now{ $phone } and watch { $cat } closely. Give no further dose until you have spoken to the vet.

dose-twice-maybe =
    .title = One dose or two: { $cat }
    .what = A dose is recorded at { $first }{ $by_first }, and one at { $second }{ $by }. It may be the same one, recorded twice.
    .do = Find out now. If two were given, call your vet now{ $phone } and watch { $cat } closely. If it was one, take a record back (lowtide log dose --at TIME --not-given), and record doses in one place only.

dose-due =
    .title = Dose due: { $cat }
    .what = The dose of { $time } is due and not recorded. { $state }
    .do = Record it as you give it: if somebody else was first, you are told at once.

dose-due-hold =
    .title = Ask vet before the dose: { $cat }
    .what = The dose of { $time } is due and not recorded. { $state }
    .do = { $line }

dose-stop =
    .title = Do not inject yet: { $cat }
    .what = The dose of { $due } is not recorded yet. { $state }
    .do = { $line } If it is given already, record it and tell your vet.

dose-late =
    .title = Dose late, not recorded: { $cat }
    .what = The dose due at { $time } is not recorded. { $state }
    .do = If it was given, record it. If not, do not give it late or double without your vet's word.

dose-given =
    .title = The dose is given: { $cat }
    .what = { $person } gave it at { $time }.

dose-noted =
    .title = Dose recorded: { $cat }
    .what = Your dose of { $time } is recorded.

dose-already =
    .title = Dose was given already: { $cat }
    .what = { $person } gave it at { $time }. Do not give it a second time.
    .do = If you have injected too, call your vet, and record that dose as well.

dose-already-you =
    .title = Dose was given already: { $cat }
    .what = You gave it yourself at { $time }. Nothing more was recorded.
    .do = If you have injected a second time, call your vet, and record that dose as well.

dose-recent =
    .title = Last dose not long ago: { $cat }
    .what = A dose is recorded at { $time }, less than { $apart } ago. Nothing more was recorded.
    .do = If you have not injected, ask your vet first. If you have, call your vet, and record that dose as well.

dose-undone =
    .title = Dose taken back: { $cat }
    .what = Your dose of { $time } counts as not given.

dose-stale =
    .title = Nothing was recorded: { $cat }
    .what = That button belongs to an earlier dose, so which one you mean is not clear.
    .do = Use the button of the newest message, or record the dose with its time at home.

hand-over =
    .title = { $person } takes over: { $cat }
    .what = { $until } { $doses } { $scan } { $state }
    .do = { $plan }

hand-over-you =
    .title = You take over: { $cat }
    .what = { $until } { $doses } { $scan } { $state }
    .do = { $plan }

hand-over-open = Until further notice.
hand-over-until = Until { $time }.
hand-over-doses = Last dose { $last }, next { $next }.
hand-over-doses-open = Last dose { $last }; that of { $due } is not recorded.
hand-over-open-dose = The dose of { $due } is not recorded.
hand-over-last = Last dose { $last }.
hand-over-next = Next dose { $next }.
hand-over-scan = Scan before { $time }.
hand-over-scan-now = Please scan now.
hand-over-state = { where-still }.
somebody = Somebody

dose-state = { where }.
dose-state-none = There is no fresh reading.

before-dose =
    .title = Dose due at { $due }: { $cat }
    .what = { where }.
    .do = { $line }

before-dose-hold =
    .title = Ask vet before the dose: { $cat }
    .what = A dose is due at { $due }. { $state }
    .do = { $line }

before-dose-blind =
    .title = Dose due at { $due }: { $cat }
    .what = There is no fresh reading: the last is from { $time }.
    .do = Scan { $cat } before the dose. { $line }

before-dose-none =
    .title = Dose due at { $due }: { $cat }
    .what = There is no reading to go by.
    .do = Check with a meter or scan before the dose. { $line }

hold-line = That is under the plan's { $hold }: do not inject, call your vet{ $phone }.
hold-line-low = Glucose is low: call your vet{ $phone } before any dose.
hold-line-recent = The last dose was at { $last }, less than { $apart } before this one: ask your vet{ $phone } before you give it.
hold-line-twice = The last dose is recorded twice, at { $first } and at { $second }: ask your vet{ $phone } before you give this one.
hold-line-general = Your vet's plan: under { $hold } do not inject, call your vet{ $phone }.
hold-line-none = Follow your vet's plan.
phone = { " " }({ $number })
recorded-by = , by { $by }

## The daemon itself

file-rejected =
    .title = File not fully readable: Lowtide
    .what = { $rows ->
        [0] The file "{ $file }" could not be read: { $reason }.
        [one] One row of "{ $file }" could not be read: { $reason }.
       *[other] { $rows } rows of "{ $file }" could not be read. The first: { $reason }.
    }
    .do = { $seen ->
        [aside] Nothing is lost: see "{ $place }", put it right and drop it again.
        [inbox] It is still there, as "{ $place }": let Lowtide read it, or take it away.
       *[old] Nothing is lost: look in the folder "rejected", put it right and drop it again.
    }

files-rejected =
    .title = Many files could not be read: Lowtide
    .what = { $count } files could not be read within a day. The last, "{ $file }": { $reason }.
    .do = { $seen ->
        [aside] Nothing is lost: each is kept with its reason, the last as "{ $place }". See what makes such files.
        [inbox] They are still there, the last as "{ $place }". See what makes such files.
       *[old] Nothing is lost: the folder "rejected" has them with the reasons. See what makes such files.
    }

message-rejected =
    .title = An MQTT message could not be used: Lowtide
    .what = { $rows ->
        [0] The message could not be used: { $reason }.
        [one] One value of the message could not be used: { $reason }.
       *[other] { $rows } values of the message could not be used. The first: { $reason }.
    }
    .do = Nothing is lost: "{ $file }" has the message. Put right whatever sends it.

messages-rejected =
    .title = Many unusable MQTT messages: Lowtide
    .what = { $count } messages could not be used within a day. The last: { $reason }.
    .do = Nothing is lost: the folder "rejected" has them, the last as "{ $file }". Put right whatever sends them.

value-conflict =
    .title = Two values for one time: { $cat }
    .what = { $rows ->
        [one] One reading
       *[other] { $rows } readings
    } from "{ $file }" differ from what is held, first at { $time }: { $came }, held { $held }. Both are kept; the first counts.
    .do = If the sensor was changed or the file comes from another cat, put that right.

source-refused =
    .title = A source does not answer: Lowtide
    .what = { $source }: { $reason }.
    .do = Readings from there wait until it is back. Check that it runs and that name and password are right.

source-folder =
    .title = Files cannot be taken in: Lowtide
    .what = { $source }: { $reason }.
    .do = Files wait until this is put right; nothing is lost. Check that the folder is there, and that Lowtide may read and write it.

source-back =
    .title = A source is back: Lowtide
    .what = { $source } answers again.

delivery-failing =
    .title = Messages do not get through: Lowtide
    .what = { $channel } for { $person } has failed since { $time }: { $reason }.
    .do = Messages go by the other ways there are. Check the server, the address and the password.

delivery-over =
    .title = Messages get through again: Lowtide
    .what = { $channel } for { $person } works again.

clock-wrong =
    .title = Computer's clock is wrong: Lowtide
    .what = It shows { $time }, but the record goes on to { $last }.
    .do = Set it or connect it to the internet. Until then Lowtide does not judge how old readings are.

clock-unset =
    .title = Computer's clock is not set: Lowtide
    .what = No time server has set the clock of this computer since it started. It shows { $time }, which may be wrong.
    .do = Check its internet connection and its time service. Until then ages, windows and reminders may be wrong. If it has no time service, set the clock by hand and write clock = "trust" under [home].

clock-set-back =
    .title = Clock was set back: Lowtide
    .what = The computer's clock was ahead by { $span } and was set back at { $time }. Lowtide has gone back with it and goes on watching.
    .do = What was logged while it was ahead stands in the record with the wrong time. If nobody set it on purpose, check the time service of the computer.

clock-future-low =
    .title = Low, dated wrong: { $cat }
    .what = The sensor read { $value }, dated { $reading }, but here it is { $time }. One clock is wrong; act as if it were now.
    .do = { $plan } { $meter } Then check the clock of the sensor's reader or bridge, and of this computer.

clock-future-was-low =
    .title = Was low, dated wrong: { $cat }
    .what = The sensor read { $value }, dated { $reading }, and higher later. Here it is { $time }: when that was is not known.
    .do = Look at { $cat }. Then check the clock of the sensor's reader or bridge, and of this computer.

clock-future =
    .title = Readings from the future: { $cat }
    .what = A reading is dated { $reading }, but here it is { $time }. One of the two clocks is wrong.
    .do = Check the clock of the sensor's reader or bridge, and of this computer. Until their time has come, these readings are kept, but not judged.

clock-future-check-low =
    .title = Low by the meter, dated wrong: { $cat }
    .what = A meter check showed { $value }, dated { $dated }, but here it is { $time }. Act as if it were now.
    .do = { $plan } Then record the check again with the right time, and check the clock of whatever sent it and of this computer.

clock-future-check =
    .title = A meter check from the future: { $cat }
    .what = A meter check of { $value } is dated { $dated }, but here it is { $time }. The date or a clock is wrong.
    .do = Record it again with the right time; then this one no longer counts. Check the clock of whatever sent it, and of this computer. Until its time has come, it is kept, but not judged.

clock-future-applied =
    .title = New sensor, dated wrong: { $cat }
    .what = A new sensor was noted as put on { $dated }, but here it is { $time }. The date or a clock is wrong.
    .do = Note it again with the right time; then this one no longer counts. Check the clock of whatever sent it, and of this computer. Until its time has come, the note is kept, but not judged.

clock-future-sensor =
    .title = Sensor note, dated wrong: { $cat }
    .what = A note about the sensor is dated { $dated }, but here it is { $time }. The date or a clock is wrong.
    .do = Note it again with the right time; then this one no longer counts. Check the clock of whatever sent it, and of this computer. Until its time has come, the note is kept, but not judged.

nobody-watching =
    .title = Nobody is watching: Lowtide
    .what = Nothing was heard from Lowtide for { $span }, since { $time }. Lows and scan windows are not watched.
    .do = Check that its computer is on and online. Until then look after { $cat } by hand: scan, and check for lows yourself.

nobody-watching-over =
    .title = Watching again: Lowtide
    .what = Lowtide has been back since { $time } and watches again.

nobody-watching-trial =
    .title = The push server is too old: Lowtide
    .what = This server cannot take messages back, so it cannot say that nobody is watching. You can ignore this message.
    .do = Bring the server up to date, or take nobody_watching_hours out of [notify.ntfy].

nobody-watching-unable =
    .title = A stop would go unnoticed: Lowtide
    .what = The push server cannot take back a message that waits. If Lowtide stops, nothing will say so.
    .do = Bring the push server up to date, or use a [heartbeat] address.

nobody-watching-source = The push server

disk-low =
    .title = The disk is nearly full: Lowtide
    .what = { $free } MB are left at { $place }.
    .do = Make room, or readings will have to wait outside.

database-error =
    .title = Trouble with the record: Lowtide
    .what = { $reason }.
    .do = The readings themselves are safe in the journal. If this comes again, replace the memory card.

record-fails =
    .title = Nothing can be recorded: Lowtide
    .what = Lows are still told, but nothing is kept, not even doses. { $reason }.
    .do = Write doses down on paper until this is over. Whoever keeps the computer makes room on the disk; if there is room, the card is worn and must be replaced. Files wait where they are.

record-back =
    .title = Recording works again: Lowtide
    .what = What waited is being read now.

fault =
    .title = An error in the program: Lowtide
    .what = One event could not be worked on. It was set aside in "{ $file }", and Lowtide goes on.
    .do = Please report it to whoever keeps the program, with that file.
