//! What a plan is told about: a nest and its heating mat before anything is plugged in; already reckoned and worded.
//!
//! The mat that never lets go comes first wherever a plan is shown, and [`plan_caution`] last.
use crate::say;
use crate::svg::{number, wrap};
use crate::view::{BandView, Frame, Link, MatView, Stretch, Tone};
use std::fmt::Write as _;

/// Every plan ends with this.
pub fn plan_caution() -> String {
    say!("plan-caution")
}

/// Beyond this no number is told, °C: wood chars and kindles, plastics have melted, and the model knows nothing of it.
pub const PLAN_MOST_C: f64 = 250.0;

/// Stands for a space that must not end a line; no text holds it, for it is a control character.
const TIE: &str = "\u{1}";
/// Narrowest and widest text, characters.
const WIDTHS: (usize, usize) = (40, 120);

/// An estimate, and where it lies nine times in ten.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Reckoned {
    /// 1 in 20 lies below.
    pub low: f64,
    /// As likely above as below.
    pub mid: f64,
    /// 1 in 20 lies above.
    pub high: f64,
}

/// One row of what happens when the mat sticks on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StuckRow {
    /// Where it sticks: `covered, room at 30 °C`.
    pub case: String,
    /// The hottest of the brood place.
    pub brood: String,
    /// When that passes its limit.
    pub brood_when: String,
    /// The hottest between mat and nest.
    pub mat: String,
    /// When that passes its limit.
    pub mat_when: String,
}

/// Everything a plan shows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlanView {
    /// The nest's id, for names within the picture.
    pub id: String,
    /// What it is called.
    pub name: String,
    /// How loud the worst case is.
    pub tone: Tone,
    /// The worst case, short enough to stay in sight.
    pub line: String,
    /// The worst case in sentences.
    pub worst: Vec<String>,
    /// The same as a table.
    pub stuck: Vec<StuckRow>,
    /// Which power is the largest, or why none is named.
    pub power: Vec<String>,
    /// What to expect in use, in sentences.
    pub expected: Vec<String>,
    /// What handbooks say of materials: fact, source.
    pub bears: Vec<(String, String)>,
    /// What was assumed.
    pub assumed: Vec<String>,
    /// Length of the axis, mm.
    pub length_mm: f64,
    /// Heating mats.
    pub mats: Vec<MatView>,
    /// Brood place.
    pub brood: Option<Stretch>,
    /// The keeper's band.
    pub band: Option<BandView>,
    /// The brood's limit, °C.
    pub limit_c: Option<f64>,
    /// The material's limit, °C.
    pub material_limit_c: Option<f64>,
    /// The usual room and the warm one, °C.
    pub room_c: (f64, f64),
    /// Places of the curves, mm.
    pub at_mm: Vec<f64>,
    /// Stuck on and covered, in the warm room, °C.
    pub worst_c: Vec<Reckoned>,
    /// Stuck on as it stands, in the warm room, °C.
    pub standing_c: Vec<Reckoned>,
    /// In use, in the usual room, °C: as it is held, or always on.
    pub use_c: Vec<Reckoned>,
    /// What [`Self::use_c`] is: `held at 26 °C`.
    pub use_text: String,
    /// Between mat and nest in the worst case, °C.
    pub mat_c: Reckoned,
}

/// The page of a plan.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlanPage {
    /// Name and links.
    pub frame: Frame,
    /// What came of it; none: see the complaints.
    pub plan: Option<PlanView>,
    /// What could not be understood: what, why, what to do.
    pub complaints: Vec<String>,
    /// Nests of the shelf to begin from.
    pub nests: Vec<Link>,
    /// What can be set; none in a file.
    pub form: Vec<PlanGroup>,
    /// What the form carries along: name, value.
    pub hidden: Vec<(String, String)>,
}

/// Some fields that belong together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlanGroup {
    /// What they are about.
    pub name: String,
    /// The fields.
    pub fields: Vec<PlanField>,
}

/// One field.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlanField {
    /// Its name in the query.
    pub name: String,
    /// What it asks, with the unit.
    pub label: String,
    /// What stands in it; nothing: not known.
    pub value: String,
    /// What is assumed where nothing stands in it.
    pub usual: String,
    /// Explains the word in place.
    pub help: String,
    /// What it takes.
    pub kind: PlanKind,
}

