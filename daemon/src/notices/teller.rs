//! One way out: its desk, its carrier, and the task that moves messages from one to the other.
use super::answering::Answering;
use super::daily::{self, Daily, Weekly};
use super::desk::{Desk, Job, Sent, Turn};
use super::ledger::{self, Ledger};
use super::picture;
use super::schedule::{self, Outlook, Quiet};
use super::text::{Context, Occasion, compose, test_message};
use super::ways::{Carrier, Letter};
use super::{FAILING_AFTER, Losses, Mail, SEND_TIMEOUT};
use crate::clock::Clock;
use crate::history::Delivery;
use crate::shelf_file::{NoticeWay, Recipient};
use crate::snapshot::{Sent as Report, Snapshot, Told};
use crate::views::hours::band_in_force;
use crate::views::now::shown;
use dashboards::say;
use enclosure::{Alarm, Span, Timestamp};
use jiff::tz::TimeZone;
use std::collections::VecDeque;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;
use tokio::sync::{mpsc, oneshot, watch};

/// Longest sleep of a way: the wall clock may have been set meanwhile.
const IDLE: Duration = Duration::from_secs(60);

/// What all ways share.
#[derive(Clone, Debug)]
pub(super) struct Shared {
    pub(super) outcomes: mpsc::Sender<Report>,
    pub(super) clock: Arc<dyn Clock>,
    pub(super) context: Arc<Context>,
    pub(super) losses: Arc<Losses>,
    pub(super) snapshots: Option<watch::Receiver<Arc<Snapshot>>>,
    pub(super) answering: Arc<Answering>,
    pub(super) ledger: Arc<Ledger>,
    pub(super) recipients: Arc<[Recipient]>,
    pub(super) history: Option<Arc<Path>>,
}

/// A test message that waits to be sent.
type Test = (String, Option<String>, oneshot::Sender<Result<(), String>>);

/// One way.
pub(super) struct Teller {
    index: u8,
    name: String,
    way: NoticeWay,
    context: Context,
    desk: Desk,
    hold: Hold,
    daily: Option<Daily>,
    weekly: Option<Weekly>,
    carrier: Carrier,
    tests: VecDeque<Test>,
    fingerprint: String,
    shared: Shared,
    counted: u64,
}

/// The time zone of that name, or the machine's.
pub(super) fn zone(name: Option<&str>) -> TimeZone {
    name.and_then(|name| TimeZone::get(name).ok()).unwrap_or_else(TimeZone::system)
}

/// When it is the turn of `way` among `recipients`, at `now`; `None` on days on which its recipient is not told.
pub(super) fn turn(way: &NoticeWay, recipients: &[Recipient], now: Timestamp) -> Option<Turn> {
    let here: Vec<usize> = (0..recipients.len()).filter(|i| is_told(&recipients[*i], now)).collect();
    let mine = way.recipient.unwrap_or(0);
    let rank = match (recipients.is_empty(), here.is_empty()) {
        (true, _) => 0,
        // Nobody is there to be told: then everybody is.
        (_, true) => mine,
        _ => here.iter().position(|i| *i == mine)?,
    };
    Some(match way.after {
        Some(delay) => Turn { rank: u8::from(delay > Span::ZERO), delay, dangers_only: false },
        None => Turn::of_rank(rank),
    })
}

/// Whether `now` lies within the days on which a recipient is told, by their own calendar.
fn is_told(recipient: &Recipient, now: Timestamp) -> bool {
    let Ok(now) = jiff::Timestamp::from_millisecond(now.unix_ms()) else { return true };
    let today = now.to_zoned_datetime(zone(recipient.time_zone.as_deref())).date();
    let (from, until) = recipient.days;
    from.is_none_or(|from| from <= today) && until.is_none_or(|until| today <= until)
}

