//! Pictures, pages and text over a made history.
use super::*;
use crate::views::sample::{made, utc};

const PLAIN: Terminal = Terminal { columns: 80, paint: Paint::Plain };

fn args(nest: Option<&str>, out: Option<PathBuf>) -> Args {
    let text = |t: &str| Some(t.to_owned());
    Args { file: made().file.clone(), nest: nest.map(str::to_owned), from: text("60h"), to: None, with: None, out }
}

fn text(args: &Args, terminal: Terminal) -> String {
    let mut out = Vec::new();
    write(args, made().end, &utc(), (&mut out, terminal)).unwrap();
    String::from_utf8(out).unwrap()
}

fn file(name: &str) -> Vec<u8> {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(name);
    assert_eq!(text(&args(Some("oak"), Some(path.clone())), PLAIN), "");
    std::fs::read(path).unwrap()
}

#[track_caller]
fn wrong(args: &Args, words: &[&str]) {
    let error = write(args, made().end, &utc(), (&mut Vec::new(), PLAIN)).unwrap_err();
    let text = format!("{error:#}");
    assert!(error.downcast_ref::<WrongCall>().is_some(), "{text}");
    assert!(words.iter().all(|w| text.contains(w)), "{text}");
}

#[test]
fn text_is_as_wide_as_asked_and_tells_both_nests() {
    let text = text(&args(None, None), PLAIN);
    assert!(text.contains("oak, ") && text.contains("plaster, "));
    assert!(!text.contains('\x1b'));
    // The map and its sentences; the list of what happened may run longer.
    let too_wide: Vec<_> = text.lines().filter(|l| !l.starts_with("  ") && l.chars().count() > 80).collect();
    assert!(too_wide.is_empty(), "{too_wide:#?}");
}

#[test]
fn a_terminal_gets_colours() {
    let terminal = Terminal { paint: Paint::Ansi, ..PLAIN };
    assert!(text(&args(Some("oak"), None), terminal).contains("\x1b["));
}

#[test]
fn a_picture_is_one() {
    let png = file("oak.png");
    let reader = png::Decoder::new(std::io::Cursor::new(png)).read_info().unwrap();
    assert!(reader.info().width >= 800 && reader.info().height >= 400);
}

#[test]
fn a_drawing_and_a_page_stand_alone() {
    let svg = String::from_utf8(file("oak.svg")).unwrap();
    assert!(svg.starts_with("<svg") && svg.trim_end().ends_with("</svg>"));
    let html = String::from_utf8(file("oak.HTML")).unwrap();
    assert!(html.contains("<style>") && !html.contains("<script"));
    for link in html.split("href=\"").skip(1) {
        assert!(link.starts_with('#') || link.starts_with("data:"), "{}", link.get(..80).unwrap_or(link));
    }
    assert!(html.contains("two heaps &amp; &lt;eggs&gt;"));
}

/// The history of [`made`] begins three days before its end: two spans of a day are known, and both nests.
#[test]
fn a_span_stands_beside_the_one_before_and_beside_another_nest() {
    let dir = tempfile::tempdir().unwrap();
    for (with, words) in [("before", "The day before"), ("plaster", "Plaster in the same time")] {
        let day = |out| Args { from: Some("1d".to_owned()), with: Some(with.to_owned()), ..args(Some("oak"), out) };
        let said = text(&day(None), PLAIN);
        let (first, second) = said.split_once(&format!("\n{words}\n")).unwrap_or_else(|| panic!("{said}"));
        assert!(first.contains("oak, ") && first.contains(&words[1..]), "told against it, too: {first}");
        let headed = if with == "before" { "oak, " } else { "plaster, " };
        assert!(second.starts_with(headed), "{second}");
        let scale = |text: &str| text.lines().find(|l| l.contains(" °C .")).map(str::to_owned);
        assert!(scale(first).is_some() && scale(first) == scale(second), "read by the same colours");

        let path = dir.path().join("beside.html");
        text(&day(Some(path.clone())), PLAIN);
        let html = std::fs::read_to_string(path).unwrap();
        assert!(html.contains(&format!("<h3>{words}</h3>")) && html.contains("dashed line"), "{with}");

        let path = dir.path().join("beside.svg");
        text(&day(Some(path.clone())), PLAIN);
        let svg = std::fs::read_to_string(path).unwrap();
        assert_eq!(svg.matches("<svg").count(), 3, "one around the two");
        assert!(svg.contains(words) && dashboards::svg_to_png(&svg, 1.0).is_ok());
    }
}

