# English: what is printed, the sheet for a sitter and the report for a vet, and the web page. Same rules as in en.ftl.
# sheet-NAME rows explain the messages of the watch NAME: .what it means, what to .do.

date-year = { $weekday } { $day } { $month } { $year }
page-kept-dose = Kept for { $cat }: a dose, { $time }.
page-dose-already = A dose of { $time } is recorded for { $cat } already, so nothing was recorded and none should be given. If a second one was given all the same, call your vet.
page-undone-dose = Taken back for { $cat }: the dose of { $time }.
page-kept-meter = Kept for { $cat }: meter check, { $value } at { $time }.
page-undone-meter = Taken back for { $cat }: the meter check of { $time }.
page-kept-sensor = Kept for { $cat }: what happened to the sensor, { $time }.
page-kept-spare = { $count ->
    [0] Kept for { $cat }: no spare sensors are left.
    [one] Kept for { $cat }: one spare sensor.
   *[other] Kept for { $cat }: { $count } spare sensors.
}
page-kept-note = Kept for { $cat }: the note.
page-kept-answer = Your answer is kept.
page-answer-over = Your answer is kept, but what it was about is no longer open. What is open now stands on this page.
page-known = That was recorded before; nothing was recorded again.
page-failed = Nothing was recorded: { $reason }. Try again, and write it on paper until it works.
page-unsure = It is not known whether this was recorded. Look under “What happened” in a few minutes, before you record it again.
page-slip-time = “{ $text }” is not a time, so nothing was recorded. Write it like 06:15, or leave the field empty for now.
page-slip-future = { $time } is still to come, so nothing was recorded.
page-slip-level = “{ $text }” is not a glucose value in { $unit }, so nothing was recorded. Write the number that the meter shows, or LO or HI.
page-slip-unlikely = { $text } { $unit } would be very unusual, so nothing was recorded. Is it in the other unit, or a slip?
page-slip-units = “{ $text }” cannot be the units of one dose, so nothing was recorded. The field may be left empty.
page-slip-count = “{ $text }” is not a number of sensors, so nothing was recorded.
page-slip-empty = The note was empty, so nothing was recorded.
page-slip-gone = It was taken back before, or is too long ago for this page; nothing was changed.
page-slip-form = That form is of another time or another place, so nothing was recorded. Do it again from this page.
page-password-wrong = That is not the password.
page-password-wait = { $seconds ->
    [one] Wrong too often. Wait one second, then try again.
   *[other] Wrong too often. Wait { $seconds } seconds, then try again.
}
sheet-title = { $cat }: a sheet for { $person }
sheet-made = Made { $time }. Times are on the clock of { $zone }, values in { $unit }.
sheet-emergency = If something is wrong
sheet-act-first = If { $cat } looks unwell, act first, whatever a number says. Signs of a low: hunger, restlessness, weakness, wobbling, confusion, cramps; some cats only go quiet or stop eating.
sheet-vet = Vet:
sheet-out-of-hours = When the vet is closed:
sheet-no-vet-phone = No number is written down here. Ask for it before { $owner } leaves: ______________________
sheet-people = Who is who
sheet-person = Name
sheet-phone = Phone
sheet-reached = Lowtide reaches them by
sheet-asked = When nobody answers, Lowtide asks in this order.
sheet-owner = { $person }, keeps Lowtide
sheet-has-cat-now = { $person } has { $cat } now.
sheet-has-cat-from = From { $time }: { $person }.
sheet-plan = The vet's plan
sheet-plan-limits = Low is under { $low } by the sensor, dangerously low under { $danger }; by a hand meter, low is under { $meter_low }.
sheet-plan-high = High is over { $high }.
sheet-plan-hold = Before a dose, under { $hold }: do not inject, call the vet.
sheet-plan-no-hold = No limit for holding a dose is written down: ask the vet.
sheet-plan-on-low = At a low:
sheet-plan-in-words = In the vet's words:
sheet-plan-sglt2 = { $cat } gets a drug with which glucose can be near normal in a life-threatening state. If { $cat } does not eat, vomits or is dull, call the vet now.
sheet-doses = Doses
sheet-dose-times = Every day at { $times } on the clock of the house ({ $zone }).
sheet-dose-next = The next: { $times }.
sheet-dose-none = No times are written down: ask { $owner }.
sheet-dose-twice = At least { $apart } lie between two doses. Not sure whether one was given? Give none until you have asked { $owner } or the vet.
sheet-dose-record = Record each dose at once with “{ $given }” in the message: whoever presses second hears that it was given.
sheet-dose-write = Write each dose down with its time, and tell { $owner }.
sheet-dose-last = Last doses recorded:
sheet-dose-last-none = No dose is recorded yet.
sheet-dose-by = { $time }, by { $person }
sheet-scan = Scanning
sheet-scan-how = Hold the reader or phone to the sensor until it has answered, then see that the reading has arrived in Lowtide. The sensor keeps { $memory }; what is older is lost.
sheet-scan-daily = Every day at { $times }: that leaves no gap.
sheet-scan-daily-lost = Every day at { $times }. Your night is longer than the sensor's memory: { $from } to { $until } is lost whatever you do.
sheet-scan-every = At least every { $span }, day and night.
sheet-scan-next = The next: { $times }.
sheet-scan-lost = Lost whatever you do: { $from } to { $until }.
sheet-scan-dose = Scan before each dose as well.
sheet-streamed = The sensor sends a reading every { $sample } by itself: there is nothing to scan. Keep the bridge near { $cat } and its plug in.
sheet-now = As it was when this was made
sheet-now-reading = Newest reading: { $value }, { $time }.
sheet-now-no-reading = There is no reading yet.
sheet-now-blood = Blood about { $blood }, { $trend }.
sheet-now-below = That is less than the sensor can read (under { $level }): how low blood is, is not known.
sheet-now-above = That is more than the sensor can read (over { $level }): how high blood is, is not known.
sheet-now-window = The sensor holds everything until { $time }: scan before that.
sheet-now-wear = Sensor put on { $applied }, ends { $ends } at the latest. Sensors on cats often end days sooner.
sheet-now-no-wear = No sensor is known to be on { $cat }.
sheet-now-spares = { $count ->
    [0] No spare sensor is in the cupboard.
    [one] One spare sensor is in the cupboard.
   *[other] { $count } spare sensors are in the cupboard.
}
sheet-now-open = Open: “{ $matter }”, since { $time }.
sheet-now-quiet = Nothing is open.
sheet-messages = What the messages mean
sheet-message = The message
sheet-means = It means
sheet-do = What to do
sheet-answer = Answer with “{ $taken }” as soon as you have taken a matter on. A critical message that nobody answers comes again every ten minutes and goes to the others too.
sheet-silence = No message does not prove that all is well: a phone can be mute, a network down. Look at { $cat } and at your phone.
sheet-critical = act now
sheet-warning = act soon
sheet-notice = good to know

