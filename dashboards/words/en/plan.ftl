### A plan: what to expect of a nest and its heating mat before anything is plugged in. As page, picture and text.

## Everywhere.

# The last words of every plan.
plan-caution =
    This is an estimate, not a safety assessment. The heating mat's label and instructions, local codes and licensed
    practice come first. Fit an independent thermal cut-off.
# $nest: the nest's name.
plan-title = Plan for { $nest }
# The nest has no name.
plan-title-none = Plan for a nest
# The picture in a sentence. $line: the worst case, a sentence; $used: how the nest is in use: "held at 26 °C".
plan-sentence = { $line } In use: { $used }.
plan-use = As it would be in use

## The page.

# The line that stays in sight, where nothing could be reckoned.
plan-line-none = Not reckoned: something in the form is not understood.
plan-worst = If the mat sticks on
plan-case-brood = Hottest of the brood place
plan-case-mat = Between mat and nest
plan-rest = What to expect
# $sentence: the picture in a sentence (plan-sentence).
plan-caption = { $sentence } Shade: where it lies 9 times in 10 (above: from likely to the upper end).
plan-bears = What handbooks say, for comparison only
plan-bears-no-limits = Not limits for your nest: those only you can set.
plan-assumed = Assumed

## The table of curves: heads, and what stands small below them.

plan-curves = The curves in numbers
plan-curves-covered = stuck, covered, °C
plan-curves-standing = stuck as it stands, °C
plan-curves-use = in use, °C
plan-curves-upper = 1 nest in 20 is hotter
plan-curves-likely = likely

## The form.

plan-form = Nest, mat and room
plan-form-nests = Begin from a nest
plan-form-empty = Leave empty what you do not know: what then is assumed stands in grey.
plan-form-reckon = Reckon

## What the page's script says.

# Names a slider. $field: what its field asks.
plan-script-slider = { $field }, slider
plan-script-old = Not reckoned anew: the watch did not answer. What stands below is older than the form.

## The picture. Little room.

plan-plot = If the mat sticks on, for ever
# Names of lines. $room: how warm the room is, °C.
plan-plot-upper = covered, room { $room } °C: 1 nest in 20 is hotter
plan-plot-likely = the same, likely
plan-plot-standing = as it stands, room { $room } °C, likely
plan-plot-mat = between mat and nest
# $most: °C beyond which no number is told.
plan-plot-mat-beyond = between mat and nest: above { $most } °C
# Limits of the brood and of the nest's material. $at: degrees.
plan-plot-brood = brood { $at }°
plan-plot-body = body { $at }°

## The text for a terminal.

# In place of "Warning" where the worst case is harmless.
plan-word = Plan
# $tone: plan-word or "Warning", $line: the worst case.
plan-text-line = { $tone }: { $line }
plan-text-stuck = If the mat sticks on, for ever:
# $case: where it sticks, $brood, $mat: how hot the brood place and the mat's place become, $brood_when, $mat_when: when
# that passes the limit.
plan-text-case = { $case }: brood place { $brood }; { $brood_when }; between mat and nest { $mat }; { $mat_when }.
plan-text-along = Along { $nest }, °C:
# Heads of the table, at most 8 characters, as is plan-curves-likely between the first two.
plan-text-worst = worst
plan-text-standing = stuck
plan-text-use = in use
# Explains them. $used: how the nest is in use.
plan-text-columns =
    Worst: stuck on, covered, in the warm room, as 1 nest in 20 would pass it; likely: the same, median; stuck: stuck on
    as it stands, in the warm room; in use: { $used }.
plan-text-bears = What handbooks say, for comparison only, not as a limit:
plan-text-assumed = Assumed:
