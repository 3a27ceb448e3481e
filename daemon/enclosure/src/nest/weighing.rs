//! One reading against the estimate: what it is worth, whether its probe can be believed, and what it says of the room.
use super::{DISPUTED_NATS, Ear, GAP, Rejected, Watch};
use crate::estimate::{Estimator, Hearing};
use crate::reading::Rejection;
use crate::time::{Span, Timestamp};
use crate::trust::{Apart, Fault, Glance};
use alloc::vec::Vec;

/// Surprises of several probes within this belong together.
const SHARED_WITHIN: Span = Span::from_min(6);

impl Watch {
    pub(super) fn weigh(
        &mut self,
        est: &mut Estimator,
        p: usize,
        at: Timestamp,
        value_c: f64,
        out: &mut Vec<Rejected>,
    ) {
        let deaf = self.ears[p].trust.is_deaf();
        let trusted = self.ears[p].trust.fault().is_none();
        let hearing = if deaf {
            Hearing::Nobody
        } else if trusted {
            Hearing::All
        } else {
            Hearing::Rivals
        };
        let w = est.absorb(p, at, value_c, hearing);
        self.found.iter_mut().for_each(|found| found.weigh(at, &w));
        let (room_c, step_k) = (est.room_c(), est.step_k(p));
        let glance = Glance { at, value_c, expected_c: w.expected_c, sd_k: w.sd_k, within: w.within, room_c, step_k };
        self.ears[p].astray_k = if w.within || !trusted { 0.0 } else { w.surprise_k };
        self.ears[p].wild = (!w.within && !w.explained && trusted && !deaf).then_some((at, w.surprise_k));
        if self.is_shared(at, w.surprise_k) {
            est.widen(w.surprise_k);
        }
        let apart = self.ears[p].trust.glance(glance);
        let disputed = est.rivals().iter().any(|r| r.evidence > DISPUTED_NATS);
        if apart == Apart::Long && trusted && !(disputed && w.explained) {
            let fault = self.ears[p].trust.apart_fault();
            // Where nothing tells what the pad does, the belief is the first suspect.
            let guessed = fault == Fault::Astray && self.tells_room(est, p, at);
            if self.others_agree(est, p, at) && !guessed {
                self.ears[p].trust.accuse(fault, at);
            } else {
                est.widen(w.surprise_k.abs());
                self.ears[p].trust.forgive();
            }
        }
        // Believed or not: where the room itself is only guessed, the guess may be what is wrong.
        if trusted && self.tells_room(est, p, at) {
            self.room.infer(at, value_c - est.excess_at_probe(p));
        }
        let why = if !trusted {
            Some(Rejection::Distrusted)
        } else if !w.explained {
            Some(Rejection::Wild)
        } else {
            None
        };
        self.ears[p].rejected = why;
        if let Some(why) = why {
            out.push((self.ears[p].source, at, why));
            return;
        }
        self.believed = Some(at);
    }

    /// Whether probe `p` stands for a room that no probe measures: the coolest place, less what the pads bring there.
    fn tells_room(&self, est: &Estimator, p: usize, at: Timestamp) -> bool {
        let trusted = self.ears.iter().enumerate().filter(|(_, e)| e.trust.fault().is_none()).map(|(i, _)| i);
        let coolest = trusted.min_by(|a, b| est.excess_at_probe(*a).total_cmp(&est.excess_at_probe(*b)));
        coolest == Some(p) && !self.room.is_measured(at)
    }

    /// Whether most probes are as surprised just now, and on the same side: then it is the nest, not they.
    fn is_shared(&self, at: Timestamp, surprise_k: f64) -> bool {
        let heard =
            |e: &&Ear| e.trust.fault().is_none() && e.temperature.is_some_and(|(_, t)| at.since(t) < SHARED_WITHIN);
        let speaking = self.ears.iter().filter(heard);
        let alike = |e: &&Ear| e.wild.is_some_and(|(t, k)| at.since(t) < SHARED_WITHIN && k * surprise_k > 0.0);
        let (all, surprised) = speaking.fold((0, 0), |(n, k), e| (n + 1, k + usize::from(alike(&e))));
        surprised >= 2 && 2 * surprised > all
    }

    /// Whether another probe that feels what this one should speaks and agrees with the estimate.
    fn others_agree(&self, est: &Estimator, p: usize, at: Timestamp) -> bool {
        let feels = est.excess_at_probe(p).abs();
        self.ears.iter().enumerate().any(|(i, e)| {
            i != p
                && e.trust.fault().is_none()
                && e.trust.apart_since().is_none()
                && e.temperature.is_some_and(|(_, t)| at.since(t) < GAP)
                && est.excess_at_probe(i).abs() > 0.3 * feels
        })
    }
}
