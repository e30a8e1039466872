//! Tempi as rows of a table for other programs, and as JSON lines.

use std::io::{self, Write};

use serde::Serialize;

use super::{Advice, Meter, Reading};
use crate::report::events::rounded;

/// The first line of the CSV log. Times are seconds from the start, tempi steps per
/// minute; a tempo that is not known yet is left empty.
pub const CSV_HEAD: &str = "seconds,now,over_8_beats,over_64_beats\n";

/// A beat's row of the CSV log (RFC 4180 but for the line's end, which is that of
/// text files).
pub fn csv_row(reading: &Reading) -> String {
    let cell = |tempo: Option<f64>| tempo.map_or(String::new(), |t| format!("{t:.2}"));
    format!(
        "{:.3},{},{},{}\n",
        reading.time,
        cell(reading.now),
        cell(reading.over_8),
        cell(reading.over_64)
    )
}

#[derive(Serialize)]
struct BeatLine<'a> {
    event: &'static str,
    time: f64,
    now: Option<f64>,
    over_8_beats: Option<f64>,
    over_64_beats: Option<f64>,
    heard_by: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<&'static str>,
}

/// Writes a beat as one line of JSON; `heard_by` says what found the beat.
///
/// # Errors
/// What `out` says.
pub fn json_beat(
    out: &mut impl Write,
    reading: &Reading,
    heard_by: &str,
    advice: Option<Advice>,
) -> io::Result<()> {
    let tempo = |t: Option<f64>| t.map(|t| rounded(t, 2));
    let line = BeatLine {
        event: "beat",
        time: rounded(reading.time, 4),
        now: tempo(reading.now),
        over_8_beats: tempo(reading.over_8),
        over_64_beats: tempo(reading.over_64),
        heard_by,
        advice: advice.map(Advice::words),
    };
    serde_json::to_writer(&mut *out, &line)?;
    writeln!(out)
}

#[derive(Serialize)]
struct SummaryLine {
    event: &'static str,
    beats: usize,
    strays: u64,
    steps_per_minute: Option<f64>,
    error: Option<f64>,
    drift: Option<f64>,
    drift_error: Option<f64>,
    spread: Option<f64>,
}

/// Writes what was heard, all in all, as one line of JSON.
///
/// # Errors
/// What `out` says.
pub fn json_summary(out: &mut impl Write, meter: &Meter) -> io::Result<()> {
    let two = |t: f64| rounded(t, 2);
    let (whole, steady) = (meter.whole(), meter.steadiness());
    let line = SummaryLine {
        event: "tempo",
        beats: meter.beats(),
        strays: meter.strays(),
        steps_per_minute: whole.map(|w| two(w.value)),
        error: whole.map(|w| two(w.error)),
        drift: steady.map(|s| two(s.drift.value)),
        drift_error: steady.map(|s| two(s.drift.error)),
        spread: steady.map(|s| two(s.spread)),
    };
    serde_json::to_writer(&mut *out, &line)?;
    writeln!(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_leave_unknown_tempi_empty() {
        let mut reading = Reading {
            time: 1.23456,
            now: None,
            over_8: None,
            over_64: None,
        };
        assert_eq!(csv_row(&reading), "1.235,,,\n");
        reading.now = Some(116.0);
        reading.over_8 = Some(115.996);
        assert_eq!(csv_row(&reading), "1.235,116.00,116.00,\n");
        assert_eq!(
            csv_row(&reading).matches(',').count(),
            CSV_HEAD.matches(',').count()
        );
    }

    #[test]
    fn json_lines_name_what_they_say() {
        let mut meter = Meter::default();
        for beat in 0..64 {
            meter.push(0.5 * f64::from(beat));
        }
        let mut out = Vec::new();
        let reading = meter.reading().unwrap();
        json_beat(&mut out, &reading, "tapping", Some(Advice::Good)).unwrap();
        json_summary(&mut out, &meter).unwrap();
        assert_eq!(
            String::from_utf8(out).unwrap(),
            "{\"event\":\"beat\",\"time\":31.5,\"now\":120.0,\"over_8_beats\":120.0,\
             \"over_64_beats\":120.0,\"heard_by\":\"tapping\",\"advice\":\"good\"}\n\
             {\"event\":\"tempo\",\"beats\":64,\"strays\":0,\"steps_per_minute\":120.0,\
             \"error\":0.0,\"drift\":0.0,\"drift_error\":0.0,\"spread\":0.0}\n"
        );
    }
}
