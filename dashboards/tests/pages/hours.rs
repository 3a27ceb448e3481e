//! The page of now: what comes next, the air's humidity, and alarms that are over.
use crate::check_svg;
use crate::sample::{ahead, alarm, nest, now};
use dashboards::*;

#[test]
fn what_is_to_come_is_drawn_said_and_tabled() {
    let nest = NestView { forecast: Some(ahead()), ..nest() };
    for canvas in [Canvas::Wide, Canvas::Narrow] {
        let svg = ahead_svg_on(&nest, &ahead(), canvas);
        check_svg(&svg);
        assert!(svg.contains("14:00") && svg.contains("band 31°") && svg.contains("class=\"d-doubt\""));
    }
    let html = now_html(&NowPage { nests: vec![nest.clone()], ..now(Vec::new()) });
    assert!(
        html.contains("Likely above 31 °C from about 13:10.") && html.contains("<caption>The hours ahead</caption>")
    );
    assert!(profile_sentence(&nest).ends_with("Likely above 31 °C from about 13:10."));
    // 36.9 °C at the end of the last hour, from 0.3 K · 1.645 below it to 0.4 K · 1.645 above.
    let row = "<td>35.9</td><td>35.4 to 36.6</td><td>21.0</td>";
    assert!(html.contains(row), "{html}");
}

#[test]
fn humidity_is_drawn_along_the_nest_and_the_mat_says_what_it_does() {
    let damp = NestView { rh_pct: (0..41).map(|i| Some(45.0 + f64::from(i))).collect(), ..nest() };
    let svg = profile_svg(&damp);
    assert!(svg.contains(">humidity<") && svg.contains(">45 %<"), "{svg}");
    assert!(
        svg.contains("heating mat 7 W: told 40 %, gives 2.8 W")
            || svg.contains("heating mat 7.0 W: told 40 %, gives 2.8 W")
    );
    assert!(!profile_svg(&nest()).contains(">humidity<"));
}

#[test]
fn what_is_over_or_silenced_is_folded_away_and_counted() {
    let alarms = vec![
        alarm("brood-limit", Tone::Danger, "returned"),
        alarm("brood-hot", Tone::Warning, "suppressed"),
        alarm("heater-stuck-on", Tone::Danger, "unacknowledged"),
    ];
    let html = now_html(&now(alarms));
    let (open, folded) = html.split_once("<details class=\"quiet\"").unwrap();
    assert!(open.contains("id=\"alarm-heater-stuck-on--Oak--\"") && !open.contains("id=\"alarm-brood-limit"));
    assert!(folded.contains("1 alarm is over, but nobody has answered; 1 alarm is silenced or part of another"));
}
