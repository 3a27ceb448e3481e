//! Every string that a keeper reads, looked up by its name: [`say!`](crate::say!) says it in the language that holds
//! where it is called ([`in_language`]).
//!
//! The strings stand in Fluent files (projectfluent.org), one folder a language: `words/en/*.ftl`. A message is a whole
//! phrase with places for what is put in, never a half; a line break within one is a space. Quantities come in as text,
//! formatted already (`26.3 °C`), counts as integers, so that a message can choose its plural.
//!
//! Names of the contract (alarms, states as machines read them, units, addresses) are no strings of the table.
use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource, FluentValue};
use maud::{Markup, PreEscaped, Render as _};
use std::borrow::Cow;
use std::cell::Cell;
use std::sync::LazyLock;
use unic_langid::LanguageIdentifier;

/// The string of this name, with what is put into it: `say!("now-believed", believed = 3, probes = probes.len())`.
///
/// What is put in is anything that becomes a [`FluentValue`]: an integer that chooses a plural, or text.
#[macro_export]
macro_rules! say {
    ($id:literal $(, $name:ident = $value:expr)* $(,)?) => {
        $crate::say::message($id, &[$((stringify!($name), $crate::say::Value::from($value))),*])
    };
}

/// The same with elements in its midst, text escaped:
/// `say_markup!("page-as-of", shelf = name; clock = html! { span id="clock" { (at) } })`.
macro_rules! say_markup {
    ($id:literal $(, $name:ident = $value:expr)*; $($element:ident = $markup:expr),+ $(,)?) => {
        $crate::say::with_elements(
            $id,
            &[$((stringify!($name), $crate::say::Value::from($value))),*],
            &[$((stringify!($element), $markup)),+],
        )
    };
}
pub(crate) use say_markup;

/// What can be put into a string.
pub type Value<'a> = FluentValue<'a>;

/// A language that pages can be rendered in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Language {
    /// English.
    #[default]
    English,
    /// English with every letter of the table made wide (`ｂｒｏｏｄ`): for checks only. What stands in plain letters on a
    /// page that is rendered so did not come from the table.
    Marked,
}

impl Language {
    /// Its code by BCP 47, for `lang`.
    pub const fn code(self) -> &'static str {
        match self {
            Self::English | Self::Marked => "en",
        }
    }
}

/// The files of a language, one name a line: each is there in every language's folder.
macro_rules! files {
    ($folder:literal) => {
        files!($folder:
            "hours",
            "alarms",
            "stands",
            "evidence",
            "past",
            "watch",
            "plans",
            "start",
            "refused",
            "answers",
            "story",
            "notes",
            "login",
            "probes",
            "words",
            "page",
            "alarm-list",
            "now",
            "nest",
            "span",
            "week",
            "plan",
            "told",
            "declined",
            "seen",
            "shelf",
            "failed",
        )
    };
    ($folder:literal: $($name:literal),* $(,)?) => {
        [$(($name, include_str!(concat!("../words/", $folder, "/", $name, ".ftl")))),*]
    };
}

type Bundle = FluentBundle<FluentResource>;

static ENGLISH: LazyLock<Bundle> = LazyLock::new(|| bundle(Language::English, &files!("en"), unwrapped));
static MARKED: LazyLock<Bundle> = LazyLock::new(|| bundle(Language::Marked, &files!("en"), marked));

thread_local! {
    static SPOKEN: Cell<Language> = const { Cell::new(Language::English) };
}

/// Does something in a language: what it says on this thread, it says in that. Nothing else changes, and what held
/// before holds after.
pub fn in_language<T>(language: Language, what: impl FnOnce() -> T) -> T {
    struct Back(Language);
    impl Drop for Back {
        fn drop(&mut self) {
            SPOKEN.set(self.0);
        }
    }
    let _back = Back(SPOKEN.replace(language));
    what()
}

/// The language that holds here.
pub fn spoken() -> Language {
    SPOKEN.get()
}

