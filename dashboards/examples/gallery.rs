//! Writes sample pages and pictures into a directory, to be looked at: `cargo run -p dashboards --example gallery -- DIR`.
//!
//! Everything in them is invented: the nests, the numbers, the week.
use dashboards::*;
use std::f64::consts::TAU;
use std::io::Write as _;
use std::path::Path;

fn main() -> std::io::Result<()> {
    let Some(dir) = std::env::args_os().nth(1) else {
        return writeln!(
            std::io::stderr(),
            "writing sample pages: no directory was named; give one as the only argument"
        );
    };
    let dir = Path::new(&dir);
    std::fs::create_dir_all(dir)?;
    let (calm, alarmed, week) = (calm(), alarmed(), week());
    write_pages(dir, &calm, &alarmed, &week)?;
    std::fs::write(dir.join("nest.svg"), profile_svg(&calm.nests[0]))?;
    std::fs::write(dir.join("week.svg"), heatmap_svg(&week))?;
    for (name, svg) in [("nest.png", profile_svg(&calm.nests[0])), ("week.png", heatmap_svg(&week))] {
        let png = svg_to_png(&svg, 2.0).map_err(std::io::Error::other)?;
        std::fs::write(dir.join(name), png)?;
    }
    std::fs::write(dir.join("week.txt"), week_text(&week, 120, Paint::Plain))?;
    std::fs::write(dir.join("week.ansi"), week_text(&week, 120, Paint::Ansi))?;
    std::fs::write(dir.join("style.css"), STYLE_CSS)?;
    std::fs::write(dir.join("live.js"), LIVE_JS)
}

fn write_pages(dir: &Path, calm: &NowPage, alarmed: &NowPage, week: &WeekView) -> std::io::Result<()> {
    // Opened as files, the pages find style and script beside them.
    let save = |name: &str, html: String| {
        let html =
            html.replace("href=\"/style.css\"", "href=\"style.css\"").replace("src=\"/live.js\"", "src=\"live.js\"");
        std::fs::write(dir.join(name), html)
    };
    save("now.html", now_html(calm))?;
    save("alarmed.html", now_html(alarmed))?;
    let page = WeekPage {
        alarms: vec!["4 raised, 2 of them told: 0.3 a day (the guideline bears 150).".to_owned()],
        frame: frame(1),
        now: Some(calm.nests[0].clone()),
        week: week.clone(),
        note: None,
        earlier_url: Some("?from=…".to_owned()),
        spans: [("day", false), ("week", true), ("month", false)]
            .map(|(label, current)| Link { label: label.to_owned(), url: "?span=…".to_owned(), current })
            .into(),
        downloads: vec![Link { label: "as picture".to_owned(), url: "week.png".to_owned(), current: false }],
        ..WeekPage::default()
    };
    save("week.html", week_html(&page))?;
    let report = Frame { assets: Assets::Inline, ..frame(9) };
    save("report.html", week_html(&WeekPage { frame: report, now: None, ..page }))?;
    let empty =
        NowPage { frame: frame(0), as_of_text: "19:02".to_owned(), nests: vec![silent()], ..NowPage::default() };
    save("empty.html", now_html(&empty))?;
    let plain = PlainPage {
        frame: frame(9),
        title: "No nest of that name".to_owned(),
        sentences: vec![
            "Looking for the nest \u{201c}<oka>\u{201d}: the shelf file names oak and slate. Choose one above."
                .to_owned(),
        ],
    };
    save("plain.html", plain_html(&plain))?;
    let past = vec![("Tue 04:12".to_owned(), "oak: the brood place is too cold: over".to_owned(), String::new())];
    let live = Live { as_of_text: "03:12".to_owned(), alarms: alarmed.alarms.clone(), ..Live::default() };
    let list = AlarmsPage { frame: frame(3), live, past, ..AlarmsPage::default() };
    save("alarms.html", alarms_html(&list))
}

fn frame(current: usize) -> Frame {
    let nav = [("Now", "now.html"), ("Oak", "week.html"), ("Slate", "week.html"), ("Alarms", "alarms.html")];
    let nav = nav.iter().enumerate();
    Frame {
        cautions: Vec::new(),
        shelf_name: "study".to_owned(),
        nav: nav
            .map(|(i, (l, u))| Link { label: (*l).to_owned(), url: (*u).to_owned(), current: i == current })
            .collect(),
        assets: Assets::Served,
    }
}

