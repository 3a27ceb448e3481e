//! How a node itself is doing, as SenML, in each pack that has room for it.
use wire::{Base, Entry, Format, HeatOff, Number, PackWriter, WriteError};

use crate::Millis;

/// How a node itself is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Health {
    /// Since its start, ms.
    pub up_ms: Millis,
    /// Its supply, mV, where it is measured.
    pub supply_mv: Option<i32>,
    /// How strong its radio hears, thousandths of a dBW (−97 dBW is −67 dBm), where it has one.
    pub signal_mdbw: Option<i32>,
    /// How often the watchdog started it.
    pub bites: u32,
    /// Samples lost for want of room since the start.
    pub lost: u32,
    /// Samples at least that waited when an earlier start ended, and are lost with its memory; all starts together.
    pub cut_off: u32,
    /// Permits and orders that did not count since the start.
    pub refused: u32,
    /// The highest number of resets by a person that it saw.
    pub reset: u32,
    /// Why it does not heat.
    pub heat_off: Option<HeatOff>,
}

impl Health {
    /// Appends it to a pack whose base name is the node's.
    ///
    /// # Errors
    /// [`WriteError::Full`]; what fitted stays.
    pub fn write<F: Format>(&self, out: &mut PackWriter<'_, F>, base: &Base<'_>) -> Result<(), WriteError> {
        let up = i64::try_from(self.up_ms).unwrap_or(i64::MAX);
        let off = self.heat_off.map_or(0, HeatOff::code);
        out.record_with(base, &Entry::count("heat-off", off.into())?)?;
        out.record(&Entry::count("heat-reset", self.reset.into())?)?;
        out.record(&Entry::number("up", Number::Milli(up)).unit("s"))?;
        if let Some(mv) = self.supply_mv {
            out.record(&Entry::number("supply", Number::Milli(mv.into())).unit("V"))?;
        }
        if let Some(mdbw) = self.signal_mdbw {
            out.record(&Entry::number("signal", Number::Milli(mdbw.into())).unit("dBW"))?;
        }
        let counts = [("watchdogs", self.bites), ("lost", self.lost), ("cut-off", self.cut_off)];
        for (name, many) in counts.into_iter().chain([("refused", self.refused)]) {
            if many > 0 {
                out.record(&Entry::count(name, many.into())?)?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use wire::JsonWriter;

    #[test]
    fn it_says_what_is_known_and_what_went_wrong() {
        let health = Health {
            up_ms: 61_500,
            supply_mv: Some(3280),
            signal_mdbw: Some(-97_000),
            lost: 3,
            cut_off: 512,
            reset: 2,
            heat_off: Some(HeatOff::ProbeSilent),
            ..Health::default()
        };
        let mut buffer = [0; 512];
        let mut out = JsonWriter::new(&mut buffer).unwrap();
        health.write(&mut out, &Base { name: Some("oak-node:"), ..Base::default() }).unwrap();
        assert_eq!(
            std::str::from_utf8(out.finish()).unwrap(),
            r#"[{"bn":"oak-node:","n":"heat-off","u":"count","v":8},{"n":"heat-reset","u":"count","v":2},{"n":"up","u":"s","v":61.5},{"n":"supply","u":"V","v":3.28},{"n":"signal","u":"dBW","v":-97},{"n":"lost","u":"count","v":3},{"n":"cut-off","u":"count","v":512}]"#
        );
    }
}
