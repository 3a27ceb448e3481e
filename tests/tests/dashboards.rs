//! The mirror's dashboard: each of its queries that a server can be had for runs against it and gives what was written.
use serde_json::Value;
use std::fmt::Write as _;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use tests::influx::{Found, Influx};
use tests::program::root;
use tests::series::Server;
use tests::{SOON, minute_now_s, wait};

/// Posts lines as the mirror does.
fn post(at: SocketAddr, lines: &str) {
    let mut stream = TcpStream::connect(at).unwrap();
    let head = "POST /api/v2/write?bucket=shelf&org=home&precision=ms HTTP/1.1\r\nHost: x\r\nConnection: close\r\n";
    write!(stream, "{head}Content-Length: {}\r\n\r\n{lines}", lines.len()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 204"), "{answer}");
}

/// Two hours of one nest, a value a minute; the lines are the mirror's own form.
fn lines(from_s: i64) -> String {
    let mut text = String::new();
    for k in 0..120 {
        let ms = (from_s + 60 * k) * 1000;
        let warm = if k == 77 { 41.5 } else { 26.0 };
        let reading = |source: &str, quantity: &str, v: f64| {
            format!("reading,nest=oak,quantity={quantity},source=oak-node:{source} value={v} {ms}\n")
        };
        text += &reading("warm", "temperature", warm);
        text += &reading("cool", "temperature", 21.0);
        text += &reading("mat", "power", 3.5);
        let _ = writeln!(text, "estimate,nest=oak heat=3.25,brood_mean=26.5,brood_sd=0.5,brood_hottest=28.75 {ms}");
        for place in [0, 120, 240] {
            let _ = writeln!(text, "profile,nest=oak,at_mm={place} mean={},sd=0.25 {ms}", 28 - place / 60);
        }
    }
    let ms = (from_s + 1_800) * 1000;
    let _ = writeln!(text, "alarm,alarm=brood-hot,nest=oak,priority=warning active=1,event=\"raised\" {ms}");
    text
}

/// Every query of the dashboard: its panel, its letter, the query for the nest `oak`.
fn queries() -> Vec<(String, String, String)> {
    let text = std::fs::read_to_string(root().join("dashboards/mirror/shelf.json")).unwrap();
    let json: Value = serde_json::from_str(&text).unwrap();
    let panels = json["panels"].as_array().unwrap();
    let of = |panel: &Value| {
        let title = panel["title"].as_str().unwrap().to_owned();
        let targets = panel["targets"].as_array().unwrap().clone();
        targets.into_iter().map(move |target| {
            let text = |key: &str| target[key].as_str().unwrap().to_owned();
            (title.clone(), text("refId"), text("expr").replace("$nest", "oak"))
        })
    };
    panels.iter().flat_map(of).collect()
}

/// The highest value of each series of an answer.
fn highest(found: &[Value]) -> Vec<f64> {
    let value = |v: &Value| v[1].as_str().unwrap().parse::<f64>().unwrap();
    let of = |series: &Value| series["values"].as_array().unwrap().iter().map(value).fold(f64::MIN, f64::max);
    let mut all: Vec<f64> = found.iter().map(of).collect();
    all.sort_by(f64::total_cmp);
    all
}

#[test]
fn every_query_of_the_dashboard_gives_what_was_mirrored() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::start(dir.path().join("series"));
    let from_s = minute_now_s() as i64 - 7_200;
    post(server.at, &lines(from_s));
    wait("the lines are there", SOON, || (server.export("reading_value").len() == 3).then_some(()));
    let want: [(&str, &str, &[f64]); 12] = [
        ("What the probes said", "A", &[21.0, 41.5]),
        ("The brood place: mean, and its hottest point", "A", &[26.5]),
        ("The brood place: mean, and its hottest point", "B", &[28.75]),
        ("The brood place: mean, and its hottest point", "C", &[27.0]),
        ("The brood place: mean, and its hottest point", "D", &[26.0]),
        ("Alarms that stand", "A", &[1.0]),
        ("The warmth along the nest", "A", &[24.0, 26.0, 28.0]),
        ("Heat of the mats, believed and told", "A", &[3.25]),
        ("Heat of the mats, believed and told", "B", &[3.5]),
        ("Coldest, mean and hottest of each day", "A", &[21.0, 26.0]),
        ("Coldest, mean and hottest of each day", "B", &[]),
        ("Coldest, mean and hottest of each day", "C", &[21.0, 41.5]),
    ];
    let queries = queries();
    assert_eq!(queries.len(), want.len());
    for ((panel, letter, query), (title, which, values)) in queries.iter().zip(want) {
        assert_eq!((panel.as_str(), letter.as_str()), (title, which));
        let found = highest(&server.query(query, (from_s, from_s + 7_200, 60)));
        if which == "B" && values.is_empty() {
            // The mean of the spike and the rest: 26 and a little.
            assert!(found.len() == 2 && found[1] > 26.0 && found[1] < 27.0, "{query}: {found:?}");
        } else {
            assert_eq!(found, values, "{query}");
        }
    }
}

