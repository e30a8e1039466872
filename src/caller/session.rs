//! A rehearsal as it is kept: what was danced, when the beats were, what was heard.
//!
//! A session is a file of JSON lines that only grows: the first line says what was
//! rehearsed, each further one holds a prompt, the last one that it came to its end. So
//! a session that breaks off in the middle keeps all prompts up to then, and the score,
//! which is reckoned anew whenever it is looked at, follows limits that were moved
//! since. (A database would add megabytes to the program for a few kilobytes a session
//! that nobody searches.)

use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use serde::{Deserialize, Serialize};

use super::grid::Grid;
use super::prompt::Prompt;
use super::score::{Limits, Score, score};
use crate::dance::{Card, CardError};

/// How prompts were heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Heard {
    /// Through a microphone.
    Microphone,
    /// In a recording.
    Recording,
    /// Their ends were tapped.
    Taps,
}

/// What was rehearsed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Header {
    /// When it began, seconds since 1970, UTC.
    pub began: u64,
    /// The card's text: it may be changed or lost later.
    pub card: String,
    /// The tune or recording.
    pub tune: String,
    /// Where the beats were, seconds on the clock of the prompts.
    pub grid: Grid,
    /// How prompts were heard.
    pub heard: Heard,
    /// The limits in force.
    pub limits: Limits,
}

/// How it ended.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Ending {
    /// The last second that was rehearsed.
    pub until: f64,
    /// By how many decibels the playback was softened in what the microphone heard.
    pub softened: Option<f32>,
    /// How often the devices lost sound that was noticed.
    #[serde(default)]
    pub gaps: u32,
}

/// A session: what was rehearsed, heard, and how it ended, if it did.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// Its name: unique among those kept.
    pub name: String,
    /// What was rehearsed.
    pub header: Header,
    /// What was heard.
    pub prompts: Vec<Prompt>,
    /// How it ended; `None` if it broke off.
    pub ending: Option<Ending>,
}

/// A line of a session's file.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Line {
    Rehearsal(Header),
    Prompt(Prompt),
    End(Ending),
}

/// Beats beyond its last prompt that a session which broke off is scored.
const AFTER: f64 = 5.0;

/// A session cannot be kept, read or deleted.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// The system knows no place for data.
    #[error("this system has no folder for data; set HOME")]
    NoFolder,
    /// It cannot be read or written.
    #[error("{path}: {why}; check its folder and disk", path = .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why.
        why: io::Error,
    },
    /// It is not what this program writes.
    #[error("{path}: line {line} is not what this program writes ({why}); delete the file", path = .path.display())]
    Text {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: usize,
        /// Why.
        why: String,
    },
    /// There is no such session.
    #[error("there is no session \"{0}\"; `eightclap progress` lists them")]
    None(String),
    /// The card in it cannot be read.
    #[error(transparent)]
    Card(#[from] CardError),
}

impl Session {
    /// The dance.
    ///
    /// # Errors
    /// If the card in it cannot be read.
    pub fn card(&self) -> Result<Card, SessionError> {
        Ok(Card::parse(&self.header.card, "the session's dance card")?)
    }

    /// The score, by the limits that were in force.
    ///
    /// # Errors
    /// If the card in it cannot be read.
    pub fn score(&self) -> Result<Score, SessionError> {
        let Header { grid, limits, .. } = &self.header;
        // Where it broke off, the figure that was prompted last had begun or was about to.
        let broke_off = || {
            let last = self.prompts.last().map_or(0.0, |p| p.end);
            grid.time_of(grid.beat_at(last) + AFTER)
        };
        let until = self.ending.map_or_else(broke_off, |e| e.until);
        Ok(score(&self.card()?, grid, &self.prompts, until, limits))
    }
}

/// A session that is being kept.
pub struct Keeper {
    path: PathBuf,
    file: File,
}

