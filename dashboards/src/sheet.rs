//! Pages made of plain parts: sentences, facts, tables, a picture of minutes, forms. They read and act without a
//! script; every sentence comes from the caller.
use crate::minutes::{MinutesView, minutes_svg_on};
use crate::page::{Head, alarm_lines, following, follows, shell, todo};
use crate::pen::Canvas;
use crate::prose::Prose;
use crate::svg::ident;
use crate::table::Grid;
use crate::view::{Frame, Link, Live, Tone};
use maud::{Markup, PreEscaped, html};

/// A page of parts, one below the other.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SheetPage {
    /// Name and links.
    pub frame: Frame,
    /// What it is about.
    pub title: String,
    /// How loud that is.
    pub tone: Tone,
    /// When this was true, and how to look again: a sentence and its link.
    pub as_of: Option<(String, Link)>,
    /// How it follows what happens; none: it stays as it was when it was opened.
    pub live: Option<Live>,
    /// The rest, in order.
    pub parts: Vec<Part>,
}

/// One part of a page.
#[derive(Clone, Debug, PartialEq)]
pub enum Part {
    /// A heading.
    Heading(String),
    /// Sentences, a paragraph each.
    Says(Vec<String>),
    /// Sentences that must not be overlooked.
    Warns(Tone, Vec<String>),
    /// What to do, in its order, that must not be overlooked.
    Do(Tone, Vec<String>),
    /// Points in their order.
    Steps(Vec<String>),
    /// Pairs of name and value.
    Facts(Vec<(String, String)>),
    /// A table.
    Table(Table),
    /// Values over some minutes.
    Minutes(Box<MinutesView>),
    /// A form.
    Form(Form),
    /// Forms beside each other.
    Forms(Vec<Form>),
    /// Where to go from here.
    Links(Vec<Link>),
    /// Text to be copied as it stands, under its name.
    Copy(String, String),
    /// Parts that open on a tap, under what they are.
    Folded(String, Vec<Self>),
}

/// A table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// What it holds.
    pub caption: String,
    /// Heads of its columns; the first names the rows.
    pub columns: Vec<String>,
    /// Rows of as many cells.
    pub rows: Vec<Vec<Cell>>,
    /// Said in place of a table without rows.
    pub empty: String,
}

/// A table's cell.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Cell {
    /// What stands there.
    pub text: String,
    /// Where it leads.
    pub url: Option<String>,
    /// How loud it is.
    pub tone: Tone,
}

/// A form.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Form {
    /// What it is, on its page, so that it remains that form whatever comes and goes around it; empty: told by its place.
    pub key: String,
    /// Its heading; none where it is empty.
    pub heading: String,
    /// What comes of it, before it is sent.
    pub says: Vec<String>,
    /// Where it goes.
    pub url: String,
    /// Whether it only asks and changes nothing (GET).
    pub asks: bool,
    /// Hidden fields: name, value.
    pub hidden: Vec<(String, String)>,
    /// Fields to fill in, under the heading of their group; an empty heading groups nothing.
    pub groups: Vec<(String, Vec<Field>)>,
    /// Its buttons: label, and the name and value that it sends, if it sends one.
    pub buttons: Vec<Button>,
    /// Whether it can do harm: it stands apart.
    pub grave: bool,
}

/// A button that sends its form.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Button {
    /// What it says.
    pub label: String,
    /// Name and value that it sends.
    pub sends: Option<(String, String)>,
}

/// A field to fill in.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// The name that it is sent under.
    pub name: String,
    /// What is wanted.
    pub label: String,
    /// How it is asked for.
    pub kind: FieldKind,
    /// What stands there already.
    pub value: String,
    /// The word explained, and where to find the answer.
    pub help: String,
    /// Whether it must be filled in.
    pub needed: bool,
}

/// How a field is asked for.
#[derive(Clone, Debug, PartialEq)]
pub enum FieldKind {
    /// A line of at most so many characters.
    Line(usize),
    /// Several lines of at most so many characters.
    Lines(usize),
    /// A number from, to.
    Number(f64, f64),
    /// A password, which the browser may keep.
    Password,
    /// One of these: value, words.
    Choice(Vec<(String, String)>),
}

impl Cell {
    /// Plain text.
    pub fn of(text: impl Into<String>) -> Self {
        Self { text: text.into(), ..Self::default() }
    }

