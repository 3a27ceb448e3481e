//! What somebody wants reckoned, as typed behind the command or into the page's form: read once, for both alike.
pub use super::writer::Writer;
use crate::shelf_file::{UNNAMED_MATERIAL, known_material, material_names, name_of_material};
use crate::views::words::listed as list;
use clap::Args;
use dashboards::say;
use enclosure::plan::{COVERED_W_M2K, Question, Room, SHARE};
use enclosure::shelf::{Cover, Nest, NestKind, Pad, PadPlace, Stretch};
use serde::Deserialize;

/// A room unless another is asked for, °C. Common practice, no source.
const ROOM_C: f64 = 21.0;
/// How much it swings over a day, K. Common practice, no source.
const SWING_K: f64 = 4.0;
/// A room in a heatwave, °C. Common practice, no source.
const WARM_ROOM_C: f64 = 30.0;
/// The room where nobody says otherwise.
pub(crate) const USUAL_ROOM: Room = Room { usual_c: ROOM_C, swing_k: SWING_K, warm_c: WARM_ROOM_C };
/// What a nest is called that no shelf file names.
const NAMELESS: &str = "this nest";
/// Longest text that is repeated in a complaint, characters.
const REPEATED: usize = 40;

/// Everything that can be asked. Nothing written: what the shelf file says; written but empty: not known.
#[derive(Args, Clone, Debug, Default, Deserialize, PartialEq, Eq)]
#[serde(default)]
pub struct Wish {
    /// The nest's id in the shelf file (default: the only one; with --length, none)
    #[arg(long, value_name = "ID")]
    pub nest: Option<String>,
    /// Length of the nest, mm
    #[arg(long, value_name = "MM", allow_hyphen_values = true)]
    pub length: Option<String>,
    /// Width across that length, mm
    #[arg(long, value_name = "MM", allow_hyphen_values = true)]
    pub width: Option<String>,
    /// Height of the body, mm
    #[arg(long, value_name = "MM", allow_hyphen_values = true)]
    pub height: Option<String>,
    /// What it is made of, by the names that the shelf file knows
    #[arg(long, value_name = "NAME")]
    pub material: Option<String>,
    /// What lies over the galleries: open, glass, acrylic or lid
    #[arg(long, value_name = "WORD")]
    pub cover: Option<String>,
    /// Where the heating mat begins, mm from the zero end
    #[arg(long, value_name = "MM", allow_hyphen_values = true)]
    pub pad_from: Option<String>,
    /// Where it ends, mm
    #[arg(long, value_name = "MM", allow_hyphen_values = true)]
    pub pad_to: Option<String>,
    /// Its power by the label, W
    #[arg(long, value_name = "W", allow_hyphen_values = true)]
    pub watts: Option<String>,
    /// On which side it lies: under, beside, lid or inside
    #[arg(long = "where", value_name = "WORD")]
    #[serde(rename = "where")]
    pub place: Option<String>,
    /// Where the brood place begins, mm
    #[arg(long, value_name = "MM", allow_hyphen_values = true)]
    pub brood_from: Option<String>,
    /// Where it ends, mm
    #[arg(long, value_name = "MM", allow_hyphen_values = true)]
    pub brood_to: Option<String>,
    /// What the brood place is to be held at, °C
    #[arg(long, value_name = "C", allow_hyphen_values = true)]
    pub hold: Option<String>,
    /// The hottest that your brood bears, °C
    #[arg(long, value_name = "C", allow_hyphen_values = true)]
    pub limit: Option<String>,
    /// The hottest that the nest's material and the board under the mat bear, °C
    #[arg(long, value_name = "C", allow_hyphen_values = true)]
    pub material_limit: Option<String>,
    /// The room over a day, °C (default 21)
    #[arg(long, value_name = "C", allow_hyphen_values = true)]
    pub room: Option<String>,
    /// From the room's coolest to its warmest hour, K (default 4)
    #[arg(long, value_name = "K", allow_hyphen_values = true)]
    pub swing: Option<String>,
    /// The room in a heatwave, °C (default 30)
    #[arg(long, value_name = "C", allow_hyphen_values = true)]
    pub warm_room: Option<String>,
    /// What a covered face gives off, W/m²K (default 2: a cushion or folded towel on all sides)
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    pub covered: Option<String>,
    /// The heat's reach ends where this part of its rise is left, % (default 10)
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    pub share: Option<String>,
}

