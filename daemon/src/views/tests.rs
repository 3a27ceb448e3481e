//! The views over a made history.
use super::now::now_page;
use super::past::{COLUMNS, Past, recall};
use super::sample::{CUT_H, LENGTH_S, Made, at_h, made, silent, utc};
use super::sentences;
use super::week::{Telling, week_view};
use crate::history::{Batch, FitAct, FitRecord, Reader, Store};
use crate::snapshot::StandingAlarm;
use dashboards::{BaseFrom, MarkKind, WeekView, say};
use enclosure::rival::Mode;
use enclosure::{Alarm, Core, Input, Reading, Span, Timestamp};
use std::ops::Range;

fn past(made: &Made, nest: usize, span: Range<Timestamp>, columns: usize) -> Past {
    let nest = &made.file.shelf.nests[nest];
    recall(&made.reader(), (&made.file.shelf, nest), span, columns, &|| false).unwrap()
}

fn week(made: &Made, past: &Past) -> WeekView {
    week_view(past, &made.reader(), Telling::default(), &utc()).unwrap()
}

fn whole() -> Range<Timestamp> {
    at_h(0.0)..at_h(LENGTH_S / 3600.0)
}

#[test]
fn the_past_is_what_the_core_knows_of_it_by_now() {
    let made = made();
    let past = past(made, 0, whole(), COLUMNS);
    let k = past.samples.len() / 3;
    let at = past.at(k);
    // A core of the whole shelf that hears everything, and is asked once the moment has come and once all is over.
    let mut core = Core::new(made.file.shelf.clone());
    core.look_back(0, [at]);
    let mut then = None;
    for r in made.reader().readings(None, at_h(-1.0)..past.span.end).unwrap() {
        if r.at >= at && then.is_none() {
            then = core.nest(0, at);
        }
        while let Some(wake) = core.wake_at().filter(|w| *w <= r.at) {
            core.step(wake, Input::Wake);
        }
        let source = core.source(&r.source).unwrap();
        core.step(r.at, Input::Reading(Reading { source, at: r.at, measured: r.measured }));
    }
    let (then, by_now, drawn) = (then.unwrap(), core.hindsight(0).remove(0), past.samples[k].as_ref().unwrap());
    assert!((by_now.brood_c.0 - drawn.brood_c.unwrap().0).abs() < 1e-4, "{by_now:?} {drawn:?}");
    assert_eq!(then.profile.at_mm, past.at_mm);
    assert!(by_now.mean_c.iter().zip(&drawn.mean_c).all(|(a, b)| (a - f64::from(*b)).abs() < 1e-3));
    assert!(by_now.sd_k.iter().zip(&drawn.sd_k).all(|(a, b)| (a - f64::from(*b)).abs() < 1e-3));
    // It is a better look at the same thing.
    let believed = then.profile.mean_c.iter().zip(&then.profile.sd_c);
    for ((was, sd_k), (is, now_k)) in believed.zip(by_now.mean_c.iter().zip(&by_now.sd_k)) {
        assert!(now_k <= sd_k && (was - is).abs() < 3.0 * sd_k, "{is} ± {now_k}, then {was} ± {sd_k}");
    }
    assert!(by_now.brood_c.1 < then.brood_c.unwrap().1);
}

#[test]
fn a_picture_says_whether_it_is_drawn_with_hindsight() {
    let made = made();
    let (fine, long) = (whole(), at_h(-37.0 * 24.0)..at_h(LENGTH_S / 3600.0));
    let said = |span: Range<Timestamp>| {
        let columns = super::past::columns_of(&span);
        week(made, &past(made, 0, span, columns)).seen_how
    };
    assert!(said(fine).contains("hindsight") && said(long).is_empty());
}

