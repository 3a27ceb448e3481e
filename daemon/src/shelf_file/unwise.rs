//! What is legal but unwise: each with its reason and with what to do. Cautions, never a verdict that all is well.
use super::ShelfFile;
use super::findings::Findings;
use super::raw::{RawFile, RawMaterial};
use super::settings::{BrokerWay, NoticeWay, Recipient, Way};
use super::unwise_slow;
use super::unwise_web;
use crate::small_file;
use dashboards::say;
use enclosure::shelf::{Band, Nest, NestKind, Pad};
use std::io::ErrorKind;
use std::path::PathBuf;

/// Heat per area above which a mat is strong, W/m² (common practice, no source).
const STRONG_W_M2: f64 = 1000.0;

/// Loss of a small body to a room, one face, W m⁻² K⁻¹: convection 3 to 5 and radiation 5 to 6, the low end
/// (ISO 6946 surface resistances, horizontal: 7.7).
const LOSS_W_M2K: f64 = 8.0;

/// Width and height taken where none is written, mm.
const USUAL_WIDTH_MM: f64 = 100.0;
const USUAL_HEIGHT_MM: f64 = 20.0;

/// A room by day, °C, for rough estimates.
const USUAL_ROOM_C: f64 = 22.0;

/// How far from a mat or the brood a probe still tells of it, mm.
const NEAR_MM: f64 = 15.0;

/// Eggs of *Linepithema humile* all died at 32 °C constant (Abril, Oliveras & Gómez 2010, J. Insect Sci. 10:97).
const EGGS_FAILED_C: f64 = 32.0;

/// Some way below where an hour killed workers of four *Solenopsis* species, ~40 °C (M.S. thesis, Texas Tech 1982).
const LIMIT_HIGH_C: f64 = 37.0;

/// A mat that covers more than this part of a nest may leave no refuge (rule of thumb, no source).
const COVERED_PART: f64 = 0.7;

/// Decay lengths beyond which little of a mat's heat arrives: e⁻³ is 5 %.
const FAR_DECAYS: f64 = 3.0;

/// Largest file that another is named in, bytes; a users file is the largest of them.
const NAMED_MAX_BYTES: u64 = crate::broker::MAX_USERS_FILE_BYTES;

/// Notes all advice on a file without errors.
pub(super) fn advise(file: &ShelfFile, raw: &RawFile, f: &mut Findings) {
    if file.place.is_none() {
        f.advise("shelf.where", say!("unwise-where"), say!("unwise-where-do"));
    }
    for permit in file.permits.iter().filter(|permit| permit.signed) {
        f.advise(
            &format!("nest[{}].pad[{}].permit_key_file", permit.nest, permit.pad),
            say!("unwise-signed"),
            say!("unwise-signed-do"),
        );
    }
    if file.shelf.nests.is_empty() {
        f.advise("nest", say!("unwise-no-nest"), say!("unwise-no-nest-do"));
    }
    for (i, (nest, raw)) in file.shelf.nests.iter().zip(&raw.nest).enumerate() {
        let at = format!("nest[{i}]");
        absent(&at, nest, f);
        body(&at, raw.material.as_ref(), f);
        probes(&at, nest, f);
        if let Some(band) = &nest.band {
            survives(&format!("{at}.band"), band, f);
        }
        for (j, pad) in nest.pads.iter().enumerate() {
            heat(&format!("{at}.pad[{j}]"), nest, pad, f);
        }
        refuge(&at, nest, f);
        far_brood(&at, nest, f);
        unwise_slow::advise_nest(&at, nest, f);
    }
    unwise_slow::advise_alarms(&file.shelf.alarms, f);
    plugs(file, raw, f);
    services(file, f);
}

/// Alarms that a missing section takes away.
fn absent(at: &str, nest: &Nest, f: &mut Findings) {
    if nest.pads.is_empty() && nest.kind == NestKind::Nest {
        f.advise(&format!("{at}.pad"), say!("unwise-no-pad"), say!("unwise-no-pad-do"));
    }
    if nest.kind == NestKind::Arena {
        return;
    }
    if nest.brood.is_none() {
        f.advise(&format!("{at}.brood"), say!("unwise-no-brood"), say!("unwise-no-brood-do"));
    }
    if nest.band.is_none() {
        f.advise(&format!("{at}.band"), say!("unwise-no-band"), say!("unwise-no-band-do"));
    }
}