sheet-low-now-danger =
    .what = The sensor's estimate is under { $danger }, or under all it can read.
    .do = What the box at the top says, now. Check with a meter if you can.
sheet-low-now-meter =
    .what = A hand meter showed less than { $meter_low }.
    .do = What the box at the top says, now.
sheet-low-now =
    .what = The sensor's estimate is under { $low }.
    .do = What the plan says for a low. Check with a meter if you can.
sheet-low-now-old =
    .what = It was low, and no newer reading has come: where glucose is now is not known.
    .do = Scan now and look at the cat. If it looks unwell: what the box at the top says.
sheet-low-now-meter-stands =
    .what = A hand meter showed a low that the sensor does not show.
    .do = Check again with the meter. If the cat looks unwell: what the box at the top says.
sheet-low-now-meter-above =
    .what = The sensor shows a low, a hand meter did not. The meter counts for 20 minutes.
    .do = Watch the cat and check again in 20 minutes.
sheet-low-ahead =
    .what = The estimate is likely to go under { $low } within { $ahead }.
    .do = Scan again when the message says so, have food ready, stay near.
sheet-falling-fast =
    .what = Glucose is falling quickly.
    .do = Scan again when the message says so. Keep an eye on { $cat }.
sheet-scan-again =
    .what = It was falling at the last scan and may be low by now, unseen.
    .do = Scan now.
sheet-dose-twice-row =
    .what = Two doses are recorded less than { $apart } apart.
    .do = Find out whether both were given. If so, call the vet now. Give no further dose until you have spoken to the vet.
sheet-before-dose =
    .what = A dose is due; the message says where glucose stands, and what stands against the dose.
    .do = Compare with the plan above. When in doubt, do not inject, call.
sheet-dose-late =
    .what = A dose was due and is not recorded.
    .do = If it was given, record it. If not, do not give it late or double without the vet's word.
sheet-window-closing =
    .what = The sensor's memory is nearly full.
    .do = Scan before the time it says.
