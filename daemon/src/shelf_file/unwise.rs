//! What is legal but unwise: each with its reason and with what to do. Cautions, never a verdict that all is well.
use super::ShelfFile;
use super::findings::Findings;
use super::raw::{RawFile, RawMaterial};
use super::settings::{BrokerWay, NoticeWay, Recipient, Way};
use super::unwise_slow;
use super::unwise_web;
use enclosure::shelf::{Band, Nest, NestKind, Pad};
use std::path::{Path, PathBuf};

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

/// Notes all advice on a file without errors.
pub(super) fn advise(file: &ShelfFile, raw: &RawFile, f: &mut Findings) {
    if file.place.is_none() {
        f.advise(
            "shelf.where",
            "is missing: a message cannot say where to run to",
            "write where = \"study, second board\"",
        );
    }
    for permit in file.permits.iter().filter(|permit| permit.signed) {
        f.advise(
            &format!("nest[{}].pad[{}].permit_key_file", permit.nest, permit.pad),
            "rests on signed packs alone: the broker binds nobody to the node's topics",
            "let the node sign its packs, as that in firmware/ does; or give the daemon's own broker a users_file",
        );
    }
    if file.shelf.nests.is_empty() {
        let why = "there is none: the daemon runs, judges nothing and tells nobody of anything";
        f.advise(
            "nest",
            why,
            "start it, and its page leads by the hand; or write a [[nest]] with id, length_mm and a [[nest.probe]]",
        );
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
    let missing = |f: &mut Findings, key: &str, without: &str, remedy: &str| {
        f.advise(&format!("{at}.{key}"), format!("is missing: {without}"), remedy);
    };
    if nest.pads.is_empty() && nest.kind == NestKind::Nest {
        let without = "heater-stuck-on, heater-no-heat and gradient-flat are absent for this nest";
        missing(f, "pad", without, "write [nest.pad], unless the nest is not heated");
    }
    if nest.kind == NestKind::Arena {
        return;
    }
    if nest.brood.is_none() {
        let without =
            "brood-cold, brood-hot, forecast-cold and forecast-hot are absent, and brood-limit has no place to judge";
        missing(f, "brood", without, "write [nest.brood] with from_mm and to_mm as soon as you see brood");
    }
    if nest.band.is_none() {
        let without = "no alarm but a guard of 40 °C judges its warmth";
        missing(
            f,
            "band",
            without,
            "write [nest.band] with low_c, high_c and limit_c for your species, and note their source",
        );
    }
}

fn body(at: &str, material: Option<&RawMaterial>, f: &mut Findings) {
    if material.is_none() {
        let why = "is missing: a hardwood is assumed, and the first estimates are the less certain for it";
        f.advise(&format!("{at}.material"), why, "name it, or give its own numbers");
    }
}

fn probes(at: &str, nest: &Nest, f: &mut Findings) {
    let list = format!("{at}.probe");
    let near = |from: f64, to: f64| nest.probes.iter().any(|p| p.at_mm >= from - NEAR_MM && p.at_mm <= to + NEAR_MM);
    if nest.probes.len() == 1 && nest.kind == NestKind::Nest {
        let why = "there is only one: if it fails or falls off, nothing contradicts it, and no gradient is seen";
        f.advise(&list, why, "add one at the other end");
    }
    for (j, pad) in nest.pads.iter().enumerate() {
        if !near(pad.span.from_mm, pad.span.to_mm) {
            let why = format!("no probe lies within {NEAR_MM} mm of this heating mat: a stuck one is noticed late");
            f.advise(&format!("{at}.pad[{j}]"), why, "put a probe over it");
        }
    }
    if let Some(b) = nest.brood
        && !near(b.from_mm, b.to_mm)
    {
        let why =
            format!("no probe lies within {NEAR_MM} mm of the brood place: its danger rests on an estimate alone");
        f.advise(&format!("{at}.brood"), why, "put a probe beside the brood");
    }
    if nest.room.is_none() {
        let why = "is missing: the room is inferred from the cool end, and a warm room and a failing probe look alike";
        f.advise(&format!("{at}.room"), why, "put one sensor in the room's shade, away from all nests");
    }
}

fn survives(at: &str, band: &Band, f: &mut Findings) {
    const OWN_SPECIES: &str =
        "species differ widely, and no number here is an authority: look yours up and note the source";
    if band.high_c >= EGGS_FAILED_C {
        let why = format!(
            "{} °C as a lasting warmth may be too much: of one species no egg survived 32 °C constant (Abril, Oliveras & \
             Gómez 2010, J. Insect Sci. 10:97)",
            band.high_c
        );
        f.advise(&format!("{at}.high_c"), why, OWN_SPECIES);
    }
    if band.limit_c >= LIMIT_HIGH_C {
        let why = format!(
            "{} °C leaves little time: an hour from about 40 °C on killed workers of four Solenopsis species (M.S. thesis, \
             Texas Tech University, 1982)",
            band.limit_c
        );
        f.advise(&format!("{at}.limit_c"), why, OWN_SPECIES);
    }
    if band.hot_c > band.limit_c + 10.0 {
        let why = format!(
            "{} °C is far above limit_c: a probe by the mat may pass what the brood survives unsaid",
            band.hot_c
        );
        f.advise(&format!("{at}.hot_c"), why, "leave it out: limit_c + 5 is taken");
    }
}

/// The heat of a mat over its area, W/m².
fn heat_w_m2(nest: &Nest, pad: &Pad) -> f64 {
    pad.rated_w / (pad.span.length_mm() * nest.width_mm.unwrap_or(USUAL_WIDTH_MM)) * 1e6
}

fn heat(at: &str, nest: &Nest, pad: &Pad, f: &mut Findings) {
    let w_m2 = heat_w_m2(nest, pad);
    if w_m2 > STRONG_W_M2 {
        let assumed = if nest.width_mm.is_none() { " (100 mm of width assumed)" } else { "" };
        let why = format!(
            "{w_m2:.0} W/m²{assumed} is strong for a nest: stuck on, a thin uncovered body would come to rest some {:.0} K \
             above the room, a covered one higher",
            w_m2 / (2.0 * LOSS_W_M2K)
        );
        f.advise(
            &format!("{at}.watts"),
            why,
            "take a weaker mat, so that stuck on is survivable; `warmend plan` reckons it",
        );
    }
    if let (Some(set), Some(band)) = (pad.thermostat_c, &nest.band)
        && set > band.high_c
    {
        let why = format!("{set} °C is above high_c, {} °C: the thermostat itself would drive brood-hot", band.high_c);
        f.advise(
            &format!("{at}.thermostat_c"),
            why,
            "lower the set point, or mend the band if the brood lies far from its sensor",
        );
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
        let why =
            format!("heating mats lie along {:.0} % of the nest: there may be no refuge from a hot one", part * 100.0);
        f.advise(&format!("{at}.pad"), why, "leave a third of the nest unheated, or use a shorter mat");
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
        let why =
            format!("with the heating on, no place may stay below high_c (roughly {coolest_c:.0} °C at the coolest)");
        f.advise(&format!("{at}.pad"), why, "use a shorter or weaker mat; `warmend plan` reckons it better");
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
        let why = format!(
            "lies {gap_mm:.0} mm from the nearest heating mat; in this body heat fades by e every {:.0} mm, so almost none \
             arrives",
            decay_mm(nest)
        );
        f.advise(&format!("{at}.brood"), why, "check the places, or move the mat");
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
            let why = "neither drive nor thermostat_c is written: what the mat was told is guessed, and stuck or dead is seen later";
            f.advise(&at, why, "let the node report the drive, or write the thermostat's set point");
        }
        if p.plug.is_none() {
            let why = "is missing: a message cannot say which plug to pull";
            f.advise(&format!("{at}.plug"), why, "write plug = \"left strip, second socket\"");
        }
        let cutoff = format!("{at}.cutoff");
        match p.cutoff {
            Some(true) => {}
            Some(false) => f.advise(
                &cutoff,
                "this heating mat has no thermal cut-off of its own: if its switch fails closed, nothing takes the heat away",
                "have one fitted that works without any software, chosen and wired by the label and local codes",
            ),
            None => f.advise(
                &cutoff,
                "is not known: has this heating mat an independent thermal cut-off?",
                "look at its label or ask its maker, then write cutoff = true or false; software is no such device",
            ),
        }
    }
}

fn services(file: &ShelfFile, f: &mut Findings) {
    if file.notices.iter().all(|n| n.way == Way::Log) {
        let why = "the log is the only way out: nobody is woken";
        f.advise(
            "notice",
            why,
            "add a [[notice]] that reaches you at night, then send yourself a test message with `warmend alarms`",
        );
    }
    ways(file, f);
    if let BrokerWay::Embedded { listen, .. } = &file.broker.way
        && !listen.ip().is_loopback()
    {
        let why = "passwords and readings cross the network unencrypted";
        f.advise("broker.embedded", why, "keep it to a network you trust");
    }
    unwise_web::advise(&file.web, f);
    if file.influx.as_ref().is_some_and(|i| i.token_file.is_none()) {
        f.advise(
            "influx.token_file",
            "is missing: most servers refuse writes without a token",
            "write one, readable by the daemon only",
        );
    }
    let nests = &file.shelf.nests;
    for (i, m) in file.mappings.iter().enumerate() {
        let listed = |n: &Nest| {
            n.probes.iter().any(|p| p.source == m.source)
                || n.room.as_ref() == Some(&m.source)
                || n.pads.iter().any(|p| p.drive.as_ref() == Some(&m.source))
        };
        if !nests.iter().any(listed) {
            let why = format!("no nest lists {}: its numbers are counted, not stored", m.source);
            f.advise(&format!("mapping[{i}].source"), why, "list it as a probe, a room or a drive");
        }
        if m.topic.contains(['+', '#']) {
            let why = "matches many topics for one source: several sensors would be mixed";
            f.advise(&format!("mapping[{i}].topic"), why, "write one mapping for each sensor");
        }
    }
}

