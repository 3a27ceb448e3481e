//! Open records of real temperatures, as their packages bring them.
use std::path::Path;

/// The hours of an outdoor record: s since its first hour, °C. Columns `date` (any) and `temp` (°F), one line an hour.
///
/// # Errors
/// What the file lacks.
pub fn hours(path: &Path) -> Result<Vec<(f64, f64)>, String> {
    let at = path.display();
    let text = std::fs::read_to_string(path).map_err(|e| format!("reading {at}: {e}"))?;
    let mut lines = text.lines();
    let head = lines.next().unwrap_or("");
    let column = head.split(',').position(|name| name == "temp").ok_or(format!("{at} has no column temp"))?;
    let hour = |(i, line): (usize, &str)| {
        let told = line.split(',').nth(column).and_then(|v| v.trim().parse::<f64>().ok());
        told.map(|f| (3600.0 * i as f64, (f - 32.0) / 1.8)).ok_or(format!("{at}, line {}: no temperature", i + 2))
    };
    lines.enumerate().map(hour).collect()
}
