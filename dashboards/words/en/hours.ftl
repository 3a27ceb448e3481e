### Moments and lengths of time, on every page. A clock (03:12, or 03:12:05) arrives as it is shown.

# $day: 1 is Monday, 7 is Sunday.
hours-weekday = { $day ->
    [1] Mon
    [2] Tue
    [3] Wed
    [4] Thu
    [5] Fri
    [6] Sat
   *[7] Sun
}

# $month: 1 to 12; within a date.
hours-month = { $month ->
    [1] January
    [2] February
    [3] March
    [4] April
    [5] May
    [6] June
    [7] July
    [8] August
    [9] September
    [10] October
    [11] November
   *[12] December
}

# The same, short: on the axis of a picture, alone or after its day.
hours-month-short = { $month ->
    [1] Jan
    [2] Feb
    [3] Mar
    [4] Apr
    [5] May
    [6] Jun
    [7] Jul
    [8] Aug
    [9] Sep
    [10] Oct
    [11] Nov
   *[12] Dec
}

## $weekday and $month: as above; $day: its number in the month; $year: 2026; $clock: 03:12.

hours-near = { $weekday } { $clock }
hours-far = { $weekday } { $day } { $month } { $year }, { $clock }
hours-dated = { $weekday } { $day } { $month }, { $clock }
hours-day = { $weekday } { $day } { $month }
hours-day-short = { $weekday } { $day }
hours-date-short = { $day } { $month }
hours-month-year = { $month } { $year }

# A span. $from and $to: moments, as above.
hours-span = { $from } to { $to }

# A length of time, by how long it is. $seconds, $minutes, $hours, $days: whole ones; below a larger one, those beyond it
# (minutes beyond hours as two digits).
hours-seconds = { $seconds } s
hours-minutes = { $minutes } min
hours-hours = { $hours } h { $minutes } min
hours-days = { $days } days { $hours } h
# $length: 20 s, 31 min, 2 days 4 h.
hours-ago = { $length } ago
# Since when something stands or runs. $at: a moment; $length: as above.
hours-since = { $at }, for { $length }
# Something has not been since the watch was started.
hours-never = not since the start

# In messages, whose readers may be elsewhere. $dated: hours-dated, $zone: the time zone, "CET".
hours-zone = { $dated } ({ $zone })

## Why a moment or a length of time that somebody wrote is not understood. $shown: what was written. 10m, 7d and the like
## stay as they are.

time-no-duration = "{ $shown }" is no duration: write a number with ms, s, m, h, d or w behind it, as 10m, 1h30m or 7d
time-nothing = "{ $shown }" is no time at all: write a duration above 0, as 10m
time-too-long = "{ $shown }" is longer than a hundred years: write a shorter one, as 52w
time-no-moment =
    "{ $shown }" is no moment: write it as 2026-03-01T12:00:00Z (RFC 3339), or as a span back from now, as 7d
time-no-end = "{ $shown }" is no end: write a day as 2026-03-01, a moment as RFC 3339, or a span ahead, as 30d
