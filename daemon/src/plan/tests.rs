use super::*;
use crate::shelf_file::check_text;
use dashboards::plan_caution;
use std::path::Path;

const EXAMPLE: &str = include_str!("../../shelf.example.toml");

fn shelf() -> Result<Shelf, ShelfErrors> {
    check_text(EXAMPLE, Path::new("shelf.toml"), std::iter::empty()).map(|(file, _)| file.shelf)
}

fn no_shelf() -> Result<Shelf, ShelfErrors> {
    Err(ShelfErrors::Unreadable { path: "shelf.toml".into(), reason: "it is not there".to_owned() })
}

fn args(wish: Wish, out: Option<&Path>) -> Args {
    Args { wish, out: out.map(Path::to_owned) }
}

fn bare() -> Wish {
    let text = |v: &str| Some(v.to_owned());
    Wish { length: text("200"), pad_from: text("0"), pad_to: text("60"), watts: text("5"), ..Wish::default() }
}

fn said(args: &Args, load: impl FnOnce() -> Result<Shelf, ShelfErrors>) -> String {
    let mut out = Vec::new();
    write(args, load, &mut out, 100).unwrap();
    String::from_utf8(out).unwrap()
}

fn wrong(args: &Args) -> WrongCall {
    let error = write(args, shelf, &mut Vec::new(), 100).unwrap_err();
    error.downcast::<WrongCall>().unwrap()
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn flags_alone_are_enough_and_the_worst_case_is_the_first_and_the_caution_the_last() {
    let text = one_line(&said(&args(bare(), None), no_shelf));
    assert!(text.starts_with("Warning: Stuck on and covered, room at 30 °C: the hottest gallery likely "), "{text}");
    assert!(text.ends_with(&plan_caution()), "{text}");
    assert!(text.contains("No largest mat is named: what the brood bears and what the material bears are not given."));
}

#[test]
fn a_whole_shelf_is_planned_nest_by_nest_and_each_ends_with_the_caution() {
    let text = one_line(&said(&Args::default(), shelf));
    assert_eq!(text.matches("Danger: Stuck on and covered").count(), 2, "{text}");
    assert_eq!(text.matches(&plan_caution()).count(), 2);
    let oak = said(&args(Wish { nest: Some("oak".to_owned()), ..Wish::default() }, None), shelf);
    assert!(one_line(&oak).contains("The largest mat in this place whose worst case"), "{oak}");
}

#[test]
fn what_is_called_wrongly_is_told_apart_from_a_shelf_file_that_is_not_there() {
    assert!(matches!(
        wrong(&args(Wish { nest: Some("elm".to_owned()), ..Wish::default() }, None)),
        WrongCall::Nest { .. }
    ));
    let flags = Wish { watts: Some("3".to_owned()), ..Wish::default() };
    assert!(matches!(wrong(&args(flags, None)), WrongCall::Several { .. }));
    assert!(matches!(wrong(&args(Wish::default(), Some(Path::new("plan.png")))), WrongCall::Several { .. }));
    assert!(matches!(wrong(&args(bare(), Some(Path::new("plan.bmp")))), WrongCall::Ending { .. }));
    assert!(matches!(wrong(&args(Wish { watts: None, ..bare() }, None)), WrongCall::Wish(_)));
    let missing = write(&Args::default(), no_shelf, &mut Vec::new(), 100).unwrap_err();
    assert!(missing.downcast_ref::<ShelfErrors>().is_some(), "{missing}");
}

#[test]
fn a_file_is_written_in_every_form_and_a_page_stands_alone() {
    let dir = tempfile::tempdir().unwrap();
    for (name, begins) in [("plan.html", "<!DOCTYPE html>"), ("plan.svg", "<svg"), ("plan.png", "\u{89}PNG")] {
        let path = dir.path().join(name);
        assert_eq!(said(&args(bare(), Some(&path)), no_shelf), "");
        let bytes = std::fs::read(&path).unwrap();
        let text: String = bytes.iter().map(|b| char::from(*b)).collect();
        assert!(text.starts_with(begins) && bytes.len() > 5_000, "{name}: {} bytes", bytes.len());
        if name == "plan.html" {
            assert!(!text.contains("<script") && !text.contains("<form") && !text.contains("/style.css"));
        }
    }
    let nowhere = dir.path().join("no-such-directory/plan.svg");
    let error = write(&args(bare(), Some(&nowhere)), no_shelf, &mut Vec::new(), 100).unwrap_err();
    assert!(format!("{error:#}").contains("Make its directory"), "{error:#}");
}