fn body(at: &str, material: Option<&RawMaterial>, f: &mut Findings) {
    if material.is_none() {
        f.advise(&format!("{at}.material"), say!("unwise-no-material"), say!("unwise-no-material-do"));
    }
}

fn probes(at: &str, nest: &Nest, f: &mut Findings) {
    let list = format!("{at}.probe");
    let near = |from: f64, to: f64| nest.probes.iter().any(|p| p.at_mm >= from - NEAR_MM && p.at_mm <= to + NEAR_MM);
    if nest.probes.len() == 1 && nest.kind == NestKind::Nest {
        f.advise(&list, say!("unwise-one-probe"), say!("unwise-one-probe-do"));
    }
    for (j, pad) in nest.pads.iter().enumerate() {
        if !near(pad.span.from_mm, pad.span.to_mm) {
            let why = say!("unwise-pad-unseen", mm = NEAR_MM.to_string());
            f.advise(&format!("{at}.pad[{j}]"), why, say!("unwise-pad-unseen-do"));
        }
    }
    if let Some(b) = nest.brood
        && !near(b.from_mm, b.to_mm)
    {
        let why = say!("unwise-brood-unseen", mm = NEAR_MM.to_string());
        f.advise(&format!("{at}.brood"), why, say!("unwise-brood-unseen-do"));
    }
    if nest.room.is_none() {
        f.advise(&format!("{at}.room"), say!("unwise-no-room"), say!("unwise-no-room-do"));
    }
}

fn survives(at: &str, band: &Band, f: &mut Findings) {
    if band.high_c >= EGGS_FAILED_C {
        let why = say!("unwise-high", value = band.high_c.to_string());
        f.advise(&format!("{at}.high_c"), why, say!("unwise-species-do"));
    }
    if band.limit_c >= LIMIT_HIGH_C {
        let why = say!("unwise-limit", value = band.limit_c.to_string());
        f.advise(&format!("{at}.limit_c"), why, say!("unwise-species-do"));
    }
    if band.hot_c > band.limit_c + 10.0 {
        let why = say!("unwise-hot", value = band.hot_c.to_string());
        f.advise(&format!("{at}.hot_c"), why, say!("shelf-hot-low-do"));
    }
}

/// The heat of a mat over its area, W/m².
fn heat_w_m2(nest: &Nest, pad: &Pad) -> f64 {
    pad.rated_w / (pad.span.length_mm() * nest.width_mm.unwrap_or(USUAL_WIDTH_MM)) * 1e6
}

fn heat(at: &str, nest: &Nest, pad: &Pad, f: &mut Findings) {
    let w_m2 = heat_w_m2(nest, pad);
    if w_m2 > STRONG_W_M2 {
        let (heat, rise) = (format!("{w_m2:.0}"), format!("{:.0}", w_m2 / (2.0 * LOSS_W_M2K)));
        let why = match nest.width_mm {
            Some(_) => say!("unwise-strong", heat = heat, rise = rise),
            None => say!("unwise-strong-assumed", heat = heat, rise = rise),
        };
        f.advise(&format!("{at}.watts"), why, say!("unwise-strong-do"));
    }
    if let (Some(set), Some(band)) = (pad.thermostat_c, &nest.band)
        && set > band.high_c
    {
        let why = say!("unwise-thermostat", value = set.to_string(), other = band.high_c.to_string());
        f.advise(&format!("{at}.thermostat_c"), why, say!("unwise-thermostat-do"));
    }
}

/// How far heat travels along a plate that loses it from both faces, mm: √(k t / 2h) (fin of thickness t, Incropera,
/// section 3.6).
fn decay_mm(nest: &Nest) -> f64 {
    let thickness_m = nest.height_mm.unwrap_or(USUAL_HEIGHT_MM) / 1000.0;
    (nest.material.conductivity_w_mk * thickness_m / (2.0 * LOSS_W_M2K)).sqrt() * 1000.0
}

