//! A nest's past with hindsight: each moment by what was heard after it, and by what was found later of its pads.
//!
//! A fault is found minutes or hours after it began; until then the pad was believed to do as told. So where moments of
//! the past are wanted, the watch is stood aside every few hours, and what is heard is kept. When a rival wins, the watch
//! goes back to where it stood before the rival's beginning and hears everything once more, with the drive that was
//! found in force from its beginning on. When the pad is found to do as told again, both stories are heard once more, the
//! one with a fault that ended and the one without any: only a fault that the readings speak for clearly is drawn.
use super::{Heating, Rejected, Watch};
use crate::estimate::{Estimator, Hindsight, LookingBack, Weighed};
use crate::reading::{Measured, SourceId};
use crate::rival::Mode;
use crate::smooth::Place;
use crate::time::{Span, Timestamp};
use alloc::boxed::Box;
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// The watch is stood aside so often ...
const STAND_EVERY: Span = Span::from_h(12);
/// ... and so many times: a fault begins at most twelve hours before it is found, and is doubted for a day. Each takes
/// some hundred kilobytes.
const STANDS_MAX: usize = 4;
/// What was heard is kept up to this much, some 5 MB: where more is said, fewer hours are.
const WORDS_MAX: usize = 150_000;
/// So many times as much as was heard is heard again at the most; after that the past is drawn as it was believed.
const AGAIN_MOST: u64 = 3;
/// So much is found at the most; after that the same.
const FOUND_MAX: usize = 64;
/// A fault that ended by itself was more likely none. It is drawn where the readings from its beginning to the finding of
/// its end are foretold so much better with it, nats. In simulated stories it was never less than 400 for a relay that
/// stuck or a mat that was dead for an hour to four, and never more than 20 for a lid that was taken for such.
const ENDED_NATS: f64 = 90.0;
/// Degrees of freedom of a reading's error (Student's t: Lange, Little & Taylor, J. Am. Stat. Assoc. 84, 1989; four from
/// memory): a wild one says something, not everything.
const FREEDOM: f64 = 4.0;

/// What a source said, and when.
type Word = (SourceId, Timestamp, Measured);

/// Something that was found of a pad later than it began.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Which pad, by its place.
    pub pad: usize,
    /// What it did.
    pub mode: Mode,
    /// Since when.
    pub from: Timestamp,
    /// When that was found; what came after was believed so anyway.
    pub until: Timestamp,
    /// The evidence it was found by, nats.
    pub evidence: f64,
    /// Whether a fault was believed in then that was none.
    pub feigned: bool,
    /// How well the readings since `from` were foretold, nats.
    foretells: f64,
}

impl Found {
    fn holds(&self, at: Timestamp) -> bool {
        self.from <= at && at < self.until
    }

    /// Takes in how well a reading was foretold.
    pub(super) fn weigh(&mut self, at: Timestamp, w: &Weighed) {
        if at > self.from {
            let z = w.surprise_k / w.sd_k;
            self.foretells -= libm::log(w.sd_k) + 0.5 * (FREEDOM + 1.0) * libm::log(1.0 + z * z / FREEDOM);
        }
    }

    fn is_of(&self, other: &Self) -> bool {
        (self.pad, self.mode, self.from) == (other.pad, other.mode, other.from)
    }
}

/// What is kept of the past.
#[derive(Clone, Debug, Default)]
pub(super) struct Retrospect {
    looking_back: LookingBack,
    /// What was heard since the first of `stands`, and how much before it was forgotten.
    words: VecDeque<Word>,
    gone: u64,
    /// Which word is to be taken in next, and how many were taken in for the first time.
    next: u64,
    heard: u64,
    /// How many were taken in again.
    again: u64,
    stands: VecDeque<Stand>,
}

/// The watch as it was.
#[derive(Clone, Debug)]
struct Stand {
    watch: Watch,
    at: Timestamp,
    place: Place,
    /// Which word came next.
    next: u64,
}

impl Stand {
    /// The watch as it was, with what was found since. Beginnings that it had lived through it has weighed already.
    fn watch(&self, found: &[Found]) -> Watch {
        let foretold = |f: &Found| self.watch.found.iter().find(|s| s.is_of(f)).map_or(0.0, |s| s.foretells);
        let found = found.iter().map(|f| Found { foretells: foretold(f), ..f.clone() }).collect();
        Watch { found, ..self.watch.clone() }
    }
}

impl Retrospect {
    fn word(&self, i: u64) -> Option<Word> {
        self.words.get(usize::try_from(i.checked_sub(self.gone)?).ok()?).copied()
    }

    fn keep(&mut self, word: Word) {
        self.words.push_back(word);
        if self.stands.len() > STANDS_MAX || self.words.len() > WORDS_MAX {
            self.stands.pop_front();
        }
        let needed = self.stands.front().map_or(self.next, |s| s.next);
        let forgotten = usize::try_from(needed - self.gone).unwrap_or(0).min(self.words.len());
        self.words.drain(..forgotten);
        self.gone += forgotten as u64;
    }

    /// The last stand before `from`, if all since may be heard again `times`.
    fn stand_before(&self, from: Timestamp, times: u64) -> Option<usize> {
        let i = self.stands.iter().rposition(|s| s.at <= from)?;
        let words = self.next - self.stands[i].next;
        (self.again + times * words <= AGAIN_MOST * self.heard).then_some(i)
    }

    /// How well all up to now is foretold from stand `i` on with `found`, counted from the beginning of `of`, nats.
    fn try_out(&mut self, i: usize, found: &[Found], of: &Found) -> f64 {
        let stand = &self.stands[i];
        let mut watch = stand.watch(found);
        let mut out = Vec::new();
        for word in (stand.next..self.next).map_while(|i| self.word(i)) {
            watch.take_in(word, &mut out);
        }
        self.again += self.next - stand.next;
        watch.found.iter().find(|f| f.is_of(of)).map_or(f64::NEG_INFINITY, |f| f.foretells)
    }

    /// What is to be drawn now that `last` was found: a fault that ended may never have been one.
    fn settle(&mut self, found: &[Found], last: &Found) -> Option<(usize, Vec<Found>)> {
        if found.len() >= FOUND_MAX {
            return None;
        }
        let mut as_found = found.to_vec();
        as_found.push(last.clone());
        let of_pad = || found.iter().rev().filter(|f| f.pad == last.pad);
        let faults = of_pad().take_while(|f| f.mode != Mode::Follow);
        if let (Mode::Follow, Some(first)) = (last.mode, faults.last())
            && let Some(i) = self.stand_before(first.from, 2)
            && let Some(j) = self.stand_before(last.from, 1)
        {
            let none = Found { from: first.from, feigned: true, ..last.clone() };
            let of_fault = |f: &&Found| f.pad == last.pad && f.from >= first.from;
            let mut without: Vec<Found> = found.iter().filter(|f| !of_fault(f)).cloned().collect();
            without.push(none.clone());
            if self.try_out(j, &as_found, first) - self.try_out(i, &without, &none) < ENDED_NATS {
                return Some((i, without));
            }
        }
        self.stand_before(last.from, 1).map(|i| (i, as_found))
    }
}

impl Watch {
    /// From here on `moments`, in the order of time, are remembered for [`Self::hindsight`].
    pub fn look_back(&mut self, moments: impl IntoIterator<Item = Timestamp>) {
        self.retrospect =
            Some(Box::new(Retrospect { looking_back: LookingBack::new(moments), ..Retrospect::default() }));
        if let Some(est) = &mut self.estimator {
            est.record();
        }
    }

    /// Those of the moments that the estimate ran through, oldest first, with what was heard since; once, and last.
    pub fn hindsight(&mut self) -> Vec<Hindsight> {
        let both = self.retrospect.as_mut().zip(self.estimator.as_mut());
        both.map_or_else(Vec::new, |(retrospect, est)| retrospect.looking_back.take(est))
    }

    /// What was found of the pads later than it began, in the order of its finding, and is drawn so.
    pub fn found(&self) -> &[Found] {
        &self.found
    }