/// The relay of the made history sticks three hours before its end: it is drawn, and its heat counted, from its beginning
/// on, and said so below the picture of every span that holds some of that time; of no other nest.
#[test]
fn a_mat_found_stuck_late_is_drawn_as_stuck_from_its_beginning_on() {
    let made = made();
    let day = at_h(48.0)..at_h(72.0);
    let drawn = past(made, 0, day.clone(), 480);
    let [found] = &drawn.found[..] else { panic!("{:?}", drawn.found) };
    assert!(found.mode == Mode::On && !found.feigned && found.from > at_h(69.0) && found.until > found.from);
    // A mat's heat arrives some minutes late.
    let warm = found.from.plus(Span::from_min(3));
    let blind: Vec<usize> =
        (0..drawn.samples.len()).filter(|k| warm < drawn.at(*k) && drawn.at(*k) < found.until).collect();
    let rated_w = made.file.shelf.nests[0].pads[0].rated_w;
    let heat_w: Vec<f64> = blind.iter().map(|k| drawn.samples[*k].as_ref().unwrap().heat_w).collect();
    assert!(!heat_w.is_empty() && heat_w.iter().all(|w| *w > 0.8 * rated_w), "{heat_w:?} W of {rated_w}");
    let how = week(made, &drawn).seen_how;
    let says =
        say!("past-found-on", mat = say!("past-mat"), from = utc().dated(found.from), until = utc().dated(found.until));
    assert!(how.ends_with(&says), "{how}");
    for (nest, span) in [(0, at_h(40.0)..at_h(60.0)), (1, day)] {
        let other = past(made, nest, span, 48);
        assert!(other.found.is_empty(), "{:?}", other.found);
        assert_eq!(week(made, &other).seen_how, say!("past-hindsight"));
    }
}

/// Whatever was found late of a mat is told, faults first, so many one by one and the rest counted.
#[test]
fn what_was_found_late_is_told_in_order_of_weight() {
    let made = made();
    let mut drawn = past(made, 0, at_h(48.0)..at_h(72.0), 48);
    let one = drawn.found[0].clone();
    let of = |mode, feigned| {
        let mut found = one.clone();
        (found.mode, found.feigned) = (mode, feigned);
        found
    };
    drawn.found = vec![of(Mode::Follow, true), of(Mode::Off, false), of(Mode::Follow, false)];
    let (from, until, mat) = (utc().dated(one.from), utc().dated(one.until), say!("past-mat"));
    let said = [
        say!("past-hindsight"),
        say!("past-found-off", mat = &mat, from = &from, until = &until),
        say!("past-found-as-told", mat = &mat, from = &from, until = &until),
        say!("past-found-no-fault", mat = &mat, from = &from, until = &until),
    ];
    assert_eq!(week(made, &drawn).seen_how, said.join(" "));
    drawn.found.extend([of(Mode::On, false), of(Mode::On, false)]);
    let how = week(made, &drawn).seen_how;
    assert!(how.ends_with(&say!("past-found-more", count = 2)) && !how.contains(&said[3]), "{how}");
    drawn.hindsight = false;
    assert!(week(made, &drawn).seen_how.is_empty());
}

/// "The mat" of a nest with several would leave the keeper to guess which.
#[test]
fn of_several_mats_the_one_that_was_found_faulty_is_named_by_its_place() {
    let made = made();
    let mut drawn = past(made, 0, at_h(48.0)..at_h(72.0), 48);
    let mut second = drawn.nest.pads[0].clone();
    (second.span.from_mm, second.span.to_mm) = (150.0, 210.0);
    drawn.nest.pads.push(second);
    let mut other = drawn.found[0].clone();
    other.pad = 1;
    drawn.found.push(other);
    let how = week(made, &drawn).seen_how;
    let pad = drawn.nest.pads[0].span;
    assert!(how.contains(&format!("the mat at {:.0} to {:.0} mm is drawn", pad.from_mm, pad.to_mm)), "{how}");
    assert!(how.contains("the mat at 150 to 210 mm is drawn") && !how.contains("the mat is drawn"), "{how}");
}

/// What is stored after a span tells of its end; what was not stored by then tells nothing of its readings.
#[test]
fn hours_after_a_span_tell_of_its_end() {
    let made = made();
    let (short, long) = (at_h(20.0)..at_h(26.0), at_h(20.0)..at_h(29.0));
    let (short, long) = (past(made, 0, short, 36), past(made, 0, long, 54));
    let (k, last) = (short.samples.len() - 1, short.samples.last().unwrap().as_ref().unwrap());
    assert_eq!(short.at(k), long.at(k));
    let same = long.samples[k].as_ref().unwrap();
    assert!((last.brood_c.unwrap().0 - same.brood_c.unwrap().0).abs() < 1e-4, "{last:?} {same:?}");
    assert!((last.brood_c.unwrap().1 - same.brood_c.unwrap().1).abs() < 1e-4);
    assert!(short.readings < long.readings);
}

