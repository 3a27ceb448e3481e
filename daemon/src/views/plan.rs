//! A plan in a keeper's words, and the form that asks for it. No sentence calls a mat or a state harmless; what is not
//! passed is said to be not passed.
use crate::plan::wish::Asked;
use dashboards::{BandView, MatPlace, MatView, PLAN_MOST_C, PlanView, Reckoned, Stretch, StuckRow, Tone};
use enclosure::plan::{COVERED_W_M2K, Likely, Passing, Plan, Power, Stuck};
use enclosure::prior::{LAYER_MM, WIDTH_MM};
use enclosure::shelf::PadPlace;
use std::fmt::Write as _;

pub mod form;
mod numbers;

use numbers::{degrees, span, spans, told, trimmed, up_to, watt, whole};

/// What handbooks say of materials: which materials it is about (none: of every nest), the fact, its source.
const BEARS: [(&[&str], &str, &str); 6] = [
    (
        &[],
        "Wood, the board under the mat included: ignition after long contact is documented at and above 77 °C of the hot \
         surface; that paper advises a further safety factor below it",
        "Babrauskas, Gray & Janssens 2007, Fire and Materials 31(2), 125–135",
    ),
    (
        &[],
        "Wood: charring over months to years is noticed from 90 to 105 °C on",
        "reports of the Forest Products Laboratory, from memory",
    ),
    (&["printed"], "Printed polylactic acid softens from 55 to 60 °C on", "polymer data, from memory"),
    (&["acrylic"], "Acrylic deflects under load from 85 to 100 °C on", "polymer data, from memory"),
    (&[], "Cable with PVC insulation is rated for 70 °C", "IEC 60227, from memory"),
    (&[], "Skin is burnt by a surface of 43 °C in 8 hours, of 51 °C in a minute", "ISO 13732-1, from memory"),
];

/// Everything a plan shows.
pub fn plan_view(asked: &Asked, plan: &Plan) -> PlanView {
    let nest = &asked.nest;
    let in_use = plan.in_use.as_ref();
    let use_c = in_use.map_or(&plan.always_on_c, |u| &u.profile_c);
    PlanView {
        id: nest.id.clone(),
        name: nest.id.clone(),
        tone: tone(plan),
        line: line(asked, plan),
        worst: worst(asked, plan),
        stuck: vec![
            row(format!("covered, room at {}", whole(asked.room.warm_c)), &plan.worst),
            row(format!("as it stands, room at {}", whole(asked.room.warm_c)), &plan.standing),
        ],
        power: power(asked, plan),
        expected: expected(asked, plan),
        bears: bears(asked),
        assumed: assumed(asked),
        length_mm: nest.length_mm,
        mats: nest.pads.iter().map(mat).collect(),
        brood: nest.brood.map(stretch),
        band: nest.band.map(|b| BandView { low_c: b.low_c, high_c: b.high_c, limit_c: b.limit_c }),
        limit_c: asked.limit_c,
        material_limit_c: asked.material_limit_c,
        room_c: (asked.room.usual_c, asked.room.warm_c),
        at_mm: plan.at_mm.clone(),
        worst_c: plan.worst.profile_c.iter().map(reckoned).collect(),
        standing_c: plan.standing.profile_c.iter().map(reckoned).collect(),
        use_c: use_c.iter().map(reckoned).collect(),
        use_text: in_use.map_or_else(
            || format!("always on, room at {}", whole(asked.room.usual_c)),
            |u| format!("held at {}, room at {}", degrees(u.held_c), whole(asked.room.usual_c)),
        ),
        mat_c: reckoned(&plan.worst.mat_c),
    }
}

fn reckoned(l: &Likely) -> Reckoned {
    Reckoned { low: l.low, mid: l.mid, high: l.high }
}

fn stretch(s: enclosure::shelf::Stretch) -> Stretch {
    Stretch { from_mm: s.from_mm, to_mm: s.to_mm }
}

fn mat(pad: &enclosure::shelf::Pad) -> MatView {
    let place = match pad.place {
        PadPlace::Under => MatPlace::Under,
        PadPlace::Beside => MatPlace::Beside,
        PadPlace::Lid => MatPlace::Lid,
        PadPlace::Inside => MatPlace::Inside,
    };
    MatView { span: stretch(pad.span), place, rated_w: pad.rated_w }
}

/// Loud where a limit is passed, or where none was given to hold it against.
fn tone(plan: &Plan) -> Tone {
    let (brood, mat) = (plan.worst.brood, plan.worst.mat);
    let passed = |p: Option<Passing>| p.is_some_and(|p| p.soonest_s.is_some() || p.likely_s.is_some());
    if passed(brood) || passed(mat) {
        Tone::Danger
    } else if brood.is_none() || mat.is_none() {
        Tone::Warning
    } else {
        Tone::Advice
    }
}

/// `the brood place` or, where nobody said where it will lie, `the galleries`.
fn brood_words(asked: &Asked) -> &'static str {
    if asked.nest.brood.is_some() { "the brood place" } else { "the hottest gallery" }
}

