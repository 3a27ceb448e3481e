//! What the pages are told about now: plain values, already judged and already worded.
//!
//! Temperatures are °C, places mm from the nest's zero end, powers W. Clock times arrive as text, in the keeper's own
//! time zone. Any number may be NaN: it is drawn as unknown.
use crate::colour::ColourRange;
pub use crate::mat_view::{MatPlace, MatTold, MatView};
use crate::say;
use crate::week::Tick;

/// How loud something is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Tone {
    /// Nothing to do.
    #[default]
    Calm,
    /// Good to know.
    Advice,
    /// Look today.
    Warning,
    /// Look now.
    Danger,
}

/// A link of the navigation.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Link {
    /// What it says.
    pub label: String,
    /// Where it leads.
    pub url: String,
    /// Whether it is the page shown.
    pub current: bool,
}

/// Where a page finds its style sheet and script.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Assets {
    /// From the server, at [`crate::STYLE_PATH`] and [`crate::LIVE_PATH`].
    #[default]
    Served,
    /// The style stands in the page, no script: for a page saved as a file.
    Inline,
}

/// What every page has around it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Frame {
    /// The shelf's name.
    pub shelf_name: String,
    /// Links at the top.
    pub nav: Vec<Link>,
    /// What every page says above all else, one sentence each.
    pub cautions: Vec<String>,
    /// Style and script.
    pub assets: Assets,
}

/// A question with answers to choose from, all alike.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AskPage {
    /// Name and links.
    pub frame: Frame,
    /// What it is about.
    pub title: String,
    /// What a choice does.
    pub sentences: Vec<String>,
    /// The choices, none louder than another.
    pub choices: Vec<Action>,
}

/// A card to print and hang up.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CardPage {
    /// What it is about.
    pub title: String,
    /// Where that is.
    pub place: String,
    /// In the order of their weight.
    pub parts: Vec<CardPart>,
    /// Small print.
    pub footer: String,
}

/// One part of a card.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CardPart {
    /// Its heading.
    pub heading: String,
    /// Sentences.
    pub sentences: Vec<String>,
    /// What must be found at a glance, in a box.
    pub boxed: Option<String>,
    /// Points of a list.
    pub points: Vec<String>,
}

/// Everything on the page of now.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NowPage {
    /// Name and links.
    pub frame: Frame,
    /// When this was true, as a clock says it: `03:12:05` or `Tue 03:12:05`.
    pub as_of_text: String,
    /// Age of the newest reading when the page was made, s; none before the first.
    pub age_s: Option<f64>,
    /// Why this is no picture of now at all (the watch has stopped), if it is none; to follow a colon.
    pub stalled: Option<String>,
    /// Alarms that are not normal, in any order: the page sorts them.
    pub alarms: Vec<AlarmView>,
    /// The nests, in the shelf's order.
    pub nests: Vec<NestView>,
    /// Last values of sources that no nest lists: (source, value with unit).
    pub unlisted: Vec<(String, String)>,
    /// One sentence each about the watch itself: history, messages, losses.
    pub watch: Vec<String>,
}

/// One alarm that is not normal.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AlarmView {
    /// The contract's name: `heater-stuck-on`.
    pub alarm: String,
    /// How loud.
    pub tone: Tone,
    /// The contract's name of its state: `unacknowledged`.
    pub state: String,
    /// Names of the nests it is about; none: the watch itself.
    pub nests: Vec<String>,
    /// The probe or node it is about.
    pub about: Option<String>,
    /// Since when, or from when until when: `since 02:41, for 31 min`.
    pub since_text: String,
    /// What became of it: `nobody has answered yet`.
    pub state_text: String,
    /// How its nest stands now, where that is what the keeper must know first.
    pub nest_now: Option<String>,
    /// Where that is, and which plugs are its nest's.
    pub place: Vec<String>,
    /// Whether the page is about this very alarm: it needs no line of its own there.
    pub here: bool,
    /// What was expected and what was seen.
    pub detail: String,
    /// What to do.
    pub what_to_do: Vec<String>,
    /// The alarm it follows from.
    pub cause: Option<String>,
    /// What the keeper can do here.
    pub actions: Vec<Action>,
    /// Where its whole story is; nowhere if empty.
    pub url: String,
}

/// A button that sends a form.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Action {
    /// What it says.
    pub label: String,
    /// Where it posts.
    pub url: String,
    /// Hidden fields: name, value.
    pub fields: Vec<(String, String)>,
}

/// A stretch of the axis, mm.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stretch {
    /// Nearer the zero end, mm.
    pub from_mm: f64,
    /// Farther from it, mm.
    pub to_mm: f64,
}

/// The band that the keeper set, °C.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BandView {
    /// The brood place's mean should stay above, °C.
    pub low_c: f64,
    /// The brood place's mean should stay below, °C.
    pub high_c: f64,
    /// Its hottest point must stay below, °C.
    pub limit_c: f64,
}

/// A probe and its last words.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ProbeView {
    /// Its source: `oak-node:warm`.
    pub name: String,
    /// Place, mm.
    pub at_mm: f64,
    /// Last temperature, °C.
    pub temperature_c: Option<f64>,
    /// Last relative humidity, %RH.
    pub humidity_pct: Option<f64>,
    /// When: `20 s ago`, `03:11`.
    pub heard_text: String,
    /// Why its last reading was not believed; none: it was.
    pub not_believed_because: Option<String>,
}

/// Warmth along the nest, as believed: three lists of equal length.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ProfileView {
    /// Places, mm, rising.
    pub at_mm: Vec<f64>,
    /// Believed mean, °C.
    pub mean_c: Vec<f64>,
    /// Standard deviation of the believed error, K.
    pub sd_c: Vec<f64>,
}