/// The keeper's threshold of a nest counts wherever its degree-days are told, unless the page is asked for another.
#[test]
fn degree_days_count_above_what_the_keeper_set_for_the_nest() {
    let made = made();
    let plain = past(made, 0, whole(), COLUMNS);
    let mut own = plain.clone();
    own.nest.degree_days_above_c = Some(10.0);
    let sum = |week: &WeekView| week.total.as_ref().unwrap().degree_days.unwrap();
    let (from_zero, from_ten) = (week(made, &plain), week(made, &own));
    assert_eq!((from_zero.base_c, from_zero.base_from), (0.0, BaseFrom::Nobody));
    assert_eq!((from_ten.base_c, from_ten.base_from), (10.0, BaseFrom::ShelfFile));
    let brood: Vec<f64> = plain.samples.iter().flatten().filter_map(|s| s.brood_c).map(|b| b.0).collect();
    assert!(brood.iter().all(|c| *c > 10.0));
    let days = brood.len() as f64 * plain.step().s() / 86_400.0;
    let less = sum(&from_zero) - sum(&from_ten);
    assert!((less - 10.0 * days).abs() < 1e-6, "ten kelvins a day of those {days} days: {less}");
    let telling = Telling { base_c: Some(12.5), ..Telling::default() };
    let asked = week_view(&own, &made.reader(), telling, &utc()).unwrap();
    assert_eq!((asked.base_c, asked.base_from), (12.5, BaseFrom::Asked));
}

/// Forty days of which three were watched: drawn from hours, they are much as they were, and no spike is lost.
#[test]
fn a_long_span_is_drawn_from_hours_and_keeps_every_spike() {
    let made = made();
    let span = at_h(-37.0 * 24.0)..at_h(LENGTH_S / 3600.0);
    let columns = super::past::columns_of(&span);
    assert_eq!(columns, 4 * 40);
    let long = past(made, 0, span.clone(), columns);
    let known: Vec<usize> = (0..long.samples.len()).filter(|k| long.samples[*k].is_some()).collect();
    assert!(known.len() >= 28 && known.iter().all(|k| long.at(*k) > at_h(0.0)), "{}", known.len());
    let fine = past(made, 0, whole(), COLUMNS);
    // The last day, the stuck mat's hours left out: there the mean of an hour is no hour's end.
    let day = at_h(44.0)..at_h(68.0);
    let mean = |p: &Past| {
        let within = (0..p.samples.len()).filter(|k| day.contains(&p.at(*k)));
        let c: Vec<f64> = within.filter_map(|k| Some(p.samples[k].as_ref()?.brood_c?.0)).collect();
        c.iter().sum::<f64>() / c.len() as f64
    };
    assert!((mean(&long) - mean(&fine)).abs() < 0.7, "{} against {}", mean(&long), mean(&fine));
    let probes: Vec<&str> = made.file.shelf.nests[0].probes.iter().map(|p| p.source.as_str()).collect();
    let believed = made.reader().readings(Some(&probes), span).unwrap().into_iter().filter(|r| r.rejection.is_none());
    let hottest = believed.filter_map(|r| match r.measured {
        enclosure::Measured::Temperature(c) => Some(c),
        _ => None,
    });
    let drawn = long.said.columns.iter().flatten().map(|c| c.2).fold(f64::MIN, f64::max);
    assert!((drawn - hottest.fold(f64::MIN, f64::max)).abs() < 1e-9, "{drawn}");
}

#[test]
fn a_gap_stays_a_gap() {
    let made = made();
    let week = week(made, &past(made, 0, whole(), COLUMNS));
    let column = |h: f64| (h * 3600.0 / LENGTH_S * COLUMNS as f64) as usize;
    let known = |range: Range<usize>| range.filter(|c| week.map.columns[*c].is_some()).count();
    // Twenty minutes after the last reading nothing is known any more.
    assert_eq!(known(column(CUT_H.0 + 0.6)..column(CUT_H.1)), 0);
    let (before, after) = (column(5.0)..column(CUT_H.0), column(CUT_H.1 + 0.5)..COLUMNS);
    assert_eq!((known(before.clone()), known(after.clone())), (before.len(), after.len()));
    assert!(week.sentences.iter().any(|s| s.contains("nothing is known")), "{:?}", week.sentences);
    assert!(week.lanes.iter().all(|l| l.points[column(CUT_H.1 - 1.0)].is_none()));
    let day = &week.days[1];
    let want = 1.0 - (CUT_H.1 - CUT_H.0 - 1.0 / 3.0) / 24.0;
    assert!((day.known - want).abs() < 0.02, "{} against {want}", day.known);
}