#[test]
fn without_a_nest_it_is_the_whole_shelf() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("shelf.html");
    assert_eq!(text(&args(None, Some(path.clone())), PLAIN), "");
    let html = std::fs::read_to_string(path).unwrap();
    assert!(html.contains("id=\"name-oak\"") && html.contains("id=\"name-plaster\""));
}

/// Each nest as one nest's review has it: its picture, and beside it the other's by the same colours.
#[test]
fn each_nest_of_the_whole_shelf_stands_beside_what_it_is_compared_with() {
    let dir = tempfile::tempdir().unwrap();
    let kept = |args: Args, name: &str| {
        let path = dir.path().join(name);
        assert_eq!(text(&Args { out: Some(path.clone()), ..args }, PLAIN), "");
        std::fs::read(path).unwrap()
    };
    let page = |args: Args| String::from_utf8(kept(args, "shelf.html")).unwrap();
    let day = |nest, with: &str| Args { from: Some("1d".to_owned()), with: Some(with.to_owned()), ..args(nest, None) };

    let (words, html) = ("The day before", page(day(None, "before")));
    assert_eq!(html.matches(&format!("<h3>{words}</h3>")).count(), 2);
    let pictures = |html: &str| -> Vec<String> {
        let figures = html.split("<figure").skip(1).filter_map(|f| f.split_once("</figure>"));
        figures.map(|(figure, _)| figure.split_once("<svg").map_or(String::new(), |(_, svg)| svg.to_owned())).collect()
    };
    let (shelf, oak) = (pictures(&html), pictures(&page(day(Some("oak"), "before"))));
    assert_eq!((shelf.len(), oak.len()), (4, 2));
    assert_eq!(shelf[..2], oak[..], "drawn as the nest's own review draws them");
    let said = text(&day(None, "before"), PLAIN);
    assert_eq!(said.matches(&format!("\n{words}\n")).count(), 2, "{said}");

    // The other nest would stand beside itself, and stands alone.
    let html = page(day(None, "plaster"));
    assert_eq!(html.matches("<h3>Plaster in the same time</h3>").count(), 1);
    assert!(html.contains("id=\"name-oak\"") && html.contains("id=\"name-plaster\""));
    let svg = String::from_utf8(kept(day(None, "plaster"), "shelf.svg")).unwrap();
    assert_eq!(svg.matches("<svg").count(), 1 + 3, "one around the three");
    let png = kept(day(None, "plaster"), "shelf.png");
    let png = png::Decoder::new(std::io::Cursor::new(png)).read_info().unwrap();
    assert!(png.info().height >= 3 * 400, "{}", png.info().height);

    let known = "the whole shelf can be compared with before, oak, plaster";
    wrong(&day(None, "last week"), &["last week", known]);
    wrong(&Args { out: Some(dir.path().join("x.html")), ..day(None, "last week") }, &["last week", known]);
}

#[test]
fn a_wrong_call_says_what_would_be_right() {
    wrong(&args(Some("oka"), None), &["oka", "oak, plaster"]);
    wrong(&args(Some("oak"), Some("x.gif".into())), &[".png"]);
    for with in ["oak", "last week"] {
        wrong(&Args { with: Some(with.to_owned()), ..args(Some("oak"), None) }, &[with, "before, plaster"]);
    }
    wrong(&Args { from: Some("yesterday".to_owned()), ..args(Some("oak"), None) }, &["--from", "7d"]);
    wrong(&Args { from: Some("1d".to_owned()), to: Some("2d".to_owned()), ..args(Some("oak"), None) }, &["--to"]);
}

#[test]
fn nothing_stored_is_said_and_nothing_is_written() {
    let span = Args { from: Some("300d".to_owned()), to: Some("290d".to_owned()), ..args(Some("oak"), None) };
    let error = write(&span, made().end, &utc(), (&mut Vec::new(), PLAIN)).unwrap_err();
    assert!(format!("{error:#}").contains("no reading of it"), "{error:#}");
    let mut elsewhere = args(Some("oak"), None);
    elsewhere.file.history.path = made().dir.path().join("none.db");
    let error = write(&elsewhere, made().end, &utc(), (&mut Vec::new(), PLAIN)).unwrap_err();
    assert!(format!("{error:#}").contains("there is none yet"), "{error:#}");
}
