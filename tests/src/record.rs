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

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<(f64, f64)>, String> {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("record.csv");
        std::fs::write(&path, text).unwrap();
        hours(&path)
    }

    #[test]
    fn hours_are_read_whatever_the_order_of_the_columns() {
        for text in ["date,temp\n2010/01/01 00:00,32.0\n2010/01/01 01:00,212\n", "temp,date\n32.0,x\n212,y\n"] {
            let told = read(text).unwrap();
            assert_eq!(told.len(), 2);
            assert!((told[0].1).abs() < 1e-9 && (told[1].1 - 100.0).abs() < 1e-9, "{told:?}");
            assert!((told[1].0 - 3600.0).abs() < 1e-9);
        }
    }

    #[test]
    fn what_is_missing_is_named_with_its_line() {
        assert!(read("date,warmth\nx,1\n").unwrap_err().contains("no column temp"));
        assert!(read("date,temp\nx,1\nx,\n").unwrap_err().contains("line 3"));
    }
}
