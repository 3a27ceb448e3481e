//! Bands of temperature and humidity, and the seasons that change them.
use super::findings::Findings;
use super::names;
use super::raw::{RawBand, RawHumidity, RawSeason};
use dashboards::say;
use enclosure::shelf::{Band, Season, SeasonKind};

/// Above this, °C, a limit needs a reason: an hour near 40 °C killed workers of four *Solenopsis* species (M.S.
/// thesis, Texas Tech University, 1982, abstract); the contract's own guard stands here too.
pub(super) const LIMIT_NEEDS_WHY_C: f64 = 40.0;

/// How far above the limit a probe may read before it is a danger by itself, K.
const HOT_ABOVE_LIMIT_K: f64 = 5.0;

/// The band of a nest or a season.
pub(super) fn band(at: &str, raw: &RawBand, f: &mut Findings) -> Option<Band> {
    let path = |key: &str| format!("{at}.{key}");
    let low = f.need(raw.low_c, &path("low_c"));
    let high = f.need(raw.high_c, &path("high_c"));
    let limit = f.need(raw.limit_c, &path("limit_c"));
    if let (Some(low), Some(high)) = (low, high)
        && low >= high
    {
        f.wrong(&path("high_c"), not_above(high, "low_c", low), say!("shelf-not-above-band-do"));
    }
    if let (Some(high), Some(limit)) = (high, limit)
        && high >= limit
    {
        f.wrong(&path("limit_c"), not_above(limit, "high_c", high), say!("shelf-not-above-band-do"));
    }
    let limit_c = limit?;
    if limit_c > LIMIT_NEEDS_WHY_C && raw.why.is_none() && !f.is_doubted(&path("why")) {
        f.wrong(
            &path("limit_c"),
            say!("shelf-limit-high", value = limit_c.to_string(), most = LIMIT_NEEDS_WHY_C.to_string()),
            say!("shelf-limit-high-do"),
        );
    }
    let hot_c = raw.hot_c.unwrap_or(limit_c + HOT_ABOVE_LIMIT_K);
    if hot_c < limit_c {
        let why = say!("shelf-hot-low", value = hot_c.to_string(), other = limit_c.to_string());
        f.wrong(&path("hot_c"), why, say!("shelf-hot-low-do"));
    }
    Some(Band { low_c: low?, high_c: high?, limit_c, hot_c })
}

/// What is said where `value` is not above `other`, which stands under `key`.
pub(super) fn not_above(value: f64, key: &str, other: f64) -> String {
    say!("shelf-not-above", value = value.to_string(), key = key, other = other.to_string())
}

/// The humidity a keeper wants, %RH (low, high).
pub(super) fn humidity(at: &str, raw: &RawHumidity, f: &mut Findings) -> Option<(f64, f64)> {
    let low = f.need(raw.low_pct, &format!("{at}.low_pct"));
    let high = f.need(raw.high_pct, &format!("{at}.high_pct"));
    let (low, high) = (low?, high?);
    if low >= high {
        f.wrong(&format!("{at}.high_pct"), not_above(high, "low_pct", low), say!("shelf-not-above-humidity-do"));
    }
    Some((low, high))
}

/// Days of a year with 29 February.
const YEAR_DAYS: usize = 366;

/// The seasons of a nest; no day may lie in two.
pub(super) fn seasons(nest: &str, raw: &[RawSeason], f: &mut Findings) -> Vec<Season> {
    let mut taken: [Option<usize>; YEAR_DAYS] = [None; YEAR_DAYS];
    let mut built = Vec::new();
    for (i, r) in raw.iter().enumerate() {
        let at = format!("{nest}.season[{i}]");
        let Some(s) = season(&at, r, f) else { continue };
        if let Some(other) = days(&s).find_map(|d| taken[d]) {
            f.wrong(&at, say!("shelf-season-overlaps", n = other), say!("shelf-season-overlaps-do"));
        }
        for d in days(&s) {
            taken[d].get_or_insert(i);
        }
        built.push(s);
    }
    built
}

/// The days of a season, each below [`YEAR_DAYS`].
fn days(season: &Season) -> impl Iterator<Item = usize> {
    let (from, to) = (names::day_of_year(season.from), names::day_of_year(season.to));
    let length = (to + YEAR_DAYS - from) % YEAR_DAYS;
    (0..=length).map(move |d| (from + d) % YEAR_DAYS)
}

fn season(at: &str, raw: &RawSeason, f: &mut Findings) -> Option<Season> {
    let path = |key: &str| format!("{at}.{key}");
    let mut date = |key: &str, text: &Option<String>| {
        let text = f.need(text.as_deref(), &path(key))?;
        f.keep(&path(key), names::day(text))
    };
    let from = date("from", &raw.from);
    let to = date("to", &raw.to);
    let any = [raw.low_c, raw.high_c, raw.limit_c, raw.hot_c].iter().any(Option::is_some);
    let limits =
        RawBand { low_c: raw.low_c, high_c: raw.high_c, limit_c: raw.limit_c, hot_c: raw.hot_c, why: raw.why.clone() };
    let band = if any { band(at, &limits, f) } else { None };
    let kind = match raw.kind.as_deref() {
        Some("rest") => SeasonKind::Rest,
        Some("empty") => SeasonKind::Empty,
        _ => SeasonKind::Active,
    };
    Some(Season { from: from?, to: to?, kind, band, pad_off: raw.pad.as_deref() == Some("off") })
}
