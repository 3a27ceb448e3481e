//! What a verdict makes of a life, silences included: there history hears of it, and nobody else.
use super::{Beneath, Design, Life, Manner, Setting, Turn, Verdict};
use crate::alarm::Event;
use crate::time::{Span, Timestamp};

impl Beneath {
    /// What was never judged.
    pub const UNKNOWN: Self = Self { judged: false, ill: false, turning: None, latched: false };

    /// Judges on, in silence: the event tells history, nobody else.
    fn judged(self, now: Timestamp, ill: bool, setting: &Setting) -> (Self, Option<Event>) {
        let Setting { manner, may_raise, .. } = *setting;
        let this = Self { judged: true, ..self };
        if ill == self.ill {
            return (Self { turning: None, ..this }, None);
        }
        let since = self.turning.unwrap_or(now);
        let delay = if ill { manner.on_delay } else { manner.off_delay };
        if !held(now, since, delay) || (ill && !may_raise) {
            return (Self { turning: Some(since), ..this }, None);
        }
        let latched = self.latched || manner.latches;
        let event = match (ill, latched) {
            (true, _) => Event::Raised,
            (false, true) => Event::Returned,
            (false, false) => Event::Cleared,
        };
        (Self { judged: true, ill, turning: None, latched }, Some(event))
    }

    /// The life that comes out of the silence.
    pub(super) fn emerged(self, now: Timestamp, setting: &Setting) -> Life {
        match self {
            Self { judged: false, .. } => Life::NotJudged,
            Self { ill: true, turning, .. } => match setting.design {
                Some(why) => Life::Suppressed { why, beneath: self },
                None => Life::Unacknowledged { since: now, over: turning },
            },
            Self { latched: true, turning, .. } => Life::Latched { since: now, acknowledged: true, holding: turning },
            Self { turning, .. } => Life::Normal { holding: turning },
        }
    }
}

impl Life {
    pub(super) fn judged(self, now: Timestamp, verdict: Verdict, setting: &Setting) -> Turn {
        if setting.design == Some(Design::Season) {
            return self.out_of_season();
        }
        let ill = match verdict {
            Verdict::Unknown => return (self, None),
            Verdict::Ill => true,
            Verdict::Well => false,
            // What is not true at the moment is not raised at it; how long it has been goes on counting.
            Verdict::Between if self.holding().is_some() => return (self, None),
            Verdict::Between => self.leans_ill(),
        };
        self.turned(now, ill, setting)
    }

    /// The season expects the condition: it is not judged while that lasts.
    const fn out_of_season(self) -> Turn {
        let (why, beneath) = (Design::Season, Beneath::UNKNOWN);
        match self {
            Self::Suppressed { why: Design::Season, .. }
            | Self::Latched { .. }
            | Self::Shelved { .. }
            | Self::OutOfService { .. } => (self, None),
            Self::NotJudged
            | Self::Normal { .. }
            | Self::Unacknowledged { .. }
            | Self::Acknowledged { .. }
            | Self::Returned { .. }
            | Self::Suppressed { .. } => (Self::Suppressed { why, beneath }, Some(Event::Suppressed)),
        }
    }

    /// Since when what is not raised yet has been true.
    const fn holding(self) -> Option<Timestamp> {
        match self {
            Self::Normal { holding } | Self::Returned { holding, .. } | Self::Latched { holding, .. } => holding,
            _ => None,
        }
    }

    /// Where it stands within a deadband: as it was.
    const fn leans_ill(self) -> bool {
        match self {
            Self::NotJudged | Self::Normal { .. } | Self::Returned { .. } | Self::Latched { .. } => false,
            Self::Unacknowledged { .. } | Self::Acknowledged { .. } => true,
            Self::Shelved { beneath, .. } | Self::Suppressed { beneath, .. } | Self::OutOfService { beneath, .. } => {
                beneath.ill || beneath.turning.is_some()
            }
        }
    }