/// A wish that was understood.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// Where it was written.
    pub by: Writer,
    /// The nest with what was wished instead.
    pub nest: Nest,
    /// Whether it stands in the shelf file.
    pub listed: bool,
    /// Its material's name, if it has one.
    pub material: Option<&'static str>,
    /// The room.
    pub room: Room,
    /// The brood's limit, °C.
    pub limit_c: Option<f64>,
    /// The material's limit, °C.
    pub material_limit_c: Option<f64>,
    /// What the brood place is held at, °C.
    pub held_c: Option<f64>,
    /// Loss of a covered face, W m⁻² K⁻¹.
    pub cover_w_m2k: f64,
    /// Where the reach ends, 0 to 1.
    pub share: f64,
}

impl Asked {
    /// As the core takes it.
    pub fn question(&self) -> Question<'_> {
        Question {
            nest: &self.nest,
            room: self.room,
            limit_c: self.limit_c,
            material_limit_c: self.material_limit_c,
            held_c: self.held_c,
            cover_w_m2k: self.cover_w_m2k,
            share: self.share,
        }
    }
}

/// Least and most of each number, in its unit.
pub mod ranges {
    /// Length, mm.
    pub const LENGTH: (f64, f64) = (20.0, 5000.0);
    /// Width, mm.
    pub const WIDTH: (f64, f64) = (5.0, 2000.0);
    /// Height, mm.
    pub const HEIGHT: (f64, f64) = (1.0, 1000.0);
    /// A place on the axis, mm.
    pub const PLACE: (f64, f64) = (0.0, 5000.0);
    /// Power, W.
    pub const WATTS: (f64, f64) = (0.01, 1000.0);
    /// What brood bears or wants, °C.
    pub const BROOD: (f64, f64) = (-20.0, 60.0);
    /// What a material bears, °C.
    pub const MATERIAL: (f64, f64) = (25.0, 200.0);
    /// A room, °C.
    pub const ROOM: (f64, f64) = (-20.0, 50.0);
    /// A day's swing, K.
    pub const SWING: (f64, f64) = (0.0, 30.0);
    /// A covered face, W m⁻² K⁻¹.
    pub const COVERED: (f64, f64) = (0.5, 3.0);
    /// A share, %.
    pub const SHARE: (f64, f64) = (1.0, 90.0);
}

/// Reads one field after the other and keeps every complaint.
struct Reading {
    by: Writer,
    complaints: Vec<String>,
}

impl Reading {
    /// `Some(None)` is written as not known; `None` is not written, or wrong and complained about.
    fn number(&mut self, part: &str, text: Option<&String>, (least, most): (f64, f64)) -> Option<Option<f64>> {
        let text = text?.trim();
        if text.is_empty() {
            return Some(None);
        }
        let shown: String = text.chars().take(REPEATED).filter(|c| !c.is_control()).collect();
        match text.replace(',', ".").parse::<f64>() {
            Ok(v) if (least..=most).contains(&v) => Some(Some(v)),
            Ok(_) => {
                let (least, most) = (least.to_string(), most.to_string());
                self.complain(say!(
                    "plans-read-range",
                    flag = self.by.name(part),
                    shown = shown,
                    least = least,
                    most = most
                ))
            }
            Err(_) => self.complain(say!("plans-read-number", flag = self.by.name(part), shown = shown)),
        }
    }

    fn complain<T>(&mut self, why: String) -> Option<T> {
        self.complaints.push(why);
        None
    }

    fn word<T>(
        &mut self,
        part: &str,
        text: Option<&String>,
        known: &[&str],
        meant: impl Fn(&str) -> Option<T>,
    ) -> Option<Option<T>> {
        let text = text?.trim();
        if text.is_empty() {
            return Some(None);
        }
        let shown: String = text.chars().take(REPEATED).filter(|c| !c.is_control()).collect();
        match meant(text) {
            Some(meant) => Some(Some(meant)),
            None => {
                let known = list(known.iter().map(|word| (*word).to_owned()));
                self.complain(say!("plans-read-word", flag = self.by.name(part), shown = shown, known = known))
            }
        }
    }
}