/// Room plus what a mat from 0 to `pad_mm` leaves at a place, decaying over `decay_mm`.
fn warmth(mm: f64, room_c: f64, rise_k: f64, pad_mm: f64) -> f64 {
    let decay_mm = 26.0;
    let beyond = (mm - pad_mm).max(0.0);
    let under = 1.0 - 0.5 * (-(pad_mm - mm).max(0.0) / decay_mm).exp() - 0.2 * (-mm / decay_mm).exp();
    room_c + rise_k * if mm <= pad_mm { under } else { 0.5 * (-beyond / decay_mm).exp() }
}

fn probe(name: &str, at_mm: f64, c: f64, rh: Option<f64>) -> ProbeView {
    ProbeView {
        name: name.to_owned(),
        at_mm,
        temperature_c: Some(c),
        humidity_pct: rh,
        heard_text: "20 s ago".to_owned(),
        not_believed_because: None,
    }
}

fn oak(rise_k: f64) -> NestView {
    let (length_mm, room_c, pad_mm) = (240.0, 21.4, 80.0);
    let at_mm: Vec<f64> = (0..=60).map(|i| f64::from(i) * 4.0).collect();
    let mean_c: Vec<f64> = at_mm.iter().map(|x| warmth(*x, room_c, rise_k, pad_mm)).collect();
    let away = |x: f64| [10.0, 110.0, 230.0].iter().map(|p: &f64| (p - x).abs()).fold(f64::INFINITY, f64::min);
    let brood = at_mm.iter().zip(&mean_c).filter(|(x, _)| (50.0..=90.0).contains(*x)).map(|(_, c)| *c);
    let (sum, count, hottest) = brood.fold((0.0, 0.0, f64::MIN), |(s, n, h), c| (s + c, n + 1.0, f64::max(h, c)));
    NestView {
        id: "oak".to_owned(),
        name: "Oak".to_owned(),
        url: "week.html".to_owned(),
        summary: "The brood place keeps to its band; beyond 140 mm the nest is as cool as the room.".to_owned(),
        length_mm,
        mats: vec![mat((0.0, pad_mm), MatPlace::Under, 7.0, MatTold::Duty(0.45))],
        brood: Some(Stretch { from_mm: 50.0, to_mm: 90.0 }),
        band: Some(BandView { low_c: 24.0, high_c: 31.0, limit_c: 35.0 }),
        probes: vec![
            probe("oak-node:warm", 10.0, warmth(10.0, room_c, rise_k, pad_mm) + 0.1, Some(54.0)),
            probe("oak-node:middle", 110.0, warmth(110.0, room_c, rise_k, pad_mm) - 0.15, None),
            probe("oak-node:cool", 230.0, room_c + 0.1, Some(71.0)),
        ],
        rh_pct: at_mm.iter().map(|x| Some(54.0 + x * 0.07)).collect(),
        profile: ProfileView { sd_c: at_mm.iter().map(|x| 0.12 + away(*x) * 0.008).collect(), at_mm, mean_c },
        brood_now: Some(BroodView { mean_c: sum / count, sd_c: 0.25, hottest_c: hottest }),
        room_c: Some((room_c, 0.1)),
        leave_text: None,
        gives_w: Some((rise_k * 0.35, 0.25)),
        forecast: Some(ahead(room_c + 0.68 * rise_k)),
        as_of_text: "03:12".to_owned(),
        ..NestView::default()
    }
}

