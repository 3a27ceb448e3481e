extern crate std;
use super::*;

const BOUNDS: Bounds = Bounds { limit_centi_c: 4000, duty_permille: 1000, beat_ms: 2000 };
const BEGUN: Begun = Begun { boot: Some(7), by_watchdog: false, by_brown_out: false };
const GRANT: Permit = Permit {
    kind: PermitKind::Grant,
    boot: 7,
    counter: 1,
    answers: 1,
    reset: 0,
    duty_permille: 1000,
    ceiling_centi_c: 3300,
    lease_s: 60,
};

fn guard_with(begun: Begun, kept: Kept) -> Guard<1> {
    let mut guard = Guard::new(begun, BOUNDS, 30_000, kept);
    guard.probe(0, 0, Ok(2500));
    guard.pack_made(1, 0);
    guard
}

fn guard() -> Guard<1> {
    guard_with(BEGUN, Kept::default())
}

/// A good second: the program turns, the probe says 25 °C.
fn second(guard: &mut Guard<1>, s: Millis) -> Result<u16, HeatOff> {
    let now = s * 1000;
    guard.beat(now);
    guard.probe(0, now, Ok(2500));
    guard.tick(now);
    guard.verdict()
}

#[test]
fn heat_begins_with_a_permit_and_ends_with_its_seconds_counted_from_the_readings() {
    let mut guard = guard();
    assert_eq!(second(&mut guard, 0), Err(HeatOff::NoPermit));
    assert_eq!(second(&mut guard, 40), Err(HeatOff::NoPermit));
    // The permit was held back for 40 of its 60 s: 20 are left.
    guard.permit(Ok(GRANT)).unwrap();
    assert_eq!(guard.lease_ends(), Some(60_000));
    assert_eq!(second(&mut guard, 41), Ok(1000));
    assert_eq!(second(&mut guard, 59), Ok(1000));
    assert_eq!(second(&mut guard, 60), Err(HeatOff::LeaseOver));
    // Nobody turns, the interrupt does: the lease ends all the same, and long before it the heartbeat.
    let mut hung = guard_with(BEGUN, Kept::default());
    hung.permit(Ok(GRANT)).unwrap();
    assert_eq!(second(&mut hung, 1), Ok(1000));
    assert!(hung.tick(3000));
    assert!(!hung.tick(3001));
    assert_eq!(hung.verdict(), Err(HeatOff::Hung));
}

#[test]
fn a_permit_that_is_not_good_voids_the_one_before_until_the_next_good_one() {
    let others = [
        (Err(PermitError::Forged), Refused::Unread(PermitError::Forged)),
        (Err(PermitError::Garbled), Refused::Unread(PermitError::Garbled)),
        (Ok(Permit { boot: 6, counter: 9, ..GRANT }), Refused::OtherStart),
        (Ok(Permit { counter: 4, ..GRANT }), Refused::Replayed),
        (Ok(Permit { counter: 5, lease_s: 600, ..GRANT }), Refused::Replayed),
        (Ok(Permit { counter: 6, answers: 2, ..GRANT }), Refused::Stale),
    ];
    for (permit, why) in others {
        let mut guard = guard();
        guard.permit(Ok(Permit { counter: 5, ..GRANT })).unwrap();
        assert_eq!((second(&mut guard, 1), guard.refused()), (Ok(1000), 0));
        // A broker may deliver one twice.
        assert_eq!(guard.permit(Ok(Permit { counter: 5, ..GRANT })), Ok(()));
        assert_eq!(second(&mut guard, 2), Ok(1000));
        assert_eq!(guard.permit(permit), Err(why));
        assert_eq!(second(&mut guard, 3), Err(HeatOff::PermitRefused));
        assert_eq!((guard.refused(), guard.lease_ends()), (1, None));
        guard.permit(Ok(Permit { counter: 7, ..GRANT })).unwrap();
        assert_eq!(second(&mut guard, 4), Ok(1000));
    }
}

#[test]
fn after_a_withdrawal_only_a_persons_reset_lets_heat_return() {
    let mut guard = guard();
    guard.permit(Ok(Permit { reset: 3, ..GRANT })).unwrap();
    assert_eq!(guard.take_changed(), Some(Kept { reset: 3, latch: None }));
    assert_eq!(second(&mut guard, 1), Ok(1000));
    guard.permit(Ok(Permit { kind: PermitKind::Withdraw, counter: 2, answers: 99, reset: 3, ..GRANT })).unwrap();
    let kept = guard.take_changed().unwrap();
    assert_eq!((second(&mut guard, 2), kept.latch), (Err(HeatOff::Withdrawn), Some(Latch::Withdrawn)));
    assert_eq!(guard.lease_ends(), None);
    // Neither by itself, nor by a restart, nor by a link, nor by an older reset.
    for reset in [0, 2, 3] {
        guard.permit(Ok(Permit { counter: 3 + reset, reset, ..GRANT })).unwrap();
        assert_eq!(second(&mut guard, 3), Err(HeatOff::Withdrawn));
    }
    let mut again = guard_with(Begun { boot: Some(8), ..BEGUN }, kept);
    again.permit(Ok(Permit { boot: 8, reset: 3, ..GRANT })).unwrap();
    assert_eq!(second(&mut again, 4), Err(HeatOff::Withdrawn));
    again.permit(Ok(Permit { boot: 8, counter: 2, reset: 4, ..GRANT })).unwrap();
    assert_eq!(second(&mut again, 5), Ok(1000));
    assert_eq!(again.take_changed(), Some(Kept { reset: 4, latch: None }));
    assert_eq!(again.take_changed(), None);
    // A memory that did not take it is asked again.
    again.not_kept();
    assert_eq!(again.take_changed(), Some(Kept { reset: 4, latch: None }));
}