/// Words for what lies over the galleries.
pub const COVERS: [&str; 4] = ["open", "glass", "acrylic", "lid"];
/// Words for where a mat lies.
pub const PLACES: [&str; 4] = ["under", "beside", "lid", "inside"];

fn cover(word: &str) -> Option<Cover> {
    Some(match word {
        "open" => Cover::Open,
        "glass" => Cover::Glass,
        "acrylic" => Cover::Acrylic,
        "lid" => Cover::Lid,
        _ => return None,
    })
}

fn place(word: &str) -> Option<PadPlace> {
    Some(match word {
        "under" => PadPlace::Under,
        "beside" => PadPlace::Beside,
        "lid" => PadPlace::Lid,
        "inside" => PadPlace::Inside,
        _ => return None,
    })
}

/// Reads `wish`, over what the shelf file says of a nest, if it names one.
///
/// # Errors
/// Every complaint: what was read, why it does not do, what would.
pub fn read(wish: &Wish, listed: Option<&Nest>, by: Writer) -> Result<Asked, Vec<String>> {
    let mut r = Reading { by, complaints: Vec::new() };
    let nest = body(wish, listed, &mut r);
    let room_c = r.number("room", wish.room.as_ref(), ranges::ROOM).flatten().unwrap_or(ROOM_C);
    let swing_k = r.number("swing", wish.swing.as_ref(), ranges::SWING).flatten().unwrap_or(SWING_K);
    let warm = r.number("warm_room", wish.warm_room.as_ref(), ranges::ROOM).flatten();
    let warm_c = warm.unwrap_or_else(|| WARM_ROOM_C.max(room_c + 0.5 * swing_k));
    if warm_c < room_c {
        let (warm, room) = (warm_c.to_string(), room_c.to_string());
        r.complaints.push(say!("plans-read-warm-room", flag = by.name("warm_room"), warm = warm, room = room));
    }
    let band = listed.and_then(|n| n.band);
    let given = |read: Option<Option<f64>>, file: Option<f64>| read.unwrap_or(file);
    let limit_c = given(r.number("limit", wish.limit.as_ref(), ranges::BROOD), band.map(|b| b.limit_c));
    let material = r.number("material_limit", wish.material_limit.as_ref(), ranges::MATERIAL);
    let material_limit_c = given(material, listed.and_then(|n| n.material_limit_c));
    let middle = band.map(|b| f64::midpoint(b.low_c, b.high_c));
    let held_c = given(r.number("hold", wish.hold.as_ref(), ranges::BROOD), middle);
    let covered = r.number("covered", wish.covered.as_ref(), ranges::COVERED).flatten();
    let share = r.number("share", wish.share.as_ref(), ranges::SHARE).flatten();
    let nest = nest.map(|mut nest| {
        if wish.hold.as_ref().is_some_and(|text| !text.trim().is_empty()) {
            // Who says what is to be held does not mean the thermostat in the file.
            nest.pads.iter_mut().for_each(|p| p.thermostat_c = None);
        }
        nest
    });
    match nest {
        Some(nest) if r.complaints.is_empty() => Ok(Asked {
            by,
            material: name_of_material(&nest.material),
            nest,
            listed: listed.is_some(),
            room: Room { usual_c: room_c, swing_k, warm_c },
            limit_c,
            material_limit_c,
            held_c,
            cover_w_m2k: covered.unwrap_or(COVERED_W_M2K),
            share: share.map_or(SHARE, |percent| percent / 100.0),
        }),
        _ => Err(r.complaints),
    }
}

