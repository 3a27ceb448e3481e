//! How a nest stands, in a few sentences that claim no more than is known.
use crate::times::length;
use dashboards::{BandView, ProbeView, Z90, say};
use enclosure::{NestNow, Span};

/// Off by more than this, what is believed between probes is told with how far it may be off, K: where the picture of a
/// span has holes.
pub(super) const DOUBT_K: f64 = 2.0;

/// How a nest stands; `old`: how old its newest reading is, where that is too old.
pub(super) fn summary(seen: &NestNow, band: Option<BandView>, old: Option<Span>, probes: &[ProbeView]) -> String {
    let mut said: Vec<String> = old.map(|age| say!("stands-old", age = length(age))).into_iter().collect();
    if seen.heard.is_none() {
        said.push(say!("stands-silent"));
    } else {
        said.extend(brood_now(seen, band, None));
        said.extend(along(&seen.profile.mean_c, &seen.profile.sd_c));
    }
    said.extend(doubts(probes));
    said.join(" ")
}

/// How warm the brood place is now, if that is known; `old` as in [`summary`].
pub(super) fn brood_now(seen: &NestNow, band: Option<BandView>, old: Option<Span>) -> Option<String> {
    let (mean, sd, _) = seen.brood_c.filter(|_| seen.heard.is_some())?;
    let said = old.map(|age| say!("stands-old", age = length(age)));
    Some(said.into_iter().chain([warmth(mean, sd * Z90, band)]).collect::<Vec<_>>().join(" "))
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

/// How warm the brood place is, against the band where there is one. On which side of a bound it lies is said without a
/// word of doubt only where it lies there 9 times in 10; where it may lie beyond either, nothing is said of it.
fn warmth(mean_c: f64, off_k: f64, band: Option<BandView>) -> String {
    let (mean, off) = rounded(mean_c, off_k);
    let Some(BandView { low_c, high_c, .. }) = band else { return say!("stands-brood", mean = mean, off = off) };
    let (low, high) = (low_c.to_string(), high_c.to_string());
    let (least_c, most_c) = (mean_c - off_k, mean_c + off_k);
    if least_c < low_c && most_c > high_c {
        return say!("stands-brood-open", mean = mean, off = off, low = low, high = high);
    }
    if mean_c < low_c {
        let by = format!("{:.1}", low_c - mean_c);
        let sure = if most_c < low_c { "sure" } else { "likely" };
        say!("stands-brood-below", mean = mean, off = off, by = by, sure = sure, low = low, high = high)
    } else if mean_c > high_c {
        let by = format!("{:.1}", mean_c - high_c);
        let sure = if least_c > high_c { "sure" } else { "likely" };
        say!("stands-brood-above", mean = mean, off = off, by = by, sure = sure, low = low, high = high)
    } else {
        let sure = if least_c >= low_c && most_c <= high_c { "sure" } else { "likely" };
        say!("stands-brood-within", mean = mean, off = off, sure = sure, low = low, high = high)
    }
}

/// The coolest and the warmest place, and how far that may be off where it may be far.
fn along(mean_c: &[f64], sd_k: &[f64]) -> Option<String> {
    let ends = |values: &[f64]| {
        let finite = values.iter().copied().filter(|v| v.is_finite());
        finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
    };
    let ((low, high), off_k) = (ends(mean_c), ends(sd_k).1 * Z90);
    if low > high {
        return None;
    }
    if off_k.is_nan() || off_k <= DOUBT_K {
        return Some(say!("stands-ends", low = format!("{low:.1}"), high = format!("{high:.1}")));
    }
    let (low, high, off) = (format!("{low:.0}"), format!("{high:.0}"), format!("{off_k:.0}"));
    let alike = if low == high { "alike" } else { "apart" };
    Some(say!("stands-ends-doubtful", alike = alike, low = low, high = high, off = off))
}

/// With no more figures than are known.
fn rounded(mean_c: f64, off_k: f64) -> (String, String) {
    let digits = if off_k > DOUBT_K { 0 } else { 1 };
    (format!("{mean_c:.digits$}"), format!("{off_k:.digits$}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const BAND: BandView = BandView { low_c: 24.0, high_c: 28.0, limit_c: 34.0 };

    fn said(mean_c: f64, off_k: f64) -> String {
        warmth(mean_c, off_k, Some(BAND))
    }

    #[test]
    fn a_band_is_not_called_kept_where_nobody_knows() {
        assert_eq!(
            said(27.2, 11.0),
            "The brood place is at 27 ± 11 °C: too little is known to say whether that is within the band of 24 to 28 °C."
        );
        assert_eq!(said(26.0, 0.4), "The brood place is at 26.0 ± 0.4 °C, within the band of 24 to 28 °C.");
        assert_eq!(said(27.8, 0.4), "The brood place is at 27.8 ± 0.4 °C, likely within the band of 24 to 28 °C.");
        assert_eq!(said(28.2, 0.4), "The brood place is at 28.2 ± 0.4 °C, likely 0.2 K above the band of 24 to 28 °C.");
        assert_eq!(said(31.0, 0.4), "The brood place is at 31.0 ± 0.4 °C, 3.0 K above the band of 24 to 28 °C.");
        assert_eq!(said(22.9, 1.0), "The brood place is at 22.9 ± 1.0 °C, 1.1 K below the band of 24 to 28 °C.");
    }

    /// Whatever the mean: the less is known, the less is claimed, and a side is named plainly only where all of the
    /// interval lies on it.
    #[test]
    fn more_doubt_never_claims_more() {
        let claim = |text: &str| match text {
            t if t.contains("too little") => 0,
            t if t.contains("likely") => 1,
            _ => 2,
        };
        for tenth in 180..340 {
            let mean_c = f64::from(tenth) / 10.0;
            let claims: Vec<u8> = (1..200).map(|k| claim(&said(mean_c, f64::from(k) / 10.0))).collect();
            assert!(claims.windows(2).all(|w| w[0] >= w[1]), "{mean_c}: {claims:?}");
            assert_eq!(claims.last(), Some(&0), "{mean_c}");
        }
    }

    #[test]
    fn what_lies_between_probes_is_told_with_its_doubt() {
        let known = along(&[25.0, 27.4], &[0.2, 0.3]).unwrap();
        assert_eq!(known, "From 25.0 to 27.4 °C along the nest.");
        let doubtful = along(&[25.0, 27.2, 27.4], &[0.2, 6.7, 0.2]).unwrap();
        assert_eq!(
            doubtful,
            "Along the nest it is believed to be at 25 to 27 °C; where no probe is, that may be off by 11 K."
        );
        let flat = along(&[26.4, 26.4], &[0.2, 8.4]).unwrap();
        assert_eq!(flat, "Along the nest it is believed to be at 26 °C; where no probe is, that may be off by 14 K.");
        assert_eq!(along(&[f64::NAN], &[0.1]), None);
    }
}
