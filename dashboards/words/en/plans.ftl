### A plan in words, before anything is plugged in: on the page of plans, in its picture and on a terminal; and its form.
### No sentence may call a mat or a state harmless; what is not passed is said to be not passed.
### Temperatures, powers and times arrive with their units: 82 °C, 5 W, 5 to 7 min.

## Numbers with their doubt.

# $mid and $high: temperatures; in 20 nests of this description one is hotter than $high.
plans-likely = likely { $mid }, 1 nest in 20 above { $high }
# $most: °C; beyond it the model knows nothing.
plans-more-than = more than { $most } °C
# $least: a power, W.
plans-less-than-watt = less than { $least } W
plans-half-a-day = half a day or more
plans-under-a-minute = under a minute
# $from and $to: numbers, or whole lengths of time.
plans-minutes = { $from } to { $to } min
plans-hours = { $from } to { $to } h
plans-from-to = { $from } to { $to }

## The worst case. $spot: “brood” where the keeper said where the brood will lie, else “gallery”.

# $brood and $mat: as “plans-likely” says them.
plans-line = Stuck on and covered, room at { $room }: { $spot ->
    [brood] the brood place
   *[gallery] the hottest gallery
} { $brood }; between mat and nest { $mat }.
plans-covered = covered, room at { $room }
plans-standing = as it stands, room at { $room }
# “limit_c”, “material_limit_c” are keys of the shelf file, “--limit”, “--material-limit” belong to a command.
plans-no-brood-limit =
    What the brood bears was not given, and only you know your species: give it as { $flag }, or as limit_c in the shelf
    file.
plans-no-material-limit =
    What the nest's material and the board under the mat bear was not given: give it as { $flag }, or as
    material_limit_c in the shelf file.
# $passing: one of “plans-passed-…”.
# $limit: °C, with its unit; $passing: when it is passed.
plans-brood-limit = The limit you gave for the brood, { $limit }: { $passing }.
plans-material-limit = The limit you gave for the material, { $limit }: { $passing }.
# $cover: W/m²K, a number.
plans-cover-usual =
    Covered means on all sides: { $cover } W/m²K from every face instead of 4 to 9 (as by a cushion or folded towel of
    some 3 cm; through its cloth go 1.4, by the edges of so small a body about half as much again), and all of the mat's
    heat goes into the nest.
plans-cover-asked =
    Covered means on all sides: { $cover } W/m²K from every face instead of 4 to 9 (as you asked), and all of the mat's
    heat goes into the nest.
plans-no-limit = no limit given
plans-limit = limit { $limit }: { $passing }

plans-passed-from-beginning = passed from the beginning: the warm room alone is that hot
# $span: a length of time, or two: 6 to 7 min.
plans-passed-after = passed { $span } after it sticks
plans-passed-by-hottest = passed { $span } after it sticks by the hottest nest in 20, not by the likely one
plans-not-passed = not passed in 19 nests of 20

## The largest mat. All: powers.

# $largest: a power with its unit.
# $yours: the mat's own power, with its unit.
plans-largest =
    The largest mat in this place whose worst case (covered, warm room, the hottest nest in 20) stays below both limits
    you gave is one of { $largest } (by the brood's limit { $brood }, by the material's { $material }). Yours:
    { $yours }.
plans-largest-none = No largest mat is named: the warm room of { $room } alone is as hot as a limit you gave.
plans-largest-no-limits = No largest mat is named: what the brood bears and what the material bears are not given.
plans-largest-no-brood-limit = No largest mat is named: what the brood bears is not given.
plans-largest-no-material-limit = No largest mat is named: what the material bears is not given.
# $held: °C, $power: W, with their units.
plans-too-strong =
    To hold { $held } the nest takes about { $power }: no mat that can warm it stays below those limits by its size
    alone. Whatever switches it, something independent must take the heat away when that fails.

## What is to be expected.

# $room, $warmest, $zero, $far: °C with the unit; $low to $high: °C without one, 9 times in 10.
plans-always-on =
    Always on, as it stands, in a room at { $room }: the warmest gallery likely { $warmest } ({ $low } to { $high }, 9
    times in 10), the zero end { $zero }, the other end { $far }.