sheet-window-closed =
    .what = The memory is full: readings are being lost.
    .do = Scan now.
sheet-low-found-later =
    .what = A scan shows that there was a low before.
    .do = Look at { $cat }. Tell { $owner }, who tells the vet.
sheet-high-long =
    .what = Glucose has been high for hours.
    .do = Was a dose missed? If { $cat } does not eat, vomits or is dull, call the vet now.
sheet-sensor-silent =
    .what = The sensor or its bridge gives nothing new: nobody sees { $cat }'s glucose.
    .do = See whether the sensor is still on, scan again, follow the message. Tell { $owner }.
sheet-sensor-suspect =
    .what = Readings that cannot be right.
    .do = See whether { $cat } lies on the sensor or it is loose. Trust the meter and your eyes.
sheet-sensor-not-started =
    .what = A new sensor has given nothing after its first hour.
    .do = Check that it was started and sits well. Tell { $owner }.
sheet-sensor-ending =
    .what = The sensor's days are nearly over.
    .do = Ask { $owner } who changes it and when.
sheet-hand-over =
    .what = You have the cat now, or somebody else has.
    .do = Read it once: until when, the doses, the next scan.
sheet-lowtide-title = …: Lowtide
sheet-lowtide =
    .what = Something is wrong with Lowtide itself.
    .do = Tell { $owner }. Until it is right, scan and look at { $cat } more often.
sheet-prefix =
    .what = Nobody has answered, it is still so after an answer, or it has become worse.
    .do = Take it on and answer, or call somebody from the list above.
sheet-taken =
    .what = Somebody else has taken it on.
    .do = Nothing, unless they ask you.

curve-title = { $cat }: glucose from { $from } to { $until }
curve-made = Made { $time } from the sensor's readings. Times are on the clock of { $zone }, values in { $unit }.
curve-tissue = The sensor reads the fluid under the skin, which runs some minutes behind blood. The figures are the sensor's own readings, not blood values.
curve-range = The plan's range: { $low } to { $high }.
curve-range-low = The plan's low: { $low }. The plan gives no high limit.
curve-cycles = From dose to dose
curve-cycle = Dose
curve-pre-dose = Before it
curve-nadir = Lowest
curve-nadir-after = after
curve-highest = Highest
curve-mean = Mean
curve-below = Below
curve-inside = In range
curve-above = Above
curve-held = Readings held
curve-units = units
curve-open-cycle = not over yet
curve-none = none
curve-below-floor = below { $floor }
curve-above-ceiling = above { $ceiling }
curve-mean-note = Means leave out what the sensor could not read; “at most” or “at least” marks them.
curve-at-most = at most { $value }
curve-at-least = at least { $value }
curve-about = about { $value }
curve-days = Day by day
curve-day = Day
curve-doses = Doses
curve-checks = Meter checks
curve-check = { $value } ({ $meter })
curve-check-sensor = the sensor: { $value }
curve-notes = Notes
curve-whole = All of it
curve-no-cycles = No dose is recorded in this time, so there are no cycles; the days are below.
curve-no-readings = No reading is held from this time.
curve-legend = Line: sensor. Grey band: the plan's range. Dashed: a dose. Circle: a meter check. Breaks: no readings.
curve-meter-pet = meter for pets
curve-meter-human = meter for people
curve-meter-whole-blood = meter for people, whole blood
curve-meter-unknown = meter of unknown kind
curve-few = Held { $share } of the readings that were due: figures from so few may mislead.
curve-overlay = All cycles over each other, by hours since the dose

correction = { $count ->
    [one] By one meter check ({ $kinds }) the sensor seems to read { $off }, give or take { $doubt }; the blood estimate reckons with it.
   *[other] By { $count } meter checks ({ $kinds }) the sensor seems to read { $off }, give or take { $doubt }; the blood estimate reckons with it.
}
correction-kind = { $meter }: { $count }
correction-high = about { $share } too high
correction-low = about { $share } too low
correction-right = about right
correction-people = Meters for people tend to read cats' blood lower: some of this may be the meter's error, not the sensor's.
correction-unknown = Where the kind of meter is not known, some of this may be the meter's error.
correction-whole-blood = { $count ->
    [one] The blood estimate does not use one check with a whole-blood meter.
   *[other] The blood estimate does not use { $count } checks with a whole-blood meter.
}
correction-out-of-range = { $count ->
    [one] The blood estimate does not use one check at which the meter was out of its range.
   *[other] The blood estimate does not use { $count } checks at which the meter was out of its range.
}