impl Keeper {
    fn line(&mut self, line: &Line) -> Result<(), SessionError> {
        let mut text = serde_json::to_string(line).map_err(io::Error::from);
        if let Ok(text) = &mut text {
            text.push('\n');
        }
        // One write a line: a line is there as a whole or, after a crash, not at all.
        text.and_then(|text| self.file.write_all(text.as_bytes()))
            .map_err(|why| SessionError::File {
                path: self.path.clone(),
                why,
            })
    }

    /// Keeps a prompt.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn prompt(&mut self, prompt: &Prompt) -> Result<(), SessionError> {
        self.line(&Line::Prompt(*prompt))
    }

    /// The session came to its end.
    ///
    /// # Errors
    /// If that cannot be written.
    pub fn end(&mut self, ending: Ending) -> Result<(), SessionError> {
        self.line(&Line::End(ending))
    }

    /// The session's file.
    pub fn path(&self) -> &Path {
        &self.path
    }
}

/// The folder of all sessions.
#[derive(Debug, Clone)]
pub struct Store(PathBuf);

/// What a session's file is called at its end.
const ENDING: &str = "jsonl";

impl Store {
    /// The one in the user's folder for data.
    ///
    /// # Errors
    /// If there is no such folder.
    pub fn of_user() -> Result<Self, SessionError> {
        let folders = directories::ProjectDirs::from("", "", "eightclap");
        let folders = folders.ok_or(SessionError::NoFolder)?;
        Ok(Store(folders.data_dir().join("rehearsals")))
    }

    /// One in a folder of its own.
    pub fn at(folder: impl Into<PathBuf>) -> Self {
        Store(folder.into())
    }

    /// Where it is.
    pub fn folder(&self) -> &Path {
        &self.0
    }

    /// Begins to keep a session.
    ///
    /// # Errors
    /// If its file cannot be made.
    pub fn begin(&self, header: Header) -> Result<Keeper, SessionError> {
        let failed = |path: &Path| {
            let path = path.to_owned();
            move |why| SessionError::File { path, why }
        };
        std::fs::create_dir_all(&self.0).map_err(failed(&self.0))?;
        let stem = moment(header.began).replace([' ', ':'], "-");
        let names = std::iter::once(stem.clone()).chain((2..).map(|n| format!("{stem}-{n}")));
        for name in names.take(1_000) {
            let path = self.0.join(format!("{name}.{ENDING}"));
            let made = OpenOptions::new().append(true).create_new(true).open(&path);
            match made {
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => continue,
                made => {
                    let file = made.map_err(failed(&path))?;
                    let mut keeper = Keeper { path, file };
                    keeper.line(&Line::Rehearsal(header))?;
                    return Ok(keeper);
                }
            }
        }
        Err(SessionError::None(stem))
    }

    /// All sessions, the oldest first, and what is wrong with those that cannot be read.
    ///
    /// # Errors
    /// If the folder is there and cannot be read.
    pub fn all(&self) -> Result<(Vec<Session>, Vec<SessionError>), SessionError> {
        let paths = self.paths()?;
        let (mut sessions, mut wrong) = (Vec::new(), Vec::new());
        for path in paths {
            match read(&path) {
                Ok(session) => sessions.push(session),
                Err(error) => wrong.push(error),
            }
        }
        sessions.sort_by_key(|s: &Session| (s.header.began, s.name.len(), s.name.clone()));
        Ok((sessions, wrong))
    }

