//! What a pad was told, or took, over time.
use crate::reading::Measured;
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;

/// Spans of drive kept: an hour of ten-second records.
const KEPT: usize = 400;
/// A drive that has not reported for this many of its usual intervals (and [`OVERDUE_AT_LEAST`]) is no longer waited for.
const OVERDUE_INTERVALS: i64 = 3;
/// See [`OVERDUE_INTERVALS`].
const OVERDUE_AT_LEAST: Span = Span::from_s(150);
/// What a first mean duty is taken to cover.
const FIRST_COVERS: Span = Span::from_s(60);
/// A record covers at most this much: after a longer silence nobody knows what the pad did.
const COVERS_AT_MOST: Span = Span::from_min(20);

/// What is learned of guesses forgets with each record.
const FORGETS: f64 = 0.1;
/// A guess from which nothing was learned yet may be off by this share of full drive.
const GUESS_SD: f64 = 0.3;

/// A mean this far from off, from full and from the mean before holds a switch.
const SWITCHED: f64 = 0.12;

/// The reports of one pad's drive.
#[derive(Clone, Debug, Default)]
pub struct Drive {
    spans: VecDeque<Told>,
    /// Mean time between records, ms.
    usual_ms: f64,
    last: Option<Timestamp>,
    /// A state sent at each change holds until the next one.
    state: Option<f64>,
    /// The last mean duty, as reported.
    mean_before: f64,
    /// Mean duty of late, once a record told one.
    usual: Option<f64>,
    /// How far the next record was from the drive that stood last, and from the mean of late, squared.
    off: Option<(f64, f64)>,
    /// Whether it tells what the pad takes, and not what it was told.
    is_measured: bool,
}

#[derive(Clone, Copy, Debug)]
struct Told {
    from: Timestamp,
    to: Timestamp,
    duty: f64,
}

impl Drive {
    /// Takes in a record; `rated_w` turns measured power into a share of full drive.
    pub fn report(&mut self, at: Timestamp, measured: Measured, rated_w: f64) {
        if self.last.is_some_and(|last| at <= last) {
            return;
        }
        self.is_measured = matches!(measured, Measured::Power(_));
        let duty = match measured {
            Measured::Duty(d) => d,
            Measured::Power(w) => (w / rated_w.max(0.1)).clamp(0.0, 1.5),
            Measured::On(on) => {
                if let (Some(held), Some(last)) = (self.state, self.last) {
                    self.push(Told { from: last.max(at.minus(COVERS_AT_MOST)), to: at, duty: held });
                }
                self.state = Some(if on { 1.0 } else { 0.0 });
                self.heard(at);
                return;
            }
            Measured::Temperature(_) | Measured::Humidity(_) => return,
        };
        let from = self.last.map_or(at.minus(FIRST_COVERS), |last| last.max(at.minus(COVERS_AT_MOST)));
        self.learn(duty);
        self.arrange(from, at, duty);
        self.heard(at);
    }

    /// Whether the next record is better guessed from how the last one ended, or from the mean of late: a thermostat
    /// that turns more often than its pad reports has turned again by then.
    fn learn(&mut self, duty: f64) {
        let Some(last) = self.spans.back().map(|t| t.duty) else { return };
        let usual = self.usual.unwrap_or(duty);
        let off = ((duty - last) * (duty - last), (duty - usual) * (duty - usual));
        let towards = |old: f64, new: f64| old + FORGETS * (new - old);
        self.off = Some(self.off.map_or(off, |o| (towards(o.0, off.0), towards(o.1, off.1))));
        self.usual = Some(towards(usual, duty));
    }

    /// What the pad does after the last record, and how far that may be off: a share of full drive and its standard
    /// deviation.
    fn guess(&self, last: f64) -> (f64, f64) {
        match (self.off, self.usual) {
            (Some((by_last, by_usual)), Some(usual)) if by_usual < by_last => (usual, libm::sqrt(by_usual)),
            (Some((by_last, _)), _) => (last, libm::sqrt(by_last)),
            (None, _) => (last, GUESS_SD),
        }
    }