impl Teller {
    pub(super) fn new(
        index: usize,
        name: String,
        way: &NoticeWay,
        remind: Span,
        (carrier, shared): (Carrier, Shared),
    ) -> Self {
        let quiet = way.quiet.as_ref().and_then(|hours| {
            let quiet = Quiet::new(hours);
            if quiet.is_none() {
                tracing::warn!("{name}: the time zone {} is not known here; quiet hours are not kept", hours.time_zone);
            }
            quiet
        });
        let context = way
            .time_zone
            .as_deref()
            .map_or_else(|| Context::clone(&shared.context), |name| shared.context.in_zone(zone(Some(name))));
        let now = shared.clock.now();
        let daily = way
            .daily_at_min
            .map(|at| Daily::new(at, context.zone(), shared.ledger.reported(&name, ledger::DAILY), now));
        let weekly =
            way.weekly_at.map(|at| Weekly::new(at, context.zone(), shared.ledger.reported(&name, ledger::WEEKLY), now));
        Self {
            index: u8::try_from(index).unwrap_or(u8::MAX),
            context,
            desk: Desk::new(way.least, remind),
            hold: Hold { quiet, clock: Arc::clone(&shared.clock), snapshots: shared.snapshots.clone() },
            daily,
            weekly,
            carrier,
            tests: VecDeque::new(),
            fingerprint: super::answering::fingerprint(&way.way),
            way: way.clone(),
            name,
            shared,
            counted: 0,
        }
    }

    pub(super) async fn run(mut self, mut mailbox: mpsc::Receiver<Mail>) {
        loop {
            // What waits already may supersede what would be sent next.
            while let Ok(mail) = mailbox.try_recv() {
                self.take(mail);
            }
            let now = self.shared.clock.monotonic();
            let hold = &self.hold;
            let job = self.desk.next(now, &|told| hold.holds(told));
            if let Some(job) = job {
                self.tell(&job, &mut mailbox).await;
                continue;
            }
            if let Some(test) = self.tests.pop_front() {
                self.test(test, &mut mailbox).await;
                continue;
            }
            if self.reports_now(now) {
                self.report_day(&mut mailbox).await;
                continue;
            }
            if self.weekly_now(now) {
                self.report_week(&mut mailbox).await;
                continue;
            }
            let hold = &self.hold;
            if mailbox.is_closed() && mailbox.is_empty() && !self.desk.has_unsent(now, &|told| hold.holds(told)) {
                return;
            }
            let wait = self.desk.wake_at(now, &|told| hold.holds(told)).map(|at| Span::from_ms(at.ms() - now.ms()));
            let wait = wait.map_or(IDLE, |span| Duration::from_millis(span.ms().max(1).unsigned_abs()).min(IDLE));
            tokio::select! {
                mail = mailbox.recv(), if !mailbox.is_closed() => if let Some(mail) = mail { self.take(mail) },
                () = tokio::time::sleep(wait) => {}
            }
        }
    }

    fn take(&mut self, mail: Mail) {
        let (now, wall) = (self.shared.clock.monotonic(), self.shared.clock.now());
        match mail {
            Mail::Told(told) => {
                if let Some(turn) = turn(&self.way, &self.shared.recipients, wall) {
                    let past = self.shared.ledger.past(&told, &self.name, wall);
                    self.desk.take(now, told, turn, past);
                    self.count();
                }
            }
            Mail::PassOn(name) => self.desk.pass_on(now, &name),
            Mail::OnTheWay(name) => self.desk.on_the_way(now, &name),
            Mail::Test { code, link, reply } => self.tests.push_back((code, link, reply)),
        }
    }

    fn snapshot(&self) -> Option<Arc<Snapshot>> {
        newest(self.shared.snapshots.as_ref())
    }

    /// Sends one letter, and takes mail meanwhile.
    async fn send(&mut self, letter: &Letter, mailbox: &mut mpsc::Receiver<Mail>) -> Sent {
        let mut came = Vec::new();
        let sent = {
            let mut sending = std::pin::pin!(self.carrier.send(letter, SEND_TIMEOUT));
            loop {
                tokio::select! {
                    sent = &mut sending => break sent,
                    Some(mail) = mailbox.recv() => came.push(mail),
                }
            }
        };
        for mail in came {
            self.take(mail);
        }
        sent
    }