#[test]
fn a_passed_limit_and_a_watchdog_wait_for_a_person_too() {
    let mut hot = guard();
    hot.permit(Ok(GRANT)).unwrap();
    assert_eq!(second(&mut hot, 1), Ok(1000));
    for now in [2000, 3000, 4000] {
        hot.probe(0, now, Ok(4100));
        assert!(!hot.tick(now), "off with the first of them");
    }
    assert_eq!(hot.take_changed(), Some(Kept { reset: 0, latch: Some(Latch::Limit) }));
    for s in 5..10 {
        assert_eq!(second(&mut hot, s), Err(HeatOff::Limit));
    }
    hot.permit(Ok(Permit { counter: 2, ..GRANT })).unwrap();
    assert_eq!(second(&mut hot, 10), Err(HeatOff::Limit));
    hot.permit(Ok(Permit { counter: 3, reset: 1, ..GRANT })).unwrap();
    assert_eq!(second(&mut hot, 11), Ok(1000));

    let mut bitten = guard_with(Begun { by_watchdog: true, ..BEGUN }, Kept::default());
    bitten.permit(Ok(GRANT)).unwrap();
    assert_eq!(second(&mut bitten, 1), Err(HeatOff::Watchdog));
    bitten.permit(Ok(Permit { counter: 2, reset: 1, ..GRANT })).unwrap();
    assert_eq!(second(&mut bitten, 2), Ok(1000));
}

#[test]
fn a_low_supply_must_settle_and_a_start_without_number_never_heats() {
    let mut dim = guard_with(Begun { by_brown_out: true, ..BEGUN }, Kept::default());
    dim.permit(Ok(GRANT)).unwrap();
    assert_eq!(second(&mut dim, 29), Err(HeatOff::SupplyLow));
    assert_eq!(second(&mut dim, 30), Ok(1000));
    dim.supply_is_low(31_000);
    dim.pack_made(2, 31_000);
    dim.permit(Ok(Permit { counter: 2, answers: 2, ..GRANT })).unwrap();
    assert_eq!(second(&mut dim, 60), Err(HeatOff::SupplyLow));
    assert_eq!(second(&mut dim, 61), Ok(1000));
    let mut nameless = guard_with(Begun { boot: None, ..BEGUN }, Kept::default());
    assert_eq!(nameless.permit(Ok(GRANT)), Err(Refused::OtherStart));
    assert_eq!(second(&mut nameless, 1), Err(HeatOff::Memory));
}

#[test]
fn the_switch_is_closed_for_the_share_that_is_permitted_and_that_is_what_is_reported() {
    for permille in [1, 250, 500, 999, 1000] {
        let mut guard = guard();
        guard.permit(Ok(Permit { duty_permille: permille, lease_s: 600, ..GRANT })).unwrap();
        let mut on = 0_u64;
        for now in (0..5 * PERIOD_MS).step_by(20) {
            guard.beat(now);
            guard.probe(0, now, Ok(2500));
            on += u64::from(guard.tick(now));
        }
        let share = on * 20 * 1000 / (5 * PERIOD_MS);
        assert!(share.abs_diff(u64::from(permille)) <= 1, "{share} of {permille}");
        assert!(guard.take_duty().abs_diff(permille) <= 1);
        // Asked again within the same millisecond: as the switch is.
        assert_eq!(guard.take_duty(), if guard.pin { 1000 } else { 0 });
    }
}

/// A receipt may come late, and with it the permit; but readings of long ago justify nothing.
#[test]
fn a_permit_may_rest_on_any_of_the_last_packs_and_on_no_older_one() {
    let mut guard = guard();
    let mut counter = 0;
    for seq in 2..3 * PACKS as u32 {
        guard.pack_made(seq, 0);
        for answers in 1..=seq + 1 {
            counter += 1;
            let good = answers <= seq && answers + PACKS as u32 > seq;
            let got = guard.permit(Ok(Permit { counter, answers, ..GRANT }));
            assert_eq!(got, if good { Ok(()) } else { Err(Refused::Stale) }, "{answers} after {seq}");
        }
    }
}