/// A night that cools, and a hot forenoon after it.
fn ahead(now_c: f64) -> ForecastView {
    let warmer = |i: i32| (f64::from(i - 40) / 24.0).max(0.0).powi(2) * 1.6;
    let mean = |i: i32| now_c + 0.25 * (f64::from(i) * 1.2).sin() + warmer(i);
    let leaves = now_c > 28.5;
    ForecastView {
        brood_c: (0..72).map(|i| (mean(i), (0.25 + f64::from(i) * 0.008, 0.25 + f64::from(i) * 0.012))).collect(),
        room_c: (0..72).map(|i| 21.4 - 1.2 * (f64::from(i) / 30.0).sin() + warmer(i)).collect(),
        clock: (0..72).map(|i| format!("{:02}:{}2", (3 + (i + 1) / 6) % 24, (i + 1) % 6)).collect(),
        ticks: (0..4)
            .map(|k| Tick { at: (2.8 + 3.0 * f64::from(k)) / 12.0, label: format!("{:02}:00", 6 + 3 * k), major: true })
            .collect(),
        leaves_at: leaves.then_some((0.72, 0.8, Some(0.94))),
        words: if leaves {
            "Likely (83 in 100) above 31 °C from about 12:50, hardly before 11:50; up to 32.1 ± 1.0 °C.".to_owned()
        } else {
            "In the next 12 h the brood place is expected to stay within its band.".to_owned()
        },
    }
}

fn slate() -> NestView {
    let length_mm = 420.0;
    let at_mm: Vec<f64> = (0..=60).map(|i| f64::from(i) * 7.0).collect();
    let mean_c: Vec<f64> = at_mm.iter().map(|x| 21.4 + 6.3 * (-((x - 200.0) / 75.0).powi(2)).exp()).collect();
    let mut lost = probe("slate-node:far-left-hand-end", 20.0, 63.7, None);
    lost.not_believed_because = Some("the nest cannot change so fast at that place".to_owned());
    NestView {
        id: "slate".to_owned(),
        name: "Slate, with a long tube & two arenas".to_owned(),
        url: "week.html".to_owned(),
        summary: "The warmest place lies in the middle; one probe is not believed.".to_owned(),
        tone: Tone::Advice,
        length_mm,
        mats: vec![
            mat((150.0, 230.0), MatPlace::Lid, 4.0, MatTold::Duty(0.3)),
            mat((210.0, 260.0), MatPlace::Inside, 2.5, MatTold::Unreported),
        ],
        brood: Some(Stretch { from_mm: 170.0, to_mm: 230.0 }),
        band: Some(BandView { low_c: 26.0, high_c: 28.0, limit_c: 29.0 }),
        probes: vec![
            lost,
            probe("slate-node:a", 150.0, 25.6, None),
            probe("slate-node:b", 165.0, 26.6, None),
            probe("slate-node:c", 400.0, 21.3, Some(88.0)),
        ],
        profile: ProfileView { sd_c: vec![0.3; at_mm.len()], at_mm, mean_c },
        brood_now: Some(BroodView { mean_c: 27.4, sd_c: 0.2, hottest_c: 27.7 }),
        room_c: Some((21.4, 0.1)),
        gives_w: Some((2.4, 0.9)),
        learning_until: Some("today 18:40".to_owned()),
        learned_text: Some("how it carries heat, up to today 06:40 (warmend fit --nest slate)".to_owned()),
        as_of_text: "03:12".to_owned(),
        ..NestView::default()
    }
}

fn mat((from_mm, to_mm): (f64, f64), place: MatPlace, rated_w: f64, told: MatTold) -> MatView {
    MatView { span: Stretch { from_mm, to_mm }, place, rated_w, told }
}

fn silent() -> NestView {
    let nest = oak(10.0);
    let probes = nest.probes.iter().map(|p| ProbeView {
        temperature_c: None,
        humidity_pct: None,
        heard_text: "never".to_owned(),
        ..p.clone()
    });
    NestView {
        summary: "Nothing has been heard from it yet.".to_owned(),
        probes: probes.collect(),
        profile: ProfileView::default(),
        rh_pct: Vec::new(),
        brood_now: None,
        room_c: None,
        leave_text: None,
        gives_w: None,
        ..nest
    }
}

fn calm() -> NowPage {
    NowPage {
        stalled: None,
        frame: frame(0),
        as_of_text: "03:12:05".to_owned(),
        age_s: Some(20.0),
        alarms: Vec::new(),
        nests: vec![oak(9.5), slate()],
        unlisted: vec![("oak-node:spare".to_owned(), "21.9 °C".to_owned())],
        watch: vec!["History is written, 41 days of it; messages go out by mail, last tried Sunday 09:00.".to_owned()],
    }
}

