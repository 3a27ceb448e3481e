### The page of now.

## The headline: how the shelf stands, in one sentence without a full stop. It is the page's title and is read out.

now-headline-stalled = The watch has stopped: do not rely on this page
now-headline-unheard = Nothing heard yet: waiting for the first reading
# No alarm stands.
now-headline-quiet = Nothing amiss found
# The same where nests are in their first hours, in which little is told. $nests: their names, $count: how many.
now-headline-learning = { $count ->
    [one] Nothing amiss found so far: { $nests } is still learning
   *[other] Nothing amiss found so far: { $nests } are still learning
}
# $alarms: how many alarms are over without anybody's answer.
now-headline-over = { $alarms ->
    [one] Nothing amiss found now; one alarm is over that nobody has answered
   *[other] Nothing amiss found now; { $alarms } alarms are over that nobody has answered
}
# An alarm of the watch itself. $tone: "Danger", $alarm: what it is (alarm-…).
now-headline-watch = { $tone }: { $alarm }
# $tone: "Danger", $nests: the nests' names, $alarm: what it is (alarm-…).
now-headline-nests = { $tone } in { $nests }: { $alarm }
# $first: one of the three sentences above, $more: how many more alarms stand.
now-headline-more = { $first }, and { $more } more

## Below the headline.

# Nothing has been heard of any probe. $probes: how many there are.
now-probes-unheard = 0 of { $probes } probes heard
# $believed: how many of them are believed, $probes: how many there are.
now-probes-believed = { $believed } of { $probes } probes believed
# $clock: the time of day at the shelf, $probes: one of the two sentences above.
now-as-of = As of { $clock }, shelf time. { $probes }.

## Headings below the nests.

# Sensors that no nest of the shelf file names.
now-unlisted = Heard, but no nest lists them
now-watch = The watch itself