fn refuge(at: &str, nest: &Nest, f: &mut Findings) {
    let Some(band) = nest.band.filter(|_| !nest.pads.is_empty() && nest.kind == NestKind::Nest) else { return };
    let part = covered_mm(nest) / nest.length_mm;
    if part > COVERED_PART {
        let why = say!("unwise-covered", part = format!("{:.0}", part * 100.0));
        f.advise(&format!("{at}.pad"), why, say!("unwise-covered-do"));
        return;
    }
    // A rough fin estimate: each mat's rise fades by e per decay length outside its span.
    let rise_k = |pad: &Pad, at_mm: f64| {
        let outside_mm = (pad.span.from_mm - at_mm).max(at_mm - pad.span.to_mm).max(0.0);
        let own_k = heat_w_m2(nest, pad) / (2.0 * LOSS_W_M2K);
        let rest_k = pad.thermostat_c.map_or(own_k, |c| own_k.min((c - USUAL_ROOM_C).max(0.0)));
        rest_k * (-outside_mm / decay_mm(nest)).exp()
    };
    let coolest_c = (0..=40)
        .map(|i| nest.length_mm * f64::from(i) / 40.0)
        .map(|x| USUAL_ROOM_C + nest.pads.iter().map(|p| rise_k(p, x)).sum::<f64>())
        .fold(f64::INFINITY, f64::min);
    if coolest_c > band.high_c {
        let why = say!("unwise-refuge", coolest = format!("{coolest_c:.0}"));
        f.advise(&format!("{at}.pad"), why, say!("unwise-refuge-do"));
    }
}

/// Length of the axis that any mat covers, mm.
fn covered_mm(nest: &Nest) -> f64 {
    let mut spans: Vec<_> = nest.pads.iter().map(|p| (p.span.from_mm, p.span.to_mm)).collect();
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let cover = |(end, sum): (f64, f64), (from, to): (f64, f64)| (end.max(to), sum + (to - from.max(end)).max(0.0));
    spans.into_iter().fold((0.0, 0.0), cover).1
}

fn far_brood(at: &str, nest: &Nest, f: &mut Findings) {
    let Some(brood) = nest.brood.filter(|_| !nest.pads.is_empty()) else { return };
    let gap = |p: &Pad| (brood.from_mm - p.span.to_mm).max(p.span.from_mm - brood.to_mm).max(0.0);
    let gap_mm = nest.pads.iter().map(gap).fold(f64::INFINITY, f64::min);
    if gap_mm > FAR_DECAYS * decay_mm(nest) {
        let why = say!("unwise-far-brood", mm = format!("{gap_mm:.0}"), decay = format!("{:.0}", decay_mm(nest)));
        f.advise(&format!("{at}.brood"), why, say!("unwise-far-brood-do"));
    }
}

fn plugs(file: &ShelfFile, raw: &RawFile, f: &mut Findings) {
    for p in &file.plugs {
        let shared = raw.nest.get(p.nest).and_then(|n| n.pad.get(p.pad)).is_some_and(|r| r.shared.is_some());
        if shared {
            continue;
        }
        let at = format!("nest[{}].pad[{}]", p.nest, p.pad);
        let pad = file.shelf.nests.get(p.nest).and_then(|n| n.pads.get(p.pad));
        if pad.is_some_and(|pad| pad.drive.is_none() && pad.thermostat_c.is_none()) {
            f.advise(&at, say!("unwise-untold"), say!("unwise-untold-do"));
        }
        if p.plug.is_none() {
            f.advise(&format!("{at}.plug"), say!("unwise-plug"), say!("unwise-plug-do"));
        }
        let cutoff = format!("{at}.cutoff");
        match p.cutoff {
            Some(true) => {}
            Some(false) => f.advise(&cutoff, say!("unwise-no-cutoff"), say!("unwise-no-cutoff-do")),
            None => f.advise(&cutoff, say!("unwise-cutoff-unknown"), say!("unwise-cutoff-unknown-do")),
        }
    }
}

fn services(file: &ShelfFile, f: &mut Findings) {
    if file.notices.iter().all(|n| n.way == Way::Log) {
        f.advise("notice", say!("unwise-log"), say!("unwise-log-do"));
    }
    ways(file, f);
    if let BrokerWay::Embedded { listen, .. } = &file.broker.way
        && !listen.ip().is_loopback()
    {
        f.advise("broker.embedded", say!("unwise-plain-broker"), say!("unwise-network-do"));
    }
    unwise_web::advise(&file.web, f);
    if file.influx.as_ref().is_some_and(|i| i.token_file.is_none()) {
        f.advise("influx.token_file", say!("unwise-token"), say!("unwise-token-do"));
    }
    let nests = &file.shelf.nests;
    for (i, m) in file.mappings.iter().enumerate() {
        let listed = |n: &Nest| {
            n.probes.iter().any(|p| p.source == m.source)
                || n.room.as_ref() == Some(&m.source)
                || n.pads.iter().any(|p| p.drive.as_ref() == Some(&m.source))
        };
        if !nests.iter().any(listed) {
            let why = say!("unwise-unlisted", text = &m.source);
            f.advise(&format!("mapping[{i}].source"), why, say!("unwise-unlisted-do"));
        }
        if m.topic.contains(['+', '#']) {
            f.advise(&format!("mapping[{i}].topic"), say!("unwise-many-topics"), say!("unwise-many-topics-do"));
        }
    }
}

