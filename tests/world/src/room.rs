//! The room: a daily swing, slow weather, and what people do to the air.
use crate::rng::Rng;
use crate::spec::RoomSpec;
use crate::vapour::saturation_pa;
use core::f64::consts::TAU;

const DAY_S: f64 = 86_400.0;
/// The warmest hour of the day (common practice, no source).
const WARMEST_H: f64 = 16.0;

/// The room's air.
#[derive(Clone, Debug)]
pub(crate) struct Room {
    spec: RoomSpec,
    rng: Rng,
    weather_k: f64,
    damp: f64,
    /// Air temperature, °C.
    pub(crate) temp_c: f64,
    /// Vapour pressure, Pa.
    pub(crate) vapour_pa: f64,
    /// Share by which a dry spell has lowered its vapour.
    dried: f64,
}

/// A dry spell comes within hours, s (no source).
const DRYING_TAU_S: f64 = 7200.0;

/// A pull on the room's air: where it pulls, how fast, and how far it has come.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pull {
    pub(crate) delta_k: f64,
    pub(crate) tau_s: f64,
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
    pub(crate) level_k: f64,
}

impl Pull {
    fn advance(&mut self, now_s: f64, dt_s: f64) {
        let target = if (self.from_s..self.to_s).contains(&now_s) { self.delta_k } else { 0.0 };
        self.level_k += (target - self.level_k) * (1.0 - (-dt_s / self.tau_s.max(1.0)).exp());
    }
}

impl Room {
    pub(crate) fn new(spec: &RoomSpec, seed: &Rng, now_s: f64) -> Self {
        let mut rng = seed.fork("room");
        let weather_k = spec.weather_sd_k * rng.normal();
        let mut room = Self { spec: spec.clone(), rng, weather_k, damp: 0.0, temp_c: 0.0, vapour_pa: 0.0, dried: 0.0 };
        room.settle(now_s, 0.0);
        room
    }

    /// `dry` is the share by which its vapour is being lowered.
    pub(crate) fn advance(&mut self, now_s: f64, dt_s: f64, pulls: &mut [Pull], dry: f64) {
        self.dried += (dry - self.dried) * (1.0 - (-dt_s / DRYING_TAU_S).exp());
        // Exact step of an Ornstein–Uhlenbeck process.
        let keep = (-dt_s / self.spec.weather_tau_s.max(1.0)).exp();
        let kick = (1.0 - keep * keep).sqrt();
        self.weather_k = keep * self.weather_k + kick * self.spec.weather_sd_k * self.rng.normal();
        self.damp = keep * self.damp + kick * 0.04 * self.rng.normal();
        for pull in pulls.iter_mut() {
            pull.advance(now_s, dt_s);
        }
        self.settle(now_s, pulls.iter().map(|p| p.level_k).sum());
    }

    fn settle(&mut self, now_s: f64, pulled_k: f64) {
        self.temp_c = self.spec.usual_c(now_s) + self.weather_k + pulled_k;
        let vapour =
            self.spec.rh_pct / 100.0 * saturation_pa(self.spec.mean_c) * (1.0 + self.damp) * (1.0 - self.dried);
        self.vapour_pa = vapour.clamp(0.0, 0.95 * saturation_pa(self.temp_c));
    }
}

impl RoomSpec {
    /// Its temperature without weather and people, °C.
    fn usual_c(&self, now_s: f64) -> f64 {
        let after = self.course.partition_point(|(t, _)| *t <= now_s);
        match (self.course.get(after.wrapping_sub(1)), self.course.get(after)) {
            (Some((from, a)), Some((to, b))) => a + (b - a) * (now_s - from) / (to - from),
            (Some((_, only)), None) | (None, Some((_, only))) => *only,
            (None, None) => self.mean_c + self.daily_k * (TAU * (now_s - WARMEST_H * 3600.0) / DAY_S).cos(),
        }
    }
}

/// Hour of the day, 0 to 24 (UTC).
pub(crate) fn hour_of_day(now_s: f64) -> f64 {
    now_s.rem_euclid(DAY_S) / 3600.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_course_is_followed_straight_from_point_to_point_and_held_beyond() {
        let spec = RoomSpec { course: vec![(100.0, 10.0), (200.0, 20.0)], ..RoomSpec::default() };
        for (t, want) in [(0.0, 10.0), (100.0, 10.0), (150.0, 15.0), (200.0, 20.0), (900.0, 20.0)] {
            assert!((spec.usual_c(t) - want).abs() < 1e-9, "{t} s: {}", spec.usual_c(t));
        }
    }
}
