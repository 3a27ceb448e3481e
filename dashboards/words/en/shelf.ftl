### What the reader of the shelf file finds wrong or unwise: what (a clause that follows the key, as "nest[0].pad.watts"),
### and in a message of its own, ending in -do, what to do about it. Shown by `warmend check`, by `warmend run` where the
### file is wrong, and by the page of a first start. Not translated: keys (low_c), sections ([nest.pad]), what stands
### between ` and `, names of alarms and of files, what is set in quotes as an example.
### $text: what was written; $key, $keys: names of keys; $value, $other: numbers as they were written; $why: what a program
### said; $most: a bound; $n: how many.

# At the end of a long list; $n: how many are left out.
shelf-more = … and { $n } more
# $path: of the file.
shelf-unreadable =
    cannot read the shelf file { $path }: { $why } (name the right file with --shelf, or write one: see
    shelf.example.toml)
shelf-too-large = it is larger than { $most } bytes
shelf-not-utf8 = it is no UTF-8 text: { $why }
shelf-whole = could not be understood as a whole
shelf-whole-do = compare it with shelf.example.toml
shelf-not-understood = it could not be understood
# A name of a source that cannot be one. $remedy: what to write.
shelf-source-wrong = { $why }: { $remedy }

## Several keys.

shelf-missing = is missing
shelf-missing-do = write { $key } = …; shelf.example.toml says what it means
shelf-not-above = { $value } is not above { $key }, { $other }
shelf-not-above-band-do = low_c < high_c < limit_c
shelf-not-above-humidity-do = low_pct < high_pct
shelf-not-above-stretch-do = from_mm < to_mm
shelf-without = stands without { $key }
shelf-without-do = add { $key } = "…"
shelf-beyond = { $value } mm lies beyond the nest's end, { $other } mm
shelf-beyond-do = measure from the zero end, in mm
shelf-beyond-thermostat-do = measure from the zero end
shelf-several-do = use several daemons
shelf-shorten-do = shorten it
shelf-take-out-do = take it out
shelf-long-name = is longer than { $most } letters
shelf-example-do = see shelf.example.toml
shelf-elsewhere = is for a broker elsewhere (url)
shelf-name-do = use 1 to 64 letters, digits, - and _

## Keys and values as they stand in the file.

shelf-not-toml = this is not TOML: { $why }
shelf-not-toml-do = mend this line first; what follows it could not be weighed
# $section: a section of which there may be several: nest.pad.
shelf-twice = there is more than one [{ $section }]
shelf-twice-do = of several, each begins with [[{ $section }]], the first as well
shelf-unknown-here = unknown key; the nearest known here is `{ $key }`
# $section: the section where a key of this name is known.
shelf-unknown-here-do = `{ $key }` stands in [{ $section }]
shelf-unknown-near = unknown key; the nearest known is `{ $key }`
shelf-unknown-near-do = correct it or take it out
shelf-unknown = unknown key
shelf-section = must be a section
shelf-section-do = write it under [[{ $section }]]
shelf-entries = has { $n } entries; at most { $most } are taken
# $found: one of shelf-found-…; $wanted: one of shelf-wanted-…
shelf-kind = is { $found }, but must be { $wanted }
shelf-found-text = a text
shelf-found-number = a number
shelf-found-bool = true or false
shelf-found-date = a date
shelf-found-list = a list
shelf-found-section = a section
shelf-wanted-text = a text in quotes
shelf-wanted-number = a number
shelf-wanted-whole = a whole number
shelf-wanted-word = a word in quotes
shelf-wanted-known = true, false or "unknown"
shelf-wanted-texts = a list of texts, as ["a", "b"]
shelf-wanted-moment = a moment, as "2026-03-01T12:00:00Z"
shelf-wanted-section = a section, as [name]
shelf-wanted-sections = sections, each under [[name]]
shelf-wanted-one-or-more = a section [name] or several [[name]]
shelf-wanted-material = a word in quotes, or a table of numbers
shelf-not-number = { $text } is not { $wanted }
shelf-not-number-do = write a number, with a point and no unit
# $low, $high: the bounds.
shelf-outside = { $text } is outside { $low } to { $high }
shelf-outside-do = look at the unit that ends the key's name
shelf-empty = is empty
shelf-empty-do = fill it in or take the key out
shelf-long = is longer than { $most } bytes
shelf-control = holds a line break or another control character
# $words: those that are known, commas between; $near: the one that looks most like it.
shelf-none-of = "{ $text }" is none of { $words }
shelf-none-of-do = the nearest is "{ $near }"
# Of a variable of the environment.
shelf-variable = unknown variable; the nearest known is { $near }
shelf-variable-do = correct it or unset it
shelf-variable-list-do = nests, notices and mappings are lists: set them in the shelf file

