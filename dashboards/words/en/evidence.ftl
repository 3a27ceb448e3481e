### What an alarm rests on: what was expected, what is seen, since when, how sure. A sentence each, one after the other; at
### night, in messages, on the pages. Numbers arrive as they are shown, without their unit.
### $lasts: how long, "12 min" (hours-…). $off: how far what stands before it may be off, either way, K.

## The brood place. $mean: its mean over the last hour, $bound: that of the band in the shelf file, °C.

evidence-brood-above =
    The brood place was { $mean } °C (give or take { $off }) over the last hour, above its upper bound of { $bound } °C.
evidence-brood-below =
    The brood place was { $mean } °C (give or take { $off }) over the last hour, below its lower bound of { $bound } °C.
# Where it is over, or nearly so.
evidence-brood-not-above =
    The brood place was { $mean } °C (give or take { $off }) over the last hour; its upper bound is { $bound } °C.
evidence-brood-not-below =
    The brood place was { $mean } °C (give or take { $off }) over the last hour; its lower bound is { $bound } °C.
# $probe: what the probe says, $limit: what it should not pass, °C.
evidence-brood-probe-hot =
    A probe at the brood says { $probe } °C, three readings in a row, above the limit of { $limit } °C.
# $hottest: °C.
evidence-brood-above-limit =
    The hottest point of the brood place is { $hottest } °C (give or take { $off }), above the limit of { $limit } °C.
evidence-brood-below-limit =
    The hottest point of the brood place is { $hottest } °C (give or take { $off }), below the limit of { $limit } °C.
evidence-probe-hot = A probe says { $probe } °C, three readings in a row, above { $limit } °C.
# Of a room that the brood place followed. $from, $to: °C; $within: as $lasts.
evidence-room-fell =
    The room fell from { $from } to { $to } °C within { $within }: is a window open? Other nests in it follow.
evidence-room-rose =
    The room rose from { $from } to { $to } °C within { $within }: sun, a radiator or a hot day? Other nests in it
    follow.

## What is ahead.

# $side: above or below; $about: in how long, evidence-hours and those beside it; $range: evidence-range and those beside it.
# $extreme: the farthest beyond the bound, °C; $sure: times in 100.
evidence-leaves =
    { $side ->
        [above]
            The brood place's mean will be above its upper bound of { $bound } °C in about { $about } ({ $range }), and
            reach { $extreme } °C (give or take { $off }). How sure: { $sure } in 100.
       *[below]
            The brood place's mean will be below its lower bound of { $bound } °C in about { $about } ({ $range }), and
            reach { $extreme } °C (give or take { $off }). How sure: { $sure } in 100.
    }
# In how long. $hours: whole ones.
evidence-hours = { $hours ->
    [one] 1 hour
   *[other] { $hours } hours
}
evidence-half-an-hour = half an hour
evidence-hour-and-a-half = 1½ hours
# $soonest, $latest: as $about.
evidence-range = between { $soonest } and { $latest }
evidence-range-half-an-hour = give or take half an hour
evidence-range-open = { $soonest } at the soonest, perhaps not at all
# $room: °C.
evidence-room-then = The room is expected at { $room } °C by then (give or take { $off }).
evidence-stays = The brood place is expected to stay within its bound of { $bound } °C again.

## The heating mat. $told: what it is told, %; $odds: evidence-odds or evidence-odds-million.

evidence-heats-untold =
    The heating mat is told { $told } % of its heat, but for { $lasts } the nest has warmed as if it gave all of it;
    { $odds }.
# Where it is not known what it is told.
evidence-heats-unknown =
    Nothing says what the heating mat is told, but for { $lasts } the nest has warmed as if it gave all of its heat;
    { $odds }.
evidence-heat-missing =
    The heating mat is told { $told } % of its heat, but for { $lasts } the nest has cooled as if it gave none;
    { $odds }.
evidence-heat-missing-unknown =
    Nothing says what the heating mat is told, but for { $lasts } the nest has cooled as if it gave no heat; { $odds }.
evidence-odds = odds of about { $odds } to one
evidence-odds-million = odds of more than a million to one
# $now: its place, $warmest: the warmest at which it heated, $coolest: the coolest at which it did not, °C.
evidence-never-lets-go =
    For { $lasts } the heating mat has heated though it is { $now } °C warm above it; in the two days before it never
    heated where it was warmer than { $warmest } °C.
evidence-never-comes-on =
    For { $lasts } the heating mat has given no heat though it is only { $now } °C warm above it; in the two days before
    it always came on by { $coolest } °C.
evidence-stopped =
    For { $lasts } the heating mat has given no heat; before, it always heated at this time of day.
evidence-out-of-hours =
    For { $lasts } the heating mat has heated; before, it never did at this time of day.
evidence-heats-as-told = The heating mat behaves as told again.

## Probes and nodes. "It" is the probe or the node that the alarm is about.

