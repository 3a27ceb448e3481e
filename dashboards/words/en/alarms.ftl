### What alarms mean, what to do about them, and what can be done to them: on the page of now, on the list of alarms and
### on each alarm's own page.

## What an alarm means, one sentence.

alarm-means-brood-limit = Some of the brood place is hotter than the limit you set.
alarm-means-probe-hot =
    A probe says that it is hotter than any place in this nest may be: the nest is too hot, or the probe is broken.
alarm-means-heater-stuck-on = The heating mat gives heat that nobody asked for, or does not let go where it always did.
alarm-means-heater-no-heat = The heating mat is told to heat, and no heat arrives.
alarm-means-brood-cold = The brood place has been colder than the band you set.
alarm-means-brood-hot = The brood place has been warmer than the band you set.
alarm-means-forecast-hot = If nothing changes, the brood place will become warmer than the band you set.
alarm-means-forecast-cold = If nothing changes, the brood place will become colder than the band you set.
alarm-means-gradient-flat = The whole nest is about equally warm while the mat heats: there is no cooler place to go to.
alarm-means-rest-warm = A nest in winter rest is warmer, or colder, than its rest allows.
alarm-means-humidity-low = The nest has been drier than you want it.
alarm-means-humidity-high = The nest has been damper than you want it.
alarm-means-condensation = Somewhere in the nest a wall is colder than the dew point: water settles there.
alarm-means-water-low = The nest dries as it does when its water has run out.
alarm-means-probe-silent = A probe has stopped speaking; what lies near it is known less well.
alarm-means-probe-implausible = A probe says what its nest cannot do: it is frozen, jumps, or fell off.
alarm-means-nest-unwatched =
    A heated nest has had no reading that can be believed for ten minutes: how warm it is, nobody knows.
alarm-means-watch-gap = For a while nothing was watched: a power cut, or this watch was stopped.
alarm-means-node-silent = Everything that hangs on a node has stopped speaking.
alarm-means-broker-lost = The broker cannot be reached: no reading arrives.
alarm-means-history-failing = Readings cannot be written down, or the file was damaged; judging goes on.
alarm-means-notice-failing = Messages do not get out: you would not be told.
alarm-means-clock-jumped = The clock was set or jumped; times near it may be wrong.

## What to do, a step each, in this order. The first two belong to several alarms.

alarm-step-unplug =
    Pull the plug of the heating mat, unless it is hot, discoloured or wet: then switch off that circuit. Do not trust the
    mat's switch, thermostat or node.
alarm-step-feel = Feel the nest and measure it with a second thermometer.
alarm-step-cool = Let the nest cool with the room; no ice, no cold water.
alarm-step-look-now = Look now, and treat it as real heat until you know better.
alarm-step-sensor = See whether the thermostat's sensor still sits where you put it.
alarm-step-reset = Plug it in again only once you know why; then reset this alarm.
alarm-step-cable = Look at plug, switch, socket and cable of the heating mat.
alarm-step-mat-warm = Feel whether the mat is warm.
alarm-step-dead = If it is dead, keep the room warm until it is replaced.
alarm-step-heats = See whether the heating mat is on and the room is as warm as usual.
alarm-step-raise = Raise its set point a little, or move the mat nearer.
alarm-step-lower = Lower the set point, or switch the heating mat off for a while.
alarm-step-shade = Shade the nest if the sun is on it.
alarm-step-lower-now = Lower the set point or switch the heating mat off.
alarm-step-cool-room = Cool or shade the room.
alarm-step-mat-on = See whether the heating mat is on.
alarm-step-warm-room = Keep the room warm.
alarm-step-flat = Warm a shorter stretch of the nest, or turn the heat down.
alarm-step-rest = Look at the place where it rests, and at its own thermometer.
alarm-step-water = Look at the water, and refill it.
alarm-step-air = Air it, and give less water.
alarm-step-drops = Look for drops at the cool end, and keep brood and small ants from drowning.
alarm-step-refill = Look at the water, refill it, and note it here as refilled.
alarm-step-probe-cable = Look at its cable and plug.
alarm-step-probe-sits = See whether it still sits where the shelf file says.
alarm-step-compare = Compare it with a second thermometer.
alarm-step-look-yourself = Look at the nest yourself, now.
alarm-step-node-and-probes = Look at its node, its power and its probes.
alarm-step-heating-back = Look at the nests, and whether all heating came back as it should.
alarm-step-node-power = Look at its power and its network.
alarm-step-broker = See whether the broker runs, and at the network between.
alarm-step-until-back = Until it is back, look at the nests yourself.
alarm-step-disk = Look for free space on the disk, and whether the disk is sound.
alarm-step-ways = Try the way out with `warmend alarms test`.
alarm-step-until-works = Until it works, look at this page yourself.
alarm-step-clock = See whether the machine keeps time.

# What was seen of an alarm, on the page of now and on the list. $detail: sentences, worded when it was raised.
alarm-when-raised = When it was raised: { $detail }
# An alarm that is over and that nobody has answered.
alarm-step-over = It ended by itself. Find out what caused it, then say that you have seen it.

## What a keeper can do to an alarm: on its button, and over the form on the alarm's own page.

alarm-act-ack = I have seen it
alarm-act-on-the-way = Someone is on the way
# $minutes: how long.
alarm-act-shelve = Silence for { $minutes } min
alarm-act-unshelve = End the silence
alarm-act-reset = I have looked: reset
alarm-act-in-service = Back in service
alarm-act-unplugged = I unplugged it: out of service for 30 days

## What happened to an alarm, in the list of what happened.

alarm-event-raised = raised
alarm-event-acknowledged = answered
alarm-event-unacknowledged = worse than when it was answered
alarm-event-returned = over, but nobody has answered
alarm-event-cleared = over
alarm-event-reset = reset
alarm-event-shelved = silenced for a time
alarm-event-unshelved = no longer silenced
alarm-event-suppressed = silenced, as it follows from another
alarm-event-unsuppressed = on its own again
alarm-event-out-of-service = taken out of service
alarm-event-in-service = back in service

## Why a reading was not believed, to follow “not believed because”.

doubt-wild = it is far from what the nest can do there
doubt-distrusted = the probe seems frozen, fallen off, jumping or drifting
doubt-late = it came too late to be used
doubt-duplicate = it was there already
# Of a probe whose last word is old.
doubt-silent = the probe is silent, and what it said is old

## Why what was learned anew of a nest's warmth was not taken, to follow “was refused:”.

fit-unsettled = its numbers did not come to rest
fit-explains-worse = it explained its own hours worse than the one in force
fit-foretells-worse = it foretold the hours before its own worse than the one in force
fit-untried = there were too few hours before its own to try it on

## Kinds of notes that a keeper can write down, as a page lists and offers them.

note-kind-brood = brood seen
note-kind-fed = fed
note-kind-water = water given
note-kind-refilled = water refilled
note-kind-opened = nest opened
note-kind-moved = probe, mat or nest moved
note-kind-eggs = eggs laid
note-kind-other = something else