agreement-title = The sensor beside the meter
agreement-meter = Meter
agreement-pairs = Pairs
agreement-bias = Bias
agreement-mard = MARD
agreement-limits-title = 95 % limits
agreement-limits = { $low } to { $high }
agreement-iso = ISO 15197
agreement-clarke = Clarke A+B
agreement-parkes = Parkes A+B
agreement-sensor = { $meter }, sensor put on { $date }
agreement-sensor-unknown = { $meter }, sensor of unknown date
agreement-pair = A pair is a meter check and what the sensor read { $lag } later, when it shows the same blood. Bias: sensor minus meter, on average. Kinds of meter are never mixed, and nothing on this page is corrected by them.
agreement-figures = MARD: the mean distance, as a share of the meter's value. 95 % limits (Bland-Altman): about 19 of 20 differences lie between. ISO 15197: pairs at most { $near } apart under { $from }, 15 % from there on; meters for people have to reach 95 %.
agreement-grids = Clarke A+B, Parkes A+B: pairs whose difference would not have misled treatment. Both grids were made for people who treat themselves; for cats they are only a common language.
agreement-few = Under { $count } pairs only their number and the bias are given: they say little.
agreement-people = Meters for people, whole-blood ones most, tend to read cats' blood lower: the sensor then seems to read too high.
agreement-out-of-range = { $count ->
    [one] At one check the meter or the sensor was out of its range: there is no number to compare.
   *[other] At { $count } checks the meter or the sensor was out of its range: there is no number to compare.
}
agreement-unmatched = { $count ->
    [one] Beside one check there are no readings close on both sides.
   *[other] Beside { $count } checks there are no readings close on both sides.
}

page-now = Now
page-now-title = { $cat } at { $time }
page-no-settings = Lowtide has no settings yet.
page-answered = { $person } is on it, since { $time }.
page-answered-you = You are on it, since { $time }.
page-put-off = Put off by { $person } until { $time }.
page-comes-back = It comes back at { $time } if it still holds then.
page-told = A message about it has gone out to: { $people }.
page-told-none = No server has taken a message about it yet.
page-quiet = Nothing is open about { $cat }. That rests on a reading { $age } old.
page-quiet-blind = Nothing is open about { $cat }, but that is no comfort: the newest reading is { $age } old, and what came after is not known.
page-quiet-unsure = Nothing is open about { $cat }, but that is no comfort: where blood is now is not known. The newest reading is { $age } old.
page-quiet-none = Nothing is open about { $cat }, but that is no comfort: there is no reading to go by.
page-cat = { $cat }, by the sensor
page-reading = Newest reading: { $value } at { $time }, { $age } old.
page-blood = Blood about { $blood }, give or take { $doubt }; { $trend }.
page-blood-old = Where blood is now is not known: the newest reading is too old.
page-blood-odd = Where blood is now is not known: the newest readings do not look right.
page-chance = Under { $low } within { $span }: { $chance }.
page-scan-by = Worth another scan by { $time }.
page-scan-since = Worth another scan since { $time }: please scan now.
page-curve = The last 24 hours and the next 4
page-curve-past = The last 24 hours
page-curve-none = No reading is held from the last 24 hours.
page-curve-seen = { $cat }, the last 24 hours: lowest { $lowest } at { $lowest_time }, highest { $highest } at { $highest_time }.
page-curve-seen-ahead = At { $time } blood is between { $from } and { $to } in 8 of 10 cases.
page-picture-now = now
page-legend-title = What the picture shows
page-legend = Thick line: the sensor. Thin line across: the plan's low, { $low }. Dashed line upright: a dose. Circle: a meter check. Breaks: no readings.
page-legend-band = Grey band: the plan's range.
page-legend-ahead = Shape with a dotted edge: where blood may be, in 8 of 10 cases.
page-ahead = The next hours in numbers
page-ahead-at = When
page-ahead-range = Blood in 8 of 10 cases, { $unit }
page-ahead-span = { $from } to { $to }
page-ahead-under = Under { $low } by then
page-ahead-caution = A calculation's guess, much less sure further ahead. It knows nothing of food or doses to come. It is no advice about doses. A sensor can be wrong: check a low with a meter.
page-next = What comes
page-dose-last = Last dose recorded: { $dose }.
page-dose-next = Doses are due at { $times }.
page-window-past = The sensor has been forgetting since { $time }: scan now.
page-scans = Scans that leave no gap: { $times }.
page-scans-least = Scans that lose least: { $times }.
page-held = Readings held of the last 24 hours: { $share }.
page-hands = Who has the cat
page-outbox = { $count ->
    [one] One message is on its way.
   *[other] { $count } messages are on their way.
}
page-record = Record
page-record-link = Record a dose, a meter check, a sensor, a note
page-record-how = Doses, notes and answers are kept under the name { $person }. Times are on the clock of { $zone }; without one it was now.
page-form-dose = { $cat }: a dose
page-form-meter = { $cat }: a meter check
page-form-sensor = { $cat }: the sensor
page-form-spare = { $cat }: spare sensors
page-form-note = { $cat }: a note
page-field-at = When (empty: now)
page-field-units = Units given, as your vet's plan has them (may stay empty)
page-field-glucose = What the meter shows, in { $unit } (a number, LO or HI)
page-field-meter = Which meter
page-field-event = What happened
page-field-count = Unused sensors in the cupboard
page-field-text = Note (at most 500 letters)
page-field-password = Password
page-save-dose = Record this dose
page-save-meter = Record this check
page-save-sensor = Record this
page-save-spare = Record this number
page-save-note = Record this note
page-undose = That dose was not given
page-check = Recorded at { $time }: { $check }.
page-unmeter = Take this check back
page-sensor-applied = A new one was put on
page-sensor-error = It shows an error
page-sensor-ok = The error is over
page-sensor-expired = It reached its end
page-sensor-failed = It stopped working
page-sensor-came-off = It came off
page-sensor-removed = It was taken off
page-ask-title = A dose is recorded already: { $cat }
page-ask = A dose is recorded at { $time }. At least { $apart } should lie between two doses. Nothing more was recorded.
page-ask-do = If you have not injected, give nothing now and ask your vet first. If you have, press the button below, and call your vet.
page-ask-back = I have not injected: back
page-enter = Enter
page-leave = Leave
page-you-are = Whose page this is:
page-you = { $person } (you)
page-history = What happened
page-sensors = Sensors
page-curve-link = The curve of { $cat } for the vet
page-sheet-link = The sheet about { $cat } for a sitter
page-as-of = As of { $time }, on the clock of { $zone }.
page-anew = This page shows itself anew every minute.

