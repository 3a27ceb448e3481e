//! A day's report at an hour of the recipient's: so that silence means something.
use super::text::{Context, FIRST_LINE_MAX, Message, one_line};
use super::words;
use crate::snapshot::Snapshot;
use crate::views::hours::Hours;
use crate::views::now::{now_page, shown};
use dashboards::{list_comma, say};
use enclosure::{Span, Timestamp};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::fmt::Write as _;

/// Most alarms that it lists.
const LISTED_MAX: usize = 20;
/// So far a clock may be set back after a report without another being due.
const CLOCK_STRAYS: Span = Span::from_h(1);
/// A report that could not be sent is tried again after so long.
const AGAIN_AFTER: Span = Span::from_min(5);

/// When the next one is due.
#[derive(Clone, Debug)]
pub(super) struct Daily {
    at_min: u16,
    zone: TimeZone,
    done: Option<Date>,
    not_before: Span,
}

impl Daily {
    /// `last` is when one got out before; a daemon that starts in the afternoon leaves out that day's.
    pub(super) fn new(at_min: u16, zone: TimeZone, last: Option<Timestamp>, now: Timestamp) -> Self {
        let mut this = Self { at_min, zone, done: None, not_before: Span::ZERO };
        let (day, minute) = this.local(now);
        this.done = last.map(|at| this.local(at).0).max((minute > at_min).then_some(day));
        this
    }

    fn local(&self, at: Timestamp) -> (Date, u16) {
        let at = jiff::Timestamp::from_millisecond(at.unix_ms()).unwrap_or(jiff::Timestamp::UNIX_EPOCH);
        let local = at.to_zoned_datetime(self.zone.clone());
        let time = local.time();
        (local.date(), u16::from(time.hour().unsigned_abs()) * 60 + u16::from(time.minute().unsigned_abs()))
    }

    /// Whether it is due: once a day of the recipient's calendar, from that hour on. An hour that the clock leaps over
    /// is due when the clock has passed it, one that comes twice is due once.
    pub(super) fn is_due(&self, now: Span, wall: Timestamp) -> bool {
        let (day, minute) = self.local(wall);
        now >= self.not_before && minute >= self.at_min && self.done.is_none_or(|done| done != day)
    }

    /// It got out, or is tried again later.
    pub(super) fn tried(&mut self, now: Span, wall: Timestamp, got_out: bool) {
        if got_out {
            self.done = Some(self.local(wall).0);
        } else {
            self.not_before = Span::from_ms(now.ms() + AGAIN_AFTER.ms());
        }
    }
}

/// When the next week's report is due.
#[derive(Clone, Debug)]
pub(super) struct Weekly {
    day: u8,
    at_min: u16,
    zone: TimeZone,
    sent: Timestamp,
    not_before: Span,
}

impl Weekly {
    /// `last` is when one got out before; without one the first is due at the next such hour.
    pub(super) fn new((day, at_min): (u8, u16), zone: TimeZone, last: Option<Timestamp>, now: Timestamp) -> Self {
        Self { day, at_min, zone, sent: last.unwrap_or(now), not_before: Span::ZERO }
    }

    /// The latest such hour that lies not after `wall`.
    fn latest(&self, wall: Timestamp) -> Option<Timestamp> {
        let now = jiff::Timestamp::from_millisecond(wall.unix_ms()).ok()?.to_zoned_datetime(self.zone.clone());
        let back = (now.weekday().to_monday_one_offset() - 1 - i8::try_from(self.day).ok()?).rem_euclid(7);
        let (hour, minute) = (i8::try_from(self.at_min / 60).ok()?, i8::try_from(self.at_min % 60).ok()?);
        let due = |days: i8| {
            let date = now.date().checked_sub(jiff::Span::new().days(days)).ok()?;
            date.at(hour, minute, 0, 0).to_zoned_datetime(self.zone.clone()).ok()
        };
        let due = due(back).filter(|due| *due <= now).or_else(|| due(back + 7))?;
        Some(Timestamp::from_unix_ms(due.timestamp().as_millisecond()))
    }

    /// Whether it is due: once for each such hour, also when the daemon was away at it.
    pub(super) fn is_due(&self, now: Span, wall: Timestamp) -> bool {
        // A report of the future was sent by a clock that was wrong: it must not silence those to come.
        let ahead = self.sent.since(wall) > CLOCK_STRAYS;
        now >= self.not_before && self.latest(wall).is_some_and(|due| ahead || due > self.sent)
    }

    /// It got out, or is tried again later.
    pub(super) fn tried(&mut self, now: Span, wall: Timestamp, got_out: bool) {
        if got_out {
            self.sent = wall;
        } else {
            self.not_before = Span::from_ms(now.ms() + AGAIN_AFTER.ms());
        }
    }
}