/// The brood place in three numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BroodView {
    /// Mean, °C.
    pub mean_c: f64,
    /// Standard deviation of its error, K.
    pub sd_c: f64,
    /// Hottest point, °C.
    pub hottest_c: f64,
}

/// One nest now.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NestView {
    /// The shelf file's id.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// Its own page.
    pub url: String,
    /// How it stands, in one sentence.
    pub summary: String,
    /// How loud that is.
    pub tone: Tone,
    /// Length of the axis, mm.
    pub length_mm: f64,
    /// Heating mats.
    pub mats: Vec<MatView>,
    /// Brood place.
    pub brood: Option<Stretch>,
    /// The keeper's band.
    pub band: Option<BandView>,
    /// Probes.
    pub probes: Vec<ProbeView>,
    /// What is believed; empty before the first reading.
    pub profile: ProfileView,
    /// Brood place now.
    pub brood_now: Option<BroodView>,
    /// Room: °C and the standard deviation of its error, K.
    pub room_c: Option<(f64, f64)>,
    /// What leave to heat they have, where they are driven on leave only.
    pub leave_text: Option<String>,
    /// What they are believed to give: W and its standard deviation.
    pub gives_w: Option<(f64, f64)>,
    /// Relative humidity on the profile's places, %RH.
    pub rh_pct: Vec<Option<f64>>,
    /// End of the first 12 hours: `today 18:40`.
    pub learning_until: Option<String>,
    /// Up to when the nest's physics was learned, and what the last fit came to.
    pub learned_text: Option<String>,
    /// When this was true.
    pub as_of_text: String,
    /// Temperatures at the ends of the colours; give all nests of a page the same.
    pub colour: ColourRange,
    /// What is to come; none: too little is known to say.
    pub forecast: Option<ForecastView>,
}

/// The hours ahead of a brood place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ForecastView {
    /// Mean over the hour before each point, °C, and its standard deviation towards cold and towards warm, K; evenly
    /// spaced, the last at the end of what is looked at.
    pub brood_c: Vec<(f64, (f64, f64))>,
    /// The room at the same points, °C.
    pub room_c: Vec<f64>,
    /// The clock at each point.
    pub clock: Vec<String>,
    /// Ticks of the time axis, as parts of it.
    pub ticks: Vec<Tick>,
    /// When it probably leaves the band, as parts of the time axis: hardly sooner, about, hardly later.
    pub leaves_at: Option<(f64, f64, Option<f64>)>,
    /// The same in words.
    pub words: String,
}

/// The form for a note.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct NoteForm {
    /// Where it posts.
    pub url: String,
    /// Hidden fields: name, value.
    pub fields: Vec<(String, String)>,
    /// Kinds to choose from: value, words.
    pub kinds: Vec<(String, String)>,
}

/// What a page needs that follows what happens.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Live {
    /// Where the part that follows is fetched anew.
    pub url: String,
    /// Age of the newest reading, s.
    pub age_s: Option<f64>,
    /// When this was true, to the second: `03:12:05`.
    pub as_of_text: String,
    /// The alarms that whoever reads this page must know of.
    pub alarms: Vec<AlarmView>,
}

/// The list of alarms.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AlarmsPage {
    /// Name and links.
    pub frame: Frame,
    /// Those not normal, and when that was so.
    pub live: Live,
    /// Why nothing is judged, where that is so: then no alarm means nothing.
    pub unjudged: Option<String>,
    /// Last changes, newest first: when, a sentence, and where its story is (nowhere if empty).
    pub past: Vec<(String, String, String)>,
}

/// Error or nothing yet: a title, sentences, and where to go.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlainPage {
    /// Name and links.
    pub frame: Frame,
    /// What is the matter.
    pub title: String,
    /// What was attempted, why it failed, what to do.
    pub sentences: Vec<String>,
}

impl ProfileView {
    /// The finite points (mm, mean °C, standard deviation K); `None` where one is no number, so that a line breaks there.
    pub fn points(&self) -> impl Iterator<Item = Option<(f64, f64, f64)>> + '_ {
        self.at_mm.iter().zip(&self.mean_c).enumerate().map(|(i, (&x, &mean))| {
            let sd = self.sd_c.get(i).copied().filter(|s| s.is_finite()).unwrap_or(0.0).abs();
            (x.is_finite() && mean.is_finite()).then_some((x, mean, sd))
        })
    }

    /// Believed temperature and its standard deviation at a place; none outside the known points.
    pub fn at(&self, mm: f64) -> Option<(f64, f64)> {
        let points: Vec<_> = self.points().flatten().collect();
        let pair = points.windows(2).find(|w| w[0].0 <= mm && mm <= w[1].0)?;
        let width = pair[1].0 - pair[0].0;
        let part = if width > 0.0 { (mm - pair[0].0) / width } else { 0.0 };
        Some((pair[0].1 + (pair[1].1 - pair[0].1) * part, pair[0].2 + (pair[1].2 - pair[0].2) * part))
    }
}

impl Tone {
    /// The word that stands beside it, so that colour is never the only sign.
    pub fn word(self) -> String {
        match self {
            Self::Calm => String::new(),
            Self::Advice => say!("tone-advice"),
            Self::Warning => say!("tone-warning"),
            Self::Danger => say!("tone-danger"),
        }
    }

    /// Class of the style sheet.
    pub(crate) const fn class(self) -> &'static str {
        match self {
            Self::Calm => "calm",
            Self::Advice => "advice",
            Self::Warning => "warning",
            Self::Danger => "danger",
        }
    }
}
