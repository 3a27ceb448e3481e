//! Everything that `dashboards` draws, rendered in `Marked`: what is in plain letters then was given by the caller (here
//! [`GIVEN`]) or is a word left in code.
mod given;

use dashboards::say::{Language, in_language};
use dashboards::*;
use given::*;
use tests::words::{unsaid, unsaid_text};

/// Pages of now for each way a shelf can stand.
fn pages_of_now() -> Vec<(&'static str, String)> {
    let of = |states: &[&str], tone| now(states.iter().map(|state| alarm("brood-hot", state, tone)).collect());
    let watch = AlarmView { nests: Vec::new(), ..alarm("broker-lost", "unacknowledged", Tone::Warning) };
    vec![
        ("now", now_html(&now(alarms()))),
        ("now fragment", now_fragment(&now(alarms()))),
        ("now stalled", now_html(&NowPage { stalled: Some(given()), ..now(Vec::new()) })),
        ("now unheard", now_html(&NowPage { age_s: None, ..now(Vec::new()) })),
        ("now quiet", now_html(&now(Vec::new()))),
        ("now one over", now_html(&of(&["returned"], Tone::Warning))),
        ("now two over", now_html(&of(&["returned", "returned", "shelved"], Tone::Warning))),
        ("now two silenced", now_html(&of(&["shelved", "shelved"], Tone::Warning))),
        ("now one silenced", now_html(&of(&["shelved"], Tone::Warning))),
        ("now calm", now_html(&of(&["unacknowledged"], Tone::Calm))),
        ("now watch", now_html(&now(vec![watch]))),
        ("now danger", now_html(&of(&["unacknowledged", "latched"], Tone::Danger))),
    ]
}

fn pages() -> Vec<(&'static str, String)> {
    let mut all = pages_of_now();
    let saved = Frame { assets: Assets::Inline, ..frame() };
    let report = ReportPage {
        frame: saved.clone(),
        title: given(),
        sentences: vec![given()],
        nests: vec![
            ReportNest { week: week("a"), other: Some(Compared { words: given(), week: week("b") }) },
            ReportNest { week: busy(), other: None },
        ],
        alarms: vec![given()],
        load: load_rows(),
    };
    let past = vec![(given(), given(), "/".to_owned()), (given(), given(), String::new())];
    let list = AlarmsPage { frame: frame(), live: live(alarms()), past: past.clone(), ..AlarmsPage::default() };
    let none = AlarmsPage { frame: frame(), live: live(Vec::new()), past, ..AlarmsPage::default() };
    let card = CardPart { heading: given(), sentences: vec![given()], boxed: Some(given()), points: vec![given()] };
    let known = nest("file", vec![mat(MatPlace::Under)]);
    let empty = WeekView { map: HeatMap::default(), ..week("empty") };
    all.extend([
        ("alarms", alarms_html(&list)),
        ("no alarms", alarms_html(&none)),
        (
            "ask",
            ask_html(&AskPage { frame: frame(), title: given(), sentences: vec![given()], choices: vec![action()] }),
        ),
        ("plain", plain_html(&PlainPage { frame: frame(), title: given(), sentences: vec![given()] })),
        ("card", card_html(&CardPage { title: given(), place: given(), parts: vec![card], footer: given() })),
        ("week", week_html(&week_page(week("week")))),
        ("busy week", week_html(&week_page(WeekView { base_from: BaseFrom::Asked, ..busy() }))),
        ("week saved", week_html(&WeekPage { frame: saved, now: None, live: None, ..week_page(week("week")) })),
        ("report", report_html(&report)),
        ("report picture", report_svg(&report.nests.iter().flat_map(ReportNest::pictures).collect::<Vec<_>>())),
        ("empty week", heatmap_svg(&empty)),
        ("nest picture", profile_svg(&known)),
        ("nest picture narrow", profile_svg_on(&known, Canvas::Narrow)),
        ("sheet", sheet_html(&sheet())),
        ("plan", plan_html(&plan_page(Some(plan(Tone::Danger, 70.0))))),
        ("plan beyond", plan_html(&plan_page(Some(plan(Tone::Calm, 300.0))))),
        ("plan not reckoned", plan_html(&plan_page(None))),
        ("plan picture", plan_svg(&plan(Tone::Danger, 70.0))),
    ]);
    all
}

fn texts() -> Vec<(&'static str, String)> {
    vec![
        ("no picture", RasterError::Size { width: 1e6, height: 0.0 }.to_string()),
        ("unread picture", RasterError::Svg { why: given() }.to_string()),
        ("unwritten picture", RasterError::Encode { why: given() }.to_string()),
        ("week as text", week_text(&week("text"), 100, Paint::Plain)),
        ("plan as text", plan_text(&plan(Tone::Calm, 70.0), 100)),
        ("dangerous plan as text", plan_text(&plan(Tone::Danger, 70.0), 60)),
    ]
}

/// [`GIVEN`], also at the head of a sentence; and where mat and brood place lie, beside the terminal's map.
const DATA: [&str; 3] = [GIVEN, "Zx", "mB"];

#[test]
fn every_word_of_every_page_and_picture_comes_from_the_table() {
    let (pages, texts) = in_language(Language::Marked, || (pages(), texts()));
    let of_pages = pages.iter().flat_map(|(name, page)| unsaid(page, &DATA).into_iter().map(move |w| (*name, w)));
    let of_texts = texts.iter().flat_map(|(name, text)| {
        // One of the signs of the terminal's map is a letter.
        let text = text.replace("oo", "");
        unsaid_text(&text, &DATA).into_iter().map(move |w| (*name, w))
    });
    let left: Vec<String> = of_pages.chain(of_texts).map(|(name, word)| format!("{name}: {word}")).collect();
    assert!(left.is_empty(), "{} words of no table:\n{}", left.len(), left.join("\n"));
}
