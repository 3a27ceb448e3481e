//! Whether a nest stands open: its damp air is exchanged within minutes, long before its body cools. What cools then
//! cools like a nest whose pad died; the vapour tells them apart. A nest that only cools keeps its vapour, or its
//! relative humidity where damp walls set that; only one that is open loses both.
use crate::time::{Span, Timestamp};
use crate::vapour::Damp;
use alloc::vec::Vec;

/// The nest's own vapour is its mean over about this long, s.
const CALM_S: f64 = 3600.0;
/// What is said of it now is a mean over this long, s.
const QUICK_S: f64 = 120.0;
/// And how far the one strays from the other by itself is learned over this long, s.
const STRAYS_S: f64 = 6.0 * 3600.0;
/// What it strays before it has shown that, and the least, as shares of itself.
const SD: (f64, f64) = (0.03, 0.004);
/// It is open where the probes together lie below the nest's own vapour by so many of those deviations.
const OPEN_SIGMA: f64 = 5.0;
/// And closed where it is less than so many.
const CLOSED_SIGMA: f64 = 2.5;
/// No nest is held for open longer than this: by then its water has run dry, or its probe has gone.
const OPEN_MOST: Span = Span::from_min(90);
/// So long after it was closed it is still warming up.
const AFTER: Span = Span::from_min(10);
/// A probe not heard for so long says nothing.
const STALE: Span = Span::from_min(12);

/// Logarithm of one quantity: its own level, how far what it is now strays from that, squared, and what it is now.
#[derive(Clone, Copy, Debug)]
struct Level {
    calm: f64,
    strays2: f64,
    quick: f64,
}

/// What one probe says of it: by vapour pressure and by relative humidity.
#[derive(Clone, Copy, Debug)]
struct Air {
    levels: [Level; 2],
    at: Timestamp,
}

/// What all probes of a nest say of it.
#[derive(Clone, Debug)]
pub struct Draught {
    airs: Vec<Option<Air>>,
    open: Option<Timestamp>,
    closed: Option<Timestamp>,
}

impl Draught {
    /// A nest with so many probes.
    pub fn new(probes: usize) -> Self {
        Self { airs: alloc::vec![None; probes], open: None, closed: None }
    }

    /// Takes in what probe `p` says.
    pub fn hear(&mut self, p: usize, damp: &Damp) {
        let at = damp.at;
        let now = [libm::log(damp.vapour_pa), libm::log(damp.vapour_pa / damp.saturation_pa)];
        if !now.iter().all(|v| v.is_finite()) {
            return;
        }
        let calm = self.open.is_none();
        let Some(air) = self.airs.get_mut(p) else { return };
        match air {
            Some(air) if at.since(air.at).s() < STRAYS_S => air.hear(at, now, calm),
            _ => *air = Some(Air { levels: now.map(Level::new), at }),
        }
        let sigma = self.sigma(at);
        match self.open {
            None if sigma > OPEN_SIGMA => self.open = Some(at),
            Some(_) if sigma < CLOSED_SIGMA => (self.open, self.closed) = (None, Some(at)),
            Some(since) if at.since(since) > OPEN_MOST => {
                (self.open, self.closed) = (None, None);
                self.airs.iter_mut().flatten().for_each(Air::settle);
            }
            _ => {}
        }
    }

    /// By how many deviations the probes together lie below the nest's own damp.
    fn sigma(&self, at: Timestamp) -> f64 {
        let heard = self.airs.iter().flatten().filter(|a| at.since(a.at) < STALE);
        let (sum, count) = heard.fold((0.0, 0.0), |(sum, n), a| (sum + a.sigma(), n + 1.0));
        if count > 0.0 { sum / libm::sqrt(count) } else { 0.0 }
    }

    /// How much the vapour speaks for a nest that was opened, nats.
    pub fn nats(&self, at: Timestamp) -> f64 {
        let sigma = self.sigma(at).max(0.0);
        0.5 * sigma * sigma
    }

