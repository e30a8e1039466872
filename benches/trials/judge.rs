//! How claps come back after something happened. Pure; tested in `tests/trials.rs`.

use eightclap::report::measures::{HIT_WINDOW, matches};

/// Beats after which a count that is not right again is given up: twice through.
pub const PATIENCE: usize = 128;
/// Right claps in a row that count as right again.
pub const STRETCH: usize = 4;

/// How one event was borne.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recovery {
    /// Beats played between the event and the first of the claps that were all
    /// right from there on, if there are [`STRETCH`] of them and the first comes
    /// within [`PATIENCE`] beats.
    pub beats: Option<usize>,
    /// Claps where no phrase began, from the event to the tune's end.
    pub wrong: usize,
    /// Phrases begun after the event, and those of them that had their clap.
    pub phrases: usize,
    /// See `phrases`.
    pub clapped: usize,
}

/// Judges `claps` after `event`, both in seconds, against the true beats and
/// phrases. A clap after the last beat is not counted: the tune is over then, and
/// nobody has said so.
pub fn recovery(beats: &[f64], phrases: &[f64], claps: &[f64], event: f64) -> Recovery {
    let end = beats.last().map_or(f64::INFINITY, |last| last + HIT_WINDOW);
    let after = |times: &[f64]| -> Vec<f64> {
        let until = event - HIT_WINDOW..end;
        times
            .iter()
            .copied()
            .filter(|t| until.contains(t))
            .collect()
    };
    let (phrases, claps) = (after(phrases), after(claps));
    let right = |t: &f64| phrases.iter().any(|p| (p - t).abs() <= HIT_WINDOW);
    let wrong = claps.iter().filter(|t| !right(t)).count();
    let last_wrong = claps.iter().rposition(|t| !right(t));
    let good = &claps[last_wrong.map_or(0, |k| k + 1)..];
    let waited = |t: f64| {
        let passed = event - HIT_WINDOW..t - HIT_WINDOW;
        beats.iter().filter(|b| passed.contains(b)).count()
    };
    Recovery {
        beats: good
            .first()
            .filter(|_| good.len() >= STRETCH)
            .map(|&t| waited(t))
            .filter(|&n| n <= PATIENCE),
        wrong,
        phrases: phrases.len(),
        clapped: matches(&phrases, &claps, HIT_WINDOW).len(),
    }
}

/// How many of the [`STRETCH`] phrases after `pressed` had their clap, how many
/// there were, and how many wrong claps came after it.
pub fn after_press(beats: &[f64], phrases: &[f64], claps: &[f64], pressed: f64) -> [usize; 3] {
    // The phrase that the press itself names is past.
    let from = pressed + 2.0 * HIT_WINDOW;
    let next: Vec<f64> = phrases.iter().copied().filter(|&p| p > from).collect();
    let all = recovery(beats, &next, claps, from);
    let next = &next[..next.len().min(STRETCH)];
    let claps: Vec<f64> = claps.iter().copied().filter(|&t| t > pressed).collect();
    [
        matches(next, &claps, HIT_WINDOW).len(),
        next.len(),
        all.wrong,
    ]
}
