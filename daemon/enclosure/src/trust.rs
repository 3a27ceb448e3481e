//! Whether a probe can be believed: frozen, fallen off, or beside itself, as told by its own run of readings and by
//! what the estimate expects of its place.
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;

/// Wild readings remembered.
const WILD_KEPT: usize = 64;
/// So many wild readings within an hour, mixed with good ones, make a probe implausible.
const JUMPS_AN_HOUR: usize = 6;
/// And by at least so much, K: at a switch that nobody told a good probe is out of line for a reading or two.
const JUMP_K: f64 = 1.0;
/// Odds against chance at which a run of equal readings is held for frozen, nats.
const FROZEN_NATS: f64 = 25.0;
/// A run of equal readings is never frozen sooner than this.
const FROZEN_AT_LEAST: Span = Span::from_min(20);
/// Readings in a row beyond the gate, and for how long, before the probe or the model must be wrong.
const APART_READINGS: u32 = 5;
/// See [`APART_READINGS`].
const APART_FOR: Span = Span::from_min(10);
/// A probe that goes its own way, but not to the room's warmth, may be telling of the sun: that passes.
const ASTRAY_FOR: Span = Span::from_min(45);
/// So many times at the most it counts that a probe held for frozen moved again.
const THAWED_MOST: u32 = 5;
/// Two values of one probe nearer than this are the same, K.
pub(crate) const SAME_K: f64 = 1e-9;
/// A place that has moved by so many steps of its probe's resolution must show.
const STEPS: f64 = 1.5;
/// A probe whose value has changed so often is not frozen.
const MOVES: u32 = 5;
/// A distrusted probe is believed again after agreeing for this long.
const REGAIN: Span = Span::from_min(30);

/// Why a probe is held for faulty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// It repeats one value while its place must change.
    Frozen,
    /// It shows the room where the nest is warm.
    FallenOff,
    /// It jumps.
    Jumping,
    /// It goes its own way.
    Astray,
}

/// One probe's record.
#[derive(Clone, Debug, Default)]
pub struct Trust {
    last_value: Option<f64>,
    /// Readings in the present run of equal values, and when it began.
    run: u32,
    run_began: Option<Timestamp>,
    /// How often this probe repeats itself when well.
    repeats: f64,
    heard: u32,
    /// Lowest and highest expectation during the run, °C.
    expected: Option<(f64, f64)>,
    wild: VecDeque<Timestamp>,
    apart: u32,
    /// The last reading beyond the gate, °C.
    apart_c: f64,
    apart_began: Option<Timestamp>,
    near_room: u32,
    fault: Option<(Fault, Timestamp)>,
    agrees_since: Option<Timestamp>,
    /// How often it was held for frozen and moved again: it needs the more to be held for it once more.
    thawed: u32,
    /// How often its value has changed since it was held for faulty.
    moves: u32,
}

/// What one reading says of its probe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Glance {
    /// When.
    pub at: Timestamp,
    /// What it said, °C.
    pub value_c: f64,
    /// What was expected, °C.
    pub expected_c: f64,
    /// Standard deviation of that, K.
    pub sd_k: f64,
    /// Whether it lay within the gate.
    pub within: bool,
    /// The room, °C.
    pub room_c: f64,
    /// The probe's own resolution, K.
    pub step_k: f64,
}

/// What is to be done with readings that stay apart from the model.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Apart {
    /// Nothing special.
    No,
    /// They have been apart long enough that probe or model is wrong: ask the others.
    Long,
}

