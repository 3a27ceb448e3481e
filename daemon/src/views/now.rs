//! A snapshot as the page of now: what is believed, what stands, what to do.
use super::hours::{Hours, ago, band_in_force};
use super::itself::WATCH_PATH;
use super::nodes::NODES_PATH;
use super::notebook::NOTES_PATH;
use super::standing::alarm_view;
use super::stands::summary;
use super::words;
use crate::snapshot::{MirrorNow, Snapshot, StandingAlarm, Vitals};
use crate::times::length;
use dashboards::{
    AlarmView, BandView, BroodView, ColourRange, FRAGMENT_PATH, Frame, Link, Live, MatPlace, MatTold, MatView,
    NestView, NowPage, ProbeView, ProfileView, Stretch, Tone, say,
};
use enclosure::core::ProbeNow;
use enclosure::shelf::{Nest, PadPlace};
use enclosure::{Alarm, NestNow, Priority, Span, State, Timestamp};

/// A nest's estimate rests on nothing newer than this: said in its sentence.
const OLD_AFTER: Span = Span::from_min(10);
/// Most sources that no nest lists, on the page.
const UNLISTED_MAX: usize = 64;

/// The whole page, as of `now` on the wall.
pub fn now_page(snap: &Snapshot, now: Timestamp, hours: &Hours) -> NowPage {
    let colour = colours(snap);
    let nest = |i: usize| nest_view(snap, i, now, hours).map(|view| NestView { colour, ..view });
    NowPage {
        frame: frame(snap, "/"),
        as_of_text: hours.second(snap.at, now),
        age_s: newest(snap, now),
        stalled: None,
        alarms: alarms(snap, now, hours, "/"),
        nests: (0..snap.shelf.nests.len()).filter_map(nest).collect(),
        unlisted: snap
            .strangers
            .iter()
            .take(UNLISTED_MAX)
            .map(|(name, value, at)| (name.clone(), say!("stands-unlisted", value = value, ago = ago(*at, now))))
            .collect(),
        watch: vitals(snap, now, hours),
    }
}

/// The page of all alarms.
pub const ALARMS_PATH: &str = "/alarms";

/// Where the part that follows of the page at `url` is.
pub fn part_url(url: &str) -> String {
    match url.split_once('?') {
        Some((path, query)) => format!("{path}{FRAGMENT_PATH}?{query}"),
        None => format!("{url}{FRAGMENT_PATH}"),
    }
}

/// How the page at `url` follows: what stands, and how old the newest reading is.
pub fn live_part(snap: &Snapshot, (now, hours): (Timestamp, &Hours), url: &str) -> Live {
    Live {
        url: part_url(url),
        age_s: newest(snap, now),
        as_of_text: hours.second(snap.at, now),
        alarms: alarms(snap, now, hours, url),
    }
}

/// Age of the newest reading of all nests, s.
fn newest(snap: &Snapshot, now: Timestamp) -> Option<f64> {
    let newest = snap.nests.iter().filter_map(|n| n.heard).max();
    newest.map(|t| now.since(t).s().max(0.0))
}

/// Whether an alarm is nest `id`'s, or one of the watch that sees all nests.
pub fn of_nest(alarm: &AlarmView, id: &str) -> bool {
    alarm.nests.is_empty() || alarm.nests.iter().any(|nest| nest == id)
}

/// Name and links, `current` being the address shown.
pub fn frame(snap: &Snapshot, current: &str) -> Frame {
    let link = |label: String, url: String| Link { label, current: url == current, url };
    let mut nav = vec![link(say!("nav-now"), "/".to_owned())];
    nav.extend(snap.shelf.nests.iter().map(|n| link(n.id.clone(), nest_url(&n.id))));
    let more = [
        (say!("nav-alarms"), ALARMS_PATH),
        (say!("nav-notes"), NOTES_PATH),
        (say!("nav-probes"), NODES_PATH),
        (say!("nav-watch"), WATCH_PATH),
        (say!("nav-plan"), dashboards::PLAN_PATH),
    ];
    nav.extend(more.map(|(label, url)| link(label, url.to_owned())));
    Frame { shelf_name: snap.shelf.name.clone(), nav, ..Frame::default() }
}

