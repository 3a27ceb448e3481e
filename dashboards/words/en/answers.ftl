### The page behind a link in a message: it asks, and a button answers.

# The two answers to a danger; neither may be louder than the other.
answer-here = I am there, I am seeing to it
answer-cannot = I cannot get there: tell the next person
answer-saw = I have seen this message

answer-dead = This link does nothing
answer-choose =
    Choose one. Either works once, and for this message only. Neither switches anything, and neither ends what is the
    matter: while it goes on, you are reminded.
answer-test = A test message of warmend
answer-test-asks = Did the message reach you where a danger must reach you, at night too? Then say so.

answer-not-done = It was not done
answer-done = Done
answer-done-here = You said that you are there. Do what the message says; while it goes on, you are reminded.
answer-done-passed = The next person is told now.
answer-done-nobody =
    It was written down, but the shelf file names nobody else who could be told. If you can reach somebody near the
    shelf, call them.
answer-done-seen = It is written down that you saw it.
answer-buttons = Choose one of the buttons.

## Why a link does nothing.

answer-link-wrong = This link does not belong to this watch, or is not complete: open it from the message again.
answer-link-expired = This link has expired. Look at the page of the shelf, and act there.
answer-link-used = This link has been used already. It works once.
answer-link-over =
    What this link is about is over, was answered, or was raised anew; then a newer message has its own link. If you are
    unsure, go and look at the shelf.

# A code that proves nothing, after “That proves nothing:”.
answer-code-unknown = no test message of the last 24 hours had this code: run `warmend alarms test` again

## What every page says of a way out that is not proved. $way: webhook, mail, …

answer-never-seen =
    Nobody has yet seen a test message by { $way }: until then nobody knows whether a danger would be told. Send one: on the
    page Watch, or by `warmend alarms test`.
# $days: a count.
answer-seen-long-ago =
    The last test message by { $way } was seen { $days } days ago. Send a new one: on the page Watch, or by
    `warmend alarms test`.
