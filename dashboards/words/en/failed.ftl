### What of the watch's own work failed: writing and reading history, hearing the broker, sending messages, the mirror.
### Clauses that follow a colon on pages and in messages, and are kept with what came of a message.
### $why: what the system, the database, a library or the other side said; not translated. $path: of a file.

## A file that is there whole or not at all. What was attempted, why it failed, what to do.

# $todo: one of the sentences below these five.
failed-whole-beginning = writing { $path }: nothing can be made there: { $why }. { $todo }
failed-whole-writing = writing { $path }: { $why }. What was there before is as it was. { $todo }
failed-whole-syncing = writing { $path }: the disk did not take it: { $why }. What was there before is as it was. { $todo }
failed-whole-naming = writing { $path }: it cannot get its name: { $why }. What was there before is as it was. { $todo }
failed-whole-name-synced =
    writing { $path }: it is there, but after a power cut it may be gone: { $why }. Check the disk, and write it again
failed-whole-room = Free some space, and try again
failed-whole-directory = Make its directory, or give another place
failed-whole-name = Give it another name
failed-whole-busy = Another command is making this file: wait for it, or give another name
failed-whole-rights = Give another place, or yourself the right to write there
failed-whole-disk = Check the disk, or give another place

## History. What was attempted, why it failed, what to do.

# $holder: what the lock file says of it; $lock: the lock file.
failed-in-use =
    opening the history { $path }: another warmend uses it ({ $holder }). Stop that one, or give this one its own [history]
    path. The lock is { $lock }
# $found, $known: versions.
failed-newer =
    opening the history { $path }: it is of version { $found }, this warmend knows up to { $known }. Nothing was changed.
    Install the newer warmend again, or point [history] path at another file
failed-foreign =
    opening the history { $path }: it is a database of some other program. Nothing was changed. Point [history] path at
    another file
failed-missing =
    reading the history { $path }: there is none yet, or an older one that `warmend run` has still to bring forward. Start
    that once, or check [history] path
failed-gone =
    the file { $path } was moved, deleted or replaced while in use. Put it back; or stop warmend and start it again, and a
    new one begins
failed-file-opening = opening the history { $path }: check that the directory exists and may be written
failed-file-locking = locking the history with { $path }: check that the directory exists and may be written
failed-file-aside = setting aside the history { $path }: check that the directory exists and may be written
failed-file-keeping =
    keeping the present history as { $path }: check that the directory exists and may be written
failed-name-taken =
    writing the backup { $path }: there is a file of that name already, and it is left as it is. Give another name
# $why: one of the three below, or what the database said.
failed-no-backup = putting back the backup { $path }: { $why }. Nothing was changed; take another one
failed-no-backup-missing = there is no such file
failed-no-backup-foreign = it is no history of warmend
failed-no-backup-damaged = it is damaged ({ $why })
failed-sql-opening = opening the history: check free space and the disk
failed-sql-opening-again = opening again the history: check free space and the disk
failed-sql-forward = bringing forward the history: check free space and the disk
failed-sql-reading = reading the history: check free space and the disk
failed-sql-copying = copying the history: check free space and the disk
# What failed-writing gives as its $why.
failed-packing = a day's readings cannot be packed ({ $why })
failed-full = writing history: the disk is full. Free some space; writing is tried again by itself
failed-writing = writing history: { $why }. Check the disk; writing is tried again by itself
failed-entry = writing history: this entry cannot be stored ({ $why }); the others were
# $n: how many.
failed-queue = writing history: { $n } batches wait already; this one was dropped and counted
failed-stopped = writing history: its writer has stopped

# $saved: one of the next four.
failed-set-aside =
    The file was found damaged at the start and set aside as { $path }, and a new one begun; { $saved }.
failed-saved-nothing = nothing could be copied from it
failed-saved-nothing-because = nothing could be copied from it ({ $why })
# $days, $readings, $changes, $notes: how many of each.
failed-saved = copied from it: { $days ->
        [one] { $days } packed day of a source
       *[other] { $days } packed days of a source
    }, { $readings ->
        [one] { $readings } single reading
       *[other] { $readings } single readings
    }, { $changes ->
        [one] { $changes } change of alarms
       *[other] { $changes } changes of alarms
    }, { $notes ->
        [one] { $notes } note
       *[other] { $notes } notes
    }
# $tables: names in the file.
failed-saved-torn = { $saved }; not whole: { $tables }

## The broker.

failed-broker-user = the broker does not accept the user, the password or the client id
failed-broker-not-available = the broker says that it is not available
failed-broker-refuses = the broker refuses the connection: { $why }
failed-broker-still = the broker stopped answering
failed-broker-session = the broker ended the session: does a second daemon use the same client id?
failed-broker-closed = the broker closed the connection
failed-broker-late = the broker did not answer in time
failed-publish-topic = cannot publish: the topic is empty or holds + or #; correct it
# $most: bytes.
failed-publish-large = cannot publish: the payload is larger than { $most } bytes; send less at once
failed-publish-full = cannot publish: too much waits for the broker already; try again once it is connected

## Ways of messages.

failed-no-broker = no broker is connected here; only the running daemon can send this way
# $text: what was written.
failed-address = "{ $text }" is no address: { $why }
failed-mail-address = a mail address is none: { $why }
# $most: seconds.
failed-too-long = it took longer than { $most } s and was cut off
failed-empty-file = { $path } is empty
failed-read-file = reading { $path }: { $why }
failed-no-command = the command is empty
# $program: its name.
failed-program-start = starting { $program }: { $why }
failed-program-ended = { $program } ended with { $why }
failed-program-waiting = waiting for { $program }: { $why }
failed-unconfirmed = the connection to the broker ended before it confirmed
failed-client = no HTTP client could be made: { $why }
# $host: who answered; $status: what, as "500 Internal Server Error".
failed-answered = { $host } answered { $status }
failed-answered-nameless = the other side answered { $status }
failed-certificate = { $path } is no certificate: { $why }
failed-mail-written = the mail could not be written: { $why }
failed-mail-picture = no type for a picture
failed-mail-page = no type for a page
failed-test = test not accepted: { $why }
failed-way-busy = the way is busy
failed-way-ended = the way has ended
failed-week = the week's report ended in disorder

## The mirror.

failed-mirror-again = it fell over and is started again
failed-mirror-history = history: { $why }
failed-mirror-line = 413: a single line is too large for it
# $url: of the server.
failed-mirror-reach = { $url } cannot be reached
# $seconds: how long it was waited for.
failed-mirror-late = { $url } did not answer within { $seconds } s
# $status: a number of HTTP.
failed-mirror-said = it answered { $status }: { $why }
failed-mirror-token =
    it answered { $status }: { $why }; give [influx] token_file a token that may write there
# $bucket, $org: names.
failed-mirror-bucket =
    it answered { $status }: { $why }; make the bucket { $bucket } of { $org }, or correct [influx] org and bucket
failed-mirror-overloaded = it answered { $status }: { $why }; it is overloaded
