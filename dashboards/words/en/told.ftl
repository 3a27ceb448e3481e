### Messages: what a person is told of an alarm, on a telephone, by mail, by any way. They are read at night, by people who
### may never have seen the shelf. No sentence may call a state safe, protected or guaranteed: probes are seen, not the room.

## The first line: complete on a lock screen, at most 80 letters with the longest of names.

# Its rank; of a warning and an advice tone-warning and tone-advice.
told-danger = DANGER
# $nest, $shelf: their names.
told-nest = nest { $nest }
told-shelf = shelf { $shelf }
# $rank: DANGER, or told-news-…; $place: told-nest or told-shelf, or a bare name; $said: one of the next two.
told-line = { $rank }: { $place }, { $said }
# $what: what is the matter (told-…-what, or told-…-short where there is little room), $act: told-…-first.
told-line-act = { $what }. { $act }
# The same of what is over, answered or silenced.
told-line-over = { $what }.
# $name: the probe or node it is about.
told-line-named = { $what } ({ $name })
# For the longest of names, which may be cut at the end.
told-line-last = { $rank }: { $said } { $place }

## In place of the rank, where nothing begins.

told-news-answered = Answered
told-news-over-for-now = Over for now
told-news-over = Over
told-news-reset = Reset
told-news-shelved = Silent for a time
told-news-suppressed = Silent by design
told-news-out-of-service = Out of service
# A danger that stood when its nest, or its probe, left the shelf file.
told-news-left = No longer watched

## What to do about every danger, in this order.

told-fire =
    Smoke, flame or a burning smell: do not touch it, get everyone out, close the door, call the fire service from
    outside.
# Follows it. $call: what stands in the shelf file. No number is shipped.
told-emergency = The keeper wrote down whom to call: { $call }.
# Before the hand is on it.
told-hot-plug =
    If plug, socket or cable is hot, discoloured or wet, do not touch it; switch off that circuit if you can reach it
    safely.
# $mats: how many the nest has.
told-unplug = { $mats ->
    [one] Otherwise unplug the heating mat at the wall.
   *[other] Otherwise unplug all { $mats } heating mats of this nest at the wall.
}
# Follows it. $plugs: which, in the keeper's words; $count: how many of them; $mats: how many mats the nest has.
told-plug = { $count ->
    [one] It is this plug: { $plugs }.
   *[other] They are these plugs: { $plugs }.
}
told-plug-some = Of its { $mats } mats these plugs are written down: { $plugs }. Find the others as well.
told-no-water = No water, no ice.
told-leave = Leave it unplugged until you know why.

## The lines below the steps: a head and what it is.

# $place: nest, shelf and where that stands, with the next five.
told-where = Where: { $place }
told-place-probe = probe { $name }
told-place-node = node { $name }
told-place-elsewhere = the other shelf: { $name }
# $mats: how many the nest has.
told-place-plug = { $mats ->
    [one] its heating mat hangs on: { $plugs }
   *[other] its heating mats hang on: { $plugs }
}
# $nests: their names, by list-comma.
told-place-shared = the same heating mat warms { $nests }
# $at: "Sun 1 March, 12:00 (CET)".
told-since = Since: { $at }
told-when = When: { $at }
# $sure: told-…-sure.
told-sure = How sure: { $sure }
# $brood: told-…-brood.
told-brood = For the brood: { $brood }
# $evidence: what was seen.
told-evidence = Evidence: { $evidence }
# $seen: what is believed of the nest now, a sentence.
told-now = Now: { $seen }
# $cause: told-…-what.
told-follows = Follows from: { $cause }

## How to answer, and what happens until somebody does.

# $link: an address.
told-answer-link = To answer, or to pass it on: { $link }
# Where no link can be given.
told-answer =
    To answer: act at the shelf first, as above. This message carries no link: the pages are open on one machine only.
