//! How far the estimate is off, and how often its 90 % interval holds the truth, by how many probes there are, how often
//! and how noisily they speak, and how much of it is lost.
use crate::watched::Watched;
use std::fmt;
use world::{Control, Material, NestSpec, PadSpec, ProbeSpec, Report, WorldSpec};

/// First moment of every story: 2026-03-01T00:00:00Z.
const EPOCH_S: f64 = 1_772_323_200.0;
const DAY_S: f64 = 86_400.0;
/// Days of a story; the first is not judged.
const DAYS: f64 = 3.0;
/// Between two looks, s.
const EVERY_S: f64 = 1800.0;
/// Half of a 90 % interval, in standard deviations of a normal error.
pub(crate) const NINETY: f64 = 1.645;

/// What is varied.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// Whether the drive is told, or left to be inferred.
    pub told: bool,
    /// Probes in the nest.
    pub probes: usize,
    /// Between two readings, s.
    pub cadence_s: f64,
    /// Noise of a reading, K.
    pub noise_k: f64,
    /// Share of readings that are lost.
    pub lost: f64,
}

/// What came of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// Root mean square error along the whole axis, K.
    pub profile_k: f64,
    /// The same of the brood place's mean, K.
    pub brood_k: f64,
    /// Share of the truth within the 90 % interval, along the whole axis.
    pub cover: f64,
}

impl Cell {
    /// Every cell of the table.
    pub fn all() -> Vec<Self> {
        let mut all = Vec::new();
        for told in [true, false] {
            for probes in [2, 3, 4] {
                for cadence_s in [10.0, 60.0, 300.0] {
                    for (noise_k, lost) in [(0.02, 0.0), (0.02, 0.3), (0.2, 0.0), (0.2, 0.3)] {
                        all.push(Self { told, probes, cadence_s, noise_k, lost });
                    }
                }
            }
        }
        all
    }

    /// The table's line of this cell.
    pub fn line(&self, figures: &Figures) -> String {
        let Figures { profile_k, brood_k, cover } = figures;
        format!("{self}  {profile_k:9.2}  {brood_k:7.2}  {cover:5.2}")
    }

    /// The figures that `table` holds of this cell.
    pub fn find(&self, table: &str) -> Option<Figures> {
        let rest = table.lines().find_map(|line| line.strip_prefix(&self.to_string()))?;
        let numbers: Vec<f64> = rest.split_whitespace().filter_map(|n| n.parse().ok()).collect();
        let [profile_k, brood_k, cover] = numbers[..] else { return None };
        Some(Figures { profile_k, brood_k, cover })
    }

    /// Three nests under these conditions, two where the drive is not told; three days each.
    ///
    /// # Panics
    /// If a nest is not on its own shelf.
    pub fn live(&self) -> Figures {
        let (mut profile, mut brood, mut within, mut places, mut looks) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (i, nest) in self.nests().into_iter().enumerate() {
            let mut watched = Watched::new(&WorldSpec::new(EPOCH_S, vec![nest]), 100 + i as u64);
            let mut t_s = EPOCH_S + DAY_S;
            while t_s <= EPOCH_S + DAYS * DAY_S {
                watched.advance(t_s);
                let (now, truth) = (watched.believed(0).expect("it is there"), watched.truth(0).expect("it is there"));
                let p = &now.profile;
                for ((x, mean), sd) in p.at_mm.iter().zip(&p.mean_c).zip(&p.sd_c) {
                    let off = mean - truth.temp_at(*x);
                    profile += off * off;
                    within += f64::from(u8::from(off.abs() <= NINETY * sd));
                    places += 1.0;
                }
                let off = now.brood_c.map_or(f64::NAN, |(mean, ..)| mean) - truth.brood_c().0;
                brood += off * off;
                looks += 1.0;
                t_s += EVERY_S;
            }
        }
        Figures { profile_k: (profile / places).sqrt(), brood_k: (brood / looks).sqrt(), cover: within / places }
    }

    /// Its nests.
    pub(crate) fn nests(&self) -> Vec<NestSpec> {
        let nest =
            |material: Material, length_mm: f64, (pad_mm, watts): (f64, f64), control: Control, report: Report| {
                let pad = PadSpec::new(0.0, pad_mm, watts);
                let mut nest = NestSpec::new(material.name(), material, length_mm).pad(pad, Control::Off);
                nest = if control == Control::Off { nest.thermostat(0.5 * pad_mm, 29.0) } else { nest };
                if control != Control::Off {
                    nest.control = control;
                }
                nest.report = report;
                nest.brood_mm = (pad_mm - 25.0, pad_mm + 8.0);
                let brood_mm = pad_mm - 8.0;
                let (warm, cool) = (("warm", 10.0), ("cool", length_mm - 12.0));
                let places = match self.probes {
                    2 => vec![warm, cool],
                    3 => vec![warm, ("brood", brood_mm), cool],
                    _ => vec![warm, ("brood", brood_mm), ("mid", brood_mm + 45.0), cool],
                };
                for (name, at_mm) in places {
                    let probe = ProbeSpec {
                        cadence_s: self.cadence_s,
                        noise_k: self.noise_k,
                        loss: self.lost,
                        humidity: false,
                        ..ProbeSpec::new(name, at_mm)
                    };
                    nest = nest.probe(probe);
                }
                nest
            };
        if !self.told {
            return vec![
                nest(Material::Oak, 240.0, (80.0, 5.0), Control::Off, Report::Nothing),
                nest(Material::Plaster, 240.0, (90.0, 6.0), Control::Off, Report::Nothing),
            ];
        }
        vec![
            nest(Material::Oak, 240.0, (80.0, 5.0), Control::Off, Report::Duty),
            nest(Material::Pine, 220.0, (80.0, 3.5), Control::Off, Report::OnOff),
            nest(Material::Clay, 220.0, (90.0, 3.6), Control::Dimmer(0.6), Report::Watts),
        ]
    }
}

impl fmt::Display for Cell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let drive = if self.told { "told" } else { "untold" };
        write!(f, "{drive:6}  {:6}  {:9}  {:7.2}  {:4.1}", self.probes, self.cadence_s, self.noise_k, self.lost)
    }
}
