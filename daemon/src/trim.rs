//! `warmend trim`: what a probe is off by, from what it said while it lay in ice, over a salt, or beside a neighbour.
use crate::history::Reader;
use crate::shelf_file::ShelfFile;
use crate::times::{self, Moment, length, rfc3339};
use crate::wrong_call::WrongCall;
use anyhow::{Context as _, anyhow, bail};
use clap::Args;
use enclosure::reading::Measured;
use enclosure::shelf::Probe;
use enclosure::trim::{
    ICE_SD_K, LASTS_LEAST, NEIGHBOUR_SD_K, NEIGHBOUR_SD_PCT, OFFSET_MOST_K, OFFSET_MOST_PCT, READINGS_LEAST, Salt,
    Trim, Untrimmed, neighbour, trim,
};
use enclosure::{Span, Timestamp};
use std::io::Write as _;
use std::ops::Range;

/// Readings taken from history at most: a day of one a second.
const READINGS_MAX: usize = 86_400;
/// It may still move by this much, K and %RH.
const MOST_DRIFT: (f64, f64) = (0.1, 1.0);
/// A salt's humidity is known between these, °C.
const SALT_C: (f64, f64) = (15.0, 35.0);
/// A probe's temperature this close to its humidity belongs to it.
const TOGETHER: Span = Span::from_min(2);
/// Half-width of a 90 % interval, in standard deviations.
const SIGMAS_90: f64 = 1.645;
/// Between water and what is plugged in.
const CAUTION: &str = "Keep the node, its supply and everything that is plugged into the mains dry and away from the \
water.";

/// `trim …`
#[derive(Debug, Args)]
pub struct TrimArgs {
    /// The probe, as the shelf file names it: node:sensor
    #[arg(value_name = "SOURCE")]
    pub probe: String,
    /// Where it lay: `ice` (crushed ice in a little clean water), the closed air over a wet salt (`NaCl`, `MgCl2`,
    /// `LiCl`, `KCl`, `K2SO4`), or beside another probe (its node:sensor)
    #[arg(long, value_name = "ice|SALT|SOURCE", value_parser = reference)]
    pub against: Reference,
    /// Since when it lay there, settled: RFC 3339, or a span back from now
    #[arg(long, value_name = "TIME", default_value = "20m", value_parser = times::moment)]
    pub from: Moment,
    /// Until when (default: now)
    #[arg(long, value_name = "TIME", value_parser = times::moment)]
    pub to: Option<Moment>,
}

/// What a probe is held against.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reference {
    /// Melting ice.
    Ice,
    /// The air over a saturated solution.
    Salt(Salt),
    /// Another probe at the same place.
    Neighbour(String),
}

fn reference(text: &str) -> Result<Reference, String> {
    if text.eq_ignore_ascii_case("ice") {
        return Ok(Reference::Ice);
    }
    if let Some(salt) = Salt::ALL.into_iter().find(|s| s.name().eq_ignore_ascii_case(text)) {
        return Ok(Reference::Salt(salt));
    }
    if text.contains(':') {
        return Ok(Reference::Neighbour(text.to_owned()));
    }
    let salts = Salt::ALL.map(Salt::name).join(", ");
    Err(format!("it is neither `ice`, nor a salt ({salts}), nor a probe's node:sensor"))
}

/// What the probe said, in the order of time.
struct Said {
    temperature_c: Vec<(Timestamp, f64)>,
    humidity_pct: Vec<(Timestamp, f64)>,
}

/// Does what `args` asks for.
///
/// # Errors
/// A [`WrongCall`]; history that is missing; readings that tell no offset, why, and what to do.
pub fn tell(args: &TrimArgs, file: &ShelfFile, now: Timestamp) -> anyhow::Result<()> {
    let text = text(args, file, now)?;
    std::io::stdout().lock().write_all(text.as_bytes()).context("printing what was found")
}

fn text(args: &TrimArgs, file: &ShelfFile, now: Timestamp) -> anyhow::Result<String> {
    let probe = known_probe(&args.probe, file)?;
    let span = args.from.from(now)..args.to.map_or(now, |to| to.from(now));
    if span.start >= span.end {
        bail!(WrongCall::Span { from: rfc3339(span.start), to: rfc3339(span.end) });
    }
    let reader = Reader::open(&file.history.path)?;
    let said = said(&reader, &args.probe, span.clone())?;
    let text = match &args.against {
        Reference::Ice => in_ice(args, probe, &said),
        Reference::Salt(salt) => over_salt(args, probe, *salt, &said),
        Reference::Neighbour(other) => {
            let other_probe = known_probe(other, file)?;
            if other == &args.probe {
                bail!(WrongCall::Probe { asked: other.clone(), known: "any probe but the same one".to_owned() });
            }
            beside(args, probe, (other, other_probe), &said, &self::said(&reader, other, span)?)
        }
    };
    text.with_context(|| format!("finding what {} is off by", args.probe))
}