#[test]
fn days_sentences_and_marks_tell_the_span() {
    let made = made();
    let week = week(made, &past(made, 0, whole(), COLUMNS));
    let days: Vec<_> = week.days.iter().map(|d| d.day.as_str()).collect();
    assert_eq!(days, ["Sun 1 March", "Mon 2 March", "Tue 3 March"]);
    for day in &week.days {
        let brood = day.brood_c.unwrap();
        assert!(brood.min <= brood.mean && brood.mean <= brood.max);
        assert!((0.0..=1.0).contains(&day.in_band.unwrap()));
    }
    assert!((1..=3).contains(&week.sentences.len()));
    let marks = |alarm: bool| week.marks.iter().filter(move |m| matches!(m.kind, MarkKind::Alarm(_)) == alarm);
    assert!(marks(true).any(|m| m.text.contains("the heating mat will not switch off")), "{:?}", week.marks);
    let notes: Vec<_> = marks(false).map(|m| (m.text.as_str(), m.at_mm)).collect();
    assert_eq!(notes, [("brood seen at 62 mm: two heaps & <eggs>", Some(62.0)), ("water refilled", None)]);
    assert!(week.marks.windows(2).all(|m| m[0].at <= m[1].at));
}

#[test]
fn a_span_without_readings_is_all_gap_and_says_so() {
    let made = made();
    let week = week(made, &past(made, 1, at_h(-400.0)..at_h(-300.0), COLUMNS));
    assert!(week.map.is_empty() && week.map.columns.len() == COLUMNS);
    assert_eq!(week.sentences.len(), 1);
}

/// On its second day nobody is to find out why a nest was silent in the week before it was there.
#[test]
fn before_its_first_reading_a_nest_was_not_silent() {
    let made = made();
    let drawn = past(made, 0, at_h(-5.0 * 24.0)..at_h(24.0), 144);
    let first = drawn.began.unwrap();
    assert!(first >= at_h(0.0) && first < at_h(0.2), "{first:?}");
    let said = week(made, &drawn).sentences.join(" ");
    assert!(said.contains(&format!("; its first reading came {}", utc().dated(first))), "{said}");
    assert!(!said.contains("nothing is known") && !said.contains("nothing was heard"), "{said}");
    // What falls silent later is still asked about.
    let cut = past(made, 0, at_h(26.0)..at_h(34.0), 48);
    assert!(cut.began.is_none_or(|began| began < at_h(26.0)), "{:?}", cut.began);
    let said = week(made, &cut).sentences.join(" ");
    assert!(said.contains("find out why nothing was heard"), "{said}");
}

/// One probe at one end: that the mean of what is believed keeps to the band says nothing.
#[test]
fn what_is_known_too_badly_is_not_held_against_the_band() {
    let made = made();
    let mut drawn = past(made, 0, at_h(40.0)..at_h(60.0), 48);
    assert!(week(made, &drawn).sentences[0].contains("within the band"));
    for brood in drawn.samples.iter_mut().flatten().filter_map(|s| s.brood_c.as_mut()) {
        brood.1 = 4.0;
    }
    let week = week(made, &drawn);
    let said = week.sentences.join(" ");
    assert!(said.contains(" ± 7 °C on average: too little is known to hold it against the band"), "{said}");
    assert!(!said.contains("% of the known time") && !said.contains("the band for"), "{said}");
    assert!(week.days.iter().all(|d| d.in_band.is_none()), "{:?}", week.days);
}

