//! A plan in a keeper's words, and the form that asks for it. No sentence calls a mat or a state harmless; what is not
//! passed is said to be not passed.
use super::now::{band_view, brood, mats};
use crate::plan::wish::Asked;
use dashboards::{PLAN_MOST_C, PlanView, Reckoned, StuckRow, Tone, say};
use enclosure::plan::{COVERED_W_M2K, Likely, Passing, Plan, Power, Stuck};
use enclosure::prior::{LAYER_MM, WIDTH_MM};

pub mod form;
mod numbers;

use numbers::{degrees, span, spans, told, trimmed, up_to, watt, whole};

/// Everything a plan shows.
pub fn plan_view(asked: &Asked, plan: &Plan) -> PlanView {
    let nest = &asked.nest;
    let in_use = plan.in_use.as_ref();
    let use_c = in_use.map_or(&plan.always_on_c, |u| &u.profile_c);
    PlanView {
        id: nest.id.clone(),
        name: if asked.listed { nest.id.clone() } else { say!("plans-this-nest") },
        tone: tone(plan),
        line: line(asked, plan),
        worst: worst(asked, plan),
        stuck: vec![
            row(say!("plans-covered", room = whole(asked.room.warm_c)), &plan.worst),
            row(say!("plans-standing", room = whole(asked.room.warm_c)), &plan.standing),
        ],
        power: power(asked, plan),
        expected: expected(asked, plan),
        bears: bears(asked),
        assumed: assumed(asked),
        length_mm: nest.length_mm,
        mats: mats(nest),
        brood: brood(nest),
        band: nest.band.map(band_view),
        limit_c: asked.limit_c,
        material_limit_c: asked.material_limit_c,
        room_c: (asked.room.usual_c, asked.room.warm_c),
        at_mm: plan.at_mm.clone(),
        worst_c: plan.worst.profile_c.iter().map(reckoned).collect(),
        standing_c: plan.standing.profile_c.iter().map(reckoned).collect(),
        use_c: use_c.iter().map(reckoned).collect(),
        use_text: in_use.map_or_else(
            || say!("plans-use-always", room = whole(asked.room.usual_c)),
            |u| say!("plans-use-held", held = degrees(u.held_c), room = whole(asked.room.usual_c)),
        ),
        mat_c: reckoned(&plan.worst.mat_c),
    }
}

fn reckoned(l: &Likely) -> Reckoned {
    Reckoned { low: l.low, mid: l.mid, high: l.high }
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

/// Whose warmth a sentence is about: `brood`, or where nobody said where that will lie, `gallery`, the hottest one.
fn spot(asked: &Asked) -> &'static str {
    if asked.nest.brood.is_some() { "brood" } else { "gallery" }
}

fn line(asked: &Asked, plan: &Plan) -> String {
    say!(
        "plans-line",
        room = whole(asked.room.warm_c),
        spot = spot(asked),
        brood = up_to(plan.worst.brood_c),
        mat = up_to(plan.worst.mat_c),
    )
}

fn worst(asked: &Asked, plan: &Plan) -> Vec<String> {
    let brood = match plan.worst.brood {
        None => say!("plans-no-brood-limit", flag = asked.by.name("limit")),
        Some(p) => say!("plans-brood-limit", limit = degrees(p.limit_c), passing = passing(&p)),
    };
    let mat = match plan.worst.mat {
        None => say!("plans-no-material-limit", flag = asked.by.name("material_limit")),
        Some(p) => say!("plans-material-limit", limit = degrees(p.limit_c), passing = passing(&p)),
    };
    let cover = trimmed(asked.cover_w_m2k);
    let covered = if (asked.cover_w_m2k - COVERED_W_M2K).abs() < 1e-9 {
        say!("plans-cover-usual", cover = cover)
    } else {
        say!("plans-cover-asked", cover = cover)
    };
    vec![brood, mat, covered]
}

fn row(case: String, stuck: &Stuck) -> StuckRow {
    let when = |p: &Option<Passing>| match p {
        None => say!("plans-no-limit"),
        Some(p) => say!("plans-limit", limit = whole(p.limit_c), passing = passing(p)),
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
        (Some(soon), _) if soon <= 0.0 => say!("plans-passed-from-beginning"),
        (Some(soon), Some(likely)) => say!("plans-passed-after", span = spans(soon, likely)),
        (Some(soon), None) => say!("plans-passed-by-hottest", span = span(soon)),
        (None, Some(likely)) => say!("plans-passed-after", span = span(likely)),
        (None, None) => say!("plans-not-passed"),
    }
}

fn power(asked: &Asked, plan: &Plan) -> Vec<String> {
    let rated_w: f64 = asked.nest.pads.iter().map(|p| p.rated_w).sum();
    let (largest_w, said) = match plan.power {
        Power::AtMost { watts, brood_w, mat_w } => {
            let (largest, yours) = (watt(watts), watt(rated_w));
            let (brood, material) = (watt(brood_w), watt(mat_w));
            let said = say!("plans-largest", largest = largest, brood = brood, material = material, yours = yours);
            (Some(watts), said)
        }
        Power::None => (Some(0.0), say!("plans-largest-none", room = whole(asked.room.warm_c))),
        Power::Missing { brood: true, material: true } => (None, say!("plans-largest-no-limits")),
        Power::Missing { brood: true, material: false } => (None, say!("plans-largest-no-brood-limit")),
        Power::Missing { .. } => (None, say!("plans-largest-no-material-limit")),
    };
    let mut said = vec![said];
    if let (Some(largest_w), Some(u)) = (largest_w, &plan.in_use)
        && u.duty.mid * rated_w > largest_w
    {
        said.push(say!("plans-too-strong", held = degrees(u.held_c), power = watt(u.duty.mid * rated_w)));
    }
    said
}

