//! What switches a pad, and what is told about it.
use crate::rng::Rng;
use crate::room::hour_of_day;
use crate::spec::{Control, Report, Thermostat};

/// Lag of a thermostat's sensor, s (common practice, no source).
const SENSOR_LAG_S: f64 = 45.0;
/// Standard deviation of its offset, K (no source).
const SENSOR_OFFSET_SD_K: f64 = 0.25;
/// Hours of day for set points.
const DAY_H: core::ops::Range<f64> = 7.0..21.0;
/// An on/off record is repeated after so many seconds without a change.
const REPEAT_S: f64 = 600.0;
/// A power meter's gain error (no source).
const METER_SD: f64 = 0.02;

/// A thermostat's switch: on or off, by its sensor.
#[derive(Clone, Copy, Debug)]
struct Switch {
    on: bool,
}

impl Switch {
    fn decide(&mut self, sensor_c: f64, set_c: f64, band_k: f64) {
        if sensor_c > set_c + 0.5 * band_k {
            self.on = false;
        } else if sensor_c < set_c - 0.5 * band_k {
            self.on = true;
        }
    }
}

/// The control of one pad.
#[derive(Clone, Debug)]
pub(crate) struct Controller {
    control: Control,
    offset_k: f64,
    sensor_c: f64,
    fallen_c: f64,
    switch: Switch,
    /// The switch as it would be had the sensor not fallen off.
    shadow: Switch,
}

impl Controller {
    pub(crate) fn new(control: &Control, seed: &Rng, room_c: f64) -> Self {
        let offset_k = SENSOR_OFFSET_SD_K * seed.fork("thermostat").normal();
        let off = Switch { on: false };
        Self { control: control.clone(), offset_k, sensor_c: room_c, fallen_c: room_c, switch: off, shadow: off }
    }

    /// Where the sensor sits, mm.
    pub(crate) fn sensor_mm(&self) -> Option<f64> {
        match &self.control {
            Control::Thermostat(t) => Some(t.at_mm),
            _ => None,
        }
    }

    /// Decides the duty for the coming step, and what it would be without a fallen sensor.
    pub(crate) fn decide(&mut self, now_s: f64, dt_s: f64, gallery_c: f64, fallen: Option<f64>) -> (f64, f64) {
        let hour = hour_of_day(now_s);
        match &self.control {
            Control::Off => (0.0, 0.0),
            Control::Dimmer(duty) => (duty.clamp(0.0, 1.0), duty.clamp(0.0, 1.0)),
            Control::Timer(spans) => {
                let on = spans.iter().any(|(from, to)| (*from..*to).contains(&hour));
                (f64::from(u8::from(on)), f64::from(u8::from(on)))
            }
            Control::Thermostat(Thermostat { day_c, night_c, band_k, .. }) => {
                let set = if DAY_H.contains(&hour) { *day_c } else { *night_c };
                let gain = 1.0 - (-dt_s / SENSOR_LAG_S).exp();
                self.sensor_c += gain * (gallery_c - self.sensor_c);
                self.fallen_c += gain * (fallen.unwrap_or(gallery_c) - self.fallen_c);
                self.shadow.decide(self.sensor_c + self.offset_k, set, *band_k);
                self.switch.decide(self.fallen_c + self.offset_k, set, *band_k);
                if fallen.is_none() {
                    self.shadow = self.switch;
                }
                (f64::from(u8::from(self.switch.on)), f64::from(u8::from(self.shadow.on)))
            }
        }
    }

    /// Where the mains came back, a thermostat starts off.
    pub(crate) fn restart(&mut self) {
        self.switch.on = false;
        self.shadow.on = false;
    }
}

/// What a node tells about its pad's drive.
#[derive(Clone, Debug)]
pub(crate) struct Reporter {
    report: Report,
    every_s: f64,
    next_s: f64,
    duty_s: f64,
    heat_j: f64,
    since_s: f64,
    said: Option<bool>,
    said_s: f64,
    gain: f64,
    rng: Rng,
}