/// Why no nest is judged, where none is.
pub fn unjudged(snap: &Snapshot) -> Option<String> {
    if snap.shelf.nests.is_empty() {
        return Some(say!("alarms-no-nest"));
    }
    snap.nests.iter().all(|n| n.heard.is_none()).then(|| say!("alarms-nothing-heard"))
}

/// The address of a nest's page.
pub fn nest_url(id: &str) -> String {
    format!("/nest/{id}")
}

/// How loud an alarm is.
pub const fn tone(priority: Priority) -> Tone {
    match priority {
        Priority::Advice => Tone::Advice,
        Priority::Warning => Tone::Warning,
        Priority::Danger => Tone::Danger,
    }
}

/// Alarms that a keeper is shown. Buttons lead back to `back`.
pub fn alarms(snap: &Snapshot, now: Timestamp, hours: &Hours, back: &str) -> Vec<AlarmView> {
    // What the season expects is listed for machines; on a page it would stand for five months.
    let by_season = |a: &&StandingAlarm| a.state == State::Suppressed && a.cause.is_none();
    shown(snap).filter(|a| !by_season(a)).map(|a| alarm_view(snap, a, (now, hours), back)).collect()
}

/// Alarms that are neither normal nor not judged yet.
pub fn shown(snap: &Snapshot) -> impl Iterator<Item = &StandingAlarm> {
    snap.alarms.iter().filter(|a| !matches!(a.state, State::Normal | State::NotJudged))
}

/// The nest's id, the probe's source and the node of an alarm.
pub fn names<'a>(snap: &'a Snapshot, alarm: &'a StandingAlarm) -> (Option<&'a str>, Option<&'a str>, Option<&'a str>) {
    let nest = alarm.key.nest.and_then(|i| snap.shelf.nests.get(usize::from(i))).map(|n| n.id.as_str());
    let probe = alarm.key.probe.and_then(|id| snap.sources.get(usize::from(id.0))).map(String::as_str);
    (nest, probe, alarm.key.node.as_deref())
}

/// How old the newest reading that was believed is, where that is too old.
pub(super) fn old(seen: &NestNow, now: Timestamp) -> Option<Span> {
    seen.heard.map(|t| now.since(t)).filter(|age| *age > OLD_AFTER)
}

pub(super) fn band_view(b: enclosure::shelf::Band) -> BandView {
    BandView { low_c: b.low_c, high_c: b.high_c, limit_c: b.limit_c }
}

/// The colours of a page: one range for all its nests.
fn colours(snap: &Snapshot) -> ColourRange {
    let profiles = snap.nests.iter().flat_map(|n| n.profile.mean_c.iter().copied());
    let zones = snap.shelf.nests.iter().filter_map(|n| n.band).flat_map(|b| [b.low_c, b.high_c]);
    ColourRange::around(profiles.chain(zones).chain(snap.nests.iter().filter_map(|n| n.room_c).map(|r| r.0)))
}