/// A stuck mat at the end of a span of which the beginning is not known is no "little changed".
#[test]
fn what_is_hardly_known_is_compared_with_nothing_or_with_a_word_about_it() {
    let made = made();
    let (known, hardly) = (whole(), at_h(-37.0 * 24.0)..at_h(LENGTH_S / 3600.0));
    let says = |past: &Past, other: Option<(&Past, &str)>| {
        let telling = Telling { other, ..Telling::default() };
        week_view(past, &made.reader(), telling, &utc()).unwrap().sentences.join(" ")
    };
    let (known, hardly) = (past(made, 0, known, COLUMNS), past(made, 0, hardly, 160));
    assert!(says(&known, None).contains("against the beginning"));
    let said = says(&hardly, None);
    assert!(!said.contains("beginning"), "{said}");
    let said = says(&known, Some((&hardly, "the month before")));
    assert!(said.contains("f the month before too little is known (7 %) to compare"), "{said}");
    let partly = past(made, 0, at_h(-7.0 * 24.0)..at_h(LENGTH_S / 3600.0), 160);
    let said = says(&known, Some((&partly, "the days before")));
    assert!(said.contains("the days before (known for 29 % of it only)"), "{said}");
    assert!(!says(&known, Some((&known, "itself"))).contains("known for"));
}

/// A week that is alike to its end, where a mat sticks: that began too late to show in a third of it.
#[test]
fn a_span_that_ends_in_an_alarm_is_not_said_to_have_changed_little() {
    let made = made();
    let mut past = past(made, 0, whole(), COLUMNS);
    let seen = past.samples.iter().flatten().next().cloned();
    past.samples.fill(seen);
    let says = |still: &[Alarm]| sentences::sentences(&past, None, (&[], still), None, &utc()).join(" ");
    assert!(says(&[]).contains("ittle changed"));
    assert!(!says(&[Alarm::HeaterStuckOn]).contains("ittle changed"), "{}", says(&[Alarm::HeaterStuckOn]));
}

#[test]
fn a_run_that_is_stopped_leaves_the_rest_unknown() {
    let made = made();
    let asked = std::cell::Cell::new(0);
    let stop = || {
        asked.set(asked.get() + 1);
        asked.get() > 20_000
    };
    let nest = &made.file.shelf.nests[0];
    let past = recall(&made.reader(), (&made.file.shelf, nest), whole(), COLUMNS, &stop).unwrap();
    assert!(past.samples.iter().any(Option::is_some));
    assert!(past.samples.last().unwrap().is_none());
}

/// A number of an hour ago, drawn as if it were so now, would be the opposite of a watch.
#[test]
fn what_a_silent_probe_said_last_is_not_shown_as_believed() {
    let made = made();
    let (mut snap, later) = (made.snapshot.clone(), made.end.plus(Span::from_min(80)));
    let p = snap.nests[0].probes.iter().find(|p| p.temperature.is_some() && p.rejected.is_none()).unwrap().source;
    let name = &snap.sources[usize::from(p.0)].clone();
    let of = |snap: &crate::snapshot::Snapshot, now| {
        let page = now_page(snap, now, &utc());
        let believed = dashboards::probes_believed(&page);
        (page.nests[0].probes.iter().find(|p| p.name == *name).unwrap().not_believed_because.clone(), believed)
    };
    let before = of(&snap, made.end);
    let key = enclosure::AlarmKey { alarm: Alarm::ProbeSilent, nest: Some(0), probe: Some(p), node: None };
    let (state, since) = (enclosure::State::Unacknowledged, made.end);
    snap.alarms.push(StandingAlarm {
        key,
        state,
        since,
        raised: None,
        detail: String::new(),
        cause: None,
        until: None,
    });
    assert_eq!(of(&snap, made.end), before, "what it said is new");
    let (why, believed) = of(&snap, later);
    assert!(why.unwrap().contains("is silent") && believed != before.1, "{believed}");
    assert_eq!(before.0, None);
}

#[test]
fn the_page_of_now_shows_what_stands_and_what_can_be_done() {
    let made = made();
    let page = now_page(&made.snapshot, made.end, &utc());
    let stuck = page.alarms.iter().find(|a| a.alarm == "heater-stuck-on").unwrap();
    assert!(stuck.what_to_do[0].starts_with("Smoke, flame") && stuck.what_to_do[1].starts_with("Pull the plug"));
    let named = |name: &str| stuck.actions[0].fields.iter().find(|(n, _)| n == name).map(|(_, v)| v.as_str());
    assert_eq!((named("alarm"), named("nest")), (Some("heater-stuck-on"), Some("oak")));
    assert_eq!(page.nests.len(), 2);
    assert_eq!(page.nests[0].probes.len(), 3);
    let html = dashboards::now_html(&page);
    assert!(html.contains("attic-node:&lt;b&gt;") && !html.contains("<b>"));
}