    fn turned(self, now: Timestamp, ill: bool, setting: &Setting) -> Turn {
        let Setting { manner, design, .. } = *setting;
        match self {
            Self::NotJudged | Self::Normal { holding: None } if !ill => (Self::Normal { holding: None }, None),
            Self::NotJudged => Self::Normal { holding: Some(now) }.turned(now, ill, setting),
            Self::Normal { holding } => {
                let holding = ill.then(|| holding.unwrap_or(now));
                raised(now, holding, setting).unwrap_or((Self::Normal { holding }, None))
            }
            Self::Returned { since, holding } => {
                let holding = ill.then(|| holding.unwrap_or(now));
                raised(now, holding, setting).unwrap_or((Self::Returned { since, holding }, None))
            }
            Self::Latched { since, acknowledged, holding } => {
                let holding = ill.then(|| holding.unwrap_or(now));
                let latched = Self::Latched { since, acknowledged, holding };
                raised(now, holding, setting).unwrap_or((latched, None))
            }
            Self::Unacknowledged { since, over } => match (ill, design) {
                (true, Some(why)) => {
                    let beneath = Beneath { judged: true, ill, turning: None, latched: false };
                    (Self::Suppressed { why, beneath }, Some(Event::Suppressed))
                }
                (true, None) => (Self::Unacknowledged { since, over: None }, None),
                (false, _) => {
                    let gone = over.unwrap_or(now);
                    let waits = Self::Unacknowledged { since, over: Some(gone) };
                    ended(now, gone, false, manner).unwrap_or((waits, None))
                }
            },
            Self::Acknowledged { since, .. } if ill => (Self::Acknowledged { since, over: None }, None),
            Self::Acknowledged { since, over } => {
                let gone = over.unwrap_or(now);
                let waits = Self::Acknowledged { since, over: Some(gone) };
                ended(now, gone, true, manner).unwrap_or((waits, None))
            }
            Self::Shelved { until, beneath } => {
                if until <= now {
                    return self.emerged(now, setting);
                }
                let (beneath, event) = beneath.judged(now, ill, setting);
                (Self::Shelved { until, beneath }, event)
            }
            Self::OutOfService { until, beneath } => {
                if until.is_some_and(|until| until <= now) {
                    return self.emerged(now, setting);
                }
                let (beneath, event) = beneath.judged(now, ill, setting);
                (Self::OutOfService { until, beneath }, event)
            }
            Self::Suppressed { why, beneath } => suppressed(now, ill, (why, beneath), setting),
        }
    }
}

fn held(now: Timestamp, since: Timestamp, delay: Span) -> bool {
    now.since(since) >= delay
}

/// Over, once it has been for its off-delay.
fn ended(now: Timestamp, gone: Timestamp, answered: bool, manner: Manner) -> Option<Turn> {
    if !held(now, gone, manner.off_delay) {
        return None;
    }
    Some(if manner.latches {
        (Life::Latched { since: now, acknowledged: answered, holding: None }, Some(Event::Returned))
    } else if answered || manner.settles {
        (Life::Normal { holding: None }, Some(Event::Cleared))
    } else {
        (Life::Returned { since: now, holding: None }, Some(Event::Returned))
    })
}

/// Raised, once the condition has held for its on-delay and may be raised; beneath its cause, if one stands.
fn raised(now: Timestamp, holding: Option<Timestamp>, setting: &Setting) -> Option<Turn> {
    let since = holding?;
    if !setting.may_raise || !held(now, since, setting.manner.on_delay) {
        return None;
    }
    let life = match setting.design {
        Some(why) => {
            let beneath = Beneath { judged: true, ill: true, turning: None, latched: false };
            Life::Suppressed { why, beneath }
        }
        None => Life::Unacknowledged { since: now, over: None },
    };
    Some((life, Some(Event::Raised)))
}

fn suppressed(now: Timestamp, ill: bool, (why, beneath): (Design, Beneath), setting: &Setting) -> Turn {
    // Out of season before, judged now: nothing is known of it yet.
    if why == Design::Season {
        return (Life::NotJudged.turned(now, ill, setting).0, Some(Event::Unsuppressed));
    }
    let (beneath, event) = beneath.judged(now, ill, setting);
    if !beneath.ill {
        return (beneath.emerged(now, setting), event);
    }
    match setting.design {
        Some(why) => (Life::Suppressed { why, beneath }, event),
        None => (Life::Unacknowledged { since: now, over: beneath.turning }, Some(Event::Unsuppressed)),
    }
}
