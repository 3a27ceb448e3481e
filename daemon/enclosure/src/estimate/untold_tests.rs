use super::*;
use crate::core::tests::nest;
use crate::estimate::Hearing;
use crate::nest::estimator_of;
use crate::shelf::{Nest, Pad};
use crate::time::{Span, Timestamp};

const BEGIN: Timestamp = Timestamp::from_unix_ms(1_772_323_200_000);
const ROOM_C: f64 = 21.0;

/// The same nest twice: one is told everything, and speaks for the truth; the other hears only its probes.
struct Twins {
    told: Estimator,
    untold: Estimator,
    steps: i64,
    /// What the pad really did in each step.
    drive: Vec<f64>,
}

impl Twins {
    fn new() -> Self {
        let deaf = Nest { pads: nest().pads.into_iter().map(|p| Pad { drive: None, ..p }).collect(), ..nest() };
        let of = |n: &Nest| estimator_of(n, (BEGIN, ROOM_C));
        Self { told: of(&nest()), untold: of(&deaf), steps: 0, drive: Vec::new() }
    }

    /// One step with the pad at `drive`; every probe speaks every `every` steps, with a little noise.
    fn step(&mut self, drive: f64, every: i64) {
        self.told.advance(&[drive], ROOM_C);
        self.untold.advance(&[0.0], ROOM_C);
        self.drive.push(drive);
        self.steps += 1;
        if every > 0 && self.steps % every == 0 {
            for p in 0..self.told.lags.len() {
                let noise_k = 0.02 * ((self.steps * 7 + p as i64 * 5) % 9 - 4) as f64;
                let says = self.told.courses[0].seen.at(p, 1.0) + noise_k;
                self.untold.absorb(p, BEGIN.plus(Span::from_s(20 * self.steps)), says, Hearing::All);
            }
        }
    }

    /// Minutes under a thermostat that is `on` for so many of them and off for as many.
    fn swing(&mut self, minutes: i64, on: i64, every: i64) {
        for i in 0..3 * minutes {
            self.step(f64::from(u8::from((i / (3 * on)) % 2 == 0)), every);
        }
    }

    /// Largest difference between the two profiles, K, and the largest share of the 90 % interval.
    fn apart(&self) -> (f64, f64) {
        let ((_, a, _), (_, b, sd)) = (self.told.profile(), self.untold.profile());
        let off = || a.iter().zip(&b).map(|(a, b)| (a - b).abs());
        let share = off().zip(&sd).map(|(k, sd)| k / (1.645 * sd)).fold(0.0, f64::max);
        (off().fold(0.0, f64::max), share)
    }

    /// Root mean square by which settled pieces of the last hours miss what the pad did, as shares of full drive.
    fn missed(&self) -> f64 {
        let n = self.drive.len();
        let held: Vec<f64> = self.untold.memory.iter().map(|p| f64::from(p.drive[0])).collect();
        let open = WINDOW + PIECE;
        let from = n.saturating_sub(open + 6 * 180);
        let of = |k: usize| {
            let mean = |v: &[f64]| v[k..k + PIECE].iter().sum::<f64>() / PIECE as f64;
            mean(&self.drive) - mean(&held)
        };
        let off: Vec<f64> = (from..n - open).step_by(PIECE).map(of).collect();
        libm::sqrt(off.iter().map(|d| d * d).sum::<f64>() / off.len() as f64)
    }
}

#[test]
fn what_a_pad_did_is_found_from_the_probes_alone() {
    // Readings every so many steps, spells of so many minutes: what a piece of five minutes did is told the better the
    // longer they last, the profile at any time.
    for (every, spell, most_missed) in [(3, 10, 0.35), (3, 20, 0.25), (3, 40, 0.2), (15, 10, 0.4), (15, 20, 0.3)] {
        let mut twins = Twins::new();
        twins.swing(600, spell, every);
        let missed = twins.missed();
        assert!(missed < most_missed, "drive every {every} steps, {spell} min: {missed:.3}");
        let (off_k, share) = twins.apart();
        assert!(off_k < 0.35, "profile every {every} steps, {spell} min: {off_k:.2} K");
        assert!(share < 1.0, "the interval holds the truth: {share:.2}");
    }
}

#[test]
fn on_and_off_are_seen_within_ten_minutes() {
    let mut twins = Twins::new();
    twins.swing(240, 40, 3);
    for on in [true, false, true] {
        for _ in 0..30 {
            twins.step(f64::from(u8::from(on)), 3);
        }
        let drive = twins.untold.drive(0, 0.0);
        assert!(if on { drive > 0.65 } else { drive < 0.35 }, "{on} {drive}");
        (0..90).for_each(|_| twins.step(f64::from(u8::from(on)), 3));
    }
    assert!(!twins.told.untold.holds(0) && twins.untold.untold.holds(0));
}

#[test]
fn a_new_piece_changes_nothing_that_is_believed() {
    let mut twins = Twins::new();
    twins.swing(300, 10, 3);
    let e = &mut twins.untold;
    while e.untold.into < PIECE {
        e.advance(&[0.0], ROOM_C);
    }
    e.bound_untold();
    let first = e.layout().untold();
    // What the physics is off by acts on what drives it: to second order that may change.
    e.belief.mean[..first].fill(0.0);
    assert!((0..PIECES).any(|j| e.belief.mean[first + j].abs() > 0.02), "there is something to settle");
    let before = e.profile();
    e.turn_untold();
    assert_eq!(e.untold.into, 0);
    let after = e.profile();
    for (a, b) in before.1.iter().zip(&after.1) {
        assert!((a - b).abs() < 1e-3, "{a} {b}");
    }
}

#[test]
fn a_copy_that_looks_ahead_goes_the_same_way() {
    for minutes in [20, 300] {
        let mut twins = Twins::new();
        twins.swing(minutes, 10, 3);
        let mut copy = twins.untold.without_memory();
        for _ in 0..2 * PIECE {
            twins.untold.advance(&[0.0], ROOM_C);
            copy.advance(&[0.0], ROOM_C);
        }
        let ((_, a, sd_a), (_, b, sd_b)) = (twins.untold.profile(), copy.profile());
        assert_eq!((a, sd_a), (b, sd_b), "after {minutes} min");
    }
}

#[test]
fn a_pad_of_which_nothing_is_heard_stays_open() {
    let mut twins = Twins::new();
    twins.swing(300, 10, 3);
    let sd = |e: &Estimator| e.brood().1;
    let heard = sd(&twins.untold);
    for _ in 0..60 {
        twins.step(1.0, 0);
    }
    assert!(sd(&twins.untold) > 3.0 * heard, "{heard} {}", sd(&twins.untold));
    let (_, share) = twins.apart();
    assert!(share < 1.0, "{share}");
}

#[test]
fn drive_stays_between_off_and_full() {
    let mut twins = Twins::new();
    twins.swing(200, 60, 3);
    (0..600).for_each(|_| twins.step(0.0, 3));
    for past in &twins.untold.memory {
        assert!((-0.12..=1.12).contains(&past.drive[0]), "{}", past.drive[0]);
    }
    assert!(twins.missed() < 0.15, "{}", twins.missed());
}

#[test]
fn after_a_gap_nothing_is_known_and_it_is_found_again() {
    let mut twins = Twins::new();
    twins.swing(120, 10, 3);
    let at = twins.told.at().plus(Span::from_h(2));
    twins.untold.skip_to(at, ROOM_C);
    assert_eq!((twins.untold.untold.into, twins.untold.untold.window), (0, 0));
    assert!(twins.untold.brood().1 > 1.0);
}
