//! Invented nests, hours and weeks for the tests of pages and pictures.
use dashboards::*;

pub(crate) fn nest() -> NestView {
    let at_mm: Vec<f64> = (0..=40).map(|i| f64::from(i) * 5.0).collect();
    NestView {
        id: "oak".to_owned(),
        name: "Oak".to_owned(),
        summary: "All is as it should be.".to_owned(),
        length_mm: 200.0,
        mats: vec![MatView {
            span: Stretch { from_mm: 0.0, to_mm: 60.0 },
            rated_w: 7.0,
            told: MatTold::Duty(0.4),
            ..MatView::default()
        }],
        brood: Some(Stretch { from_mm: 40.0, to_mm: 80.0 }),
        band: Some(BandView { low_c: 24.0, high_c: 31.0, limit_c: 35.0 }),
        probes: vec![
            ProbeView { at_mm: 10.0, temperature_c: Some(29.0), humidity_pct: Some(55.0), ..ProbeView::default() },
            ProbeView {
                at_mm: 190.0,
                temperature_c: Some(61.0),
                not_believed_because: Some("it fell off".to_owned()),
                ..ProbeView::default()
            },
        ],
        profile: ProfileView { mean_c: at_mm.iter().map(|x| 30.0 - x / 20.0).collect(), sd_c: vec![0.4; 41], at_mm },
        brood_now: Some(BroodView { mean_c: 27.0, sd_c: 0.2, hottest_c: 28.0 }),
        room_c: Some((20.0, 0.1)),
        leave_text: Some("oak-node may heat up to 60 %".to_owned()),
        gives_w: Some((2.8, 0.3)),
        ..NestView::default()
    }
}

pub(crate) fn now(alarms: Vec<AlarmView>) -> NowPage {
    NowPage { as_of_text: "03:12".to_owned(), age_s: Some(4.0), nests: vec![nest()], alarms, ..NowPage::default() }
}

pub(crate) fn alarm(name: &str, tone: Tone, state: &str) -> AlarmView {
    AlarmView {
        alarm: name.to_owned(),
        tone,
        state: state.to_owned(),
        nests: vec!["Oak".to_owned()],
        ..AlarmView::default()
    }
}

/// A forecast in which the brood place passes 31 °C in the second of four hours.
pub(crate) fn ahead() -> ForecastView {
    ForecastView {
        brood_c: (0..24).map(|i| (29.0 + f64::from(i) * 0.3, (0.3, 0.4))).collect(),
        room_c: vec![21.0; 24],
        clock: (0..24).map(|i| format!("{:02}:{}0", 12 + i / 6, i % 6)).collect(),
        ticks: vec![Tick { at: 0.5, label: "14:00".to_owned(), major: true }],
        leaves_at: Some((0.2, 0.3, None)),
        words: "Likely above 31 °C from about 13:10.".to_owned(),
    }
}

pub(crate) fn week() -> WeekView {
    let at_mm: Vec<f64> = (0..=10).map(|i| f64::from(i) * 20.0).collect();
    let column: Vec<f32> = (0..=10_u8).map(|i| 32.0 - f32::from(i)).collect();
    let columns = (0..70).map(|i| (!(20..30).contains(&i)).then(|| column.clone())).collect();
    let points =
        (0..70).map(|i| (!(20..30).contains(&i)).then(|| LanePoint::from(27.0 + f64::from(i) / 70.0))).collect();
    WeekView {
        nest_id: "oak".to_owned(),
        nest_name: "Oak".to_owned(),
        span_text: "last week".to_owned(),
        sentences: vec!["A quiet week.".to_owned()],
        length_mm: 200.0,
        brood: Some(Stretch { from_mm: 40.0, to_mm: 80.0 }),
        mats: nest().mats,
        map: HeatMap { at_mm, columns, colour: ColourRange { low_c: 20.0, high_c: 34.0 }, ..HeatMap::default() },
        lanes: vec![Lane { label: "room".to_owned(), unit: "°C".to_owned(), points, ..Lane::default() }],
        marks: vec![Mark { at: 0.5, time_text: "Thu 12:00".to_owned(), text: "fed".to_owned(), ..Mark::default() }],
        ticks: (0..7).map(|d| Tick { at: f64::from(d) / 7.0, label: format!("day {d}"), major: true }).collect(),
        days: vec![DayRow { day: "Monday".to_owned(), known: 0.5, ..DayRow::default() }],
        ..WeekView::default()
    }
}

pub(crate) fn week_page(week: WeekView) -> String {
    week_html(&WeekPage { now: Some(nest()), week, ..WeekPage::default() })
}
