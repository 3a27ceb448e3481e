use super::*;
use crate::shelf_file::{QuietHours, Way};

fn at(text: &str) -> Timestamp {
    let at: jiff::Timestamp = text.parse().expect("RFC 3339");
    Timestamp::from_unix_ms(at.as_millisecond())
}

fn recipient(name: &str, days: Option<(&str, &str)>, zone: &str) -> Recipient {
    let day = |text: &str| text.parse().expect("a day");
    Recipient {
        name: name.to_owned(),
        phone: None,
        days: days.map_or((None, None), |(from, until)| (Some(day(from)), Some(day(until)))),
        quiet: None::<QuietHours>,
        time_zone: Some(zone.to_owned()),
    }
}

fn way_of(recipient: Option<usize>) -> NoticeWay {
    NoticeWay { recipient, ..NoticeWay::plain(Way::Log) }
}

#[test]
fn recipients_are_told_in_their_order_and_on_their_days_by_their_own_calendar() {
    // In Auckland, 13 hours ahead in January, the days begin and end that much sooner.
    let all = [
        recipient("keeper", None, "UTC"),
        recipient("friend", Some(("2026-01-10", "2026-01-20")), "Pacific/Auckland"),
        recipient("neighbour", None, "UTC"),
    ];
    let ranks = |moment: &str| [None, Some(1), Some(2)].map(|i| turn(&way_of(i), &all, at(moment)).map(|t| t.rank));
    assert_eq!(ranks("2026-01-09T10:59:59Z"), [Some(0), None, Some(1)]);
    assert_eq!(ranks("2026-01-09T11:00:00Z"), [Some(0), Some(1), Some(2)]);
    assert_eq!(ranks("2026-01-20T10:59:59Z"), [Some(0), Some(1), Some(2)]);
    assert_eq!(ranks("2026-01-20T11:00:00Z"), [Some(0), None, Some(1)]);
}

#[test]
fn where_nobody_is_there_to_be_told_everybody_is() {
    let all = [
        recipient("keeper", Some(("2026-01-01", "2026-01-02")), "UTC"),
        recipient("friend", Some(("2026-02-01", "2026-02-02")), "UTC"),
    ];
    let delays = [0, 1].map(|i| turn(&way_of(Some(i)), &all, at("2026-06-01T00:00:00Z")).map(|t| t.delay));
    assert_eq!(delays, [Some(Span::ZERO), Some(Span::from_min(4))]);
}

#[test]
fn a_delay_that_was_written_goes_before_the_order() {
    let all = [recipient("keeper", None, "UTC")];
    let late = NoticeWay { after: Some(Span::from_min(10)), ..way_of(Some(0)) };
    let turn = turn(&late, &all, at("2026-06-01T00:00:00Z")).expect("told");
    assert_eq!(turn, Turn { rank: 1, delay: Span::from_min(10), dangers_only: false });
}

#[test]
fn a_days_report_is_due_once_a_day_through_both_changes_of_the_clock() {
    // Lisbon: 01:30 does not come on 29 March 2026, and comes twice on 25 October.
    let zone = TimeZone::get("Europe/Lisbon").expect("a known zone");
    for (from, hours) in [("2026-03-27T00:00:00Z", 96), ("2026-10-23T00:00:00Z", 96)] {
        let begin = at(from);
        let mut daily = Daily::new(90, zone.clone(), None, begin);
        let mut sent = Vec::new();
        for minute in 0..hours * 60 {
            let (now, wall) = (Span::from_min(minute), begin.plus(Span::from_min(minute)));
            if daily.is_due(now, wall) {
                daily.tried(now, wall, true);
                sent.push(minute);
            }
        }
        let days: Vec<i64> = sent.iter().map(|minute| minute / (24 * 60)).collect();
        assert_eq!(days, [0, 1, 2, 3], "{from}: {sent:?}");
    }
}

#[test]
fn a_report_that_did_not_get_out_is_tried_again_and_one_that_did_is_not_after_a_restart() {
    let begin = at("2026-03-02T07:59:00Z");
    let mut daily = Daily::new(8 * 60, TimeZone::UTC, None, begin);
    let minute = |m| (Span::from_min(m), begin.plus(Span::from_min(m)));
    assert!(!daily.is_due(minute(0).0, minute(0).1));
    assert!(daily.is_due(minute(1).0, minute(1).1));
    daily.tried(minute(1).0, minute(1).1, false);
    assert!(!daily.is_due(minute(2).0, minute(2).1) && daily.is_due(minute(6).0, minute(6).1));
    let again = Daily::new(8 * 60, TimeZone::UTC, Some(minute(1).1), minute(1).1);
    assert!(!again.is_due(minute(2).0, minute(2).1));
}

/// The issue's own words: "nothing found, as of 03:12, 4 of 4 probes believed".
#[test]
fn a_day_without_an_alarm_says_when_it_was_looked_and_with_how_many_eyes() {
    use crate::views::sample::made;
    let mut snap = Snapshot::clone(&made().snapshot);
    let context = Context::new(&made().file, TimeZone::UTC);
    let shelf = context.shelf().to_owned();
    snap.at = at("2026-03-04T03:12:40Z");
    let standing = std::mem::take(&mut snap.alarms);
    snap.nests.iter_mut().flat_map(|nest| &mut nest.probes).for_each(|probe| probe.rejected = None);
    let probes: usize = snap.nests.iter().map(|nest| nest.probes.len()).sum();
    let said = daily::report(&snap, snap.at, &context);
    assert_eq!(
        said.first_line,
        format!("Shelf {shelf}: nothing found, as of 03:12, {probes} of {probes} probes believed")
    );
    assert!(said.body.contains("it is no verdict on what probes cannot see"), "{}", said.body);
    // One that is not believed is not counted as an eye.
    snap.nests[0].probes[0].rejected = Some(enclosure::Rejection::Wild);
    let said = daily::report(&snap, snap.at, &context);
    assert!(said.first_line.ends_with(&format!("{} of {probes} probes believed", probes - 1)), "{}", said.first_line);
    snap.alarms = standing;
    let said = daily::report(&snap, snap.at, &context);
    assert!(said.first_line.contains("alarms stand, as of 03:12") || said.first_line.contains("1 alarm stands"));
    assert!(!said.first_line.contains("nothing found") && said.body.contains("- DANGER: nest oak, "), "{}", said.body);
}
