//! What a simulated shelf is made of. Plain data; every time in seconds since 1970, every length in mm.
use crate::fault::Fault;
use crate::material::Material;

/// A whole shelf and what will befall it.
#[derive(Clone, Debug, PartialEq)]
pub struct WorldSpec {
    /// First moment of which anything is told, s since 1970.
    pub epoch_s: f64,
    /// Seconds that the shelf lives before that, so that it need not start cold.
    pub settle_s: f64,
    /// Where it stands, in the keeper's words.
    pub place: Option<String>,
    /// The room that all nests share.
    pub room: RoomSpec,
    /// The nests.
    pub nests: Vec<NestSpec>,
    /// Ordinary life.
    pub events: Vec<Event>,
    /// What goes wrong.
    pub faults: Vec<Fault>,
}

/// A room: its air, and the probe in it.
#[derive(Clone, Debug, PartialEq)]
pub struct RoomSpec {
    /// Mean, °C.
    pub mean_c: f64,
    /// Half the daily swing, K; warmest at 16 h.
    pub daily_k: f64,
    /// Temperatures that it runs through instead (s since 1970, °C, in order), straight between them and weather on top;
    /// empty: mean and daily swing.
    pub course: Vec<(f64, f64)>,
    /// Standard deviation of the slow weather (Ornstein–Uhlenbeck), K.
    pub weather_sd_k: f64,
    /// Its correlation time, s.
    pub weather_tau_s: f64,
    /// Relative humidity at the mean temperature, %RH.
    pub rh_pct: f64,
    /// The room's probe, if there is one; its `at_mm` has no meaning.
    pub probe: Option<ProbeSpec>,
    /// The node it hangs on.
    pub node: String,
}

/// What lies over the galleries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cover {
    /// 4 mm of glass.
    Glass,
    /// 3 mm of acrylic.
    Acrylic,
    /// 8 mm of cork.
    Cork,
}

/// One nest.
#[derive(Clone, Debug, PartialEq)]
pub struct NestSpec {
    /// Its name.
    pub id: String,
    /// The node that reads its probes.
    pub node: String,
    /// Length of the axis, mm (at least 40).
    pub length_mm: f64,
    /// Solid body beyond either end of the galleries, mm.
    pub wall_mm: f64,
    /// Width across the axis, mm.
    pub width_mm: f64,
    /// Thickness of the body under the galleries, mm.
    pub base_mm: f64,
    /// Height of the galleries, mm.
    pub gallery_mm: f64,
    /// Share of the gallery layer that is air, 0 to 1.
    pub air_share: f64,
    /// What it is made of.
    pub material: Material,
    /// What lies over the galleries.
    pub cover: Cover,
    /// Standard deviation of the logarithm by which its true numbers stray from the handbook.
    pub spread: f64,
    /// The pad beneath it.
    pub pad: Option<PadSpec>,
    /// What switches the pad.
    pub control: Control,
    /// Where its pad is plugged in, in the keeper's words.
    pub plug: Option<String>,
    /// What is told about the drive.
    pub report: Report,
    /// Seconds between two records of the drive.
    pub report_s: f64,
    /// Where the water stands, if any, mm.
    pub water_mm: Option<f64>,
    /// How long a source that runs out takes to fall to a third, s.
    pub dry_tau_s: f64,
    /// Heat of the colony itself, W, spread over the brood.
    pub colony_w: f64,
    /// The brood's stretch, mm.
    pub brood_mm: (f64, f64),
    /// Its probes.
    pub probes: Vec<ProbeSpec>,
}

/// A heating mat under part of a nest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PadSpec {
    /// Nearer the zero end, mm.
    pub from_mm: f64,
    /// Farther from it, mm.
    pub to_mm: f64,
    /// What its label says, W.
    pub watts: f64,
    /// Share of the label that it truly takes when cold.
    pub label_share: f64,
    /// Fall of its power per kelvin above 25 °C (self-limiting foil), 1/K.
    pub limiting_per_k: f64,
    /// Resistance between it and the body, m² K W⁻¹ (air under a rigid body; no source).
    pub contact_m2k_w: f64,
}

/// What switches a pad.
#[derive(Clone, Debug, PartialEq)]
pub enum Control {
    /// Nothing: it stays off.
    Off,
    /// A dimmer at a constant duty, 0 to 1.
    Dimmer(f64),
    /// A clock: on between these hours of the day.
    Timer(Vec<(f64, f64)>),
    /// A thermostat.
    Thermostat(Thermostat),
}

/// A thermostat with a sensor of its own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thermostat {
    /// Where its sensor sits, mm.
    pub at_mm: f64,
    /// Set point by day (7 h to 21 h), °C.
    pub day_c: f64,
    /// Set point by night, °C.
    pub night_c: f64,
    /// From switching off down to switching on, K.
    pub band_k: f64,
}

/// What a node tells about the drive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Report {
    /// Nothing: the drive is unknown.
    Nothing,
    /// The mean duty since the record before, unit `/`.
    Duty,
    /// On or off at each change, and repeated.
    OnOff,
    /// The mean power since the record before, W, as measured.
    Watts,
}

/// A probe and its vices.
#[derive(Clone, Debug, PartialEq)]
pub struct ProbeSpec {
    /// Its name on the node.
    pub name: String,
    /// Where it is said to sit, mm.
    pub at_mm: f64,
    /// Standard deviation of its true place about that, mm.
    pub place_sd_mm: f64,
    /// First-order lag, s.
    pub lag_s: f64,
    /// Standard deviation of its fixed offset, K.
    pub offset_sd_k: f64,
    /// A fixed offset added to the drawn one, K.
    pub bias_k: f64,
    /// White noise, K.
    pub noise_k: f64,
    /// Step of its scale, K.
    pub step_k: f64,
    /// Whether it tells humidity too.
    pub humidity: bool,
    /// Seconds between readings.
    pub cadence_s: f64,
    /// Readings come up to this much late, s.
    pub jitter_s: f64,
    /// Share of readings that are lost.
    pub loss: f64,
}

