### Why an act or a note was declined: clauses without a full stop, on pages, in commands and in answers by MQTT.
### $nest, $alarm: names as the shelf file and the contract have them; $fit: a number.

# $alarm stands first in these, as "heater-stuck-on".
declined-not-raised = { $alarm } is not raised, or was answered already: there is nothing to answer
declined-not-held = { $alarm } is not held: there is nothing to reset
declined-still-true = { $alarm } still holds and cannot be reset before it is over
declined-not-silenced = { $alarm } is not silenced
declined-in-service = { $alarm } is in service
declined-danger = { $alarm } is a danger and stays in service; it can be silenced for 30 minutes at most
declined-end = { $alarm } needs an end that lies ahead, and within 400 days
# $most: minutes.
declined-minutes = { $alarm } can be silenced for 1 to { $most } minutes

declined-no-alarm = there is no alarm { $alarm } now; look at the list of alarms for its names
declined-no-alarm-at = there is no alarm { $alarm } at { $nest } now; look at the list of alarms for its names
declined-no-nest = no nest of this shelf is called { $nest }
declined-nobody-told = no daemon runs here, so nobody is told of anything
# $why: what the disk's error was; it follows a colon and is not translated.
declined-disk = it is not on the disk yet, and will be tried again by itself: { $why }

## Notes.

# $length: of the nest, mm.
declined-place = the place must lie between 0 and { $length } mm, the length of { $nest }
declined-note-ahead = the note's time lies more than a day ahead

## Former fits that were to be put back.

declined-no-fit = { $nest } has no fit { $fit }; `warmend fit --list` names those that are kept
declined-fit-older = the fit { $fit } is of { $nest } as it stood before its pads, probes or cover were changed
declined-fit-unsettled = the fit { $fit } of { $nest } did not come to rest and taught nothing
declined-fit-nothing = the fit { $fit } of { $nest } cannot be taken up: it taught nothing of the nest as it stands

## Acts that came as a message over MQTT.

declined-kept = it was kept or sent again by the broker, and may be of long ago: act anew
# $most: how many.
declined-long = an act has at most { $most } bytes
# $why: what the reader said; not translated.
declined-form = it is no JSON object as POST /act takes it: { $why }
declined-silence-here =
    a danger is silenced on the pages or by `warmend alarms shelve` only; it can be answered here: ack, or on-the-way