    async fn tell(&mut self, job: &Job, mailbox: &mut mpsc::Receiver<Mail>) {
        let letter = self.letter(job).await;
        let sent = self.send(&letter, mailbox).await;
        self.desk.done(self.shared.clock.monotonic(), job.serial, &sent);
        self.count();
        let outcome = said(sent);
        if let Err(why) = &outcome {
            tracing::warn!("sending a message about {} by {}: {why}", job.told.change.alarm, self.name);
        }
        self.report(job.told.id, job.attempt, outcome.err().unwrap_or_else(|| ledger::SENT.to_owned()));
    }

    async fn letter(&self, job: &Job) -> Letter {
        let snap = self.snapshot();
        let (now, zone) = (self.shared.clock.now(), self.context.zone());
        let nest = job.told.change.nest.clone();
        let seen = snap.as_ref().zip(nest.as_ref()).and_then(|(snap, id)| picture::sentence(snap, id, now, &zone));
        let link = self.shared.answering.link(&job.told, self.index);
        let occasion = Occasion {
            repeat: job.repeat,
            reminder: job.reminder,
            second: job.second,
            seen: seen.as_deref(),
            link: link.as_deref(),
        };
        let message = compose(&job.told, &self.context, occasion);
        let mut letter = Letter::of(&job.told, message, &self.context, link.as_deref());
        if let (true, Some(snap), Some(id)) = (self.carrier.shows(), snap, nest) {
            let drawn = tokio::task::spawn_blocking(move || picture::picture(&snap, &id, now, &zone)).await;
            // Without its picture the message says the same in words.
            letter.picture = drawn.ok().flatten();
        }
        letter
    }

    async fn test(&mut self, (code, link, reply): Test, mailbox: &mut mpsc::Receiver<Mail>) {
        let message = test_message(&self.context, &code, link.as_deref());
        let letter = Letter::test(self.shared.clock.now(), message, &self.context);
        let outcome = said(self.send(&letter, mailbox).await);
        let written = match &outcome {
            Ok(()) => format!("{} {}", ledger::ACCEPTED, self.fingerprint),
            Err(why) => say!("failed-test", why = why),
        };
        self.report(None, 1, written);
        // Who asked may have gone.
        drop(reply.send(outcome));
    }

    fn reports_now(&self, now: Span) -> bool {
        let here = turn(&self.way, &self.shared.recipients, self.shared.clock.now()).is_some();
        here && self.snapshot().is_some()
            && self.daily.as_ref().is_some_and(|daily| daily.is_due(now, self.shared.clock.now()))
    }

    async fn report_day(&mut self, mailbox: &mut mpsc::Receiver<Mail>) {
        let Some(snap) = self.snapshot() else { return };
        let wall = self.shared.clock.now();
        let letter = Letter::daily(wall, daily::report(&snap, wall, &self.context), &self.context);
        let outcome = said(self.send(&letter, mailbox).await);
        if let Some(daily) = &mut self.daily {
            daily.tried(self.shared.clock.monotonic(), wall, outcome.is_ok());
        }
        if let Err(why) = &outcome {
            tracing::warn!("sending the day's report by {}: {why}", self.name);
        }
        self.report(None, 1, outcome.err().unwrap_or_else(|| ledger::DAILY.to_owned()));
    }

    fn weekly_now(&self, now: Span) -> bool {
        let wall = self.shared.clock.now();
        turn(&self.way, &self.shared.recipients, wall).is_some()
            && self.snapshot().is_some()
            && self.weekly.as_ref().is_some_and(|weekly| weekly.is_due(now, wall))
    }

