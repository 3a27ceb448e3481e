//! Everything that a caller of `dashboards` can give, with [`GIVEN`] for every text.
use dashboards::*;

/// Stands for every text that a caller gives.
pub(crate) const GIVEN: &str = "zx";

pub(crate) fn given() -> String {
    GIVEN.to_owned()
}

pub(crate) fn frame() -> Frame {
    Frame { shelf_name: given(), nav: vec![link()], cautions: vec![given()], assets: Assets::Served }
}

pub(crate) fn link() -> Link {
    Link { label: given(), url: "/".to_owned(), current: false }
}

pub(crate) fn action() -> Action {
    Action { label: given(), url: "/".to_owned(), fields: vec![("a".to_owned(), "b".to_owned())] }
}

pub(crate) const ALARMS: [&str; 23] = [
    "brood-cold",
    "brood-hot",
    "brood-limit",
    "probe-hot",
    "forecast-hot",
    "forecast-cold",
    "heater-stuck-on",
    "heater-no-heat",
    "gradient-flat",
    "probe-silent",
    "probe-implausible",
    "humidity-low",
    "humidity-high",
    "condensation",
    "water-low",
    "nest-unwatched",
    "rest-warm",
    "watch-gap",
    "node-silent",
    "broker-lost",
    "history-failing",
    "notice-failing",
    "clock-jumped",
];
pub(crate) const STATES: [&str; 9] = [
    "not-judged",
    "normal",
    "unacknowledged",
    "acknowledged",
    "returned",
    "latched",
    "shelved",
    "suppressed",
    "out-of-service",
];
pub(crate) const TONES: [Tone; 4] = [Tone::Calm, Tone::Advice, Tone::Warning, Tone::Danger];

pub(crate) fn alarm(name: &str, state: &str, tone: Tone) -> AlarmView {
    AlarmView {
        alarm: name.to_owned(),
        tone,
        state: state.to_owned(),
        nests: vec![given(), given()],
        about: Some(given()),
        since_text: given(),
        state_text: given(),
        nest_now: Some(given()),
        place: vec![given(), given()],
        here: false,
        detail: given(),
        what_to_do: vec![given(), given()],
        cause: Some("water-low".to_owned()),
        actions: vec![action()],
        url: "/".to_owned(),
    }
}

/// Every alarm, every state, every weight.
pub(crate) fn alarms() -> Vec<AlarmView> {
    let of = |(i, name): (usize, &&str)| alarm(name, STATES[i % STATES.len()], TONES[i % TONES.len()]);
    ALARMS.iter().enumerate().map(of).collect()
}

pub(crate) fn probe(at_mm: f64, temperature_c: Option<f64>, why: Option<&str>) -> ProbeView {
    ProbeView {
        name: given(),
        at_mm,
        temperature_c,
        humidity_pct: temperature_c.map(|c| c + 20.0),
        heard_text: given(),
        not_believed_because: why.map(str::to_owned),
    }
}

pub(crate) fn mat(place: MatPlace) -> MatView {
    MatView { span: Stretch { from_mm: 0.0, to_mm: 60.0 }, place, rated_w: 5.0, told: MatTold::Duty(0.4) }
}

pub(crate) fn nest(id: &str, mats: Vec<MatView>) -> NestView {
    let at_mm: Vec<f64> = (0..=20).map(|i| f64::from(i) * 10.0).collect();
    NestView {
        id: id.to_owned(),
        name: given(),
        url: "/".to_owned(),
        summary: given(),
        tone: Tone::Advice,
        length_mm: 200.0,
        mats,
        brood: Some(Stretch { from_mm: 40.0, to_mm: 80.0 }),
        band: Some(BandView { low_c: 24.0, high_c: 28.0, limit_c: 33.0 }),
        probes: vec![probe(10.0, Some(29.0), None), probe(90.0, Some(99.0), Some(GIVEN)), probe(190.0, None, None)],
        profile: ProfileView {
            mean_c: at_mm.iter().map(|mm| 30.0 - mm / 25.0).collect(),
            sd_c: vec![0.3; at_mm.len()],
            at_mm: at_mm.clone(),
        },
        brood_now: Some(BroodView { mean_c: 27.0, sd_c: 0.2, hottest_c: 28.4 }),
        room_c: Some((21.0, 0.1)),
        leave_text: Some(given()),
        gives_w: Some((2.1, 0.3)),
        rh_pct: at_mm.iter().map(|_| Some(60.0)).collect(),
        learning_until: Some(given()),
        learned_text: Some(given()),
        as_of_text: given(),
        colour: ColourRange { low_c: 20.0, high_c: 32.0 },
        forecast: Some(ForecastView {
            brood_c: vec![(27.0, (0.3, 0.4)); 24],
            room_c: vec![21.0; 24],
            clock: vec![given(); 24],
            ticks: vec![Tick { at: 0.5, label: given(), major: true }],
            leaves_at: Some((0.4, 0.6, None)),
            words: given(),
        }),
    }
}

