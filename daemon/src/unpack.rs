//! From a pack's records to readings: what is a reading, whose, and when. Pure; the rules of the contract's "Wire".
//!
//! Nothing a node can send makes this panic, take long, or keep more than [`MAX_RECORDS`] records. Whatever is not a
//! reading is counted by its [`Refusal`]; what is good beside it is kept.
use enclosure::reading::Unit;
use enclosure::{Measured, Reading, Refusal, SourceId, Span, Timestamp};
use std::collections::BTreeMap;

/// Records taken from one pack; what follows is refused and counted.
pub const MAX_RECORDS: usize = 4096;
/// How far ahead of its arrival a record's time may lie: a node's clock is a little out, but one reading from tomorrow
/// would make everything until then late.
pub const MAX_AHEAD: Span = Span::from_min(10);
/// 2000-01-01T00:00:00Z, ms since 1970: a clock that says less was never set.
pub const EARLIEST: Timestamp = Timestamp::from_unix_ms(946_684_800_000);
/// Times below this are relative to arrival, s (RFC 8428, 4.5.3).
pub const ABSOLUTE_FROM_S: f64 = 268_435_456.0;
/// Largest count that a double holds exactly, so that a JSON reader on the way cannot have rounded it: 2^53.
pub const MAX_COUNT: f64 = 9_007_199_254_740_992.0;
/// Sources that no nest lists, of which the last value is kept.
pub const MAX_STRANGERS: usize = 256;
/// Values of nodes' health that are kept.
pub const MAX_HEALTH: usize = 256;
/// Longest name that is kept of a stranger, bytes.
pub const MAX_KEPT_NAME: usize = 96;

/// One record, its name and unit resolved, its time as given.
#[derive(Debug, Clone, PartialEq)]
pub struct RawRecord {
    /// `bn` + `n`.
    pub name: String,
    /// `u`, else `bu`.
    pub unit: Option<String>,
    /// What it says.
    pub value: RawValue,
    /// `bt` + `t`, s: since 1970, or relative to arrival below [`ABSOLUTE_FROM_S`]. `None` is "now", as 0 is.
    pub time_s: Option<f64>,
}

/// A record's value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RawValue {
    /// `v`.
    Number(f64),
    /// `vb`.
    Bool(bool),
    /// `vs`, `vd`, or a sum alone: nothing here reads them.
    Other,
}

/// How a pack came.
#[derive(Debug, Clone, Copy)]
pub struct Arrival<'a> {
    /// When.
    pub at: Timestamp,
    /// Whether that says anything about when it was said.
    pub live: bool,
    /// If set, records of other nodes are refused. To be set to the topic's node where users have rights to topics:
    /// else one node could speak for another from within its own topic.
    pub only_node: Option<&'a str>,
}

/// A pack's own number, for the receipt.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackId {
    /// The node.
    pub node: String,
    /// The node's start; 0 if absent.
    pub boot: u64,
    /// The pack's number within it.
    pub seq: u64,
    /// The oldest pack that the node still keeps.
    pub from: Option<u64>,
}

/// A value that is no reading of a listed source, but worth a look.
#[derive(Debug, Clone, PartialEq)]
pub struct Aside {
    /// Full name, at most [`MAX_KEPT_NAME`] bytes.
    pub name: String,
    /// Its unit, cut likewise; empty for on/off.
    pub unit: String,
    /// Its value; on is 1, off is 0.
    pub value: f64,
}

/// How many records were refused, by reason.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Refusals([u64; Refusal::ALL.len()]);

/// What was in a pack.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Unpacked {
    /// The readings of listed sources, in the pack's order.
    pub readings: Vec<Reading>,
    /// What was refused.
    pub refused: Refusals,
    /// A node's link state: a state, not an hour.
    pub link: Option<(String, bool)>,
    /// The pack's number, if it asks for a receipt.
    pub pack: Option<PackId>,
    /// A node's supply (V), reception (dBW), times (s) and counts.
    pub health: Vec<Aside>,
    /// Last values of sources that no nest lists.
    pub strangers: Vec<Aside>,
}

impl Refusals {
    /// How many for this reason.
    pub fn get(&self, why: Refusal) -> u64 {
        Refusal::ALL.iter().zip(self.0).find(|(refusal, _)| **refusal == why).map_or(0, |(_, count)| count)
    }