/// A passage of ordinary life, which is no fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// What happens.
    pub kind: EventKind,
    /// The nest it happens to; the room's events ignore it.
    pub nest: usize,
    /// When it begins, s since 1970.
    pub from_s: f64,
    /// When it ends, s since 1970.
    pub to_s: f64,
}

/// Kinds of ordinary life.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum EventKind {
    /// The room's air moves by `delta_k` with the time constant `tau_s`: an open window, a fire lit, hot days.
    Air {
        /// How far, K.
        delta_k: f64,
        /// How fast, s.
        tau_s: f64,
    },
    /// The room's vapour falls by this share of itself within hours: a dry spell, heating, a draught.
    Dry(f64),
    /// The cover is lifted: the galleries lie open to the room.
    Lid,
    /// Sun on the nest, W absorbed per m² of its cover.
    Sun(f64),
    /// So many ml of water at so many °C are poured in at the water's place, spread over the event's length.
    Refill {
        /// How much, ml.
        ml: f64,
        /// How warm, °C.
        water_c: f64,
    },
}

impl Default for RoomSpec {
    fn default() -> Self {
        Self {
            mean_c: 21.0,
            daily_k: 1.2,
            course: Vec::new(),
            weather_sd_k: 0.5,
            weather_tau_s: 43_200.0,
            rh_pct: 45.0,
            probe: Some(ProbeSpec { place_sd_mm: 0.0, ..ProbeSpec::new("air", 0.0) }),
            node: "room".into(),
        }
    }
}

impl ProbeSpec {
    /// A probe of the common sort: a minute's lag, 0.2 K off, a reading a minute.
    pub fn new(name: &str, at_mm: f64) -> Self {
        Self {
            name: name.into(),
            at_mm,
            place_sd_mm: 1.0,
            lag_s: 60.0,
            offset_sd_k: 0.2,
            bias_k: 0.0,
            noise_k: 0.05,
            step_k: 0.01,
            humidity: true,
            cadence_s: 60.0,
            jitter_s: 1.5,
            loss: 0.003,
        }
    }
}

impl PadSpec {
    /// A pad under a stretch.
    pub fn new(from_mm: f64, to_mm: f64, watts: f64) -> Self {
        Self { from_mm, to_mm, watts, label_share: 0.95, limiting_per_k: 0.0, contact_m2k_w: 0.02 }
    }
}

impl NestSpec {
    /// A nest without pad, water or probes.
    pub fn new(id: &str, material: Material, length_mm: f64) -> Self {
        Self {
            id: id.into(),
            node: format!("{id}-node"),
            length_mm,
            wall_mm: 8.0,
            width_mm: 100.0,
            base_mm: 12.0,
            gallery_mm: 12.0,
            air_share: 0.45,
            material,
            cover: Cover::Acrylic,
            spread: 0.12,
            pad: None,
            control: Control::Off,
            plug: None,
            report: Report::Duty,
            report_s: 60.0,
            water_mm: None,
            dry_tau_s: 8.0 * 3600.0,
            colony_w: 0.0,
            brood_mm: (0.25 * length_mm, 0.4 * length_mm),
            probes: Vec::new(),
        }
    }

    /// With a pad.
    #[must_use]
    pub fn pad(mut self, pad: PadSpec, control: Control) -> Self {
        self.pad = Some(pad);
        self.control = control;
        self
    }

    /// With a thermostat's set point held day and night, half a kelvin wide, its sensor at `at_mm`.
    #[must_use]
    pub fn thermostat(mut self, at_mm: f64, set_c: f64) -> Self {
        self.control = Control::Thermostat(Thermostat { at_mm, day_c: set_c, night_c: set_c, band_k: 0.5 });
        self
    }

    /// With one more probe.
    #[must_use]
    pub fn probe(mut self, probe: ProbeSpec) -> Self {
        self.probes.push(probe);
        self
    }
}

impl WorldSpec {
    /// A shelf with these nests and nothing amiss, beginning at `epoch_s`.
    pub fn new(epoch_s: f64, nests: Vec<NestSpec>) -> Self {
        let (events, faults) = (Vec::new(), Vec::new());
        Self { epoch_s, settle_s: 0.0, place: None, room: RoomSpec::default(), nests, events, faults }
    }

    /// The shelf of the demonstration: an oak nest on a thermostat that reports, a plaster nest on a dimmer.
    pub fn demo(epoch_s: f64) -> Self {
        let mut oak = NestSpec::new("oak", Material::Oak, 240.0)
            .pad(PadSpec::new(0.0, 80.0, 7.0), Control::Off)
            .thermostat(45.0, 29.0)
            .probe(ProbeSpec::new("warm", 10.0))
            .probe(ProbeSpec::new("brood", 70.0))
            .probe(ProbeSpec::new("cool", 230.0));
        oak.brood_mm = (50.0, 90.0);
        oak.water_mm = Some(170.0);
        oak.colony_w = 0.02;
        let mut plaster = NestSpec::new("plaster", Material::Plaster, 260.0)
            .pad(PadSpec::new(0.0, 90.0, 6.0), Control::Dimmer(0.55))
            .probe(ProbeSpec::new("warm", 12.0))
            .probe(ProbeSpec::new("cool", 248.0));
        plaster.brood_mm = (60.0, 100.0);
        plaster.water_mm = Some(180.0);
        Self::new(epoch_s, vec![oak, plaster])
    }
}