/// A nest of which nothing is known.
pub(crate) fn silent() -> NestView {
    NestView {
        profile: ProfileView::default(),
        brood_now: None,
        room_c: None,
        gives_w: None,
        band: None,
        forecast: None,
        ..nest("silent", vec![mat(MatPlace::Under)])
    }
}

pub(crate) fn now(alarms: Vec<AlarmView>) -> NowPage {
    let places = [MatPlace::Under, MatPlace::Beside, MatPlace::Lid, MatPlace::Inside];
    let mut nests: Vec<NestView> =
        places.into_iter().enumerate().map(|(i, place)| nest(&format!("n{i}"), vec![mat(place)])).collect();
    let told = [MatTold::Duty(0.4), MatTold::Unheard, MatTold::Unreported, MatTold::Duty(1.0)];
    let several = places.map(mat).into_iter().zip(told).map(|(m, told)| MatView { told, ..m });
    nests.extend([nest("several", several.collect()), silent()]);
    NowPage {
        frame: frame(),
        as_of_text: given(),
        age_s: Some(3.0),
        stalled: None,
        alarms,
        nests,
        unlisted: vec![(given(), given())],
        watch: vec![given()],
    }
}

pub(crate) fn live(alarms: Vec<AlarmView>) -> Live {
    Live { url: "/".to_owned(), age_s: Some(3.0), as_of_text: given(), alarms }
}

pub(crate) fn week(id: &str) -> WeekView {
    let columns: Vec<Option<Vec<f32>>> =
        (0..60).map(|i| (!(20..35).contains(&i)).then(|| (0..11).map(|r| 30.0 - r as f32).collect())).collect();
    let mark = |kind| Mark { at: 0.3, until: Some(0.4), at_mm: Some(60.0), kind, time_text: given(), text: given() };
    let row = |known: bool| DayRow {
        day: given(),
        brood_c: known.then(|| 27.0.into()),
        in_band: known.then_some(0.9),
        known: 0.7,
        room_c: known.then(|| 21.0.into()),
        heat_wh: known.then_some(40.0),
        degree_days: known.then_some(12.0),
    };
    WeekView {
        nest_id: id.to_owned(),
        nest_name: given(),
        span_text: given(),
        sentences: vec![given()],
        seen_how: given(),
        length_mm: 200.0,
        brood: Some(Stretch { from_mm: 40.0, to_mm: 120.0 }),
        mats: vec![mat(MatPlace::Under)],
        map: HeatMap {
            at_mm: (0..11).map(|r| f64::from(r) * 20.0).collect(),
            columns,
            sd_k: Vec::new(),
            colour: ColourRange { low_c: 20.0, high_c: 32.0 },
        },
        lanes: vec![Lane {
            label: given(),
            unit: "°C".to_owned(),
            points: vec![Some(27.0.into()); 60],
            zone: Some((24.0, 28.0)),
            limit: Some(33.0),
            ..Lane::default()
        }],
        marks: TONES.into_iter().map(|tone| mark(MarkKind::Alarm(tone))).chain([mark(MarkKind::Note)]).collect(),
        ticks: vec![Tick { at: 0.1, label: given(), major: true }],
        nights: vec![(0.2, 0.4)],
        row_name: given(),
        days: vec![row(true), row(false)],
        total: Some(row(true)),
        base_c: 10.0,
        base_from: if id == "a" { BaseFrom::Nobody } else { BaseFrom::ShelfFile },
    }
}

/// More happened than a picture lists.
pub(crate) fn busy() -> WeekView {
    let week = week("busy");
    let marks = week.marks.iter().cycle().take(MOST_LISTED + 3).cloned().collect();
    WeekView { marks, row_name: String::new(), ..week }
}

pub(crate) fn load_rows() -> Vec<LoadRow> {
    vec![LoadRow { what: given(), here: given(), acceptable: given(), at_most: given() }]
}

