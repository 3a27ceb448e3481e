//! What can go wrong, and the record of when it did.

/// Kinds of faults: the words of `demo --fault`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// The relay sticks: the pad heats at full power, whatever it is told. Begins when the pad is told to be off.
    StuckOn,
    /// The pad gives no heat, whatever it is told.
    PadDead,
    /// The thermostat's sensor fell off and reads the room.
    ThermostatProbeOff,
    /// A probe repeats its last reading.
    Freeze,
    /// A share of a probe's readings is nonsense.
    Spike,
    /// A probe fell off and reads the room.
    ProbeOff,
    /// A probe stops.
    Silent,
    /// The water runs out over most of a day.
    WaterDry,
    /// Everything stops: pads and readings.
    PowerCut,
    /// The room grows hot.
    Heatwave,
}

impl FaultKind {
    /// Every kind.
    pub const ALL: [Self; 10] = [
        Self::StuckOn,
        Self::PadDead,
        Self::ThermostatProbeOff,
        Self::Freeze,
        Self::Spike,
        Self::ProbeOff,
        Self::Silent,
        Self::WaterDry,
        Self::PowerCut,
        Self::Heatwave,
    ];

    /// Its word.
    pub fn name(self) -> &'static str {
        match self {
            Self::StuckOn => "stuck-on",
            Self::PadDead => "pad-dead",
            Self::ThermostatProbeOff => "thermostat-probe-off",
            Self::Freeze => "freeze",
            Self::Spike => "spike",
            Self::ProbeOff => "probe-off",
            Self::Silent => "silent",
            Self::WaterDry => "water-dry",
            Self::PowerCut => "power-cut",
            Self::Heatwave => "heatwave",
        }
    }

    /// The kind of that word.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.name() == name)
    }

    /// Whether it befalls one probe.
    pub fn of_probe(self) -> bool {
        matches!(self, Self::Freeze | Self::Spike | Self::ProbeOff | Self::Silent)
    }
}

/// One fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// What.
    pub kind: FaultKind,
    /// Which nest, by its place in the list. A power cut and a heatwave befall the whole shelf.
    pub nest: usize,
    /// Which probe, by name; none: the nest's first.
    pub probe: Option<String>,
    /// When it begins, s since 1970.
    pub from_s: f64,
    /// When it ends, if it does.
    pub to_s: Option<f64>,
    /// Share of nonsense readings (spike), K (heatwave); without meaning for the others.
    pub size: f64,
}

impl Fault {
    /// A fault that does not end, of the usual size.
    pub fn new(kind: FaultKind, nest: usize, from_s: f64) -> Self {
        let size = match kind {
            FaultKind::Spike => 0.04,
            FaultKind::Heatwave => 10.0,
            _ => 0.0,
        };
        Self { kind, nest, probe: None, from_s, to_s: None, size }
    }

    /// Of that probe.
    #[must_use]
    pub fn probe(mut self, name: &str) -> Self {
        self.probe = Some(name.into());
        self
    }

    /// Until then.
    #[must_use]
    pub fn until(mut self, to_s: f64) -> Self {
        self.to_s = Some(to_s);
        self
    }
}

/// What became of a fault.
#[derive(Clone, Debug, PartialEq)]
pub struct FaultRecord {
    /// The fault as it was asked for.
    pub fault: Fault,
    /// When it truly began: a relay sticks only once the pad is told to be off.
    pub began_s: Option<f64>,
    /// When it first changed the heat (of the pad's faults).
    pub bites_s: Option<f64>,
}

impl FaultRecord {
    pub(crate) fn new(fault: Fault) -> Self {
        Self { fault, began_s: None, bites_s: None }
    }

    /// Whether it holds at `now_s`.
    pub fn active(&self, now_s: f64) -> bool {
        self.began_s.is_some_and(|b| b <= now_s) && self.fault.to_s.is_none_or(|to| now_s < to)
    }

    /// Whether it is due to begin at `now_s`.
    pub(crate) fn due(&self, now_s: f64) -> bool {
        self.began_s.is_none() && self.fault.from_s <= now_s && self.fault.to_s.is_none_or(|to| now_s < to)
    }
}

/// The faults that hold for one nest at one moment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Holding {
    pub(crate) stuck: bool,
    pub(crate) dead: bool,
    pub(crate) sensor_off: bool,
    pub(crate) dry: bool,
    pub(crate) dark: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_name_their_kinds() {
        for kind in FaultKind::ALL {
            assert_eq!(FaultKind::from_name(kind.name()), Some(kind));
        }
        assert_eq!(FaultKind::from_name("fire"), None);
    }
}
