### Why something was not done or cannot be shown: small pages of their own. $why: a reason, a clause without a full stop.

refused-because = { $why }.
refused-not-done = It was not done: { $why }.
refused-not-now = Not now
refused-come-back = Come back in a few seconds.
refused-form = The form could not be read.
refused-unread = The past cannot be shown: { $why }.
refused-unread-row = The past cannot be shown: { $why }

refused-no-page = No such page
refused-choose = Choose one above.
refused-no-nest = No nest of that name
# $nest: what was asked for; $nests: those there are.
refused-no-nest-why = Looking for the nest “{ $nest }”: the shelf file names { $nests }. Choose one above.
refused-no-span = No such span
refused-no-picture = No picture
refused-no-alarm = No such alarm
refused-no-alarm-why =
    It was never raised, or so long ago that it is not looked for here. Choose one under Alarms, above.
refused-no-alarm-number = The address does not hold the number of an alarm.
refused-nothing-done = Nothing was done
refused-history = reading the history ended in disorder; the log says more
refused-drawing = drawing the picture: { $why }

# $shown: what was written; $names: the alarms' names, as machines read them.
refused-alarm-unknown = there is no alarm "{ $shown }"; there are: { $names }
refused-alarm-form = write an alarm as heater-stuck-on@oak, or probe-silent@oak/oak-node:warm

## A span that cannot be shown.

# $kinds: the words that may stand in the address: day, week, …
refused-span-kind = a span is one of { $kinds }
refused-span-short = the span must begin at least an hour before it ends, and before now
refused-span-long = a page shows at most { $most } at once; `warmend review` draws longer spans

## An act or a note that was not taken. “ack”, “on-the-way” and the like are words of the address.

refused-act = What you did to the alarm was not done
refused-note = The note was not written down
refused-why-long = a reason has at most { $most } characters
refused-no-such-act =
    nothing is known to do by that name: ack, on-the-way, shelve, unshelve, reset, out-of-service, in-service,
    put-back-fit or note
refused-alarm-name = there is no alarm of that name
refused-fit = a fit is named by its number, as `warmend fit --list` shows it
# $most: minutes.
refused-minutes = an alarm can be silenced for 1 to { $most } minutes
# $kinds: the words of the address.
refused-note-kind = a note is one of { $kinds }
refused-note-long = a note has at most { $most } characters
refused-note-ahead = a note is about what was, not about what will be
refused-nest-name = no nest has that name; there are { $nests }
# $length: of the nest, mm.
refused-place = the place lies outside the nest: 0 to { $length } mm
# $what: one of the next three.
refused-number = { $what } is no number
refused-number-fit = the fit
refused-number-minutes = the length of the silence
refused-number-place = the place
refused-moment = what was written as its time is no moment
refused-end = what was written as its end is no moment
refused-busy = too much waits to be done already: try again
refused-ended = the part that does it has ended; look at the log
refused-unanswered = it was handed on, but nobody said that it was done: see whether it was

## A line in place of a page, for browsers and programs alike.

# $count: how many.
http-busy = { $count } requests are being answered already: come back in a few seconds
http-late = no answer within { $seconds } s: come back, or ask for a shorter span
http-no-host = the request names no host, or more than one
http-foreign-name =
    this name is not one that only your own network can give: use the address as numbers, localhost, or a name without
    dots or ending in .local, .home.arpa or .internal
http-foreign-page = this was sent by a page from elsewhere: nothing was done
http-followers = too many pages follow already; this one works, and asks again now and then
# $path: the address of the login.
http-login = a login is needed: send the password (RFC 7617), or log in at { $path }
# $seconds: how long to wait.
http-braked = the password was wrong too often: try again in { $seconds } s
http-logins = too many logins at once