    fn paths(&self) -> Result<Vec<PathBuf>, SessionError> {
        let entries = match std::fs::read_dir(&self.0) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(why) => {
                let path = self.0.clone();
                return Err(SessionError::File { path, why });
            }
            Ok(entries) => entries,
        };
        let paths = entries.filter_map(|entry| Some(entry.ok()?.path()));
        Ok(paths
            .filter(|p| p.extension().is_some_and(|e| e == ENDING))
            .collect())
    }

    /// Deletes a session with its recording, or all of them; tells how many.
    ///
    /// # Errors
    /// If there is none of that name, or a file cannot be deleted.
    pub fn delete(&self, name: Option<&str>) -> Result<usize, SessionError> {
        let paths = self.paths()?;
        let named = |path: &PathBuf| {
            name.is_none_or(|name| path.file_stem().is_some_and(|stem| stem == name))
        };
        let chosen: Vec<PathBuf> = paths.into_iter().filter(named).collect();
        if let (Some(name), true) = (name, chosen.is_empty()) {
            return Err(SessionError::None(name.to_owned()));
        }
        for path in &chosen {
            for path in [path.with_extension("wav"), path.clone()] {
                match std::fs::remove_file(&path) {
                    Err(why) if why.kind() != io::ErrorKind::NotFound => {
                        return Err(SessionError::File { path, why });
                    }
                    _ => {}
                }
            }
        }
        Ok(chosen.len())
    }
}

/// Reads a session. A last line that was cut off by a crash does not count.
///
/// # Errors
/// If the file cannot be read or is something else.
pub fn read(path: &Path) -> Result<Session, SessionError> {
    let failed = |why| SessionError::File {
        path: path.to_owned(),
        why,
    };
    let wrong = |line: usize, why: String| SessionError::Text {
        path: path.to_owned(),
        line,
        why,
    };
    // A line that was cut off may end within a letter.
    let bytes = std::fs::read(path).map_err(failed)?;
    let whole = bytes.strip_suffix(b"\n").unwrap_or(&bytes);
    let lines = whole.split(|byte| *byte == b'\n');
    let lines: Vec<&[u8]> = lines.skip_while(|line| line.is_empty()).collect();
    let (mut header, mut prompts, mut ending) = (None, Vec::new(), None);
    for (n, line) in lines.iter().enumerate() {
        match serde_json::from_slice(line) {
            Ok(Line::Rehearsal(this)) if n == 0 => header = Some(this),
            Ok(Line::Prompt(prompt)) if prompt.is_possible() => prompts.push(prompt),
            Ok(Line::Prompt(_)) => return Err(wrong(n + 1, "a prompt that cannot be".into())),
            Ok(Line::End(this)) => ending = Some(this),
            Ok(_) => return Err(wrong(n + 1, "a second beginning".into())),
            Err(_) if n > 0 && n + 1 == lines.len() => {}
            Err(error) => return Err(wrong(n + 1, error.to_string())),
        }
    }
    let header = header.ok_or_else(|| wrong(1, "it is empty".into()))?;
    prompts.sort_by(|a: &Prompt, b| a.end.total_cmp(&b.end));
    let name = path
        .file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    Ok(Session {
        name,
        header,
        prompts,
        ending,
    })
}

/// Seconds since 1970, now.
pub fn now() -> u64 {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |d| d.as_secs())
}

/// A moment, seconds since 1970, as date and time (UTC): "2026-03-01 19:30:00".
pub fn moment(seconds: u64) -> String {
    let (days, rest) = (seconds / 86_400, seconds % 86_400);
    // Years are counted from March on, so that the leap day is the last one; 400 years
    // have 146,097 days.
    let shifted = days + 719_468;
    let era = shifted / 146_097;
    let day = shifted % 146_097;
    let year = (day - day / 1_460 + day / 36_524 - day / 146_096) / 365;
    let of_year = day - (365 * year + year / 4 - year / 100);
    let month = (5 * of_year + 2) / 153;
    let date = of_year - (153 * month + 2) / 5 + 1;
    let month = if month < 10 { month + 3 } else { month - 9 };
    let year = year + 400 * era + u64::from(month <= 2);
    let (hour, minute, second) = (rest / 3_600, rest / 60 % 60, rest % 60);
    format!("{year}-{month:02}-{date:02} {hour:02}:{minute:02}:{second:02}")
}

#[cfg(test)]
mod tests;
