use super::*;
use crate::plan::view;
use crate::plan::wish::{Wish, Writer};
use dashboards::{PlanPage, plan_caution};

fn wish(pairs: &[(&str, &str)]) -> Wish {
    let mut wish = form::invented();
    for (name, value) in pairs {
        let value = Some((*value).to_owned());
        match *name {
            "watts" => wish.watts = value,
            "limit" => wish.limit = value,
            "material_limit" => wish.material_limit = value,
            "hold" => wish.hold = value,
            "brood" => (wish.brood_from, wish.brood_to) = (value, Some("80".to_owned())),
            "warm_room" => wish.warm_room = value,
            "material" => wish.material = value,
            "length" => wish.length = value,
            "covered" => wish.covered = value,
            other => panic!("{other}"),
        }
    }
    wish
}

fn planned(pairs: &[(&str, &str)]) -> PlanView {
    view(&wish(pairs), None, Writer::Command).expect("a plan")
}

const WHOLE: [(&str, &str); 4] = [("brood", "40"), ("limit", "34"), ("material_limit", "60"), ("hold", "26")];

fn with<'a>(more: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    WHOLE.iter().chain(more).copied().collect()
}

/// Every text that a plan shows.
fn all(plan: &PlanView) -> String {
    let rows = plan.stuck.iter().flat_map(|r| [&r.case, &r.brood, &r.brood_when, &r.mat, &r.mat_when]);
    let lists = plan.worst.iter().chain(&plan.power).chain(&plan.expected).chain(&plan.assumed);
    let bears = plan.bears.iter().flat_map(|(fact, source)| [fact, source]);
    [&plan.line, &plan.use_text].into_iter().chain(rows).chain(lists).chain(bears).map(|t| t.clone() + "\n").collect()
}

#[test]
fn the_cautions_stand_word_for_word_at_the_end_of_every_form() {
    assert_eq!(
        &plan_caution(),
        "This is an estimate, not a safety assessment. The heating mat's label and instructions, local codes and licensed \
         practice come first. Fit an independent thermal cut-off."
    );
    let plan = planned(&WHOLE);
    let text = dashboards::plan_text(&plan, 80);
    assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").ends_with(&plan_caution()), "{text}");
    let html = dashboards::plan_html(&PlanPage { plan: Some(plan.clone()), ..PlanPage::default() });
    let escaped = plan_caution().replace('\'', "&#39;");
    let (_, main) = html.rsplit_once("<p class=\"caution\">").expect("a caution");
    assert!(main.starts_with(&plan_caution()) || main.starts_with(&escaped), "{main}");
    assert!(main[plan_caution().len()..].contains("</main>") && !main.contains("<p>"), "nothing of the plan follows");
    // The picture breaks it into lines; its last words are the picture's last.
    let svg = dashboards::plan_svg(&plan);
    assert!(svg.ends_with("Fit an independent thermal cut-off.</text></svg>"), "{}", &svg[svg.len() - 200..]);
}

#[test]
fn no_sentence_calls_anything_safe_and_none_is_without_a_number() {
    for pairs in
        [with(&[]), with(&[("watts", "0.02")]), vec![], with(&[("warm_room", "36")]), with(&[("watts", "500")])]
    {
        let text = all(&planned(&pairs)).replace("a further safety factor", "");
        for word in ["safe", "harmless", "guarantee", "protected", "no danger", "NaN", "inf ", " -", "–"] {
            let found = text.lines().find(|line| line.contains(word) && !line.starts_with("Babrauskas"));
            assert!(found.is_none_or(|line| line.contains(" --")), "{word}: {found:?}");
        }
    }
}

#[test]
fn a_strong_mat_is_a_danger_and_says_when_what_is_passed() {
    let plan = planned(&WHOLE);
    assert_eq!(plan.tone, Tone::Danger);
    assert!(plan.line.starts_with("Stuck on and covered, room at 30 °C: the brood place likely "), "{}", plan.line);
    assert!(plan.worst[0].starts_with("The limit you gave for the brood, 34 °C: passed "), "{:?}", plan.worst);
    assert!(plan.worst[0].ends_with(" min after it sticks."), "{:?}", plan.worst);
    assert!(plan.worst[2].starts_with("Covered means on all sides: 2 W/m²K from every face"), "{:?}", plan.worst);
    assert!(plan.power[0].contains("stays below both limits you gave is one of 0."), "{:?}", plan.power);
    assert!(
        plan.power[1].contains("something independent must take the heat away when that fails"),
        "{:?}",
        plan.power
    );
    assert_eq!(plan.stuck.len(), 2);
    assert_eq!(plan.use_text, "held at 26 °C, room at 21 °C");
}

