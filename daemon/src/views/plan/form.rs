//! The form of a plan: what a person can read off a label and a ruler, each word explained in place.
use super::numbers::trimmed;
use crate::plan::wish::{COVERS, PLACES, Wish, ranges};
use crate::shelf_file::{UNNAMED_MATERIAL, material_names, name_of_material};
use dashboards::{Link, PLAN_PATH, PlanField, PlanGroup, PlanKind, say};
use enclosure::prior::{LAYER_MM, WIDTH_MM};
use enclosure::shelf::{Cover, Nest, PadPlace};

/// Longest text that a field shows again, characters.
const SHOWN: usize = 40;

/// An invented nest to begin from where the shelf has none: keys and values of the query.
pub const INVENTED: [(&str, &str); 8] = [
    ("length", "200"),
    ("width", "100"),
    ("height", "24"),
    ("material", "beech"),
    ("pad_from", "0"),
    ("pad_to", "60"),
    ("watts", "5"),
    ("where", "under"),
];

/// The invented nest as a wish.
pub fn invented() -> Wish {
    let value = |name: &str| INVENTED.iter().find(|(n, _)| *n == name).map(|(_, v)| (*v).to_owned());
    Wish {
        length: value("length"),
        width: value("width"),
        height: value("height"),
        material: value("material"),
        pad_from: value("pad_from"),
        pad_to: value("pad_to"),
        watts: value("watts"),
        place: value("where"),
        ..Wish::default()
    }
}

/// Links to the plans of all nests that have a mat, and to one of none of them.
pub fn beginnings(nests: &[Nest], current: Option<&Nest>) -> Vec<Link> {
    let query: Vec<String> = INVENTED.iter().map(|(n, v)| format!("{n}={v}")).collect();
    let mut links: Vec<Link> = nests
        .iter()
        .filter(|n| !n.pads.is_empty())
        .map(|n| Link {
            label: n.id.clone(),
            url: format!("{PLAN_PATH}?nest={}", n.id),
            current: current.is_some_and(|c| c.id == n.id),
        })
        .collect();
    if !links.is_empty() {
        let url = format!("{PLAN_PATH}?{}", query.join("&"));
        links.push(Link { label: say!("planform-elsewhere"), url, current: current.is_none() });
    }
    links
}

/// One number's field: name, label, help and what is assumed, what is written, what the shelf file says, range and slider.
struct Number<'a>(&'a str, String, (String, &'a str), &'a Option<String>, Option<f64>, (f64, f64), (f64, f64, f64));

fn number(n: Number<'_>) -> PlanField {
    let Number(name, label, (help, usual), written, file, range, slide) = n;
    let file = || file.map_or(String::new(), |v| trimmed(v).replace('\u{2212}', "-"));
    PlanField {
        name: name.to_owned(),
        label,
        help,
        usual: usual.to_owned(),
        value: written.as_ref().map_or_else(file, |text| text.chars().take(SHOWN).collect()),
        kind: PlanKind::Number { range, slide },
    }
}

fn choice((name, label, help): (&str, String, String), value: String, choices: Vec<(&str, String)>) -> PlanField {
    let choices = choices.into_iter().map(|(v, words)| (v.to_owned(), words)).collect();
    PlanField { name: name.to_owned(), label, help, usual: String::new(), value, kind: PlanKind::Choice(choices) }
}

/// What the form calls a part of a wish, as `material_limit`; a part that it does not ask for keeps its name.
pub fn called(part: &str) -> String {
    let label = |g: &PlanGroup| {
        let field = g.fields.iter().find(|f| f.name == part)?;
        Some(say!("planform-called", group = &g.name, label = &field.label))
    };
    form(&Wish::default(), None).iter().find_map(label).unwrap_or_else(|| part.to_owned())
}

/// Everything that can be set, filled with what is known.
pub fn form(wish: &Wish, nest: Option<&Nest>) -> Vec<PlanGroup> {
    let several = nest.map_or(0, |n| n.pads.len()) > 1;
    let mat = if several {
        PlanGroup { name: say!("planform-mats"), fields: Vec::new() }
    } else {
        PlanGroup { name: say!("planform-mat"), fields: mat(wish, nest) }
    };
    vec![
        mat,
        PlanGroup { name: say!("planform-limits"), fields: limits(wish, nest) },
        PlanGroup { name: say!("planform-nest"), fields: body(wish, nest) },
        PlanGroup { name: say!("planform-room"), fields: room(wish) },
    ]
}

fn mat(wish: &Wish, nest: Option<&Nest>) -> Vec<PlanField> {
    let pad = nest.and_then(|n| n.pads.first());
    let length = nest.map_or(300.0, |n| n.length_mm);
    let file = pad.map_or("under", |p| match p.place {
        PadPlace::Under => PLACES[0],
        PadPlace::Beside => PLACES[1],
        PadPlace::Lid => PLACES[2],
        PadPlace::Inside => PLACES[3],
    });
    let words = vec![
        ("under", say!("planform-where-under")),
        ("beside", say!("place-beside")),
        ("lid", say!("place-lid")),
        ("inside", say!("place-inside")),
    ];
    vec![
        number(Number(
            "watts",
            say!("planform-watts"),
            (say!("planform-watts-help"), ""),
            &wish.watts,
            pad.map(|p| p.rated_w),
            ranges::WATTS,
            (0.1, 30.0, 0.1),
        )),
        number(Number(
            "pad_from",
            say!("planform-pad-from"),
            (say!("planform-pad-from-help"), ""),
            &wish.pad_from,
            pad.map(|p| p.span.from_mm),
            ranges::PLACE,
            (0.0, length, 1.0),
        )),
        number(Number(
            "pad_to",
            say!("planform-pad-to"),
            (String::new(), ""),
            &wish.pad_to,
            pad.map(|p| p.span.to_mm),
            ranges::PLACE,
            (0.0, length, 1.0),
        )),
        choice(
            ("where", say!("planform-where"), String::new()),
            wish.place.clone().unwrap_or_else(|| file.to_owned()),
            words,
        ),
    ]
}