/// One nest; `None` where the shelf has none of that number.
pub fn nest_view(snap: &Snapshot, i: usize, now: Timestamp, hours: &Hours) -> Option<NestView> {
    let (nest, seen) = (snap.shelf.nests.get(i)?, snap.nests.get(i)?);
    let band = band_in_force(nest, snap.at, snap.shelf.alarms.season_utc_offset);
    let standing = shown(snap).filter(|a| a.key.nest.map(usize::from) == Some(i));
    // What is over, silenced or a consequence is listed, but does not make the nest itself loud.
    let loud = |state| matches!(state, State::Unacknowledged | State::Acknowledged | State::Latched);
    let speaking = standing.filter(|a| loud(a.state));
    let loudest = speaking.map(|a| tone(a.priority())).max().unwrap_or_default();
    let (old, band) = (old(seen, now), band.map(band_view));
    let probes: Vec<_> = seen.probes.iter().filter_map(|p| probe(snap, nest, p, now)).collect();
    Some(NestView {
        id: nest.id.clone(),
        name: nest.id.clone(),
        url: nest_url(&nest.id),
        summary: summary(seen, band, old, &probes),
        tone: if old.is_some() { loudest.max(Tone::Warning) } else { loudest },
        length_mm: nest.length_mm,
        mats: mats_told(nest, &seen.told),
        brood: brood(nest),
        band,
        probes,
        profile: ProfileView {
            at_mm: seen.profile.at_mm.clone(),
            mean_c: seen.profile.mean_c.clone(),
            sd_c: seen.profile.sd_c.clone(),
        },
        brood_now: seen.brood_c.map(|(mean_c, sd_c, hottest_c)| BroodView { mean_c, sd_c, hottest_c }),
        room_c: seen.room_c,
        leave_text: super::leave::leave(snap, i),
        gives_w: (!seen.profile.at_mm.is_empty() && !nest.pads.is_empty())
            .then_some((seen.profile.pad_w, seen.profile.pad_w_sd)),
        rh_pct: seen.rh_pct.iter().map(|rh| rh.map(|(rh, _)| rh)).collect(),
        learning_until: seen.learning_until.filter(|t| *t > now).map(|t| hours.near(t, now)),
        learned_text: learned(nest, seen, now, hours),
        as_of_text: hours.second(snap.at, now),
        forecast: seen.outlook.as_ref().and_then(|o| super::ahead::forecast_view(o, band, now, hours)),
        colour: ColourRange::around(seen.profile.mean_c.iter().copied()),
    })
}

/// What the fits came to, and where more of it stands.
fn learned(nest: &Nest, seen: &NestNow, now: Timestamp, hours: &Hours) -> Option<String> {
    let learned = seen.fit.learned.map(|at| hours.near(at, now));
    let refused = seen.fit.refused.map(|(at, why)| (hours.near(at, now), words::not_taken_because(why)));
    match (learned, refused) {
        (None, None) => None,
        (Some(at), None) => Some(say!("stands-learned", at = at, nest = &nest.id)),
        (Some(at), Some((refused, why))) => {
            Some(say!("stands-learned-refused", at = at, refused = refused, why = why, nest = &nest.id))
        }
        (None, Some((refused, why))) => {
            Some(say!("stands-learned-nothing", refused = refused, why = why, nest = &nest.id))
        }
    }
}

/// A mat as it is drawn.
fn mat(pad: &enclosure::shelf::Pad) -> MatView {
    let place = match pad.place {
        PadPlace::Under => MatPlace::Under,
        PadPlace::Beside => MatPlace::Beside,
        PadPlace::Lid => MatPlace::Lid,
        PadPlace::Inside => MatPlace::Inside,
    };
    MatView { span: stretch(pad.span), place, rated_w: pad.rated_w, ..MatView::default() }
}

fn stretch(s: enclosure::shelf::Stretch) -> Stretch {
    Stretch { from_mm: s.from_mm, to_mm: s.to_mm }
}

/// The nest's mats as they are drawn.
pub fn mats(nest: &Nest) -> Vec<MatView> {
    nest.pads.iter().map(mat).collect()
}

/// The same with what each is told.
fn mats_told(nest: &Nest, told: &[Option<f64>]) -> Vec<MatView> {
    let of = |(i, view): (usize, MatView)| {
        let reports = nest.pads.get(i).is_some_and(|p| p.drive.is_some());
        let told = match told.get(i).copied().flatten() {
            Some(duty) => MatTold::Duty(duty),
            None if reports => MatTold::Unheard,
            None => MatTold::Unreported,
        };
        MatView { told, ..view }
    };
    mats(nest).into_iter().enumerate().map(of).collect()
}

/// The nest's brood place as it is drawn.
pub fn brood(nest: &Nest) -> Option<Stretch> {
    nest.brood.map(stretch)
}