/// A record of the drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Told {
    Duty(f64),
    On(bool),
    Watts(f64),
}

impl Reporter {
    pub(crate) fn new(report: Report, every_s: f64, seed: &Rng, now_s: f64) -> Self {
        let mut rng = seed.fork("reporter");
        let gain = 1.0 + METER_SD * rng.normal();
        let next_s = now_s + every_s * rng.uniform();
        let every_s = every_s.max(1.0);
        Self { report, every_s, next_s, duty_s: 0.0, heat_j: 0.0, since_s: now_s, said: None, said_s: now_s, gain, rng }
    }

    /// Takes in one step that ends at `now_s`; says what falls due in it, and when.
    pub(crate) fn advance(&mut self, now_s: f64, dt_s: f64, duty: f64, heat_w: f64) -> Option<(f64, Told)> {
        self.duty_s += duty * dt_s;
        self.heat_j += heat_w * dt_s;
        let jitter = 0.5 * self.rng.uniform();
        match self.report {
            Report::Nothing => None,
            Report::OnOff => {
                let on = duty > 0.0;
                if self.said == Some(on) && now_s - self.said_s < REPEAT_S {
                    return None;
                }
                self.said = Some(on);
                self.said_s = now_s;
                Some((now_s - dt_s + jitter, Told::On(on)))
            }
            Report::Duty | Report::Watts => {
                if now_s < self.next_s {
                    return None;
                }
                let span = (now_s - self.since_s).max(dt_s);
                let told = if self.report == Report::Duty {
                    Told::Duty((self.duty_s / span).clamp(0.0, 1.0))
                } else {
                    Told::Watts(((self.heat_j / span) * self.gain).max(0.0))
                };
                self.next_s = (self.next_s + self.every_s).max(now_s);
                self.start_over(now_s);
                Some((now_s, told))
            }
        }
    }

    /// Forgets what was gathered: the node was without power.
    pub(crate) fn reboot(&mut self, now_s: f64) {
        self.start_over(now_s);
        self.said = None;
        while self.next_s <= now_s {
            self.next_s += self.every_s;
        }
    }

    fn start_over(&mut self, now_s: f64) {
        self.duty_s = 0.0;
        self.heat_j = 0.0;
        self.since_s = now_s;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thermostat_holds_between_its_two_marks() {
        let t = Thermostat { at_mm: 0.0, day_c: 30.0, night_c: 28.0, band_k: 1.0 };
        let mut c = Controller::new(&Control::Thermostat(t), &Rng::new(1), 20.0);
        c.offset_k = 0.0;
        let noon = 12.0 * 3600.0;
        let mut settle = |gallery_c: f64, now_s: f64| (0..200).map(|_| c.decide(now_s, 5.0, gallery_c, None).0).last();
        assert_eq!(settle(29.0, noon), Some(1.0));
        assert_eq!(settle(30.4, noon), Some(1.0), "on until the upper mark");
        assert_eq!(settle(30.6, noon), Some(0.0));
        assert_eq!(settle(29.6, noon), Some(0.0), "off until the lower mark");
        assert_eq!(settle(29.0, 2.0 * 3600.0), Some(0.0), "the night asks for less");
    }

    #[test]
    fn a_duty_record_is_the_mean_since_the_record_before() {
        let mut r = Reporter::new(Report::Duty, 60.0, &Rng::new(3), 0.0);
        let mut told = Vec::new();
        let mut fed = 0.0;
        for step in 1..=1200_u32 {
            let duty = if step % 3 == 0 { 1.0 } else { 0.0 };
            fed += duty * 5.0;
            if let Some((t, Told::Duty(d))) = r.advance(f64::from(step) * 5.0, 5.0, duty, 0.0) {
                told.push((t, d));
            }
        }
        let mut before = 0.0;
        let sum: f64 = told.iter().map(|(t, d)| d * (t - core::mem::replace(&mut before, *t))).sum();
        assert!((99..=101).contains(&told.len()), "{}", told.len());
        assert!((sum - fed).abs() <= 60.0, "{sum} against {fed}");
    }
}