/// Whatever a keeper does to an alarm, the page goes on to say since when it stands; of what is over, until when it did.
#[test]
fn an_answer_does_not_make_a_danger_younger() {
    let made = made();
    let (raised, now) = (made.end.minus(Span::from_min(70)), made.end);
    let shown = |state, since: Timestamp| {
        let mut snap = made.snapshot.clone();
        snap.alarms.retain(|a| a.key.alarm == Alarm::HeaterStuckOn);
        (snap.alarms[0].state, snap.alarms[0].since, snap.alarms[0].raised) = (state, since, Some(raised));
        let page = now_page(&snap, now, &utc());
        let view = page.alarms.into_iter().next().unwrap();
        (view.since_text, view.state_text, view.nest_now)
    };
    let later = now.minus(Span::from_min(10));
    let (from, at) = (utc().near(raised, now), utc().near(later, now));
    let stands = format!("since {from}, for 70 min");
    let (since, state, warmth) = shown(enclosure::State::Unacknowledged, raised);
    assert_eq!((since, state.as_str()), (stands.clone(), "nobody has answered yet"));
    assert!(warmth.unwrap().starts_with("The brood place is at "));
    let (since, state, warmth) = shown(enclosure::State::Acknowledged, later);
    assert_eq!((since, state), (stands, format!("answered {at}")));
    assert!(warmth.is_some());
    // It grew worse after it was answered: to say that nobody ever answered would be as false.
    let (_, state, _) = shown(enclosure::State::Unacknowledged, later);
    assert_eq!(state, format!("told anew {at}, and nobody has answered since"));
    let (since, state, warmth) = shown(enclosure::State::Latched, later);
    assert_eq!(
        (since, state.as_str()),
        (format!("from {from} until {at}, for 60 min"), "over, held until it is reset")
    );
    assert_eq!(warmth, None, "what is over is no reason to run");
}

#[test]
fn before_the_first_reading_nothing_is_claimed() {
    let silent = silent();
    let page = now_page(&silent, silent.at, &utc());
    assert!(page.age_s.is_none() && page.alarms.is_empty());
    assert!(
        page.nests.iter().all(|n| n.profile.at_mm.is_empty() && n.summary == "Nothing has been heard from it yet.")
    );
}

#[test]
fn an_estimate_without_fresh_readings_calls_itself_a_guess() {
    let made = made();
    let later = made.end.plus(Span::from_h(2));
    let page = now_page(&made.snapshot, later, &utc());
    assert!(page.nests[0].summary.contains("a guess"), "{}", page.nests[0].summary);
    assert!(page.nests[0].tone >= dashboards::Tone::Warning);
}

#[test]
fn a_fit_learned_later_tells_the_first_hours_better() {
    let made = made();
    let mut core = Core::new(made.file.shelf.clone());
    let names: Vec<String> = core.sources().to_vec();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let learned_from = at_h(0.0)..at_h(28.0);
    let mut hear = |r: crate::history::HistoricReading| {
        let Some(source) = core.source(&r.source) else { return };
        core.step(r.at, Input::Reading(Reading { source, at: r.at, measured: r.measured }));
    };
    made.reader().each_reading(Some(&names), learned_from, &mut hear).unwrap();
    let nest = &made.file.shelf.nests[0];
    let news = core.fit_now(0).unwrap();
    assert!(news.fit.is_some(), "{:?}", news.refused);
    let dir = tempfile::tempdir().unwrap();
    let copy = dir.path().join("history.sqlite");
    made.reader().backup(&copy).unwrap();
    let first_hours = |path: &std::path::Path| {
        let reader = Reader::open(path).unwrap();
        let past = recall(&reader, (&made.file.shelf, nest), at_h(1.0)..at_h(5.0), 24, &|| false).unwrap();
        let sds: Vec<f64> = past.samples.iter().flatten().filter_map(|s| Some(s.brood_c?.1)).collect();
        sds.iter().sum::<f64>() / sds.len() as f64
    };
    let without_k = first_hours(&copy);
    let mut store = Store::open(&copy, made.end).unwrap().store;
    let fits = vec![FitAct::New(FitRecord::of(enclosure::estimate::FitNews { refused: None, ..news }, nest))];
    store.commit(&[Batch { fits, ..Batch::default() }]).unwrap().remove(0).unwrap();
    let with_k = first_hours(&copy);
    assert!(with_k < without_k, "{with_k} K with hindsight, {without_k} K without");
}
