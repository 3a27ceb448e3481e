### A span of a nest's history: a day, a week, a year, as page, picture and text.

## The picture.

# In one sentence. $nest: its name, $span: from when to when, $low, $high: °C at the ends of the colours, $known: %.
span-sentence =
    Warmth along { $nest } over { $span }, colours from { $low } to { $high } °C, known for { $known } % of the time.
# Ends the list of what happened. $more: how many things are not listed.
span-plot-more = and { $more } more
# In the middle of the picture, where it is empty.
span-plot-unknown = nothing known
# Over a gap.
span-plot-gap = no readings
# Along the edge, where the heating mat and the brood lie: little room.
span-plot-mat = mat
span-plot-brood = brood
# Beside the line that must not be passed. $at: its value.
span-plot-limit = { $at } limit

## Heads of tables, on the page and in the text.

# How much of the known time the brood place was within the band.
span-in-band = in band
# About how much of the time something is known.
span-known = known

## The text for a terminal.

# Right of the scale of signs; left of it stands its lowest temperature. $high: its highest, °C.
span-text-scale = { $high } °C; blank: nothing known
# B and m stand beside the picture and stay as they are.
span-text-signs = B brood place, m heating mat, axis in mm
# Heads of the table, after past-day and before the two above; at most 16, 20, 8 and 7 characters.
span-text-brood = brood low/mean/high

## Below the picture on a page. $sentence: the picture in one sentence (span-sentence).

span-caption =
    { $sentence } Up the side the place in the nest, along the foot the time. Lines join places of equal temperature;
    dashes bound the brood place; hatching: nothing is known; holes: it may be off by more than 2 K. In the lanes the dark
    shade runs from lowest to highest, the light one is where the mean lies 9 times in 10; crosses were said and not
    believed. Colours: inferno, by Nathaniel J. Smith and Stéfan van der Walt.
# Of the picture that is compared with.
span-caption-other =
    { $sentence } The colours mean the same as above; in the lanes above it is the dashed line.

## What the script of the picture says.

span-script-hint = Point at the picture, or move the slider: when, where, how warm.
# Names the slider.
span-script-moment = Moment in the picture
span-script-failed = The values cannot be read: the watch does not answer.
# A value under the pointer. $when: "Tue 04:12", $what: what is known of that moment.
span-script-at = { $when }: { $what }
# $warmth: "26.3 ± 0.4", °C.
# $mm: where on the axis.
span-script-place = { $warmth } °C at { $mm } mm
# In place of all of it.
span-script-nothing = nothing is known

## Why there is no picture as PNG. $why: what the drawing library said; not translated.

png-unread = drawing a picture as PNG: its SVG cannot be read: { $why }; ask for .svg instead
# $width, $height: what was asked for, px; $side, $all: the most there is.
png-size =
    drawing a picture as PNG: { $width } × { $height } px is not between 1 and { $side } px a side and { $all } px in all;
    ask for a shorter span or a smaller scale
png-encode = drawing a picture as PNG: it cannot be encoded: { $why }; ask for .svg instead
