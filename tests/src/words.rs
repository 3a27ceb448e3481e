//! What a page says that does not come from the table of strings: looked for in pages rendered in
//! [`dashboards::say::Language::Marked`], where every letter of the table is a wide one.
use html5ever::tendril::StrTendril;
use html5ever::tokenizer::states::RawKind;
use html5ever::tokenizer::{BufferQueue, Tag, TagKind, Token, TokenSink, TokenSinkResult, Tokenizer, TokenizerOpts};
use std::cell::{Cell, RefCell};
use std::collections::BTreeSet;

/// Attributes that are read out, shown by the style sheet, or said by a script; and those that begin with `data-say`.
const SPOKEN: [&str; 11] = [
    "title",
    "aria-label",
    "aria-valuetext",
    "alt",
    "placeholder",
    "label",
    "content",
    "data-spoken",
    "data-said",
    "data-over",
    "data-label",
];
/// Units, and shortenings that are written alike everywhere.
const UNITS: [&str; 14] = ["mm", "cm", "min", "ms", "RH", "kB", "MB", "GB", "hPa", "dBm", "mV", "UTC", "LED", "USB"];

/// Words in plain letters on a page that was rendered in `Marked`, but for units and the words of `data`: names that
/// the shelf gave, and whatever else is no string of ours.
pub fn unsaid(page: &str, data: &[&str]) -> Vec<String> {
    let sink = Texts::default();
    let tokenizer = Tokenizer::new(sink, TokenizerOpts::default());
    let input = BufferQueue::default();
    input.push_back(StrTendril::from(page));
    while !input.is_empty() {
        let _ = tokenizer.feed(&input);
    }
    tokenizer.end();
    let texts = tokenizer.sink.texts.take();
    texts.iter().flat_map(|text| unsaid_text(text, data)).collect()
}

/// The same of text without markup.
pub fn unsaid_text(text: &str, data: &[&str]) -> Vec<String> {
    let known: BTreeSet<&str> = UNITS.into_iter().chain(data.iter().flat_map(|d| words(d))).collect();
    words(text).filter(|word| !known.contains(word)).map(|word| format!("{word:?} in {text:?}")).collect()
}

/// Two letters in a row or more.
fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(|c: char| !c.is_ascii_alphabetic()).filter(|word| word.len() > 1)
}

/// Gathers what a person sees or hears of a page.
#[derive(Default)]
struct Texts {
    texts: RefCell<Vec<String>>,
    /// Within a script or a style sheet.
    hidden: Cell<bool>,
    /// The last piece was text, and goes on.
    open: Cell<bool>,
}

impl Texts {
    fn tag(&self, tag: &Tag) -> TokenSinkResult<()> {
        self.open.set(false);
        let raw = match &*tag.name {
            "script" => Some(RawKind::ScriptData),
            "style" => Some(RawKind::Rawtext),
            _ => None,
        };
        self.hidden.set(raw.is_some() && tag.kind == TagKind::StartTag);
        let of = |name: &str| tag.attrs.iter().find(|a| &*a.name.local == name).map(|a| a.value.to_string());
        for attr in &tag.attrs {
            let name = &*attr.name.local;
            // What stands in a meta element is for browsers, but for the description.
            let meta = name == "content" && of("name").as_deref() != Some("description");
            if name.starts_with("data-say") || (SPOKEN.contains(&name) && !meta) {
                self.texts.borrow_mut().push(attr.value.to_string());
            }
        }
        match raw {
            Some(kind) if tag.kind == TagKind::StartTag => TokenSinkResult::RawData(kind),
            _ => TokenSinkResult::Continue,
        }
    }
}

impl TokenSink for Texts {
    type Handle = ();

    fn process_token(&self, token: Token, _line: u64) -> TokenSinkResult<()> {
        match token {
            Token::CharacterTokens(text) if !self.hidden.get() => {
                let mut texts = self.texts.borrow_mut();
                match texts.last_mut().filter(|_| self.open.get()) {
                    Some(last) => last.push_str(&text),
                    None => texts.push(text.to_string()),
                }
                self.open.set(true);
            }
            Token::TagToken(tag) => return self.tag(&tag),
            _ => {}
        }
        TokenSinkResult::Continue
    }
}
