//! What a pad under a thermostat usually does: how long it stays on, and how warm the nest is when it lets go.
//!
//! A thermostat whose own sensor fell off heats as told, and one that does not report tells nothing: both show only in
//! that the pad stays on longer than it ever did *and* past the warmth at which it always let go.
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;

/// Spells remembered: two days of a quick thermostat.
const SPELLS: usize = 120;
/// Spells that must be known before habits mean anything.
const SPELLS_LEAST: usize = 8;
/// A pad that stays on or off for longer than this is no thermostat's.
const SPELL_MOST: Span = Span::from_h(4);

/// One completed spell of being on, or off.
#[derive(Clone, Copy, Debug)]
struct Spell {
    length_s: f64,
    /// Warmth over the pad at its end, °C.
    end_c: f64,
}

/// Completed spells of one kind, and what they have in common.
#[derive(Clone, Debug, Default)]
struct Spells {
    kept: VecDeque<Spell>,
    /// Longest spell, s, extreme end, °C, spread of the ends, K; none where it does not look like a thermostat.
    known: Option<(f64, f64, f64)>,
}

impl Spells {
    fn take(&mut self, spell: Spell, extreme: fn(f64, f64) -> f64) {
        if self.kept.len() == SPELLS {
            self.kept.pop_front();
        }
        self.kept.push_back(spell);
        self.known = Self::know(&self.kept, extreme);
    }

    fn know(spells: &VecDeque<Spell>, extreme: fn(f64, f64) -> f64) -> Option<(f64, f64, f64)> {
        if spells.len() < SPELLS_LEAST {
            return None;
        }
        let n = spells.len() as f64;
        let mean = spells.iter().map(|s| s.end_c).sum::<f64>() / n;
        let spread = libm::sqrt(spells.iter().map(|s| (s.end_c - mean) * (s.end_c - mean)).sum::<f64>() / n);
        let longest = spells.iter().map(|s| s.length_s).fold(0.0, f64::max);
        let end = spells.iter().map(|s| s.end_c).reduce(extreme)?;
        (longest < SPELL_MOST.s() && spread < 1.5).then_some((longest, end, spread))
    }
}

/// The habits of one pad.
#[derive(Clone, Debug, Default)]
pub struct Habits {
    on: Spells,
    off: Spells,
    now: Option<(bool, Timestamp)>,
}

/// How far a pad is beyond its habits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beyond {
    /// Since when it has been on, or off.
    pub since: Timestamp,
    /// The longest such spell known, s.
    pub longest_s: f64,
    /// The warmest (or coldest) end of such a spell known, °C.
    pub extreme_c: f64,
}

impl Habits {
    /// The pad is on or off, and its place `over_pad_c` warm, as of `at`.
    pub fn note(&mut self, at: Timestamp, on: bool, over_pad_c: f64) {
        match self.now {
            Some((was, _)) if was == on => {}
            Some((was, since)) => {
                let spell = Spell { length_s: at.since(since).s(), end_c: over_pad_c };
                if was {
                    self.on.take(spell, f64::max);
                } else {
                    self.off.take(spell, f64::min);
                }
                self.now = Some((on, at));
            }
            None => self.now = Some((on, at)),
        }
    }

    /// Forgets the spell under way: nobody watched.
    pub fn interrupt(&mut self) {
        self.now = None;
    }

    /// Whether the pad stays on past what it ever did and past where it always let go, by `margin_k`.
    pub fn stays_on(&self, at: Timestamp, over_pad_c: f64, margin_k: f64) -> Option<Beyond> {
        let (true, since) = self.now? else { return None };
        let (longest_s, highest_c, spread_k) = self.on.known?;
        let beyond =
            at.since(since).s() > 1.25 * longest_s + 120.0 && over_pad_c > highest_c + margin_k.max(2.0 * spread_k);
        beyond.then_some(Beyond { since, longest_s, extreme_c: highest_c })
    }

    /// Whether it stays off past what it ever did and past where it always came back, by `margin_k`. Spells that nobody
    /// told are only worked out: those must be longer (`told` is false).
    pub fn stays_off(&self, at: Timestamp, over_pad_c: f64, margin_k: f64, told: bool) -> Option<Beyond> {
        let (false, since) = self.now? else { return None };
        let (longest_s, lowest_c, spread_k) = self.off.known?;
        let most_s = if told { 1.5 * longest_s + 300.0 } else { 2.0 * longest_s + 900.0 };
        let beyond = at.since(since).s() > most_s && over_pad_c < lowest_c - margin_k.max(2.0 * spread_k);
        beyond.then_some(Beyond { since, longest_s, extreme_c: lowest_c })
    }
}
