### The page of the watch itself: whether it judges, writes, tells and is heard, and what it lost.

watch-well = The watch is well
# It judges and writes, but no way carries a danger to a person.
watch-well-unheard = The watch is well, but would wake nobody
watch-not-well = The watch is not well
watch-look-yourself = Until it is well again, look at the nests yourself.
# On every page of parts. $at: a moment.
sheet-as-of = As of { $at }, shelf time.
sheet-again = Look again.

watch-head-ways = Ways out
watch-head-readings = Readings
watch-head-history = History
watch-head-mirror = Mirror

## Whether the watch is well, one sentence without its full stop; also at /health. $why: a reason, as a program gave it.

health-still = nothing has been judged for four minutes or more
health-ended = the part that judges readings has ended
# $why: one of the two above.
health-stalled = { $why }: end the daemon and start it again, and look at its log
health-look-yourself = { $why }: look at the nests yourself, and at the log of this watch
health-history-failing = history cannot be written: { $why }
health-no-nest = no nest is described in the shelf file, so nothing is judged: the page Now helps to describe one
# $age: 20 min.
health-old = the newest reading is { $age } old
health-good = readings are judged and history is written
health-nothing-heard = no reading in { $age } since the start
health-waiting = waiting for the first reading
health-broker-lost = the broker cannot be reached: { $why }

## The program.

watch-version = Version
watch-runs-since = Runs since
watch-newest = Newest reading judged
watch-none-yet = none yet

## Readings.

watch-broker = Broker
# $place: its address, or one of “broker-…”; $state: one of the next two.
watch-broker-state = { $place }; { $state }
watch-broker-in-reach = in reach
watch-broker-out-of-reach = out of reach: { $why }
watch-messages = Messages received
watch-judged = Readings judged
# $count: since the start; $rate: a number.
watch-judged-rate = { $count }, { $rate } a minute
watch-told = Alarms told, and raised
# $told: how many alarms were told; $raised: how many were raised.
watch-told-of = { $told } of { $raised }
watch-to-disk = From arrival to disk
# $last and $worst: milliseconds.
watch-to-disk-ms = { $last } ms, worst of a minute { $worst } ms

## Where the broker is.

broker-own-unknown = this watch's own, where its log says
broker-own = this watch's own at { $at }
# $host, $port: of its address.
broker-outside = { $host }, port { $port }
# A plug, as the keeper calls it: where to run to.
# $plug: which, in the keeper's words.
place-plug = plug: { $plug }
# Where nodes publish. $topic: as MQTT has it, with NODE where a node puts its name; $broker: one of the above.
broker-topic = the topic { $topic } of the broker ({ $broker })

## Everything that was counted and is not there: what, and what that means.

watch-losses = Lost, refused or left out since the start
watch-losses-none = Nothing was lost, refused or left out since the start.
watch-losses-count = how many
watch-losses-means = what that means
watch-lost-dropped = messages dropped for lack of room
watch-lost-dropped-means = their nodes keep and send them again
watch-lost-duplicates = readings that were there already
watch-lost-duplicates-means = a pack came twice; stored once
watch-lost-thinned = readings thinned to hours
watch-lost-nothing-left = readings of which nothing is left
watch-lost-thinned-means = the shelf file bounds history
watch-lost-requests = requests to these pages refused
watch-lost-requests-means = sent by a page from elsewhere, or to a foreign name
watch-lost-busy = requests sent away
watch-lost-busy-means = too many at once, or too slow
# $why: a reason, one of “counted-…”.
watch-lost-refused = records refused: { $why }
watch-lost-refused-means = they were no readings of a listed probe
watch-lost-rejected = readings not believed: { $why }
watch-lost-rejected-means = stored, with the reason beside them
watch-lost-mirror = lines that the mirror will never get
watch-lost-mirror-means = refused there for good, or too late

## Why a record was refused, after “refused:” and “Records refused:”.

counted-form = unreadable
counted-unit = a unit that no probe has
counted-non-finite = no number
counted-range = more or less than a probe can say
counted-time-unknown = without a time where it needs one
counted-time = a time that cannot be right
counted-unknown-source = from a source that no nest lists
counted-oversized = too large a message
counted-crowded = more readings than there is room for

## Why a reading was not believed, after “not believed:”. In a sentence, doubt-… say the same.

counted-wild = far from what the nest can do
counted-distrusted = from a probe that is in doubt
counted-late = too late to be used
counted-duplicate = there already

## Queues.

watch-queues = What waits
watch-queues-name = queue
watch-queue-inbox = messages to be judged
watch-queue-flights = batches on their way to disk
watch-queue-untold = changes to be told
watch-queues-waiting = waiting, of the room there is
# $waiting: how much waits; $most: how much has room.
watch-queues-of = { $waiting } of { $most }

## History. $why: a reason, as a program gave it.

watch-history = History
watch-history-written = is written
watch-history-failing = cannot be written: { $why }
watch-stored = Stored since the start
watch-kept = Kept in all
# $count, $packed: how many.
watch-kept-packed = { $count } readings, { $packed } of them packed
watch-kept-hours = Kept as hours only
watch-on-disk = On disk
watch-on-disk-unknown = cannot be told: { $why }
watch-free = Free beside it
# $bytes: 120.5 MB.
watch-free-little = { $bytes }: make room

## Mirror. $why: a reason, as a program gave it.

watch-mirror-none = The shelf file asks for none.
watch-mirror-state = State
watch-mirror-takes = takes what it is sent
watch-mirror-fails = takes nothing: { $why }
watch-mirror-last = Last up to date
watch-mirror-behind = Behind by
watch-mirror-readings = { $count } readings
watch-mirror-due = Older days to be sent

## Ways out: how you are told, and how far that is proved.

ways-table = How you are told, and how far that is proved
ways-nobody =
    No way reaches a person: a danger would stand in the log and on these pages, and wake nobody. Add a [[notice]] to the
    shelf file that reaches you at night, start the watch again, and send yourself a test.
ways-way = way
ways-danger = carries a danger
ways-accepted = other side took a test
ways-seen = a person saw one
ways-never = never
ways-yes = yes
ways-no = no: it reaches no person, or takes no danger
# $way: webhook, mail, …
ways-taken = { $way }: taken by the other side. Whether a person sees it, only a person can say.
ways-not-taken = { $way }: did not get out: { $why }.
ways-proved = It is written down that a person saw a test by { $way }.
ways-proves-nothing = That proves nothing: { $why }.
ways-test = Send a test
ways-test-says = Sends a message by every way. It says that it is a test, and carries a code.
ways-test-send = Send a test by every way
ways-code = Its code
ways-code-help = Eight digits. Send the test at an hour when you would have to hear a danger, too.
ways-saw = Say that you saw one
ways-saw-says = Only this proves a way: that the message reached a person.
ways-saw-it = I saw it