/// Memory wears by being written: at a permit a minute, a cell for a hundred thousand writes would last ten weeks (from memory).
#[test]
fn what_stands_in_memory_is_not_written_again_and_the_first_reason_stays() {
    let mut guard = guard();
    assert_eq!(guard.take_changed(), None);
    for counter in 1..5 {
        guard.permit(Ok(Permit { counter, reset: 2, ..GRANT })).unwrap();
        assert_eq!(guard.take_changed(), (counter == 1).then_some(Kept { reset: 2, latch: None }));
    }
    for s in 1..9 {
        guard.probe(0, s * 1000, Ok(4100));
        let limit = Kept { reset: 2, latch: Some(Latch::Limit) };
        assert_eq!(guard.take_changed(), (s == 3).then_some(limit), "hot reading {s}");
    }
    guard.permit(Ok(Permit { kind: PermitKind::Withdraw, counter: 9, reset: 2, ..GRANT })).unwrap();
    assert_eq!((guard.take_changed(), guard.kept().latch), (None, Some(Latch::Limit)));
    let bitten = guard_with(Begun { by_watchdog: true, ..BEGUN }, guard.kept());
    assert_eq!(bitten.kept(), guard.kept());
}

#[test]
fn no_permit_holds_longer_than_ten_minutes() {
    let mut guard = guard();
    guard.permit(Ok(Permit { lease_s: u16::MAX, ..GRANT })).unwrap();
    assert_eq!(second(&mut guard, 599), Ok(1000));
    assert_eq!(second(&mut guard, 600), Err(HeatOff::LeaseOver));
}

proptest::proptest! {
    /// Whatever happens in whatever order: the pad is driven only in the seconds of the last permit, a good one that
    /// rests on readings of this start, never while it waits for a person, hangs, or a probe is hot or silent.
    #[test]
    fn in_any_story_heat_has_a_good_permit(
        events in proptest::collection::vec((0_u8..8, 0_u32..6, 0_u16..90, -20_i16..20), 0..120),
    ) {
        let mut guard = guard();
        let (mut now, mut beat, mut seq, mut resets) = (0, 0, 1, 0);
        let mut made = [(1, 0)].to_vec();
        let (mut lease_ends, mut waits) = (None, false);
        let (mut heard, mut stored) = ((0, 2500_i16), Kept::default());
        for (kind, number, s, kelvin) in events {
            now += u64::from(s) * 100;
            match kind {
                0 | 1 => (beat, _) = (now, guard.beat(now)),
                2 => {
                    seq += 1;
                    made.push((seq, now));
                    guard.pack_made(seq, now);
                }
                3 => {
                    heard = (now, 2500 + kelvin * 100);
                    guard.probe(0, now, Ok(heard.1));
                    waits |= guard.kept().latch.is_some();
                }
                4 => {
                    lease_ends = None;
                    let read = if number < 3 { Err(PermitError::Forged) } else { Ok(Permit { boot: 6, ..GRANT }) };
                    guard.permit(read).unwrap_err();
                }
                5 => {
                    let withdraw = Permit { kind: PermitKind::Withdraw, counter: seq * 10 + number, ..GRANT };
                    waits |= guard.permit(Ok(withdraw)).is_ok();
                    lease_ends = None;
                }
                _ => {
                    resets += u32::from(number == 5);
                    let answers = seq.saturating_sub(number);
                    let permit = Permit { counter: seq * 10 + number, answers, reset: resets, lease_s: s, ..GRANT };
                    let taken = made.iter().find(|(seq, _)| *seq == answers).map(|(_, taken)| *taken);
                    let twice = guard.last == Some(permit);
                    let good = guard.permit(Ok(permit)).is_ok();
                    proptest::prop_assert!(!good || taken.is_some());
                    waits &= !(good && guard.kept().latch.is_none());
                    if !twice {
                        lease_ends = taken.filter(|_| good).map(|taken| taken + u64::from(s) * 1000);
                    }
                }
            }
            // What is to be stored is told when it changes, and then only.
            let before = stored;
            stored = guard.take_changed().unwrap_or(stored);
            proptest::prop_assert_eq!(guard.kept(), stored);
            let replaced = before.latch.is_some() && stored.latch.is_some() && before.latch != stored.latch;
            proptest::prop_assert!(!replaced && stored.reset >= before.reset);
            if guard.tick(now) {
                proptest::prop_assert!(!waits && guard.kept().latch.is_none());
                proptest::prop_assert!(lease_ends.is_some_and(|ends| now < ends), "{lease_ends:?} {now}");
                proptest::prop_assert!(now - beat <= BOUNDS.beat_ms && now - heard.0 <= 30_000);
                proptest::prop_assert!(heard.1 < GRANT.ceiling_centi_c);
            }
        }
    }
}