    /// Text that leads somewhere.
    pub fn link(text: impl Into<String>, url: impl Into<String>) -> Self {
        Self { text: text.into(), url: Some(url.into()), tone: Tone::Calm }
    }

    /// The same, this loud.
    pub fn loud(self, tone: Tone) -> Self {
        Self { tone, ..self }
    }
}

/// The whole page.
pub fn sheet_html(page: &SheetPage) -> String {
    let (fragment, events) = follows(page.live.as_ref());
    let main = html! { main class="sheet" data-fragment=[fragment] data-live=[events] { (inner(page)) } };
    shell(&page.frame, Head { title: &page.title, live: page.live.is_some(), ..Head::default() }, &main)
}

/// What stands inside `<main>`: where the page follows, the script fetches it anew.
pub fn sheet_fragment(page: &SheetPage) -> String {
    inner(page).into_string()
}

fn inner(page: &SheetPage) -> Markup {
    let all = html! {
        h1 class=(page.tone.class()) { (page.title) }
        @if let Some((said, again)) = &page.as_of {
            p class="asof" { (said) " " a href=(again.url) { (again.label) } }
        }
        @if let Some(live) = &page.live { (alarm_lines(&live.alarms)) }
        @for (p, at) in placed(&page.parts) { (part(p, &at)) }
    };
    match &page.live {
        Some(live) => following(live, &page.title, &all),
        None => all,
    }
}

impl Part {
    /// What it is, in an element's name.
    const fn kind(&self) -> &'static str {
        match self {
            Self::Heading(_) => "heading",
            Self::Says(_) => "says",
            Self::Warns(..) => "warns",
            Self::Do(..) => "do",
            Self::Steps(_) => "steps",
            Self::Facts(_) => "facts",
            Self::Table(_) => "table",
            Self::Minutes(_) => "minutes",
            Self::Form(_) => "form",
            Self::Forms(_) => "forms",
            Self::Links(_) => "links",
            Self::Copy(..) => "copy",
            Self::Folded(..) => "folded",
        }
    }
}

/// Each part with a name of its own, by its place among its kind: the same at each look, whatever else comes and goes.
fn placed(parts: &[Part]) -> impl Iterator<Item = (&Part, String)> {
    parts.iter().enumerate().map(|(i, p)| {
        let nth = parts[..i].iter().filter(|before| before.kind() == p.kind()).count();
        (p, format!("{}-{nth}", p.kind()))
    })
}

fn part(p: &Part, at: &str) -> Markup {
    html! {
        @match p {
            Part::Heading(text) => h2 class="head" { (text) },
            Part::Says(says) => @for s in says { p { (Prose(s)) } },
            Part::Warns(tone, says) => div id={ "part-" (at) } class={ "warns " (tone.class()) } { @for s in says { p { (Prose(s)) } } },
            Part::Do(tone, steps) => div id={ "part-" (at) } class={ "warns " (tone.class()) } { (todo(steps)) },
            Part::Steps(steps) => ol class="steps" { @for s in steps { li { (Prose(s)) } } },
            Part::Facts(facts) => dl id={ "part-" (at) } class="facts" { @for (name, value) in facts { div { dt { (name) } dd { (Prose(value)) } } } },
            Part::Table(t) => (table(t, false)),
            Part::Minutes(view) => (minutes(view, at)),
            Part::Form(f) => (form(f, at)),
            Part::Forms(forms) => div id={ "part-" (at) } class="forms" { @for (k, f) in forms.iter().enumerate() { (form(f, &format!("{at}-{k}"))) } },
            Part::Links(links) => p class="turn" { @for l in links { a href=(l.url) aria-current=[l.current.then_some("true")] { (l.label) } " " } },
            Part::Copy(name, text) => {
                h3 id={ "copy-" (at) } { (name) }
                pre class="copy" tabindex="0" role="region" aria-labelledby={ "copy-" (at) } { (text) }
            },
            Part::Folded(what, inner) => details id={ "part-" (at) } {
                summary { (what) }
                @for (p, k) in placed(inner) { (part(p, &format!("{at}-{k}"))) }
            },
        }
    }
}

fn minutes(view: &MinutesView, at: &str) -> Markup {
    html! {
        figure {
            div class="wide" { (PreEscaped(minutes_svg_on(view, Canvas::Wide))) }
            div class="narrow" { (PreEscaped(minutes_svg_on(view, Canvas::Narrow))) }
            @if !view.caption.is_empty() { figcaption { (view.caption) } }
        }
        details id={ "part-" (at) } { summary { (view.table_words) } (table(&view.table(), true)) }
    }
}

