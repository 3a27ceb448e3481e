### A span of one nest's past, in words: on each nest's page, in reviews and in the week's report.

## Usual spans: what links and tables call them.

past-day = day
past-week = week
past-month = month
past-season = season
past-year = year

## The span before the one that is shown: $other below, and the link that compares with it.

past-before-day = the day before
past-before-week = the week before
past-before-month = the month before
past-before-season = the season before
past-before-year = the year before
past-before = the time before
# Another nest, to compare with.
# $nest: the other nest's name.
past-same-time = { $nest } in the same time

## The picture, to be kept or sent on.

past-as-png = as picture (PNG)
past-as-svg = as drawing (SVG)

## Rows of the table.

# A week, by its first day.
# $day: the day from which it holds.
past-from-day = from { $day }
past-total = all of it

## How it was, as a clause. Ends without a full stop: “past-sentence” puts it.

# The brood place: $mean: °C; $low and $high: the coolest and the warmest, as “past-extreme” says them.
past-brood = The brood place was at { $mean } °C on average; coolest { $low }, warmest { $high }
# $share: 85 %.
past-brood-band =
    The brood place was at { $mean } °C on average, within the band { $share } of the known time; coolest { $low },
    warmest { $high }
# $degrees: 26.3 °C.
past-extreme = { $degrees } ({ $when })
# $low and $high: °C.
past-anywhere = Anywhere in the nest it was between { $low } and { $high } °C
past-brood-unknown = Where the brood lay is not known
# Mostly known too badly. $off: how far it may be off, 9 times in 10, °C.
past-brood-doubtful =
    The brood place was at { $mean } ± { $off } °C on average: too little is known to hold it against the band
# $how: one of the above; $when: its first reading of all.
past-began = { $how }; its first reading came { $when }
# $how: one of the above; $length: 3 h 20 min.
past-gap = { $how }; for { $length } of it nothing is known

# $clauses: one or several of the clauses here.
past-sentence = { $clauses }.
past-unknown = Nothing is known of this time: no reading that was believed is stored.

# Below the picture, where it holds.
past-hindsight =
    Drawn with hindsight: each moment from what the probes said until then, and in the twelve hours after it.
# What a mat did that was found later than it began. $mat: past-mat, or of several past-mat-at; $from and $until:
# 14 March, 06:20.
past-found-on =
    Between { $from } and { $until } { $mat } is drawn as giving full heat, whatever it was told: the warmth showed so only
    by the end of that time.
past-found-off =
    Between { $from } and { $until } { $mat } is drawn as giving no heat, whatever it was told: the warmth showed so only by
    the end of that time.
past-found-as-told =
    Between { $from } and { $until } { $mat } is drawn as doing what it was told again: the warmth showed so only by the end
    of that time.
past-found-no-fault =
    Between { $from } and { $until } { $mat } is drawn as doing what it was told: it was held for faulty for a while, but
    what came after does not bear that out.
past-mat = the mat
# $from_mm, $to_mm: where it lies.
past-mat-at = the mat at { $from_mm } to { $to_mm } mm
# $count: how many more.
past-found-more = { $count ->
        [one] One more such time is drawn so.
       *[other] { $count } more such times are drawn so.
    }

## What changed. $by: a number; these are listed with commas.

past-brood-warmer = the brood place was { $by } K warmer
past-brood-cooler = the brood place was { $by } K cooler
past-room-warmer = the room { $by } K warmer
past-room-cooler = the room { $by } K cooler
past-damper = the nest damper by { $by } %RH
past-drier = the nest drier by { $by } %RH
# $mats: how many the nest has.
past-heat-more = { $mats ->
    [one] the mat gave { $by } % more
   *[other] the mats together gave { $by } % more
}
past-heat-less = { $mats ->
    [one] the mat gave { $by } % less
   *[other] the mats together gave { $by } % less
}

# $changes: such a list.
past-towards-end = towards the end, against the beginning, { $changes }
past-little-changed = little changed from beginning to end
# $other: the span before, or another nest.
# Stands for the other, where little of it is known. $share: 8 %.
past-other-partly = { $other } (known for { $share } of it only)
past-other-unknown = of { $other } nothing is known
# $share: for which part of the time it is known.
past-other-hardly = of { $other } too little is known ({ $share }) to compare
past-against = against { $other } { $changes }
past-much-as = it was much as { $other }

## Alarms of the span. $when: a moment; $what: the alarm in words.

past-no-alarm = no alarm was raised
past-one-alarm = one alarm: { $when }, { $what }
# $count: two or more.
past-alarms = { $count } alarms, the gravest: { $when }, { $what }

## What to do.