impl Trust {
    /// Takes in a reading; says whether its probe has been apart from the model for long.
    pub fn glance(&mut self, g: Glance) -> Apart {
        self.note_run(&g);
        if g.within {
            // Only a reading or two out of line is a jump; a longer run is another matter.
            if (1..=2).contains(&self.apart) && (self.apart_c - g.value_c).abs() > JUMP_K {
                if self.wild.len() == WILD_KEPT {
                    self.wild.pop_front();
                }
                self.wild.push_back(g.at);
            }
            self.apart = 0;
            self.apart_began = None;
            self.near_room = 0;
        } else {
            self.apart += 1;
            self.apart_c = g.value_c;
            self.apart_began.get_or_insert(g.at);
            if (g.value_c - g.room_c).abs() < 1.0 {
                self.near_room += 1;
            }
        }
        self.regain(&g);
        let patience = if self.apart_fault() == Fault::FallenOff { APART_FOR } else { ASTRAY_FOR };
        let long = self.apart >= APART_READINGS && self.apart_began.is_some_and(|b| g.at.since(b) >= patience);
        if long { Apart::Long } else { Apart::No }
    }

    fn note_run(&mut self, g: &Glance) {
        let same = self.last_value.replace(g.value_c).is_some_and(|v| (v - g.value_c).abs() < SAME_K);
        self.heard = self.heard.saturating_add(1);
        if same {
            self.run += 1;
            let (low, high) = self.expected.unwrap_or((g.expected_c, g.expected_c));
            self.expected = Some((low.min(g.expected_c), high.max(g.expected_c)));
        } else {
            // Only runs that ended are evidence of how this probe behaves when well.
            let share = f64::from(self.run) / f64::from(self.run + 1);
            let rate = 1.0 / f64::from(self.heard.clamp(10, 500));
            self.repeats += (share - self.repeats) * rate;
            self.run = 0;
            self.moves = self.moves.saturating_add(1);
            self.run_began = Some(g.at);
            self.expected = None;
        }
        let began = *self.run_began.get_or_insert(g.at);
        let chance = self.repeats.clamp(0.02, 0.98);
        let nats = -f64::from(self.run) * libm::log(chance);
        let (low, high) = self.expected.unwrap_or((0.0, 0.0));
        // Within one of its own steps a place may move unseen.
        let must_move = high - low > (4.0 * g.sd_k).max(0.3).max(STEPS * g.step_k);
        let times = 1 + self.thawed;
        let long = g.at.since(began).ms() >= FROZEN_AT_LEAST.ms() * i64::from(times);
        if self.heard > 60 && nats > FROZEN_NATS * f64::from(times) && must_move && long {
            self.accuse(Fault::Frozen, g.at);
        }
        let recent = self.wild.iter().filter(|t| g.at.since(**t) < Span::from_h(1)).count();
        if recent >= JUMPS_AN_HOUR {
            self.accuse(Fault::Jumping, g.at);
        }
    }

    fn regain(&mut self, g: &Glance) {
        // What is frozen does not move; that it still disagrees may be the model's doing.
        if let Some((Fault::Frozen, since)) = self.fault
            && self.moves >= MOVES
            && g.at.since(since) >= REGAIN
        {
            self.fault = None;
            self.thawed = (self.thawed + 1).min(THAWED_MOST);
            self.forgive();
        }
        let frozen = matches!(self.fault, Some((Fault::Frozen, _))) && self.run > 0;
        let agrees = g.within && !frozen;
        if !agrees {
            self.agrees_since = None;
            return;
        }
        let since = *self.agrees_since.get_or_insert(g.at);
        if self.fault.is_some() && g.at.since(since) >= REGAIN {
            self.fault = None;
        }
    }

    /// Holds the probe for faulty.
    pub fn accuse(&mut self, fault: Fault, at: Timestamp) {
        if self.fault.is_none() {
            self.fault = Some((fault, at));
            self.agrees_since = None;
            self.moves = 0;
        }
    }

    /// The fault that fits readings that stay apart.
    pub fn apart_fault(&self) -> Fault {
        if self.near_room * 2 > self.apart { Fault::FallenOff } else { Fault::Astray }
    }

    /// Forgets that it has been apart: the model was widened to it.
    pub fn forgive(&mut self) {
        self.apart = 0;
        self.apart_began = None;
        self.near_room = 0;
    }

    /// Since when it has been beyond the gate.
    pub fn apart_since(&self) -> Option<Timestamp> {
        self.apart_began
    }

