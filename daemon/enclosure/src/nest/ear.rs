//! One probe's part of the watch over a nest: its last words, its rhythm, and the raw guard that needs no model.
use crate::reading::{Rejection, SourceId};
use crate::room::{CALM_S, follow};
use crate::shelf::{Nest, Probe};
use crate::time::{Span, Timestamp};
use crate::trust::Trust;

/// Readings of the raw guard, and how far they must be apart.
const GUARD_READINGS: u32 = 3;
/// See [`GUARD_READINGS`].
const GUARD_APART: Span = Span::from_s(20);
/// Without a band only this guards the hottest point, °C.
pub(crate) const GUARD_C: f64 = 40.0;
/// A probe this near the brood area speaks for it, mm.
const BESIDE_MM: f64 = 15.0;

/// One probe's part of the watch.
#[derive(Clone, Debug)]
pub struct Ear {
    /// Its source.
    pub source: SourceId,
    /// Its place, mm.
    pub at_mm: f64,
    /// Whether it lies in or beside the brood area.
    pub by_brood: bool,
    /// Last temperature and when.
    pub temperature: Option<(f64, Timestamp)>,
    /// Where it has been of late, °C.
    calm_c: Option<f64>,
    /// Last humidity and when.
    pub humidity: Option<(f64, Timestamp)>,
    /// Usual time between readings, ms; 0 before two were heard.
    pub usual_ms: f64,
    /// Its record.
    pub trust: Trust,
    /// Why the last reading was not believed.
    pub rejected: Option<Rejection>,
    /// When it last surprised the estimate and every rival, and by how much, K, if its last reading did.
    pub(super) wild: Option<(Timestamp, f64)>,
    /// By how much its last reading lay outside the gate, K; 0 within.
    pub(super) astray_k: f64,
    pub(super) limit_run: Run,
    pub(super) hot_run: Run,
}

/// Readings in a row above a threshold.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Run {
    count: u32,
    began: Option<Timestamp>,
    /// Readings in a row well below.
    below: u32,
    pub(super) tripped: bool,
}

impl Run {
    /// Three readings in a row above `limit`, 20 s or more from first to last, trip it; three below `clear` reset it.
    pub(super) fn hear(&mut self, at: Timestamp, value: f64, limit: f64, clear: f64) {
        if value > limit {
            let began = *self.began.get_or_insert(at);
            self.count += 1;
            self.below = 0;
            self.tripped |= self.count >= GUARD_READINGS && at.since(began) >= GUARD_APART;
            return;
        }
        self.count = 0;
        self.began = None;
        if value < clear {
            self.below += 1;
            self.tripped &= self.below < GUARD_READINGS;
        }
    }
}

impl Ear {
    /// By how much it is warmer than it has been of late, K.
    pub(super) fn risen_k(&self) -> f64 {
        self.temperature.zip(self.calm_c).map_or(0.0, |((now_c, _), calm_c)| now_c - calm_c)
    }

    /// Its place said `value_c` after `gap_s`.
    pub(super) fn calm(&mut self, value_c: f64, gap_s: f64) {
        self.calm_c = Some(follow(self.calm_c, value_c, gap_s, CALM_S));
    }

    /// A probe that has not been heard.
    pub(super) fn new(source: SourceId, probe: &Probe, nest: &Nest) -> Self {
        Self {
            source,
            at_mm: probe.at_mm,
            by_brood: nest.brood.is_some_and(|b| b.holds(probe.at_mm, BESIDE_MM)),
            temperature: None,
            calm_c: None,
            humidity: None,
            usual_ms: 0.0,
            trust: Trust::default(),
            rejected: None,
            wild: None,
            astray_k: 0.0,
            limit_run: Run::default(),
            hot_run: Run::default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    const LIMIT_C: f64 = 35.0;
    const CLEAR_C: f64 = 34.5;

    /// What the contract says of the raw guard, for a whole story: three readings in a row above the limit, 20 s or more
    /// from first to last, trip it; three below its deadband, with none above the limit between them, let it go.
    fn should_hold(said: &[(i64, f64)]) -> bool {
        let hot = |(_, c): &(i64, f64)| *c > LIMIT_C;
        let trips = |last: &usize| {
            (0..*last).any(|first| {
                let row = &said[first..=*last];
                row.len() >= 3 && row.iter().all(hot) && row[row.len() - 1].0 - row[0].0 >= 20
            })
        };
        let Some(tripped) = (0..said.len()).rev().find(trips) else { return false };
        !said[tripped + 1..].split(hot).any(|row| row.iter().filter(|(_, c)| *c < CLEAR_C).count() >= 3)
    }

    /// In or beside the brood area, as the contract has it; where nobody said where it is, none does.
    #[test]
    fn a_probe_beside_the_brood_area_speaks_for_it() {
        let mut nest = crate::core::tests::nest();
        let by_brood =
            |nest: &Nest, at_mm| Ear::new(SourceId(0), &Probe { at_mm, ..nest.probes[0].clone() }, nest).by_brood;
        // The brood area is from 50 to 90 mm.
        for (at_mm, speaks) in [(34.0, false), (35.0, true), (70.0, true), (105.0, true), (106.0, false)] {
            assert_eq!(by_brood(&nest, at_mm), speaks, "{at_mm} mm");
        }
        nest.brood = None;
        assert!(!by_brood(&nest, 70.0));
    }

    proptest::proptest! {
        #[test]
        fn the_raw_guard_holds_as_the_contract_says(
            said in proptest::collection::vec((1_i64..30, proptest::sample::select(&[36.0, 36.0, 35.1, 35.0, 34.5, 34.4, 20.0][..])), 0..40),
        ) {
            let (mut run, mut story, mut s) = (Run::default(), Vec::new(), 0);
            for (gap_s, c) in said {
                s += gap_s;
                story.push((s, c));
                run.hear(Timestamp::from_unix_ms(s * 1000), c, LIMIT_C, CLEAR_C);
                proptest::prop_assert_eq!(run.tripped, should_hold(&story), "{:?}", story);
            }
        }
    }
}
