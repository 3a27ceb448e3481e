//! What the core keeps over a restart, as a small fact in history: written with each change of an alarm, in the same
//! commit, and once a minute. Names stand in place of the core's numbers, so that a changed shelf file does no harm.
use enclosure::board::Standing;
use enclosure::core::{Kept, KeptNest};
use enclosure::lifecycle::{Beneath, Design, Life};
use enclosure::nest::{Held, HeldBy};
use enclosure::shelf::Nest;
use enclosure::{Alarm, AlarmKey, Core, SourceId, Timestamp};
use serde::{Deserialize, Serialize};

/// The fact's name.
pub(crate) const KEPT: &str = "kept";

/// Milliseconds since 1970.
type Ms = i64;

#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(default)]
struct KeptJson {
    alarms: Vec<StandingJson>,
    flood: (bool, bool),
    raised: Vec<Ms>,
    nests: Vec<NestJson>,
}

#[derive(Debug, Serialize, Deserialize)]
struct StandingJson {
    alarm: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    nest: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    probe: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    node: Option<String>,
    life: LifeJson,
    since: Ms,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    ended: Option<Ms>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    turns: Vec<Ms>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    answered_at: Option<f64>,
}

#[derive(Debug, Serialize, Deserialize)]
struct NestJson {
    nest: String,
    shape: String,
    first: Option<Ms>,
    newest: Option<Ms>,
    excused: Option<Ms>,
    begins: Option<Ms>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    held: Option<HeldJson>,
}

