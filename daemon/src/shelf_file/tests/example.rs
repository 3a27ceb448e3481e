//! The example that is shipped, and texts near to it.
use super::*;
use proptest::prelude::*;

#[test]
fn the_example_has_no_errors_and_says_what_it_means() {
    let (file, advice) = good(EXAMPLE, &[]);
    assert_eq!(advice, [], "an example should not need advice");
    let ids: Vec<_> = file.shelf.nests.iter().map(|n| n.id.as_str()).collect();
    assert_eq!(ids, ["oak", "plaster"]);
    assert_eq!(file.shelf.nests[0].seasons[0].kind, SeasonKind::Rest);
    assert!(file.shelf.nests[0].seasons[0].pad_off);
    assert_eq!(file.shelf.alarms, AlarmSettings::default(), "the example shows the defaults");
    assert_eq!(file.notices.len(), 4);
    let defaults = good(LEAST, &[]).0;
    assert_eq!((file.broker, file.web), (defaults.broker, defaults.web), "the example shows the defaults");
}

#[test]
fn the_example_explains_every_known_key() {
    let mut known = BTreeSet::new();
    collect("", &schema::FILE, &mut known);
    let mut section = String::new();
    let mut explained = BTreeSet::new();
    for line in EXAMPLE.lines() {
        let line = line.strip_prefix("# ").filter(|l| l.contains(" = ")).unwrap_or(line);
        if let Some(head) = line.strip_prefix('[') {
            section = head.trim_start_matches('[').split(']').next().unwrap_or("").to_owned();
        } else if let Some((key, rest)) = line.split_once(" = ").filter(|(k, _)| !k.contains(' ')) {
            assert!(rest.contains('#'), "no comment beside {section}.{key}");
            explained.insert(format!("{section}.{key}"));
            for inner in rest.split(['{', ',']).skip(1).filter_map(|p| p.split_once(" = ")) {
                explained.insert(format!("{section}.{key}.{}", inner.0.trim()));
            }
        }
    }
    let missing: Vec<_> = known.difference(&explained).collect();
    assert!(missing.is_empty(), "not in shelf.example.toml: {missing:?}");
}

fn collect(base: &str, section: &'static Section, into: &mut BTreeSet<String>) {
    for key in section.keys {
        let path = if base.is_empty() { key.name.to_owned() } else { format!("{base}.{}", key.name) };
        match key.kind {
            Kind::Table(s) | Kind::Tables(s) | Kind::OneOrMore(s) => collect(&path, s, into),
            Kind::TextOrTable(s) => {
                collect(&path, s, into);
                into.insert(path);
            }
            _ => {
                into.insert(path);
            }
        }
    }
}

/// Texts near to shelf files: lines of the example, dropped, doubled, swapped and cut.
fn nearly() -> impl Strategy<Value = String> {
    let lines: Vec<_> = EXAMPLE.lines().collect();
    let line = (0..lines.len(), 0..60_usize, ".{0,4}").prop_map(move |(i, keep, more)| {
        let kept: String = lines[i].chars().take(if keep < 20 { keep } else { 200 }).collect();
        kept + &more
    });
    prop::collection::vec(line, 0..40).prop_map(|l| l.join("\n"))
}

proptest! {
    #[test]
    fn arbitrary_text_never_panics(text in prop_oneof![".{0,200}", nearly()], value in ".{0,12}") {
        let said = judged(&text, &[("WARMEND__WEB__LISTEN", &value), ("WARMEND__ALARM__SILENT_MISSED", &value)]);
        let (told, code) = report(&said);
        prop_assert!(told.contains(&deference()));
        prop_assert_eq!(code == 0, said.is_ok());
        // Whatever is refused is refused by name, never by the layering beneath.
        prop_assert!(!told.contains("could not be understood"), "{}", told);
    }

    #[test]
    fn a_line_out_of_the_example_never_takes_the_others_along(drop in 0..EXAMPLE.lines().count()) {
        let text: Vec<_> = EXAMPLE.lines().enumerate().map(|(i, l)| if i == drop { "" } else { l }).collect();
        if let Err(e) = judged(&text.join("\n"), &[]) {
            // A section's header takes its own keys along, and no other's.
            prop_assert!(e.errors().len() <= 40, "{}", e);
        }
    }
}