    /// How many in all.
    pub fn total(&self) -> u64 {
        self.0.iter().fold(0, |sum, count| sum.saturating_add(*count))
    }

    /// Counts one more.
    pub fn add(&mut self, why: Refusal) {
        for (refusal, count) in Refusal::ALL.iter().zip(&mut self.0) {
            *count = count.saturating_add(u64::from(*refusal == why));
        }
    }

    /// Adds another's counts.
    pub fn merge(&mut self, other: &Self) {
        for (count, more) in self.0.iter_mut().zip(other.0) {
            *count = count.saturating_add(more);
        }
    }
}

/// Sorts a pack's records. `lookup` knows the sources that some nest lists.
pub fn unpack(
    records: impl IntoIterator<Item = Result<RawRecord, Refusal>>,
    arrival: Arrival<'_>,
    lookup: impl Fn(&str) -> Option<SourceId>,
) -> Unpacked {
    let mut out = Unpacked::default();
    let mut header = Header::default();
    for (index, record) in records.into_iter().enumerate() {
        let taken = match record {
            _ if index >= MAX_RECORDS => Err(Refusal::Form),
            Err(why) => Err(why),
            Ok(record) => sort(&record, arrival, &lookup, &mut header, &mut out),
        };
        if let Err(why) = taken {
            out.refused.add(why);
        }
    }
    out.pack = header.finish();
    out
}

fn sort(
    record: &RawRecord,
    arrival: Arrival<'_>,
    lookup: impl Fn(&str) -> Option<SourceId>,
    header: &mut Header,
    out: &mut Unpacked,
) -> Result<(), Refusal> {
    // A source without a node's name belongs to nobody who could be held to it.
    let (node, leaf) = record.name.rsplit_once(':').unwrap_or(("", &record.name));
    if arrival.only_node.is_some_and(|only| only != node) {
        return Err(Refusal::UnknownSource);
    }
    if let Some(source) = lookup(&record.name) {
        let measured = measure(record)?;
        let at = date(record.time_s, arrival)?;
        out.readings.push(Reading { source, at, measured });
        return Ok(());
    }
    match (record.unit.as_deref(), record.value) {
        (Some("count"), value) if matches!(leaf, "seq" | "boot" | "from") => header.take(node, leaf, value),
        (_, RawValue::Bool(up)) if leaf == "link" && !node.is_empty() => {
            out.link = Some((node.to_owned(), up));
            Ok(())
        }
        // What proves a pack is no value of anything; whether it does is judged over the bytes.
        (None, RawValue::Other) if leaf == "proof" && !node.is_empty() => Ok(()),
        (_, RawValue::Number(value)) if !value.is_finite() => Err(Refusal::NonFinite),
        (Some("V" | "dBW" | "s" | "count"), RawValue::Number(value)) => {
            out.health.push(Aside::of(record, value));
            Ok(())
        }
        (_, value) => {
            match value {
                RawValue::Number(value) => out.strangers.push(Aside::of(record, value)),
                RawValue::Bool(on) => out.strangers.push(Aside::of(record, f64::from(u8::from(on)))),
                RawValue::Other => {}
            }
            Err(Refusal::UnknownSource)
        }
    }
}

fn measure(record: &RawRecord) -> Result<Measured, Refusal> {
    match (record.unit.as_deref(), record.value) {
        (None | Some("/"), RawValue::Bool(on)) => Ok(Measured::On(on)),
        (_, RawValue::Bool(_)) | (None, RawValue::Number(_)) => Err(Refusal::Unit),
        (Some(unit), RawValue::Number(value)) => Measured::new(Unit::from_senml(unit).ok_or(Refusal::Unit)?, value),
        (_, RawValue::Other) => Err(Refusal::Form),
    }
}

/// When a record was measured.
fn date(time_s: Option<f64>, arrival: Arrival<'_>) -> Result<Timestamp, Refusal> {
    let time_s = time_s.unwrap_or(0.0);
    if !time_s.is_finite() {
        return Err(Refusal::Time);
    }
    let at = if time_s >= ABSOLUTE_FROM_S {
        Timestamp::from_unix_s(time_s).ok_or(Refusal::Time)?
    } else if arrival.live {
        // Only the span is rounded: seconds since 1970 as a double would cost part of a millisecond.
        let span = Timestamp::from_unix_s(time_s).ok_or(Refusal::Time)?;
        arrival.at.plus(Span::from_ms(span.unix_ms()))
    } else {
        return Err(Refusal::TimeUnknown);
    };
    if at < EARLIEST || at > arrival.at.plus(MAX_AHEAD) { Err(Refusal::Time) } else { Ok(at) }
}