pub(crate) fn week_page(week: WeekView) -> WeekPage {
    WeekPage {
        frame: frame(),
        now: Some(nest("now", vec![mat(MatPlace::Under)])),
        live: Some(live(alarms())),
        other: Some(Compared { words: given(), week: self::week("other") }),
        note: Some(NoteForm { url: "/".to_owned(), fields: Vec::new(), kinds: vec![("brood".to_owned(), given())] }),
        spans: vec![link()],
        compare: vec![link()],
        earlier_url: Some("/".to_owned()),
        later_url: Some("/".to_owned()),
        keep_url: Some("/".to_owned()),
        values_url: Some("/".to_owned()),
        base_url: Some("/?from=1".to_owned()),
        downloads: vec![link()],
        alarms: vec![given()],
        load: load_rows(),
        week,
    }
}

pub(crate) fn plan(tone: Tone, mat_c: f64) -> PlanView {
    let at_mm: Vec<f64> = (0..=20).map(|i| f64::from(i) * 10.0).collect();
    let curve = |c: f64| vec![Reckoned { low: c - 2.0, mid: c, high: c + 4.0 }; at_mm.len()];
    PlanView {
        id: "plan".to_owned(),
        name: given(),
        tone,
        line: given(),
        worst: vec![given()],
        stuck: vec![StuckRow { case: given(), brood: given(), brood_when: given(), mat: given(), mat_when: given() }],
        power: vec![given()],
        expected: vec![given()],
        bears: vec![(given(), given())],
        assumed: vec![given()],
        length_mm: 200.0,
        mats: vec![mat(MatPlace::Under)],
        brood: Some(Stretch { from_mm: 40.0, to_mm: 80.0 }),
        band: Some(BandView { low_c: 24.0, high_c: 28.0, limit_c: 33.0 }),
        limit_c: Some(33.0),
        material_limit_c: Some(60.0),
        room_c: (20.0, 30.0),
        worst_c: curve(60.0),
        standing_c: curve(45.0),
        use_c: curve(27.0),
        use_text: given(),
        mat_c: Reckoned { low: mat_c - 5.0, mid: mat_c, high: mat_c + 9.0 },
        at_mm,
    }
}

pub(crate) fn plan_page(plan: Option<PlanView>) -> PlanPage {
    let field = |name: &str, kind| PlanField {
        name: name.to_owned(),
        label: given(),
        value: String::new(),
        usual: given(),
        help: given(),
        kind,
    };
    PlanPage {
        frame: frame(),
        plan,
        complaints: vec![given()],
        nests: vec![link()],
        form: vec![PlanGroup {
            name: given(),
            fields: vec![
                field("a", PlanKind::Number { range: (0.0, 9.0), slide: (0.0, 9.0, 1.0) }),
                field("b", PlanKind::Choice(vec![("c".to_owned(), given())])),
            ],
        }],
        hidden: Vec::new(),
    }
}

pub(crate) fn sheet() -> SheetPage {
    let field = Field {
        name: "a".to_owned(),
        label: given(),
        kind: FieldKind::Line(9),
        value: given(),
        help: given(),
        needed: true,
    };
    let form = Form {
        heading: given(),
        says: vec![given()],
        url: "/".to_owned(),
        groups: vec![(given(), vec![field])],
        buttons: vec![Button { label: given(), sends: None }],
        grave: true,
        ..Form::default()
    };
    let cells = TONES.map(|tone| Cell::of(GIVEN).loud(tone));
    let table = Table { caption: given(), columns: vec![given(); 4], rows: vec![cells.into()], empty: given() };
    let minutes = MinutesView {
        title: given(),
        sentence: given(),
        caption: given(),
        table_words: given(),
        heads: (given(), given()),
        ticks: vec![Tick { at: 0.5, label: given(), major: true }],
        lines: vec![MinuteLine { name: given(), points: vec![(0.0, 27.0), (1.0, 28.0)] }],
        levels: vec![(33.0, given())],
        moments: vec![(0.5, given())],
        drive: vec![(0.0, 0.5)],
        hours: vec![given(); 3],
    };
    let parts = vec![
        Part::Heading(given()),
        Part::Says(vec![given()]),
        Part::Warns(Tone::Danger, vec![given()]),
        Part::Steps(vec![given()]),
        Part::Facts(vec![(given(), given())]),
        Part::Table(table),
        Part::Minutes(Box::new(minutes)),
        Part::Forms(vec![form.clone()]),
        Part::Links(vec![link()]),
        Part::Copy(given(), given()),
        Part::Folded(given(), vec![Part::Form(form)]),
    ];
    SheetPage {
        frame: frame(),
        title: given(),
        tone: Tone::Warning,
        as_of: Some((given(), link())),
        live: Some(live(alarms())),
        parts,
    }
}
