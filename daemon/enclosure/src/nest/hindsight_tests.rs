use super::*;
use crate::core::tests::nest;
use crate::shelf::Nest;

const BEGIN: Timestamp = Timestamp::from_unix_ms(1_772_323_200_000);
/// Of the sources of the nest of the tests: a probe, and one that no nest lists.
const WARM: SourceId = SourceId(0);
const NOBODY: SourceId = SourceId(999);

fn watch(nest: &Nest) -> Watch {
    let names = ["oak-node:warm", "oak-node:brood", "oak-node:cool", "oak-node:pad", "room:air"];
    let id = |name: &str| names.iter().position(|n| *n == name).and_then(|i| u16::try_from(i).ok()).map(SourceId);
    Watch::new(nest, id)
}

fn found(mode: Mode, from: Timestamp, until: Timestamp) -> Found {
    Found { pad: 0, mode, from, until, evidence: 9.0, feigned: false, foretells: 0.0 }
}

fn warmth(c: f64) -> Measured {
    Measured::Temperature(c)
}

fn retrospect(watch: &Watch) -> &Retrospect {
    watch.retrospect.as_ref().expect("moments are wanted")
}

/// Memory: whoever says it and however often, words and stands stay within their bounds, and nothing is kept before there
/// is anything to go back to.
#[test]
fn no_more_is_kept_than_its_bounds() {
    let mut watch = watch(&nest());
    watch.look_back([BEGIN]);
    let mut out = Vec::new();
    (0..1000).for_each(|_| watch.hear(NOBODY, BEGIN, warmth(20.0), &mut out));
    assert!(retrospect(&watch).words.len() <= 1 && retrospect(&watch).stands.is_empty());
    for hour in 0..90 {
        watch.hear(WARM, BEGIN.plus(Span::from_h(hour)), warmth(22.0), &mut out);
    }
    let kept = retrospect(&watch);
    assert!((STANDS_MAX..=STANDS_MAX + 1).contains(&kept.stands.len()), "{}", kept.stands.len());
    assert_eq!(kept.words.len() as u64, kept.heard - kept.stands[0].next, "words are kept from the first stand on");
    let at = BEGIN.plus(Span::from_h(90));
    for _ in 0..2 * WORDS_MAX {
        watch.hear(NOBODY, at, warmth(22.0), &mut out);
        assert!(retrospect(&watch).words.len() <= WORDS_MAX + 1);
    }
}

/// Work: only so much is heard again, and only what is still kept.
#[test]
fn no_more_is_heard_again_than_its_bound() {
    let mut watch = watch(&nest());
    watch.look_back([BEGIN]);
    let mut out = Vec::new();
    for minute in 0..24 * 60 {
        watch.hear(WARM, BEGIN.plus(Span::from_min(minute)), warmth(22.0), &mut out);
    }
    let mut kept = retrospect(&watch).clone();
    assert_eq!(kept.stand_before(BEGIN.minus(Span::from_min(1)), 1), None, "before all stands");
    assert_eq!(kept.stand_before(BEGIN.plus(Span::from_h(13)), 1), Some(1));
    kept.again = AGAIN_MOST * kept.heard;
    assert_eq!(kept.stand_before(BEGIN.plus(Span::from_h(13)), 1), None);
    let (last, none) = (found(Mode::On, BEGIN.plus(Span::from_h(13)), BEGIN.plus(Span::from_h(14))), Vec::new());
    assert_eq!(kept.settle(&none, &last), None);
    kept.again = 0;
    assert_eq!(kept.settle(&none, &last), Some((1, alloc::vec![last.clone()])));
    assert_eq!(kept.settle(&alloc::vec![last.clone(); FOUND_MAX], &last), None);
}

/// A pad that was found dead, then stuck, then to do as told, while the nest lay at rest: it did as told all the while. That
/// is one finding in place of both; what was found of another pad, or before, stays.
#[test]
fn faults_that_went_by_themselves_are_doubted_together() {
    let mut watch = watch(&nest());
    watch.look_back([BEGIN]);
    let (mut out, at) = (Vec::new(), |minute: i64| BEGIN.plus(Span::from_min(minute)));
    for minute in 0..24 * 60 {
        for p in 0..3 {
            watch.hear(SourceId(p), at(minute), warmth(22.0), &mut out);
        }
    }
    let mut kept = retrospect(&watch).clone();
    let before = [found(Mode::Off, at(400), at(410)), found(Mode::Follow, at(500), at(510))];
    let other = Found { pad: 1, ..found(Mode::On, at(905), at(915)) };
    let faults = [found(Mode::Off, at(900), at(910)), other.clone(), found(Mode::On, at(960), at(970))];
    let last = found(Mode::Follow, at(1100), at(1110));
    let (_, settled) = kept.settle(&[&before[..], &faults[..]].concat(), &last).expect("it can be heard again");
    let none = Found { from: at(900), feigned: true, ..last };
    assert_eq!(settled, [&before[..], &[other, none][..]].concat());
}

/// A fault holds from its beginning to its finding, and only then is it in no dispute.
#[test]
fn what_was_found_holds_from_its_beginning_to_its_finding() {
    let f = found(Mode::Off, BEGIN, BEGIN.plus(Span::from_min(10)));
    let minutes = |m: i64| BEGIN.plus(Span::from_min(m));
    assert!(f.holds(BEGIN) && f.holds(minutes(9)) && !f.holds(minutes(10)) && !f.holds(minutes(-1)));
    let mut watch = watch(&nest());
    watch.found = alloc::vec![f];
    assert!(watch.is_found(0, minutes(10)) && !watch.is_found(0, BEGIN) && !watch.is_found(0, minutes(11)));
    assert!(!watch.is_found(1, minutes(5)), "another pad");
}

/// Student's t with four degrees of freedom: its logarithm less the constant, at 0 and at 2 deviations (by hand).
#[test]
fn a_wild_reading_says_something_but_not_everything() {
    let weighed = |surprise_k: f64| {
        let mut f = found(Mode::On, BEGIN, BEGIN);
        let w = Weighed { expected_c: 20.0, sd_k: 0.5, surprise_k, within: true, explained: true };
        f.weigh(BEGIN, &w);
        assert!(f.foretells.abs() < 1e-12, "what was said until its beginning says nothing");
        f.weigh(BEGIN.plus(Span::from_s(1)), &w);
        f.foretells
    };
    assert!((weighed(0.0) - 2.0_f64.ln()).abs() < 1e-12);
    assert!((weighed(1.0) - (2.0_f64.ln() - 2.5 * 2.0_f64.ln())).abs() < 1e-12);
    assert!(weighed(50.0) > -25.0);
}
