//! The table of strings: whole, used, and nothing said beside it.
use fluent_syntax::ast::{CallArguments, Entry, Expression, InlineExpression, Pattern, PatternElement};
use proc_macro2::{Delimiter, TokenStream, TokenTree};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use tests::program::root;
use tests::words::{unsaid, unsaid_text};

/// Of each message: the variables it speaks of.
type Table = BTreeMap<String, BTreeSet<String>>;

fn files_in(dir: &Path, ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files_in(&path, ending));
        } else if path.extension().is_some_and(|e| e == ending) {
            found.push(path);
        }
    }
    found.sort();
    found
}

fn tables() -> Vec<(String, Table)> {
    let dirs = std::fs::read_dir(root().join("dashboards/words")).unwrap().map(|entry| entry.unwrap().path());
    let mut all: Vec<_> =
        dirs.map(|dir| (dir.file_name().unwrap().to_string_lossy().into_owned(), table(&dir))).collect();
    all.sort_by_key(|(language, _)| language != "en");
    all
}

fn table(dir: &Path) -> Table {
    let mut table = Table::new();
    for path in files_in(dir, "ftl") {
        let text = std::fs::read_to_string(&path).unwrap();
        for (id, variables) in table_of(&path, &text) {
            assert!(table.insert(id.clone(), variables).is_none(), "{}: {id} stands twice", path.display());
        }
    }
    table
}