/// The queries in InfluxQL of the page beside the dashboard, by their pictures' names.
fn influxql() -> Vec<(String, String)> {
    let page = std::fs::read_to_string(root().join("dashboards/mirror/README.md")).unwrap();
    let table = page.lines().skip_while(|line| !line.starts_with("| picture | InfluxQL")).skip(2);
    let cells = table.take_while(|line| line.starts_with('|')).map(|line| {
        let mut cells = line.trim_matches('|').split(" | ").map(|cell| cell.trim().trim_matches('`').to_owned());
        (cells.next().unwrap(), cells.next().unwrap())
    });
    cells.collect()
}

/// A picture's name, how many series it has, and between what the highest number of each column lies.
type Wanted<'a> = (&'a str, usize, &'a [Option<(f64, f64)>]);

/// The highest number of each column but the time, over all series; `None` where a column holds none.
fn highest_by_column(found: &[Found]) -> Vec<Option<f64>> {
    let columns = found.first().map_or(0, |series| series.columns.len());
    let of = |i: usize| {
        let rows = found.iter().flat_map(|series| &series.rows);
        rows.filter_map(|row| row[i].as_f64()).reduce(f64::max)
    };
    (1..columns).map(of).collect()
}

#[test]
fn every_query_in_influxql_gives_what_was_mirrored() {
    let dir = tempfile::tempdir().unwrap();
    let server = Influx::start(dir.path());
    let from_s = minute_now_s() as i64 - 7_200;
    let doubted = format!(
        "reading,nest=oak,quantity=temperature,source=oak-node:warm value=85,rejected=\"wild\" {}\n",
        (from_s + 30) * 1000
    );
    let (status, why) = server.write(&(lines(from_s) + &doubted));
    assert_eq!(status, 204, "{why}");
    // The mean of a spike and the rest is no round number, and a day may begin within the span: bounds for those.
    let want: [Wanted<'_>; 6] = [
        ("what the probes said", 2, &[Some((26.0, 60.0))]),
        ("what was not believed, to be drawn over it as crosses", 1, &[Some((85.0, 85.0)), None]),
        ("the brood place", 1, &[Some((26.5, 26.5)), Some((28.75, 28.75))]),
        ("the warmth along the nest", 3, &[Some((28.0, 28.0))]),
        ("alarms", 1, &[Some((1.0, 1.0)), None, None]),
        ("coldest and hottest of each day", 2, &[Some((21.0, 26.0)), Some((26.0, 28.0)), Some((85.0, 85.0))]),
    ];
    let queries = influxql();
    assert_eq!(queries.iter().map(|(name, _)| name.as_str()).collect::<Vec<_>>(), want.map(|(name, ..)| name));
    for ((name, query), (_, series, columns)) in queries.iter().zip(want) {
        let found = server.query(query);
        assert_eq!(found.len(), series, "{name}: {found:?}");
        let highest = highest_by_column(&found);
        assert_eq!(highest.len(), columns.len(), "{name}: {found:?}");
        for (found, want) in highest.iter().zip(columns) {
            let fits = match (found, want) {
                (Some(found), Some((low, high))) => (*low..=*high).contains(found),
                (None, None) => true,
                _ => false,
            };
            assert!(fits, "{name}: {found:?}, wanted {want:?}");
        }
    }
    // The words beside the numbers.
    let doubt = &server.query(&queries[1].1)[0].rows;
    assert_eq!((doubt.len(), doubt[0][2].as_str()), (1, Some("wild")), "only what was not believed: {doubt:?}");
}