#[test]
fn a_mat_that_passes_nothing_is_said_to_pass_nothing_in_19_of_20_and_to_be_too_weak() {
    let plan = planned(&with(&[("watts", "0.02")]));
    assert_eq!(plan.tone, Tone::Advice);
    assert!(plan.worst[0].ends_with("34 °C: not passed in 19 nests of 20."), "{:?}", plan.worst);
    assert!(plan.expected[1].contains("is likely too weak to hold the brood place"), "{:?}", plan.expected);
}

#[test]
fn what_is_missing_is_asked_for_and_no_power_is_named() {
    let plan = planned(&[]);
    assert_eq!(plan.tone, Tone::Warning);
    assert!(plan.line.contains("the hottest gallery"), "{}", plan.line);
    assert!(plan.worst[0].starts_with("What the brood bears was not given") && plan.worst[0].contains("only you"));
    assert!(plan.worst[1].starts_with("What the nest's material and the board under the mat bear was not given"));
    assert_eq!(
        plan.power,
        ["No largest mat is named: what the brood bears and what the material bears are not given."]
    );
    assert!(plan.assumed.iter().any(|a| a.starts_with("Nobody said where the brood will lie")), "{:?}", plan.assumed);
    let hot = planned(&with(&[("warm_room", "36")]));
    assert!(hot.power[0].contains("the warm room of 36 °C alone is as hot as a limit you gave"), "{:?}", hot.power);
    assert!(hot.worst[0].contains("passed from the beginning"), "{:?}", hot.worst);
}

#[test]
fn beyond_what_the_model_knows_no_number_is_told() {
    let plan = planned(&with(&[("watts", "500")]));
    assert!(plan.line.ends_with("between mat and nest more than 250 °C."), "{}", plan.line);
    let text = dashboards::plan_text(&plan, 80);
    assert!(text.contains("> 250"), "{text}");
}

#[test]
fn handbook_lines_fit_the_material_and_name_their_source() {
    let facts = |material| {
        let bears = planned(&[("material", material)]).bears;
        assert!(bears.iter().all(|(_, source)| !source.is_empty()));
        bears.into_iter().map(|(fact, _)| fact).collect::<String>()
    };
    assert!(facts("printed").contains("55 to 60 °C") && !facts("oak").contains("55 to 60 °C"));
    assert!(facts("acrylic").contains("85 to 100 °C") && facts("plaster").contains("77 °C"));
}

#[test]
fn lengths_of_time_are_as_exact_as_a_plan_is() {
    for (s, want) in
        [(20.0, "under a minute"), (424.0, "7 min"), (5313.0, "89 min"), (8000.0, "2.2 h"), (5e4, "half a day or more")]
    {
        assert_eq!(span(s), want);
    }
    for (from, to, want) in
        [(300.0, 424.0, "5 to 7 min"), (20.0, 424.0, "under a minute to 7 min"), (300.0, 301.0, "5 min")]
    {
        assert_eq!(spans(from, to), want);
    }
}

#[test]
fn the_form_is_filled_with_what_is_known_and_keeps_what_was_typed() {
    let asked = wish(&[("limit", "<script>"), ("brood", "40")]);
    let groups = form::form(&asked, None);
    let value = |name: &str| {
        let fields = groups.iter().flat_map(|g| &g.fields);
        fields.filter(|f| f.name == name).map(|f| f.value.clone()).next().expect("a field")
    };
    assert_eq!([value("watts"), value("limit"), value("brood_from"), value("room")], ["5", "<script>", "40", ""]);
    let page = PlanPage { form: groups.clone(), ..PlanPage::default() };
    assert!(!dashboards::plan_html(&page).contains("<script>"));
}
