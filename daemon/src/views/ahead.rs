//! What the core expects of a brood place in the hours ahead, as it is drawn and in words.
use super::hours::Hours;
use dashboards::{BandView, ForecastView, Tick, Z90, say};
use enclosure::forecast::{self, Departure, Outlook};
use enclosure::{Span, Timestamp};

/// Hours between two ticks.
const TICK_H: usize = 3;

/// The outlook as a view; none where it has no points.
pub(super) fn forecast_view(
    o: &Outlook,
    band: Option<BandView>,
    now: Timestamp,
    hours: &Hours,
) -> Option<ForecastView> {
    let count = o.brood_c.len().min(o.brood_sd_k.len()).min(o.room_c.len());
    let at = |i: usize| o.at.plus(Span::from_ms(forecast::EVERY.ms() * (i as i64 + 1)));
    let end = at(count.checked_sub(1)?);
    let span = o.at..end;
    let part = |t: Timestamp| super::events::part(t, &span);
    let ticks = hours.every(&span, TICK_H).into_iter();
    Some(ForecastView {
        brood_c: (0..count).map(|i| (o.brood_c[i], o.brood_sd_k[i])).collect(),
        room_c: o.room_c.iter().take(count).map(|r| r.0).collect(),
        clock: (0..count).map(|i| hours.clock(at(i))).collect(),
        ticks: ticks.map(|t| Tick { at: part(t), label: hours.clock(t), major: true }).collect(),
        leaves_at: o.leaves.map(|d| (part(d.from), part(d.about), d.to.map(part))),
        words: match o.leaves {
            Some(d) if d.about <= at(0) => has_left(&d, &span),
            Some(d) => leaves(&d, end, now, hours),
            None => stays(o, count, band, &span),
        },
    })
}

/// To which side, how far at the most, and give or take what, °C and K.
fn how_far(d: &Departure) -> (&'static str, String, String) {
    let (extreme_c, sd_k) = d.extreme_c;
    (if d.hot { "above" } else { "below" }, format!("{extreme_c:.1}"), format!("{:.1}", sd_k * Z90))
}

fn whole_hours(span: &std::ops::Range<Timestamp>) -> String {
    format!("{:.0}", span.end.since(span.start).s() / 3600.0)
}

/// The mean over an hour is beyond the bound already, or will be at the next look: only how far it goes is left to say.
fn has_left(d: &Departure, span: &std::ops::Range<Timestamp>) -> String {
    let (side, extreme, doubt) = how_far(d);
    say!(
        "ahead-has-left",
        side = side,
        bound = d.bound_c.to_string(),
        hours = whole_hours(span),
        extreme = extreme,
        doubt = doubt,
    )
}

/// `Likely (83 in 100) above 31 °C, as a mean over an hour, from about 16:40 (hardly before 15:50, …), …`.
fn leaves(d: &Departure, end: Timestamp, now: Timestamp, hours: &Hours) -> String {
    let latest = d.to.map_or_else(
        || say!("ahead-latest-unknown", at = hours.near(end, now)),
        |to| say!("ahead-latest", at = hours.near(to, now)),
    );
    let odds = (d.probability * 100.0).round().clamp(1.0, 99.0);
    let (odds, bound, about) = (format!("{odds:.0}"), d.bound_c.to_string(), hours.near(d.about, now));
    let earliest = hours.near(d.from, now);
    let (side, extreme, doubt) = how_far(d);
    say!(
        "ahead-leaves",
        side = side,
        odds = odds,
        bound = bound,
        about = about,
        earliest = earliest,
        latest = latest,
        extreme = extreme,
        doubt = doubt,
    )
}

fn stays(o: &Outlook, count: usize, band: Option<BandView>, span: &std::ops::Range<Timestamp>) -> String {
    let all = o.brood_c.iter().take(count).copied().filter(|c| c.is_finite());
    let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), c| (l.min(c), h.max(c)));
    let hours = whole_hours(span);
    if low > high {
        return say!("ahead-unknown", hours = hours);
    }
    let within = band.map(|b| low >= b.low_c && high <= b.high_c);
    let (low, high) = (format!("{low:.1}"), format!("{high:.1}"));
    match within {
        None => say!("ahead-stays", hours = hours, low = low, high = high),
        Some(true) => say!("ahead-stays-within", hours = hours, low = low, high = high),
        Some(false) => say!("ahead-stays-outside", hours = hours, low = low, high = high),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::views::sample::{at_h, utc};

    fn outlook(leaves: Option<Departure>) -> Outlook {
        let n = 72;
        Outlook {
            at: at_h(10.0),
            brood_c: (0..n).map(|i| 26.0 + f64::from(i) / 36.0).collect(),
            brood_sd_k: vec![(0.3, 0.4); 72],
            room_c: vec![(21.0, 0.5); 72],
            leaves,
        }
    }

    const BAND: BandView = BandView { low_c: 24.0, high_c: 31.0, limit_c: 35.0 };

    #[test]
    fn twelve_quiet_hours_are_one_sentence() {
        let view = forecast_view(&outlook(None), Some(BAND), at_h(10.0), &utc()).unwrap();
        let said = "In the next 12 h the brood place is expected between 26.0 and 28.0 °C, within the band, if room and heating go on as they do.";
        assert_eq!(view.words, said);
        assert_eq!(view.brood_c.len(), 72);
        assert_eq!(view.clock.last().map(String::as_str), Some("22:00"));
        let labels: Vec<_> = view.ticks.iter().map(|t| t.label.as_str()).collect();
        assert_eq!(labels, ["12:00", "15:00", "18:00", "21:00"]);
        assert!((view.ticks[0].at - 2.0 / 12.0).abs() < 1e-9, "12:00 is two of twelve hours away");
    }

    #[test]
    fn a_departure_says_when_how_far_and_how_sure() {
        let leaves = Departure {
            hot: true,
            bound_c: 31.0,
            probability: 0.831,
            about: at_h(16.0),
            from: at_h(15.0),
            to: None,
            extreme_c: (33.14, 0.4),
        };
        let view = forecast_view(&outlook(Some(leaves)), Some(BAND), at_h(10.0), &utc()).unwrap();
        assert_eq!(
            view.words,
            "Likely (83 in 100) above 31 °C, as a mean over an hour, from about 16:00 (hardly before 15:00, perhaps not before 22:00), up to 33.1 ± 0.7 °C, if room and heating go on as they do."
        );
        assert_eq!(view.leaves_at, Some((5.0 / 12.0, 0.5, None)));
    }

    #[test]
    fn one_that_has_left_its_band_is_told_how_far_it_goes() {
        let first = at_h(10.0).plus(forecast::EVERY);
        let leaves = Departure {
            hot: false,
            bound_c: 24.0,
            probability: 0.99,
            about: first,
            from: first,
            to: Some(first),
            extreme_c: (19.8, 0.4),
        };
        let view = forecast_view(&outlook(Some(leaves)), Some(BAND), at_h(10.0), &utc()).unwrap();
        assert_eq!(
            view.words,
            "The hour's mean is below 24 °C. At its coolest in the next 12 h the brood place is expected at 19.8 ± 0.7 °C, if room and heating go on as they do."
        );
    }

    #[test]
    fn no_points_are_no_forecast() {
        let empty = Outlook { brood_c: Vec::new(), ..outlook(None) };
        assert_eq!(forecast_view(&empty, None, at_h(10.0), &utc()), None);
    }
}
