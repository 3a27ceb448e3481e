//! The words for what an alarm rests on: what the core says in figures, as a keeper reads it.
mod damp;

use crate::times::length;
use crate::views::words::listed;
use dashboards::say;
use enclosure::evidence::{Ahead, Aside, Eyes, Pad, Warmth};
use enclosure::trust::Fault;
use enclosure::{Alarm, Evidence, Saying, Span};

/// Odds beyond e to this, nats, are not told as a number: the model is not known so well.
const TOLD_NATS: f64 = 14.0;

/// What it says, sentence after sentence, in the language that holds here; nothing where it says nothing.
pub fn words(evidence: &Evidence) -> String {
    evidence.sayings().iter().map(saying).collect::<Vec<_>>().join(" ")
}

fn saying(saying: &Saying) -> String {
    match saying {
        Saying::Told(text) => text.clone(),
        Saying::Warmth(said) => warmth(*said),
        Saying::Ahead(said) => ahead(*said),
        Saying::Pad(said) => pad(*said),
        Saying::Eyes(said) => eyes(said),
        Saying::Moisture(said) => damp::moisture(*said),
        Saying::Aside(said) => aside(said),
    }
}

/// A figure with so many digits behind the point.
fn figure(value: f64, digits: usize) -> String {
    format!("{value:.digits$}")
}

/// A share as whole parts of a hundred.
fn percent(share: f64) -> String {
    figure(100.0 * share, 0)
}

fn warmth(said: Warmth) -> String {
    let c = |c: f64| figure(c, 1);
    match said {
        Warmth::BroodMean { hot, mean_c, off_k, bound_c } => {
            let (mean, off, bound) = (c(mean_c), c(off_k), c(bound_c));
            match (hot, if hot { mean_c > bound_c } else { mean_c < bound_c }) {
                (true, true) => say!("evidence-brood-above", mean = mean, off = off, bound = bound),
                (false, true) => say!("evidence-brood-below", mean = mean, off = off, bound = bound),
                (true, false) => say!("evidence-brood-not-above", mean = mean, off = off, bound = bound),
                (false, false) => say!("evidence-brood-not-below", mean = mean, off = off, bound = bound),
            }
        }
        Warmth::BroodProbeHot { probe_c, limit_c } => {
            say!("evidence-brood-probe-hot", probe = c(probe_c), limit = c(limit_c))
        }
        Warmth::BroodLimit { hottest_c, off_k, limit_c } => {
            let (hottest, off, limit) = (c(hottest_c), c(off_k), c(limit_c));
            if hottest_c > limit_c {
                say!("evidence-brood-above-limit", hottest = hottest, off = off, limit = limit)
            } else {
                say!("evidence-brood-below-limit", hottest = hottest, off = off, limit = limit)
            }
        }
        Warmth::ProbeHot { probe_c, limit_c } => say!("evidence-probe-hot", probe = c(probe_c), limit = c(limit_c)),
        Warmth::RoomMoved { from_c, to_c, within } => {
            let (from, to, within) = (c(from_c), c(to_c), length(within));
            if to_c < from_c {
                say!("evidence-room-fell", from = from, to = to, within = within)
            } else {
                say!("evidence-room-rose", from = from, to = to, within = within)
            }
        }
        Warmth::Apart { apart_k, heat, lasts: Some(lasts) } => {
            say!("evidence-apart-too-little", apart = c(apart_k), lasts = length(lasts), heat = percent(heat))
        }
        Warmth::Apart { apart_k, heat, lasts: None } => {
            say!("evidence-apart", apart = c(apart_k), heat = percent(heat))
        }
        Warmth::AtRest { nest_c, band_c: Some((low_c, high_c)), lasts: Some(lasts) } => {
            let lasts = length(lasts);
            say!("evidence-rest-outside", low = c(low_c), high = c(high_c), nest = c(nest_c), lasts = lasts)
        }
        Warmth::AtRest { nest_c, band_c: None, lasts: Some(lasts) } => {
            say!("evidence-rest-freezes", nest = c(nest_c), lasts = length(lasts))
        }
        Warmth::AtRest { nest_c, lasts: None, .. } => say!("evidence-rest", nest = c(nest_c)),
    }
}

fn ahead(said: Ahead) -> String {
    match said {
        Ahead::Leaving { hot, bound_c, about, from, to, extreme_c, off_k, probability } => {
            let (bound, extreme, off) = (figure(bound_c, 1), figure(extreme_c, 1), figure(off_k, 1));
            let (about, soonest) = (hours(about), hours(from));
            let range = match to.map(hours) {
                Some(latest) if latest != soonest => say!("evidence-range", soonest = soonest, latest = latest),
                Some(_) => say!("evidence-range-half-an-hour"),
                None => say!("evidence-range-open", soonest = soonest),
            };
            // Nothing is certain that has not happened.
            let sure = percent(probability.min(0.99));
            say!(
                "evidence-leaves",
                side = if hot { "above" } else { "below" },
                bound = bound,
                about = about,
                range = range,
                extreme = extreme,
                off = off,
                sure = sure
            )
        }
        Ahead::RoomByThen { room_c, off_k } => {
            say!("evidence-room-then", room = figure(room_c, 1), off = figure(off_k, 1))
        }
        Ahead::Staying { bound_c } => say!("evidence-stays", bound = figure(bound_c, 1)),
    }
}

