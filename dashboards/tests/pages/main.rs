//! Pages and pictures as a browser or a mail reader gets them: whole, escaped, honest about gaps, and never a panic.
use dashboards::*;
use proptest::collection::vec;
use proptest::prelude::*;
use resvg::usvg;

mod hours;
mod raster;
mod sample;
use sample::{alarm, nest, now, week, week_page};

const HOSTILE: &str = "<script>alert('x')</script>\"&\u{1b}[31m";

#[track_caller]
fn check_svg(svg: &str) {
    let read = usvg::Tree::from_str(svg, &usvg::Options::default());
    assert!(read.is_ok(), "{read:?}: {svg}");
    assert!(!svg.contains("NaN") && !svg.contains("inf\""), "{svg}");
    assert!(svg.contains("role=\"img\"") && svg.contains("<title") && svg.contains("<desc"));
}

#[test]
fn a_quiet_shelf_says_so_in_one_sentence() {
    let page = now(Vec::new());
    assert_eq!(headline(&page), "Nothing amiss found");
    assert_eq!(probes_believed(&page), "1 of 2 probes believed");
    let html = now_html(&page);
    assert!(html.contains("As of <span id=\"clock\">03:12</span>, shelf time. 1 of 2 probes believed."));
    assert!(html.contains("told to 40 %, gives 2.8 ± 0.5 W of 7.0"));
    assert!(html.contains("not believed because it fell off"));
}

#[test]
fn before_the_first_reading_nothing_is_called_well() {
    let page = NowPage { age_s: None, ..now(Vec::new()) };
    assert!(headline(&page).starts_with("Nothing heard yet"));
    assert!(!now_html(&page).contains("Nothing amiss found"));
}

#[test]
fn danger_leads_and_what_is_silenced_does_not_speak() {
    let alarms = vec![
        alarm("water-low", Tone::Warning, "unacknowledged"),
        alarm("heater-stuck-on", Tone::Danger, "unacknowledged"),
        alarm("brood-hot", Tone::Warning, "suppressed"),
    ];
    assert_eq!(headline(&now(alarms)), "Danger in Oak: the heating mat will not switch off, and 1 more");
    assert_eq!(headline(&now(vec![alarm("brood-hot", Tone::Warning, "shelved")])), "Nothing amiss found");
}

#[test]
fn an_alarm_can_be_answered_without_a_script() {
    let action = Action {
        label: "I have seen it".to_owned(),
        url: "/acknowledge".to_owned(),
        fields: vec![("nest".to_owned(), "oak".to_owned())],
    };
    let html = now_html(&now(vec![AlarmView {
        actions: vec![action],
        ..alarm("brood-hot", Tone::Warning, "unacknowledged")
    }]));
    let form = html.split_once("<form").and_then(|(_, rest)| rest.split_once("</form>")).map(|(form, _)| form).unwrap();
    assert!(
        form.contains("method=\"post\"") && form.contains("action=\"/acknowledge\"") && form.contains("value=\"oak\"")
    );
    assert!(STYLE_CSS.contains("min-height: 44px"));
    // A page that reloads by itself would take a reader's place away (WCAG 2.2, failure F41).
    assert!(html.contains("<noscript>") && html.contains("Reload it") && !html.contains("http-equiv"));
}

#[test]
fn the_fragment_is_what_stands_in_main() {
    let page = now(vec![alarm("brood-hot", Tone::Warning, "unacknowledged")]);
    assert!(now_html(&page).contains(&now_fragment(&page)));
    assert!(LIVE_JS.contains("main[data-fragment]"));
    for id in ["age", "stale", "spoken"] {
        assert!(now_html(&page).contains(&format!("id=\"{id}\"")) && LIVE_JS.contains(&format!("(\"{id}\")")), "{id}");
    }
}