## Forms of texts.

shelf-id = "{ $text }" is no identifier
shelf-id-do = use 1 to 32 of a to z, 0 to 9 and -
shelf-source-letters = "{ $text }" is no SenML name: letters, digits and - : . / _ only, { $most } at most
shelf-source-begin = "{ $text }" is no SenML name: it must begin with a letter or digit
shelf-source-node = "{ $text }" names no node: the node stands before the last ":"
shelf-source-do = write node:sensor, as "oak-node:warm"
shelf-topic = "{ $text }" is no topic to publish on
shelf-topic-do = write one without + and #
shelf-prefix = "{ $text }" is no topic prefix
shelf-prefix-do = write one as "warmend" or "home/warmend"
shelf-filter = "{ $text }" is no topic filter
shelf-filter-do = + stands for one whole level, # for all that follow, at the end
shelf-pointer = "{ $text }" is no JSON Pointer
shelf-pointer-do = write it as "/sensor/temperature" (~0 for ~, ~1 for /), or leave it out for a plain number
shelf-listen = "{ $text }" is no address to listen on
shelf-listen-do = write address:port, as "127.0.0.1:1883"
shelf-url = "{ $text }" is no address: { $why }
# $text: what stands before "://"; $words: what may.
shelf-url-scheme = "{ $text }" is not understood here; known: { $words }
shelf-url-host = "{ $text }" names no host
shelf-url-do = write it as scheme://host:port
shelf-url-secret = holds a name or a password
shelf-url-secret-do = keep secrets out of addresses: use the keys for them
shelf-hour = "{ $text }" is no hour of the day
shelf-hour-do = write it as "22:30"
shelf-week-hour = "{ $text }" is no hour of a day of the week
shelf-week-hour-do = write it as "Sun 18:00"
shelf-day = "{ $text }" is no day of the year
shelf-day-do = write month and day, as "11-01"
shelf-date = "{ $text }" is no day
shelf-date-do = write it as "2026-07-01"
shelf-moment = "{ $text }" is no moment
shelf-moment-do = write date, hour and offset from UTC, as "2026-03-01T12:00:00Z"
shelf-zone = "{ $text }" is no time zone that this machine knows
shelf-zone-do = write it as "Europe/Lisbon" or "UTC", and install the zone data (tzdata)
shelf-mail-address = "{ $text }" is no mail address
shelf-mail-address-do = write name@host

## Nests.

shelf-id-twice = "{ $text }" is the id of nest[{ $n }] too
shelf-id-twice-do = give each nest its own
shelf-no-probe = there is none: nothing would be seen of this nest
shelf-no-probe-do = write [[nest.probe]] with source and at_mm
# $text: a source; $key: where it is listed first, as nest[0].probe[1].
shelf-probe-twice = { $text } is { $key } too
shelf-probe-twice-do = a probe sits at one place
shelf-sources = { $n } sources are listed; at most { $most } are watched
shelf-room-probe = { $text } is a probe in this nest: it cannot read the room
shelf-room-probe-do = use a sensor away from the nest, or leave the room out
shelf-joined-itself = names the nest itself
shelf-joined-itself-do = name the other one
shelf-joined-none = no nest has the id "{ $text }"
shelf-joined-none-do = name a nest of this file
# $near: the name that looks most like it.
shelf-material = "{ $text }" is no known material; the nearest is "{ $near }"
# $words: names of materials.
shelf-material-do = known: { $words }; or give conductivity_w_mk, density_kg_m3, heat_capacity_j_kgk
shelf-limit-high = { $value } °C is above { $most } °C, where few ants live for an hour
shelf-limit-high-do = lower it, or write why = "…" beside it: which species, and who measured it
shelf-hot-low = { $value } is below limit_c, { $other }
shelf-hot-low-do = leave it out: limit_c + 5 is taken
shelf-season-overlaps = overlaps season[{ $n }]
shelf-season-overlaps-do = move one of the dates: each day belongs to one season at most

## Heating mats.

