//! The tempo by time through the tune.

use super::Meter;
use super::spark::extremes;

/// Beats of a row where times through the tune are not known.
const BEATS: usize = 64;

/// Fewest beats of a row: a lead-in.
const LEAST: usize = 4;

/// One row: a time through the tune, or 64 beats.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// "time 2", or "beats 65 to 128".
    pub name: String,
    /// Its first beat, seconds.
    pub from: f64,
    /// Its last beat, seconds.
    pub to: f64,
    /// Beats counted in it.
    pub beats: usize,
    /// Steps per minute.
    pub tempo: f64,
    /// Slowest and fastest stretch of 8 beats that lies in it.
    pub range: Option<(f64, f64)>,
}

impl Meter {
    /// The tempo by time through. `starts` are the times (seconds) at which the
    /// times through begin, with their numbers, ascending; without any, every 64
    /// beats are a row.
    pub fn table(&self, starts: &[(u32, f64)]) -> Vec<Row> {
        let Some((first, last)) = self.span() else {
            return Vec::new();
        };
        let mut bounds: Vec<(String, f64)> = Vec::new();
        if starts.is_empty() {
            for (k, beats) in self.beats.chunks(BEATS).enumerate() {
                let from = k * BEATS + 1;
                bounds.push((
                    format!("beats {from} to {}", from + beats.len() - 1),
                    beats[0].time,
                ));
            }
        } else {
            // The lead-in, or what was heard of the tune before the count was known.
            if first < starts[0].1 - 0.3 {
                bounds.push(("before".to_owned(), first));
            }
            bounds.extend(starts.iter().map(|(n, at)| (format!("time {n}"), *at)));
        }
        let stretches = self.stretches();
        let ends = bounds.iter().skip(1).map(|b| b.1).chain([last + 1.0]);
        let mut rows = Vec::new();
        for ((name, from), to) in bounds.iter().zip(ends) {
            // A boundary is a predicted beat, the beats may have been heard a
            // little before or after it.
            let (from, to) = (from - 0.2, to - 0.2);
            let inside = self.inside(from, to);
            let (Some(a), Some(b)) = (inside.first(), inside.last()) else {
                continue;
            };
            // A few beats after the last time through are no row of their own.
            let tempo = self.between(from, to).filter(|_| inside.len() >= LEAST);
            let Some(tempo) = tempo else {
                continue;
            };
            let within = |s: &&super::Stretch| (from..to).contains(&s.time);
            let tempi = stretches.iter().filter(within).map(|s| s.tempo);
            rows.push(Row {
                name: name.clone(),
                from: a.time,
                to: b.time,
                beats: inside.len(),
                tempo: tempo.value,
                range: extremes(tempi),
            });
        }
        rows
    }
}