/// A fault of the heating that stands.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
struct HeldJson {
    pad: usize,
    on: bool,
    since: Ms,
    by: HeldByJson,
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum HeldByJson {
    Heat { nats: f64 },
    Habit { now_c: f64, extreme_c: Option<f64>, by_power: bool },
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
struct BeneathJson {
    judged: bool,
    ill: bool,
    turning: Option<Ms>,
    latched: bool,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum DesignJson {
    Cause(String),
    Season,
    Chatter,
    Flood,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(tag = "state", rename_all = "kebab-case")]
enum LifeJson {
    NotJudged,
    Normal { holding: Option<Ms> },
    Unacknowledged { at: Ms, over: Option<Ms> },
    Acknowledged { at: Ms, over: Option<Ms> },
    Returned { at: Ms, holding: Option<Ms> },
    Latched { at: Ms, acknowledged: bool, holding: Option<Ms> },
    Shelved { until: Ms, beneath: BeneathJson },
    Suppressed { why: DesignJson, beneath: BeneathJson },
    OutOfService { until: Option<Ms>, beneath: BeneathJson },
}

const fn ms(at: Timestamp) -> Ms {
    at.unix_ms()
}

const fn at(ms: Ms) -> Timestamp {
    Timestamp::from_unix_ms(ms)
}

impl From<Beneath> for BeneathJson {
    fn from(b: Beneath) -> Self {
        Self { judged: b.judged, ill: b.ill, turning: b.turning.map(ms), latched: b.latched }
    }
}

impl From<BeneathJson> for Beneath {
    fn from(b: BeneathJson) -> Self {
        Self { judged: b.judged, ill: b.ill, turning: b.turning.map(at), latched: b.latched }
    }
}

impl From<Held> for HeldJson {
    fn from(held: Held) -> Self {
        let by = match held.by {
            HeldBy::Heat { nats } => HeldByJson::Heat { nats },
            HeldBy::Habit { now_c, extreme_c, by_power } => HeldByJson::Habit { now_c, extreme_c, by_power },
        };
        Self { pad: held.pad, on: held.on, since: ms(held.since), by }
    }
}

impl From<HeldJson> for Held {
    fn from(held: HeldJson) -> Self {
        let by = match held.by {
            HeldByJson::Heat { nats } => HeldBy::Heat { nats },
            HeldByJson::Habit { now_c, extreme_c, by_power } => HeldBy::Habit { now_c, extreme_c, by_power },
        };
        Self { pad: held.pad, on: held.on, since: at(held.since), by }
    }
}

impl From<Life> for LifeJson {
    fn from(life: Life) -> Self {
        match life {
            Life::NotJudged => Self::NotJudged,
            Life::Normal { holding } => Self::Normal { holding: holding.map(ms) },
            Life::Unacknowledged { since, over } => Self::Unacknowledged { at: ms(since), over: over.map(ms) },
            Life::Acknowledged { since, over } => Self::Acknowledged { at: ms(since), over: over.map(ms) },
            Life::Returned { since, holding } => Self::Returned { at: ms(since), holding: holding.map(ms) },
            Life::Latched { since, acknowledged, holding } => {
                Self::Latched { at: ms(since), acknowledged, holding: holding.map(ms) }
            }
            Life::Shelved { until, beneath } => Self::Shelved { until: ms(until), beneath: beneath.into() },
            Life::Suppressed { why, beneath } => {
                let why = match why {
                    Design::Cause(alarm) => DesignJson::Cause(alarm.name().to_owned()),
                    Design::Season => DesignJson::Season,
                    Design::Chatter => DesignJson::Chatter,
                    Design::Flood => DesignJson::Flood,
                };
                Self::Suppressed { why, beneath: beneath.into() }
            }
            Life::OutOfService { until, beneath } => {
                Self::OutOfService { until: until.map(ms), beneath: beneath.into() }
            }
        }
    }
}

impl LifeJson {
    fn life(self) -> Option<Life> {
        Some(match self {
            Self::NotJudged => Life::NotJudged,
            Self::Normal { holding } => Life::Normal { holding: holding.map(at) },
            Self::Unacknowledged { at: since, over } => Life::Unacknowledged { since: at(since), over: over.map(at) },
            Self::Acknowledged { at: since, over } => Life::Acknowledged { since: at(since), over: over.map(at) },
            Self::Returned { at: since, holding } => Life::Returned { since: at(since), holding: holding.map(at) },
            Self::Latched { at: since, acknowledged, holding } => {
                Life::Latched { since: at(since), acknowledged, holding: holding.map(at) }
            }
            Self::Shelved { until, beneath } => Life::Shelved { until: at(until), beneath: beneath.into() },
            Self::Suppressed { why, beneath } => {
                let why = match why {
                    DesignJson::Cause(name) => Design::Cause(Alarm::from_name(&name)?),
                    DesignJson::Season => Design::Season,
                    DesignJson::Chatter => Design::Chatter,
                    DesignJson::Flood => Design::Flood,
                };
                Life::Suppressed { why, beneath: beneath.into() }
            }
            Self::OutOfService { until, beneath } => {
                Life::OutOfService { until: until.map(at), beneath: beneath.into() }
            }
        })
    }
}

/// What of a nest must stay as it is, so that what was learned of it stays true.
pub(crate) fn shape(nest: &Nest) -> String {
    let pads: Vec<_> = nest.pads.iter().map(|p| (p.span, p.place, p.rated_w)).collect();
    let probes: Vec<_> = nest.probes.iter().map(|p| (&p.source, p.at_mm)).collect();
    // What was learned of a probe's offset is another thing once it is trimmed.
    let trimmed: String =
        nest.probes.iter().filter(|p| p.offset_k != 0.0).map(|p| format!(" {} {}", p.source, p.offset_k)).collect();
    format!("{:?} {:?} {pads:?} {probes:?}{trimmed}", nest.length_mm, nest.cover)
}

/// The fact's text.
pub(crate) fn written(core: &Core) -> String {
    let Kept { alarms, flood, raised, nests } = core.kept();
    let shelf = core.shelf();
    // What was never raised, and whose delays are at rest, need not be kept.
    let speaks = |s: &Standing| {
        !matches!(s.life, Life::NotJudged | Life::Normal { holding: None }) || s.ended.is_some() || !s.turns.is_empty()
    };
    let alarms = alarms.into_iter().filter(|(_, s)| speaks(s)).map(|(key, s)| StandingJson {
        alarm: key.alarm.name().to_owned(),
        nest: key.nest.and_then(|i| shelf.nests.get(usize::from(i))).map(|n| n.id.clone()),
        probe: key.probe.and_then(|id| core.sources().get(usize::from(id.0))).cloned(),
        node: key.node,
        life: s.life.into(),
        since: ms(s.since),
        ended: s.ended.map(ms),
        turns: s.turns.into_iter().map(ms).collect(),
        answered_at: s.answered_at,
    });
    let nests = shelf.nests.iter().zip(nests).map(|(nest, kept)| NestJson {
        nest: nest.id.clone(),
        shape: shape(nest),
        first: kept.first.map(ms),
        newest: kept.newest.map(ms),
        excused: kept.excused.map(ms),
        begins: kept.begins.map(ms),
        held: kept.held.map(HeldJson::from),
    });
    let json = KeptJson {
        alarms: alarms.collect(),
        flood,
        raised: raised.into_iter().map(ms).collect(),
        nests: nests.collect(),
    };
    // Texts and numbers only: it cannot fail, and an empty fact is as good as none.
    serde_json::to_string(&json).unwrap_or_default()
}

/// What a fact's text says, for the shelf of `core` at `now`; `None` if it cannot be read. A nest that was rearranged
/// begins anew.
pub(crate) fn read(text: &str, core: &Core, now: Timestamp) -> Option<Kept> {
    let json: KeptJson = serde_json::from_str(text).ok()?;
    let shelf = core.shelf();
    let nests = shelf.nests.iter().map(|nest| {
        let Some(kept) = json.nests.iter().find(|k| k.nest == nest.id) else { return KeptNest::default() };
        if kept.shape != shape(nest) {
            return KeptNest { begins: Some(nest.since.unwrap_or(now)), ..KeptNest::default() };
        }
        KeptNest {
            first: kept.first.map(at),
            newest: kept.newest.map(at),
            excused: kept.excused.map(at),
            begins: kept.begins.map(at),
            held: kept.held.map(Held::from),
        }
    });
    let nests = nests.collect();
    let alarms = json.alarms.into_iter().filter_map(|s| {
        let index = |i: usize| u16::try_from(i).ok();
        let nest = match &s.nest {
            Some(id) => Some(shelf.nests.iter().position(|n| n.id == *id).and_then(index)?),
            None => None,
        };
        let probe: Option<SourceId> = match &s.probe {
            Some(name) => Some(core.source(name)?),
            None => None,
        };
        let key = AlarmKey { alarm: Alarm::from_name(&s.alarm)?, nest, probe, node: s.node };
        let standing = Standing {
            life: s.life.life()?,
            since: at(s.since),
            ended: s.ended.map(at),
            turns: s.turns.into_iter().map(at).collect(),
            answered_at: s.answered_at.filter(|v| v.is_finite()),
        };
        Some((key, standing))
    });
    Some(Kept { alarms: alarms.collect(), flood: json.flood, raised: json.raised.into_iter().map(at).collect(), nests })
}

/// The alarms of a fact's text that stood and are of no nest or probe of this shelf: alarm, nest, probe, node.
pub(crate) fn left(text: &str, core: &Core) -> Vec<[Option<String>; 4]> {
    let Ok(json) = serde_json::from_str::<KeptJson>(text) else { return Vec::new() };
    let nest_left = |id: &String| core.shelf().nests.iter().all(|nest| nest.id != *id);
    let stood = |life: &LifeJson| !matches!(life, LifeJson::NotJudged | LifeJson::Normal { .. });
    json.alarms
        .into_iter()
        .filter(|s| {
            s.nest.as_ref().is_some_and(nest_left) || s.probe.as_ref().is_some_and(|p| core.source(p).is_none())
        })
        .filter(|s| stood(&s.life))
        .map(|s| [Some(s.alarm), s.nest, s.probe, s.node])
        .collect()
}

#[cfg(test)]
#[path = "keeping_tests.rs"]
mod tests;
