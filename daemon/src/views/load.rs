//! How the alarms themselves did: how many, how often at once, how long they stood, how soon they were answered;
//! against the guideline's table (ANSI/ISA-18.2-2016 and EEMUA 191, as public texts quote them).
//!
//! The guideline speaks of operators in plants. One keeper of a shelf should hear of far less: the table is the outer
//! bound of what anybody can bear, not an aim.
use super::words::listed;
use crate::history::{AlarmRecord, HistoryError, Reader};
use crate::times::length;
use dashboards::say;
use enclosure::board::FLOOD_BEGINS;
use enclosure::{Event, Span, State, Timestamp};
use std::collections::BTreeMap;
use std::ops::Range;

/// How far back an alarm may have been raised that still stands when the span begins.
const STANDING_BACK: Span = Span::from_h(60 * 24);
/// One that stands longer is stale (a common house rule; the standards give no number).
const STALE_AFTER: Span = Span::from_h(24);
/// So often within the time of chattering, and it chatters (a common house rule, 3 in a minute, at this watch's pace).
const CHATTERS: usize = 3;
/// Alarms a day that are likely acceptable.
const A_DAY: f64 = 150.0;
/// Alarms in ten minutes that are acceptable at the peak.
const PEAK: usize = FLOOD_BEGINS;
/// Part of the ten-minute spans that may hold more.
const FLOODED: f64 = 0.01;
/// Stale alarms on any day that are acceptable: fewer than this.
const STALE: usize = 5;
/// Ten minutes.
const SLOT: Span = Span::from_min(10);

/// How the alarms of a span did.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Load {
    /// Length of the span, days.
    pub days: f64,
    /// Alarms that were raised.
    pub raised: usize,
    /// Of these, told as messages; the rest followed from others, or was held back.
    pub told: usize,
    /// Most told within ten minutes.
    pub peak: usize,
    /// Part of the ten-minute spans with more than the guideline's ten.
    pub flooded: f64,
    /// Alarms whose condition holds at the end.
    pub standing: usize,
    /// Alarms that stood longer than a day.
    pub stale: Vec<String>,
    /// Alarms that came and went too often.
    pub chattering: Vec<String>,
    /// From raised to answered: median and longest.
    pub answered: Option<(Span, Span)>,
    /// Told and never answered, though they needed an answer.
    pub unanswered: usize,
    /// The most frequent alarm, and its part of all.
    pub most: Option<(String, f64)>,
}

/// The changes that tell of `span`: also earlier ones, for what still stands.
///
/// # Errors
/// [`HistoryError`] where history cannot be read.
pub fn changes(reader: &Reader, span: &Range<Timestamp>) -> Result<Vec<AlarmRecord>, HistoryError> {
    let all = reader.alarm_changes(span.start.minus(STANDING_BACK)..span.end)?;
    Ok(all.into_iter().map(|(_, change)| change).collect())
}

/// One alarm's way through the span.
#[derive(Default)]
struct Way {
    raised: Vec<Timestamp>,
    since: Option<Timestamp>,
    told: Option<Timestamp>,
    longest: Span,
    answers: Vec<Span>,
    unanswered: usize,
}

impl Way {
    fn take(&mut self, c: &AlarmRecord, span: &Range<Timestamp>) {
        let within = c.at >= span.start;
        match c.event {
            Event::Raised => {
                self.since = Some(c.at);
                if within {
                    self.raised.push(c.at);
                }
            }
            Event::Acknowledged | Event::Shelved | Event::OutOfService => self.answer(c.at, within),
            _ => {}
        }
        if c.told && within {
            self.told = Some(c.at);
        }
        let over = matches!(c.state, State::Normal | State::Returned | State::Latched);
        if over && let Some(since) = self.since.take() {
            self.stood(since, c.at, span);
        }
        // Returned: a message of it is answered later, or nobody answers.
        if c.event == Event::Cleared && c.state == State::Normal {
            self.told = None;
        }
    }

    fn answer(&mut self, at: Timestamp, within: bool) {
        if let Some(told) = self.told.take().filter(|_| within) {
            self.answers.push(at.since(told));
        }
    }

    fn stood(&mut self, since: Timestamp, until: Timestamp, span: &Range<Timestamp>) {
        if until >= span.start {
            self.longest = self.longest.max(until.since(since));
        }
    }

    fn end(&mut self, span: &Range<Timestamp>) -> bool {
        let stands = self.since.take();
        if let Some(since) = stands {
            self.stood(since, span.end, span);
        }
        self.unanswered = usize::from(self.told.is_some());
        stands.is_some()
    }

    fn chatters(&self, within: Span) -> bool {
        self.raised.windows(CHATTERS).any(|w| w.last().zip(w.first()).is_some_and(|(b, a)| b.since(*a) < within))
    }
}

