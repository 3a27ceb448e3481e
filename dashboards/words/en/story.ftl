### The story of one alarm: what raised it, the minutes around it, who was told, what was done, what can be done.

# $at: a moment.
story-as-of = As of { $at }, shelf time. Older than 2 min: do not rely on it.
story-raised-head = What raised it
story-would-raise = What would raise it
# $alarm: another alarm, in words.
story-followed = It followed from another: { $alarm }.
story-can-do = What you can do
story-all = All alarms
story-week = The week of this nest

## Facts: a name and its value. $at: a moment; $length: 31 min.

# While it stands: “14:24, for 31 min”.
story-since = Since
story-raised = Raised
# What was put away before it was ever raised: when.
story-not-raised = { $at }; not raised
story-over = Over
story-over-after = { $at }, after { $length }
story-now = Now
story-nest-now = The nest now
story-nothing = nothing the matter any more
story-answered = Answered
story-after = after { $length }
story-probe = Probe
story-node = Node
story-where = Where

## The table of what happened.

story-happened = What happened
story-why = why, and by whom

## The table of messages.

story-messages = Messages about it
story-way = by which way
story-try = try
story-outcome = what came of it
story-person = a person
story-sent = got out
# $why: a reason, as a program gave it.
story-not-sent = did not get out: { $why }
# $why: one of the next three.
story-untold = No message about it is known to have got out: { $why }.
# $alarm: another alarm, in words.
story-untold-followed = it followed from another that was told: { $alarm }
story-untold-held =
    it was held back: after a flood of alarms one message stands for all, and what comes and goes waits until it stays
story-untold-yet = no way has taken one yet. Advice waits for the end of quiet hours; the log alone reaches no person

## The picture of the minutes around it. $degrees: 26.

story-band-from = band from { $degrees } °C
story-band-to = band up to { $degrees } °C
story-limit = limit { $degrees } °C
minutes-raised = raised
minutes-over = over
# $nest: the nest's name.
minutes-title = The minutes around it, { $nest }
minutes-caption =
    Lines: what each probe said, told apart by their dashes and by the name at their end. Upright lines: when it was
    raised, and when it was over. Below: what the mat was told.
minutes-time = time
minutes-told = mat told
# $probe: its name; $first and $last: °C.
minutes-probe = { $probe } went from { $first } to { $last } °C
# $probes: one or several of these, with commas; $raised: a clock.
# $from, $to: clock times.
minutes-sentence = From { $from } to { $to }, { $probes }; the alarm was raised at { $raised }.

## What can be done. Each form has a heading, says what comes of it, and has a button.

do-nothing = Nothing needs to be done to it here: it follows from another alarm, or from the season.
do-why = Why
do-why-empty = Anything to add (may stay empty)
do-why-help = It is written down beside what you do, for whoever looks later.
do-ack-says = Ends the repetition of its messages. It switches nothing, and does not end what is the matter.
do-ack-danger = While it goes on you are reminded every few minutes; after the second time the next person is told.
do-ack-else = If it grows worse, you are told anew.
do-on-the-way-says =
    Whoever was told so far is left in peace for half an hour. The alarm stays unanswered, and the next person's turn
    still comes.
do-silence = Silence it for a time
do-silence-says =
    Until then no message about this alarm is sent, whatever becomes of it. It is judged and written down all the same;
    other alarms of the nest still speak.
do-silence-ends = The silence ends by itself. If it still holds then, you are told again.
do-silence-danger = This is a danger: it can be silenced for half an hour at most. Silence cools nothing.
do-silence-until = Until when
# $length: 30 min; $until: a moment.
do-silence-for = for { $length }, until { $until }
do-silence-it = Silence it
do-speak-says = If it still holds, you are told of it at once.
do-reset = Reset it
do-reset-only = Only after you have been there and know why it happened. A relay that stuck once sticks again.
do-reset-closes =
    The alarm is closed, and the next time it is raised anew. Where a node heats on leave only, the mat may heat again
    after this.
do-reset-before =
    Before you plug the mat in again: its thermal cut-off is in place, the sensor sits where it belongs, and nothing
    covers the mat.
do-reset-it = I have looked: reset it
do-out = Take it out of service
do-out-says =
    For a mat that you unplugged on purpose. Until then nobody is told that it gives no heat. Every danger of this nest
    still speaks.
# $days: how many; $until: a moment.
do-out-for = { $days ->
    [one] for { $days } day, until { $until }
   *[other] for { $days } days, until { $until }
}
do-back = Put it back into service
do-back-says = From then on it is judged again as usual.
