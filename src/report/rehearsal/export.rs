//! A rehearsal for other programs.

use std::fmt::Write;

use serde::Serialize;

use super::Rehearsal;
use crate::caller::session::{Heard, moment};
use crate::caller::{Limits, Score, Sum, Verdict};

/// The heads of the columns.
const HEAD: &str = "time_through,figure,beat,verdict,start_s,end_s,start_beat,end_beat,\
lead_beats,lead_ms,seconds,syllables,pace,stress_beat,again,spoke_over,hasty,sure";

/// One row a figure.
pub fn csv(rehearsal: &Rehearsal) -> String {
    let mut out = format!("{HEAD}\n");
    for f in &rehearsal.score.figures {
        let name = f.name.replace('"', "\"\"");
        // Writing to a string does not fail.
        let _ = write!(
            out,
            "{},\"{name}\",{},{},",
            f.time_through,
            f.beat,
            word(f.verdict)
        );
        let _ = match &f.spoken {
            None => write!(out, ",,,,,,,,,,"),
            Some(s) => write!(
                out,
                "{:.3},{:.3},{:.3},{:.3},{:.3},{:.0},{:.3},{},{},{:.3},",
                s.start,
                s.end,
                s.start_beat,
                s.end_beat,
                s.lead,
                s.lead_ms,
                s.end - s.start,
                s.syllables,
                s.pace.map_or(String::new(), |p| format!("{p:.2}")),
                s.stress_beat,
            ),
        };
        let sure = f.spoken.map_or(String::new(), |s| format!("{:.2}", s.sure));
        let _ = writeln!(out, "{},{},{},{sure}", f.again, f.spoke_over, f.hasty);
    }
    out
}

/// The verdict as JSON has it too.
fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Ahead => "ahead",
        verdict => verdict.name(),
    }
}

/// Everything that is known of a session.
#[derive(Serialize)]
struct Whole<'a> {
    session: &'a str,
    /// RFC 3339, UTC.
    began: String,
    dance: &'a str,
    tune: &'a str,
    steps_per_minute: f64,
    heard: Heard,
    complete: bool,
    limits: &'a Limits,
    softened_db: Option<f32>,
    gaps: u32,
    sum: Sum,
    by_time: Vec<(u32, Sum)>,
    score: &'a Score,
    advice: Vec<String>,
}

/// The whole score as JSON.
pub fn json(rehearsal: &Rehearsal) -> serde_json::Result<String> {
    let session = &rehearsal.session;
    serde_json::to_string_pretty(&Whole {
        session: &session.name,
        began: moment(session.header.began).replace(' ', "T") + "Z",
        dance: rehearsal.card.title(),
        tune: &session.header.tune,
        steps_per_minute: session.header.grid.steps_per_minute(),
        heard: session.header.heard,
        complete: session.ending.is_some(),
        limits: &session.header.limits,
        softened_db: session.ending.and_then(|e| e.softened),
        gaps: session.ending.map_or(0, |e| e.gaps),
        sum: rehearsal.sum(),
        by_time: rehearsal.score.by_time(),
        score: &rehearsal.score,
        advice: rehearsal.advice(),
    })
}