impl Load {
    /// From the changes of `span` and before it, oldest first.
    pub fn of(changes: &[AlarmRecord], span: &Range<Timestamp>, chatter: Span) -> Self {
        let mut ways: BTreeMap<String, Way> = BTreeMap::new();
        let mut told = Vec::new();
        for c in changes.iter().filter(|c| c.at < span.end) {
            let key = (c.alarm.name(), c.nest.as_deref(), c.probe.as_deref(), c.node.as_deref());
            ways.entry(crate::told::written(key)).or_default().take(c, span);
            if c.told && c.at >= span.start {
                told.push(c.at);
            }
        }
        let mut load = Self { days: span.end.since(span.start).s() / 86_400.0, told: told.len(), ..Self::default() };
        let mut answers = Vec::new();
        for (name, way) in &mut ways {
            load.standing += usize::from(way.end(span));
            load.raised += way.raised.len();
            load.unanswered += way.unanswered;
            answers.append(&mut way.answers);
            if way.longest > STALE_AFTER {
                load.stale.push(name.clone());
            }
            if way.chatters(chatter) {
                load.chattering.push(name.clone());
            }
        }
        let all = load.raised as f64;
        let most = ways.iter().max_by_key(|(_, way)| way.raised.len()).filter(|(_, way)| !way.raised.is_empty());
        load.most = most.map(|(name, way)| (name.clone(), way.raised.len() as f64 / all));
        answers.sort_unstable();
        load.answered = answers.get(answers.len() / 2).copied().zip(answers.last().copied());
        (load.peak, load.flooded) = crowding(&told, span);
        load
    }

    /// Told messages a day.
    pub fn a_day(&self) -> f64 {
        if self.days > 0.0 { self.told as f64 / self.days } else { 0.0 }
    }

    /// In plain words, a sentence each, with the guideline's bound beside each figure.
    pub fn sentences(&self) -> Vec<String> {
        let mut out = vec![say!(
            "load-raised",
            raised = self.raised,
            told = self.told,
            rate = format!("{:.1}", self.a_day()),
            bound = format!("{A_DAY:.0}"),
            peak = self.peak,
            flood = PEAK,
            percent = format!("{:.1}", 100.0 * self.flooded),
            under = format!("{:.0}", 100.0 * FLOODED),
        )];
        let (standing, stale) = (self.standing, self.stale.len());
        out.push(match named(&self.stale) {
            Some(names) => {
                say!("load-standing-named", standing = standing, stale = stale, bound = STALE, names = names)
            }
            None => say!("load-standing", standing = standing, stale = stale, bound = STALE),
        });
        let count = self.chattering.len();
        out.push(match named(&self.chattering) {
            Some(names) => say!("load-chattering-named", count = count, names = names),
            None => say!("load-chattering", count = count),
        });
        out.push(match self.answered {
            Some((median, longest)) => {
                say!("load-answered", median = length(median), longest = length(longest), never = self.unanswered,)
            }
            None => say!("load-none-answered", waiting = self.unanswered),
        });
        if let Some((name, part)) = &self.most {
            out.push(say!("load-most", name = name, percent = format!("{:.0}", 100.0 * part)));
        }
        out
    }
}

/// The figures beside the guideline's table: what is called acceptable, and manageable at most.
///
/// ANSI/ISA-18.2-2016 and EEMUA 191, as public texts quote them; “from memory” where none was found.
pub fn table(load: &Load) -> Vec<dashboards::LoadRow> {
    let row = |what, here, acceptable, at_most| dashboards::LoadRow { what, here, acceptable, at_most };
    let (a_day, share) = (load.a_day(), load.most.as_ref().map_or(0.0, |m| 100.0 * m.1));
    let (median, longest) = load.answered.map(|(a, b)| (length(a), length(b))).unzip();
    let answered = median.zip(longest).map(|(median, longest)| format!("{median} / {longest}"));
    let answered = answered.unwrap_or_else(|| say!("load-row-none-answered"));
    let about = |count: u32| say!("load-about", count = count);
    let (under, none) = (|| say!("load-under", percent = 1), || "–".to_owned());
    vec![
        row(say!("load-row-day"), format!("{a_day:.1}"), about(150), about(300)),
        row(say!("load-row-hour"), format!("{:.2}", a_day / 24.0), about(6), about(12)),
        row(say!("load-row-ten"), format!("{:.3}", a_day / 144.0), about(1), about(2)),
        row(say!("load-row-peak"), load.peak.to_string(), say!("load-or-fewer", count = 10), none()),
        row(say!("load-row-flood", flood = 10), format!("{:.1} %", 100.0 * load.flooded), under(), none()),
        row(say!("load-row-share"), format!("{share:.0} %"), under(), "5 %".to_owned()),
        row(say!("load-row-chattering"), load.chattering.len().to_string(), "0".to_owned(), none()),
        row(say!("load-row-stale"), load.stale.len().to_string(), say!("load-fewer-than", count = STALE), none()),
        row(say!("load-row-standing"), load.standing.to_string(), none(), none()),
        row(say!("load-row-answer"), answered, none(), none()),
        row(say!("load-row-unanswered"), load.unanswered.to_string(), none(), none()),
    ]
}