fn alarmed() -> NowPage {
    let act = |label: &str| Action {
        label: label.to_owned(),
        url: "/alarms/acknowledge".to_owned(),
        fields: vec![("alarm".to_owned(), "heater-stuck-on".to_owned()), ("nest".to_owned(), "oak".to_owned())],
    };
    let stuck = AlarmView {
        alarm: "heater-stuck-on".to_owned(),
        tone: Tone::Danger,
        state: "unacknowledged".to_owned(),
        nests: vec!["oak".to_owned()],
        about: None,
        since_text: "since 02:41, for 31 min".to_owned(),
        state_text: "nobody has answered yet".to_owned(),
        nest_now: Some("The brood place is at 33.9 ± 0.4 °C, 2.9 K above the band of 24 to 31 °C.".to_owned()),
        place: vec!["hall, top board".to_owned(), "plug: white strip, second".to_owned()],
        detail:
            "The mat was told to rest and gives 6.8 ± 0.5 W. At 10 mm it is 38.2 °C, 4.1 K more than 20 minutes ago."
                .to_owned(),
        what_to_do: vec![
            "Pull the mat's plug now.".to_owned(),
            "Is the thermostat's sensor still in its place?".to_owned(),
        ],
        cause: None,
        actions: vec![act("I have seen it"), act("Silence for an hour")],
        url: "#".to_owned(),
        ..AlarmView::default()
    };
    let hot = AlarmView {
        alarm: "brood-hot".to_owned(),
        tone: Tone::Warning,
        state: "suppressed".to_owned(),
        cause: Some("heater-stuck-on".to_owned()),
        since_text: "since 02:58".to_owned(),
        detail: "Mean over one hour 31.9 °C; the band ends at 31.".to_owned(),
        what_to_do: Vec::new(),
        actions: Vec::new(),
        ..stuck.clone()
    };
    let dry = AlarmView {
        alarm: "water-low".to_owned(),
        nests: vec!["slate".to_owned()],
        state: "acknowledged".to_owned(),
        since_text: "since Tuesday 14:00".to_owned(),
        detail: "The nest dries by 0.4 hPa a day.".to_owned(),
        what_to_do: vec!["Look at the water.".to_owned()],
        actions: vec![act("Silence for a day")],
        cause: None,
        ..hot.clone()
    };
    let mut nest = oak(15.5);
    nest.tone = Tone::Danger;
    nest.summary = "The mat heats though it is told not to; the brood place is above its band.".to_owned();
    nest.mats[0].told = MatTold::Duty(0.0);
    NowPage { alarms: vec![hot, dry, stuck], nests: vec![nest, slate()], ..calm() }
}

const STEPS: usize = 672;