# $alarm: in words; $step: the first thing to do, a sentence with its full stop.
past-todo-still = To do: “{ $alarm }” was still so at the end: { $step }
past-todo-unknown = To do: find out why nothing was heard for { $length }, where the picture is hatched.
# $share: 40 %.
past-todo-below =
    To do: it was below the band for { $share } of the time; look at the thermostat's setting, and at how cool the room
    gets.
past-todo-above =
    To do: it was above the band for { $share } of the time; look at the thermostat's setting, and at sun and room.
past-todo-nothing = Nothing asks to be done.

## Marks upon the picture, and the list of them.

# $why: a reason, as it was written down.
mark-gap = nothing was watched for { $length }: { $why }
mark-shelf = the shelf file was changed
mark-moved = places, mats or cover changed; what lies before is drawn as if they had been as they are today
mark-more = and { $count } more
# $kind: of a note; $mm: where.
mark-note-at = { $kind } at { $mm } mm
# $note: its kind, and where; $text: the keeper's own words.
mark-note-text = { $note }: { $text }
# $alarm: in words, as below; $length: 31 min.
mark-alarm = { $alarm }, for { $length }
mark-alarm-still = { $alarm }, still so at the end

## An alarm in words with more beside it. $alarm: in words.

# $about: a probe or a node.
alarm-about = { $alarm } ({ $about })
# $cause: the alarm it follows from, in words.
alarm-because = { $alarm }, because { $cause }
# $event: what happened to it.
alarm-happened = { $alarm }: { $event }

## What the lines under the picture show.

lane-probes = all probes, lowest to highest
lane-room = room
lane-heat = heat
lane-humidity = humidity

## How the alarms themselves did, against a guideline for operators. All numbers are counts unless said otherwise.

# $rate: a day, with a decimal; $bound: what the guideline bears a day; $peak and $flood: within ten minutes; $percent.
# $raised, $told: how many alarms were raised, how many of them told.
# $under: the share that the guideline bears, %.
load-raised =
    { $raised } raised, { $told } of them told: { $rate } a day (the guideline bears { $bound }); most within ten
    minutes { $peak } ({ $flood }); { $percent } % of the ten-minute spans held more (under { $under } %).
# $standing, $stale: how many stand, how many of them for long.
load-standing = { $standing } stand at the end; { $stale } stood longer than a day (fewer than { $bound }).
# $names: their names.
load-standing-named =
    { $standing } stand at the end; { $stale } stood longer than a day (fewer than { $bound }): { $names }.
load-chattering = { $count } came and went too often (none).
load-chattering-named = { $count } came and went too often (none): { $names }.
# Names of which not all are listed.
load-names-more = { $names }, …
# $median and $longest: lengths of time; $never: how many.
load-answered = Answered after { $median } (median), { $longest } at the longest; { $never } never answered.
# $waiting: how many.
load-none-answered = None was answered; { $waiting } wait for an answer.
# $name: an alarm, in quotes.
load-most = The most frequent was { $name }: { $percent } % of all.

## The same as a table: what is counted.

load-row-day = told a day
load-row-hour = told an hour, on average
load-row-ten = told in ten minutes, on average
load-row-peak = most told within ten minutes
load-row-flood = ten-minute spans with more than { $flood }
load-row-share = share of the most frequent one
load-row-chattering = came and went too often
load-row-stale = stood longer than a day (stale)
load-row-standing = standing at the end
load-row-answer = time to an answer, median / longest
load-row-unanswered = told and never answered
load-row-none-answered = none answered

## What the guideline calls acceptable, or manageable at most.

load-about = about { $count }
load-or-fewer = { $count } or fewer
load-under = under { $percent } %
load-fewer-than = fewer than { $count }

## The report of a whole shelf.

# $shelf: its name; $span: from when to when.
report-title = Shelf { $shelf }, { $span }
report-no-alarm = No alarm was told, and none stands.
report-alarms = { $told ->
    [one] One alarm was told in this time
   *[other] { $told } alarms were told in this time
}; { $standing ->
    [0] none stands at its end.
    [one] one stands at its end.
   *[other] { $standing } stand at its end.
}
# $nests: their names.
report-nothing-stored = Nothing is stored of { $nests }.
# $sentences: what is told of it.
# $nest: its name.
report-nest = Nest { $nest }: { $sentences }
# $base: from how many °C on they are counted; $sum: how many.
report-degree-days = Degree-days of the brood place above { $base } °C: { $sum } K·d.
# The same where no temperature is set. “degree_days_above_c” is a key of the shelf file and is not translated.
report-degree-days-nobody =
    Degree-days of the brood place above { $base } °C: { $sum } K·d. Your species' own threshold can be set as
    degree_days_above_c.
report-load = The alarms themselves:
