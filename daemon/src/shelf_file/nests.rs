//! Nests: their body, mats, probes and brood place, checked one by one and against each other.
use super::bands;
use super::findings::Findings;
use super::materials;
use super::names;
use super::raw::{RawNest, RawPad, RawProbe};
use super::settings::Plug;
use dashboards::say;
use enclosure::Timestamp;
use enclosure::shelf::{Cover, Nest, NestKind, Pad, PadPlace, Probe, Stretch};
use std::collections::BTreeMap;

/// Most sources on one shelf: what one daemon is meant for, with room to spare.
pub const MAX_SOURCES: usize = 1024;

/// The nests, and the plugs of their pads.
pub(super) fn build(raw: &[RawNest], f: &mut Findings) -> (Vec<Nest>, Vec<Plug>) {
    unique_ids(raw, f);
    unique_probes(raw, f);
    joined(raw, f);
    let owners = pad_owners(raw, f);
    let built = raw.iter().enumerate().filter_map(|(i, n)| nest(&format!("nest[{i}]"), n, &owners, f)).collect();
    let plugs = raw.iter().enumerate().flat_map(|(i, n)| plugs(i, n)).collect();
    (built, plugs)
}

fn nest(at: &str, raw: &RawNest, owners: &Owners<'_>, f: &mut Findings) -> Option<Nest> {
    let path = |key: &str| format!("{at}.{key}");
    let length = f.need(raw.length_mm, &path("length_mm"));
    let probes = probes(at, raw, f);
    let pads = (0..raw.pad.len()).map(|i| pad(&format!("{at}.pad[{i}]"), &raw.pad[i], (raw, owners), f)).collect();
    let brood = raw.brood.as_ref().map(|b| stretch(&path("brood"), (b.from_mm, b.to_mm), length, f));
    let band = raw.band.as_ref().map(|b| bands::band(&path("band"), b, f));
    let humidity = raw.humidity.as_ref().map(|h| bands::humidity(&path("humidity"), h, f));
    let room = raw.room.as_ref().map(|r| room(at, r.source.as_deref(), &raw.probe, f));
    let seasons = bands::seasons(at, &raw.season, f);
    let material = materials::build(&path("material"), raw.material.as_ref(), f);
    let since = raw.since.as_deref().map(|s| moment(&path("since"), s, f));
    let pads: Option<Vec<Pad>> = pads;
    // The inner `None` of each was complained about above: then no nest is built, and none is needed.
    Some(Nest {
        id: raw.id.clone()?,
        kind: match raw.kind.as_deref() {
            Some("arena") => NestKind::Arena,
            Some("tube") => NestKind::Tube,
            _ => NestKind::Nest,
        },
        joined_to: raw.joined_to.clone(),
        length_mm: length?,
        width_mm: raw.width_mm,
        height_mm: raw.height_mm,
        material: material?,
        cover: raw.cover.as_deref().and_then(cover),
        material_limit_c: raw.material_limit_c,
        pads: pads?,
        brood: all_or_none(brood)?,
        band: all_or_none(band)?,
        humidity_pct: all_or_none(humidity)?,
        probes,
        room: all_or_none(room)?,
        seasons,
        since: all_or_none(since)?,
        degree_days_above_c: raw.degree_days_above_c,
    })
}

/// `Some(None)` where nothing was written, `None` where something wrong was.
fn all_or_none<T>(written: Option<Option<T>>) -> Option<Option<T>> {
    written.map_or(Some(None), |checked| checked.map(Some))
}

fn cover(word: &str) -> Option<Cover> {
    match word {
        "open" => Some(Cover::Open),
        "glass" => Some(Cover::Glass),
        "acrylic" => Some(Cover::Acrylic),
        "lid" => Some(Cover::Lid),
        _ => None,
    }
}

fn moment(path: &str, text: &str, f: &mut Findings) -> Option<Timestamp> {
    let parsed = text.parse::<jiff::Timestamp>().map(|t| Timestamp::from_unix_ms(t.as_millisecond()));
    f.keep(path, parsed.map_err(|_| (say!("shelf-moment", text = text), say!("shelf-moment-do"))))
}

fn stretch(at: &str, (from, to): (Option<f64>, Option<f64>), length: Option<f64>, f: &mut Findings) -> Option<Stretch> {
    let from = f.need(from, &format!("{at}.from_mm"));
    let to = f.need(to, &format!("{at}.to_mm"));
    if let (Some(to), Some(length)) = (to, length)
        && to > length
    {
        f.wrong(&format!("{at}.to_mm"), beyond(to, length), say!("shelf-beyond-do"));
    }
    let (from_mm, to_mm) = (from?, to?);
    if from_mm >= to_mm {
        f.wrong(
            &format!("{at}.to_mm"),
            bands::not_above(to_mm, "from_mm", from_mm),
            say!("shelf-not-above-stretch-do"),
        );
    }
    Some(Stretch { from_mm, to_mm })
}