/// Whole hours; below two also the halves: a forecast knows no minutes.
fn hours(span: Span) -> String {
    match ((span.ms() + 900_000) / 1_800_000).max(1) {
        1 => say!("evidence-half-an-hour"),
        3 => say!("evidence-hour-and-a-half"),
        _ => say!("evidence-hours", hours = (span.ms() + 1_800_000) / 3_600_000),
    }
}

fn pad(said: Pad) -> String {
    let odds = |nats: f64| {
        if nats > TOLD_NATS {
            say!("evidence-odds-million")
        } else {
            // The model knows the order of it, and no more.
            let odds = nats.exp();
            let order = 10_f64.powf(odds.log10().floor());
            say!("evidence-odds", odds = figure((odds / order).round() * order, 0))
        }
    };
    match said {
        Pad::HeatsUntold { told: Some(told), lasts, nats } => {
            say!("evidence-heats-untold", told = percent(told), lasts = length(lasts), odds = odds(nats))
        }
        Pad::HeatsUntold { told: None, lasts, nats } => {
            say!("evidence-heats-unknown", lasts = length(lasts), odds = odds(nats))
        }
        Pad::HeatMissing { told: Some(told), lasts, nats } => {
            say!("evidence-heat-missing", told = percent(told), lasts = length(lasts), odds = odds(nats))
        }
        Pad::HeatMissing { told: None, lasts, nats } => {
            say!("evidence-heat-missing-unknown", lasts = length(lasts), odds = odds(nats))
        }
        Pad::NeverLetsGo { lasts, now_c, warmest_c } => {
            let (now, warmest) = (figure(now_c, 1), figure(warmest_c, 1));
            say!("evidence-never-lets-go", lasts = length(lasts), now = now, warmest = warmest)
        }
        Pad::NeverComesOn { lasts, now_c, coolest_c } => {
            let (now, coolest) = (figure(now_c, 1), figure(coolest_c, 1));
            say!("evidence-never-comes-on", lasts = length(lasts), now = now, coolest = coolest)
        }
        Pad::Stopped { lasts } => say!("evidence-stopped", lasts = length(lasts)),
        Pad::OutOfHours { lasts } => say!("evidence-out-of-hours", lasts = length(lasts)),
        Pad::HeatsAsTold => say!("evidence-heats-as-told"),
    }
}

fn eyes(said: &Eyes) -> String {
    match said {
        Eyes::ProbeSilent { last: Some((ago, c)) } => {
            say!("evidence-probe-silent", lasts = length(*ago), probe = figure(*c, 1))
        }
        Eyes::ProbeSilent { last: None } => say!("evidence-probe-never"),
        Eyes::ProbeHeard { probe_c } => say!("evidence-probe-heard", probe = figure(*probe_c, 1)),
        Eyes::ProbeDoubted(Fault::Frozen) => say!("evidence-probe-frozen"),
        Eyes::ProbeDoubted(Fault::FallenOff) => say!("evidence-probe-fallen-off"),
        Eyes::ProbeDoubted(Fault::Jumping) => say!("evidence-probe-jumping"),
        Eyes::ProbeDoubted(Fault::Astray) => say!("evidence-probe-astray"),
        Eyes::ProbeFits => say!("evidence-probe-fits"),
        Eyes::Unseen { last: Some(ago) } => say!("evidence-unseen", lasts = length(*ago)),
        Eyes::Unseen { last: None } => say!("evidence-never-seen"),
        Eyes::SeenAgain => say!("evidence-seen-again"),
        Eyes::AllSilent => say!("evidence-all-silent"),
        Eyes::NodesHeard => say!("evidence-nodes-heard"),
        Eyes::NodeSilent { last: Some(ago) } => say!("evidence-node-silent", lasts = length(*ago)),
        Eyes::NodeSilent { last: None } => say!("evidence-node-never"),
        Eyes::NodeHeard => say!("evidence-node-heard"),
        Eyes::Unwatched { lasts, why: Some(why) } => say!("evidence-unwatched", lasts = length(*lasts), why = why),
        Eyes::Unwatched { lasts, why: None } => say!("evidence-unheard", lasts = length(*lasts)),
        Eyes::Meanwhile { nest, before_c, after_c, below_c } => {
            let (before, after) = (figure(*before_c, 1), figure(*after_c, 1));
            match below_c.map(|c| figure(c, 1)) {
                Some(low) => {
                    say!("evidence-meanwhile-below", nest = nest, before = before, after = after, low = low)
                }
                None => say!("evidence-meanwhile", nest = nest, before = before, after = after),
            }
        }
        Eyes::WatchedAgain => say!("evidence-watched-again"),
    }
}

fn aside(said: &Aside) -> String {
    match said {
        Aside::InSeason => say!("evidence-in-season"),
        Aside::Chatters { times } => say!("evidence-chatters", times = *times),
        Aside::Flood { came, standing } => say!("evidence-flood", came = *came, standing = list(standing)),
        Aside::FloodOver { held, standing } => say!("evidence-flood-over", held = *held, standing = list(standing)),
        Aside::WorseBy(alarm) => say!("evidence-worse", alarm = alarm.name()),
    }
}

/// `brood-cold 3, probe-silent 7`.
fn list(standing: &[(Alarm, usize)]) -> String {
    let one = |(alarm, count): &(Alarm, usize)| say!("evidence-standing", alarm = alarm.name(), count = *count);
    listed(standing.iter().map(one))
}

#[cfg(test)]
pub(crate) mod samples;
#[cfg(test)]
mod tests;
