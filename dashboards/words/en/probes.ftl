### Nodes and probes: who was heard when, how well, and what of it was not believed and why.

probes-title = Nodes and probes
probes-node-help =
    Reception and supply are what a node says of itself; one that says nothing may be well all the same. Starts are
    counted since this watch began: a node that starts again and again has a loose plug, a weak supply, or hangs.
probes-beside-help =
    “Reads beside the nest” is what the watch learned of a probe: its own error, and that of its place, which no reading
    tells apart. It is allowed for already. Near a mat little of it can be told from the nest's own warmth: the number
    after ± says how little. To know a probe's error, hold it beside a second thermometer.
# $why: a reason, as a program gave it.
probes-unread = What was not believed cannot be shown: { $why }.

## The table of nodes.

probes-nodes = Nodes
probes-no-node = No node has been heard yet.
probes-node = node
probes-heard = heard
probes-connection = connection
probes-reception = reception
probes-supply = supply
probes-starts = started anew
probes-more = says too
probes-there = there
probes-gone = gone
# A node says nothing of it.
probes-silent = does not say
probes-starts-none = not since this watch began
probes-starts-one = once
probes-starts-times = { $count } times
# $name: as the node calls it; $value: a length of time or a count.
probes-says = { $name } { $value }

## The table of a nest's probes.

# $nest: the nest's name.
probes-of = Probes of { $nest }
probes-probe = probe
probes-at = at
probes-said = said
probes-trust = trust
probes-beside = reads beside the nest
probes-not-believed = not believed in 24 h
# $count of $heard readings.
probes-count = { $count } of { $heard }
# $reasons: the next one, several times with semicolons.
probes-count-why = { $count } of { $heard }: { $reasons }
# $why: one of “doubt-…”.
probes-because = { $count } because { $why }
probes-believed = believed
probes-last-not = its last word not, because { $why }
# $fault: one of the next four; $length: 20 min.
probes-fault = { $fault }, for { $length }
probes-fault-frozen = repeats one value
probes-fault-fallen-off = shows the room, as if it fell off
probes-fault-jumping = jumps
probes-fault-astray = goes its own way
# $offset: +0.70 ± 0.16 K.
probes-beside-sure = { $offset }: worth a look

## The table of readings that were not believed.

probes-rejected = Not believed lately
probes-rejected-none = In the last 24 hours every reading was believed.
probes-rejected-unheard = In the last 24 hours no reading has come.
probes-rejected-why = not believed because

## Sources that no nest lists.

probes-strangers = Heard, but in no nest
probes-source = source
probes-place = Give them a place
