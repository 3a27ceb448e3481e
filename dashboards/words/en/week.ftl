### The page of a nest with a span of its history, and the report.

# Heads the nest as it is now. $clock: the time of day at the shelf.
week-now = Now, { $clock }

## Links.

# Before links to spans of other lengths: "day", "week".
week-spans = Show a
# Names the links to earlier and later.
week-turn = Time
week-earlier = ← earlier
week-later = later →
week-keep = link that keeps this view
# Before links to the span before and to other nests.
week-compare = Compare with

## What happened: alarms and notes.

week-happened = What happened
# Opens a long list. $things: how many there are, more than a dozen.
week-happened-many = What happened: { $things } things, by their numbers in the picture

## The table. Heads, and what stands small below them.

# Opens it. $row: what a row covers: "day", "week", "month".
week-numbers = In numbers, { $row } by { $row }
week-three = low / mean / high
week-degree-days = degree-days, K·d
# $base: °C.
week-degree-days-above = above { $base } °C
week-heat = heat, Wh
week-degree-days-help =
    Degree-days: how far the brood place's mean was above a temperature, times the days it was; what is not known counts
    nothing.
# Above which temperature they count, who says so and where to set it. $base: °C. “degree_days_above_c” is a key of the
# shelf file and is not translated.
week-degree-days-nobody =
    They count above { $base } °C here, as nothing else is set. If you know below which temperature your species does not
    develop, write it into the shelf file, in this nest's part, as degree_days_above_c.
week-degree-days-file = They count above { $base } °C, as the shelf file says for this nest (degree_days_above_c).
week-degree-days-asked =
    They count above { $base } °C, as was asked for on this page. To have it so always, write it into the shelf file, in
    this nest's part, as degree_days_above_c.
# Before a field and its button.
week-base = Count degree-days above, °C
week-base-count = Count

## The form for a note.

note-open = Write something down
note-what = What
note-where = Where, mm from the zero end
note-where-empty = may be left empty
note-when = When
# The words now, 20m and 3h are what the field takes, and stay as they are.
note-when-help = When: now, 20m or 3h for so long ago, or 2026-03-01T08:00:00Z.
note-words = In your words
note-write = Write it down

## How the alarms themselves did.

load-title = The alarms themselves, of the whole shelf
load-table = The alarms against the guideline
load-caption =
    Against the guideline (ANSI/ISA-18.2, EEMUA 191, as public texts quote them): an outer bound of what a person can
    bear, not an aim
load-here = here
load-acceptable = acceptable
load-at-most = at most manageable
