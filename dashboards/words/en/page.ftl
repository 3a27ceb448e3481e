### What every page has around it, and what the script of pages that follow says.

# Names the links at the top.
page-nav = Pages
# Where no script runs. $reload: the link page-reload.
page-no-script =
    Without a script this page shows what was so when it was opened. { $reload }. Older than 2 min: do not rely on it.
page-reload = Reload it
page-footer =
    This page watches; it is not a protective device. What keeps a nest from burning is an independent thermal cut-off,
    a heating mat too small to do harm when it never lets go, and electrics done by the rules where you live.

## Heads of tables.

head-when = when
head-what = what

## The line at the top that says how old all is. $age: "12 s", "3 min".

live-age = Newest reading { $age } old
live-age-none = No reading yet
# Follows one of the two, $so_far, where the page itself is older.
live-age-page = { $so_far }; this page { $age } old
# A warning. $clock: the time of day of what the page shows.
live-old =
    This page is older than 2 min, as of { $clock }: do not rely on it. The watch may have stopped, or this device has lost the
    connection to it.
live-lost = This page hears nothing from the watch. What stands here was so at { $clock }.
# Read out when several alarms change at once. $so_far: the first of them, $more: how many more, a number.
live-more = { $so_far }; and { $more } more
