//! Tables. On a telephone one with many columns is read row by row, each cell beside the name of its column, so that
//! nothing has to be pushed sideways (WCAG 2.2, 1.4.10). Roles are written out: where a style sheet gives rows and cells
//! another display, some browsers take their meaning away.
use maud::{Markup, html};

/// Tables of so few columns are narrow enough as they are.
const NARROW_MOST: usize = 2;

/// A table.
pub(crate) struct Grid<'a> {
    /// What it holds, for whoever does not see it.
    pub(crate) name: &'a str,
    /// What stands above it; may be empty.
    pub(crate) caption: &'a str,
    /// Heads of its columns, each with what stands small below it, if anything does.
    pub(crate) heads: Vec<(String, String)>,
    /// Rows of as many cells; the first names the row.
    pub(crate) rows: Vec<Vec<Markup>>,
    /// All of it in one row.
    pub(crate) foot: Option<Vec<Markup>>,
    /// Whether all cells are short numbers, better read side by side.
    pub(crate) numbers: bool,
}

impl Grid<'_> {
    pub(crate) fn draw(&self) -> Markup {
        let shape = match (self.numbers, self.heads.len() > NARROW_MOST) {
            (true, _) => "scroll tight",
            (false, true) => "scroll stack",
            (false, false) => "scroll",
        };
        html! {
            // Its own name and place in the order of keys: it may still be wider than where it stands.
            div class=(shape) tabindex="0" role="group" aria-label=(self.name) {
                table role="table" {
                    @if !self.caption.is_empty() { caption { (self.caption) } }
                    thead role="rowgroup" { tr role="row" {
                        @for (head, small) in &self.heads {
                            th scope="col" role="columnheader" { (head) @if !small.is_empty() { br; small { (small) } } }
                        }
                    } }
                    tbody role="rowgroup" { @for row in &self.rows { (self.row(row)) } }
                    @if let Some(foot) = &self.foot { tfoot role="rowgroup" { (self.row(foot)) } }
                }
            }
        }
    }

    fn row(&self, cells: &[Markup]) -> Markup {
        let label = |i: usize| {
            self.heads.get(i).map(|(head, small)| format!("{head} {small}").trim_end().to_owned()).unwrap_or_default()
        };
        html! {
            tr role="row" {
                @for (i, c) in cells.iter().enumerate() {
                    @if i == 0 { th scope="row" role="rowheader" { (c) } }
                    // An element around it all, so that it stands beside the name of its column as one.
                    @else { td role="cell" data-label=(label(i)) { span { (c) } } }
                }
            }
        }
    }
}
