//! Without heat: how soon a brood place that was held warm is too cold for its brood, and how cold it gets.
use super::scene::Made;
use super::{Likely, Question, duty, scene};
use crate::prior::Faces;

/// What becomes of a brood place whose pads give nothing any more.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cooling {
    /// It ends as warm as the room at its coolest hour, °C.
    pub end_c: f64,
    /// What its mean must not fall below, as the keeper says, °C.
    pub low_c: f64,
    /// When it does, s; none if the room is warm enough.
    pub below_s: Option<Likely>,
}

/// Reckons it for a nest with a pad and a band, from as warm as it is held; none for any other.
///
/// The course with the pads off is the held one less what the pads had brought, which is the warm-up by as much: all
/// is linear, so one course tells both.
pub fn cooling(question: &Question<'_>) -> Option<Cooling> {
    let (nest, low_c) = (question.nest, question.nest.band?.low_c);
    let held_c = question.held_c().filter(|_| !nest.pads.is_empty())?;
    let end_c = question.room.usual_c - 0.5 * question.room.swing_k;
    let (scene, low_k) = (scene(nest, &Faces::standing(nest), &[]), low_c - end_c);
    let fan = scene.fan();
    let when = |m: &Made| {
        let drive = duty(m, held_c, end_c).min(1.0);
        let risen_k = drive * m.mean(&m.rest);
        if drive <= 0.0 || risen_k <= low_k {
            return 0.0;
        }
        m.until(&m.held(0.0), (risen_k - low_k) / drive, |heat| m.mean(heat)).unwrap_or(f64::INFINITY)
    };
    Some(Cooling { end_c, low_c, below_s: (low_k > 0.0).then(|| fan.likely(when)) })
}