/// The probe of that source in some nest; `None` for one that stands in a room.
fn known_probe<'a>(source: &str, file: &'a ShelfFile) -> Result<Option<&'a Probe>, WrongCall> {
    let nests = &file.shelf.nests;
    let probe = nests.iter().flat_map(|n| &n.probes).find(|p| p.source == source);
    if probe.is_some() || nests.iter().any(|n| n.room.as_deref() == Some(source)) {
        return Ok(probe);
    }
    let mut known: Vec<&str> = nests.iter().flat_map(|n| &n.probes).map(|p| p.source.as_str()).collect();
    known.extend(nests.iter().filter_map(|n| n.room.as_deref()));
    known.dedup();
    Err(WrongCall::Probe { asked: source.to_owned(), known: known.join(", ") })
}

/// What history holds of it, refused readings included: a bath of ice is no nest's weather.
fn said(reader: &Reader, source: &str, span: Range<Timestamp>) -> anyhow::Result<Said> {
    let mut said = Said { temperature_c: Vec::new(), humidity_pct: Vec::new() };
    let mut left = 2 * READINGS_MAX;
    reader.each_reading(Some(&[source]), span, |reading| {
        left = left.saturating_sub(1);
        match reading.measured {
            _ if left == 0 => {}
            Measured::Temperature(c) => said.temperature_c.push((reading.at, c)),
            Measured::Humidity(rh) => said.humidity_pct.push((reading.at, rh)),
            Measured::Duty(_) | Measured::On(_) | Measured::Power(_) => {}
        }
    })?;
    if left == 0 {
        bail!("it said more than {} readings in that time; take a later --from", 2 * READINGS_MAX);
    }
    Ok(said)
}

fn in_ice(args: &TrimArgs, probe: Option<&Probe>, said: &Said) -> anyhow::Result<String> {
    let found = trim(&said.temperature_c, |_| Some(0.0), ICE_SD_K, MOST_DRIFT.0)
        .map_err(|why| untold(why, Unit::Kelvin, "0.0 °C of melting ice"))?;
    let where_ = format!("in ice and water, 0.00 °C (ice from clean water, packed, stirred). {CAUTION}");
    Ok(told(args, (probe, Unit::Kelvin), &found, &where_))
}

fn over_salt(args: &TrimArgs, probe: Option<&Probe>, salt: Salt, said: &Said) -> anyhow::Result<String> {
    let warmth = |at: Timestamp| {
        let after = said.temperature_c.partition_point(|(t, _)| *t < at);
        let near = [after.checked_sub(1), Some(after)].into_iter().flatten().filter_map(|i| said.temperature_c.get(i));
        near.min_by_key(|(t, _)| t.since(at).ms().abs()).filter(|(t, _)| t.since(at).ms().abs() <= TOGETHER.ms())
    };
    let right = |at: Timestamp| {
        let c = warmth(at)?.1;
        (SALT_C.0..=SALT_C.1).contains(&c).then(|| salt.rh_pct(c))
    };
    let (low, high) = SALT_C;
    let against = format!("{} at its own temperature of {low} to {high} °C", salt.name());
    let found = trim(&said.humidity_pct, right, salt.sd_pct(), MOST_DRIFT.1)
        .map_err(|why| untold(why, Unit::Percent, &against))?;
    let where_ = format!(
        "in the closed air over wet {} (more salt than the water takes up; hours to settle). {CAUTION}",
        salt.name()
    );
    Ok(told(args, (probe, Unit::Percent), &found, &where_))
}