#[test]
fn ids_are_not_used_twice() {
    let html = week_page(week());
    let mut ids: Vec<&str> = html.split(" id=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    let all = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), all);
    // What a gradient or a hatch is called by must be there.
    for name in html.split("url(#").skip(1).filter_map(|rest| rest.split(')').next()) {
        assert!(ids.contains(&name), "{name}");
    }
}

#[test]
fn hostile_names_stay_text_everywhere() {
    let bad = || HOSTILE.to_owned();
    let mut nest = nest();
    (nest.id, nest.name, nest.summary, nest.learning_until) = (bad(), bad(), bad(), Some(bad()));
    nest.learned_text = Some(bad());
    for p in &mut nest.probes {
        (p.name, p.heard_text, p.not_believed_because) = (bad(), bad(), Some(bad()));
    }
    let mut week = week();
    (week.nest_id, week.nest_name, week.span_text, week.sentences) = (bad(), bad(), bad(), vec![bad()]);
    (week.marks[0].text, week.ticks[0].label, week.lanes[0].label, week.days[0].day) = (bad(), bad(), bad(), bad());
    let mut page = now(vec![AlarmView { detail: bad(), nests: vec![bad()], ..alarm(HOSTILE, Tone::Danger, HOSTILE) }]);
    (page.frame.shelf_name, page.unlisted, page.watch) = (bad(), vec![(bad(), bad())], vec![bad()]);
    page.nests = vec![nest.clone()];
    check_svg(&profile_svg(&nest));
    check_svg(&heatmap_svg(&week));
    for html in [now_html(&page), week_page(week.clone()), profile_svg(&nest), heatmap_svg(&week)] {
        assert!(!html.contains("<script>"), "{html}");
        assert!(!html.contains("=\"<") && !html.contains("alert('x')\""));
    }
    assert!(!week_text(&week, 80, Paint::Plain).contains('\u{1b}'), "a name must not steer the terminal");
}

#[test]
fn pictures_are_whole_and_described() {
    for canvas in [Canvas::Wide, Canvas::Narrow] {
        check_svg(&profile_svg_on(&nest(), canvas));
        check_svg(&heatmap_svg_on(&week(), canvas));
        check_svg(&profile_svg_on(&NestView::default(), canvas));
        check_svg(&heatmap_svg_on(&WeekView::default(), canvas));
    }
    assert!(
        profile_sentence(&nest())
            .starts_with("Warmth along Oak: 30.0 °C at 0 mm, 20.0 °C at 200 mm; brood place 27.0 ± 0.3 °C")
    );
}

#[test]
fn lanes_break_at_gaps_and_gaps_are_named() {
    let svg = heatmap_svg_on(&week(), Canvas::Wide);
    let curve = svg.split("class=\"d-curve\"").next().and_then(|s| s.rsplit("<path d=\"").next()).unwrap();
    assert_eq!(curve.matches('M').count(), 2, "one stroke before the gap, one after: {curve}");
    assert!(svg.contains("no readings"));
    assert!(
        !heatmap_svg_on(
            &WeekView { map: HeatMap { columns: vec![Some(vec![25.0; 11]); 70], ..week().map }, ..week() },
            Canvas::Wide
        )
        .contains("no readings")
    );
}

/// From what a picture was drawn is said wherever it stands with words, and nothing where there is nothing to say.
#[test]
fn from_what_a_span_is_drawn_is_said_below_it() {
    let how = "Drawn <from> what came after it.";
    let said = WeekView { seen_how: how.to_owned(), ..week() };
    let page = |week: &WeekView| week_html(&WeekPage { week: week.clone(), ..WeekPage::default() });
    let report = |week: &WeekView| {
        report_html(&ReportPage {
            nests: vec![ReportNest { week: week.clone(), other: None }],
            ..ReportPage::default()
        })
    };
    let escaped = "<p class=\"asof\">Drawn &lt;from&gt; what came after it.</p>";
    assert!(page(&said).contains(escaped) && report(&said).contains(escaped));
    assert!(week_text(&said, 80, Paint::Plain).contains(how));
    assert!(!page(&week()).contains("<p class=\"asof\"></p>") && !report(&week()).contains("<p class=\"asof\"></p>"));
}

#[test]
fn text_keeps_its_width_and_its_gaps() {
    for columns in [40, 80, 121] {
        let text = week_text(&week(), columns, Paint::Plain);
        let rows: Vec<Vec<char>> = text.lines().skip(3).take(17).map(|line| line.chars().collect()).collect();
        assert!(rows.iter().all(|r| r.len() == columns), "{columns}: {text}");
        // Columns 20 to 29 of 70 are a gap: its middle is blank in every row.
        let middle = 9 + (columns - 9) * 25 / 70;
        assert!(rows[..16].iter().all(|r| r[middle] == ' '), "{text}");
        // 40 to 80 of 200 mm: rows 4 to 6 of 16 (centres at 43.75 to 68.75 mm and on).
        assert_eq!(rows[..16].iter().filter(|r| r[7] == 'B').count(), 3, "{text}");
        assert!(rows[15][9] == '%' && rows[0][9] == ':', "warm zero end below: {text}");
    }
    let painted = week_text(&week(), 80, Paint::Ansi);
    assert!(
        painted.contains("\x1b[30;48;2;") && painted.lines().all(|l| !l.contains("\x1b[") || l.contains("\x1b[0m"))
    );
}

#[test]
fn states_and_alarms_have_words() {
    assert_eq!(state_words("unacknowledged"), "nobody has answered yet");
    assert_eq!(state_words("something-new"), "something-new");
    assert_eq!(alarm_words("broker-lost"), "the broker is out of reach");
}

/// A line through words is worse than none: what is said of an empty plot lies over it.
#[test]
fn nothing_is_drawn_over_what_is_said_of_a_plot_without_a_curve() {
    let unheard = NestView { profile: ProfileView::default(), ..nest() };
    let svg = profile_svg(&unheard);
    let (_, after) = svg.split_once("nothing heard yet").unwrap();
    assert!(!["<path", "<line", "<rect", "<circle"].iter().any(|mark| after.contains(mark)), "{after}");
    assert!(!profile_svg(&nest()).contains("nothing heard yet"));
}

fn any_nest() -> impl Strategy<Value = NestView> {
    (vec(any::<(f64, f64, f64)>(), 0..12), any::<[f64; 12]>(), any::<Option<f64>>()).prop_map(|(points, n, maybe)| {
        NestView {
            length_mm: n[0],
            mats: vec![MatView {
                span: Stretch { from_mm: n[1], to_mm: n[2] },
                place: MatPlace::Lid,
                rated_w: n[3],
                told: maybe.map_or(MatTold::Unheard, MatTold::Duty),
            }],
            brood: Some(Stretch { from_mm: n[4], to_mm: n[5] }),
            band: Some(BandView { low_c: n[6], high_c: n[7], limit_c: n[8] }),
            probes: vec![
                ProbeView { at_mm: n[9], temperature_c: maybe, humidity_pct: maybe, ..ProbeView::default() };
                3
            ],
            profile: ProfileView {
                at_mm: points.iter().map(|p| p.0).collect(),
                mean_c: points.iter().map(|p| p.1).collect(),
                sd_c: points.iter().skip(1).map(|p| p.2).collect(),
            },
            brood_now: Some(BroodView { mean_c: n[10], sd_c: n[11], hottest_c: n[0] }),
            room_c: maybe.map(|m| (m, n[1])),
            leave_text: None,
            gives_w: maybe.map(|m| (m, n[2])),
            rh_pct: vec![maybe; 2],
            colour: ColourRange { low_c: n[3], high_c: n[4] },
            ..nest()
        }
    })
}

fn any_week() -> impl Strategy<Value = WeekView> {
    let columns = vec(proptest::option::of(vec(any::<f32>(), 0..5)), 0..9);
    let points = vec(proptest::option::of(any::<(f64, f64, f64)>()), 0..9);
    (columns, points, vec(any::<f64>(), 0..5), any::<[f64; 10]>()).prop_map(|(columns, points, at_mm, n)| {
        let points = points.into_iter().map(|p| p.map(|(min, mean, max)| LanePoint { min, mean, max })).collect();
        let lane = Lane {
            points,
            zone: Some((n[0], n[1])),
            limit: Some(n[2]),
            filled: n[3] > 0.0,
            sd: vec![Some(n[0]); 3],
            other: vec![Some(n[1]), None],
            doubted: vec![(n[2], n[3])],
            ..Lane::default()
        };
        WeekView {
            length_mm: n[4],
            brood: Some(Stretch { from_mm: n[5], to_mm: n[6] }),
            map: HeatMap { at_mm, sd_k: columns.clone(), columns, colour: ColourRange { low_c: n[7], high_c: n[8] } },
            lanes: vec![lane],
            marks: vec![Mark { at: n[9], until: Some(n[0]), at_mm: Some(n[1]), ..Mark::default() }; 3],
            ticks: vec![Tick { at: n[2], label: "a".to_owned(), major: true }],
            nights: vec![(n[3], n[4])],
            days: vec![DayRow { brood_c: Some(n[5].into()), in_band: Some(n[6]), known: n[7], ..DayRow::default() }],
            ..week()
        }
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_numbers_make_a_picture_of_a_nest(nest in any_nest()) {
        check_svg(&profile_svg(&nest));
        check_svg(&profile_svg_on(&nest, Canvas::Narrow));
        let html = now_html(&NowPage { nests: vec![nest], ..now(Vec::new()) });
        prop_assert!(!html.contains("NaN") && !html.contains("inf "));
    }

    #[test]
    fn any_numbers_make_a_week(week in any_week(), columns in any::<usize>()) {
        check_svg(&heatmap_svg(&week));
        check_svg(&heatmap_svg_on(&week, Canvas::Narrow));
        let text = week_text(&week, columns, Paint::Ansi);
        prop_assert!(!text.contains("NaN"));
        prop_assert!(!week_page(week).contains("NaN"));
    }
}
