use super::*;
use crate::core::tests::nest;
use crate::estimate::Hearing;
use crate::nest::estimator_of;
use crate::shelf::{Nest, Pad};
use crate::time::Span;

const BEGIN: Timestamp = Timestamp::from_unix_ms(1_772_323_200_000);
const ROOM_C: f64 = 21.0;
/// Between two moments that are asked for, steps: ten minutes.
const EVERY: i64 = 30;

/// What was believed at a moment: standard deviations along the nest, mean and deviation of the brood area.
type Then = (Vec<f64>, (f64, f64));

/// A nest whose pad runs in a rhythm, with a lid off for a while; what was believed at each moment, and with hindsight.
struct Story {
    est: Estimator,
    looking_back: LookingBack,
    then: Vec<Then>,
    steps: i64,
}

impl Story {
    fn new(nest: &Nest, hours: i64) -> Self {
        let mut est = estimator_of(nest, (BEGIN, ROOM_C));
        est.record();
        let wanted = (1..=hours * 180 / EVERY).map(|k| BEGIN.plus(Span::from_ms(k * EVERY * STEP.ms())));
        Self { est, looking_back: LookingBack::new(wanted), then: Vec::new(), steps: 0 }
    }

    /// One step; every probe speaks once in three.
    fn step(&mut self, speaks: bool) {
        let (i, est) = (self.steps, &mut self.est);
        let drive = f64::from(u8::from((i / 45) % 3 == 0));
        est.advance(&[drive], ROOM_C);
        self.steps += 1;
        let at = est.at();
        for p in 0..est.lags.len() {
            if speaks && i % 3 == 0 {
                let lid_k = if (400..520).contains(&i) { -1.0 } else { 0.0 };
                let noise_k = 0.02 * ((i * 7 + p as i64 * 5) % 9 - 4) as f64;
                let value_c = est.courses[0].seen.at(p, 1.0) + 0.3 + lid_k + noise_k;
                est.absorb(p, at, value_c, Hearing::All);
            }
        }
        if self.steps % EVERY == 0 {
            est.fade();
            let (brood_c, brood_sd_k, _) = est.brood();
            self.then.push((est.profile().2, (brood_c, brood_sd_k)));
        }
        self.looking_back.note(est, None);
    }

    fn end(mut self) -> (Vec<Hindsight>, Vec<Then>) {
        (self.looking_back.take(&mut self.est), self.then)
    }
}

fn deaf() -> Nest {
    Nest { pads: nest().pads.into_iter().map(|p| Pad { drive: None, ..p }).collect(), ..nest() }
}

/// With drive told and untold, through a lid, a stretch of silence and a fit: at no place and no moment does hindsight know
/// less, it mostly knows more, and the newest moment is as it is believed.
#[test]
fn hindsight_never_knows_less() {
    for nest in [nest(), deaf()] {
        let mut story = Story::new(&nest, 9);
        for i in 0..9 * 180 {
            story.step(!(700..790).contains(&i));
            if i == 1000 {
                story.est.fit_now();
            }
        }
        let (seen, then) = story.end();
        assert_eq!(seen.len(), then.len());
        let (mut narrower, mut all) = (0, 0);
        for (h, (sd_k, brood)) in seen.iter().zip(&then) {
            for (now, was) in h.sd_k.iter().zip(sd_k).chain([(&h.brood_c.1, &brood.1)]) {
                assert!(*now <= was + 1e-9 && *now > 0.0, "{now} K after {was} K at {:?}", h.at);
                narrower += usize::from(*now < 0.97 * was);
                all += 1;
            }
        }
        assert!(3 * narrower > all, "{narrower} of {all}");
        let (last, (_, brood)) = (&seen[seen.len() - 1], &then[then.len() - 1]);
        assert!((last.brood_c.0 - brood.0).abs() < 1e-12 && (last.brood_c.1 - brood.1).abs() < 1e-12);
    }
}