page-history-of = The last { $span }, the newest first. Each line is told as it was then.
page-history-cut = Only the newest { $count } lines are shown.
page-history-none = Nothing is recorded from this time.
page-was-opened = Found: "{ $matter }".
page-was-changed = More of it: "{ $matter }".
page-was-cleared = No longer open: "{ $matter }".
page-was-unsure = Not known any more: "{ $matter }".
page-was-message = To { $person }: "{ $title }". { $fate }
page-was-answer = { $person } answered: "{ $answer }".
page-was-answer-to = { $person } answered: "{ $answer }" ({ $matter }).
page-was-of = { $cat }: { $line }
page-was-dose = Dose recorded: { $dose }.
page-was-dose-undone = The dose of { $time } was taken back: not given.
page-was-check = Meter check of { $time }: { $check }.
page-was-check-undone = The meter check of { $time } was taken back.
page-was-sensor = Sensor, { $time }: { $event }.
page-was-note = Note: { $text }
page-was-note-by = Note by { $person }: { $text }
page-fate-taken = { $channel }: its server took it at { $time }.
page-fate-failed = It was not delivered: { $reason }.
page-fate-withdrawn = Withdrawn before any server had it.
page-fate-waiting = Not delivered yet.
page-wear-none = No sensor is recorded for { $cat } yet.
page-wear-on = Put on
page-wear-end = Ended
page-wear-days = Days
page-wear-still = still on
page-wear-ended = { $time }, { $how }
page-cost = A day has cost { $day } so far.
page-cost-full = At { $price } a sensor, a day costs { $full } if it lasts its { $days } days.
page-life-own = { $count } sensors are recorded. What follows rests on them.
page-life-borrowed = { $count ->
    [one] One sensor is recorded: too few to tell. What follows rests on published medians of cats' sensors, 7 and 10 days.
   *[other] { $count } sensors are recorded: too few to tell. What follows rests on published medians of cats' sensors, 7 and 10 days.
}
page-life-lasting = Longer than { $span }: { $share } of them so far; the true share may be anything from { $from } to { $to }.
page-life-present = That the present one lasts until { $time }: { $chance }.
