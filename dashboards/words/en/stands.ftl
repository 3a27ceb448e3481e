### A nest as it stands now, in words: on the page of now and at the head of each nest's page.

## Names of the pages, at the top of each.

nav-now = Now
nav-alarms = Alarms
nav-notes = Notes
nav-probes = Probes
nav-watch = Watch
nav-plan = Plan
nav-login = Login

## How a nest stands: sentences of their own, one after the other.
## $mean: 26.3, of the brood place, °C; $off: how far that may be off, 9 times in 10, °C; $by: 1.2 K; $low and $high: the
## band that the keeper set, °C; $sure: whether it lies on that side 9 times in 10.

stands-silent = Nothing has been heard from it yet.
stands-brood = The brood place is at { $mean } ± { $off } °C.
stands-brood-below = { $sure ->
    [sure] The brood place is at { $mean } ± { $off } °C, { $by } K below the band of { $low } to { $high } °C.
   *[likely] The brood place is at { $mean } ± { $off } °C, likely { $by } K below the band of { $low } to { $high } °C.
}
stands-brood-above = { $sure ->
    [sure] The brood place is at { $mean } ± { $off } °C, { $by } K above the band of { $low } to { $high } °C.
   *[likely] The brood place is at { $mean } ± { $off } °C, likely { $by } K above the band of { $low } to { $high } °C.
}
stands-brood-within = { $sure ->
    [sure] The brood place is at { $mean } ± { $off } °C, within the band of { $low } to { $high } °C.
   *[likely] The brood place is at { $mean } ± { $off } °C, likely within the band of { $low } to { $high } °C.
}
# It may lie below the band as well as above it.
stands-brood-open =
    The brood place is at { $mean } ± { $off } °C: too little is known to say whether that is within the band of { $low } to
    { $high } °C.
# $low and $high: coolest and warmest of the nest, °C.
stands-ends = From { $low } to { $high } °C along the nest.
# The same where it may be far off between probes. $off: K; $alike: whether $low and $high are the same number.
stands-ends-doubtful = { $alike ->
    [alike] Along the nest it is believed to be at { $low } °C; where no probe is, that may be off by { $off } K.
   *[apart]
        Along the nest it is believed to be at { $low } to { $high } °C; where no probe is, that may be off by { $off } K.
}
# $age: 20 min.
stands-old = Its newest reading that was believed is { $age } old: what stands here is a guess.
stands-doubt-one = One probe is not believed: the nest may differ from what is drawn.
# $doubted of $heard probes; at least two are doubted.
stands-doubts = { $doubted } of { $heard } probes are not believed: the nest may differ from what is drawn.
# $why: why the watch is not well, as the page of the watch says it; a sentence about the nest follows.
stands-unwell = The watch is not well: { $why }.

stands-probe-silent = not heard yet

## Since when an alarm stands: $at: a moment; $length: 31 min; $until: when it was over, or when its silence ends.

stands-alarm-since = since { $at }, for { $length }
stands-alarm-from = from { $at } until { $until }, for { $length }
# What became of it; $state: state-….
stands-alarm-answered = answered { $at }
stands-alarm-again = told anew { $at }, and nobody has answered since
stands-alarm-until = { $state }, until { $until }

## What was learned of a nest's warmth; follows “learned:”. $at: up to when; $refused: when something was not taken, and
## $why, as “fit-…” says it; `warmend fit --nest …` is a command.

# $nest: the nest's name, as the command takes it.
stands-learned = how it carries heat, up to { $at } (`warmend fit --nest { $nest }` says what)
stands-learned-refused = how it carries heat, up to { $at }; the fit of { $refused } was refused: { $why }
    (`warmend fit --nest { $nest }` says what)
stands-learned-nothing =
    nothing yet; the fit of { $refused } was refused: { $why } (`warmend fit --nest { $nest }` says what)

## How it stands with the mirror (a copy of the readings elsewhere), on the page of now: sentences, one after the other.
## $readings and $days: how many; $length: 20 min; $why: a reason, as a program gave it.

mirror-nothing-for = The mirror has taken nothing for { $length }: { $why }.
mirror-nothing-since-start = The mirror has taken nothing since the start: { $why }.
mirror-waits = { $readings } readings wait in history.
mirror-waits-days = { $readings } readings and { $days } older days of a source wait in history.
mirror-catching-up =
    The mirror is catching up: { $readings } readings and { $days } older days of a source are still to be sent.
mirror-up-to-date = The mirror is up to date.
# $lines: how many.
mirror-lost = { $lines } lines were refused or came too late, and are lost to it.

## The state of the watch itself, on the page of now. $why: a reason, as a program gave it.