fn line(asked: &Asked, plan: &Plan) -> String {
    format!(
        "Stuck on and covered, room at {}: {} {}; between mat and nest {}.",
        whole(asked.room.warm_c),
        brood_words(asked),
        up_to(plan.worst.brood_c),
        up_to(plan.worst.mat_c)
    )
}

fn worst(asked: &Asked, plan: &Plan) -> Vec<String> {
    let brood = match plan.worst.brood {
        None => "What the brood bears was not given (limit_c; --limit, or its field on the page): only you know your species."
            .to_owned(),
        Some(p) => format!("The limit you gave for the brood, {}: {}.", degrees(p.limit_c), passing(&p)),
    };
    let mat = match plan.worst.mat {
        None => "What the nest's material and the board under the mat bear was not given \
             (material_limit_c; --material-limit, or its field on the page)."
            .to_owned(),
        Some(p) => format!("The limit you gave for the material, {}: {}.", degrees(p.limit_c), passing(&p)),
    };
    let usual = if (asked.cover_w_m2k - COVERED_W_M2K).abs() < 1e-9 {
        "as by a cushion or folded towel of some 3 cm; through its cloth go 1.4, by the edges of so small a body about half \
         as much again"
    } else {
        "as you asked"
    };
    let covered = format!(
        "Covered means on all sides: {} W/m²K from every face instead of 4 to 9 ({usual}), and all of the mat's heat goes \
         into the nest.",
        trimmed(asked.cover_w_m2k)
    );
    vec![brood, mat, covered]
}

fn row(case: String, stuck: &Stuck) -> StuckRow {
    let when = |p: &Option<Passing>| match p {
        None => "no limit given".to_owned(),
        Some(p) => format!("limit {}: {}", whole(p.limit_c), passing(p)),
    };
    StuckRow {
        case,
        brood: up_to(stuck.brood_c),
        brood_when: when(&stuck.brood),
        mat: up_to(stuck.mat_c),
        mat_when: when(&stuck.mat),
    }
}

/// `passed 6 to 7 min after it sticks`.
fn passing(p: &Passing) -> String {
    match (p.soonest_s, p.likely_s) {
        (Some(soon), _) if soon <= 0.0 => "passed from the beginning: the warm room alone is that hot".to_owned(),
        (Some(soon), Some(likely)) => format!("passed {} after it sticks", spans(soon, likely)),
        (Some(soon), None) => {
            format!("passed {} after it sticks by the hottest nest in 20, not by the likely one", span(soon))
        }
        (None, Some(likely)) => format!("passed {} after it sticks", span(likely)),
        (None, None) => "not passed in 19 nests of 20".to_owned(),
    }
}

fn power(asked: &Asked, plan: &Plan) -> Vec<String> {
    let rated_w: f64 = asked.nest.pads.iter().map(|p| p.rated_w).sum();
    let mut said = match plan.power {
        Power::AtMost { watts, brood_w, mat_w } => vec![format!(
            "The largest mat in this place whose worst case (covered, warm room, the hottest nest in 20) stays below both \
             limits you gave is one of {} (by the brood's limit {}, by the material's {}). Yours: {}.",
            watt(watts),
            watt(brood_w),
            watt(mat_w),
            watt(rated_w)
        )],
        Power::None => vec![format!(
            "No largest mat is named: the warm room of {} alone is as hot as a limit you gave.",
            whole(asked.room.warm_c)
        )],
        Power::Missing { brood, material } => {
            let missing = match (brood, material) {
                (true, true) => "what the brood bears and what the material bears are",
                (true, false) => "what the brood bears is",
                _ => "what the material bears is",
            };
            vec![format!("No largest mat is named: {missing} not given.")]
        }
    };
    let largest_w = match plan.power {
        Power::AtMost { watts, .. } => Some(watts),
        Power::None => Some(0.0),
        Power::Missing { .. } => None,
    };
    if let (Some(largest_w), Some(u)) = (largest_w, &plan.in_use)
        && u.duty.mid * rated_w > largest_w
    {
        said.push(format!(
            "To hold {} the nest takes about {}: no mat that can warm it stays below those limits by its size alone. Whatever \
             switches it, something independent must take the heat away when that fails.",
            degrees(u.held_c),
            watt(u.duty.mid * rated_w)
        ));
    }
    said
}

