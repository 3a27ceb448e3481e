### Notes: written down in two taps, or with words, a place and an hour; and what was written before.

notes-title = Notes
notes-all = all
notes-no-nest = There is no nest yet to write about.
# $note: as the next ones say it.
notes-written = Written down: { $note }.
# $nest: its name; $note: a note's kind, and where.
notes-of-nest = { $nest }, { $note }
notes-excuse =
    After “nest opened”, “water refilled” or “moved”, sudden steps of warmth in that nest raise no alarm for an hour, danger
    excepted. “Water refilled” also tells the watch over its water.
notes-own-words = With your own words, a place, or an earlier hour
# $why: a reason, as a program gave it.
notes-unread = What was written before cannot be shown: { $why }.

## The form.

notes-nest = Nest
notes-kind = What it is about
notes-where = Where, mm
notes-where-help =
    From the zero end, by the ruler. Where brood was seen teaches the watch what warmth it was put to. May stay empty.
# 20m, 3h, 2d are written so.
notes-when-help = Empty is now. As 20m, 3h or 2d ago, or a date with its hour.

## The table.

notes-table = Written down in the last 90 days
notes-none = Nothing was written down in the last 90 days.
notes-table-nest = nest
notes-table-where = where
notes-table-text = in your words