# $name: the alarm as the command takes it.
told-answer-there = On the machine that watches: its page, or `warmend alarms ack { $name }`.
told-repeated = It is repeated until somebody answers. An answer does not end it: go and look.
# $number: 2 or more.
told-repeated-before =
    This is message { $number }. It is repeated until somebody answers. An answer does not end it: go and look.
# Begins a message about a danger that was answered and goes on.
told-reminder = Somebody answered this, and it still holds. You are reminded until it is over.
# Begins a message to those who are told second.
told-second = You are told because whoever was told before has not answered, or could not end it.

## What ends a message.

# A danger.
told-not-a-device =
    This is not a protective device and not a smoke alarm. Local codes come first; work on mains wiring is for
    licensed people.
# What leads a hand to a heater, a plug or a cable.
told-care =
    Look before you touch: no plug, socket or cable that is hot, discoloured or wet. Work on mains wiring is for
    licensed people; local codes come first.

## In place of steps, where nothing begins.

told-after-danger =
    By the readings the condition has ended; what brought it about may still be there. Go and look. What you unplugged
    stays unplugged until you know why.
told-after-over = By the readings the condition has ended. Look at the nest when you can, and at what brought it about.
told-after-answered-danger = Somebody answered. While it goes on, they are reminded.
told-after-answered = Somebody answered; messages about it stop. The condition itself may go on.
told-after-reset = Somebody reset it. If the cause is still there, it will be raised again.
told-after-shelved = Somebody silenced it for a time. Nobody is told of it meanwhile.
told-after-suppressed = It is a consequence of something that was told already.
told-after-left =
    This stood when the shelf file was changed, and what it is about is no longer in that file under this name: nothing
    watches it any more. That ended nothing. Go and look; if the heating mat is still plugged in there, unplug it. If the
    nest only has another name now, what its probes say is judged under that.
told-after-out-of-service = Somebody took it out of service. Nobody is told of it until it is put back.

## What several alarms say.

told-water-first = Unplug the heating mat before you add or wipe water.
told-cooler-place = Give the ants a cooler place: open the way to the arena, lift a cover. Do not cool them suddenly.
told-out-of-sun = Take the nest out of the sun and away from anything else that warms it.
told-a-way-out = See that the ants can reach a cooler place.
told-by-mean = Worked out from the probes, as a mean over the last hour; the doubt in it is counted in.
told-a-forecast = A forecast: what follows if room and heating go on as they do. It can be wrong.
told-not-yet = Nothing has happened to the brood yet.
told-unplug-mat = Unplug the mat.
told-look-at-nests = Look at the nests.
told-humidity-sure = From the probes' humidity, held for hours. Cheap probes err by 2 to 5 %RH and more with age.
told-one-eye-fewer = Nothing is known to be wrong with the brood, but there is one eye fewer on it.

## Each alarm: what is the matter, the same in few words, the first thing to do (the last two together at most 35 letters),
## steps, how sure it is and what else looks like it, and what it means for the brood. Where an alarm's own words fit
## (alarm-…), they stand in the first line.

told-heater-stuck-on-short = mat stuck on
told-heater-stuck-on-first = Unplug it now.
told-heater-stuck-on-step-1 =
    See whether the thermostat's sensor still sits in the nest: one that slipped out drives the mat on. Put it back
    only with the mat unplugged.
told-heater-stuck-on-step-3 = When you know why, and the mat lets go again, reset the alarm.
told-heater-stuck-on-sure =
    Worked out from how the nest warmed against what the mat was told. A relay that sticks, a thermostat's sensor that
    slipped out and a mat that was plugged in by hand look alike.
told-heater-stuck-on-brood = The brood can be lost within a quarter of an hour to an hour; nobody can say the minute.

told-brood-limit-short = brood place too hot
told-brood-limit-sure =
    Either three readings in a row of a probe by the brood, or what is worked out between the probes; the evidence
    below says which.
told-brood-limit-brood = Beyond the limit that you set, brood can be lost within the hour.