fn expected(asked: &Asked, plan: &Plan) -> Vec<String> {
    let mut said = Vec::new();
    let end = |c: &[Likely]| c.first().zip(c.last()).map(|(a, b)| (a.mid, b.mid));
    if let Some((zero, far)) = end(&plan.always_on_c) {
        let most = plan.always_on_c.iter().copied().max_by(|a, b| a.mid.total_cmp(&b.mid)).unwrap_or_default();
        said.push(format!(
            "Always on, as it stands, in a room at {}: the warmest gallery likely {} ({:.0} to {:.0}, 9 times in 10), the \
             zero end {}, the other end {}.",
            whole(asked.room.usual_c),
            told(most.mid),
            most.low,
            most.high.min(PLAN_MOST_C),
            told(zero),
            told(far)
        ));
    }
    if let Some(u) = &plan.in_use {
        said.push(held(asked, u));
    }
    said.push(format!(
        "From as cold as the room, always on, it takes {} ({}, 9 times in 10) until {} has 9 tenths of its rise.",
        span(plan.warm_up_s.mid),
        spans(plan.warm_up_s.low, plan.warm_up_s.high),
        brood_words(asked)
    ));
    said.push(format!(
        "A room that swings by {} K over a day swings {} by {} K, {} later, unless a thermostat evens it out.",
        trimmed(asked.room.swing_k),
        brood_words(asked),
        trimmed(plan.swing.brood_k),
        span(plan.swing.late_s)
    ));
    said.push(reach(asked, plan));
    said
}

fn held(asked: &Asked, u: &enclosure::plan::InUse) -> String {
    let place = u.at_mm.map_or_else(
        || format!("{} as a mean", brood_words(asked)),
        |mm| format!("{} mm, where the thermostat's sensor sits,", trimmed(mm)),
    );
    if u.duty.mid > 1.0 {
        return format!(
            "The mat is likely too weak to hold {place} at {}: it would take {} times its power.",
            degrees(u.held_c),
            trimmed(u.duty.mid)
        );
    }
    let percent = |d: f64| format!("{:.0} %", 100.0 * d);
    let mut said = format!(
        "To hold {place} at {} it is on {} of the time ({} to {}), {} at the room's coolest hour and {} at its warmest.",
        degrees(u.held_c),
        percent(u.duty.mid),
        percent(u.duty.low),
        percent(u.duty.high.min(1.0)),
        percent(u.night_day.0.min(1.0)),
        percent(u.night_day.1)
    );
    if u.duty.high > 1.0 {
        said.push_str(" It may prove too weak.");
    }
    said
}

fn reach(asked: &Asked, plan: &Plan) -> String {
    let (r, length_mm) = (plan.reach, asked.nest.length_mm);
    let mut said = format!(
        "Beyond the mat the rise falls to a third (1/e) every {:.0} mm ({:.0} to {:.0})",
        r.decay_mm.mid, r.decay_mm.low, r.decay_mm.high
    );
    let percent = 100.0 * r.share;
    let (from, to) = (r.warmed.from_mm, r.warmed.to_mm);
    let _ = match (from > 1.0, to < length_mm - 1.0) {
        (false, true) => {
            write!(said, "; {percent:.0} % of it is left at {to:.0} mm, and beyond that it is as good as the room.")
        }
        (true, false) => {
            write!(said, "; {percent:.0} % of it is left at {from:.0} mm, and before that it is as good as the room.")
        }
        (true, true) => {
            write!(
                said,
                "; {percent:.0} % of it is left at {from:.0} and at {to:.0} mm, and outside it is as good as the room."
            )
        }
        (false, false) => {
            write!(said, "; more than {percent:.0} % of it reaches both ends: there is no cool place to go to.")
        }
    };
    said
}

fn bears(asked: &Asked) -> Vec<(String, String)> {
    let fits = |names: &[&str]| names.is_empty() || asked.material.is_some_and(|m| names.contains(&m));
    let chosen = BEARS.iter().filter(|(names, ..)| fits(names));
    chosen.map(|(_, fact, source)| ((*fact).to_owned(), (*source).to_owned())).collect()
}

fn assumed(asked: &Asked) -> Vec<String> {
    let nest = &asked.nest;
    let mut said = Vec::new();
    match asked.material {
        Some(name) => said.push(format!("{name} by handbook numbers; a damp body conducts and stores more.")),
        None => said.push(format!(
            "A material of {} W/m K, {} kg/m³, {} J/kg K.",
            trimmed(nest.material.conductivity_w_mk),
            trimmed(nest.material.density_kg_m3),
            trimmed(nest.material.heat_capacity_j_kgk)
        )),
    }
    if nest.width_mm.is_none() {
        said.push(format!("A width of {WIDTH_MM:.0} mm: none was given."));
    }
    if nest.height_mm.is_none() {
        said.push(format!("A height of {:.0} mm: none was given.", 2.0 * LAYER_MM));
    }
    if nest.brood.is_none() {
        said.push("Nobody said where the brood will lie: the hottest gallery is held against its limit.".to_owned());
    }
    let label = "The mat gives what its label says (± 15 %) and does not limit itself; it sticks while the nest is as warm as \
                 it is meant to be.";
    said.push(label.to_owned());
    said.push(format!(
        "The room {} over a day, swinging by {} K, and {} in a heatwave.",
        degrees(asked.room.usual_c),
        trimmed(asked.room.swing_k),
        degrees(asked.room.warm_c)
    ));
    let ranges = "Ranges are where 9 nests in 10 of this description lie by what is not known of their physics; one in 20 is \
                  hotter than the upper end. What the model leaves out (sides, a board under the mat, draughts) is in them \
                  only roughly.";
    said.push(ranges.to_owned());
    said
}

#[cfg(test)]
mod tests;