fn limits(wish: &Wish, nest: Option<&Nest>) -> Vec<PlanField> {
    let band = nest.and_then(|n| n.band);
    let thermostat = nest.into_iter().flat_map(|n| &n.pads).find_map(|p| p.thermostat_c);
    let help = thermostat
        .map_or_else(|| say!("planform-hold-help"), |c| say!("planform-hold-thermostat", degrees = trimmed(c)));
    let middle = band.filter(|_| thermostat.is_none()).map(|b| f64::midpoint(b.low_c, b.high_c));
    vec![
        number(Number(
            "limit",
            say!("planform-limit"),
            (say!("planform-limit-help"), ""),
            &wish.limit,
            band.map(|b| b.limit_c),
            ranges::BROOD,
            (20.0, 45.0, 0.5),
        )),
        number(Number(
            "material_limit",
            say!("planform-material-limit"),
            (say!("planform-material-limit-help"), ""),
            &wish.material_limit,
            nest.and_then(|n| n.material_limit_c),
            ranges::MATERIAL,
            (30.0, 100.0, 1.0),
        )),
        number(Number("hold", say!("planform-hold"), (help, ""), &wish.hold, middle, ranges::BROOD, (15.0, 35.0, 0.5))),
    ]
}

fn body(wish: &Wish, nest: Option<&Nest>) -> Vec<PlanField> {
    let length = nest.map_or(300.0, |n| n.length_mm);
    let brood = nest.and_then(|n| n.brood);
    let places = (0.0, length, 1.0);
    let (width, height) = (trimmed(WIDTH_MM), trimmed(2.0 * LAYER_MM));
    let size = |(name, label, help): (_, _, _), usual: &str, (written, file), range, slide| {
        number(Number(name, label, (help, usual), written, file, range, slide))
    };
    let none = String::new;
    let length_file = nest.map(|n| n.length_mm);
    let (width_file, height_file) = (nest.and_then(|n| n.width_mm), nest.and_then(|n| n.height_mm));
    let (from_file, to_file) = (brood.map(|b| b.from_mm), brood.map(|b| b.to_mm));
    let mut fields = vec![
        size(
            ("length", say!("planform-length"), say!("planform-length-help")),
            "",
            (&wish.length, length_file),
            ranges::LENGTH,
            (50.0, 600.0, 5.0),
        ),
        size(
            ("width", say!("planform-width"), none()),
            &width,
            (&wish.width, width_file),
            ranges::WIDTH,
            (20.0, 300.0, 5.0),
        ),
        size(
            ("height", say!("planform-height"), say!("planform-height-help")),
            &height,
            (&wish.height, height_file),
            ranges::HEIGHT,
            (6.0, 100.0, 1.0),
        ),
        size(
            ("brood_from", say!("planform-brood-from"), none()),
            "",
            (&wish.brood_from, from_file),
            ranges::PLACE,
            places,
        ),
        size(("brood_to", say!("planform-brood-to"), none()), "", (&wish.brood_to, to_file), ranges::PLACE, places),
    ];
    // Own numbers of the shelf file have no name to choose.
    let own = nest.is_some_and(|n| name_of_material(&n.material).is_none() && n.material != UNNAMED_MATERIAL);
    if !own {
        let mut words = vec![("", say!("not-known"))];
        // Names as the shelf file has them.
        words.extend(material_names().into_iter().map(|name| (name, name.to_owned())));
        let file = nest.and_then(|n| name_of_material(&n.material)).unwrap_or("");
        let value = wish.material.clone().unwrap_or_else(|| file.to_owned());
        fields.push(choice(("material", say!("planform-material"), say!("planform-material-help")), value, words));
    }
    let file = nest.and_then(|n| n.cover).map_or("", |c| match c {
        Cover::Open => COVERS[0],
        Cover::Glass => COVERS[1],
        Cover::Acrylic => COVERS[2],
        Cover::Lid => COVERS[3],
    });
    let words = vec![
        ("", say!("not-known")),
        ("open", say!("cover-open")),
        ("glass", say!("cover-glass")),
        ("acrylic", say!("cover-acrylic")),
        ("lid", say!("planform-cover-lid")),
    ];
    fields.push(choice(
        ("cover", say!("planform-cover"), none()),
        wish.cover.clone().unwrap_or_else(|| file.to_owned()),
        words,
    ));
    fields
}

fn room(wish: &Wish) -> Vec<PlanField> {
    vec![
        number(Number(
            "room",
            say!("planform-day"),
            (String::new(), "21"),
            &wish.room,
            None,
            ranges::ROOM,
            (5.0, 35.0, 0.5),
        )),
        number(Number(
            "swing",
            say!("planform-swing"),
            (String::new(), "4"),
            &wish.swing,
            None,
            ranges::SWING,
            (0.0, 15.0, 0.5),
        )),
        number(Number(
            "warm_room",
            say!("planform-warm"),
            (String::new(), "30"),
            &wish.warm_room,
            None,
            ranges::ROOM,
            (20.0, 45.0, 0.5),
        )),
    ]
}