told-probe-hot-short = a probe is too hot
told-probe-hot-step-1 = The nest or the probe: look now. A probe that lies on the heating mat says the same.
told-probe-hot-sure =
    Three readings in a row of one probe; no model stands between. The probe itself may be at fault: find out by
    looking, not by waiting.
told-probe-hot-brood = Where it is so hot, brood can be lost within minutes to an hour.

told-heater-no-heat-short = mat gives no heat
told-heater-no-heat-first = Is the plug in?
told-heater-no-heat-step-1 = See whether the plug is in, and the socket or strip switched on.
told-heater-no-heat-step-2 =
    See whether a thermal cut-off has opened. If it has, something was too hot: do not bridge it, do not reset it
    before you know why.
told-heater-no-heat-step-3 = See whether the mat still lies at the nest, and the probes sit where they should.
told-heater-no-heat-step-4 = Do not warm the nest with anything that nobody watches.
told-heater-no-heat-sure =
    Worked out from how the nest cooled against what the mat was told. A probe that fell off, or a mat that slipped,
    can look like it.
told-heater-no-heat-brood = Brood grows slowly or not at all while it is cold; most colonies bear some hours of it.

told-brood-cold-short = brood place too cold
told-brood-cold-first = Is the mat on?
told-brood-cold-step-1 = See whether the plug is in, and the thermostat set as you want it.
told-brood-cold-step-2 = See whether a window is open, or the nest stands in a draught.
told-brood-cold-brood = Brood grows slowly while it is cold; most colonies bear some hours of it.

told-brood-hot-short = brood too warm
told-brood-hot-first = Look at mat and sun.
told-brood-hot-step-1 = See whether the sun falls on the nest, and whether the room itself has grown warm.
told-brood-hot-step-2 = Turn the heating down, or unplug the heating mat until you know why.
told-brood-hot-brood = The ants will carry the brood away if there is a cooler place to carry it to.

told-gradient-flat-short = no cooler place
told-gradient-flat-first = Make a cool end.
told-gradient-flat-step-1 = See whether the heating mat reaches too far, or a cover keeps the cool end warm.
told-gradient-flat-sure = Worked out for the whole nest from its probes, and so for hours.
told-gradient-flat-brood = The ants cannot choose: warmth along the nest is how they place their brood.

told-rest-warm-short = rest disturbed
told-rest-warm-first = Look at the room.
told-rest-warm-step-1 = See whether the room or cupboard has warmed or frozen, and whether the heating mat is unplugged.
told-rest-warm-sure = From the probes of the nest, against the band of the season in force.
told-rest-warm-brood = A colony that wakes in winter eats what it needs for spring; frost can kill it.

told-forecast-hot-short = will get too warm
told-forecast-hot-first = Turn heating down.
told-forecast-hot-step-1 = Turn the heating down before it happens, shade the nest, air the room.

told-forecast-cold-short = cold is coming
told-forecast-cold-first = Look at the heating.
told-forecast-cold-step-1 = See whether the heating can keep up with the night, and whether a window is open.

told-water-low-short = water ran out
told-water-low-first = Unplug, then refill.
told-water-low-step-2 = Refill the water, and see whether the wick or the tube still reaches it.
told-water-low-step-3 = Wipe up what was spilled; let plug and socket be dry before you plug in again.
told-water-low-sure = Worked out from how the humidity falls; a probe of humidity that ages can look like it.
told-water-low-brood = A dry nest costs brood first, then the colony; there are usually days to act.

told-humidity-low-what = the nest is drier than you want
told-humidity-low-short = nest too dry
told-humidity-low-first = Unplug, then water.
told-humidity-low-step-2 = Give water at the damp end, a little at a time.
told-humidity-low-brood = Brood dries out more quickly than workers do.

told-humidity-high-what = the nest is damper than you want
told-humidity-high-short = nest too damp
told-humidity-high-first = Unplug, then air it.
told-humidity-high-step-2 = Air the nest, and give less water for some days.
told-humidity-high-brood = Mould is the risk, not the damp itself.

