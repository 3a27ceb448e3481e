//! View structs in, HTML, SVG, PNG and text out: one drawing code for page, mail, report and terminal.
//!
//! No server, no history, no clock: whoever calls has judged, worded and timed everything. Pages work without a script
//! and under the policy `default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src
//! 'self'`: shapes carry a class for the style sheet and, beside it, light colours as attributes, so the same picture
//! can be mailed or saved alone. Every text is escaped, any number may be NaN, a gap is drawn as a gap.

mod ahead;
mod card;
mod colour;
mod heatmap;
mod mat_view;
mod minutes;
mod now_page;
mod page;
mod past_view;
mod pen;
mod plan;
mod plan_page;
mod plan_picture;
mod profile;
mod prose;
mod raster;
pub mod say;
mod sheet;
mod svg;
mod table;
mod text;
mod view;
mod week;
mod week_page;
mod week_picture;
mod words;

pub use ahead::ahead_svg_on;
pub use card::card_html;
pub use colour::{ColourRange, Rgb, ramp};
pub use minutes::{MOST_LINES, MOST_POINTS, MinuteLine, MinutesView};
pub use now_page::{headline, now_fragment, now_html, probes_believed};
pub use page::{LIVE_JS, STYLE_CSS, alarms_fragment, alarms_html, ask_html, plain_html};
pub use past_view::{Compared, LoadRow, ReportNest, ReportPage, WeekPage};
pub use pen::Canvas;
pub use plan::{
    PLAN_MOST_C, PlanField, PlanGroup, PlanKind, PlanPage, PlanView, Reckoned, StuckRow, plan_caution, plan_text,
};
pub use plan_page::{PLAN_JS, plan_fragment, plan_html};
pub use plan_picture::{plan_sentence, plan_svg, plan_svg_on};
pub use profile::{Z90, profile_sentence, profile_svg, profile_svg_on};
pub use raster::{MOST_PX, MOST_SIDE_PX, RasterError, svg_to_png};
pub use sheet::{Button, Cell, Field, FieldKind, Form, Part, SheetPage, Table, sheet_fragment, sheet_html};
pub use svg::{escape, ident};
pub use text::{Paint, week_text};
pub use view::{
    Action, AlarmView, AlarmsPage, AskPage, Assets, BandView, BroodView, CardPage, CardPart, ForecastView, Frame, Link,
    Live, MatPlace, MatTold, MatView, NestView, NoteForm, NowPage, PlainPage, ProbeView, ProfileView, Stretch, Tone,
};
pub use week::{
    BaseFrom, DayRow, HeatMap, Lane, LanePoint, MOST_COLUMNS, MOST_LISTED, MOST_MARKS, MOST_ROWS, Mark, MarkKind, Tick,
    WeekView,
};
pub use week_page::{SPAN_JS, report_html, week_fragment, week_html};
pub use week_picture::{heatmap_frame, heatmap_svg, heatmap_svg_on, report_svg, week_sentence};
pub use words::{alarm_words, capital, list_and, list_comma, list_semicolon, state_words};

/// Where pages look for [`STYLE_CSS`] (`text/css`).
pub const STYLE_PATH: &str = "/style.css";
/// Where pages that follow look for [`LIVE_JS`] (`text/javascript`).
pub const LIVE_PATH: &str = "/live.js";
/// Where [`LIVE_JS`] fetches [`now_fragment`] (`text/html`).
pub const FRAGMENT_PATH: &str = "/fragment";
/// Where [`LIVE_JS`] listens for server-sent events named `now` (any data; at least one a minute).
pub const EVENTS_PATH: &str = "/live";
/// Where the page of a span looks for [`SPAN_JS`] (`text/javascript`).
pub const SPAN_SCRIPT_PATH: &str = "/span.js";
/// Where a plan is asked for.
pub const PLAN_PATH: &str = "/plan";
/// Where [`PLAN_JS`] fetches [`plan_fragment`] (`text/html`).
pub const PLAN_FRAGMENT_PATH: &str = "/plan/fragment";
/// Where the page of a plan looks for [`PLAN_JS`] (`text/javascript`).
pub const PLAN_SCRIPT_PATH: &str = "/plan.js";