/// What the ways out leave to be wished for.
fn ways(file: &ShelfFile, f: &mut Findings) {
    let carries = |n: &&NoticeWay| !matches!(n.way, Way::Log);
    if file.notices.iter().any(|n| carries(&n))
        && file.notices.iter().filter(carries).all(|n| matches!(n.way, Way::Mail { .. }))
    {
        f.advise("notice", say!("unwise-mail"), say!("unwise-mail-do"));
    }
    for (i, n) in file.notices.iter().enumerate() {
        if let Way::Mail { server, user: Some(_), .. } = &n.way
            && reqwest::Url::parse(server).is_ok_and(|u| u.host_str().is_some_and(unwise_web::is_loopback))
            && server.starts_with("smtp://")
        {
            f.advise(&format!("notice[{i}].server"), say!("unwise-plain-mail"), say!("unwise-plain-mail-do"));
        }
    }
    let bounded = |r: &Recipient| r.days.0.is_some() || r.days.1.is_some();
    if !file.recipients.is_empty() && file.recipients.iter().all(bounded) {
        f.advise("recipient", say!("unwise-days"), say!("unwise-days-do"));
    }
}

/// Notes the files that are named but not there, or of no use.
pub(super) fn missing_files(file: &ShelfFile, f: &mut Findings) {
    let mut named: Vec<(String, &PathBuf)> = Vec::new();
    match &file.broker.way {
        BrokerWay::Embedded { users_file, .. } => {
            named.extend(users_file.iter().map(|p| ("broker.users_file".to_owned(), p)));
        }
        BrokerWay::Outside { password_file, .. } => {
            named.extend(password_file.iter().map(|p| ("broker.password_file".to_owned(), p)));
        }
    }
    named.extend(unwise_web::files(&file.web));
    named.extend(file.influx.iter().flat_map(|i| &i.token_file).map(|p| ("influx.token_file".to_owned(), p)));
    for (i, n) in file.notices.iter().enumerate() {
        match &n.way {
            Way::Webhook { token_file, secret_file, .. } => {
                named.extend(token_file.iter().map(|p| (format!("notice[{i}].token_file"), p)));
                named.extend(secret_file.iter().map(|p| (format!("notice[{i}].secret_file"), p)));
            }
            Way::Mail { password_file, ca_file, .. } => {
                named.extend(password_file.iter().map(|p| (format!("notice[{i}].password_file"), p)));
                named.extend(ca_file.iter().map(|p| (format!("notice[{i}].ca_file"), p)));
            }
            Way::Log | Way::Command { .. } | Way::Mqtt { .. } => {}
        }
    }
    let keys = file.permits.iter().map(|p| (format!("nest[{}].pad[{}].permit_key_file", p.nest, p.pad), &p.key_file));
    named.extend(keys);
    for (key, path) in named {
        let shown = path.display().to_string();
        // Only what is secret is one word; of the rest whoever reads it says more.
        let is_secret = ["token_file", "secret_file", "password_file"].iter().any(|word| key.ends_with(word));
        match small_file::text(path, NAMED_MAX_BYTES) {
            Err(why) if why.kind() == ErrorKind::NotFound => {
                f.advise(&key, say!("unwise-no-file", path = shown), say!("unwise-no-file-do"));
            }
            Err(why) => {
                let why = say!("unwise-unread", path = shown, why = why.to_string());
                f.advise(&key, why, say!("unwise-unread-do"));
            }
            Ok(text) if is_secret && text.trim().is_empty() => {
                f.advise(&key, say!("unwise-empty", path = shown), say!("unwise-empty-do"));
            }
            Ok(_) => {}
        }
    }
    if let Some(directory) = file.history.path.parent().filter(|p| !p.as_os_str().is_empty() && !p.is_dir()) {
        let why = say!("unwise-no-directory", path = directory.display().to_string());
        f.advise("history.path", why, say!("unwise-no-directory-do"));
    }
}