told-condensation-what = water condenses in the nest
told-condensation-short = water condenses
told-condensation-first = Unplug, then wipe.
told-condensation-step-2 = Wipe the glass dry; see that no drop runs along a cable towards a socket.
told-condensation-step-3 = A smaller difference between warm and cool end, or more air, makes it stop.
told-condensation-sure = From warmth and humidity along the nest: the coldest surface has reached the dew point.
told-condensation-brood = Drops can drown eggs and small larvae.

told-all-silent-what = every probe fell silent at once
told-all-silent-short = all is silent
told-all-silent-first = Is the power on?
told-all-silent-step-1 =
    See whether the power is on: a power cut, a fuse, a switched strip. The heating may be off with it.
told-all-silent-step-2 = If the power is on, see whether the network works.
told-all-silent-step-3 = Look at the nests; do not warm them with anything that nobody watches.
told-all-silent-sure = Certain that nothing is heard. A power cut and a broken network look alike from here.
told-all-silent-brood = Unknown until probes speak again. Most colonies bear some hours of cold.

told-elsewhere-what = another shelf's watch is silent
told-elsewhere-short = other watch silent
told-elsewhere-first = Look there.
told-elsewhere-step-1 = Look at the nests of that shelf: nobody may be watching them.
told-elsewhere-step-2 = Then see whether the machine that watches them has power, and whether the network works.
told-elsewhere-sure = Certain that its signs of life stopped. Whether it still watches is unknown.
told-elsewhere-brood = Unknown there. Assume nothing until somebody has looked.

told-probe-silent-what = a probe has gone silent
told-probe-silent-short = a probe is silent
told-probe-silent-first = Look at its cable.
told-probe-silent-step-1 =
    See whether its cable sits at both ends, and whether the small box that it leads to has power.
told-probe-silent-sure = Certain: nothing came for longer than the probe ever took.

told-probe-implausible-what = a probe says what cannot be right
told-probe-implausible-short = probe in doubt
told-probe-implausible-first = Look where it sits.
told-probe-implausible-step-1 = See whether it still sits where it should, dry and not on the heating mat.
told-probe-implausible-sure = From the other probes and what the nest can do; they may all be wrong.

told-nest-unwatched-what = nobody sees how warm it is
told-nest-unwatched-short = nobody sees the nest
told-nest-unwatched-first = Go and look.
told-nest-unwatched-step-1 = Look at the nest and feel how warm it is beside the heating mat, not on it.
told-nest-unwatched-step-2 = See whether the small box that its probes lead to has power, and whether the network works.
told-nest-unwatched-step-3 = If you cannot look for hours, have the heating mat unplugged.
told-nest-unwatched-sure = Certain: no reading that can be believed came for ten minutes or more.
told-nest-unwatched-brood = Unknown. Assume nothing until somebody has looked.

told-node-silent-what = the node of its probes is silent
told-node-silent-short = a node is silent
told-node-silent-first = Look at its power.
told-node-silent-step-1 = The node is the small box that the probes lead to. See whether it has power.

told-network = See whether the network works.

told-node-silent-sure = Certain: nothing that hangs on it was heard.
told-node-silent-brood = Unknown until it speaks again.

told-watch-gap-short = nothing watched
told-watch-gap-step-1 = Look at the nests, and whether the heating came back as it should.
told-watch-gap-step-2 = The page of the week shows what is believed to have happened meanwhile.
told-watch-gap-sure = Certain that nothing was watched; what happened meanwhile is worked out afterwards.
told-watch-gap-brood = Unknown for that time.

told-broker-lost-what = no readings arrive any more
told-broker-lost-short = no readings come
told-broker-lost-step-1 = Until readings arrive nobody watches: look at the nests yourself.
told-broker-lost-step-2 =
    The broker, the program that passes readings on, is out of reach: see whether it runs, and whether the network
    works.