/// What a field takes.
#[derive(Clone, Debug, PartialEq)]
pub enum PlanKind {
    /// A number.
    Number {
        /// Least and most that is taken.
        range: (f64, f64),
        /// Ends and step of the slider.
        slide: (f64, f64, f64),
    },
    /// One of these: value, words.
    Choice(Vec<(String, String)>),
}

impl Default for PlanKind {
    fn default() -> Self {
        Self::Choice(Vec::new())
    }
}

/// The plan as text, `columns` wide (40 to 120).
pub fn plan_text(plan: &PlanView, columns: usize) -> String {
    let width = columns.clamp(WIDTHS.0, WIDTHS.1);
    let mut out = String::new();
    let loud = if plan.tone == Tone::Calm { say!("plan-word") } else { plan.tone.word() };
    put(&mut out, width, "", &say!("plan-text-line", tone = loud, line = &plan.line));
    put_all(&mut out, width, "", &plan.worst);
    head(&mut out, width, &say!("plan-text-stuck"));
    for row in &plan.stuck {
        let case = say!(
            "plan-text-case",
            case = &row.case,
            brood = &row.brood,
            brood_when = &row.brood_when,
            mat = &row.mat,
            mat_when = &row.mat_when,
        );
        put(&mut out, width, "  ", &case);
    }
    out.push('\n');
    put_all(&mut out, width, "", &plan.power);
    out.push('\n');
    put_all(&mut out, width, "", &plan.expected);
    head(&mut out, width, &say!("plan-text-along", nest = &plan.name));
    let heads = [
        "mm".to_owned(),
        say!("plan-text-worst"),
        say!("plan-curves-likely"),
        say!("plan-text-standing"),
        say!("plan-text-use"),
    ];
    for row in [heads].into_iter().chain(plan_rows(plan)) {
        let cells: String = row.iter().map(|c| format!("{c:>8}")).collect();
        let _ = writeln!(out, "{cells}");
    }
    put(&mut out, width, "", &say!("plan-text-columns", used = &plan.use_text));
    head(&mut out, width, &say!("plan-text-bears"));
    for (fact, source) in &plan.bears {
        put(&mut out, width, "  ", &format!("{fact} ({source})"));
    }
    head(&mut out, width, &say!("plan-text-assumed"));
    put_all(&mut out, width, "  ", &plan.assumed);
    head(&mut out, width, &plan_caution());
    out
}

fn put_all(out: &mut String, width: usize, indent: &str, sentences: &[String]) {
    for sentence in sentences {
        put(out, width, indent, sentence);
    }
}

/// A paragraph with a free line above it.
fn head(out: &mut String, width: usize, text: &str) {
    out.push('\n');
    put(out, width, "", text);
}

/// One paragraph. Names must not steer the terminal.
fn put(out: &mut String, width: usize, indent: &str, text: &str) {
    let plain: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    // A unit stays with its number.
    let tied =
        [" °C", " mm", " W", " min", " %"].iter().fold(plain, |t, unit| t.replace(unit, &unit.replace(' ', TIE)));
    for line in wrap(&tied, width - indent.len(), usize::MAX) {
        let _ = writeln!(out, "{indent}{}", line.replace(TIE, " "));
    }
}

/// The curves in some dozen rows: place, worst at its upper end, worst, stuck as it stands, in use.
pub(crate) fn plan_rows(plan: &PlanView) -> Vec<[String; 5]> {
    let rows = plan.at_mm.len().min(13);
    let index = |i: usize| if rows > 1 { i * (plan.at_mm.len() - 1) / (rows - 1) } else { 0 };
    let told = |curve: &[Reckoned], i: usize, end: fn(&Reckoned) -> f64| {
        curve.get(i).map_or("–".to_owned(), |r| {
            let c = end(r);
            if c > PLAN_MOST_C { format!("> {}", number(PLAN_MOST_C, 0)) } else { number(c, 1) }
        })
    };
    (0..rows)
        .map(index)
        .map(|i| {
            [
                number(plan.at_mm[i], 0),
                told(&plan.worst_c, i, |r| r.high),
                told(&plan.worst_c, i, |r| r.mid),
                told(&plan.standing_c, i, |r| r.mid),
                told(&plan.use_c, i, |r| r.mid),
            ]
        })
        .collect()
}