    /// Whether what it says tells nothing at all about its place.
    pub fn is_deaf(&self) -> bool {
        matches!(self.fault, Some((Fault::Frozen | Fault::FallenOff, _)))
    }

    /// Why it is held for faulty, since when.
    pub fn fault(&self) -> Option<(Fault, Timestamp)> {
        self.fault
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec::Vec;

    fn glance(minute: i64, value_c: f64, expected_c: f64) -> Glance {
        let at = Timestamp::from_unix_ms(1_772_323_200_000).plus(Span::from_min(minute));
        Glance {
            at,
            value_c,
            expected_c,
            sd_k: 0.1,
            within: (value_c - expected_c).abs() < 0.5,
            room_c: 20.0,
            step_k: 0.0,
        }
    }

    /// A probe that was well, then repeats itself while its place must move.
    fn frozen() -> Trust {
        let mut trust = Trust::default();
        for minute in 0..120 {
            let c = 25.0 + 0.01 * (minute % 7) as f64;
            trust.glance(glance(minute, c, c));
        }
        for minute in 120..180 {
            trust.glance(glance(minute, 25.0, 25.0 + 0.05 * (minute - 120) as f64));
        }
        assert_eq!(trust.fault().map(|f| f.0), Some(Fault::Frozen));
        trust
    }

    #[test]
    fn a_frozen_probe_that_moves_again_is_heard_again_though_it_disagrees() {
        let mut trust = frozen();
        let back = (180..300).find(|minute| {
            trust.glance(glance(*minute, 25.0 + 0.01 * (minute % 7) as f64, 28.0));
            trust.fault().is_none()
        });
        assert!(back.is_some_and(|minute| minute < 240), "{back:?}");
    }

    #[test]
    fn a_coarse_probe_may_stay_where_it_is_while_its_place_moves_by_less_than_a_step() {
        let mut trust = Trust::default();
        for minute in 0..600 {
            // Steps of half a kelvin: for an hour on one side, for an hour on the other; then a rise of 0.6 K unseen.
            let c = if minute < 240 { 25.0 + 0.5 * f64::from(u8::from(minute / 60 % 2 == 1)) } else { 25.0 };
            let place_c = if minute < 240 { c } else { 24.75 + 0.01 * (minute - 240).min(60) as f64 };
            trust.glance(Glance { step_k: 0.5, ..glance(minute, c, place_c) });
        }
        assert_eq!(trust.fault(), None);
    }

    #[test]
    fn one_that_stays_frozen_stays_out() {
        let mut trust = frozen();
        for minute in 180..1600 {
            trust.glance(glance(minute, 25.0, 28.0));
        }
        assert_eq!(trust.fault().map(|f| f.0), Some(Fault::Frozen));
    }

    /// A probe that is well but for readings that are `off_k` out of line, `long` in a row, every `every` minutes.
    fn jumpy(off_k: f64, long: i64, every: i64) -> Trust {
        let mut trust = Trust::default();
        for minute in 0..180 {
            let good_c = 25.0 + 0.01 * (minute % 7) as f64;
            let jumps = minute >= 120 && (minute - 120) % every < long;
            trust.glance(glance(minute, if jumps { good_c + off_k } else { good_c }, good_c));
        }
        trust
    }

    #[test]
    fn six_jumps_an_hour_make_a_probe_jumpy_and_neither_fewer_smaller_nor_longer_ones() {
        let fault = |off_k, long, every| jumpy(off_k, long, every).fault().map(|(fault, _)| fault);
        assert_eq!((fault(3.0, 1, 9), fault(-3.0, 2, 9)), (Some(Fault::Jumping), Some(Fault::Jumping)));
        assert_eq!((fault(3.0, 1, 12), fault(0.9, 1, 9), fault(3.0, 3, 9)), (None, None, None));
    }

    #[test]
    fn a_probe_that_agrees_for_half_an_hour_on_end_is_believed_again() {
        let mut trust = jumpy(3.0, 1, 9);
        assert_eq!(trust.fault().map(|(fault, _)| fault), Some(Fault::Jumping));
        // It was accused first for that: another fault is no newer reason.
        trust.accuse(Fault::Astray, glance(180, 25.0, 25.0).at);
        assert_eq!(trust.fault().map(|(fault, _)| fault), Some(Fault::Jumping));
        // One reading out of line begins the half hour anew.
        for minute in 180..190 {
            trust.glance(glance(minute, 25.0 + 0.01 * (minute % 7) as f64, 25.0));
        }
        trust.glance(glance(190, 28.0, 25.0));
        let back = (191..400).find(|minute| {
            trust.glance(glance(*minute, 25.0 + 0.01 * (minute % 7) as f64, 25.0));
            trust.fault().is_none()
        });
        assert_eq!(back, Some(221));
    }

    /// It lies beside the nest: five readings and ten minutes tell. What goes its own way may be in the sun for longer.
    #[test]
    fn what_shows_the_room_has_fallen_off_and_what_shows_neither_is_astray() {
        // At a minute's pace and at one of three: both must have passed.
        for (shows_c, every, fault, after) in [
            (20.3, 1, Fault::FallenOff, 10),
            (19.7, 1, Fault::FallenOff, 10),
            (20.3, 3, Fault::FallenOff, 12),
            (22.0, 1, Fault::Astray, 45),
            (18.0, 1, Fault::Astray, 45),
            (22.0, 15, Fault::Astray, 60),
        ] {
            let mut trust = Trust::default();
            // What was out of line before does not count.
            for minute in -60..0 {
                let c = if minute < -50 { shows_c } else { 25.0 + 0.01 * (minute % 7) as f64 };
                trust.glance(glance(minute, c, 25.0));
            }
            assert_eq!(trust.apart_since(), None);
            let mut shown = (0..200).step_by(every);
            let long = shown.find(|minute| trust.glance(glance(*minute, shows_c, 25.0)) == Apart::Long);
            assert_eq!((long, trust.apart_fault()), (Some(after), fault), "{shows_c} °C every {every} min");
            assert_eq!(trust.apart_since(), Some(glance(0, 0.0, 0.0).at));
            trust.forgive();
            assert_eq!(trust.glance(glance(201, shows_c, 25.0)), Apart::No);
        }
    }

    /// The second time it must repeat itself for longer, and so each time up to the sixth.
    #[test]
    fn a_probe_that_was_held_for_frozen_and_moved_needs_more_to_be_held_for_it_again() {
        let mut trust = frozen();
        let mut minute = 180;
        let mut took: Vec<i64> = Vec::new();
        for _ in 0..7 {
            while trust.fault().is_some() {
                trust.glance(glance(minute, 25.0 + 0.01 * (minute % 7) as f64, 25.0));
                minute += 1;
            }
            let froze = minute;
            while trust.fault().is_none() && minute < froze + 600 {
                trust.glance(glance(minute, 25.0, 25.0 + 0.05 * (minute - froze) as f64));
                minute += 1;
            }
            took.push(minute - froze);
        }
        assert!(took.windows(2).take(4).all(|pair| pair[1] >= pair[0] + 15), "{took:?}");
        assert!(took[5].abs_diff(took[6]) <= 5, "{took:?}");
    }

    /// Neither a place that warms or cools, nor one that stands still after it has, is held against its probe.
    #[test]
    fn a_probe_that_moves_or_rests_with_its_place_is_not_frozen() {
        for slope_k in [0.05, -0.05] {
            let mut trust = Trust::default();
            for minute in 0..600 {
                let wobble_k = 0.01 * (minute % 7) as f64;
                let moved_k = slope_k * (minute - 120).clamp(0, 120) as f64;
                let c = 25.0 + moved_k + if minute < 120 { wobble_k } else { 0.0 };
                trust.glance(glance(minute, c, c));
                assert_eq!(trust.fault(), None, "minute {minute}, {slope_k} K/min");
            }
        }
    }
}