    /// How far the drive at `at` may be off what is taken for it, a share of full drive: none up to the last record.
    pub fn guess_sd(&self, at: Timestamp) -> Option<f64> {
        let last = self.spans.back()?;
        (self.state.is_none() && at > last.to).then(|| self.guess(last.duty).1)
    }

    /// A mean between off and full, unlike the one before, is a switch within its span: it continues where the span
    /// before it ended. Spread evenly it would be half a span out of time.
    fn arrange(&mut self, from: Timestamp, to: Timestamp, duty: f64) {
        let before = self.spans.back().map(|t| t.duty);
        let mean_before = core::mem::replace(&mut self.mean_before, duty);
        let switched = duty > SWITCHED && duty < 1.0 - SWITCHED && (duty - mean_before).abs() > SWITCHED;
        let Some(before) = before.filter(|b| switched && (*b < SWITCHED || *b > 1.0 - SWITCHED)) else {
            self.push(Told { from, to, duty });
            return;
        };
        let was_on = before > 0.5;
        let first = if was_on { duty } else { 1.0 - duty };
        let edge = from.plus(Span::from_ms((to.since(from).ms() as f64 * first) as i64));
        let (head, tail) = if was_on { (1.0, 0.0) } else { (0.0, 1.0) };
        self.push(Told { from, to: edge, duty: head });
        self.push(Told { from: edge, to, duty: tail });
    }

    fn push(&mut self, told: Told) {
        if self.spans.len() == KEPT {
            self.spans.pop_front();
        }
        self.spans.push_back(told);
    }

    fn heard(&mut self, at: Timestamp) {
        if let Some(last) = self.last {
            let gap = at.since(last).ms().min(COVERS_AT_MOST.ms()) as f64;
            self.usual_ms = if self.usual_ms > 0.0 { 0.9 * self.usual_ms + 0.1 * gap } else { gap };
        }
        self.last = Some(at);
    }

    /// Up to when the drive is known, if it still reports at `now`.
    pub fn known_until(&self, now: Timestamp) -> Option<Timestamp> {
        let last = self.last?;
        let patience = Span::from_ms(self.usual_ms as i64 * OVERDUE_INTERVALS).max(OVERDUE_AT_LEAST);
        if now.since(last) > patience {
            return None;
        }
        // A state holds until the next change, which would have been sent.
        Some(if self.state.is_some() { now.max(last) } else { last })
    }

    /// Whether it tells what the pad takes: then a pad that is dead is told off.
    pub fn is_measured(&self) -> bool {
        self.is_measured
    }

    /// The last value.
    pub fn last_duty(&self) -> Option<f64> {
        self.state.or_else(|| self.spans.back().map(|t| t.duty))
    }

    /// Mean drive over a stretch of time; what no record covers is guessed from those before.
    pub fn mean(&self, from: Timestamp, to: Timestamp) -> f64 {
        let wanted = to.since(from).ms().max(1) as f64;
        let (mut covered, mut sum) = (0.0, 0.0);
        for t in self.spans.iter().rev() {
            if t.to <= from {
                break;
            }
            let overlap = t.to.min(to).since(t.from.max(from)).ms();
            if overlap > 0 {
                covered += overlap as f64;
                sum += overlap as f64 * t.duty;
            }
        }
        let rest = (wanted - covered).max(0.0);
        let held = if rest > 0.0 { self.held_before(to) } else { 0.0 };
        ((sum + rest * held) / wanted.max(covered)).clamp(0.0, 1.5)
    }