/// A week's report as a message.
pub(super) fn week_message((title, body): (String, String)) -> Message {
    let body = format!("{body}\n{}", say!("told-weekly"));
    Message { first_line: one_line(&say!("told-week", title = title), FIRST_LINE_MAX), body }
}

/// The report: what stands, or that nothing was found, as of when, and how many probes are believed.
pub(super) fn report(snap: &Snapshot, now: Timestamp, context: &Context) -> Message {
    let hours = Hours::new(context.zone());
    let probes = dashboards::probes_believed(&now_page(snap, now, &hours));
    let as_of = hours.clock(snap.at);
    let standing: Vec<_> = shown(snap).collect();
    let found = match standing.len() {
        0 => say!("told-nothing-found"),
        n => say!("told-found", alarms = n),
    };
    let shelf = one_line(context.shelf(), 20);
    let first_line = say!("told-day", shelf = shelf, found = found, clock = as_of, probes = probes);
    let mut body = String::new();
    if !standing.is_empty() {
        let _ = writeln!(body, "{}", say!("told-standing"));
    }
    for alarm in standing.iter().take(LISTED_MAX) {
        let nest = alarm.key.nest.and_then(|i| snap.shelf.nests.get(usize::from(i)));
        let what = words::of(alarm.key.alarm).what;
        let what = nest.map_or(what.clone(), |nest| list_comma(&[say!("told-nest", nest = &nest.id), what]));
        let since = hours.near(alarm.since, now);
        let rank = words::rank(alarm.priority());
        let _ = writeln!(body, "- {}", say!("told-stands", rank = rank, what = what, since = since));
    }
    for (nest, now_of_it) in snap.shelf.nests.iter().zip(&snap.nests) {
        if let Some((mean, sd, hottest)) = now_of_it.brood_c {
            let (mean, hottest) = (format!("{mean:.1}"), format!("{hottest:.1}"));
            let off = format!("{:.1}", sd * dashboards::Z90);
            let said = say!("told-day-nest", nest = &nest.id, mean = mean, off = off, hottest = hottest);
            let _ = writeln!(body, "{said}");
        }
    }
    let _ = write!(body, "\n{}", say!("told-daily"));
    Message { first_line: one_line(&first_line, FIRST_LINE_MAX), body }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2026-03-29 is a Sunday, on which clocks went forward in Lisbon (IANA tz database).
    #[test]
    fn a_week_has_one_report_at_its_hour_of_the_wall() {
        let at = |text: &str| crate::views::hours::moment(text, Timestamp::from_unix_ms(0)).unwrap();
        let zone = TimeZone::get("Europe/Lisbon").unwrap();
        let begin = at("2026-03-19T12:00:00Z");
        let mut weekly = Weekly::new((6, 18 * 60), zone, None, begin);
        let mut sent = Vec::new();
        for minute in 0..21 * 1440 {
            let wall = begin.plus(Span::from_min(minute));
            let now = Span::from_min(minute);
            if weekly.is_due(now, wall) {
                weekly.tried(now, wall, true);
                sent.push(wall);
            }
        }
        // Winter time until the 28th, then an hour earlier by UTC.
        let want = ["2026-03-22T18:00:00Z", "2026-03-29T17:00:00Z", "2026-04-05T17:00:00Z"].map(at);
        assert_eq!(sent, want);
    }

    #[test]
    fn one_that_was_missed_is_made_up_for_and_one_that_failed_is_tried_again() {
        let at = |text: &str| crate::views::hours::moment(text, Timestamp::from_unix_ms(0)).unwrap();
        let last = at("2026-03-22T18:00:00Z");
        let now = at("2026-03-30T09:00:00Z");
        let mut weekly = Weekly::new((6, 18 * 60), TimeZone::UTC, Some(last), now);
        assert!(weekly.is_due(Span::ZERO, now), "the daemon was away on Sunday evening");
        weekly.tried(Span::ZERO, now, false);
        assert!(!weekly.is_due(Span::from_min(4), now) && weekly.is_due(Span::from_min(5), now));
        weekly.tried(Span::from_min(5), now, true);
        assert!(!weekly.is_due(Span::from_min(60), now));
    }

    #[test]
    fn a_report_that_a_wrong_clock_sent_silences_none_to_come() {
        let at = |text: &str| crate::views::hours::moment(text, Timestamp::from_unix_ms(0)).unwrap();
        let now = at("2026-03-30T09:00:00Z");
        let ahead = now.plus(Span::from_h(24 * 365));
        let mut weekly = Weekly::new((6, 18 * 60), TimeZone::UTC, Some(ahead), now);
        assert!(weekly.is_due(Span::ZERO, now));
        weekly.tried(Span::ZERO, now, true);
        assert!(!weekly.is_due(Span::from_min(60), now));
        assert!(!weekly.is_due(Span::from_min(60), now.minus(Span::from_s(2))), "a time server's second is no week");
    }
}
