### The login.

login-title = Log in
login-title-inside = Logged in
login-open = No password is set: these pages are reached from this machine only, and everything on them is open.
login-inside = You are logged in. A login ends after a week without use, and after thirty days in all.
login-wrong = That was not the password.
# $seconds: how long to wait.
login-braked = The password was wrong too often. Try again in { $seconds } s.
login-full = Too many are logging in at once. Try again in a few seconds.
login-out = Log out here
login-all-out = Log out everywhere
login-link = The link in a message works without a login: it answers that one message.
login-password = Password
login-password-help = One for the whole shelf. Whoever keeps it set it in the shelf file.
login-enter = Log in

## Why it did not work, or is needed.

login-not = Not logged in
login-form = The form could not be read, or no password is set.
login-random = The system gives no random numbers.
login-first = Log in first
# $path: the address of the login.
login-first-why = Nothing was done: acting needs a login. Log in at { $path }, go back, and do it again.
