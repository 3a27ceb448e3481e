### First start, and another nest: what was heard and has no place yet, and a form that writes lines of a shelf file.
### [[mapping]], [[notice]] are lines of that file; `warmend check` and the like are commands.

start-title-empty = An empty shelf: let us fill it
start-title-more = Another nest
start-lead-empty =
    The watch runs, but no nest is described yet, so nothing is judged and nobody is told of anything. Three steps: see
    what your sensors say, answer what you can, copy a few lines.
start-lead-more = Sensors that were heard and that no nest lists yet, and the lines that give them a place.
start-head-heard = 1. What was heard
# $broker: where nodes publish, as “broker-topic” says it.
start-how =
    Sensors publish to { $broker }; a sensor that speaks otherwise is taken in by a [[mapping]]. `warmend check --listen
    1m` shows what arrives and what becomes of it.
start-head-asked = 2. What you can read off label and ruler
start-head-cautions = Before anything is plugged in
start-caution-device =
    Software is never the protective device, and neither is this program. A heating mat needs a thermal cut-off of its
    own, apart from the thermostat's sensor, and should be so small that even when it sticks on, nest and wood stay
    within what they bear.
start-caution-relay =
    Relays weld, and sensors slip out of nests: the usual failure of a heater is on. Cover no mat with anything that
    keeps its warmth in.
start-caution-water =
    Water and mains: a drip loop in every cable, a residual-current device in the circuit, low voltage where there is a
    choice. Unplug before you add or wipe water.
start-caution-label =
    The heater's own label and instructions, local codes, and licensed people for work on mains wiring come first.
start-plan = Plan: how hot if the mat sticks on

## What was heard.

start-heard = Heard, but in no nest yet
start-heard-source = source: node, colon, sensor
start-heard-said = said last
start-heard-none =
    Nothing without a place has been heard yet. Once a node publishes, it stands here within seconds: look again. You can
    also write its name by hand below.

## The lines to copy.

start-still-needed = These are still needed; all else may stay open.
start-copy-head = Copy these lines
# $file: the shelf file's name.
start-copy-says =
    They were read by the watch's own reader and can be used. Put them at the end of { $file }, then `warmend check`,
    then start the watch again.
start-copy = To copy
start-open = What stays open, and what that costs
start-no-notice =
    Without a [[notice]] only the log is told. A message that wakes you needs a way out: README, “How it tells you”.
# What the reader of the shelf file complains of. $key: as the file has it; $why and $remedy: clauses.
start-complaint = { $key }: { $why }; { $remedy }.

## The form.

start-group-sensors = The sensors
start-group-brood = The brood, and the warmth you want
start-write = Write the lines
start-unknown = I don't know
start-yes = yes
start-no = no

start-id = What to call it
start-id-help = A short name, small letters, digits and hyphens: it stands in messages and on pages.
start-length = Its length, mm
start-length-help =
    Lay a ruler along the galleries. The end that you measure from is the zero end; all places count from it.
start-material = What its body is made of
start-material-help = A first guess of how it carries warmth. The watch learns better from its readings.
start-material-aac = aerated concrete (AAC)
start-material-printed = printed plastic (PLA)
start-cover = What lies over the galleries
start-cover-lid = a closed lid

start-role-none = not of this nest
start-role-probe = in this nest
start-role-room = in the room's air, in the shade
start-role-drive = reports what the heating mat is told or takes
# $source: its name; $value: what it said last; one of the roles above follows.
start-source-is = { $source } is
start-source-is-said = { $source } (said { $value }) is
start-source-at = { $source } sits at, mm
start-source-unheard = A source not heard yet
start-source-unheard-help = As the node calls itself: node, colon, sensor, as oak-node:warm. Empty if there is none.
start-it-is = It is
start-it-sits = It sits at, mm
start-sits-help = From the zero end to the sensor's tip. Only if it sits in this nest.

start-mat = Is there a heating mat or cable
start-mat-none = no, it is not heated
start-where = Where it lies
start-where-under = under it
start-from = It begins at, mm
start-from-help = Where the warm part begins, from the zero end.
start-to = It ends at, mm
start-watts = Its power, W
start-watts-help = On the label or the plug: a number before W. Empty if you cannot find it.
start-volts = or its voltage, V
start-volts-help = If the label names no watts but volts and amperes, the two are multiplied.
start-amps = and its current, A
start-amps-help = 0.5 A is 500 mA.
start-cutoff = Has it a thermal cut-off of its own
start-cutoff-help =
    A part in the mat or its cable that breaks the circuit when it grows too hot, apart from any thermostat and its
    sensor. Label, instructions or maker say so. A thermostat alone is none.
start-plug = Which plug it hangs on
start-plug-help = In your words, so that a message at night says which one to pull.

start-brood-from = The brood lies from, mm
start-brood-from-help = Where eggs, larvae and cocoons lie now, from the zero end. Empty if you cannot see it.
start-brood-to = to, mm
start-low = It should stay above, °C
start-low-help =
    What your species likes you know better than this page: from your own notes or its literature. Empty if you don't
    know.
start-high = and below, °C
start-limit = Danger above, °C
start-limit-help = The hottest that its brood bears. All three or none.

## What is still needed.

start-need-id = What to call the nest.
start-need-length = Its length in mm, by a ruler.
start-need-probe = At least one sensor that sits in the nest, and where: without one nothing is seen of it.

## What stays open, and what that costs.

start-open-material =
    What the body is made of is left open: the first days are reckoned as for a hardwood, with more doubt.
start-open-room = No sensor reads the room: its warmth is worked out from the cool end, with more doubt.
start-open-heated = Whether it is heated is left open: no alarm of a heating mat can be raised.
start-open-mat =
    The mat is left out, as its power or its place is not known: a mat that sticks on is then found only by a hot probe.
    Look for the label; the page Plan says what is at stake.
# A remark in the lines to copy; “from_mm”, “to_mm” and “watts” are keys.
start-open-mat-remark = the heating mat: needs from_mm, to_mm and watts, by ruler and label
start-open-drive =
    Nothing reports what the mat is told: when it was on is worked out from the warmth, and a stuck mat is found later.
start-open-plug = Which plug the mat hangs on is not written: a message cannot say which one to pull.
start-open-cutoff =
    Without a thermal cut-off of its own nothing stands between a stuck mat and fire but you. Look at its label, ask its
    maker, or take a mat that has one.
start-open-brood = Where the brood lies is left open: its warmth cannot be judged. Add it once you see it.
start-open-band =
    The warmth you want is left open: too cold and too warm are not told, only a guard of 40 °C at the hottest point.
