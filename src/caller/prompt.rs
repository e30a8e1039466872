//! A prompt, and how it is read out of frames.

use serde::{Deserialize, Serialize};

use super::frames::{Frame, STEP};

/// A prompt that was heard. Times are seconds since the ear's first sample.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Prompt {
    /// When the voice began.
    pub start: f64,
    /// When it ended.
    pub end: f64,
    /// The middle of the last syllable that carries weight.
    pub stress: f64,
    /// Syllables heard.
    pub syllables: u32,
    /// How sure it is that this was a voice and that the end is right, 0 to 1.
    pub sure: f32,
}

impl Prompt {
    /// A prompt of which only the end is known: somebody tapped it.
    pub fn tapped(end: f64) -> Self {
        Prompt {
            start: end,
            end,
            stress: end,
            syllables: 0,
            sure: 1.0,
        }
    }

    /// Whether it can have been heard: what is read from a file may be anything.
    pub fn is_possible(&self) -> bool {
        let times = [self.start, self.stress, self.end];
        times.iter().all(|time| time.abs() < 1e7)
            && self.start <= self.end
            && self.syllables <= 10_000
            && self.sure.is_finite()
    }

    /// The same prompt `by` seconds later.
    pub fn later(self, by: f64) -> Self {
        Prompt {
            start: self.start + by,
            end: self.end + by,
            stress: self.stress + by,
            ..self
        }
    }
}

/// A frame belongs to the voice down to so many decibels below its loudest.
const DEEPEST: f32 = 33.0;
/// And while what is left of it has this share of what is there anyway, on the mean of
/// a [`RUN`]: chance alone leaves less.
const CLEAR: f32 = 0.4;
/// Frames of silence that lie inside of a word, before a last stop: 130 ms.
const STOP: usize = 26;
/// Seconds by which a frame's window reaches beyond what is heard in it, both ways.
const EDGE: f64 = 0.005;
/// Frames around a voice in which its edges may be: 100 ms before it, twice that after.
const AWAY: usize = 20;
/// Frames that make a sound: 15 ms.
const RUN: usize = 3;

/// Decibels by which a syllable rises out of the dips beside it (after de Jong &
/// Wempe, "Praat script to detect syllable nuclei", Behavior Research Methods 41, 2009).
const RISE: f32 = 2.0;
/// A syllable is no further below the loudest one than this, decibels; one that carries
/// weight no further than the second figure.
const SYLLABLE: f32 = 22.0;
const WEIGHT: f32 = 7.0;

/// Reads a prompt out of `frames`, the first of which is the `first` one heard. The
/// voice was noticed from frame `from` to frame `to` (of `frames`).
pub(super) fn read(frames: &[Frame], first: u64, from: usize, to: usize) -> Option<Prompt> {
    let inner = frames.get(from..=to)?;
    let peak = inner.iter().map(|f| f.power).fold(0.0, f32::max);
    let least = (peak * 10f32.powf(-0.1 * DEEPEST)).max(beside(frames, from, to));
    let run = |n: usize| {
        let run = frames.get(n..n + RUN)?;
        let power: f32 = run.iter().map(|f| f.power).sum();
        let floor: f32 = run.iter().map(|f| f.floor).sum();
        Some(power > (RUN as f32 * least).max(CLEAR * floor))
    };
    let runs: Vec<usize> = (0..frames.len())
        .filter(|n| run(*n) == Some(true))
        .collect();
    // From the middle outwards, over no gap longer than a stop's.
    let begin = runs.iter().copied().find(|n| *n + RUN > from)?;
    let start = runs
        .iter()
        .rev()
        .filter(|n| **n <= begin)
        .try_fold(begin, |at, n| (at - n <= STOP).then_some(*n).ok_or(at));
    let last = runs.iter().copied().rfind(|n| *n <= to)?;
    let end = runs
        .iter()
        .filter(|n| **n >= last)
        .try_fold(last, |at, n| (n - at <= STOP).then_some(*n).ok_or(at));
    let unwrap = |at: Result<usize, usize>| at.unwrap_or_else(|at| at);
    // The middle frame is the one that is meant.
    let (start, end) = (unwrap(start) + RUN / 2, unwrap(end) + RUN / 2);
    if end <= start {
        return None;
    }
    let time = |frame: usize| (first + frame as u64) as f64 * STEP;
    let nuclei = nuclei(&frames[start..=end]);
    let stress = last_weighty(&nuclei).unwrap_or(end - start);
    let voice = frames[start..=end].iter().map(|f| f.voice);
    let sure = voice.sum::<f32>() / (end - start + 1) as f32;
    Some(Prompt {
        start: time(start) + EDGE,
        end: time(end) - EDGE,
        stress: time(start + stress),
        syllables: nuclei.len().max(1) as u32,
        sure,
    })
}

/// The power that frames well away from the voice hardly ever pass.
fn beside(frames: &[Frame], from: usize, to: usize) -> f32 {
    let before = &frames[..from.saturating_sub(AWAY)];
    let after = frames.get(to + 2 * AWAY..).unwrap_or_default();
    let mut powers: Vec<f32> = [before, after]
        .into_iter()
        .flat_map(|part| part.windows(RUN))
        .map(|run| run.iter().map(|f| f.power).sum::<f32>() / RUN as f32)
        .collect();
    let most = powers.len() * 9 / 10;
    match powers.is_empty() {
        true => 0.0,
        false => *powers.select_nth_unstable_by(most, f32::total_cmp).1,
    }
}

/// The last nucleus that is nearly as strong as the strongest.
fn last_weighty(nuclei: &[(usize, f32)]) -> Option<usize> {
    let strongest = nuclei.iter().map(|n| n.1).reduce(f32::max)?;
    nuclei
        .iter()
        .rev()
        .find(|n| n.1 > strongest - WEIGHT)
        .map(|n| n.0)
}

/// Middles of syllables: their frames and decibels.
fn nuclei(frames: &[Frame]) -> Vec<(usize, f32)> {
    // Over 45 ms, so that a voice's own pulses are no syllables.
    let smooth: Vec<f32> = (0..frames.len())
        .map(|n| {
            let near = &frames[n.saturating_sub(4)..(n + 5).min(frames.len())];
            let mean = near.iter().map(|f| f.syllabic).sum::<f32>() / near.len() as f32;
            10.0 * mean.max(1e-12).log10()
        })
        .collect();
    let Some(loudest) = smooth.iter().copied().reduce(f32::max) else {
        return Vec::new();
    };
    let mut found: Vec<(usize, f32)> = Vec::new();
    let (mut top, mut dip) = ((0, f32::NEG_INFINITY), f32::INFINITY);
    for (n, level) in smooth.iter().copied().enumerate() {
        if level > top.1 {
            top = (n, level);
        }
        if level < top.1 - RISE {
            if top.1 > dip + RISE || found.is_empty() {
                found.push(top);
            }
            (top, dip) = ((n, level), level);
        } else if level < dip {
            (dip, top) = (level, (n, level));
        }
    }
    if top.1 > dip + RISE || found.is_empty() {
        found.push(top);
    }
    found.retain(|n| n.1 > loudest - SYLLABLE);
    found
}