/// What a pack says of itself, as its records come.
#[derive(Default)]
struct Header {
    node: Option<String>,
    seq: Option<u64>,
    boot: Option<u64>,
    from: Option<u64>,
    /// Something of it could not be read: then there is no receipt, and the node keeps the pack.
    broken: bool,
}

impl Header {
    fn take(&mut self, node: &str, leaf: &str, value: RawValue) -> Result<(), Refusal> {
        let count = match value {
            RawValue::Number(v) if (0.0..=MAX_COUNT).contains(&v) && v.trunc().total_cmp(&v).is_eq() => v as u64,
            _ => {
                self.broken = true;
                return Err(Refusal::Form);
            }
        };
        let slot = match leaf {
            "seq" => &mut self.seq,
            "boot" => &mut self.boot,
            _ => &mut self.from,
        };
        // One pack, one node, one number: whoever says two says neither.
        if slot.replace(count).is_some() || node.is_empty() || self.node.get_or_insert_with(|| node.to_owned()) != node
        {
            self.broken = true;
            return Err(Refusal::Form);
        }
        Ok(())
    }

    fn finish(self) -> Option<PackId> {
        let Self { node: Some(node), seq: Some(seq), boot, from, broken: false } = self else { return None };
        Some(PackId { node, boot: boot.unwrap_or(0), seq, from })
    }
}

impl Aside {
    fn of(record: &RawRecord, value: f64) -> Self {
        Self { name: cut(&record.name), unit: cut(record.unit.as_deref().unwrap_or_default()), value }
    }
}

fn cut(text: &str) -> String {
    let fits = |(at, c): &(usize, char)| at + c.len_utf8() <= MAX_KEPT_NAME;
    text.char_indices().take_while(fits).map(|(_, c)| c).collect()
}

/// Last values by name, a bounded number of them: when it is full, the one heard longest ago makes room.
#[derive(Debug, Clone)]
pub struct LastValues {
    most: usize,
    by_name: BTreeMap<String, LastValue>,
    forgotten: u64,
}

/// The last that was heard under a name.
#[derive(Debug, Clone, PartialEq)]
pub struct LastValue {
    /// Its unit; empty for on/off.
    pub unit: String,
    /// Its value; on is 1, off is 0.
    pub value: f64,
    /// When it was heard.
    pub heard: Timestamp,
    /// How often the name was heard since it is kept here.
    pub count: u64,
}

/// Sources that no nest lists, with their last values.
pub type Strangers = LastValues;

impl LastValues {
    /// Keeps at most `most` names, [`MAX_STRANGERS`] or [`MAX_HEALTH`].
    pub const fn new(most: usize) -> Self {
        Self { most, by_name: BTreeMap::new(), forgotten: 0 }
    }

    /// Notes a value that was heard at `heard`.
    pub fn note(&mut self, aside: Aside, heard: Timestamp) {
        let Aside { name, unit, value } = aside;
        let count = self.by_name.get(&name).map_or(0, |last| last.count).saturating_add(1);
        if count == 1 && self.by_name.len() >= self.most {
            let oldest = self.by_name.iter().min_by_key(|(_, last)| last.heard).map(|(name, _)| name.clone());
            if let Some(oldest) = oldest {
                self.by_name.remove(&oldest);
                self.forgotten = self.forgotten.saturating_add(1);
            }
        }
        if self.most > 0 {
            self.by_name.insert(name, LastValue { unit, value, heard, count });
        }
    }