/// In the middle of a stretch without readings both ends tell, and the doubt is greatest between them.
#[test]
fn a_silence_is_seen_from_both_ends() {
    let mut story = Story::new(&nest(), 8);
    (0..8 * 180).for_each(|i| story.step(!(720..840).contains(&i)));
    let (seen, then) = story.end();
    let at = |step: i64| (step / EVERY - 1) as usize;
    let (before, middle, after) = (at(720), at(780), at(870));
    let sd = |k: usize| seen[k].brood_c.1;
    assert!(sd(middle) > sd(before) && sd(middle) > sd(after), "{} {} {}", sd(before), sd(middle), sd(after));
    assert!(sd(at(840)) < 0.9 * then[at(840)].1.1);
}

/// What a rival's victory did to the belief is no course of its own: before it, all is as it was believed.
#[test]
fn hindsight_does_not_reach_across_a_pad_found_stuck() {
    let mut story = Story::new(&nest(), 5);
    (0..900).for_each(|i| {
        story.step(true);
        if i == 599 {
            story.est.accept(0);
        }
    });
    let (seen, then) = story.end();
    let k = (600 / EVERY - 1) as usize;
    assert!((seen[k].brood_c.1 - then[k].1.1).abs() < 1e-12 && seen[k + 5].brood_c.1 < then[k + 5].1.1);
}

#[test]
fn moments_in_a_long_gap_are_left_out() {
    let mut story = Story::new(&nest(), 5);
    (0..300).for_each(|_| story.step(true));
    let to = story.est.at().plus(Span::from_min(75));
    story.est.skip_to(to, ROOM_C);
    story.steps += 225;
    (0..300).for_each(|_| story.step(true));
    let (seen, _) = story.end();
    assert!(seen.iter().all(|h| h.at <= to.minus(Span::from_min(75)) || h.at > to));
    assert_eq!(seen.len(), 300 / EVERY as usize + 300 / EVERY as usize);
}

/// A way that was given up leaves no trace: gone back to a moment and on from there, all moments after it are as if there
/// had been no other way, whether they had been looked at already or not.
#[test]
fn a_way_that_was_given_up_leaves_no_trace() {
    for hours in [4, 40] {
        let mut straight = Story::new(&nest(), 50);
        (0..50 * 180).for_each(|_| straight.step(true));
        let mut story = Story::new(&nest(), 50);
        (0..5 * 180).for_each(|_| story.step(true));
        let (then, place, steps) = (story.est.clone(), story.est.recorded(), story.steps);
        for _ in 0..hours * 180 {
            story.est.advance(&[1.0], ROOM_C);
            story.est.absorb(0, story.est.at(), 31.0, Hearing::All);
            story.looking_back.note(&mut story.est, None);
        }
        let mut other = core::mem::replace(&mut story.est, then);
        story.est.go_on_from(place, &mut other);
        story.looking_back.back_to(story.est.at());
        story.steps = steps;
        (0..45 * 180).for_each(|_| story.step(true));
        let ((seen, _), (want, _)) = (story.end(), straight.end());
        assert_eq!(seen.len(), want.len());
        // What was looked at already before that moment stays; what comes after is looked at from another one, and is the
        // same but for what is too late to tell.
        let (from, leeway) = if hours == 4 { (BEGIN, 1e-12) } else { (BEGIN.plus(Span::from_h(5)), 0.02) };
        for (h, want) in seen.iter().zip(&want).filter(|(h, _)| h.at > from) {
            assert_eq!(h.at, want.at);
            let off = |a: f64, b: f64| (a - b).abs() / want.brood_c.1;
            assert!(off(h.brood_c.0, want.brood_c.0) < leeway && off(h.brood_c.1, want.brood_c.1) < leeway, "{h:?}");
        }
    }
}

/// What a pad did is said from a moment on: what was believed until then stays, and hindsight reaches across.
#[test]
fn hindsight_reaches_across_what_was_found_later() {
    let mut story = Story::new(&nest(), 5);
    (0..900).for_each(|i| {
        if i == 600 {
            let was = story.est.brood();
            assert!(story.est.hold(0, Mode::On) && !story.est.hold(0, Mode::On));
            assert_eq!(story.est.brood(), was);
        }
        story.step(true);
    });
    let (seen, then) = story.end();
    let k = (600 / EVERY - 1) as usize;
    assert!(seen[k].brood_c.1 < 0.999 * then[k].1.1, "{} {}", seen[k].brood_c.1, then[k].1.1);
}
