### One nest as it is now: its picture, its facts, its tables, and the hours ahead.

## Below the picture of a nest.

nest-caption =
    Line: temperature believed at every place; shade: where it lies 9 times in 10. Filled dots: what the probes said.
# Follows it where one is not believed.
nest-caption-doubted = Hollow dots, and numbers in brackets: not believed.
# Follows it where one was never heard.
nest-caption-unheard = A dash in place of a number: that probe was not heard yet.
# Follows the caption where the keeper has set a band.
nest-caption-band = Zone over the brood place: the band you set.
# Opens the tables.
nest-numbers = The same in numbers

## Facts: a name and its value. Numbers are formatted already.

nest-brood = Brood place
# $mean: mean of the brood place, $off: how far it may be off, 9 times in 10, $hottest: its hottest point, all °C.
nest-brood-c = { $mean } ± { $off } °C, hottest { $hottest } °C
nest-room = Room
# $mean: the room's temperature, $off: how far it may be off, 9 times in 10.
nest-room-c = { $mean } ± { $off } °C
nest-heating = Heating
# One of these three, then one of the next two, joined by list-comma. $told: how much of the time it is told to heat, %.
nest-heating-told = told to { $told } %
nest-heating-untold = nothing tells what it is told
nest-heating-unheard = what it is told was not heard yet
# $gives: what the heating gives, W, $off: how far that may be off, $rated: what its label says, W.
nest-heating-gives = gives { $gives } ± { $off } W of { $rated }
nest-heating-unknown = what it gives is not known
# Of several mats, joined by list-semicolon. $from and $to: where it lies, mm; $told: one of the first three.
nest-heating-each = at { $from } to { $to } mm { $told }
# What all of them give.
nest-heating-together = together they give { $gives } ± { $off } W of { $rated }
nest-heating-together-unknown = what they give is not known
# Up to when and how far the node may heat.
nest-leave = Leave to heat
nest-humidity = Humidity
# One probe's; several are joined by list-comma. $humidity: relative humidity, %, $mm: where on the axis.
nest-humidity-at = { $humidity } % at { $mm } mm
# Beside the name of a probe. $why: why its last reading was not believed.
nest-probe-doubted = not believed because { $why }
# What was learned of how the nest carries heat.
nest-learned = Learned
# The first 12 hours of a nest.
nest-learning = Still learning
# $until: when that ends.
nest-learning-until = until { $until }; until then only danger, silence and faults of the watch are told

## The table of probes.

nest-probes = Probes
nest-probes-name = probe
nest-probes-place = at, mm
# When its last reading was heard.
nest-probes-heard = heard
# $said: the reading, °C.
nest-probes-doubted = { $said } (not believed)

## The table of the curve: warmth by place.

nest-curve = Warmth along the nest

## The picture. Little room: labels stand beside lines.

# $nest: the nest's name.
nest-title = Warmth along { $nest }
nest-plot-unheard = nothing heard yet
# Above the brood place. $mean: its mean, $off: how far that may be off, °C.
nest-plot-brood = brood place { $mean } ± { $off } °C
nest-plot-humidity = humidity
# Lines' names. $at: degrees.
nest-label-limit = limit { $at }°
nest-label-band = band { $at }°
nest-label-room = room { $at }°
# A heating mat under, beside, on or in the nest. $rated: what its label says, W.
nest-mat-under = heating mat { $rated } W
nest-mat-beside = heating mat beside, { $rated } W
nest-mat-lid = heating mat on the lid, { $rated } W
nest-mat-inside = heating mat inside, { $rated } W
# $mat: one of the four above, $told: how much of the time it is told to heat, %, $gives: what it gives, W.
nest-mat-told = { $mat }: told { $told } %
nest-mat-gives = { $mat }: gives { $gives } W
nest-mat-both = { $mat }: told { $told } %, gives { $gives } W

## The picture in one sentence, for whoever does not see it. It grows from part to part; $so_far is what it is by then.

nest-sentence-unknown = Nothing is known yet about { $nest }.
# $first, $last: °C at the ends of the nest, $first_mm, $last_mm: where that is.
nest-sentence = Warmth along { $nest }: { $first } °C at { $first_mm } mm, { $last } °C at { $last_mm } mm
# $mean, $off, $hottest: the brood place, °C.
nest-sentence-brood = { $so_far }; brood place { $mean } ± { $off } °C, at most { $hottest } °C
# $low, $high: the keeper's band, °C.
nest-sentence-band = { $so_far }; band { $low } to { $high } °C
# $ahead: what is expected of the hours ahead, a sentence of its own without its full stop.
nest-sentence-ahead = { $so_far }. { $ahead }
nest-sentence-end = { $so_far }.

## The hours ahead of the brood place.

ahead-title = The hours ahead of { $nest }
ahead-plot = brood place in the hours ahead, °C (mean over an hour)
# The same where there is less room.
ahead-plot-narrow = brood place in the hours ahead, °C
ahead-table = The hours ahead
# Heads the column of times: each row says how it is up to then.
ahead-table-until = until