/// The messages of one file.
fn table_of(path: &Path, text: &str) -> Vec<(String, BTreeSet<String>)> {
    let name = path.display();
    let mut found = Vec::new();
    let resource = fluent_syntax::parser::parse(text).unwrap_or_else(|(_, errors)| panic!("{name}: {errors:?}"));
    for entry in &resource.body {
        let Entry::Message(message) = entry else {
            assert!(
                !matches!(entry, Entry::Term(_) | Entry::Junk { .. }),
                "{name}: messages only, each whole: {entry:?}"
            );
            continue;
        };
        let id = message.id.name.to_owned();
        assert!(id.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-'), "{name}: {id}");
        let pattern = message.value.as_ref().unwrap_or_else(|| panic!("{name}: {id} says nothing"));
        let mut variables = BTreeSet::new();
        gather(pattern, &mut variables);
        found.push((id, variables));
    }
    found
}

fn gather(pattern: &Pattern<&str>, variables: &mut BTreeSet<String>) {
    for element in &pattern.elements {
        if let PatternElement::Placeable { expression } = element {
            gather_expression(expression, variables);
        }
    }
}

fn gather_expression(expression: &Expression<&str>, variables: &mut BTreeSet<String>) {
    match expression {
        Expression::Inline(inline) => gather_inline(inline, variables),
        Expression::Select { selector, variants } => {
            gather_inline(selector, variables);
            for variant in variants {
                gather(&variant.value, variables);
            }
        }
    }
}

fn gather_inline(inline: &InlineExpression<&str>, variables: &mut BTreeSet<String>) {
    match inline {
        InlineExpression::VariableReference { id } => {
            variables.insert(id.name.to_owned());
        }
        InlineExpression::Placeable { expression } => gather_expression(expression, variables),
        InlineExpression::FunctionReference { arguments: CallArguments { positional, .. }, .. } => {
            for argument in positional {
                gather_inline(argument, variables);
            }
        }
        InlineExpression::StringLiteral { .. } | InlineExpression::NumberLiteral { .. } => {}
        other => panic!("a message that is put together of others cannot be read by a translator: {other:?}"),
    }
}

/// Every `say!` and `say_markup!` of a source: its name and its values' names, in order.
fn said(tokens: TokenStream, found: &mut Vec<(String, BTreeSet<String>)>) {
    let tokens: Vec<TokenTree> = tokens.into_iter().collect();
    for (i, token) in tokens.iter().enumerate() {
        let TokenTree::Group(group) = token else { continue };
        said(group.stream(), found);
        let call = i >= 2
            && matches!(&tokens[i - 1], TokenTree::Punct(p) if p.as_char() == '!')
            && matches!(&tokens[i - 2], TokenTree::Ident(name) if name == "say" || name == "say_markup");
        if call && group.delimiter() == Delimiter::Parenthesis {
            let inner: Vec<TokenTree> = group.stream().into_iter().collect();
            let Some(TokenTree::Literal(id)) = inner.first() else { continue };
            let begins = |at: usize| matches!(&inner[at - 1], TokenTree::Punct(p) if ",;".contains(p.as_char()));
            let is = |at: usize| matches!(inner.get(at + 1), Some(TokenTree::Punct(p)) if p.as_char() == '=');
            let names = (1..inner.len()).filter(|at| begins(*at) && is(*at)).filter_map(|at| match &inner[at] {
                TokenTree::Ident(name) => Some(name.to_string()),
                _ => None,
            });
            found.push((id.to_string().trim_matches('"').to_owned(), names.collect()));
        }
    }
}

#[test]
fn what_is_said_stands_in_the_table_with_the_same_values_and_what_stands_there_is_said() {
    let english = &tables()[0].1;
    let mut used = BTreeSet::new();
    let mut wrong = Vec::new();
    for dir in ["dashboards/src", "daemon/src"] {
        for path in files_in(&root().join(dir), "rs") {
            let text = std::fs::read_to_string(&path).unwrap();
            let tokens = text.parse().unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            let mut found = Vec::new();
            said(tokens, &mut found);
            for (id, values) in found {
                match english.get(&id) {
                    None => wrong.push(format!("{}: {id} is no message", path.display())),
                    Some(variables) if *variables != values => {
                        wrong.push(format!("{}: {id} speaks of {variables:?} and is given {values:?}", path.display()));
                    }
                    Some(_) => {}
                }
                used.insert(id);
            }
        }
    }
    wrong.extend(english.keys().filter(|id| !used.contains(*id)).map(|id| format!("{id} is said nowhere")));
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn every_language_has_the_same_messages_about_the_same_values() {
    let all = tables();
    assert_eq!(all[0].0, "en");
    for (language, table) in &all[1..] {
        assert_eq!(table, &all[0].1, "{language}");
    }
}

#[test]
fn a_translator_is_told_what_every_value_is() {
    for path in files_in(&root().join("dashboards/words/en"), "ftl") {
        let text = std::fs::read_to_string(&path).unwrap();
        let comments: String = text.lines().filter(|line| line.starts_with('#')).collect();
        let told = |value: &String| {
            comments.split('$').skip(1).any(|rest| {
                let name = rest.split(|c: char| !(c.is_ascii_alphanumeric() || c == '_')).next();
                name == Some(value.as_str())
            })
        };
        let untold: Vec<_> = table_of(&path, &text)
            .into_iter()
            .flat_map(|(id, values)| {
                values.into_iter().filter(|v| !told(v)).map(move |v| format!("${v} of {id}")).collect::<Vec<_>>()
            })
            .collect();
        assert!(untold.is_empty(), "{}: no comment speaks of {untold:?}", path.display());
    }
}

#[test]
fn every_file_of_the_folder_is_read() {
    let source = std::fs::read_to_string(root().join("dashboards/src/say.rs")).unwrap();
    for path in files_in(&root().join("dashboards/words"), "ftl") {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        assert!(source.contains(&format!("\"{name}\",")), "say.rs does not list {name}");
    }
}

/// What scripts hold in quotes and never show: a mode of the language, classes of the style sheet.
const UNSHOWN: [&str; 2] = ["use strict", "stuckline warning"];

#[test]
fn no_script_has_a_sentence_of_its_own() {
    for path in files_in(&root().join("dashboards/src"), "js") {
        let text = std::fs::read_to_string(&path).unwrap();
        let code: Vec<&str> = text.lines().map(|line| line.split("// ").next().unwrap_or("")).collect();
        for quoted in code.iter().flat_map(|line| line.split(['"', '`']).skip(1).step_by(2)) {
            let pairs: Vec<&str> = quoted.split(' ').collect();
            let word = |word: &str| word.len() > 1 && word.chars().all(|c| c.is_ascii_alphabetic());
            let said = pairs.windows(2).any(|two| word(two[0]) && word(two[1]));
            assert!(!said || UNSHOWN.contains(&quoted), "{}: {quoted}", path.display());
        }
    }
}

#[test]
fn a_word_that_is_not_of_the_table_is_found_wherever_it_is_shown() {
    let page = |text: &str, label: &str| {
        format!(
            "<!DOCTYPE html><html lang=\"en\"><head><meta name=\"viewport\" content=\"width=device-width\">\
             <title>ｏａｋ</title><style>.plain {{}}</style><script>let a = \"plain\";</script></head>\
             <body class=\"plain\"><p id=\"plain\">ｗａｒｍ 26.3 °C, 60 mm, a&amp;b</p><img alt=\"{label}\">\
             <svg><desc>{text}</desc></svg></body></html>"
        )
    };
    assert_eq!(unsaid(&page("ａ ｎｅｓｔ qorvex", "ａ"), &["qorvex-1"]), Vec::<String>::new());
    assert_eq!(unsaid(&page("a nest", "a mat"), &[]).len(), 2);
    assert_eq!(unsaid_text("ａ ｎｅｓｔ: a nest", &[]).len(), 1);
}