vitals-broker-lost = The broker cannot be reached: { $why }.
vitals-history-failing = History cannot be written: { $why }.
# $way: webhook, mail, …
vitals-notices-failing = Messages by { $way } do not get out: { $why }.
vitals-node-down = The node { $node } has signed off or lost its connection.
# $last and $slowest: milliseconds.
# $since: when the watch began; $readings, $stored: how many; $last, $slowest: ms.
vitals-watching =
    Watching since { $since }: { $readings } readings judged, { $stored } stored. The last one was on disk after
    { $last } ms, the slowest of the last minute after { $slowest } ms.
vitals-nothing-yet = Watching since { $since }. No reading has come yet.
# $counts: reasons (counted-…), each with how many, by vitals-count.
vitals-refused = Records refused: { $counts }.
vitals-rejected = Readings not believed: { $counts }.
# $why: a reason (counted-…); $count: how many.
vitals-count = { $why } ({ $count })
vitals-dropped = { $count } messages were dropped for lack of room; their nodes send them again.

# A value and how old it is: “21.5 °C, 20 s ago”.
# $value: what a sensor said, with its unit; $ago: when.
stands-unlisted = { $value }, { $ago }

## What leave to heat a mat has that is driven on leave only. $node: its name.

leave-waits = { $node } has none: look at the nest, then reset its danger
# $node: its name; $percent: of the mat's power.
leave-may = { $node } may heat up to { $percent } %
# $why: one of “leave-withheld-…”.
leave-none-because = { $node } has none now: { $why }
leave-none-yet = { $node } has none yet

leave-withheld-no-limit = the nest has no brood place or no band
leave-withheld-unheard = no probe of the node's own speaks
leave-withheld-not-believed = a probe of the node's own is not believed
leave-withheld-warm = a probe is near its limit
leave-withheld-would-pass = the brood place might pass its limit
leave-withheld-doubted = somebody speaks in the node's name without its key

# What follows one of the above. $why: one of “leave-off-…”.
leave-off = it does not heat: { $why }

leave-off-no-permit = no leave to heat since the node started
leave-off-lease-over = the leave to heat ran out
leave-off-permit-refused = a leave to heat came that was not good
leave-off-withdrawn = the leave to heat was withdrawn, a person has to reset it
leave-off-limit = a probe passed the node's own limit, a person has to reset it
leave-off-watchdog = the node hung and was started anew, a person has to reset it
leave-off-at-ceiling = a probe is as warm as it may be
leave-off-probe-silent = a probe of the node is silent
leave-off-probe-implausible = a probe of the node says what cannot be
leave-off-hung = the node's program hangs
leave-off-supply-low = the node's supply is low
leave-off-memory = the node's memory does not keep what it must
leave-off-nothing = the leave to heat allows no heat at all

# What follows one of the above. $low: the band's lower bound, °C; $span: 40 min; $lowest: °C.
leave-unheated-below = without heat the brood place is below { $low } °C in { $span } and at { $lowest } °C in 12 h
leave-unheated = without heat the brood place is at { $lowest } °C in 12 h

## What is expected of a brood place in the hours ahead. $side: above or below; $odds: of 100; $bound: a side of the band, °C; $about, $earliest,
## $latest: moments; $extreme ± $doubt: °C; $hours: 12.

ahead-leaves =
    { $side ->
        [above]
            Likely ({ $odds } in 100) above { $bound } °C, as a mean over an hour, from about { $about } (hardly before
            { $earliest }, { $latest }), up to { $extreme } ± { $doubt } °C, if room and heating go on as they do.
       *[below]
            Likely ({ $odds } in 100) below { $bound } °C, as a mean over an hour, from about { $about } (hardly before
            { $earliest }, { $latest }), down to { $extreme } ± { $doubt } °C, if room and heating go on as they do.
    }
# It is out already.
ahead-has-left =
    { $side ->
        [above]
            The hour's mean is above { $bound } °C. At its warmest in the next { $hours } h the brood place is expected at
            { $extreme } ± { $doubt } °C, if room and heating go on as they do.
       *[below]
            The hour's mean is below { $bound } °C. At its coolest in the next { $hours } h the brood place is expected at
            { $extreme } ± { $doubt } °C, if room and heating go on as they do.
    }
ahead-latest = hardly after { $at }
ahead-latest-unknown = perhaps not before { $at }
ahead-unknown = Too little is known to say what the next { $hours } h bring.
ahead-stays =
    In the next { $hours } h the brood place is expected between { $low } and { $high } °C, if room and heating go on as
    they do.
ahead-stays-within =
    In the next { $hours } h the brood place is expected between { $low } and { $high } °C, within the band, if room and
    heating go on as they do.
ahead-stays-outside =
    In the next { $hours } h the brood place is expected between { $low } and { $high } °C, outside the band for a part
    of it, if room and heating go on as they do.