evidence-probe-silent = Nothing for { $lasts }; it last said { $probe } °C.
evidence-probe-never = It has not been heard at all.
evidence-probe-heard = It is heard again and says { $probe } °C.
evidence-probe-frozen = It repeats one value while its place must be changing.
evidence-probe-fallen-off = It shows the room where the nest is warm: it may have fallen off.
evidence-probe-jumping = It jumps faster than any nest can change.
evidence-probe-astray = It goes its own way while the other probes agree.
evidence-probe-fits = What it says fits the nest again.
evidence-unseen = The last reading that can be believed is { $lasts } old.
evidence-never-seen = No reading that can be believed has come yet.
evidence-seen-again = It is seen again.
evidence-all-silent = All nodes stopped within a minute of each other: a power cut, or the network.
evidence-nodes-heard = Nodes are heard again.
evidence-node-silent = None of its sensors has been heard for { $lasts }.
evidence-node-never = None of its sensors has been heard at all.
evidence-node-heard = Its sensors are heard again.

## What takes hours.

# $apart: K, $heat: what the mat gives meanwhile, %.
evidence-apart-too-little =
    Warmest and coolest place have been only { $apart } K apart for { $lasts }, while the heating mat gives { $heat } %
    of its heat.
evidence-apart = Warmest and coolest place are { $apart } K apart; the mat gives { $heat } %.
# $low, $high: the bounds of its season, $nest: how warm it is, °C.
evidence-rest-outside =
    The nest is at rest and should lie between { $low } and { $high } °C; it is { $nest } °C, and has been outside for
    { $lasts }.
evidence-rest-freezes = The nest is at rest and freezes: { $nest } °C, for { $lasts }.
evidence-rest = The nest is at { $nest } °C.

## Damp and water. $humidity: %RH, and $low, $high: what the keeper wants.

evidence-humidity-brood =
    The brood place is at { $humidity } %RH (give or take 5); you want { $low } to { $high } %RH.
evidence-humidity-brood-lasts =
    The brood place is at { $humidity } %RH (give or take 5), and has been so for { $lasts }; you want { $low } to
    { $high } %RH.
evidence-humidity-dampest =
    The dampest probe is at { $humidity } %RH (give or take 5); you want { $low } to { $high } %RH.
evidence-humidity-dampest-lasts =
    The dampest probe is at { $humidity } %RH (give or take 5), and has been so for { $lasts }; you want { $low } to
    { $high } %RH.
evidence-humidity-driest =
    The driest probe is at { $humidity } %RH (give or take 5); you want { $low } to { $high } %RH.
evidence-humidity-driest-lasts =
    The driest probe is at { $humidity } %RH (give or take 5), and has been so for { $lasts }; you want { $low } to
    { $high } %RH.
# $dew: °C, $surface: how warm what water would condense on is, °C, $at: where that is, mm.
evidence-dew-wall =
    The air's dew point is { $dew } °C, and the gallery wall at { $at } mm is held to be { $surface } °C.
evidence-dew-wall-lasts =
    The air's dew point is { $dew } °C, and the gallery wall at { $at } mm is held to be { $surface } °C; they have been
    as near as probes tell for { $lasts }.
evidence-dew-sheet =
    The air's dew point is { $dew } °C, and the sheet over the galleries at { $at } mm is held to be { $surface } °C.
evidence-dew-sheet-lasts =
    The air's dew point is { $dew } °C, and the sheet over the galleries at { $at } mm is held to be { $surface } °C;
    they have been as near as probes tell for { $lasts }.
evidence-water-untold = What the water gives cannot be told at present.
# $share: %.
evidence-water = The water gives { $share } % of its usual vapour.
# $strays: %, to which it strays by itself. $fallen: probes that show it, of $tell that can.
evidence-water-low = { $tell ->
    [one]
        The water gives { $share } % of its usual vapour, and for { $lasts } less than it ever strays to ({ $strays } %);
        the only probe that can tell says so.
   *[other]
        The water gives { $share } % of its usual vapour, and for { $lasts } less than it ever strays to ({ $strays } %);
        { $fallen } of { $tell } probes that can tell say so.
}
# $hours: rounded; $days: rounded, 2 or more.
evidence-water-left-hours = At this pace almost nothing is left in { $hours } h.
evidence-water-left-days = At this pace almost nothing is left in { $days } days.
evidence-room-humidity-assumed = The room's humidity is not measured; a very dry one is assumed.

## Times without a watch, and seasons.

# $why: a phrase, gap-….
evidence-unwatched = Nothing was watched for { $lasts }: { $why }.
evidence-unheard = Nothing was watched for { $lasts }: no probe was heard: power or network.
# $nest: its name, $before, $after: °C.
evidence-meanwhile =
    The brood place of { $nest } was at { $before } °C before and is at { $after } °C now; meanwhile it probably lay
    between the two.
# $low: °C.
evidence-meanwhile-below =
    The brood place of { $nest } was at { $before } °C before and is at { $after } °C now; meanwhile it probably lay
    between the two. That is below its lower bound of { $low } °C.
evidence-watched-again = Readings are watched again.
evidence-in-season = The season that the shelf file names expects it: it is not judged now.

## What is said beside an alarm's own evidence.

# $times: 3 or more.
evidence-chatters = It came and went { $times } times of late: its messages are held back until it stays one way.
# $came: more than ten. $standing: several of evidence-standing, by list-comma.
evidence-flood =
    { $came } alarms came within ten minutes; until fewer come, this message stands for all: { $standing }.
# $held: how many.
evidence-flood-over = Held back during the flood of alarms and still standing: { $held } more; { $standing }.
# $alarm: its name as machines read it ("brood-cold"), $count: how often it stands.
evidence-standing = { $alarm } { $count }
evidence-worse = It is worse than when it was answered: { $alarm } came as well.