fn expected(asked: &Asked, plan: &Plan) -> Vec<String> {
    let mut said = Vec::new();
    let end = |c: &[Likely]| c.first().zip(c.last()).map(|(a, b)| (a.mid, b.mid));
    if let Some((zero, far)) = end(&plan.always_on_c) {
        let most = plan.always_on_c.iter().copied().max_by(|a, b| a.mid.total_cmp(&b.mid)).unwrap_or_default();
        said.push(say!(
            "plans-always-on",
            room = whole(asked.room.usual_c),
            warmest = told(most.mid),
            low = format!("{:.0}", most.low),
            high = format!("{:.0}", most.high.min(PLAN_MOST_C)),
            zero = told(zero),
            far = told(far),
        ));
    }
    if let Some(u) = &plan.in_use {
        said.push(held(asked, u));
    }
    let warm_up = plan.warm_up_s;
    let spans = spans(warm_up.low, warm_up.high);
    said.push(say!("plans-warm-up", span = span(warm_up.mid), spans = spans, spot = spot(asked)));
    said.push(say!(
        "plans-swing",
        room_k = trimmed(asked.room.swing_k),
        spot = spot(asked),
        brood_k = trimmed(plan.swing.brood_k),
        late = span(plan.swing.late_s),
    ));
    said.push(reach(asked, plan));
    said
}

fn held(asked: &Asked, u: &enclosure::plan::InUse) -> String {
    let (spot, mm) = u.at_mm.map_or_else(|| (spot(asked), String::new()), |mm| ("sensor", trimmed(mm)));
    let held = degrees(u.held_c);
    if u.duty.mid > 1.0 {
        return say!("plans-too-weak", spot = spot, mm = mm, held = held, times = trimmed(u.duty.mid));
    }
    let percent = |d: f64| format!("{:.0} %", 100.0 * d);
    let said = say!(
        "plans-held",
        spot = spot,
        mm = mm,
        held = held,
        mid = percent(u.duty.mid),
        low = percent(u.duty.low),
        high = percent(u.duty.high.min(1.0)),
        coolest = percent(u.night_day.0.min(1.0)),
        warmest = percent(u.night_day.1),
    );
    if u.duty.high > 1.0 { format!("{said} {}", say!("plans-may-be-weak")) } else { said }
}

fn reach(asked: &Asked, plan: &Plan) -> String {
    let (r, length_mm) = (plan.reach, asked.nest.length_mm);
    let percent = format!("{:.0}", 100.0 * r.share);
    let (from_mm, to_mm) = (r.warmed.from_mm, r.warmed.to_mm);
    let (from, to) = (format!("{from_mm:.0}"), format!("{to_mm:.0}"));
    let left = match (from_mm > 1.0, to_mm < length_mm - 1.0) {
        (false, true) => say!("plans-left-beyond", percent = percent, to = to),
        (true, false) => say!("plans-left-before", percent = percent, from = from),
        (true, true) => say!("plans-left-outside", percent = percent, from = from, to = to),
        (false, false) => say!("plans-left-everywhere", percent = percent),
    };
    let mm = |mm: f64| format!("{mm:.0}");
    say!("plans-reach", decay = mm(r.decay_mm.mid), low = mm(r.decay_mm.low), high = mm(r.decay_mm.high), left = left)
}

/// What handbooks say of materials: the fact and its source, of every nest or of this material only.
fn bears(asked: &Asked) -> Vec<(String, String)> {
    let mut said = vec![
        (say!("plans-bears-wood"), say!("plans-bears-wood-source")),
        (say!("plans-bears-charring"), say!("plans-bears-charring-source")),
    ];
    match asked.material {
        Some("printed") => said.push((say!("plans-bears-printed"), say!("plans-bears-polymer-source"))),
        Some("acrylic") => said.push((say!("plans-bears-acrylic"), say!("plans-bears-polymer-source"))),
        _ => {}
    }
    said.push((say!("plans-bears-cable"), say!("plans-bears-cable-source")));
    said.push((say!("plans-bears-skin"), say!("plans-bears-skin-source")));
    said
}

fn assumed(asked: &Asked) -> Vec<String> {
    let nest = &asked.nest;
    let mut said = Vec::new();
    match asked.material {
        Some(name) => said.push(say!("plans-assumed-material", material = name)),
        None => said.push(say!(
            "plans-assumed-own",
            conductivity = trimmed(nest.material.conductivity_w_mk),
            density = trimmed(nest.material.density_kg_m3),
            capacity = trimmed(nest.material.heat_capacity_j_kgk),
        )),
    }
    if nest.width_mm.is_none() {
        said.push(say!("plans-assumed-width", mm = format!("{WIDTH_MM:.0}")));
    }
    if nest.height_mm.is_none() {
        said.push(say!("plans-assumed-height", mm = format!("{:.0}", 2.0 * LAYER_MM)));
    }
    if nest.brood.is_none() {
        said.push(say!("plans-assumed-brood"));
    }
    said.push(say!("plans-assumed-label"));
    let room = &asked.room;
    let (usual, warm) = (degrees(room.usual_c), degrees(room.warm_c));
    said.push(say!("plans-assumed-room", usual = usual, swing = trimmed(room.swing_k), warm = warm));
    said.push(say!("plans-assumed-ranges"));
    said
}

#[cfg(test)]
mod tests;
