//! What the pads of a nest are held to do: by the heat itself, and by their habits.
use super::{DISPUTED_NATS, Ear, Watch};
use crate::estimate::{Estimator, STEP};
use crate::habits::{Beyond, Margin};
use crate::rival::Mode;
use crate::time::{Span, Timestamp};

/// Evidence at which a pad that reports is held for stuck, nats: a danger, told sooner than a loss.
const STUCK_NATS: f64 = 8.0;
/// And for dead.
const DEAD_NATS: f64 = 10.0;
/// Before the first fit, and so long at the most, nothing is concluded about the pad.
const GUESSES_FOR: Span = Span::from_h(12);
/// An estimate that has just begun knows neither how warm a place is nor what its pad does: for so long it shows no habit.
const SETTLES: Span = Span::from_h(2);
/// After that, this evidence where no fit would settle, nats.
const GUESSED_NATS: f64 = 33.0;
/// So many times that evidence while the nest stands open, or the room moves.
const OPEN_TIMES: f64 = 2.5;
/// A fault is first held for one while the pad is told something else by this much of its drive.
const DIFFERS: f64 = 0.1;
/// And how far something from above (a lid, the sun) may explain it better, nats: its strength and its beginning are
/// fitted, and two fitted numbers explain something of everything. A danger waits for less.
const SUDDEN_STUCK_NATS: f64 = 2.0;
/// See [`SUDDEN_STUCK_NATS`].
const SUDDEN_DEAD_NATS: f64 = 3.0;
/// Where it explains what was seen so much better, the rival has no case left and begins anew, nats: the sun may stay
/// for hours, longer than its beginning is remembered.
const FOREGONE_NATS: f64 = 12.0;
/// For so long after a lid or the sun was seen, its end is looked for.
const ABOVE_FOR: Span = Span::from_min(60);
/// Where a probe that hardly feels the pads has become so much warmer of late, K, the sun is on the nest.
const SUNNY_K: f64 = 0.8;
/// If it has by this share of what the others have.
const SUNNY_SHARE: f64 = 0.35;
/// A probe hardly feels the pads where they warm it by less than this share of what they bring to another.
const FAR_SHARE: f64 = 0.15;
/// Evidence at which it is believed again, nats.
const RETURN_NATS: f64 = 5.0;
/// Past its habits by this much a pad is held for faulty, K.
const HABIT_MARGIN_K: f64 = 0.5;
/// And, where it is past them at all but not far, by so many deviations of what is known of its warmth: of a pad that
/// reports, and of one that does not.
const HABIT_MARGIN_SIGMA: (f64, f64) = (1.0, 3.0);

/// What the pad is held to do against what it should.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Heating {
    /// Nothing odd.
    Plausible,
    /// Heat that was not told, since then, with that evidence in nats.
    Untold(Timestamp, f64),
    /// No heat though told, since then, with that evidence.
    Missing(Timestamp, f64),
    /// Told or untold, on past every habit.
    NeverLetsGo(Beyond),
    /// Off past every habit.
    NeverComesOn(Beyond),
}

impl Heating {
    /// What a pad does that is held to do as `mode` says since then, with that evidence in nats.
    pub(super) fn of(mode: Mode, since: Timestamp, evidence: f64) -> Self {
        match mode {
            Mode::Follow => Self::Plausible,
            Mode::On => Self::Untold(since, evidence),
            Mode::Off => Self::Missing(since, evidence),
        }
    }
}

impl Watch {
    pub(super) fn watch_pads(&mut self, est: &mut Estimator, at: Timestamp, told: f64) {
        let reports = self.drives.first().is_some_and(|(source, _)| source.is_some());
        // A nest that stands open cools as if its pad were dead, and warms on closing as if it were stuck.
        let open = self.draught.is_open(at);
        // A window draws on the nest in ways that no room probe tells.
        let times = if open || self.room.is_moving(at) { OPEN_TIMES } else { 1.0 };
        if open && reports {
            est.excuse(|r| r.mode == Mode::Off);
        }
        if !est.is_fitted() && est.age() < GUESSES_FOR {
            // What guessed physics seems to prove is no evidence for later.
            est.excuse(|r| r.evidence > GUESSED_NATS);
        }
        self.note_from_above(est);
        let settled = (0..est.rivals().len())
            .find(|i| !self.is_found(est.rivals()[*i].pad, at) && self.is_settled(est, *i, times));
        if let Some((i, r)) = settled.and_then(|i| est.rivals().get(i).map(|r| (i, r))) {
            let since = at.minus(Span::from_ms(STEP.ms() * r.steps.saturating_sub(r.late_steps()) as i64));
            let (pad, mode, evidence) = (r.pad, r.mode, r.evidence);
            est.accept(i);
            self.by_heat = Heating::of(mode, since, evidence);
            self.note_accepted(pad, mode, (since, at), evidence);
        }
        let drive = if reports { told } else { est.drive(0, told) };
        // Habits take minutes, and what a pad did while nobody looked is none.
        if !is_minute(at) || est.age() < SETTLES || self.blind_until.is_some_and(|b| at < b) {
            return;
        }
        // What the nest shows beyond all belief belongs to what it is.
        let astray_k =
            self.ears.iter().map(|e| e.astray_k).fold(0.0, |a: f64, b| if b.abs() > a.abs() { b } else { a });
        if self.is_sunny(est) {
            self.habits.interrupt();
            return;
        }
        let over_pad_c = est.over_pad_c() + astray_k;
        self.habits.note(at, drive, (over_pad_c, est.room_c()), self.heating() == Heating::Plausible);
        // While it is in dispute what the pad does, what is believed above it proves nothing.
        if !reports || est.rivals().iter().all(|r| r.evidence < DISPUTED_NATS) {
            self.watch_habits(est, at, over_pad_c);
        }
    }