    pub(super) fn hear_and_keep(&mut self, word: Word, out: &mut Vec<Rejected>) {
        if let Some(retrospect) = &mut self.retrospect {
            retrospect.keep(word);
        }
        while let Some((word, is_new)) = self.next_word() {
            let mut known = Vec::new();
            self.take_in(word, if is_new { &mut *out } else { &mut known });
            if let Some(found) = self.accepted.take() {
                self.reconsider(&found);
            }
        }
    }

    /// What is to be taken in next, and whether it is for the first time. Stands aside before it where that is due.
    fn next_word(&mut self) -> Option<(Word, bool)> {
        let mut retrospect = self.retrospect.take()?;
        let word = retrospect.word(retrospect.next);
        let due = |at: Timestamp| retrospect.stands.back().is_none_or(|s| at.since(s.at) >= STAND_EVERY);
        if let Some(est) = self.estimator.as_ref().filter(|est| word.is_some() && due(est.at())) {
            let (at, place, next) = (est.at(), est.recorded(), retrospect.next);
            retrospect.stands.push_back(Stand { watch: self.clone(), at, place, next });
        }
        let is_new = retrospect.next >= retrospect.heard;
        if word.is_some() {
            retrospect.next += 1;
            retrospect.heard += u64::from(is_new);
            retrospect.again += u64::from(!is_new);
        }
        self.retrospect = Some(retrospect);
        word.map(|word| (word, is_new))
    }

    /// Goes back to before what was just found began, if that can be: all since is taken in once more.
    fn reconsider(&mut self, last: &Found) {
        let Some(mut retrospect) = self.retrospect.take() else { return };
        if let Some((i, found)) = retrospect.settle(&self.found, last) {
            let stand = &retrospect.stands[i];
            let mut watch = Self { band: self.band, ..stand.watch(&found) };
            if let Some((est, was)) = watch.estimator.as_mut().zip(self.estimator.as_mut()) {
                est.go_on_from(stand.place, was);
            }
            retrospect.looking_back.back_to(stand.at);
            retrospect.next = stand.next;
            retrospect.stands.truncate(i + 1);
            *self = watch;
        }
        self.retrospect = Some(retrospect);
    }

    /// A rival has won.
    pub(super) fn note_accepted(
        &mut self,
        pad: usize,
        mode: Mode,
        (from, until): (Timestamp, Timestamp),
        evidence: f64,
    ) {
        if self.retrospect.is_some() {
            self.accepted = Some(Found { pad, mode, from, until, evidence, feigned: false, foretells: 0.0 });
        }
    }

    /// What was found later is in force from its beginning on. What speaks against it is heard from its finding on: by then
    /// all until then was weighed.
    pub(super) fn hold_as_found(&mut self, est: &mut Estimator) {
        let at = est.at();
        if self.found.iter().any(|f| f.until == at) {
            est.let_go();
        }
        for found in self.found.iter().filter(|f| f.holds(at)) {
            if est.hold(found.pad, found.mode) {
                self.by_heat = Heating::of(found.mode, found.from, found.evidence);
            }
        }
    }

    /// Whether what pad `pad` did at `at`, the end of a step, was found later: then it is in no dispute.
    pub(super) fn is_found(&self, pad: usize, at: Timestamp) -> bool {
        self.found.iter().any(|f| f.pad == pad && f.from < at && at <= f.until)
    }

    /// A step was made, and its readings taken in: a moment that is wanted is marked.
    pub(super) fn note_moment(&mut self, est: &mut Estimator) {
        let Some(retrospect) = &mut self.retrospect else { return };
        let at = est.at();
        let is_found = self.found.iter().any(|f| f.from < at && at <= f.until);
        let heat_w = || est.arriving().zip(&self.nest.pads).map(|(s, p)| s * p.rated_w).sum();
        let heat_w = is_found.then(heat_w);
        retrospect.looking_back.note(est, heat_w);
    }
}

#[cfg(test)]
#[path = "hindsight_tests.rs"]
mod tests;