fn probe(snap: &Snapshot, nest: &Nest, p: &ProbeNow, now: Timestamp) -> Option<ProbeView> {
    let name = snap.sources.get(usize::from(p.source.0))?;
    // The core hears pads and rooms with the same ears; only what has a place is drawn.
    let place = nest.probes.iter().find(|listed| listed.source == *name)?;
    let heard = [p.temperature.map(|t| t.1), p.humidity.map(|h| h.1)].into_iter().flatten().max();
    Some(ProbeView {
        name: name.clone(),
        at_mm: place.at_mm,
        temperature_c: p.temperature.map(|t| t.0),
        humidity_pct: p.humidity.map(|h| h.0),
        heard_text: heard.map_or_else(|| say!("stands-probe-silent"), |t| ago(t, now)),
        not_believed_because: doubt(snap, p, now),
    })
}

/// Why what a probe said last is not taken for what is so, if it is not.
pub(super) fn doubt(snap: &Snapshot, p: &ProbeNow, now: Timestamp) -> Option<String> {
    let old = p.temperature.is_some_and(|(_, at)| now.since(at) >= snap.shelf.alarms.silent_at_least);
    let told = |a: &StandingAlarm| a.key.alarm == Alarm::ProbeSilent && a.key.probe == Some(p.source);
    let silent = old && shown(snap).any(told);
    p.rejected.map(words::not_believed_because).or_else(|| silent.then(|| say!("doubt-silent")))
}

/// How it stands with the mirror, where there is something to say.
fn mirrored(mirror: &MirrorNow, now: Timestamp) -> Option<String> {
    let MirrorNow { lost, waiting, due, caught_up, failing, .. } = mirror;
    let mut said = Vec::new();
    match (failing, caught_up) {
        (Some(why), Some(t)) => said.push(say!("mirror-nothing-for", length = length(now.since(*t)), why = why)),
        (Some(why), None) => said.push(say!("mirror-nothing-since-start", why = why)),
        (None, _) => {}
    }
    match (failing.is_some(), *due > 0) {
        (true, true) => said.push(say!("mirror-waits-days", readings = *waiting, days = *due)),
        (true, false) => said.push(say!("mirror-waits", readings = *waiting)),
        (false, true) => said.push(say!("mirror-catching-up", readings = *waiting, days = *due)),
        (false, false) if *lost > 0 => said.push(say!("mirror-up-to-date")),
        (false, false) => return None,
    }
    if *lost > 0 {
        said.push(say!("mirror-lost", lines = *lost));
    }
    Some(said.join(" "))
}

/// The state of the watch itself, a sentence each.
fn vitals(snap: &Snapshot, now: Timestamp, hours: &Hours) -> Vec<String> {
    let v: &Vitals = &snap.vitals;
    let mut out = Vec::new();
    if let Some(why) = &v.broker_lost {
        out.push(say!("vitals-broker-lost", why = why));
    }
    if let Some(why) = &v.history_failing {
        out.push(say!("vitals-history-failing", why = why));
    }
    out.extend(v.notices_failing.iter().map(|(way, why)| say!("vitals-notices-failing", way = way, why = why)));
    out.extend(v.mirror.as_ref().and_then(|mirror| mirrored(mirror, now)));
    let down = snap.links.iter().filter(|(_, up)| !**up).map(|(node, _)| node.as_str());
    out.extend(down.map(|node| say!("vitals-node-down", node = node)));
    let since = hours.near(snap.started, now);
    out.push(match v.readings {
        0 => say!("vitals-nothing-yet", since = since),
        readings => say!(
            "vitals-watching",
            since = since,
            readings = readings,
            stored = v.stored,
            last = v.commit_ms.0,
            slowest = v.commit_ms.1,
        ),
    });
    let counts = |counted: &std::collections::BTreeMap<&'static str, u64>| {
        let some = counted.iter().filter(|(_, n)| **n > 0);
        let said = words::listed(some.map(|(why, n)| say!("vitals-count", why = words::counted(why), count = *n)));
        Some(said).filter(|said| !said.is_empty())
    };
    out.extend(counts(&v.refused).map(|counts| say!("vitals-refused", counts = counts)));
    out.extend(counts(&v.rejected).map(|counts| say!("vitals-rejected", counts = counts)));
    if v.dropped > 0 {
        out.push(say!("vitals-dropped", count = v.dropped));
    }
    out
}
