//! A snapshot as the page of now: what is believed, what stands, what to do.
use super::hours::{Hours, ago, band_in_force};
use super::itself::WATCH_PATH;
use super::nodes::NODES_PATH;
use super::notebook::NOTES_PATH;
use super::story::story_url;
use super::words;
use crate::snapshot::{MirrorNow, Snapshot, StandingAlarm, Vitals};
use crate::times::length;
use dashboards::{
    Action, AlarmView, BandView, BroodView, ColourRange, FRAGMENT_PATH, Frame, Link, Live, MatPlace, MatView, NestView,
    NowPage, ProbeView, ProfileView, Stretch, Tone, say,
};
use enclosure::core::ProbeNow;
use enclosure::shelf::{Nest, PadPlace};
use enclosure::{Alarm, NestNow, Priority, Span, State, Timestamp};

/// A nest's estimate rests on nothing newer than this: said in its sentence.
const OLD_AFTER: Span = Span::from_min(10);
/// Minutes for which the page's button silences an alarm.
pub const SHELVE_MIN: u32 = 30;
/// For so long the page's button takes the alarm of an unplugged mat out of service.
const UNPLUGGED_FOR: &str = "30d";
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

fn alarm_view(snap: &Snapshot, alarm: &StandingAlarm, (now, hours): (Timestamp, &Hours), back: &str) -> AlarmView {
    let (nest, probe, node) = names(snap, alarm);
    let says = words::alarm(alarm.key.alarm);
    let fields = |what: &str| {
        let mut fields = vec![("do", what), ("alarm", alarm.key.alarm.name()), ("back", back)];
        let named = [("nest", nest), ("probe", probe), ("node", node)];
        fields.extend(named.into_iter().filter_map(|(name, value)| Some((name, value?))));
        let mut fields: Vec<(String, String)> =
            fields.into_iter().map(|(name, value)| (name.to_owned(), value.to_owned())).collect();
        match what {
            "shelve" => fields.push(("minutes".to_owned(), SHELVE_MIN.to_string())),
            "out-of-service" => fields.push(("until".to_owned(), UNPLUGGED_FOR.to_owned())),
            _ => {}
        }
        fields
    };
    let action =
        |what: &&str| Action { label: words::act(what, SHELVE_MIN), url: "/alarm".to_owned(), fields: fields(what) };
    let (since, stands) = (hours.near(alarm.since, now), length(now.since(alarm.since)));
    let since_text = match alarm.until {
        Some(until) => say!("stands-alarm-since-until", at = since, length = stands, until = hours.near(until, now)),
        None => say!("hours-since", at = since, length = stands),
    };
    AlarmView {
        alarm: alarm.key.alarm.name().to_owned(),
        tone: tone(alarm.priority()),
        state: alarm.state.name().to_owned(),
        nests: nest.map(str::to_owned).into_iter().collect(),
        about: probe.or(node).map(str::to_owned),
        since_text,
        detail: match alarm.detail.as_str() {
            "" => says.means.clone(),
            detail => say!("alarm-when-raised", detail = detail),
        },
        what_to_do: if alarm.state == State::Returned { vec![say!("alarm-step-over")] } else { says.in_order() },
        cause: alarm.cause.map(|c| c.name().to_owned()),
        url: story_url(&crate::told::written((alarm.key.alarm.name(), nest, probe, node)), None),
        actions: words::acts(alarm.state).iter().chain(unplugged(alarm)).map(action).collect(),
    }
}

/// A mat that the keeper unplugged is no fault: out of service in one tap, with an end.
fn unplugged(alarm: &StandingAlarm) -> &'static [&'static str] {
    let stands = matches!(alarm.state, State::Unacknowledged | State::Acknowledged | State::Shelved);
    if alarm.key.alarm == Alarm::HeaterNoHeat && stands { &["out-of-service"] } else { &[] }
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
    let old = seen.heard.map(|t| now.since(t)).filter(|age| *age > OLD_AFTER);
    let band = band.map(|b| BandView { low_c: b.low_c, high_c: b.high_c, limit_c: b.limit_c });
    let probes: Vec<_> = seen.probes.iter().filter_map(|p| probe(snap, nest, p, now)).collect();
    Some(NestView {
        id: nest.id.clone(),
        name: nest.id.clone(),
        url: nest_url(&nest.id),
        summary: summary(seen, band, old, &probes),
        tone: if old.is_some() { loudest.max(Tone::Warning) } else { loudest },
        length_mm: nest.length_mm,
        mats: mats(nest),
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
        told_duty: seen.told_duty,
        silent_drives: super::leave::silent_drives(nest, seen.told_duty),
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

/// The nest's mats as they are drawn.
pub fn mats(nest: &Nest) -> Vec<MatView> {
    let place = |place| match place {
        PadPlace::Under => MatPlace::Under,
        PadPlace::Beside => MatPlace::Beside,
        PadPlace::Lid => MatPlace::Lid,
        PadPlace::Inside => MatPlace::Inside,
    };
    let view = |p: &enclosure::shelf::Pad| MatView {
        span: Stretch { from_mm: p.span.from_mm, to_mm: p.span.to_mm },
        place: place(p.place),
        rated_w: p.rated_w,
    };
    nest.pads.iter().map(view).collect()
}

/// The nest's brood place as it is drawn.
pub fn brood(nest: &Nest) -> Option<Stretch> {
    nest.brood.map(|b| Stretch { from_mm: b.from_mm, to_mm: b.to_mm })
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

/// How a nest stands, in a few sentences.
fn summary(seen: &NestNow, band: Option<BandView>, old: Option<Span>, probes: &[ProbeView]) -> String {
    let mut said: Vec<String> = old.map(|age| say!("stands-old", age = length(age))).into_iter().collect();
    if seen.heard.is_none() {
        said.push(say!("stands-silent"));
    } else {
        said.extend(seen.brood_c.map(|(mean, _, _)| warmth(mean, band)));
        let (low, high) = ends(&seen.profile.mean_c);
        if low <= high {
            said.push(say!("stands-ends", low = format!("{low:.1}"), high = format!("{high:.1}")));
        }
    }
    said.extend(doubts(probes));
    said.join(" ")
}

/// What is drawn rests on fewer probes than are there: said beside it, because it may be the picture that is wrong.
fn doubts(probes: &[ProbeView]) -> Option<String> {
    let heard = probes.iter().filter(|p| p.temperature_c.is_some());
    let doubted = heard.clone().filter(|p| p.not_believed_because.is_some()).count();
    match (doubted, heard.count()) {
        (0, _) => None,
        (1, _) => Some(say!("stands-doubt-one")),
        (n, all) => Some(say!("stands-doubts", doubted = n, heard = all)),
    }
}

/// How warm the brood place is, against the band where there is one.
fn warmth(mean_c: f64, band: Option<BandView>) -> String {
    let mean = format!("{mean_c:.1}");
    let Some(BandView { low_c, high_c, .. }) = band else { return say!("stands-brood", mean = mean) };
    let (low, high) = (low_c.to_string(), high_c.to_string());
    if mean_c < low_c {
        say!("stands-brood-below", mean = mean, by = format!("{:.1}", low_c - mean_c), low = low, high = high)
    } else if mean_c > high_c {
        say!("stands-brood-above", mean = mean, by = format!("{:.1}", mean_c - high_c), low = low, high = high)
    } else {
        say!("stands-brood-within", mean = mean, low = low, high = high)
    }
}

fn ends(values: &[f64]) -> (f64, f64) {
    let finite = values.iter().copied().filter(|v| v.is_finite());
    finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
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
