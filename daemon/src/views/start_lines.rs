//! From what a person answered to the lines of a shelf file, and what stays open. Pure; the real reader judges them.
use super::start::SOURCES_MAX;
use dashboards::say;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Most answers kept, and the longest.
const ANSWERS_MAX: usize = 96;
/// See [`ANSWERS_MAX`].
const CHARS_MAX: usize = 120;

/// What was answered, by field; an absent one is empty.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Answers(BTreeMap<String, String>);

impl Answers {
    /// From a form's pairs: the last of each name, bounded.
    pub fn of(pairs: impl IntoIterator<Item = (String, String)>) -> Self {
        let bounded = pairs.into_iter().take(ANSWERS_MAX).map(|(name, value)| {
            let value: String = value.trim().chars().filter(|c| !c.is_control()).take(CHARS_MAX).collect();
            (name, value)
        });
        Self(bounded.collect())
    }

    /// Whether lines were asked for.
    pub fn given(&self) -> bool {
        !self.get("write").is_empty()
    }

    /// One answer.
    pub fn get(&self, name: &str) -> &str {
        self.0.get(name).map_or("", String::as_str)
    }

    /// The sources that the form asked about or that were written by hand, by their row, up to the last one.
    pub fn sources(&self) -> Vec<String> {
        let row = |i: usize| self.get(&format!("s{i}"));
        let last = (0..SOURCES_MAX).rev().find(|i| !row(*i).is_empty()).map_or(0, |i| i + 1);
        (0..last).map(|i| row(i).to_owned()).collect()
    }

    /// A number as a person writes it, decimal comma allowed; none where nothing or no number stands.
    fn number(&self, name: &str) -> Option<f64> {
        self.get(name).replace(',', ".").parse().ok().filter(|v: &f64| v.is_finite())
    }
}

/// Lines of a shelf file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Lines {
    /// The lines; empty while something is missing.
    pub text: String,
    /// What must still be answered, a sentence each.
    pub missing: Vec<String>,
    /// What stays open, and what that costs, a sentence each.
    pub open: Vec<String>,
}

/// The lines for one nest.
pub fn lines(a: &Answers) -> Lines {
    let mut out = Lines::default();
    let mut text = String::from("[[nest]]\n");
    let probes: Vec<(String, f64)> = placed(a).collect();
    out.missing.extend(a.get("id").is_empty().then(|| say!("start-need-id")));
    out.missing.extend(a.number("length").is_none().then(|| say!("start-need-length")));
    out.missing.extend(probes.is_empty().then(|| say!("start-need-probe")));
    let _ = writeln!(text, "id = {}", quoted(a.get("id")));
    let _ = writeln!(text, "length_mm = {}", a.number("length").unwrap_or(0.0));
    match a.get("material") {
        "" => out.open.push(say!("start-open-material")),
        material => drop(writeln!(text, "material = {}", quoted(material))),
    }
    if !a.get("cover").is_empty() {
        let _ = writeln!(text, "cover = {}", quoted(a.get("cover")));
    }
    mat(a, &mut text, &mut out.open);
    brood(a, &mut text, &mut out.open);
    for (source, mm) in probes {
        let _ = write!(text, "\n[[nest.probe]]\nsource = {}\nat_mm = {mm}\n", quoted(&source));
    }
    match role(a, "room").next() {
        Some(room) => drop(write!(text, "\n[nest.room]\nsource = {}\n", quoted(room))),
        None => out.open.push(say!("start-open-room")),
    }
    if out.missing.is_empty() {
        out.text = text;
    }
    out
}

/// Sources that sit in the nest, with their places.
fn placed(a: &Answers) -> impl Iterator<Item = (String, f64)> {
    (0..SOURCES_MAX).filter_map(|i| {
        let source = a.get(&format!("s{i}"));
        let is_probe = matches!(a.get(&format!("r{i}")), "probe" | "");
        let mm = a.number(&format!("m{i}")).filter(|_| is_probe && !source.is_empty())?;
        Some((source.to_owned(), mm))
    })
}

/// Sources of a role.
fn role<'a>(a: &'a Answers, wanted: &'a str) -> impl Iterator<Item = &'a str> {
    let own = (0..SOURCES_MAX).filter(move |i| a.get(&format!("r{i}")) == wanted);
    own.map(|i| a.get(&format!("s{i}"))).filter(|s| !s.is_empty())
}

fn mat(a: &Answers, text: &mut String, open: &mut Vec<String>) {
    let written = !a.get("from").is_empty() || !a.get("to").is_empty() || a.number("watts").is_some();
    match a.get("mat") {
        "no" => return,
        "" if !written => {
            open.push(say!("start-open-heated"));
            return;
        }
        _ => {}
    }
    let watts = a.number("watts").or_else(|| Some(a.number("volts")? * a.number("amps")?));
    let (from, to) = (a.number("from"), a.number("to"));
    let (Some(watts), Some(from), Some(to)) = (watts, from, to) else {
        open.push(say!("start-open-mat"));
        let _ = write!(text, "\n# [nest.pad]    # {}\n", say!("start-open-mat-remark"));
        return;
    };
    // Three digits of a product are as much as a label holds.
    let watts = (watts * 1000.0).round() / 1000.0;
    let _ = write!(text, "\n[nest.pad]\nfrom_mm = {from}\nto_mm = {to}\nwatts = {watts}\n");
    match role(a, "drive").next() {
        Some(drive) => drop(writeln!(text, "drive = {}", quoted(drive))),
        None => open.push(say!("start-open-drive")),
    }
    if !a.get("where").is_empty() {
        let _ = writeln!(text, "where = {}", quoted(a.get("where")));
    }
    match a.get("plug") {
        "" => open.push(say!("start-open-plug")),
        plug => drop(writeln!(text, "plug = {}", quoted(plug))),
    }
    let cutoff = match a.get("cutoff") {
        "yes" => "true",
        "no" => "false",
        _ => "\"unknown\"",
    };
    if cutoff != "true" {
        open.push(say!("start-open-cutoff"));
    }
    let _ = writeln!(text, "cutoff = {cutoff}");
}