told-broker-lost-sure = Certain: the connection failed.
told-broker-lost-brood = Unknown while no reading arrives. Assume nothing until somebody has looked.

told-history-failing-short = history fails
told-history-failing-first = Look at its disk.
told-history-failing-step-1 = See whether the disk of the machine that watches is full or failing.
told-history-failing-step-2 = Judging and messages go on meanwhile, and nodes keep their readings.
told-history-failing-step-3 =
    If a damaged file was set aside, copy that and a backup (warmend export --backup) to another disk.
told-history-failing-sure = Certain: writing failed, or what was written is damaged.
told-history-failing-brood = Nothing is known to be wrong with the brood.

told-notice-failing-short = messages fail
told-notice-failing-first = Look at the page.
told-notice-failing-step-1 = If you are not the keeper, tell them that a way of messages fails.
told-notice-failing-step-2 = See whether the way works: `warmend alarms test`. Until then look at the page yourself.
told-notice-failing-sure = Certain: sending failed.
told-notice-failing-brood = Nothing is known to be wrong with the brood, but you may not be told.

told-clock-jumped-short = the clock jumped
told-clock-jumped-first = Look at the clock.
told-clock-jumped-step-1 = See whether the machine's clock is right, and whether a time server is reached.
told-clock-jumped-sure = Certain: the clock and the time that passed do not agree.
told-clock-jumped-brood = Nothing is known to be wrong with the brood; hours in history may be wrong.

## A test message.

# Its first line.
# $code: eight digits.
told-test-line = Test { $code }: shelf { $shelf }. Nothing has happened.
told-test =
    Somebody asked warmend to try this way out. That it got here says nothing about the shelf. It counts as proved
    only once a person says that they saw it.
told-test-seen = To say that you see this: `warmend alarms test --seen { $code }`.
told-test-seen-link = To say that you see this: `warmend alarms test --seen { $code }`, or { $link }.

## The reports of a day and of a week.

# The first line. $found: one of the next two, $probes: now-probes-….
# $clock: the time of day.
told-day = Shelf { $shelf }: { $found }, as of { $clock }, { $probes }
told-nothing-found = nothing found
# $alarms: how many.
told-found = { $alarms ->
    [one] 1 alarm stands
   *[other] { $alarms } alarms stand
}
# Heads the list of alarms.
told-standing = What stands, the gravest first:
# $rank: DANGER, $what: which nest and what.
# $since: since when.
told-stands = { $rank }: { $what }, since { $since }
# $mean, $hottest: °C; $off: how far the mean may be off, K.
told-day-nest = Nest { $nest }: brood place { $mean } °C (give or take { $off }), at most { $hottest } °C.
told-daily =
    This comes once a day, so that its absence tells you something: if it fails to come, look at the shelf and at the
    machine that watches it. Nothing amiss found means that no alarm stands; it is no verdict on what probes cannot see.
# The first line. $title: which week.
told-week = The week: { $title }
told-weekly = This looks back, once a week. What stands now is on the pages.

## A card to print and to hang beside a nest.

card-nest = Nest { $nest }
# $place: its name and where it stands.
card-shelf = Shelf { $place }
card-fire = Smoke, flame, a burning smell
card-emergency = The keeper wrote down whom to call: { $call }
# Heads a box with the plug.
card-plug = The heating mat will not switch off: this plug
card-never = Never
card-never-bridge = Do not bridge or reset a thermal cut-off: something was too hot.
card-never-sensor = Do not put the thermostat's sensor back while the mat is plugged in.
card-never-cover = Do not cover the mat, and do not cool the ants suddenly.
card-water = Water
card-water-after = Let plug and socket be dry before you plug in again.
card-callers = Whom to call
# $name: a person; $phone: their number, or a line to write on.
card-caller = { $name }: { $phone }
# $day: a date as 2026-03-01.
card-caller-from = from { $day }
card-caller-until = until { $day }