/// What the ways out leave to be wished for.
fn ways(file: &ShelfFile, f: &mut Findings) {
    let carries = |n: &&NoticeWay| !matches!(n.way, Way::Log);
    if file.notices.iter().any(|n| carries(&n))
        && file.notices.iter().filter(carries).all(|n| matches!(n.way, Way::Mail { .. }))
    {
        let why = "mail alone carries danger: mail is silent at night, and may come late or land among the unwanted";
        f.advise(
            "notice",
            why,
            "add a webhook or command that rings a telephone, and prove it with `warmend alarms test`",
        );
    }
    for (i, n) in file.notices.iter().enumerate() {
        if let Way::Mail { server, user: Some(_), .. } = &n.way
            && reqwest::Url::parse(server).is_ok_and(|u| u.host_str().is_some_and(unwise_web::is_loopback))
            && server.starts_with("smtp://")
        {
            let why = "a server on this machine is spoken to without TLS: the password passes unencrypted";
            f.advise(&format!("notice[{i}].server"), why, "write smtps://, or leave user and password_file out");
        }
    }
    let bounded = |r: &Recipient| r.days.0.is_some() || r.days.1.is_some();
    if !file.recipients.is_empty() && file.recipients.iter().all(bounded) {
        let why = "every recipient has a first or last day: on other days all of them are told";
        f.advise("recipient", why, "leave one without from and until");
    }
}

/// Notes the files that are named but not there.
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
    for (key, path) in named.into_iter().filter(|(_, p)| !Path::exists(p)) {
        f.advise(&key, format!("there is no file {}", path.display()), "create it, readable by the daemon only");
    }
    if let Some(directory) = file.history.path.parent().filter(|p| !p.as_os_str().is_empty() && !p.is_dir()) {
        let why = format!("there is no directory {}: `warmend run` could keep nothing", directory.display());
        f.advise("history.path", why, "create it, writable by the daemon, or name another");
    }
}