/// What [`say!`](crate::say!) stands for. A name that is none is said itself: a page with a hole in its words is worth
/// more than none, and no such name passes the checks.
pub fn message(id: &str, values: &[(&'static str, Value<'_>)]) -> String {
    let bundle: &Bundle = match spoken() {
        Language::English => &ENGLISH,
        Language::Marked => &MARKED,
    };
    let Some(pattern) = bundle.get_message(id).and_then(|message| message.value()) else {
        return id.to_owned();
    };
    let mut args = FluentArgs::with_capacity(values.len());
    for (name, value) in values {
        args.set(*name, value.clone());
    }
    // A value that is missing is said by its name.
    bundle.format_pattern(pattern, Some(&args), &mut Vec::new()).into_owned()
}

/// Begins and ends the number of an element while a string is put together; no text holds them.
const ELEMENT: (char, char) = ('\u{2}', '\u{3}');

/// What `say_markup!` stands for.
pub(crate) fn with_elements(
    id: &str,
    values: &[(&'static str, Value<'_>)],
    elements: &[(&'static str, Markup)],
) -> Markup {
    let mut all = values.to_vec();
    for (_, value) in &mut all {
        if let FluentValue::String(text) = value {
            *text = text.replace([ELEMENT.0, ELEMENT.1], " ").into();
        }
    }
    let place = |k: usize| Value::from(format!("{}{k}{}", ELEMENT.0, ELEMENT.1));
    all.extend(elements.iter().enumerate().map(|(k, (name, _))| (*name, place(k))));
    let mut out = String::new();
    for piece in message(id, &all).split(ELEMENT.0) {
        let (element, text) = piece.split_once(ELEMENT.1).unwrap_or(("", piece));
        if let Some((_, markup)) = element.parse().ok().and_then(|k: usize| elements.get(k)) {
            out.push_str(&markup.0);
        }
        text.render_to(&mut out);
    }
    PreEscaped(out)
}

fn bundle(language: Language, files: &[(&str, &str)], letters: fn(&str) -> Cow<'_, str>) -> Bundle {
    let mut bundle = Bundle::new_concurrent(vec![language.code().parse::<LanguageIdentifier>().unwrap_or_default()]);
    bundle.set_use_isolating(false);
    bundle.set_transform(Some(letters));
    for (_, text) in files {
        // A file with an error gives all that could be read, and the checks let none pass.
        let resource = FluentResource::try_new((*text).to_owned()).unwrap_or_else(|(resource, _)| resource);
        bundle.add_resource_overriding(resource);
    }
    bundle
}

/// Line breaks of the file are spaces.
fn unwrapped(text: &str) -> Cow<'_, str> {
    if text.contains('\n') { Cow::Owned(text.replace('\n', " ")) } else { Cow::Borrowed(text) }
}

/// Letters made wide: as many characters, none of them ASCII.
fn marked(text: &str) -> Cow<'_, str> {
    let wide = |c: char| match c {
        '\n' => ' ',
        'A'..='Z' | 'a'..='z' => char::from_u32(u32::from(c) + 0xfee0).unwrap_or(c),
        other => other,
    };
    Cow::Owned(text.chars().map(wide).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use maud::html;

    #[test]
    fn a_name_that_is_none_is_said_itself() {
        assert_eq!(message("no-such-name", &[]), "no-such-name");
    }

    #[test]
    fn a_language_holds_within_and_no_longer_even_where_that_ends_early() {
        let marked = |id| in_language(Language::Marked, || message(id, &[]));
        assert_eq!(marked("tone-danger"), "Ｄａｎｇｅｒ");
        assert_eq!(say!("tone-danger"), "Danger");
        let ended =
            std::panic::catch_unwind(|| in_language(Language::Marked, || std::panic::resume_unwind(Box::new(()))));
        assert!(ended.is_err() && spoken() == Language::English);
    }

    #[test]
    fn elements_stand_where_the_string_says_and_text_stays_text() {
        let hostile = "\u{2}0\u{3}<b>";
        let made = say_markup!("list-and", so_far = hostile; next = html! { i { "x" } });
        assert_eq!(made.0, " 0 &lt;b&gt; and <i>x</i>");
    }
}
