//! Files that people write and the shelf file names: users, tokens, certificates. A name that leads to a device, or to
//! something large, must neither fill the memory nor be read for ever.
use std::fs::File;
use std::io::{self, Read as _};
use std::path::Path;

/// The text of a file of at most `most` bytes.
///
/// # Errors
/// If it cannot be read, is larger, or is no text.
pub(crate) fn text(path: &Path, most: u64) -> io::Result<String> {
    let mut bytes = Vec::new();
    File::open(path)?.take(most.saturating_add(1)).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        return Err(io::Error::other(format!("it is larger than {most} bytes")));
    }
    String::from_utf8(bytes).map_err(|_| io::Error::other("it is no text"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_fits_is_read_whole_and_what_does_not_not_at_all() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("word");
        let put = |bytes: &[u8]| std::fs::write(&path, bytes).unwrap();
        put("täglich".as_bytes());
        assert_eq!(text(&path, 8).unwrap(), "täglich");
        assert!(text(&path, 7).unwrap_err().to_string().contains("larger than 7 bytes"));
        put(b"\xff\xfe");
        assert!(text(&path, 8).unwrap_err().to_string().contains("no text"));
        assert!(text(&dir.path().join("none"), 8).is_err());
        #[cfg(target_os = "linux")]
        assert!(text(Path::new("/dev/zero"), 4096).is_err(), "a file without an end");
    }
}
