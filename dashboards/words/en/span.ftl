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
# Heads of the table, at most 16, 20, 8 and 7 characters with the two above.
span-text-day = day
span-text-brood = brood low/mean/high