fn beside(
    args: &TrimArgs,
    probe: Option<&Probe>,
    (other, other_probe): (&str, Option<&Probe>),
    said: &Said,
    others: &Said,
) -> anyhow::Result<String> {
    let against = format!("what {other} said");
    let right = |series: &[(Timestamp, f64)], off: f64, at| neighbour(series, at).map(|v| v - off);
    let (off_k, off_pct) = other_probe.map_or((0.0, 0.0), |p| (p.offset_k, p.offset_pct));
    let warm = trim(&said.temperature_c, |at| right(&others.temperature_c, off_k, at), NEIGHBOUR_SD_K, MOST_DRIFT.0)
        .map_err(|why| untold(why, Unit::Kelvin, &against))?;
    let where_ = format!("beside {other}. That they agree makes neither of them right.");
    let mut text = told(args, (probe, Unit::Kelvin), &warm, &where_);
    let damp = trim(&said.humidity_pct, |at| right(&others.humidity_pct, off_pct, at), NEIGHBOUR_SD_PCT, MOST_DRIFT.1);
    match damp {
        Ok(damp) => text.push_str(&told(args, (probe, Unit::Percent), &damp, &where_)),
        // A pair of thermometers has nothing to say of damp.
        Err(Untrimmed::TooFew { readings: 0 }) => {}
        Err(why) => text.push_str(&format!("Of its humidity nothing: {}.\n", reason(why, Unit::Percent, &against))),
    }
    Ok(text)
}

/// In what an offset is told.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Unit {
    Kelvin,
    Percent,
}

impl Unit {
    fn amount(self, value: f64) -> String {
        match self {
            Self::Kelvin => format!("{value:.2} K"),
            Self::Percent => format!("{value:.1} %RH"),
        }
    }

    fn level(self, value: f64) -> String {
        match self {
            Self::Kelvin => format!("{value:.2} °C"),
            Self::Percent => format!("{value:.1} %RH"),
        }
    }

    fn too(self, offset: f64) -> &'static str {
        match (self, offset > 0.0) {
            (Self::Kelvin, true) => "too warm",
            (Self::Kelvin, false) => "too cool",
            (Self::Percent, true) => "too damp",
            (Self::Percent, false) => "too dry",
        }
    }
}

/// What was found, and the line for the shelf file.
fn told(args: &TrimArgs, (probe, unit): (Option<&Probe>, Unit), found: &Trim, where_: &str) -> String {
    let give_or_take = SIGMAS_90 * found.sd;
    let source = &args.probe;
    let mut text = format!(
        "{source} {where_}\nIt said {} on average ({} readings) where {} would be right: {} {}, give or take {} \
         (9 of 10 times).\n",
        unit.level(found.said),
        found.readings,
        unit.level(found.right),
        unit.amount(found.offset.abs()),
        unit.too(found.offset),
        unit.amount(give_or_take),
    );
    let (key, value) = match unit {
        Unit::Kelvin => ("offset_k", format!("{:.2}", found.offset)),
        Unit::Percent => ("offset_pct", format!("{:.1}", found.offset)),
    };
    let (had, most) = match unit {
        Unit::Kelvin => (probe.map_or(0.0, |p| p.offset_k), OFFSET_MOST_K),
        Unit::Percent => (probe.map_or(0.0, |p| p.offset_pct), OFFSET_MOST_PCT),
    };
    if found.offset.abs() > most {
        text.push_str(&format!(
            "That is more than {}, and no shelf file takes it: either it did not lie there all the time, or it is \
             broken.\n",
            unit.amount(most)
        ));
    } else if found.offset.abs() < give_or_take && had == 0.0 {
        text.push_str("That is no more than what it is known to: leave it as it is.\n");
    } else if probe.is_none() {
        text.push_str("It stands for a room, and a room's probe is not corrected: write the number on it.\n");
    } else {
        text.push_str(&format!(
            "To correct it, put this under its [[nest.probe]] in the shelf file, in place of any that is there; the \
             nest then learns anew, and history keeps what the probe itself said:\n{key} = {value}\n"
        ));
    }
    text
}

fn untold(why: Untrimmed, unit: Unit, against: &str) -> anyhow::Error {
    anyhow!("{}", reason(why, unit, against))
}

fn reason(why: Untrimmed, unit: Unit, against: &str) -> String {
    match why {
        Untrimmed::TooFew { readings } => format!(
            "history holds {readings} readings in that time that can be held against {against}, and {READINGS_LEAST} \
             are needed; wait, or take another --from"
        ),
        Untrimmed::TooShort { lasts } => format!(
            "its readings last {}, and {} are needed; wait, or take an earlier --from",
            length(lasts),
            length(LASTS_LEAST)
        ),
        Untrimmed::Unsteady { drift, most } => format!(
            "it has not come to rest: from the first to the last third it moved by {}, and {} are allowed; wait, or \
             take a later --from",
            unit.amount(drift),
            unit.amount(most)
        ),
    }
}

#[cfg(test)]
#[path = "trim_tests.rs"]
mod tests;
