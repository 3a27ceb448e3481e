//! One resolved SenML record a line.
use super::{of_unit, reading, rejection, unit};
use crate::history::{HistoricReading, Quantity};
use enclosure::Timestamp;
use std::fmt::Write as _;

/// Times before this are taken for relative ones (RFC 8428, section 4.5.3), s.
const ABSOLUTE_FROM_S: i64 = 1 << 28;

/// Writes a reading as a line; `None` if its time cannot be said in SenML.
pub(super) fn write(r: &HistoricReading, line: &mut String) -> Option<()> {
    let ms = r.at.unix_ms();
    if ms < ABSOLUTE_FROM_S * 1000 {
        return None;
    }
    let (quantity, v) = r.value();
    // A source's name holds letters, digits and - : . / _ only: nothing that JSON would have to escape.
    let _ = match quantity {
        Quantity::On => write!(line, "{{\"n\":\"{}\",\"vb\":{}", r.source, v > 0.5),
        q => write!(line, "{{\"n\":\"{}\",\"u\":\"{}\",\"v\":{v}", r.source, unit(q)),
    };
    let _ = write!(line, ",\"t\":{}", ms / 1000);
    if ms % 1000 != 0 {
        let _ = write!(line, ".{:03}", ms % 1000);
    }
    if let Some(why) = r.rejection {
        let _ = write!(line, ",\"rejected\":\"{}\"", why.name());
    }
    line.push_str("}\n");
    Some(())
}

/// Reads a line.
pub(super) fn read(line: &[u8]) -> Result<HistoricReading, String> {
    let record = wire::decode_line(line).map_err(|why| format!("it is no resolved SenML record ({why})"))?;
    if record.had_base {
        return Err("it has base fields: a line must be resolved".to_owned());
    }
    if record.is_relative() {
        return Err("it has no absolute time".to_owned());
    }
    let at = Timestamp::from_unix_s(record.time_s).ok_or("its time cannot be")?;
    let value = match record.value {
        Some(wire::Value::Float(v)) => {
            let quantity = record.unit.as_deref().filter(|u| *u != unit(Quantity::On)).and_then(of_unit);
            (quantity.ok_or("its unit is none that a probe or a pad gives")?, v)
        }
        Some(wire::Value::Bool(on)) => (Quantity::On, f64::from(u8::from(on))),
        Some(wire::Value::Text(_) | wire::Value::Data(_)) | None => return Err("it says no number".to_owned()),
    };
    Ok(HistoricReading { rejection: rejected(line)?, ..reading(record.name.as_str(), value, at)? })
}

/// Our own field, which others pass over.
fn rejected(line: &[u8]) -> Result<Option<enclosure::Rejection>, String> {
    #[derive(serde::Deserialize)]
    struct Own {
        rejected: Option<String>,
    }
    if !line.windows(10).any(|part| part == b"\"rejected\"") {
        return Ok(None);
    }
    let own: Own = serde_json::from_slice(line).map_err(|_| "its \"rejected\" is no text")?;
    own.rejected.as_deref().map(rejection).transpose()
}