    /// All that is kept, by name.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &LastValue)> {
        self.by_name.iter().map(|(name, last)| (name.as_str(), last))
    }

    /// How many names made room for others.
    pub const fn forgotten(&self) -> u64 {
        self.forgotten
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use RawValue::{Bool, Number, Other};

    /// 2026-01-01T00:00:00Z
    const NOW: Timestamp = Timestamp::from_unix_ms(1_767_225_600_000);

    fn record(name: &str, unit: &str, value: RawValue) -> RawRecord {
        let unit = (!unit.is_empty()).then(|| unit.to_owned());
        RawRecord { name: name.to_owned(), unit, value, time_s: None }
    }

    fn at(mut record: RawRecord, time_s: f64) -> RawRecord {
        record.time_s = Some(time_s);
        record
    }

    fn lookup(name: &str) -> Option<SourceId> {
        ["oak:warm", "oak:mat"].iter().position(|known| *known == name).map(|i| SourceId(i as u16))
    }

    fn unpacked(live: bool, records: Vec<RawRecord>) -> Unpacked {
        unpack(records.into_iter().map(Ok), Arrival { at: NOW, live, only_node: None }, lookup)
    }

    /// The reasons of refusal, in the order of `Refusal::ALL`.
    fn reasons(out: &Unpacked) -> Vec<Refusal> {
        Refusal::ALL.into_iter().filter(|why| out.refused.get(*why) > 0).collect()
    }

    #[test]
    fn units_and_ranges_decide_what_is_a_reading() {
        for (unit, value, expected) in [
            ("Cel", Number(24.5), Ok(Measured::Temperature(24.5))),
            ("Cel", Number(-60.0), Ok(Measured::Temperature(-60.0))),
            ("Cel", Number(150.1), Err(Refusal::Range)),
            ("%RH", Number(110.0), Ok(Measured::Humidity(110.0))),
            ("%RH", Number(-0.1), Err(Refusal::Range)),
            ("/", Number(0.5), Ok(Measured::Duty(0.5))),
            ("/", Number(1.01), Err(Refusal::Range)),
            ("W", Number(7.0), Ok(Measured::Power(7.0))),
            ("", Bool(true), Ok(Measured::On(true))),
            ("/", Bool(false), Ok(Measured::On(false))),
            ("Cel", Bool(true), Err(Refusal::Unit)),
            ("", Number(24.5), Err(Refusal::Unit)),
            ("F", Number(75.0), Err(Refusal::Unit)),
            ("V", Number(3.3), Err(Refusal::Unit)),
            ("Cel", Number(f64::NAN), Err(Refusal::NonFinite)),
            ("Cel", Number(f64::INFINITY), Err(Refusal::NonFinite)),
            ("Cel", Other, Err(Refusal::Form)),
        ] {
            let out = unpacked(true, vec![record("oak:mat", unit, value)]);
            match expected {
                Ok(measured) => {
                    assert_eq!(out.readings, [Reading { source: SourceId(1), at: NOW, measured }], "{unit} {value:?}");
                    assert_eq!(out.refused.total(), 0);
                }
                Err(why) => {
                    assert!(out.readings.is_empty(), "{unit} {value:?}");
                    assert_eq!(reasons(&out), [why], "{unit} {value:?}");
                }
            }
        }
    }

    #[test]
    fn a_time_is_absolute_from_2_to_the_28_on_and_else_relative_to_a_live_arrival() {
        let now_s = NOW.unix_s();
        let (day_s, year_2000_s, most_s) = (86_400.0, EARLIEST.unix_s(), MAX_AHEAD.s());
        for (time_s, live, late) in [
            (Some(now_s), Ok(now_s), Ok(now_s)),
            (Some(now_s - 3650.0 * day_s), Ok(now_s - 3650.0 * day_s), Ok(now_s - 3650.0 * day_s)),
            (Some(now_s + most_s), Ok(now_s + most_s), Ok(now_s + most_s)),
            (Some(now_s + most_s + 0.001), Err(Refusal::Time), Err(Refusal::Time)),
            (Some(year_2000_s), Ok(year_2000_s), Ok(year_2000_s)),
            (Some(year_2000_s - 0.001), Err(Refusal::Time), Err(Refusal::Time)),
            (Some(ABSOLUTE_FROM_S), Err(Refusal::Time), Err(Refusal::Time)),
            (Some(1e300), Err(Refusal::Time), Err(Refusal::Time)),
            (Some(f64::NAN), Err(Refusal::Time), Err(Refusal::Time)),
            (Some(f64::NEG_INFINITY), Err(Refusal::Time), Err(Refusal::Time)),
            (None, Ok(now_s), Err(Refusal::TimeUnknown)),
            (Some(0.0), Ok(now_s), Err(Refusal::TimeUnknown)),
            (Some(-90.5), Ok(now_s - 90.5), Err(Refusal::TimeUnknown)),
            (Some(most_s), Ok(now_s + most_s), Err(Refusal::TimeUnknown)),
            (Some(most_s + 1.0), Err(Refusal::Time), Err(Refusal::TimeUnknown)),
            (Some(-1e11), Err(Refusal::Time), Err(Refusal::TimeUnknown)),
            (Some(-1e300), Err(Refusal::Time), Err(Refusal::TimeUnknown)),
        ] {
            for (is_live, expected) in [(true, live), (false, late)] {
                let said = RawRecord { time_s, ..record("oak:warm", "Cel", Number(20.0)) };
                let out = unpacked(is_live, vec![said]);
                let got = out.readings.first().map(|reading| reading.at).ok_or_else(|| reasons(&out)[0]);
                let expected = expected.map(|s| Timestamp::from_unix_s(s).unwrap());
                assert_eq!(got, expected, "{time_s:?}, live: {is_live}");
            }
        }
    }

    #[test]
    fn a_bad_record_does_not_cost_the_good_ones_beside_it() {
        let good = || Ok(record("oak:warm", "Cel", Number(20.0)));
        let records = [good(), Err(Refusal::Form), Ok(record("oak:warm", "Cel", Number(999.0))), good()];
        let out = unpack(records, Arrival { at: NOW, live: true, only_node: None }, lookup);
        assert_eq!((out.readings.len(), reasons(&out)), (2, vec![Refusal::Form, Refusal::Range]));
    }

    #[test]
    fn a_pack_is_numbered_by_whole_counts_of_one_node_and_by_nothing_else() {
        let count = |name: &str, v: f64| record(name, "count", Number(v));
        let id = |boot, from| Some(PackId { node: "oak".to_owned(), boot, seq: 9, from });
        for (records, expected, refused) in [
            (vec![count("oak:seq", 9.0)], id(0, None), 0),
            (vec![count("oak:seq", 9.0), count("oak:boot", 7.0), count("oak:from", 3.0)], id(7, Some(3)), 0),
            (vec![count("oak:boot", 7.0)], None, 0),
            (vec![count("oak:seq", 9.5)], None, 1),
            (vec![count("oak:seq", -1.0)], None, 1),
            (vec![count("oak:seq", f64::NAN)], None, 1),
            (vec![count("oak:seq", MAX_COUNT * 2.0)], None, 1),
            (vec![record("oak:seq", "count", Bool(true))], None, 1),
            (vec![count("oak:seq", 9.0), count("oak:boot", 0.5)], None, 1),
            (vec![count("oak:seq", 9.0), count("oak:seq", 9.0)], None, 1),
            (vec![count("oak:seq", 9.0), count("elm:boot", 1.0)], None, 1),
            (vec![count("seq", 9.0)], None, 1),
            // Without the unit it is a source like any other.
            (vec![record("oak:seq", "", Number(9.0))], None, 1),
        ] {
            // A header needs no time: a pack that waited in the broker is answered, too.
            let out = unpacked(false, records.clone());
            assert_eq!((out.pack, out.refused.total()), (expected, refused), "{records:?}");
        }
        let largest = unpacked(false, vec![count("oak:seq", MAX_COUNT)]);
        assert_eq!(largest.pack.map(|pack| pack.seq), Some(1 << 53));
    }

    #[test]
    fn link_and_health_are_no_readings_and_need_no_time() {
        let out = unpacked(
            false,
            vec![
                record("oak:link", "", Bool(false)),
                record("oak:supply", "V", Number(3.28)),
                record("oak:radio", "dBW", Number(-97.0)),
                record("oak:up", "s", Number(f64::INFINITY)),
            ],
        );
        assert_eq!(out.link, Some(("oak".to_owned(), false)));
        assert_eq!(out.health.iter().map(|aside| aside.value).collect::<Vec<_>>(), [3.28, -97.0]);
        assert_eq!(reasons(&out), [Refusal::NonFinite]);
    }

    #[test]
    fn a_stranger_is_counted_and_shown_with_a_name_of_bounded_length() {
        let long = "ä".repeat(MAX_KEPT_NAME);
        let out = unpacked(
            true,
            vec![record("lamp:on", "", Bool(true)), record(&long, &long, Number(1.5)), record("x:text", "", Other)],
        );
        assert_eq!(out.refused.get(Refusal::UnknownSource), 3);
        assert_eq!(out.strangers[0], Aside { name: "lamp:on".to_owned(), unit: String::new(), value: 1.0 });
        assert_eq!((out.strangers.len(), out.strangers[1].name.len()), (2, MAX_KEPT_NAME));
    }

    #[test]
    fn where_topics_have_owners_a_node_speaks_for_itself_only() {
        let records = [
            record("oak:warm", "Cel", Number(20.0)),
            record("elm:link", "", Bool(false)),
            record("elm:seq", "count", Number(1.0)),
            record("bare", "Cel", Number(1.0)),
        ];
        let by = |node| {
            unpack(records.iter().cloned().map(Ok), Arrival { at: NOW, live: true, only_node: Some(node) }, lookup)
        };
        let (oak, elm) = (by("oak"), by("elm"));
        assert_eq!((oak.readings.len(), oak.link, oak.pack, oak.refused.total()), (1, None, None, 3));
        assert_eq!(
            (elm.readings.len(), elm.link.is_some(), elm.pack.is_some(), elm.refused.total()),
            (0, true, true, 2)
        );
    }

    #[test]
    fn a_pack_without_end_is_cut_and_the_rest_counted() {
        let records = std::iter::repeat_n(record("oak:warm", "Cel", Number(20.0)), MAX_RECORDS + 3);
        let out = unpacked(true, records.collect());
        assert_eq!((out.readings.len(), out.refused.get(Refusal::Form)), (MAX_RECORDS, 3));
    }

    #[test]
    fn last_values_are_bounded_and_the_longest_unheard_makes_room() {
        let mut last = LastValues::new(2);
        let mut note = |name: &str, s| {
            let aside = Aside { name: name.to_owned(), unit: "Cel".to_owned(), value: s as f64 };
            last.note(aside, NOW.plus(Span::from_s(s)));
        };
        for (name, s) in [("a", 0), ("b", 1), ("a", 2), ("c", 3)] {
            note(name, s);
        }
        let kept: Vec<_> = last.iter().map(|(name, last)| (name, last.value, last.count)).collect();
        assert_eq!(kept, [("a", 2.0, 2), ("c", 3.0, 1)]);
        assert_eq!(last.forgotten(), 1);
    }

    proptest::proptest! {
        #[test]
        fn no_record_makes_a_reading_out_of_range_or_time(
            name in "(oak:warm|oak:mat|oak:seq|[a-z:]{0,9})",
            unit in "(Cel|%RH|/|W|V|count|[A-Z]?)",
            value: f64,
            time_s: Option<f64>,
            live: bool,
        ) {
            let out = unpacked(live, vec![RawRecord { time_s, ..record(&name, &unit, Number(value)) }]);
            for Reading { at, measured, .. } in &out.readings {
                proptest::prop_assert!(*at >= EARLIEST && *at <= NOW.plus(MAX_AHEAD));
                let (Measured::Temperature(v) | Measured::Humidity(v) | Measured::Duty(v) | Measured::Power(v)) = *measured
                    else { panic!("a number is no state") };
                proptest::prop_assert!(v.is_finite() && (-60.0..=10_000.0).contains(&v));
            }
            // Each record is exactly one of: reading, refused, header, health.
            let leaf = name.rsplit(':').next();
            let is_header = unit == "count" && matches!(leaf, Some("seq" | "boot" | "from"));
            let header = usize::from(is_header && out.refused.total() == 0);
            proptest::prop_assert_eq!(out.readings.len() + out.refused.total() as usize + out.health.len() + header, 1);
        }

        #[test]
        fn a_far_relative_time_is_refused_and_a_near_one_is_exact(ms in -1_000_000_000_i64..600_000) {
            let out = unpacked(true, vec![at(record("oak:warm", "Cel", Number(1.0)), ms as f64 / 1000.0)]);
            proptest::prop_assert_eq!(out.readings[0].at, NOW.plus(Span::from_ms(ms)));
        }
    }
}
