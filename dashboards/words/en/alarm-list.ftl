### Alarms, on whatever page they stand. $alarm is an alarm as a sentence without a full stop: "oak: the brood place is too
### cold"; $state its state.

## The page of alarms.

alarms-title = Alarms
# $clock: the time of day at the shelf.
alarms-none = No alarm, as of { $clock }
# Below either, where no nest is judged.
alarms-no-nest = No nest is described yet, so nothing is judged: the page Now helps to describe one.
alarms-nothing-heard = No nest has been heard yet, so nothing is judged. See whether its node has power and reaches the broker.
alarms-some = Alarms, as of { $clock }
# Heads the list of what was.
alarms-before = Before

## An alarm and what belongs to it.

# Read out when it changes, and when it is gone.
alarm-said = { $alarm }: { $state }
alarm-over = { $alarm }: over
# On pages about something else.
alarm-line = { $alarm }; { $state }
# Below those lines. $more: how many more there are.
alarm-lines-more = And { $more } more under Alarms, above.
# $cause: the alarm it follows from (alarm-…).
alarm-follows = because { $cause }
# Leads to the alarm's own page.
alarm-story = What raised it, who was told, what you can do

## Opens those that need nothing now. $alarms: how many.

alarms-folded-over = { $alarms ->
    [one] 1 alarm is over, but nobody has answered
   *[other] { $alarms } alarms are over, but nobody has answered
}
alarms-folded-silenced = { $alarms ->
    [one] 1 alarm is silenced or part of another
   *[other] { $alarms } alarms are silenced or part of another
}
