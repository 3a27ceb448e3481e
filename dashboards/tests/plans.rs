//! Plans as a browser or a terminal gets them: the stuck mat first, the caution last, whole, escaped, and never a panic.
use dashboards::*;
use proptest::collection::vec;
use proptest::prelude::*;
use resvg::usvg;

const HOSTILE: &str = "<script>alert('x')</script>\"&\u{1b}[31m";

#[track_caller]
fn check_svg(svg: &str) {
    let read = usvg::Tree::from_str(svg, &usvg::Options::default());
    assert!(read.is_ok(), "{read:?}");
    assert!(!svg.contains("NaN") && !svg.contains("inf\""), "{svg}");
}

fn reckoned(mid: f64) -> Reckoned {
    Reckoned { low: mid - 2.0, mid, high: mid + 9.0 }
}

fn plan() -> PlanView {
    let at_mm: Vec<f64> = (0..=40).map(|i| f64::from(i) * 5.0).collect();
    let curve = |top: f64| at_mm.iter().map(|x| reckoned(21.0 + top * (-x / 60.0).exp())).collect();
    let row =
        StuckRow {
            case: "covered, room at 30 °C".to_owned(), brood: "likely 61 °C".to_owned(), ..StuckRow::default()
        };
    PlanView {
        id: "oak".to_owned(),
        name: "Oak".to_owned(),
        tone: Tone::Danger,
        line: "Stuck on and covered: the brood place likely 61 °C.".to_owned(),
        worst: vec!["The limit you gave is passed.".to_owned()],
        stuck: vec![row.clone(), row],
        power: vec!["No largest mat is named.".to_owned()],
        expected: vec!["It takes 80 min.".to_owned()],
        bears: vec![("Wood chars.".to_owned(), "a handbook".to_owned())],
        assumed: vec!["A width of 100 mm.".to_owned()],
        length_mm: 200.0,
        mats: vec![MatView { span: Stretch { from_mm: 0.0, to_mm: 60.0 }, rated_w: 7.0, ..MatView::default() }],
        brood: Some(Stretch { from_mm: 40.0, to_mm: 80.0 }),
        band: None,
        limit_c: Some(34.0),
        material_limit_c: Some(60.0),
        room_c: (21.0, 30.0),
        worst_c: curve(90.0),
        standing_c: curve(40.0),
        use_c: curve(8.0),
        use_text: "held at 26 °C, room at 21 °C".to_owned(),
        mat_c: reckoned(120.0),
        at_mm,
    }
}

fn field(value: &str) -> PlanField {
    let kind = PlanKind::Number { range: (0.01, 1000.0), slide: (0.1, 30.0, 0.1) };
    let (name, label) = ("watts".to_owned(), "Power, W".to_owned());
    PlanField {
        name,
        label,
        value: value.to_owned(),
        help: "As its label says.".to_owned(),
        kind,
        ..PlanField::default()
    }
}

fn plan_page(plan: Option<PlanView>) -> PlanPage {
    let form = vec![PlanGroup { name: "The heating mat".to_owned(), fields: vec![field("5")] }];
    PlanPage { plan, form, ..PlanPage::default() }
}

#[test]
fn a_plan_shows_the_stuck_mat_first_never_folded_away_and_the_caution_last() {
    let html = plan_html(&plan_page(Some(plan())));
    let at = |part: &str| html.find(part).unwrap_or_else(|| panic!("no {part}"));
    let worst = ["id=\"plan-line\"", "id=\"plan-worst\"", "likely 61 °C</strong>", "No largest mat is named."].map(at);
    assert!(worst.is_sorted() && worst[3] < at("<form") && worst[3] < at("<details"), "{worst:?}");
    assert!(at("It takes 80 min.") < at("class=\"caution\"") && at("class=\"caution\"") < at("</main>"));
    assert!(html.contains("<label for=\"plan-watts\">Power, W</label>") && html.contains("type=\"submit\""));
    for svg in [plan_svg(&plan()), plan_svg_on(&plan(), Canvas::Narrow)] {
        check_svg(&svg);
        assert!(svg.contains("If the mat sticks on, for ever") && svg.contains("thermal cut-off."));
    }
    let text = plan_text(&plan(), 60);
    assert!(text.starts_with("Danger: Stuck on and covered"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 60), "{text}");
}

#[test]
fn a_plan_that_was_not_understood_keeps_the_form_and_the_caution() {
    let page = PlanPage { complaints: vec![HOSTILE.to_owned()], ..plan_page(None) };
    let html = plan_html(&page);
    assert!(
        html.contains("Not reckoned") && html.contains("<form") && html.contains("an estimate, not a safety"),
        "{html}"
    );
    assert!(!html.contains("<script>"), "{html}");
    let parts = plan_fragment(&page);
    assert!(["plan-line", "plan-worst", "plan-rest"].iter().all(|id| parts.contains(id)) && !parts.contains("<form"));
}

proptest! {
    // Two pictures and a page each.
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn a_plan_takes_any_number_and_any_text(numbers in vec(any::<f64>(), 12), curve in vec(any::<f64>(), 0..50)) {
        let some = |i: usize| Reckoned { low: numbers[i], mid: numbers[i + 1], high: numbers[i + 2] };
        let odd = PlanView {
            id: HOSTILE.to_owned(),
            name: HOSTILE.to_owned(),
            line: HOSTILE.to_owned(),
            length_mm: numbers[0],
            limit_c: Some(numbers[1]),
            material_limit_c: Some(numbers[2]),
            room_c: (numbers[3], numbers[4]),
            brood: Some(Stretch { from_mm: numbers[5], to_mm: numbers[6] }),
            mat_c: some(7),
            worst_c: curve.iter().map(|c| reckoned(*c)).collect(),
            at_mm: curve.clone(),
            ..plan()
        };
        for canvas in [Canvas::Wide, Canvas::Narrow] {
            check_svg(&plan_svg_on(&odd, canvas));
        }
        let html = plan_html(&plan_page(Some(odd.clone())));
        prop_assert!(!html.contains("<script>") && !html.contains("NaN"));
        let steers = plan_text(&odd, 80).contains('\u{1b}');
        prop_assert!(!steers);
    }
}
