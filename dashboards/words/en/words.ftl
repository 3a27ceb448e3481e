### Words and small phrases that are used in several places.

## How loud something is, before what it is about: "Danger in oak: …".

tone-advice = Advice
tone-warning = Warning
tone-danger = Danger

## Lists.

# Joins the members of a list, two at a time from the left: "a and b", "a and b and c".
# $so_far: the members up to here, $next: one more.
list-and = { $so_far } and { $next }
# Says things one after the other: "told to 45 %, gives 3.1 W"; "Oak, Mon 2 to Sun 8 March".
# $so_far: what was said up to here, $next: one more.
list-comma = { $so_far }, { $next }
# The same with remarks that may hold commas.
list-semicolon = { $so_far }; { $next }

## In pictures, heads of tables and between numbers.

brood-place = brood place
brood-place-c = brood place, °C
room-c = room, °C
# In place of a number, on the sliders of a plan and of a span's picture.
not-known = not known
# Heads the column of an interval: the value lies between 9 times in 10.
nine-in-ten = 9 in 10
# Between two numbers: "25.1 to 26.3". $low, $high: the numbers.
from-to = { $low } to { $high }

## One alarm as a sentence without a full stop.

# $nests: the nests' names, $alarm: what it is (alarm-… below).
alarm-in-nests = { $nests }: { $alarm }

## Alarms as a keeper says them, within a sentence or as one: "oak: the brood place is too cold".

alarm-brood-cold = the brood place is too cold
alarm-brood-hot = the brood place is too warm
alarm-brood-limit = the brood place is hotter than its limit
alarm-probe-hot = a probe is far too hot
alarm-forecast-hot = the brood place will get too warm
alarm-forecast-cold = the brood place will get too cold
alarm-heater-stuck-on = the heating mat will not switch off
alarm-heater-no-heat = the heating mat gives no heat
alarm-gradient-flat = the whole nest is equally warm
alarm-probe-silent = a probe is silent
alarm-probe-implausible = a probe says what cannot be
alarm-humidity-low = the nest is too dry
alarm-humidity-high = the nest is too damp
alarm-condensation = water condenses on a wall
alarm-water-low = the nest dries as if its water ran out
alarm-nest-unwatched = nobody knows how warm the nest is
alarm-rest-warm = its winter rest is disturbed
alarm-watch-gap = nothing was watched for a while
alarm-node-silent = a node is silent
alarm-broker-lost = the broker is out of reach
alarm-history-failing = history is not kept as it should be
alarm-notice-failing = messages do not get out
alarm-clock-jumped = the clock jumped

## States of an alarm, after what it is: "oak: the brood place is too cold; answered".

state-not-judged = not judged yet
state-normal = nothing the matter
state-unacknowledged = nobody has answered yet
state-acknowledged = answered
state-returned = over, but nobody has answered
state-latched = over, held until it is reset
state-shelved = silenced for a time
state-suppressed = follows from another alarm
state-out-of-service = taken out of service