    /// Whether the nest stands open at `at`, or did until a moment before.
    pub fn is_open(&self, at: Timestamp) -> bool {
        self.open.is_some() || self.closed.is_some_and(|c| at.since(c) < AFTER)
    }
}

impl Air {
    fn hear(&mut self, at: Timestamp, now: [f64; 2], calm: bool) {
        let gap_s = at.since(self.at).s().max(0.0);
        self.at = at;
        for (level, now) in self.levels.iter_mut().zip(now) {
            level.hear(gap_s, now, calm);
        }
    }

    /// By how many deviations both lie below their own.
    fn sigma(&self) -> f64 {
        self.levels.iter().map(Level::sigma).fold(f64::INFINITY, f64::min)
    }

    fn settle(&mut self) {
        self.levels.iter_mut().for_each(|l| l.calm = l.quick);
    }
}

impl Level {
    fn new(now: f64) -> Self {
        Self { calm: now, strays2: SD.0 * SD.0, quick: now }
    }

    fn hear(&mut self, gap_s: f64, now: f64, calm: bool) {
        let share = |over_s: f64| 1.0 - libm::exp(-gap_s / over_s);
        self.quick += share(QUICK_S) * (now - self.quick);
        // What it says while open, or where it begins to, is not its own.
        if calm && self.sigma() < CLOSED_SIGMA {
            let off = self.quick - self.calm;
            self.strays2 += share(STRAYS_S) * (off * off - self.strays2);
            self.calm += share(CALM_S) * off;
        }
    }

    fn sigma(&self) -> f64 {
        (self.calm - self.quick) / libm::sqrt(self.strays2).max(SD.1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(min: i64) -> Timestamp {
        Timestamp::from_unix_ms(1_700_000_000_000).plus(Span::from_min(min))
    }

    /// Ten hours at 2100 Pa and 3200 Pa of saturation with a ripple, then what `then` says of both; the minutes since at
    /// which it stood open.
    fn open_at(until: i64, then: impl Fn(i64) -> (f64, f64)) -> Vec<i64> {
        let mut d = Draught::new(1);
        let mut hear = |m: i64, (vapour, saturation_pa): (f64, f64)| {
            let vapour_pa = vapour + if m % 2 == 0 { 12.0 } else { -12.0 };
            d.hear(0, &Damp { vapour_pa, saturation_pa, at: at(m) });
            d.is_open(at(m))
        };
        for m in 0..600 {
            assert!(!hear(m, (2100.0, 3200.0)));
        }
        (0..until).filter(|m| hear(600 + m, then(*m))).collect()
    }

    #[test]
    fn an_opened_lid_shows_within_minutes_and_a_closed_one_as_soon() {
        // 12 minutes of air exchange towards a drier room, then back.
        let lid = |m: i64| if m < 25 { 1800.0 + 300.0 * libm::exp(-m as f64 / 12.0) } else { 2050.0 };
        let open = open_at(80, |m| (lid(m), 3200.0 - 4.0 * m.min(25) as f64));
        assert!((3..13).contains(&open[0]), "{open:?}");
        assert!((35..50).contains(&open[open.len() - 1]), "{open:?}");
        assert!(open.windows(2).all(|w| w[1] == w[0] + 1));
    }

    #[test]
    fn a_slow_decline_is_no_lid_and_a_nest_that_cools_is_none() {
        assert!(open_at(1400, |m| (2100.0 - 700.0 * m as f64 / 1400.0, 3200.0)).is_empty());
        // Damp walls that cool by 3 K within an hour keep their relative humidity; a dry nest keeps its vapour.
        let cooling = |m: i64| libm::exp(-0.18 * m.min(60) as f64 / 60.0);
        assert!(open_at(120, |m| (2100.0 * cooling(m), 3200.0 * cooling(m))).is_empty());
        assert!(open_at(120, |m| (2100.0, 3200.0 * cooling(m))).is_empty());
    }

    #[test]
    fn what_never_closes_is_no_lid() {
        let open = open_at(300, |_| (1500.0, 3200.0));
        assert!(open[open.len() - 1] < 95, "{open:?}");
    }
}
