//! The CSV log, safe against sudden ends.

use std::fs::File;
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

use crate::sound::write::is_other;

use super::{CSV_HEAD, Reading, csv_row};

/// The log cannot be written; names the file and the remedy.
#[derive(Debug, thiserror::Error)]
#[error("{}: {}", .path.display(), remedy(.why))]
pub struct LogError {
    /// The log.
    pub path: PathBuf,
    /// What the system said. Its remedy is told, so it is no source of its own.
    pub why: io::Error,
}

fn remedy(error: &io::Error) -> String {
    match error.kind() {
        ErrorKind::NotFound | ErrorKind::NotADirectory => {
            "its folder does not exist; make the folder first".into()
        }
        ErrorKind::AlreadyExists => error.to_string(),
        ErrorKind::IsADirectory => "this is a folder; name a file for the log".into(),
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
            "writing there is not permitted; choose a folder of your own".into()
        }
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
            "the disk is full; make room or write to another disk".into()
        }
        _ => format!("it cannot be written ({error}); check the disk it is on"),
    }
}

/// One row a beat, each handed to the system at once: whatever ends the program,
/// no beat before it is lost.
#[derive(Debug)]
pub struct CsvLog {
    path: PathBuf,
    file: File,
}

impl CsvLog {
    /// Begins a log in place of what was in the file.
    ///
    /// # Errors
    /// If the file cannot be made.
    pub fn create(path: &Path) -> Result<Self, LogError> {
        let failed = |why| LogError {
            path: path.to_path_buf(),
            why,
        };
        if is_other(path, CSV_HEAD.as_bytes()) {
            let why = "another kind of file is there and would be lost; name another one";
            return Err(failed(io::Error::new(ErrorKind::AlreadyExists, why)));
        }
        let mut file = File::create(path).map_err(failed)?;
        file.write_all(CSV_HEAD.as_bytes()).map_err(failed)?;
        Ok(CsvLog {
            path: path.to_path_buf(),
            file,
        })
    }

    /// Adds a beat's row.
    ///
    /// # Errors
    /// If the disk is full or went away.
    pub fn add(&mut self, reading: &Reading) -> Result<(), LogError> {
        let written = self.file.write_all(csv_row(reading).as_bytes());
        written.map_err(|why| LogError {
            path: self.path.clone(),
            why,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_there_at_once() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("evening.csv");
        std::fs::write(&path, "title = \"a card\"\n").unwrap();
        let refused = CsvLog::create(&path).unwrap_err().to_string();
        assert!(
            refused.contains("evening.csv: another kind of file"),
            "{refused}"
        );
        std::fs::write(&path, format!("{CSV_HEAD}an older log\n")).unwrap();
        let mut log = CsvLog::create(&path).unwrap();
        for beats in 1..4 {
            let reading = Reading {
                time: f64::from(beats),
                now: Some(116.0),
                over_8: None,
                over_64: None,
            };
            log.add(&reading).unwrap();
            let text = std::fs::read_to_string(&path).unwrap();
            assert!(text.starts_with(CSV_HEAD));
            assert_eq!(text.lines().count(), 1 + beats as usize);
            assert!(text.ends_with(&format!("{beats}.000,116.00,,\n")), "{text}");
        }
    }

    #[test]
    fn a_log_that_cannot_be_made_says_the_remedy() {
        let folder = tempfile::tempdir().unwrap();
        let say = |path: &Path| CsvLog::create(path).unwrap_err().to_string();
        let missing = folder.path().join("no/evening.csv");
        assert_eq!(
            say(&missing),
            format!(
                "{}: its folder does not exist; make the folder first",
                missing.display()
            )
        );
        assert!(say(folder.path()).contains("this is a folder; name a file"));
        if cfg!(target_os = "linux") {
            let full = Path::new("/dev/full");
            assert!(say(full).contains("the disk is full; make room"));
        }
    }
}
