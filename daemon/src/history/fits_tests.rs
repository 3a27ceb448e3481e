use super::*;
use crate::history::sample::{Place, at};
use crate::history::{Batch, Store};
use crate::shelf_file;

fn fit(n: i64) -> Fit {
    Fit {
        from: at(n * 86_400 - 86_400),
        until: at(n * 86_400),
        readings: 4_320,
        log: vec![-1.25, 0.1 + n as f64, f64::MIN_POSITIVE],
        lag_s: vec![75.0, 81.5],
        mean: vec![0.01; 11],
        triangle: (0..66).map(|i| f64::from(i) / 7.0).collect(),
        drive: vec![0.4],
        room_c: 21.5,
        error_k: 0.12,
        trial: (n % 2 == 0).then_some(Trial { new_k: 0.2, in_force_k: 0.19, readings: 3_000 }),
        heard_heat: true,
        whole_day: n > 1,
    }
}

fn record(n: i64, refused: Option<NotTaken>) -> FitRecord {
    FitRecord { at: at(n * 86_400), nest: "oak".to_owned(), shape: "240 mm".to_owned(), fit: Some(fit(n)), refused }
}

fn keep(store: &mut Store, acts: Vec<FitAct>) {
    let batch = Batch { fits: acts, ..Batch::default() };
    store.commit(&[batch]).unwrap().remove(0).unwrap();
}

fn put_back(n: i64, fit: i64) -> FitAct {
    FitAct::PutBack { at: at(n * 86_400), nest: "oak".to_owned(), fit, who: "the command line".to_owned() }
}

#[test]
fn a_fit_comes_back_to_the_bit_and_the_newest_taken_one_is_in_force() {
    let place = Place::new();
    let mut store = place.open();
    assert_eq!(place.reader().fit_in_force("oak").unwrap(), None);
    let all = [record(1, None), record(2, None), record(3, Some(NotTaken::ForetellsWorse))];
    keep(&mut store, all.iter().cloned().map(FitAct::New).collect());
    let unsettled = FitRecord { fit: None, ..record(4, Some(NotTaken::Unsettled)) };
    keep(&mut store, vec![FitAct::New(unsettled.clone())]);
    let kept = place.reader().fits(Some("oak")).unwrap();
    assert_eq!(kept.iter().map(|k| k.record.clone()).collect::<Vec<_>>(), [&all[..], &[unsettled]].concat());
    assert_eq!(kept.iter().map(|k| k.in_force).collect::<Vec<_>>(), [false, true, false, false]);
    assert_eq!(place.reader().last_fit_at("oak").unwrap(), Some(at(4 * 86_400)));
    assert_eq!(place.reader().fits(Some("beech")).unwrap(), []);
}

#[test]
fn a_former_one_is_put_back_until_the_next_is_taken_and_none_is_lost() {
    let place = Place::new();
    let mut store = place.open();
    keep(&mut store, vec![FitAct::New(record(1, None)), FitAct::New(record(2, None)), put_back(2, 1)]);
    let in_force = |place: &Place| place.reader().fit_in_force("oak").unwrap().map(|(k, _)| (k.id, k.in_force));
    assert_eq!(in_force(&place), Some((1, true)));
    drop(store);
    let mut store = place.open();
    assert_eq!(in_force(&place), Some((1, true)), "after a restart too");
    keep(&mut store, vec![FitAct::New(record(3, Some(NotTaken::ExplainsWorse)))]);
    assert_eq!(in_force(&place), Some((1, true)), "a refused one changes nothing");
    keep(&mut store, vec![FitAct::New(record(4, None))]);
    assert_eq!(in_force(&place), Some((4, true)));
    assert_eq!(place.reader().fits(None).unwrap().len(), 4);
}

#[test]
fn so_many_are_kept_and_the_one_in_force_whatever_its_age() {
    let place = Place::new();
    let mut store = place.open();
    keep(&mut store, vec![FitAct::New(record(1, None)), put_back(1, 1)]);
    let refused = |n| FitAct::New(record(n, Some(NotTaken::ForetellsWorse)));
    keep(&mut store, (2..FITS_MAX + 60).map(refused).collect());
    let kept = place.reader().fits(Some("oak")).unwrap();
    assert_eq!(kept.len() as i64, FITS_MAX + 1);
    assert!(kept[0].id == 1 && kept[0].in_force);
    assert_eq!(kept[1].record.at, at(60 * 86_400));
}

#[test]
fn damaged_bytes_are_no_fit() {
    let place = Place::new();
    let mut store = place.open();
    keep(&mut store, vec![FitAct::New(record(1, None))]);
    store.conn.execute("UPDATE fit SET body = zeroblob(length(body))", []).unwrap();
    let (kept, _) = place.reader().fit_in_force("oak").unwrap().unwrap();
    assert_eq!(kept.record.fit, None);
    let whole = pack(&fit(2));
    assert_eq!(unpack(&whole), Some(fit(2)));
    for cut in 0..whole.len() {
        assert_eq!(unpack(&whole[..cut]), None);
    }
    assert_eq!(unpack(&[&whole[..], &[0]].concat()), None);
    assert_eq!(unpack(&[LAYOUT, 0, 0, 255, 255, 255, 255]), None);
}

#[test]
fn hindsight_is_the_first_fit_after_a_span_or_the_last_before() {
    let place = Place::new();
    let mut store = place.open();
    let file = shelf_file::sample::read(shelf_file::sample::OAK, std::path::Path::new("/shelf.toml"));
    let nest = &file.shelf.nests[0];
    let of = |n, refused| FitRecord { shape: shape(nest), ..record(n, refused) };
    let other = record(4, None);
    let all = [of(1, None), of(3, None), other, of(5, Some(NotTaken::ForetellsWorse)), of(7, None), of(9, None)];
    keep(&mut store, all.into_iter().map(FitAct::New).collect());
    let until = |day: i64| place.reader().fit_of_hindsight(nest, at(day * 86_400)).unwrap();
    for (day, want) in [(0, 1), (1, 1), (4, 7), (8, 9), (12, 9)] {
        assert_eq!(until(day), Some(fit(want)), "day {day}");
    }
}
