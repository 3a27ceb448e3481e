//! An alarm that stands, as pages show it: what it is, since when, what became of it, what to do and what can be done.
use super::hours::{Hours, band_in_force};
use super::now::{band_view, names, old, tone};
use super::stands::brood_now;
use super::story::story_url;
use super::words;
use crate::snapshot::{Snapshot, StandingAlarm};
use crate::times::length;
use dashboards::{Action, AlarmView, say, state_words};
use enclosure::{Alarm, Priority, State, Timestamp};

/// Minutes for which the page's button silences an alarm.
pub const SHELVE_MIN: u32 = 30;
/// For so long the page's button takes the alarm of an unplugged mat out of service.
const UNPLUGGED_FOR: &str = "30d";
/// The alarm; buttons lead back to `back`.
pub(super) fn alarm_view(
    snap: &Snapshot,
    alarm: &StandingAlarm,
    (now, hours): (Timestamp, &Hours),
    back: &str,
) -> AlarmView {
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
    AlarmView {
        alarm: alarm.key.alarm.name().to_owned(),
        tone: tone(alarm.priority()),
        state: alarm.state.name().to_owned(),
        nests: nest.map(str::to_owned).into_iter().collect(),
        about: probe.or(node).map(str::to_owned),
        since_text: since(alarm, now, hours),
        state_text: became(alarm, now, hours),
        nest_now: nest_now(snap, alarm, now).filter(|_| alarm.priority() == Priority::Danger),
        detail: match alarm.detail.as_str() {
            "" => says.means.clone(),
            detail => say!("alarm-when-raised", detail = detail),
        },
        what_to_do: if alarm.state == State::Returned { vec![say!("alarm-step-over")] } else { says.in_order() },
        cause: alarm.cause.map(|c| c.name().to_owned()),
        url: story_url(&crate::told::written((alarm.key.alarm.name(), nest, probe, node)), None),
        actions: words::acts(alarm.state).iter().chain(unplugged(alarm)).map(action).collect(),
        ..AlarmView::default()
    }
}

/// Since when it stands, whatever was done to it since; of what is over, from when until when.
fn since(alarm: &StandingAlarm, now: Timestamp, hours: &Hours) -> String {
    let begun = alarm.raised.unwrap_or(alarm.since);
    let at = hours.near(begun, now);
    match (alarm.state, alarm.raised) {
        (State::Returned | State::Latched, Some(_)) => {
            let until = hours.near(alarm.since, now);
            say!("stands-alarm-from", at = at, until = until, length = length(alarm.since.since(begun)))
        }
        _ => say!("stands-alarm-since", at = at, length = length(now.since(begun))),
    }
}

/// What became of it.
pub(super) fn became(alarm: &StandingAlarm, now: Timestamp, hours: &Hours) -> String {
    let state = state_words(alarm.state.name());
    match (alarm.state, alarm.until) {
        // What was answered and is told again, or was silenced in between.
        (State::Unacknowledged, _) if alarm.raised.is_some_and(|raised| raised < alarm.since) => {
            say!("stands-alarm-again", at = hours.near(alarm.since, now))
        }
        (State::Acknowledged, _) => say!("stands-alarm-answered", at = hours.near(alarm.since, now)),
        (_, Some(until)) => say!("stands-alarm-until", state = state, until = hours.near(until, now)),
        _ => state,
    }
}

/// How warm the brood place of an alarm's nest is by now: that decides how fast somebody runs.
pub(super) fn nest_now(snap: &Snapshot, alarm: &StandingAlarm, now: Timestamp) -> Option<String> {
    let stands = matches!(alarm.state, State::Unacknowledged | State::Acknowledged);
    let i = usize::from(alarm.key.nest.filter(|_| stands)?);
    let (nest, seen) = (snap.shelf.nests.get(i)?, snap.nests.get(i)?);
    let band = band_in_force(nest, snap.at, snap.shelf.alarms.season_utc_offset).map(band_view);
    brood_now(seen, band, old(seen, now))
}

/// A mat that the keeper unplugged is no fault: out of service in one tap, with an end.
fn unplugged(alarm: &StandingAlarm) -> &'static [&'static str] {
    let stands = matches!(alarm.state, State::Unacknowledged | State::Acknowledged | State::Shelved);
    if alarm.key.alarm == Alarm::HeaterNoHeat && stands { &["out-of-service"] } else { &[] }
}