    async fn report_week(&mut self, mailbox: &mut mpsc::Receiver<Mail>) {
        let (Some(snap), Some(history)) = (self.snapshot(), self.shared.history.clone()) else { return };
        let (wall, zone) = (self.shared.clock.now(), self.context.zone());
        let made = tokio::task::spawn_blocking(move || picture::week(&history, &snap, wall, &zone)).await;
        let outcome = match made.map_err(|_| say!("failed-week")).and_then(|made| made) {
            Ok(week) => {
                let message = daily::week_message(week.text);
                let mut letter = Letter::weekly(wall, message, &self.context);
                (letter.picture, letter.page) = (week.picture, Some(("week.html".to_owned(), week.page)));
                said(self.send(&letter, mailbox).await)
            }
            Err(why) => Err(why),
        };
        if let Some(weekly) = &mut self.weekly {
            weekly.tried(self.shared.clock.monotonic(), wall, outcome.is_ok());
        }
        if let Err(why) = &outcome {
            tracing::warn!("sending the week's report by {}: {why}", self.name);
        }
        self.report(None, 1, outcome.err().unwrap_or_else(|| ledger::WEEKLY.to_owned()));
    }

    fn report(&self, change: Option<i64>, attempt: u32, outcome: String) {
        let (way, at) = (self.name.clone(), self.shared.clock.now());
        let delivery = Delivery { change, way, attempt, at, outcome };
        if self.shared.outcomes.try_send(Report { delivery, failing: self.desk.failures() >= FAILING_AFTER }).is_err() {
            self.shared.losses.outcomes.fetch_add(1, Ordering::Relaxed);
        }
    }

    fn count(&mut self) {
        let dropped = self.desk.dropped();
        self.shared.losses.messages.fetch_add(dropped - self.counted, Ordering::Relaxed);
        self.counted = dropped;
    }
}

fn newest(snapshots: Option<&watch::Receiver<Arc<Snapshot>>>) -> Option<Arc<Snapshot>> {
    snapshots.map(|snapshots| Arc::clone(&snapshots.borrow()))
}

/// What holds messages back.
struct Hold {
    quiet: Option<Quiet>,
    clock: Arc<dyn Clock>,
    snapshots: Option<watch::Receiver<Arc<Snapshot>>>,
}

impl Hold {
    /// Whether a message must wait for the end of the quiet hours.
    fn holds(&self, told: &Told) -> bool {
        let now = self.clock.now();
        self.quiet.as_ref().is_some_and(|quiet| quiet.holds(now))
            && schedule::may_wait(told.change.alarm, self.outlook(told))
    }

    fn outlook(&self, told: &Told) -> Outlook {
        let Some(snap) = newest(self.snapshots.as_ref()) else { return Outlook::default() };
        let place = told.change.nest.as_ref().and_then(|id| snap.shelf.nests.iter().position(|n| n.id == *id));
        let Some(place) = place else { return Outlook::default() };
        let low_c = band_in_force(&snap.shelf.nests[place], snap.at, snap.shelf.alarms.season_utc_offset);
        let low_c = low_c.map(|band| band.low_c);
        let nest = snap.nests.get(place);
        let brood_c = nest.and_then(|n| n.brood_c).map(|(mean, sd, _)| mean - 2.0 * sd);
        let room_c = nest.and_then(|n| n.room_c).map(|(mean, sd)| mean - 2.0 * sd);
        let silent = |a: &&crate::snapshot::StandingAlarm| {
            a.key.alarm == Alarm::ProbeSilent && a.key.nest.map(usize::from) == Some(place)
        };
        Outlook::new(brood_c, room_c, low_c, shown(&snap).filter(silent).count())
    }
}

fn said(sent: Sent) -> Result<(), String> {
    match sent {
        Sent::Done => Ok(()),
        Sent::Unreachable(why) | Sent::Refused(why) => Err(why),
    }
}

#[cfg(test)]
#[path = "teller_tests.rs"]
mod tests;