/// `numbers`: all its cells are short numbers.
fn table(t: &Table, numbers: bool) -> Markup {
    let grid = Grid {
        name: &t.caption,
        caption: &t.caption,
        heads: t.columns.iter().map(|c| (c.clone(), String::new())).collect(),
        rows: t.rows.iter().map(|row| row.iter().map(cell).collect()).collect(),
        foot: None,
        numbers,
    };
    html! {
        @if !t.rows.is_empty() { (grid.draw()) }
        @else if !t.empty.is_empty() { p { (Prose(&t.empty)) } }
    }
}

fn cell(c: &Cell) -> Markup {
    html! {
        @if c.tone >= Tone::Warning { span class="weight" { (c.tone.word()) } " " }
        @if let Some(url) = &c.url { a href=(url) { (c.text) } } @else { (Prose(&c.text)) }
    }
}

fn form(f: &Form, at: &str) -> Markup {
    let key = ident(&f.key);
    let (id, at) = if f.key.is_empty() { (None, at) } else { (Some(format!("form-{key}")), key.as_str()) };
    html! {
        form id=[id] class={ "ask" @if f.grave { " grave" } } method=(if f.asks { "get" } else { "post" }) action=(f.url) {
            @if !f.heading.is_empty() { h3 { (f.heading) } }
            @for s in &f.says { p { (Prose(s)) } }
            @for (name, value) in &f.hidden { input type="hidden" name=(name) value=(value); }
            @for (g, (heading, fields)) in f.groups.iter().enumerate() {
                @if heading.is_empty() {
                    div class="fields" { @for (k, field) in fields.iter().enumerate() { (ask(field, &format!("{at}-{g}-{k}"))) } }
                } @else {
                    fieldset { legend { (heading) } div class="fields" { @for (k, field) in fields.iter().enumerate() { (ask(field, &format!("{at}-{g}-{k}"))) } } }
                }
            }
            @if !f.buttons.is_empty() {
                div class="actions" {
                    @for b in &f.buttons {
                        @if let Some((name, value)) = &b.sends { button type="submit" name=(name) value=(value) { (b.label) } }
                        @else { button type="submit" { (b.label) } }
                    }
                }
            }
        }
    }
}

