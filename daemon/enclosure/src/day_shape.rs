//! What is usual at each time of day: half-hour bins, learned from one day to the next.
use crate::time::Timestamp;

/// Bins of a day.
pub const BINS: usize = 48;
const DAY_MS: i64 = 86_400_000;
const BIN_MS: i64 = DAY_MS / BINS as i64;
/// A day counts at least for so much of what is learned: a week-old habit is forgotten.
const DAYS_MAX: f64 = 5.0;

/// What is usual at each half hour of the day.
#[derive(Clone, Debug)]
pub struct DayShape {
    bins: [Bin; BINS],
    /// How far one day may move a bin that is known.
    most: f64,
    under_way: Option<(i64, f64, f64)>,
}

#[derive(Clone, Copy, Debug, Default)]
struct Bin {
    value: f64,
    days: f64,
}

/// The half hour of the day that holds `at`.
pub fn bin(at: Timestamp) -> usize {
    (at.unix_ms().rem_euclid(DAY_MS) / BIN_MS) as usize % BINS
}

impl DayShape {
    /// Nothing known; one day moves a known bin by `most` at the most.
    pub fn new(most: f64) -> Self {
        Self { bins: [Bin::default(); BINS], most, under_way: None }
    }

    /// Takes in a value; true if a half hour was completed by it.
    pub fn note(&mut self, at: Timestamp, value: f64) -> bool {
        let now = at.unix_ms().div_euclid(BIN_MS);
        match &mut self.under_way {
            Some((bin, sum, count)) if *bin == now => {
                *sum += value;
                *count += 1.0;
                false
            }
            under_way => {
                let done = under_way.replace((now, value, 1.0));
                if let Some((bin, sum, count)) = done {
                    self.learn(bin.rem_euclid(BINS as i64) as usize, sum / count);
                }
                done.is_some()
            }
        }
    }

    fn learn(&mut self, i: usize, mean: f64) {
        let Some(bin) = self.bins.get_mut(i) else { return };
        if bin.days < 1.0 {
            *bin = Bin { value: mean, days: 1.0 };
        } else {
            bin.days = (bin.days + 1.0).min(DAYS_MAX);
            bin.value += (mean - bin.value).clamp(-self.most, self.most) / bin.days;
        }
    }

    /// What is usual in half hour `i` of the day, once a day has shown it.
    pub fn usual(&self, i: usize) -> Option<f64> {
        self.bins.get(i % BINS).filter(|b| b.days >= 1.0).map(|b| b.value)
    }

    /// Whether every half hour was seen.
    pub fn is_whole(&self) -> bool {
        self.bins.iter().all(|b| b.days >= 1.0)
    }

    /// Least and most of what is known.
    pub fn range(&self) -> Option<(f64, f64)> {
        let known = || (0..BINS).filter_map(|i| self.usual(i));
        Some((known().reduce(f64::min)?, known().reduce(f64::max)?))
    }
}