    fn held_before(&self, to: Timestamp) -> f64 {
        match (self.state, self.last) {
            (Some(state), Some(last)) if last <= to => state,
            _ => match self.spans.iter().rev().find(|t| t.from < to).or(self.spans.front()) {
                Some(told) if told.to < to && self.last == Some(told.to) => self.guess(told.duty).0,
                told => told.map_or(0.0, |t| t.duty),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: i64) -> Timestamp {
        Timestamp::from_unix_ms(1_000_000_000_000 + s * 1000)
    }

    #[test]
    fn a_duty_is_the_mean_since_the_record_before() {
        let mut d = Drive::default();
        d.report(at(60), Measured::Duty(0.2), 7.0);
        d.report(at(120), Measured::Duty(1.0), 7.0);
        assert!((d.mean(at(60), at(120)) - 1.0).abs() < 1e-12);
        assert!((d.mean(at(30), at(90)) - 0.6).abs() < 1e-12);
        assert_eq!(d.known_until(at(130)), Some(at(120)));
        assert_eq!(d.known_until(at(1000)), None, "a drive that fell silent is not waited for");
    }

    #[test]
    fn a_thermostats_switch_lies_where_the_span_before_ended() {
        let mut d = Drive::default();
        for (s, duty) in [(60, 0.0), (120, 0.25), (180, 1.0), (240, 0.5), (300, 0.0)] {
            d.report(at(s), Measured::Duty(duty), 7.0);
        }
        assert!(d.mean(at(60), at(105)).abs() < 1e-9, "off for the first three quarters");
        assert!((d.mean(at(105), at(210)) - 1.0).abs() < 1e-9);
        assert!(d.mean(at(210), at(300)).abs() < 1e-9);
        let mut dimmed = Drive::default();
        for (s, duty) in [(60, 0.45), (120, 0.45), (180, 0.47)] {
            dimmed.report(at(s), Measured::Duty(duty), 7.0);
        }
        assert!((dimmed.mean(at(120), at(150)) - 0.47).abs() < 1e-9, "a dimmer has no switch");
    }

    #[test]
    fn a_state_holds_until_the_next() {
        let mut d = Drive::default();
        d.report(at(0), Measured::On(true), 7.0);
        d.report(at(90), Measured::On(false), 7.0);
        assert!((d.mean(at(0), at(90)) - 1.0).abs() < 1e-12);
        assert!(d.mean(at(90), at(150)).abs() < 1e-12);
        assert!((d.mean(at(60), at(120)) - 0.5).abs() < 1e-12);
    }

    /// Reports each five minutes of a pad that follows `is_on` second by second.
    fn told_every_five_minutes(hours: i64, is_on: impl Fn(i64) -> bool) -> Drive {
        let mut d = Drive::default();
        for end in (300..=hours * 3600).step_by(300) {
            let on = (end - 300..end).filter(|s| is_on(*s)).count();
            d.report(at(end), Measured::Duty(on as f64 / 300.0), 7.0);
        }
        d
    }

    #[test]
    fn a_thermostat_that_turns_more_often_than_it_reports_is_guessed_by_its_mean() {
        // On for 4 of every 14 minutes, so that hardly a spell outlasts a record.
        let d = told_every_five_minutes(12, |s| s % 840 < 240);
        let (end, next) = (at(12 * 3600), at(12 * 3600 + 120));
        assert_eq!(d.guess_sd(end), None, "up to the last record it is told");
        let guess = d.mean(end, next);
        let mean = 240.0 / 840.0;
        assert!((guess - mean).abs() < 0.15, "{guess}");
        // Records of 0 to 0.8 about that mean: what they stray is how far it may be off.
        let sd = d.guess_sd(next).expect("a guess");
        assert!((0.2..0.45).contains(&sd), "{sd}");
    }

    #[test]
    fn long_spells_are_guessed_to_go_on() {
        let d = told_every_five_minutes(12, |s| s % 14_400 < 7_200);
        let (end, next) = (at(12 * 3600), at(12 * 3600 + 120));
        assert!(d.mean(end, next) < 1e-9, "off for the last two hours");
        assert!(d.guess_sd(next).is_some_and(|sd| sd < 0.3));
        let dimmed = told_every_five_minutes(12, |s| s % 10 < 4);
        assert!((dimmed.mean(end, next) - 0.4).abs() < 1e-9);
        assert!(dimmed.guess_sd(next).is_some_and(|sd| sd < 0.01), "a dimmer is hardly a guess");
    }

    #[test]
    fn measured_power_is_a_share_of_the_rated() {
        let mut d = Drive::default();
        d.report(at(60), Measured::Power(3.5), 7.0);
        assert!((d.mean(at(0), at(60)) - 0.5).abs() < 1e-12);
    }
}