fn week() -> WeekView {
    let day = |i: usize| i as f64 / STEPS as f64 * 7.0;
    let room = |i: usize| {
        21.0 + 1.6 * ((day(i) - 0.62) * TAU).cos() + if day(i) > 4.0 { 1.2 * (day(i) - 4.0).min(1.5) } else { 0.0 }
    };
    let wobble = |i: usize| ((i * 7919) % 101) as f64 / 101.0 - 0.5;
    let power = |i: usize| {
        let stuck = (3.55..3.68).contains(&day(i));
        if stuck { 7.0 } else { (3.4 - 0.55 * (room(i) - 21.0) + 0.6 * wobble(i)).max(0.0) }
    };
    let heat = |i: usize| (i.saturating_sub(6)..=i).map(power).sum::<f64>() / (i - i.saturating_sub(6) + 1) as f64;
    let gap = |i: usize| (0.45..0.78).contains(&(day(i) - 1.6)) || (5.20..5.23).contains(&day(i));
    let known = |i: usize, v: LanePoint| (!gap(i)).then_some(v);
    let at_mm: Vec<f64> = (0..=60).map(|r| f64::from(r) * 4.0).collect();
    let columns = (0..STEPS)
        .map(|i| (!gap(i)).then(|| at_mm.iter().map(|x| warmth(*x, room(i), heat(i) * 2.9, 80.0) as f32).collect()))
        .collect();
    let brood = |i: usize, mm: f64| warmth(mm, room(i), heat(i) * 2.9, 80.0);
    let lane = |label: &str, unit: &str, f: &dyn Fn(usize) -> LanePoint| Lane {
        label: label.to_owned(),
        unit: unit.to_owned(),
        points: (0..STEPS).map(|i| known(i, f(i))).collect(),
        ..Lane::default()
    };
    let zone = Lane {
        zone: Some((24.0, 31.0)),
        limit: Some(35.0),
        ..lane("brood place: mean, coolest to hottest", "°C", &|i| LanePoint {
            min: brood(i, 90.0),
            mean: f64::midpoint(brood(i, 60.0), brood(i, 80.0)),
            max: brood(i, 50.0),
        })
    };
    let heating = Lane { filled: true, ..lane("heat the mat gives", "W", &|i| power(i).into()) };
    let names = ["Mon 2", "Tue 3", "Wed 4", "Thu 5", "Fri 6", "Sat 7", "Sun 8"];
    WeekView {
        nest_id: "oak".to_owned(),
        nest_name: "Oak".to_owned(),
        span_text: "Mon 2 to Sun 8 March 2026".to_owned(),
        sentences: vec![
            "The brood place was within its band for 97 % of the time that is known.".to_owned(),
            "On Thursday the mat heated for three hours without being told; the hottest point reached 36.4 °C."
                .to_owned(),
        ],
        length_mm: 240.0,
        brood: Some(Stretch { from_mm: 50.0, to_mm: 90.0 }),
        mats: vec![MatView { span: Stretch { from_mm: 0.0, to_mm: 80.0 }, rated_w: 7.0, ..MatView::default() }],
        map: HeatMap { at_mm, columns, colour: ColourRange::default(), ..HeatMap::default() },
        lanes: vec![
            zone,
            lane("room", "°C", &|i| room(i).into()),
            heating,
            lane("humidity at 230 mm", "%RH", &|i| (72.0 - 1.1 * day(i) + 2.0 * wobble(i)).into()),
        ],
        marks: marks(),
        ticks: (0..28)
            .map(|q| Tick {
                at: f64::from(q) / 28.0,
                label: if q % 4 == 0 { names[q as usize / 4].to_owned() } else { String::new() },
                major: q % 4 == 0,
            })
            .collect(),
        nights: (0..8)
            .map(|d| (((f64::from(d) - 0.12) / 7.0).max(0.0), ((f64::from(d) + 0.28) / 7.0).min(1.0)))
            .collect(),
        days: names.iter().map(|n| day_row(n)).collect(),
        ..WeekView::default()
    }
}

fn day_row(name: &str) -> DayRow {
    let three = |min, mean, max| Some(LanePoint { min, mean, max });
    let lost = name.starts_with("Wed");
    DayRow {
        day: format!("{name} March"),
        brood_c: three(25.1, 27.2, 29.8),
        in_band: Some(0.97),
        known: if lost { 0.71 } else { 1.0 },
        room_c: three(19.5, 21.1, 22.7),
        heat_wh: (!lost).then_some(81.0),
        degree_days: Some(27.2),
    }
}

fn marks() -> Vec<Mark> {
    let note = |at: f64, mm, when: &str, text: &str| Mark {
        at: at / 7.0,
        at_mm: mm,
        time_text: when.to_owned(),
        text: text.to_owned(),
        ..Mark::default()
    };
    let alarm = |from: f64, to: f64, tone, when: &str, text: &str| Mark {
        until: Some(to / 7.0),
        kind: MarkKind::Alarm(tone),
        ..note(from, None, when, text)
    };
    vec![
        note(0.8, Some(62.0), "Mon 19:10", "brood seen at 62 mm, about 40 larvae"),
        alarm(2.05, 2.38, Tone::Warning, "Wed 01:12", "nothing was watched until 09:07: the power was cut"),
        alarm(3.56, 3.72, Tone::Danger, "Thu 13:26", "the heating gave heat it was not told to give, for 3 h 50 min"),
        note(3.6, None, "Thu 14:20", "plug pulled; the sensor had slipped off the mat"),
        note(3.69, None, "Thu 16:40", "sensor back in its place"),
        note(6.1, Some(84.0), "Sun 02:30", "brood carried to 84 mm"),
    ]
}