/// What is said of a place behind the nest's end.
fn beyond(value_mm: f64, length_mm: f64) -> String {
    say!("shelf-beyond", value = value_mm.to_string(), other = length_mm.to_string())
}

fn probes(nest: &str, raw: &RawNest, f: &mut Findings) -> Vec<Probe> {
    let list = format!("{nest}.probe");
    if raw.probe.is_empty() && !f.is_doubted(&list) {
        f.wrong(&list, say!("shelf-no-probe"), say!("shelf-no-probe-do"));
    }
    let mut built = Vec::new();
    for (i, p) in raw.probe.iter().enumerate() {
        let source = source(&format!("{list}[{i}].source"), p.source.as_deref(), f);
        let at_path = format!("{list}[{i}].at_mm");
        let at = f.need(p.at_mm, &at_path);
        if let (Some(at), Some(length)) = (at, raw.length_mm)
            && at > length
        {
            f.wrong(&at_path, beyond(at, length), say!("shelf-beyond-do"));
        }
        if let (Some(source), Some(at_mm)) = (source, at) {
            let (offset_k, offset_pct) = (p.offset_k.unwrap_or(0.0), p.offset_pct.unwrap_or(0.0));
            built.push(Probe { source, at_mm, offset_k, offset_pct });
        }
    }
    built
}

fn source(path: &str, text: Option<&str>, f: &mut Findings) -> Option<String> {
    let text = f.need(text, path)?;
    f.keep(path, names::source(text)).map(|()| text.to_owned())
}

fn room(nest: &str, text: Option<&str>, probes: &[RawProbe], f: &mut Findings) -> Option<String> {
    let path = format!("{nest}.room.source");
    let room = source(&path, text, f)?;
    if probes.iter().any(|p| p.source.as_ref() == Some(&room)) {
        f.wrong(&path, say!("shelf-room-probe", text = &room), say!("shelf-room-probe-do"));
    }
    Some(room)
}

/// Pads that have an id: where each is first written.
type Owners<'a> = BTreeMap<&'a str, (&'a RawNest, &'a RawPad)>;

fn pad_owners<'a>(raw: &'a [RawNest], f: &mut Findings) -> Owners<'a> {
    let mut owners = Owners::new();
    for (i, n) in raw.iter().enumerate() {
        for (j, p) in n.pad.iter().enumerate() {
            let Some(id) = p.id.as_deref() else { continue };
            let path = format!("nest[{i}].pad[{j}].id");
            if f.keep(&path, names::id(id)).is_some() && owners.insert(id, (n, p)).is_some() {
                f.wrong(&path, say!("shelf-pad-twice", text = id), say!("shelf-pad-twice-do"));
            }
        }
    }
    owners
}

