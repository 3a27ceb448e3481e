//! Every saying as English says it, and none with a word of its own.
use super::samples::every;
use super::{saying, words};
use crate::web::words_tests::words::unsaid_text;
use dashboards::say::{Language, in_language};
use enclosure::evidence::{Eyes, Pad, SAYINGS_MAX};
use enclosure::{Alarm, Evidence, Saying, Span};

/// What evidence says in English. Whoever changes a sentence of `words/en/evidence.ftl` looks at it here.
const TABLE: &str = include_str!("../../../tests/tables/evidence.txt");

#[test]
fn every_saying_says_in_english_what_the_table_shows() {
    let said: Vec<String> = every().iter().map(saying).collect();
    let kept: Vec<&str> = TABLE.lines().collect();
    for (said, kept) in said.iter().zip(&kept) {
        assert_eq!(said, kept, "is it better so? Then it belongs into tests/tables/evidence.txt");
    }
    assert_eq!(said.len(), kept.len(), "{said:#?}");
}

/// The words between what is put in, of every message of `evidence.ftl` and of every plural.
fn phrases() -> Vec<String> {
    let text = include_str!("../../../dashboards/words/en/evidence.ftl");
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    let whole = lines.collect::<Vec<_>>().join("\n");
    let patterns = whole.split('\n').fold(Vec::<String>::new(), |mut all, line| {
        let line = line.trim_end();
        let head = line.split_once('=').filter(|_| line.starts_with("evidence-"));
        let plural = line.trim_start().split_once(']').filter(|_| line.trim_start().starts_with(['[', '*']));
        match (head.or(plural), all.last_mut()) {
            (Some((_, rest)), _) => all.push(rest.trim().to_owned()),
            (None, Some(last)) if line.starts_with(' ') => {
                last.push(' ');
                last.push_str(line.trim());
            }
            _ => {}
        }
        all
    });
    // The head of a plural has no words: "{ $days ->".
    let pieces = patterns.iter().flat_map(|pattern| pattern.split('{').map(|p| p.rsplit('}').next().unwrap_or(p)));
    pieces.map(|piece| piece.trim().to_owned()).filter(|p| p.len() > 3 && !p.contains("->")).collect()
}

#[test]
fn every_message_is_said_by_some_saying() {
    let phrases = phrases();
    assert!(phrases.len() > 100 && phrases.iter().any(|p| p == "1½ hours"), "{phrases:?}");
    let unsaid: Vec<&String> = phrases.iter().filter(|phrase| !TABLE.contains(*phrase)).collect();
    assert!(unsaid.is_empty(), "{unsaid:#?}");
}

#[test]
fn every_word_of_every_saying_comes_from_the_table() {
    let said = in_language(Language::Marked, || every().iter().map(saying).collect::<Vec<_>>());
    // Alarms by their names are no words; put so, none of those words is excused elsewhere.
    let nameless = |text: &String| Alarm::ALL.iter().fold(text.clone(), |text, alarm| text.replace(alarm.name(), ""));
    let left: Vec<String> = said.iter().flat_map(|text| unsaid_text(&nameless(text), &["oak"])).collect();
    assert!(left.is_empty(), "{left:#?}");
}

#[test]
fn sentences_follow_each_other_and_nothing_says_nothing() {
    let two: Evidence = [Eyes::SeenAgain, Eyes::WatchedAgain].into_iter().collect();
    assert_eq!(words(&two), "It is seen again. Readings are watched again.");
    assert_eq!(words(&Evidence::default()), "");
    assert_eq!(words(&Evidence::told("The disk is full.".to_owned())), "The disk is full.");
}

#[test]
fn what_cannot_be_is_worded_all_the_same() {
    let wild = [f64::NAN, f64::INFINITY, -1e300];
    for nats in wild {
        let lasts = Span::from_ms(i64::MIN);
        let saying = Saying::Pad(Pad::HeatsUntold { told: Some(nats), lasts, nats });
        let long = words(&std::iter::repeat_n(saying, 2 * SAYINGS_MAX).collect());
        assert!(!long.is_empty() && long.len() < SAYINGS_MAX * 2000, "{long}");
    }
}