/// The nest itself; `None` only with a complaint.
fn body(wish: &Wish, listed: Option<&Nest>, r: &mut Reading) -> Option<Nest> {
    let length = r.number("length", wish.length.as_ref(), ranges::LENGTH).flatten().or(listed.map(|n| n.length_mm));
    let width = r.number("width", wish.width.as_ref(), ranges::WIDTH);
    let height = r.number("height", wish.height.as_ref(), ranges::HEIGHT);
    let names = material_names();
    let material = r.word("material", wish.material.as_ref(), &names, known_material);
    let cover = r.word("cover", wish.cover.as_ref(), &COVERS, cover);
    let brood =
        stretch("brood", (wish.brood_from.as_ref(), wish.brood_to.as_ref()), (listed.and_then(|n| n.brood), length), r);
    let pads = pads(wish, listed, length, r);
    let Some(length_mm) = length else {
        if wish.length.as_ref().is_none_or(|text| text.trim().is_empty()) {
            r.complaints.push(say!("plans-read-length"));
        }
        return None;
    };
    Some(Nest {
        length_mm,
        width_mm: width.unwrap_or(listed.and_then(|n| n.width_mm)),
        height_mm: height.unwrap_or(listed.and_then(|n| n.height_mm)),
        material: material.flatten().or(listed.map(|n| n.material)).unwrap_or(UNNAMED_MATERIAL),
        cover: cover.unwrap_or(listed.and_then(|n| n.cover)),
        brood,
        pads: pads?,
        id: listed.map_or_else(|| NAMELESS.to_owned(), |n| n.id.clone()),
        kind: listed.map_or(NestKind::Nest, |n| n.kind),
        joined_to: None,
        material_limit_c: listed.and_then(|n| n.material_limit_c),
        band: listed.and_then(|n| n.band),
        humidity_pct: None,
        probes: Vec::new(),
        room: None,
        seasons: Vec::new(),
        since: None,
        degree_days_above_c: None,
    })
}

/// A stretch of which both ends are written, one of them, or none.
fn stretch(
    what: &str,
    (from, to): (Option<&String>, Option<&String>),
    (file, length_mm): (Option<Stretch>, Option<f64>),
    r: &mut Reading,
) -> Option<Stretch> {
    let given = |read: Option<Option<f64>>, file: Option<f64>| read.unwrap_or(file);
    let from_mm = given(r.number(&format!("{what}_from"), from, ranges::PLACE), file.map(|s| s.from_mm));
    let to_mm = given(r.number(&format!("{what}_to"), to, ranges::PLACE), file.map(|s| s.to_mm));
    let (from_mm, to_mm) = match (from_mm, to_mm) {
        (Some(from), Some(to)) => (from, to),
        (None, None) => return None,
        _ => {
            let (from, to) = (r.by.name(&format!("{what}_from")), r.by.name(&format!("{what}_to")));
            return r.complain(say!("plans-read-one-end", what = what, from = from, to = to));
        }
    };
    if from_mm >= to_mm {
        let (from, to) = (from_mm.to_string(), to_mm.to_string());
        return r.complain(say!("plans-read-ends", what = what, from = from, to = to));
    }
    if let Some(length_mm) = length_mm.filter(|l| *l < to_mm) {
        let (to, length) = (to_mm.to_string(), length_mm.to_string());
        return r.complain(say!("plans-read-beyond", what = what, to = to, length = length));
    }
    Some(Stretch { from_mm, to_mm })
}

fn pads(wish: &Wish, listed: Option<&Nest>, length: Option<f64>, r: &mut Reading) -> Option<Vec<Pad>> {
    let written = [&wish.pad_from, &wish.pad_to, &wish.watts, &wish.place].into_iter().any(Option::is_some);
    let file: &[Pad] = listed.map_or(&[], |n| &n.pads);
    if !written && !file.is_empty() {
        return Some(file.to_vec());
    }
    if file.len() > 1 {
        return r.complain(say!("plans-read-mats", count = file.len()));
    }
    let one = file.first();
    let before = r.complaints.len();
    let ends = (wish.pad_from.as_ref(), wish.pad_to.as_ref());
    let span = stretch("pad", ends, (one.map(|p| p.span), length), r);
    let watts = r.number("watts", wish.watts.as_ref(), ranges::WATTS).unwrap_or(one.map(|p| p.rated_w));
    let place = r.word("where", wish.place.as_ref(), &PLACES, place).flatten();
    let (Some(span), Some(rated_w)) = (span, watts) else {
        if r.complaints.len() == before {
            let name = |part| r.by.name(part);
            let (from, to, watts) = (name("pad_from"), name("pad_to"), name("watts"));
            r.complaints.push(say!("plans-read-mat", from = from, to = to, watts = watts));
        }
        return None;
    };
    let place = place.unwrap_or(one.map_or(PadPlace::Under, |p| p.place));
    let own = one.cloned().unwrap_or(Pad {
        id: None,
        span,
        rated_w,
        drive: None,
        thermostat_c: None,
        thermostat_at_mm: None,
        place,
    });
    Some(vec![Pad { span, rated_w, place, ..own }])
}

#[cfg(test)]
mod tests;