fn brood(a: &Answers, text: &mut String, open: &mut Vec<String>) {
    match (a.number("brood_from"), a.number("brood_to")) {
        (Some(from), Some(to)) => drop(write!(text, "\n[nest.brood]\nfrom_mm = {from}\nto_mm = {to}\n")),
        _ => open.push(say!("start-open-brood")),
    }
    match (a.number("low"), a.number("high"), a.number("limit")) {
        (Some(low), Some(high), Some(limit)) => {
            let _ = write!(text, "\n[nest.band]\nlow_c = {low}\nhigh_c = {high}\nlimit_c = {limit}\n");
        }
        _ => open.push(say!("start-open-band")),
    }
}

/// A TOML basic string (TOML 1.0.0, section “String”).
fn quoted(text: &str) -> String {
    let mut out = String::from('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if c.is_control() => drop(write!(out, "\\u{:04X}", u32::from(c))),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shelf_file::check_text;
    use proptest::prelude::*;
    use std::path::Path;

    fn answers(pairs: &[(&str, &str)]) -> Answers {
        Answers::of(pairs.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())))
    }

    const LEAST: [(&str, &str); 5] = [("id", "yew"), ("length", "200"), ("s0", "n:a"), ("r0", "probe"), ("m0", "20")];

    #[test]
    fn what_a_label_and_a_ruler_say_is_a_shelf_file() {
        let all = [
            ("material", "beech"),
            ("s1", "hall:air"),
            ("r1", "room"),
            ("s2", "n:mat"),
            ("r2", "drive"),
            ("mat", "yes"),
            ("from", "0"),
            ("to", "60"),
            ("volts", "12"),
            ("amps", "0,5"),
            ("cutoff", "no"),
            ("plug", "strip \"left\" \\ 2"),
            ("brood_from", "40"),
            ("brood_to", "80"),
            ("low", "23,5"),
            ("high", "28"),
            ("limit", "33"),
        ];
        let lines = lines(&answers(&[&LEAST[..], &all[..]].concat()));
        assert_eq!(lines.missing, [""; 0]);
        let (file, _) = check_text(&lines.text, Path::new("shelf.toml"), std::iter::empty()).unwrap();
        let nest = &file.shelf.nests[0];
        assert_eq!((nest.pads[0].rated_w, nest.pads[0].drive.as_deref()), (6.0, Some("n:mat")));
        assert_eq!((nest.room.as_deref(), nest.band.unwrap().low_c), (Some("hall:air"), 23.5));
        assert_eq!(file.plugs[0].plug.as_deref(), Some("strip \"left\" \\ 2"));
        assert_eq!(file.plugs[0].cutoff, Some(false));
        assert!(lines.open.iter().any(|o| o.contains("cut-off")), "{:?}", lines.open);
    }

    #[test]
    fn i_do_not_know_is_an_answer() {
        let lines = lines(&answers(&LEAST));
        let (file, _) = check_text(&lines.text, Path::new("shelf.toml"), std::iter::empty()).unwrap();
        assert!(file.shelf.nests[0].pads.is_empty() && file.shelf.nests[0].band.is_none());
        assert!(lines.open.len() >= 5, "{:?}", lines.open);
        // A mat without a label is said to be there, not guessed.
        let unlabelled = super::lines(&answers(&[&LEAST[..], &[("mat", "yes"), ("from", "0"), ("to", "50")]].concat()));
        assert!(check_text(&unlabelled.text, Path::new("shelf.toml"), std::iter::empty()).is_ok());
        assert!(unlabelled.text.contains("# [nest.pad]"));
    }

    #[test]
    fn what_is_missing_is_asked_for() {
        assert_eq!(lines(&answers(&[("write", "yes")])).missing.len(), 3);
        assert_eq!(lines(&answers(&[("write", "yes")])).text, "");
    }

    proptest! {
        /// Whatever is written anywhere: the reader finds one nest with that name, or complains; never more than was meant.
        #[test]
        fn no_answer_breaks_out_of_its_place(plug in ".{0,60}", id in ".{0,12}", source in ".{0,20}") {
            let a = answers(&[("id", &id), ("length", "200"), ("s0", &source), ("m0", "20"), ("mat", "yes"), ("from", "0"),
                ("to", "60"), ("watts", "5"), ("plug", &plug)]);
            let lines = lines(&a);
            if let Ok((file, _)) = check_text(&lines.text, Path::new("shelf.toml"), std::iter::empty())
                && let [nest] = &file.shelf.nests[..]
            {
                prop_assert_eq!(nest.id.as_str(), a.get("id"));
                prop_assert_eq!(file.plugs[0].plug.as_deref().unwrap_or_default(), a.get("plug"));
                prop_assert!(file.notices.len() <= 1 && file.mappings.is_empty());
            }
        }
    }
}
