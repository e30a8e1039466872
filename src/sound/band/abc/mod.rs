//! Reads the part of ABC notation that the bundled tunes use.
//!
//! Follows the abc standard v2.1, December 2011
//! (<https://abcnotation.com/wiki/abc:standard:v2.1>): information fields
//! (section 3), notes, lengths, broken rhythm, rests, ties, repeats with first
//! and second endings, triplets and chord symbols (section 4). Anything else is
//! refused with its line and column, and bars must add up: a tune with a beat
//! too few would put every clap after it in the wrong place.

mod scan;
mod signs;
mod unroll;

use super::tune::{Kind, Tune};
use signs::Meter;

/// A tune file that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{name}:{line}:{column}: {problem}")]
pub struct AbcError {
    /// The name given for the text.
    pub name: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What is wrong and what would be right.
    pub problem: String,
}

/// A place in the text, from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Place {
    line: usize,
    column: usize,
}

/// An error before the name of the text is put to it.
type Fault = (Place, String);

/// What the header says.
struct Header {
    title: String,
    kind: Kind,
    key: String,
    signs: [i8; 7],
    meter_text: String,
    meter: Meter,
    unit: u32,
}

/// Reads one tune; `name` stands for the text in errors and becomes the tune's name.
///
/// # Errors
/// The first thing that is not in the subset above, or a bar that does not add
/// up, with its place.
pub fn parse(name: &str, text: &str) -> Result<Tune, AbcError> {
    read(name, text).map_err(|(place, problem)| AbcError {
        name: name.to_owned(),
        line: place.line,
        column: place.column,
        problem,
    })
}

fn read(name: &str, text: &str) -> Result<Tune, Fault> {
    let (header, body_line) = header(text)?;
    let bars = scan::bars(text, body_line, &header)?;
    let played = unroll::unroll(&bars)?;
    let laid = unroll::lay_out(&played, &header.meter)?;
    Ok(Tune {
        name: name.to_owned(),
        title: header.title,
        kind: header.kind,
        key: header.key,
        meter: header.meter_text,
        beats: laid.beats,
        pickup: laid.pickup,
        notes: laid.notes,
        chords: laid.chords,
    })
}

/// Reads the fields down to `K:`; returns them and the number of lines read.
fn header(text: &str) -> Result<(Header, usize), Fault> {
    let (mut title, mut kind, mut meter, mut unit) = (None, None, None, None);
    for (index, line) in text.lines().enumerate() {
        let place = Place {
            line: index + 1,
            column: 1,
        };
        let line = line.split('%').next().unwrap_or_default().trim_end();
        if line.is_empty() {
            continue;
        }
        let Some((field, value)) = line.split_once(':') else {
            return Err((
                place,
                "expected a field such as T:title before K:key".into(),
            ));
        };
        let value_at = Place {
            column: field.chars().count() + 2,
            ..place
        };
        let value = value.trim();
        match field {
            "X" | "C" | "N" | "Z" => {}
            "T" => title = Some(value.to_owned()),
            "R" => {
                kind = Some(Kind::from_name(value).ok_or_else(|| {
                    let problem = format!(
                        "'{value}' is not a kind of tune: use reel, jig, hornpipe or march"
                    );
                    (value_at, problem)
                })?);
            }
            "M" => {
                let read = signs::meter(value).ok_or_else(|| {
                    let problem = format!("metre '{value}': use C|, 4/4, 2/2, 2/4 or 6/8");
                    (value_at, problem)
                })?;
                meter = Some((value.to_owned(), read));
            }
            "L" => {
                unit = Some(
                    value
                        .strip_prefix("1/")
                        .and_then(|d| d.parse::<u32>().ok())
                        .filter(|d| [2, 4, 8, 16].contains(d))
                        .map(|d| signs::WHOLE / d)
                        .ok_or_else(|| {
                            (value_at, format!("unit length '{value}': use 1/8 or 1/16"))
                        })?,
                );
            }
            "K" => {
                let signs = signs::key(value).ok_or_else(|| {
                    let problem = format!("key '{value}': use a key such as G, F#m or Ador");
                    (value_at, problem)
                })?;
                let missing = |what: &str| (place, format!("no {what} before K:"));
                let (meter_text, meter) = meter.ok_or_else(|| missing("M: (metre)"))?;
                let header = Header {
                    title: title.ok_or_else(|| missing("T: (title)"))?,
                    kind: kind.ok_or_else(|| missing("R: (reel, jig, hornpipe or march)"))?,
                    key: value.to_owned(),
                    signs,
                    meter_text,
                    meter,
                    unit: unit.ok_or_else(|| missing("L: (unit length)"))?,
                };
                return Ok((header, index + 1));
            }
            _ => {
                return Err((
                    place,
                    format!("field '{field}:' is not read here: remove it"),
                ));
            }
        }
    }
    let last = Place {
        line: text.lines().count().max(1),
        column: 1,
    };
    Err((last, "no K: (key) line, so no tune".into()))
}

#[cfg(test)]
mod tests;