fn pad(at: &str, raw: &RawPad, (nest, owners): (&RawNest, &Owners<'_>), f: &mut Findings) -> Option<Pad> {
    let span = stretch(at, (raw.from_mm, raw.to_mm), nest.length_mm, f);
    let place = match raw.place.as_deref() {
        Some("beside") => PadPlace::Beside,
        Some("lid") => PadPlace::Lid,
        Some("inside") => PadPlace::Inside,
        _ => PadPlace::Under,
    };
    if let Some(id) = raw.shared.as_deref() {
        return shared(at, (raw, id), (nest, owners), f).zip(span).map(|(pad, span)| Pad {
            span,
            place,
            rated_w: raw.watts.unwrap_or(pad.rated_w),
            ..pad
        });
    }
    let rated_w = f.need(raw.watts, &format!("{at}.watts"));
    let drive = raw.drive.as_deref().map(|d| drive(&format!("{at}.drive"), d, &nest.probe, f));
    let thermostat_at = format!("{at}.thermostat_at_mm");
    if let (Some(mm), Some(length)) = (raw.thermostat_at_mm, nest.length_mm)
        && mm > length
    {
        f.wrong(&thermostat_at, beyond(mm, length), say!("shelf-beyond-thermostat-do"));
    }
    if raw.thermostat_at_mm.is_some() && raw.thermostat_c.is_none() && !f.is_doubted(&format!("{at}.thermostat_c")) {
        f.wrong(&thermostat_at, say!("shelf-thermostat"), say!("shelf-thermostat-do"));
    }
    Some(Pad {
        id: raw.id.clone(),
        span: span?,
        rated_w: rated_w?,
        drive: all_or_none(drive)?,
        thermostat_c: raw.thermostat_c,
        thermostat_at_mm: raw.thermostat_at_mm,
        place,
    })
}

/// The other nest's pad `id`, as it warms this one: the same drive, and its watts by the millimetre over this span.
///
/// Its thermostat sits in the other nest and says nothing of a place in this one.
fn shared(
    at: &str,
    (raw, id): (&RawPad, &str),
    (nest, owners): (&RawNest, &Owners<'_>),
    f: &mut Findings,
) -> Option<Pad> {
    let path = format!("{at}.shared");
    let own = [
        ("id", raw.id.is_some()),
        ("drive", raw.drive.is_some()),
        ("thermostat_c", raw.thermostat_c.is_some()),
        ("thermostat_at_mm", raw.thermostat_at_mm.is_some()),
    ];
    for (key, _) in own.into_iter().filter(|(_, written)| *written) {
        f.wrong(&format!("{at}.{key}"), say!("shelf-shared-own"), say!("shelf-shared-own-do"));
    }
    let Some((other, owner)) = owners.get(id) else {
        f.wrong(&path, say!("shelf-shared-none", text = id), say!("shelf-shared-none-do"));
        return None;
    };
    if std::ptr::eq(*other, nest) {
        f.wrong(&path, say!("shelf-shared-here", text = id), say!("shelf-shared-here-do"));
    }
    let length = |p: &RawPad| Some(p.to_mm? - p.from_mm?).filter(|l| *l > 0.0);
    let (watts, own_mm, here_mm) = (owner.watts?, length(owner)?, length(raw)?);
    Some(Pad {
        id: Some(id.to_owned()),
        span: Stretch { from_mm: 0.0, to_mm: here_mm },
        rated_w: watts * here_mm / own_mm,
        drive: owner.drive.clone(),
        thermostat_c: None,
        thermostat_at_mm: None,
        place: PadPlace::Under,
    })
}

fn drive(path: &str, text: &str, probes: &[RawProbe], f: &mut Findings) -> Option<String> {
    let drive = source(path, Some(text), f)?;
    if probes.iter().any(|p| p.source.as_ref() == Some(&drive)) {
        f.wrong(path, say!("shelf-drive-probe", text = &drive), say!("shelf-drive-probe-do"));
    }
    Some(drive)
}

fn unique_ids(raw: &[RawNest], f: &mut Findings) {
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for (i, n) in raw.iter().enumerate() {
        let path = format!("nest[{i}].id");
        let Some(id) = f.need(n.id.as_deref(), &path) else { continue };
        f.keep(&path, names::id(id));
        if let Some(first) = seen.insert(id, i) {
            f.wrong(&path, say!("shelf-id-twice", text = id, n = first), say!("shelf-id-twice-do"));
        }
    }
}

fn unique_probes(raw: &[RawNest], f: &mut Findings) {
    let mut seen: BTreeMap<&str, String> = BTreeMap::new();
    for (i, n) in raw.iter().enumerate() {
        for (j, p) in n.probe.iter().enumerate() {
            let here = format!("nest[{i}].probe[{j}]");
            let Some(source) = p.source.as_deref() else { continue };
            if let Some(first) = seen.insert(source, here.clone()) {
                let why = say!("shelf-probe-twice", text = source, key = first);
                f.wrong(&format!("{here}.source"), why, say!("shelf-probe-twice-do"));
            }
        }
    }
    let others = |n: &RawNest| n.pad.iter().filter(|p| p.drive.is_some()).count() + usize::from(n.room.is_some());
    let sources = seen.len() + raw.iter().map(others).sum::<usize>();
    if sources > MAX_SOURCES {
        f.wrong("nest", say!("shelf-sources", n = sources, most = MAX_SOURCES), say!("shelf-several-do"));
    }
}

fn joined(raw: &[RawNest], f: &mut Findings) {
    for (i, n) in raw.iter().enumerate() {
        let Some(to) = &n.joined_to else { continue };
        let path = format!("nest[{i}].joined_to");
        if n.id.as_ref() == Some(to) {
            f.wrong(&path, say!("shelf-joined-itself"), say!("shelf-joined-itself-do"));
        } else if !raw.iter().any(|other| other.id.as_ref() == Some(to)) {
            f.wrong(&path, say!("shelf-joined-none", text = to), say!("shelf-joined-none-do"));
        }
    }
}

fn plugs(nest: usize, raw: &RawNest) -> impl Iterator<Item = Plug> {
    raw.pad.iter().enumerate().map(move |(pad, p)| Plug {
        nest,
        pad,
        plug: p.plug.clone(),
        cutoff: match p.cutoff.as_deref() {
            Some("true") => Some(true),
            Some("false") => Some(false),
            _ => None,
        },
    })
}