shelf-pad-twice = "{ $text }" is the id of another heating mat
shelf-pad-twice-do = give each its own; say shared = for the same one
shelf-thermostat = says where a thermostat sits, but not at what it lets go
shelf-thermostat-do = add thermostat_c
shelf-shared-own = belongs to the heating mat that is shared
shelf-shared-own-do = write it there, in the other nest
shelf-shared-none = no heating mat has the id "{ $text }"
shelf-shared-none-do = give the other nest's mat that id
shelf-shared-here = "{ $text }" is this nest's own
shelf-shared-here-do = name a mat of another nest
shelf-drive-probe = { $text } is a probe of this nest
shelf-drive-probe-do = name the source that reports the mat's drive
shelf-permit-duty-do = add the key file, or take it out
shelf-permit-drive = needs drive: whose leave it is, is read from it
shelf-permit-drive-do = add drive = "oak-node:pad"
# $text: a node.
shelf-permit-twice = { $text } has a mat on leave already
shelf-permit-twice-do = give each mat a node of its own
shelf-permit-feigned = can never be used: all probes of the nest come by a mapping, which anybody can feign
shelf-permit-feigned-do = list a probe of the node itself

## Broker, pages and mappings.

shelf-client-id = is no session name
shelf-broker-both = stands beside embedded: exactly one of the two can be
shelf-broker-both-do = take one out (an empty WARMEND__BROKER__EMBEDDED takes out the file's)
shelf-broker-neither = has neither embedded nor url
shelf-broker-neither-do = write embedded = "127.0.0.1:1883", or url = "mqtt://…"
shelf-broker-user-do = take it out; users_file holds our own broker's users
shelf-broker-acts-do = take it out; give users the right act in users_file
# $text: an address.
shelf-broker-open = { $text } can be reached from other machines, and users_file is missing
shelf-broker-open-do = add users_file = "users", or listen on 127.0.0.1
shelf-broker-own = is for our own broker (embedded)
shelf-broker-own-do = take it out; use user and password_file
shelf-broker-rest = has something after the port
shelf-broker-rest-do = write mqtt://host:port; topics begin with prefix
shelf-broker-name = { $text } is no user name
shelf-proxy = "{ $text }" is no address
shelf-proxy-do = write the address from which the proxy comes, as "192.168.1.2"
shelf-cert-do = add the certificate's private key
shelf-cert-key-do = add the key's certificate
shelf-reading = stands without password_file: everything is open then
shelf-reading-do = add password_file, or take it out
shelf-web-open = { $text } can be reached from other machines, and password_file is missing: anyone could act
shelf-web-proxy = whoever the proxy lets through could act: password_file is missing
shelf-web-password-do =
    write the line that `warmend check --hash-password` prints into a file, and name it: password_file = "page.password"
shelf-web-plain = { $text } can be reached from other machines, and anyone on the way could read the password
shelf-web-plain-do =
    add cert_file and key_file (TLS), or proxy = the address of a proxy of yours that speaks TLS, or listen on 127.0.0.1
# $text: a source.
shelf-mapping-twice = { $text } gets this unit from another mapping already
shelf-mapping-twice-do = give each number a source of its own

## Ways of telling, and those who are told.

# $words: the names of those there are.
shelf-recipient-none = "{ $text }" is none of the recipients ({ $words })
shelf-recipient-none-do = write a [[recipient]] of that name
shelf-recipient-twice = "{ $text }" is there twice
shelf-recipient-twice-do = give each a name of its own
shelf-until = lies before from
shelf-until-do = write the last day on which they are told
shelf-quiet = is quiet_from: would it be quiet always, or never?
shelf-quiet-do = leave a span between them
shelf-watches = holds a name longer than { $most } letters
# $owner: the way that takes this key; $text: the one that is written. Words of the file, both.
shelf-other-way = is for way = "{ $owner }", and this is "{ $text }"
shelf-other-way-do = take it out, or write another [[notice]]
shelf-command = names no program
shelf-command-do = write ["program", "argument", …]
shelf-mail-to = names nobody
shelf-mail-to-do = write ["keeper@example.org"]

## Legal, but unwise: nests.

unwise-where = is missing: a message cannot say where to run to
unwise-where-do = write where = "study, second board"
unwise-no-nest = there is none: the daemon runs, judges nothing and tells nobody of anything
unwise-no-nest-do =
    start it, and its page leads by the hand; or write a [[nest]] with id, length_mm and a [[nest.probe]]
unwise-no-pad = is missing: heater-stuck-on, heater-no-heat and gradient-flat are absent for this nest
unwise-no-pad-do = write [nest.pad], unless the nest is not heated
unwise-no-brood =
    is missing: brood-cold, brood-hot, forecast-cold and forecast-hot are absent, and brood-limit has no place to judge
unwise-no-brood-do = write [nest.brood] with from_mm and to_mm as soon as you see brood
unwise-no-band = is missing: no alarm but a guard of 40 °C judges its warmth
unwise-no-band-do = write [nest.band] with low_c, high_c and limit_c for your species, and note their source
unwise-no-material = is missing: a hardwood is assumed, and the first estimates are the less certain for it
unwise-no-material-do = name it, or give its own numbers
unwise-one-probe =
    there is only one: if it fails or falls off, nothing contradicts it, and no gradient is seen
unwise-one-probe-do = add one at the other end
# $mm: a distance.
unwise-pad-unseen = no probe lies within { $mm } mm of this heating mat: a stuck one is noticed late
unwise-pad-unseen-do = put a probe over it
unwise-brood-unseen = no probe lies within { $mm } mm of the brood place: its danger rests on an estimate alone
unwise-brood-unseen-do = put a probe beside the brood
unwise-no-room =
    is missing: the room is inferred from the cool end, and a warm room and a failing probe look alike
unwise-no-room-do = put one sensor in the room's shade, away from all nests
unwise-high =
    { $value } °C as a lasting warmth may be too much: of one species no egg survived 32 °C constant (Abril, Oliveras &
    Gómez 2010, J. Insect Sci. 10:97)
unwise-limit =
    { $value } °C leaves little time: an hour from about 40 °C on killed workers of four Solenopsis species (M.S. thesis,
    Texas Tech University, 1982)
unwise-species-do = species differ widely, and no number here is an authority: look yours up and note the source
unwise-hot = { $value } °C is far above limit_c: a probe by the mat may pass what the brood survives unsaid
unwise-humidity-narrow =
    a band of { $value } %RH is narrower than what a cheap probe may be off, 2 to 5 %RH
unwise-humidity-narrow-do = widen it, or calibrate the probes with a saturated salt
unwise-humidity-high =
    { $value } %RH lies above { $most } %RH, where mould begins to grow on wood (Hukka & Viitanen 1999, Wood Sci.
    Technol. 33)
unwise-humidity-high-do = lower it, unless the body is none that moulds
unwise-rest-band = has no band: rest-warm is raised for frost only
unwise-rest-band-do = write low_c, high_c and limit_c of the rest
unwise-rest-pad = is a rest with the heating mat on
unwise-rest-pad-do = write pad = "off" and unplug the mat, if that is meant

## Legal, but unwise: heating mats.

# $heat: W/m²; $rise: K above the room.
unwise-strong =
    { $heat } W/m² is strong for a nest: stuck on, a thin uncovered body would come to rest some { $rise } K above the room,
    a covered one higher
# The same where no width is written.
unwise-strong-assumed =
    { $heat } W/m² (100 mm of width assumed) is strong for a nest: stuck on, a thin uncovered body would come to rest some
    { $rise } K above the room, a covered one higher
unwise-strong-do = take a weaker mat, so that stuck on is survivable; `warmend plan` reckons it
unwise-thermostat = { $value } °C is above high_c, { $other } °C: the thermostat itself would drive brood-hot
unwise-thermostat-do = lower the set point, or mend the band if the brood lies far from its sensor
# $part: a number of percent.
unwise-covered = heating mats lie along { $part } % of the nest: there may be no refuge from a hot one
unwise-covered-do = leave a third of the nest unheated, or use a shorter mat
# $coolest: a number of degrees.
unwise-refuge =
    with the heating on, no place may stay below high_c (roughly { $coolest } °C at the coolest)
unwise-refuge-do = use a shorter or weaker mat; `warmend plan` reckons it better
# $mm: how far; $decay: the length, in mm, over which heat fades to the 2.718th part.
unwise-far-brood =
    lies { $mm } mm from the nearest heating mat; in this body heat fades by e every { $decay } mm, so almost none arrives
unwise-far-brood-do = check the places, or move the mat
unwise-untold =
    neither drive nor thermostat_c is written: what the mat was told is guessed, and stuck or dead is seen later
unwise-untold-do = let the node report the drive, or write the thermostat's set point
unwise-plug = is missing: a message cannot say which plug to pull
unwise-plug-do = write plug = "left strip, second socket"
unwise-no-cutoff =
    this heating mat has no thermal cut-off of its own: if its switch fails closed, nothing takes the heat away
unwise-no-cutoff-do =
    have one fitted that works without any software, chosen and wired by the label and local codes
unwise-cutoff-unknown = is not known: has this heating mat an independent thermal cut-off?
unwise-cutoff-unknown-do =
    look at its label or ask its maker, then write cutoff = true or false; software is no such device
unwise-signed = rests on signed packs alone: the broker binds nobody to the node's topics
unwise-signed-do =
    let the node sign its packs, as that in firmware/ does; or give the daemon's own broker a users_file

## Legal, but unwise: delays of alarms. $length: a span, as 2 min.

unwise-flat = a nest whose ends are { $value } K apart has a refuge; many never come so far
unwise-flat-do = leave it out: 1.5 K is taken
unwise-unwatched = a mat may stick on unseen for { $length }; that can kill a colony
unwise-unwatched-do = leave it out: 10 minutes are taken
unwise-water = a nest that was opened or aired looks dry for some hours
unwise-water-do = leave it out: a day is taken, and a nest dries over days
unwise-stuck = a mat that sticks on heats for { $length } more before anybody is told
unwise-stuck-do = leave it out: its evidence is its delay

## Legal, but unwise: how the watch is reached, and how it tells.

unwise-log = the log is the only way out: nobody is woken
unwise-log-do =
    add a [[notice]] that reaches you at night, then send yourself a test message with `warmend alarms test`
unwise-plain-broker = passwords and readings cross the network unencrypted
unwise-network-do = keep it to a network you trust
unwise-token = is missing: most servers refuse writes without a token
unwise-token-do = write one, readable by the daemon only
# $text: a source.
unwise-unlisted = no nest lists { $text }: its numbers are counted, not stored
unwise-unlisted-do = list it as a probe, a room or a drive
unwise-many-topics = matches many topics for one source: several sensors would be mixed
unwise-many-topics-do = write one mapping for each sensor
unwise-mail =
    mail alone carries danger: mail is silent at night, and may come late or land among the unwanted
unwise-mail-do = add a webhook or command that rings a telephone, and prove it with `warmend alarms test`
unwise-plain-mail = a server on this machine is spoken to without TLS: the password passes unencrypted
unwise-plain-mail-do = write smtps://, or leave user and password_file out
unwise-days = every recipient has a first or last day: on other days all of them are told
unwise-days-do = leave one without from and until
unwise-open-pages =
    anyone who reaches the pages can look without a password: when you are away, what is kept where
unwise-url = is reached from elsewhere, but the pages listen on this machine only: something must stand between
unwise-url-do = if it is a proxy, name its address as proxy, and add a password_file
# $path: of a file or a directory.
unwise-no-file = there is no file { $path }
unwise-no-file-do = create it, readable by the daemon only
unwise-unread = the file { $path } cannot be read: { $why }
unwise-unread-do = correct the file or its rights, so that the daemon's user can read it
unwise-empty = the file { $path } is empty
unwise-empty-do = write into it what it is to hold
unwise-no-directory = there is no directory { $path }: `warmend run` could keep nothing
unwise-no-directory-do = create it, writable by the daemon, or name another

## What `warmend check` says besides.

check-deference =
    This check is an aid, not a safety assessment. The heater's own label and instructions, local codes and licensed
    practice come first; software is never the protective device.
check-wrong = { $n ->
        [one] { $n } thing is wrong
       *[other] { $n } things are wrong
    }; `warmend run` would not start with this file.
# $path: of the file; $nests, $probes, $pads: how many there are.
check-fine = { $path }: nothing wrong found. { $nests ->
        [one] { $nests } nest
       *[other] { $nests } nests
    }, { $probes ->
        [one] { $probes } probe
       *[other] { $probes } probes
    }, { $pads ->
        [one] { $pads } heating mat
       *[other] { $pads } heating mats
    }.
check-no-advice = No advice.
check-advice = Taken as written, but look at it ({ $n ->
        [one] { $n } remark
       *[other] { $n } remarks
    }):
# How cold without heat. $nest: its name; $room, $low: °C; $mid, $from, $to: spans, as 2 h 10 min.
check-cold = { $nest }: without heat, in a room at { $room } °C, the brood place stays above { $low } °C; an estimate.
check-cold-below =
    { $nest }: without heat, in a room at { $room } °C, the brood place is below { $low } °C after some { $mid } ({ $from }
    to { $to }) and comes down to the room; an estimate.
check-waits = How long what is wrong must last before it is told, and be over before it ends:
# $on, $off: one of check-waits-…; behind the alarm's name.
check-waits-line = told { $on }; over { $off }
# $by: kelvins, or percent of humidity.
check-waits-line-k = told { $on }; over { $off }, { $by } K within
check-waits-line-rh = told { $on }; over { $off }, { $by } %RH within
check-waits-at-once = at once
# $length: a span, as 15 min.
check-waits-after = after { $length }
check-waits-three = after three readings
# $waits: one of the two above that speak of time.
check-waits-missed = after { $n } readings missed, { $waits }
