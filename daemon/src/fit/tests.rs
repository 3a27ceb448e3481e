use super::*;
use crate::history::sample::Place;
use crate::history::{Batch, HistoricReading, Store};
use crate::shelf_file::sample;
use enclosure::estimate::{NotTaken, What};
use enclosure::reading::Unit;
use enclosure::{Core, Measured};
use world::{Value, World, WorldSpec};

/// 2026-03-01T00:00:00Z.
const EPOCH_S: f64 = 1_772_323_200.0;

fn shelf(place: &Place) -> ShelfFile {
    let spec = WorldSpec::demo(EPOCH_S);
    let text = world::shelf_toml("trial", &spec, world::Band::default());
    let path = place.path.with_file_name("shelf.toml");
    sample::read(&text, &path)
}

/// A history with so many days of the demonstration's shelf.
fn lived(place: &Place, file: &ShelfFile, days: f64) -> Store {
    let core = Core::new(file.shelf.clone());
    let samples = World::new(&WorldSpec::demo(EPOCH_S), 3).advance(EPOCH_S + days * 86_400.0);
    let readings = samples.iter().filter_map(|s| {
        core.source(&s.source())?;
        let measured = match s.value {
            Value::Bool(on) => Measured::On(on),
            Value::Number(v) => Measured::new(Unit::from_senml(s.unit)?, v).ok()?,
        };
        Some(HistoricReading { source: s.source().into(), at: Timestamp::from_unix_s(s.t)?, measured, rejection: None })
    });
    let mut store = place.open();
    let batch = Batch { readings: readings.collect(), ..Batch::default() };
    store.commit(&[batch]).unwrap().remove(0).unwrap();
    store
}

#[test]
fn what_history_teaches_is_said_in_a_keepers_units_and_read_back() {
    let place = Place::new();
    let file = shelf(&place);
    drop(lived(&place, &file, 1.3));
    let nest = &file.shelf.nests[0];
    let at = |d: f64| Timestamp::from_unix_s(EPOCH_S + d * 86_400.0).unwrap();
    let learn = |span| learn::learn(&place.reader(), &file.shelf, nest, span);
    let lesson = learn(at(0.0)..at(2.0)).unwrap();
    assert!(lesson.fit.heard_heat && lesson.fit.error_k < 0.3 && lesson.refused.is_none(), "{:?}", lesson.fit);
    // Without a look at the truth, only at what the world cannot have hidden: the mat gives what its label says, or less.
    let said = report(nest, &lesson.fit).unwrap();
    let heat = said.known.iter().find(|k| k.what == What::PadHeat(0)).unwrap();
    let label_w_m2 = nest.pads[0].rated_w / (nest.pads[0].span.length_mm() * 1e-4);
    assert!(heat.is_told() && heat.learned.low < label_w_m2, "{heat:?}");
    let refused = Some((at(1.2), NotTaken::ForetellsWorse));
    let text = said_text(nest, &lesson.fit, refused);
    for words in [
        "heat of the mat into the nest, full on",
        "oak-node:brood sits at",
        "W/(m² K)",
        "refused: it foretold the hours before its own worse",
        "± ",
        "This data cannot tell: ",
        "One more probe would help",
        "not a safety assessment",
    ] {
        assert!(
            text.contains(words) || words.starts_with("One more") && text.contains("one more probe"),
            "{words}: {text}"
        );
    }
    let json = super::said(nest, &lesson.fit, (at(0.0)..at(1.3), refused), true).unwrap();
    let again = form::read(&json, nest).unwrap();
    let lists =
        |f: &Fit| [f.log.clone(), f.lag_s.clone(), f.mean.clone(), f.triangle.clone(), f.drive.clone()].concat();
    // Text is read to the last bit but one.
    let near = |(a, b): (&f64, &f64)| (a - b).abs() <= 1e-14 * a.abs();
    assert!(lists(&again).iter().zip(&lists(&lesson.fit)).all(near) && lists(&again).len() == lists(&lesson.fit).len());
    assert_eq!((again.until, again.readings, again.whole_day), (lesson.fit.until, lesson.fit.readings, true));
    assert!(form::read(&json, &file.shelf.nests[1]).unwrap_err().to_string().contains("not of plaster"));
    let moved = json.replace("0.0,80.0", "1.0,80.0").replace("from_mm: 0.0", "from_mm: 1.0");
    assert!(form::read(&moved, nest).is_err(), "another arrangement");
    for cut in [0, 1, json.len() / 2, json.len() - 3] {
        assert!(form::read(&json[..cut], nest).is_err());
    }
    // Too little, and nothing at all.
    let little = |span| learn(span).err().unwrap().to_string();
    assert!(little(at(0.0)..at(0.05)).contains("less than"));
    assert!(little(at(5.0)..at(9.0)).contains("no reading"));
}

fn said_text(nest: &Nest, fit: &Fit, refused: Refused) -> String {
    said(nest, fit, (fit.from..fit.until, refused), false).unwrap()
}

#[tokio::test]
async fn a_fit_is_kept_listed_and_put_back_while_no_daemon_runs() {
    let place = Place::new();
    let file = shelf(&place);
    drop(lived(&place, &file, 1.1));
    let nest = &file.shelf.nests[0];
    let now = Timestamp::from_unix_s(EPOCH_S + 1.1 * 86_400.0).unwrap();
    let from = now.minus(Span::from_h(20))..now;
    let lesson = learn::learn(&place.reader(), &file.shelf, nest, from).unwrap();
    acts::keep_fit(&file, nest, lesson.fit.clone(), now).unwrap();
    let other = Fit { until: now, ..lesson.fit.clone() };
    acts::keep_fit(&file, nest, other.clone(), now).unwrap();
    let in_force = || place.reader().fit_in_force("oak").unwrap().unwrap().0;
    assert_eq!((in_force().id, in_force().record.fit), (2, Some(other)));
    acts::put_back_fit(&file, ("oak", 1), "it was better", now).await.unwrap();
    assert_eq!((in_force().id, in_force().record.fit), (1, Some(lesson.fit)));
    let lines: Vec<String> = place.reader().fits(None).unwrap().iter().map(text::entry).collect();
    assert!(lines[0].contains("in force") && lines[1].contains("taken then"), "{lines:?}");
    let notes = place.reader().notes(now..now.plus(Span::from_min(1))).unwrap();
    assert!(notes[0].kind == "fit" && notes[0].text.contains("it was better"), "{notes:?}");
    for (nest, fit) in [("oak", 3), ("plaster", 1), ("elm", 1)] {
        acts::put_back_fit(&file, (nest, fit), "", now).await.unwrap_err();
    }
    assert_eq!(in_force().id, 1);
}
