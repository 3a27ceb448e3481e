### What the watch over itself saw: the evidence of its own alarms. It is written down as it is said, and stays so.

# $by: how far, "3 h".
seen-clock-back =
    The clock went back by { $by } at once. Times of readings around that moment are doubtful. Check the machine's time,
    its time server and its clock battery.
seen-clock-forward =
    The clock went forward by { $by } at once. Times of readings around that moment are doubtful. Check the machine's
    time, its time server and its clock battery.
seen-clock-behind =
    The clock stands { $by } before the moment until which the shelf was watched: it went back while the daemon did not
    run. Times of readings are doubtful. Check the machine's time, its time server and its clock battery.
seen-clock-steady = The clock has run steadily for 10 minutes.

# $why: what the connection said, or one of the next two.
seen-broker-lost = No readings come from the broker: { $why }. Check that it runs and can be reached.
seen-broker-no-answer = no answer yet
seen-broker-deaf =
    connected, but the daemon does not hear its own marker: it needs the right to publish and hear its own topics
# $times: how often. $within: "30 min". $why: what it said when it was lost last.
seen-broker-restless =
    The connection to the broker comes and goes: it was lost { $times } times within { $within }, the last time with:
    { $why }. Readings come late. Look at the network, at the broker's log, and whether another daemon has the same
    client_id.
seen-broker-again = The broker is there again.

# $why: what the disk said.
seen-history-failing =
    { $why }. Readings are judged and alarms sent all the same; nodes keep what they have.
seen-history-again = History is written again.
seen-history-new = The new history is written.

# $ways: ways of messages, each with what went wrong.
seen-messages-failing = Messages cannot be sent by { $ways }.
seen-messages-again = Messages are sent again.

# The watch over another shelf. $times: how often its usual time has passed.
# $shelf: the name of that shelf.
seen-elsewhere-missed =
    The warmend that watches shelf { $shelf } gave no sign of life for { $times } times its usual time. Nobody may be
    watching there: look at the nests of that shelf, then at its machine, its power and the network.
seen-elsewhere-again = The warmend that watches shelf { $shelf } gives signs of life again.

# Of an alarm that stood when its nest, or its probe, left the shelf file. $was: what was said of it, with its stop.
seen-left = It is no longer in the shelf file, so nothing watches it. When it was raised: { $was }
seen-left-bare = It is no longer in the shelf file, so nothing watches it.

## Why nothing was watched: clauses without a full stop.

gap-stopped = the daemon was stopped
gap-unawares = the daemon ended unawares: power cut or crash
gap-clock = the clock went forward at once: it was set, or the machine slept
gap-broker = the broker could not be reached; what nodes sent again later is there all the same
# $why: what the disk said.
gap-history = history could not be written ({ $why }); what nodes sent again later is there