# $span: how long it takes; $spans: from how long to how long; $spot: which of the two is meant.
plans-warm-up = From as cold as the room, always on, it takes { $span } ({ $spans }, 9 times in 10) until { $spot ->
    [brood] the brood place
   *[gallery] the hottest gallery
} has 9 tenths of its rise.
# $room_k and $brood_k: K, numbers; $late: a length of time.
plans-swing = A room that swings by { $room_k } K over a day swings { $spot ->
    [brood] the brood place
   *[gallery] the hottest gallery
} by { $brood_k } K, { $late } later, unless a thermostat evens it out.
# $spot may also be “sensor”: then $mm says where that sits. $times: a number.
plans-too-weak = The mat is likely too weak to hold { $spot ->
    [sensor] { $mm } mm, where the thermostat's sensor sits,
    [brood] the brood place as a mean
   *[gallery] the hottest gallery as a mean
} at { $held }: it would take { $times } times its power.
# $mid, $low, $high, $coolest, $warmest: parts of the time, 40 %.
plans-held = To hold { $spot ->
    [sensor] { $mm } mm, where the thermostat's sensor sits,
    [brood] the brood place as a mean
   *[gallery] the hottest gallery as a mean
} at { $held } it is on { $mid } of the time ({ $low } to { $high }), { $coolest } at the room's coolest hour and { $warmest } at its warmest.
plans-may-be-weak = It may prove too weak.
plans-use-always = always on, room at { $room }
plans-use-held = held at { $held }, room at { $room }

# How far the warmth reaches. $decay, $low, $high: mm; $left: one of the next four.
plans-reach = Beyond the mat the rise falls to a third (1/e) every { $decay } mm ({ $low } to { $high }); { $left }.
# $percent: how much of the warmth; $from, $to: places, mm.
plans-left-beyond = { $percent } % of it is left at { $to } mm, and beyond that it is as good as the room
plans-left-before = { $percent } % of it is left at { $from } mm, and before that it is as good as the room
plans-left-outside = { $percent } % of it is left at { $from } and at { $to } mm, and outside it is as good as the room
plans-left-everywhere = more than { $percent } % of it reaches both ends: there is no cool place to go to

## What handbooks say of materials, each with its source.

plans-bears-wood =
    Wood, the board under the mat included: ignition after long contact is documented at and above 77 °C of the hot
    surface; that paper advises a further safety factor below it
plans-bears-wood-source = Babrauskas, Gray & Janssens 2007, Fire and Materials 31(2), 125–135
plans-bears-charring = Wood: charring over months to years is noticed from 90 to 105 °C on
plans-bears-charring-source = reports of the Forest Products Laboratory, from memory
plans-bears-printed = Printed polylactic acid softens from 55 to 60 °C on
plans-bears-acrylic = Acrylic deflects under load from 85 to 100 °C on
plans-bears-polymer-source = polymer data, from memory
plans-bears-cable = Cable with PVC insulation is rated for 70 °C
plans-bears-cable-source = IEC 60227, from memory
plans-bears-skin = Skin is burnt by a surface of 43 °C in 8 hours, of 51 °C in a minute
plans-bears-skin-source = ISO 13732-1, from memory

## What is assumed.

# $material: a name as the shelf file has it.
plans-assumed-material = { $material } by handbook numbers; a damp body conducts and stores more.
# $conductivity, $density, $capacity: the material's own numbers.
plans-assumed-own = A material of { $conductivity } W/m K, { $density } kg/m³, { $capacity } J/kg K.
plans-assumed-width = A width of { $mm } mm: none was given.
plans-assumed-height = A height of { $mm } mm: none was given.
plans-assumed-brood = Nobody said where the brood will lie: the hottest gallery is held against its limit.
plans-assumed-label =
    The mat gives what its label says (± 15 %) and does not limit itself; it sticks while the nest is as warm as it is
    meant to be.
# $usual, $warm: the room, °C with the unit; $swing: how far it swings within a day, K.
plans-assumed-room = The room { $usual } over a day, swinging by { $swing } K, and { $warm } in a heatwave.
plans-assumed-ranges =
    Ranges are where 9 nests in 10 of this description lie by what is not known of their physics; one in 20 is hotter
    than the upper end. What the model leaves out (sides, a board under the mat, draughts) is in them only roughly.