fn ask(field: &Field, at: &str) -> Markup {
    let id = format!("f-{at}");
    let help = format!("{id}-help");
    let told = (!field.help.is_empty()).then_some(help.as_str());
    let Field { name, value, needed, .. } = field;
    html! {
        div class="field" {
            label for=(id) { (field.label) }
            @match &field.kind {
                FieldKind::Line(most) => input type="text" id=(id) name=(name) value=(value) maxlength=(most) required[*needed] aria-describedby=[told] autocomplete="off";,
                FieldKind::Lines(most) => textarea id=(id) name=(name) rows="3" maxlength=(most) required[*needed] aria-describedby=[told] { (value) },
                FieldKind::Number(from, to) => input type="number" inputmode="decimal" step="any" id=(id) name=(name) value=(value) min=(from) max=(to) required[*needed] aria-describedby=[told];,
                FieldKind::Password => input type="password" id=(id) name=(name) required[*needed] aria-describedby=[told] autocomplete="current-password";,
                FieldKind::Choice(choices) => select id=(id) name=(name) required[*needed] aria-describedby=[told] {
                    @for (v, words) in choices { option value=(v) selected[v == value] { (words) } }
                },
            }
            @if !field.help.is_empty() { p id=(help) { (Prose(&field.help)) } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::AlarmView;

    const HOSTILE: &str = "\"><script>alert(1)</script><img src=x onerror=alert(2)>'";

    /// Every place where a caller's text can stand, filled with what would break out of it.
    fn hostile() -> SheetPage {
        let h = || HOSTILE.to_owned();
        let link = || Link { label: h(), url: format!("/x?{HOSTILE}"), current: false };
        let field = |kind| Field { name: h(), label: h(), kind, value: h(), help: h(), needed: true };
        let kinds = [
            FieldKind::Line(9),
            FieldKind::Lines(9),
            FieldKind::Number(0.0, 1.0),
            FieldKind::Password,
            FieldKind::Choice(vec![(h(), h())]),
        ];
        let form = Form {
            heading: h(),
            says: vec![h()],
            url: h(),
            hidden: vec![(h(), h())],
            groups: vec![(h(), kinds.map(field).into())],
            buttons: vec![Button { label: h(), sends: Some((h(), h())) }],
            ..Form::default()
        };
        let rows = vec![vec![Cell::of(h()), Cell::link(h(), h())]];
        let table = Table { caption: h(), columns: vec![h(), h()], rows, empty: h() };
        SheetPage {
            frame: Frame { shelf_name: h(), nav: vec![link()], cautions: vec![h()], ..Frame::default() },
            title: h(),
            tone: Tone::Danger,
            as_of: Some((h(), link())),
            live: Some(Live {
                url: h(),
                age_s: Some(f64::NAN),
                as_of_text: h(),
                alarms: vec![AlarmView { alarm: h(), url: h(), nests: vec![h()], state: h(), ..AlarmView::default() }],
            }),
            parts: vec![
                Part::Heading(h()),
                Part::Says(vec![h()]),
                Part::Warns(Tone::Warning, vec![h()]),
                Part::Do(Tone::Danger, vec![h(), h()]),
                Part::Steps(vec![h()]),
                Part::Facts(vec![(h(), h())]),
                Part::Table(table),
                Part::Minutes(Box::new(MinutesView {
                    title: h(),
                    sentence: h(),
                    caption: h(),
                    ..MinutesView::default()
                })),
                Part::Forms(vec![form.clone()]),
                Part::Links(vec![link()]),
                Part::Copy(h(), h()),
                Part::Folded(h(), vec![Part::Form(form)]),
            ],
        }
    }

    #[test]
    fn whatever_stands_anywhere_is_text() {
        let page = sheet_html(&hostile());
        // The same page with harmless text has as many tags and as many attributes: nothing broke out.
        let tags = |page: &str| page.matches('<').count();
        let harmless = page.replace("&quot;&gt;&lt;script&gt;alert(1)&lt;/script&gt;", "");
        assert_eq!(tags(&page), tags(&harmless));
        let own = format!("<script src=\"{}\" defer></script>", crate::LIVE_PATH);
        let foreign = page.replacen(&own, "", 1);
        assert!(!foreign.contains("<script") && !page.contains("<img"), "{page}");
        assert!(!foreign.contains("\"><script"), "an attribute was closed");
    }

    #[test]
    fn what_is_to_be_typed_is_code_in_every_sentence() {
        let typed = || "first `warmend check`, then look".to_owned();
        let form = Form {
            says: vec![typed()],
            groups: vec![(
                String::new(),
                vec![Field {
                    name: "a".to_owned(),
                    label: "b".to_owned(),
                    kind: FieldKind::Line(9),
                    value: String::new(),
                    help: typed(),
                    needed: false,
                }],
            )],
            ..Form::default()
        };
        let table = |rows| Table { rows, empty: typed(), ..Table::default() };
        let parts = vec![
            Part::Says(vec![typed()]),
            Part::Warns(Tone::Warning, vec![typed()]),
            Part::Do(Tone::Danger, vec![typed()]),
            Part::Steps(vec![typed()]),
            Part::Facts(vec![("a".to_owned(), typed())]),
            Part::Table(table(vec![vec![Cell::of("a"), Cell::of(typed())]])),
            Part::Table(table(Vec::new())),
            Part::Form(form),
        ];
        let page = sheet_html(&SheetPage { parts, ..SheetPage::default() });
        assert_eq!(page.matches("<code>warmend check</code>").count(), 9);
        assert!(!page.contains('`'), "{page}");
    }

    #[test]
    fn nothing_inline_that_a_strict_policy_would_block() {
        let page = sheet_html(&SheetPage { title: "a".to_owned(), ..SheetPage::default() });
        assert!(!page.contains("style=") && !page.contains("<style") && !page.contains("onclick"));
    }

    #[test]
    fn every_field_has_a_name_that_a_screen_reader_says() {
        let page = sheet_html(&hostile());
        let ids: Vec<&str> = page.split(" id=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
        let unique: std::collections::BTreeSet<_> = ids.iter().collect();
        assert_eq!(ids.len(), unique.len(), "an id stands twice: {ids:?}");
        for target in page.split(" for=\"").skip(1).filter_map(|rest| rest.split('"').next()) {
            assert!(ids.contains(&target), "{target}");
        }
    }
}
