//! A fit as JSON: what it says, and all that is needed to take it in again.
use super::text::{name, unit};
use crate::history::KeptFit;
use crate::pipeline::keeping::shape;
use anyhow::{Context as _, ensure};
use enclosure::Timestamp;
use enclosure::estimate::{Fit, FitReport, Known, NotTaken, Trial, Value, What};
use enclosure::shelf::Nest;
use serde::{Deserialize, Serialize};
use serde_json::{Value as Json, json};

/// The numbers of a fit.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FitJson {
    from_ms: i64,
    until_ms: i64,
    readings: u32,
    log: Vec<f64>,
    lag_s: Vec<f64>,
    mean: Vec<f64>,
    /// Lower triangle, row by row.
    covariance: Vec<f64>,
    drive: Vec<f64>,
    room_c: f64,
    error_k: f64,
    trial: Option<TrialJson>,
    heard_heat: bool,
    whole_day: bool,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct TrialJson {
    new_k: f64,
    in_force_k: f64,
    readings: u32,
}

/// Of what `--json` writes, what is read again.
#[derive(Debug, Deserialize)]
struct FileJson {
    nest: String,
    shape: String,
    fit: FitJson,
}

impl From<&Fit> for FitJson {
    fn from(f: &Fit) -> Self {
        Self {
            from_ms: f.from.unix_ms(),
            until_ms: f.until.unix_ms(),
            readings: f.readings,
            log: f.log.clone(),
            lag_s: f.lag_s.clone(),
            mean: f.mean.clone(),
            covariance: f.triangle.clone(),
            drive: f.drive.clone(),
            room_c: f.room_c,
            error_k: f.error_k,
            trial: f.trial.map(|t| TrialJson { new_k: t.new_k, in_force_k: t.in_force_k, readings: t.readings }),
            heard_heat: f.heard_heat,
            whole_day: f.whole_day,
        }
    }
}

impl From<FitJson> for Fit {
    fn from(f: FitJson) -> Self {
        Self {
            from: Timestamp::from_unix_ms(f.from_ms),
            until: Timestamp::from_unix_ms(f.until_ms),
            readings: f.readings,
            log: f.log,
            lag_s: f.lag_s,
            mean: f.mean,
            triangle: f.covariance,
            drive: f.drive,
            room_c: f.room_c,
            error_k: f.error_k,
            trial: f.trial.map(|t| Trial { new_k: t.new_k, in_force_k: t.in_force_k, readings: t.readings }),
            heard_heat: f.heard_heat,
            whole_day: f.whole_day,
        }
    }
}

/// All that a fit says.
pub(super) fn learned(nest: &Nest, fit: &Fit, report: &FitReport, refused: Option<(Timestamp, NotTaken)>) -> Json {
    let known = |k: &Known| {
        json!({
            "what": id(k.what), "probe": probe(k.what, nest), "name": name(k.what, nest), "unit": unit(k.what),
            "prior": value(k.prior), "learned": value(k.learned), "left": k.left, "told": k.is_told(),
        })
    };
    let named = |what: What| json!({ "what": id(what), "probe": probe(what, nest) });
    let pairs = report.pairs.iter().map(|p| json!({ "of": [named(p.a), named(p.b)], "correlation": p.correlation }));
    let place = |c: &enclosure::estimate::Candidate| json!({ "at_mm": c.at_mm, "brood_sd_k": c.brood_sd_k });
    json!({
        "nest": nest.id, "shape": shape(nest),
        "from": fit.from.unix_s(), "until": fit.until.unix_s(), "readings": fit.readings, "error_k": fit.error_k,
        "refused": refused.map(|(at, why)| json!({ "t": at.unix_s(), "why": why.name() })),
        "known": report.known.iter().map(known).collect::<Vec<_>>(),
        "only_together": pairs.collect::<Vec<_>>(),
        "brood_sd_k": report.brood_sd_k,
        "one_more_probe": report.candidates.iter().map(place).collect::<Vec<_>>(),
        "best_place": report.best().as_ref().map(place),
        "fit": FitJson::from(fit),
    })
}

/// One entry of the list.
pub(super) fn entry(kept: &KeptFit) -> Json {
    let KeptFit { id, record, in_force } = kept;
    let fit = record.fit.as_ref();
    json!({
        "number": id, "nest": record.nest, "t": record.at.unix_s(), "in_force": in_force,
        "refused": record.refused.map(NotTaken::name),
        "from": fit.map(|f| f.from.unix_s()), "until": fit.map(|f| f.until.unix_s()),
        "readings": fit.map(|f| f.readings), "error_k": fit.map(|f| f.error_k),
        "hours_before_k": fit.and_then(|f| f.trial).map(|t| t.new_k),
        "hours_before_in_force_k": fit.and_then(|f| f.trial).map(|t| t.in_force_k),
    })
}

/// A fit of `nest` from what `--json` wrote.
pub(super) fn read(text: &str, nest: &Nest) -> anyhow::Result<Fit> {
    let file: FileJson =
        serde_json::from_str(text).context("it is not what `warmend fit --json` writes of one nest")?;
    ensure!(file.nest == nest.id, "it is a fit of {}, not of {}", file.nest, nest.id);
    ensure!(file.shape == shape(nest), "it is a fit of {} as it stood with other pads, probes or cover", nest.id);
    Ok(file.fit.into())
}

fn value(v: Value) -> Json {
    json!({ "value": v.value, "sd": v.sd, "low": v.low, "high": v.high })
}

const fn id(what: What) -> &'static str {
    match what {
        What::Conductivity => "conductivity",
        What::BaseLoss => "base-loss",
        What::GalleryLoss => "gallery-loss",
        What::BaseExchange => "base-exchange",
        What::GalleryExchange => "gallery-exchange",
        What::EndLoss => "end-loss",
        What::PadLag => "pad-lag",
        What::ContactLag => "contact-lag",
        What::PadHeat(_) => "pad-heat",
        What::Offset(_) => "probe-offset",
        What::Place(_) => "probe-place",
        What::ProbeLag(_) => "probe-lag",
        What::Air => "air",
        What::Colony => "colony",
    }
}

fn probe(what: What, nest: &Nest) -> Option<String> {
    match what {
        What::Offset(p) | What::Place(p) | What::ProbeLag(p) => nest.probes.get(p).map(|p| p.source.clone()),
        _ => None,
    }
}