## The form: groups of fields.

planform-elsewhere = a nest not on the shelf
planform-mats = The heating mats stand as the shelf file says
planform-mat = The heating mat
planform-limits = What must not be passed
planform-nest = The nest
planform-room = The room
# What a field is called in a complaint. $group: one of the headings above; $label: of the field, below.
planform-called = “{ $group }: { $label }”

## Fields, and a few words of help below some.

planform-watts = Power, W
planform-watts-help = As its label says.
planform-pad-from = Begins at, mm
planform-pad-from-help = From the end from which you measure.
planform-pad-to = Ends at, mm
planform-where = Lies
planform-where-under = under the nest
place-beside = beside it
place-lid = on its lid
place-inside = inside it
planform-limit = The brood bears, °C
planform-limit-help = Its hottest point. Only you know your species.
planform-material-limit = The material bears, °C
planform-material-limit-help = The nest's body, and the board under the mat.
planform-hold = The brood place is to have, °C
planform-hold-help = As a mean. Empty: reckoned as always on.
# $degrees: °C.
planform-hold-thermostat = As a mean. Empty: its thermostat holds { $degrees } °C where its sensor sits.
planform-length = Length, mm
planform-length-help = Of the galleries' axis.
planform-width = Width, mm
planform-height = Height, mm
planform-height-help = Of the body, without a lid.
planform-brood-from = Brood place from, mm
planform-brood-to = Brood place to, mm
planform-material = Made of
planform-material-help = aac is aerated concrete; printed is polylactic acid.
planform-cover = Over the galleries lies
planform-cover-lid = a lid that keeps warmth in
cover-open = nothing
cover-glass = glass
cover-acrylic = acrylic
planform-day = Over a day, °C
planform-swing = Coolest to warmest hour, K
planform-warm = In a heatwave, °C

## Why there is no plan.

plans-refused = No such plan
plans-refused-why = The address asks for one thing twice, or cannot be read. Begin anew from Plan, above.
plans-no-nest = Looking for the nest: the shelf file names none of that name. Choose one below.
plans-not-reckoned = Not reckoned
plans-not-reckoned-why = Look at the log of this watch.

## What in the form, or behind the command, is not understood. $flag, $from, $to, $watts: --length and the like, or what
## the form calls it (planform-called); $shown: what was written.

# $shown: what stood there; $least, $most: between which it must lie.
plans-read-range = reading { $flag }: { $shown } is not between { $least } and { $most }: write one that is
plans-read-number = reading { $flag }: “{ $shown }” is no number: write one, as 24 or 24.5
# $known: the words that may stand there.
plans-read-word = reading { $flag }: “{ $shown }” is not known: write one of { $known }
# $warm and $room: °C.
plans-read-warm-room = reading { $flag }: { $warm } is cooler than the room, { $room }: write its warmest
plans-read-length = describing the nest: its length is not known: measure it and write it, in mm
# $what: “pad” or “brood”.
plans-read-one-end = { $what ->
    [pad] placing the heating mat: only one of its ends is known: write { $from } and { $to }, in mm
   *[brood] placing the brood: only one of its ends is known: write { $from } and { $to }, in mm
}
# $from, $to: mm.
plans-read-ends = { $what ->
    [pad]
        placing the heating mat: it ends at { $to } mm, which is not beyond its beginning, { $from } mm: swap or correct
        them
   *[brood]
        placing the brood: it ends at { $to } mm, which is not beyond its beginning, { $from } mm: swap or correct them
}
# $length: of the nest, mm.
plans-read-beyond = { $what ->
    [pad] placing the heating mat: { $to } mm lies beyond the nest's end, { $length } mm: measure from the zero end
   *[brood] placing the brood: { $to } mm lies beyond the nest's end, { $length } mm: measure from the zero end
}
# $count: how many.
plans-read-mats =
    placing the mat: the shelf file gives this nest { $count } of them: change them there, or describe the nest without
    it
plans-read-mat =
    describing the heating mat: it is not whole: write { $from } and { $to } (mm), and { $watts } (by its label)
plans-read-no-mat = planning: the nest has no heating mat
# What a nest is called that no shelf file names.
plans-this-nest = this nest
