//! What a page, a picture or a text is told about a span of history.
use crate::colour::ColourRange;
use crate::view::{MatView, Stretch, Tone};

/// Most columns of a heat map that are drawn: more are thinned (a year at hourly columns).
pub const MOST_COLUMNS: usize = 9000;
/// Most rows of a heat map that are drawn.
pub const MOST_ROWS: usize = 400;
/// Most marks drawn on a picture.
pub const MOST_MARKS: usize = 200;
/// Most marks that a picture which stands alone lists in words.
pub const MOST_LISTED: usize = 40;

/// One nest over a span of time; everything shares the time axis from 0 (start) to 1 (end).
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WeekView {
    /// The shelf file's id.
    pub nest_id: String,
    /// Name for people.
    pub nest_name: String,
    /// The span: `Mon 2 March to Sun 8 March 2026`.
    pub span_text: String,
    /// What happened, in at most three sentences.
    pub sentences: Vec<String>,
    /// From what the picture was drawn, in a sentence; may be empty.
    pub seen_how: String,
    /// Length of the axis, mm.
    pub length_mm: f64,
    /// Brood place.
    pub brood: Option<Stretch>,
    /// Heating mats.
    pub mats: Vec<MatView>,
    /// Warmth along the nest over time.
    pub map: HeatMap,
    /// What is drawn beneath it, in this order.
    pub lanes: Vec<Lane>,
    /// Alarms and notes.
    pub marks: Vec<Mark>,
    /// Ticks of the time axis.
    pub ticks: Vec<Tick>,
    /// Nights, as parts of the span (from, to); may be left out.
    pub nights: Vec<(f64, f64)>,
    /// What a row of the table covers: `day`, `week`, `month`.
    pub row_name: String,
    /// Row by row.
    pub days: Vec<DayRow>,
    /// All of it in one row.
    pub total: Option<DayRow>,
    /// Above which temperature degree-days are counted, °C.
    pub base_c: f64,
    /// Who says so.
    pub base_from: BaseFrom,
}

/// Who says above which temperature degree-days are counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum BaseFrom {
    /// Nobody: from 0 °C.
    #[default]
    Nobody,
    /// The shelf file, for this nest.
    ShelfFile,
    /// Whoever looks.
    Asked,
}

/// Temperature over place and time, evenly spaced in time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HeatMap {
    /// Places of the rows, mm, rising.
    pub at_mm: Vec<f64>,
    /// One column a time step: °C at each place; `None`: nothing known (a gap).
    pub columns: Vec<Option<Vec<f32>>>,
    /// Standard deviation of the believed error of each, K; shorter than the columns where it is not known.
    pub sd_k: Vec<Option<Vec<f32>>>,
    /// Temperatures at the ends of the colours.
    pub colour: ColourRange,
}

/// One quantity over the span.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lane {
    /// What it is: `brood place`.
    pub label: String,
    /// Its unit: `°C`.
    pub unit: String,
    /// Evenly spaced in time; `None` is a gap.
    pub points: Vec<Option<LanePoint>>,
    /// The zone it should keep to (low, high).
    pub zone: Option<(f64, f64)>,
    /// A line it must not pass.
    pub limit: Option<f64>,
    /// Whether the area down to zero is filled (heat).
    pub filled: bool,
    /// Standard deviation of the error of each mean; empty where it is not known.
    pub sd: Vec<Option<f64>>,
    /// The same quantity of what this is compared with, spread over the same span.
    pub other: Vec<Option<f64>>,
    /// What was said and not believed: when, as a part of the span, and the value.
    pub doubted: Vec<(f64, f64)>,
}

/// A time step of a lane.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LanePoint {
    /// Lowest.
    pub min: f64,
    /// Mean.
    pub mean: f64,
    /// Highest.
    pub max: f64,
}

impl From<f64> for LanePoint {
    fn from(v: f64) -> Self {
        Self { min: v, mean: v, max: v }
    }
}

/// What a mark tells.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum MarkKind {
    /// A keeper's note.
    #[default]
    Note,
    /// An alarm, so loud.
    Alarm(Tone),
}

/// Something that happened.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mark {
    /// When, as a part of the span.
    pub at: f64,
    /// Until when; none: a moment, or still so.
    pub until: Option<f64>,
    /// Where on the axis, mm (brood seen).
    pub at_mm: Option<f64>,
    /// Note or alarm.
    pub kind: MarkKind,
    /// When, as a clock says it.
    pub time_text: String,
    /// What.
    pub text: String,
}

/// A tick of the time axis.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tick {
    /// Where, as a part of the span.
    pub at: f64,
    /// What stands there; may be empty.
    pub label: String,
    /// A day's begin rather than an hour within.
    pub major: bool,
}

/// One day in numbers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DayRow {
    /// `Mon 2 March`.
    pub day: String,
    /// Brood place: lowest, mean, highest of the day, °C; none: nothing known.
    pub brood_c: Option<LanePoint>,
    /// Part of the known time in which the brood place's mean was within the band, 0 to 1.
    pub in_band: Option<f64>,
    /// Part of the day about which something is known, 0 to 1.
    pub known: f64,
    /// Room: lowest, mean, highest, °C.
    pub room_c: Option<LanePoint>,
    /// Heat of the mats, Wh.
    pub heat_wh: Option<f64>,
    /// Degree-days of the brood place above the page's base, K·d, over the known time.
    pub degree_days: Option<f64>,
}

impl HeatMap {
    /// The value at a column and row; none in a gap or where it is no number.
    pub fn value(&self, column: usize, row: usize) -> Option<f64> {
        let v = *self.columns.get(column)?.as_ref()?.get(row)?;
        v.is_finite().then_some(f64::from(v))
    }

    /// The value at a column and a place, on the straight line between rows.
    pub fn value_at(&self, column: usize, mm: f64) -> Option<f64> {
        let above = self.at_mm.iter().position(|x| *x >= mm)?;
        let high = self.value(column, above)?;
        let Some(below) = above.checked_sub(1) else { return Some(high) };
        let low = self.value(column, below)?;
        let width = self.at_mm[above] - self.at_mm[below];
        if width.is_nan() || width <= 0.0 {
            return Some(high);
        }
        Some(low + (high - low) * (mm - self.at_mm[below]) / width)
    }

    /// Mean over the columns from `from` (inside) to `to` (outside) at a place; none where more than half is a gap.
    pub fn mean_at(&self, (from, to): (usize, usize), mm: f64) -> Option<f64> {
        let (mut sum, mut known) = (0.0, 0_usize);
        for column in from..to {
            if let Some(v) = self.value_at(column, mm) {
                sum += v;
                known += 1;
            }
        }
        (known > 0 && known * 2 >= to.saturating_sub(from)).then(|| sum / known as f64)
    }

    /// Whether nothing at all is known.
    pub fn is_empty(&self) -> bool {
        self.at_mm.is_empty()
            || (0..self.columns.len()).all(|c| (0..self.at_mm.len()).all(|r| self.value(c, r).is_none()))
    }
}
