//! What a keeper is told in a story, and how often: the simulated shelf under the eyes of the core, its changes at the
//! desk of one way, all on the story's own clock. Nobody answers; nothing is sent.
use crate::story;
use crate::watched::Watched;
use enclosure::{Event, Timestamp};
use std::fmt::Write as _;
use warmend::notices::Rehearsal;
use world::{Control, Fault, FaultKind, Material, NestSpec, PadSpec, ProbeSpec, WorldSpec};

/// First moment of every story: 2026-03-01T00:00:00Z.
const EPOCH_S: f64 = 1_772_323_200.0;
const DAY_S: f64 = 86_400.0;
/// The seed of every story.
const SEED: u64 = 5;

/// One story.
#[derive(Clone, Debug)]
pub struct Story {
    /// Its name.
    pub name: &'static str,
    /// Its length, days.
    pub days: f64,
    /// What goes wrong, days from the start, for how many days; for good if for none.
    pub fault: Option<(FaultKind, f64, Option<f64>)>,
}

/// Two nests on thermostats, each with its node, and a probe in the room's shade.
fn shelf() -> WorldSpec {
    let mut spec = story::oak(EPOCH_S);
    let mut plaster = NestSpec::new("plaster", Material::Plaster, 260.0)
        .pad(PadSpec::new(0.0, 90.0, 5.0), Control::Off)
        .thermostat(40.0, 28.5)
        .probe(ProbeSpec::new("warm", 12.0))
        .probe(ProbeSpec::new("brood", 75.0))
        .probe(ProbeSpec::new("cool", 248.0));
    plaster.brood_mm = (55.0, 90.0);
    plaster.water_mm = Some(180.0);
    spec.nests.push(plaster);
    spec
}

/// The four stories of the table, each on the same shelf.
pub const STORIES: [Story; 4] = [
    Story { name: "quiet month", days: 30.0, fault: None },
    Story { name: "heatwave", days: 6.0, fault: Some((FaultKind::Heatwave, 3.0, Some(2.0))) },
    Story { name: "stuck pad", days: 3.25, fault: Some((FaultKind::StuckOn, 3.0, None)) },
    Story { name: "power cut", days: 4.0, fault: Some((FaultKind::PowerCut, 3.0, Some(0.125))) },
];

/// The head of the table.
pub const HEAD: &str = "# Notices of simulated stories on a shelf of two nests, nobody answering, no quiet hours: what went wrong after\n\
    # 3 days; changes raised; messages that began something; all messages, repeats and ends included; the first one,\n\
    # minutes after the fault began, with its line. Written by: cargo run --release -p tests --example notice_table\n\
    # story          days  raised  begun  messages  first min  its line\n";

/// What came of a story.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The story's name.
    pub name: &'static str,
    /// Changes that raised an alarm, consequences included.
    pub raised: usize,
    /// Messages that began something: each is one matter for the keeper.
    pub begun: usize,
    /// All messages.
    pub messages: usize,
    /// Minutes from the fault to the first message after it, and its first line.
    pub first: Option<(f64, String)>,
    /// The first lines of messages that began something, each with its day.
    pub lines: Vec<(f64, String)>,
    days: f64,
}

impl Story {
    /// Lives through it.
    ///
    /// # Panics
    /// If the simulated shelf describes itself wrongly.
    pub fn live(&self) -> Row {
        let mut spec = shelf();
        let from_s = EPOCH_S + self.fault.map_or(0.0, |(_, from, _)| from) * DAY_S;
        if let Some((kind, _, lasts)) = self.fault {
            let fault = Fault::new(kind, 0, from_s);
            spec.faults.push(match lasts {
                Some(days) => fault.until(from_s + days * DAY_S),
                None => fault,
            });
        }
        let mut watched = Watched::new(&spec, SEED);
        watched.advance(EPOCH_S + self.days * DAY_S);
        // A relay sticks only once its pad is told to be off.
        let began_s = watched.world.faults().first().and_then(|f| f.bites_s.or(f.began_s)).unwrap_or(from_s);
        let mut desk = Rehearsal::new(&watched.file);
        watched.changes.iter().cloned().for_each(|change| desk.hear(change));
        desk.until(Timestamp::from_unix_s(EPOCH_S + self.days * DAY_S).expect("a date"));
        let begins = |event| {
            matches!(
                event,
                Event::Raised | Event::Unacknowledged | Event::Unshelved | Event::Unsuppressed | Event::InService
            )
        };
        let said = desk.said();
        let begun = || said.iter().filter(|s| s.repeat == 0 && begins(s.change.event));
        let day = |at: Timestamp| (at.unix_s() - EPOCH_S) / DAY_S;
        let first = said.iter().find(|s| self.fault.is_none() || s.at.unix_s() >= began_s);
        Row {
            name: self.name,
            days: self.days,
            raised: watched.changes.iter().filter(|c| c.event == Event::Raised).count(),
            begun: begun().count(),
            lines: begun().map(|s| (day(s.at), s.message.first_line.clone())).collect(),
            messages: said.len(),
            first: first.map(|s| ((s.at.unix_s() - began_s) / 60.0, s.message.first_line.clone())),
        }
    }
}

impl Row {
    /// As it stands in the table.
    pub fn line(&self) -> String {
        let Self { name, days, raised, begun, messages, first, .. } = self;
        let mut line = format!("{name:15}{days:6.2}{raised:8}{begun:7}{messages:10}");
        match first {
            Some((min, first_line)) => drop(write!(line, "{min:11.1}  {first_line}")),
            None => line.push_str("          -  -"),
        }
        line
    }
}