    /// Remembers a lid or the sun from the first signs on.
    fn note_from_above(&mut self, est: &mut Estimator) {
        let at = est.at();
        for i in 0..est.rivals().len() {
            let r = &est.rivals()[i];
            let mode = r.mode;
            let asked = mode != Mode::Follow && r.evidence > DISPUTED_NATS && is_minute(at);
            if !asked || self.ends_above(mode, at) {
                continue;
            }
            let over_nats = est.over_sudden(i);
            if over_nats < 0.0 {
                self.above = Some((mode, at));
            }
            if over_nats < -FOREGONE_NATS {
                est.forget(i);
            }
        }
    }

    /// Whether a rival of this mode may be the end of what was seen from above: that goes as it came.
    fn ends_above(&self, mode: Mode, at: Timestamp) -> bool {
        self.above.is_some_and(|(was, since)| was != mode && at.since(since) < ABOVE_FOR)
    }

    /// Whether rival `i` has made its point; `times` the usual evidence is asked for while a nest is disturbed.
    fn is_settled(&mut self, est: &mut Estimator, i: usize, times: f64) -> bool {
        let Some(r) = est.rivals().get(i) else { return false };
        let needed = match r.mode {
            Mode::Follow if !est.is_held_on(r.pad) => RETURN_NATS,
            // A danger is taken back by as much as it was raised by.
            Mode::Follow => times * STUCK_NATS + r.usual_peak,
            Mode::Off if est.is_fitted() => times * DEAD_NATS + r.usual_peak + self.draught.nats(est.at()),
            Mode::On if est.is_fitted() => times * STUCK_NATS + r.usual_peak,
            // Until a fit has seen the nest its physics is a guess by the label; the raw guard needs no guess.
            Mode::On | Mode::Off if est.age() < GUESSES_FOR => f64::INFINITY,
            Mode::On | Mode::Off => GUESSED_NATS + r.usual_peak,
        };
        if r.evidence <= needed || !r.keeps_growing() {
            return false;
        }
        let sudden_nats = match r.mode {
            Mode::Follow if !est.is_held_on(r.pad) => return true,
            Mode::Follow | Mode::On => SUDDEN_STUCK_NATS,
            Mode::Off => SUDDEN_DEAD_NATS,
        };
        // Where it was told the same all the while, nothing tells the two apart.
        let told = est.told_lately(r.pad);
        if r.mode != Mode::Follow && (r.mode.drive(told) - told).abs() < DIFFERS {
            return false;
        }
        let mode = r.mode;
        let least = if self.ends_above(mode, est.at()) { sudden_nats } else { -sudden_nats };
        let is_own = est.over_sudden(i) > least;
        if !is_own {
            est.explain(i);
        }
        is_own
    }

    /// Whether the nest has become warmer where no pad reaches, and more than the room: then the sun is on it.
    fn is_sunny(&self, est: &Estimator) -> bool {
        let brought_k = |p: usize| est.excess_at_probe(p);
        let most_k = (0..self.ears.len()).map(brought_k).fold(0.0, f64::max);
        let risen_k = |e: &Ear| e.risen_k() - self.room.risen_k();
        let most_risen_k = self.ears.iter().map(risen_k).fold(0.0, f64::max);
        self.ears.iter().enumerate().any(|(p, e)| {
            let far = brought_k(p) < FAR_SHARE * most_k && e.trust.fault().is_none();
            far && risen_k(e) > (SUNNY_SHARE * most_risen_k).max(SUNNY_K)
        })
    }

    fn watch_habits(&mut self, est: &Estimator, at: Timestamp, over_pad_c: f64) {
        let is_told = self.drives_known();
        let sigma = if is_told { HABIT_MARGIN_SIGMA.0 } else { HABIT_MARGIN_SIGMA.1 };
        let off_k = || sigma * est.over_pad_sd_k();
        let margin: Margin<'_> = (HABIT_MARGIN_K, &off_k);
        let on = self.habits.stays_on(at, over_pad_c, margin, is_told);
        let off = self.habits.stays_off(at, over_pad_c, margin, is_told);
        // A thermostat that tells it is off wants no heat; and whoever tells a pad to heat at another hour may do so.
        let is_untold = self.drives.first().is_none_or(|(source, d)| source.is_none() || d.is_measured());
        let on = on.filter(|b| is_untold || b.extreme_c.is_some());
        let off = off.filter(|_| is_untold);
        self.by_habit = (on, off);
    }
}

/// What takes minutes is looked at once a minute: every third step.
fn is_minute(at: Timestamp) -> bool {
    at.unix_ms().rem_euclid(60_000) == 0
}