/// The first few.
fn named(names: &[String]) -> Option<String> {
    let few = listed(names.iter().take(5).cloned());
    match names.len() {
        0 => None,
        1..=5 => Some(few),
        _ => Some(say!("load-names-more", names = few)),
    }
}

/// Most within any ten minutes, and the part of the ten-minute spans with more than the guideline's ten.
fn crowding(told: &[Timestamp], span: &Range<Timestamp>) -> (usize, f64) {
    let mut told: Vec<Timestamp> = told.to_vec();
    told.sort_unstable();
    let (mut peak, mut first) = (0, 0);
    for (i, at) in told.iter().enumerate() {
        while at.since(told[first]) >= SLOT {
            first += 1;
        }
        peak = peak.max(i - first + 1);
    }
    let mut slots: BTreeMap<i64, usize> = BTreeMap::new();
    for at in &told {
        *slots.entry(at.since(span.start).ms().div_euclid(SLOT.ms())).or_default() += 1;
    }
    let all = (span.end.since(span.start).ms() as f64 / SLOT.ms() as f64).max(1.0);
    (peak, slots.values().filter(|n| **n > PEAK).count() as f64 / all)
}

#[cfg(test)]
mod tests {
    use super::*;
    use enclosure::Alarm;

    const START: i64 = 1_772_323_200_000;

    fn at(min: i64) -> Timestamp {
        Timestamp::from_unix_ms(START + min * 60_000)
    }

    fn change(min: i64, alarm: Alarm, event: Event, state: State) -> AlarmRecord {
        AlarmRecord {
            at: at(min),
            alarm,
            nest: Some("oak".to_owned()),
            probe: None,
            node: None,
            event,
            state,
            detail: String::new(),
            cause: None,
            told: event == Event::Raised,
        }
    }

    fn day() -> Range<Timestamp> {
        at(0)..at(24 * 60)
    }

    #[test]
    fn a_quiet_day_says_so() {
        let load = Load::of(&[], &day(), Span::from_h(1));
        assert_eq!(load, Load { days: 1.0, ..Load::default() });
        assert!(load.sentences()[0].starts_with("0 raised"), "{:?}", load.sentences());
        assert_eq!(table(&load)[0].here, "0.0");
    }

    #[test]
    fn answers_are_timed_from_the_message() {
        let mut changes = Vec::new();
        for (alarm, raised, answered) in
            [(Alarm::BroodHot, 10, 12), (Alarm::BroodCold, 20, 50), (Alarm::HeaterNoHeat, 30, 34)]
        {
            changes.push(change(raised, alarm, Event::Raised, State::Unacknowledged));
            changes.push(change(answered, alarm, Event::Acknowledged, State::Acknowledged));
        }
        changes.push(change(60, Alarm::BroodLimit, Event::Raised, State::Unacknowledged));
        let load = Load::of(&changes, &day(), Span::from_h(1));
        assert_eq!(load.answered, Some((Span::from_min(4), Span::from_min(30))));
        assert_eq!((load.raised, load.told, load.standing, load.unanswered), (4, 4, 4, 1));
        let here: Vec<_> = table(&load).into_iter().map(|row| row.here).collect();
        // 4 in one day: 4 / 24 an hour, 4 / 144 in ten minutes, no two within ten; one of four is a quarter.
        assert_eq!(here[..4], ["4.0", "0.17", "0.028", "1"]);
        assert_eq!((here[5].as_str(), here[9].as_str()), ("25 %", "4 min / 30 min"));
    }

    #[test]
    fn what_stood_from_before_is_stale_and_what_flickers_chatters() {
        let mut changes = vec![change(-3000, Alarm::WaterLow, Event::Raised, State::Unacknowledged)];
        for i in 0..3 {
            changes.push(change(100 + 10 * i, Alarm::ProbeSilent, Event::Raised, State::Unacknowledged));
            changes.push(change(105 + 10 * i, Alarm::ProbeSilent, Event::Cleared, State::Normal));
        }
        let load = Load::of(&changes, &day(), Span::from_h(1));
        assert_eq!(load.stale, ["water-low@oak"]);
        assert_eq!(load.chattering, ["probe-silent@oak"]);
        assert_eq!((load.raised, load.standing), (3, 1));
        assert_eq!(load.most, Some(("probe-silent@oak".to_owned(), 1.0)));
    }

    /// Eleven in ten minutes are a flood by the guideline; they fill one ten-minute span of a day's 144.
    #[test]
    fn a_flood_is_counted_by_ten_minutes() {
        let changes: Vec<_> =
            (0..11).map(|_| change(5, Alarm::BroodHot, Event::Raised, State::Unacknowledged)).collect();
        let load = Load::of(&changes, &day(), Span::from_h(1));
        assert_eq!((load.peak, load.told), (11, 11));
        assert!((load.flooded - 1.0 / 144.0).abs() < 1e-12);
        let calm = Load::of(&changes[..10], &day(), Span::from_h(1));
        assert!(calm.flooded.abs() < 1e-12);
    }
}
