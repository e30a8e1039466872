//! How far apart the beats are.

use super::onsets::{Onsets, peak_offset};
use crate::hear::features::FRAME_RATE;

/// Tempi followed, beats per minute.
const SLOWEST: f64 = 40.0;
const FASTEST: f64 = 220.0;
/// Multiples of a lag that are looked at, itself included.
const MULTIPLES: usize = 4;
/// How far from the usual tempo a tempo may well be, as a log of a ratio.
const TEMPO_SPREAD: f64 = 0.5;
/// Share of a new look in the running scores: they settle in 2 s.
const NEW: f64 = 0.05;
/// Share by which a period may change and still be the same.
const SAME: f64 = 0.08;
/// How many times better another period must be.
const BETTER: f64 = 1.3;
/// Autocorrelation at the period from which a pulse begins to be believed, for how
/// many looks in a row, and down to which it goes on. In noise and talk it is
/// below 0.17 nine times in ten.
const CLEAR: f64 = 0.2;
const CLEAR_LOOKS: u32 = 15;
const STILL_CLEAR: f64 = 0.12;
/// Onset strength below which nothing began: the ripple of a steady tone.
const FAINT: f32 = 0.05;
/// A stroke is a peak of onset strength of at least this share of the strongest.
const STROKE: f32 = 0.3;
/// Even strokes differ by no more than this share from their middle distance.
const EVEN: f64 = 0.05;
/// Share of the distances that must be even.
const MOST: f64 = 0.8;
/// Fewest distances between strokes that are judged.
const FEWEST: usize = 4;

/// The running belief about the period.
pub(super) struct Period {
    usual: f64,
    scores: Vec<f64>,
    /// The autocorrelation at the last look.
    alike: Vec<f64>,
    seconds: Option<f64>,
    even: bool,
    clear_looks: u32,
}

/// Frames of a beat at `tempo`.
fn frames(tempo: f64) -> f64 {
    60.0 * f64::from(FRAME_RATE) / tempo
}

/// The lag nearest to `seconds`.
fn lag_of(seconds: f64) -> usize {
    (seconds * f64::from(FRAME_RATE)).round() as usize
}

impl Period {
    pub(super) fn new(usual: f64) -> Self {
        Period {
            usual,
            scores: Vec::new(),
            alike: Vec::new(),
            seconds: None,
            even: false,
            clear_looks: 0,
        }
    }

    /// The period, seconds, if there is one.
    pub(super) fn seconds(&self) -> Option<f64> {
        self.seconds
    }

    /// Whether it is the distance of single even strokes.
    pub(super) fn is_even(&self) -> bool {
        self.even
    }

    /// The best lag, or the one held before while the best is not clearly better: a
    /// meter should not jump from quarters to bars and back.
    fn held(&self, best: (usize, f64)) -> usize {
        let Some(seconds) = self.seconds else {
            return best.0;
        };
        let lag = lag_of(seconds);
        let (held, score) = near(&self.scores, lag, 2);
        let same = (best.0 as f64 / lag as f64 - 1.0).abs() < SAME;
        match same || best.1 > BETTER * score {
            true => best.0,
            false => held,
        }
    }

    /// How well beats `seconds` apart fit the onsets: the autocorrelation there, 1
    /// at best.
    pub(super) fn fit(&self, seconds: f64) -> f64 {
        near(&self.alike, lag_of(seconds), 2).1
    }

    /// Nothing is believed any more.
    pub(super) fn forget(&mut self) {
        self.scores.clear();
        self.seconds = None;
        self.even = false;
        self.clear_looks = 0;
    }

    /// Looks at the onsets; gives the period, seconds, if there is a clear pulse in
    /// them.
    pub(super) fn look(&mut self, onsets: &Onsets) -> Option<f64> {
        if let Some(seconds) = even_strokes(onsets) {
            self.seconds = Some(seconds);
            self.even = true;
            self.clear_looks = CLEAR_LOOKS;
            return self.seconds;
        }
        self.even = false;
        let (first, last) = (
            frames(FASTEST).floor() as usize,
            frames(SLOWEST).ceil() as usize,
        );
        let lags = last * MULTIPLES + MULTIPLES;
        self.alike = autocorrelation(onsets.strengths(), lags);
        if self.alike.is_empty() {
            return None;
        }
        let fresh = self.scores.is_empty();
        self.scores.resize(last + 1, 0.0);
        let mut best = (0, 0.0);
        for lag in first..=last {
            let off = (60.0 * f64::from(FRAME_RATE) / lag as f64 / self.usual).ln() / TEMPO_SPREAD;
            let usual = (-0.5 * off * off).exp();
            let score = support(&self.alike, lag) * usual;
            let kept = &mut self.scores[lag];
            *kept += if fresh { 1.0 } else { NEW } * (score - *kept);
            if *kept > best.1 {
                best = (lag, *kept);
            }
        }
        let lag = self.held(best);
        let clearness = near(&self.alike, lag, 2).1;
        let believed = self.clear_looks >= CLEAR_LOOKS;
        let enough = if believed { STILL_CLEAR } else { CLEAR };
        if lag == 0 || clearness < enough {
            if !believed {
                self.clear_looks = 0;
            }
            return None;
        }
        self.clear_looks += 1;
        if self.clear_looks < CLEAR_LOOKS {
            return None;
        }
        self.seconds = Some(fine_lag(&self.alike, lag) / f64::from(FRAME_RATE));
        self.seconds
    }
}

/// How well a lag and its multiples fit: the lag itself must, as well as the mean.
fn support(alike: &[f64], lag: usize) -> f64 {
    let at = |k: usize| near(alike, k * lag, k).1.max(0.0);
    let mean = (1..=MULTIPLES).map(at).sum::<f64>() / MULTIPLES as f64;
    (at(1) * mean).sqrt()
}

/// The largest value within `reach` of `lag`, and where it is.
fn near(alike: &[f64], lag: usize, reach: usize) -> (usize, f64) {
    let from = lag.saturating_sub(reach);
    let to = (lag + reach + 1).min(alike.len()).max(from);
    (from..to)
        .map(|k| (k, alike[k]))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap_or((lag, 0.0))
}

/// The lag to a fraction of a frame, by the peaks at its multiples.
fn fine_lag(alike: &[f64], lag: usize) -> f64 {
    let mut fine = lag as f64;
    for multiple in 1..=MULTIPLES {
        let due = (fine * multiple as f64).round() as usize;
        let (at, value) = near(alike, due, 2);
        if value < STILL_CLEAR || at == 0 || at + 1 >= alike.len() {
            break;
        }
        fine = (at as f64 + peak_offset(alike, at)) / multiple as f64;
    }
    fine
}

/// Autocorrelation of `values` about their mean at lags 0 to `lags`, 1 at 0; each
/// lag by the pairs there are. Empty if nothing ever begins.
fn autocorrelation(values: &[f32], lags: usize) -> Vec<f64> {
    let count = values.len();
    // Strong strokes should not drown the others.
    let root: Vec<f32> = values.iter().map(|v| v.sqrt()).collect();
    let middle = root.iter().sum::<f32>() / count.max(1) as f32;
    let flat: Vec<f32> = root.iter().map(|v| v - middle).collect();
    let at = |lag: usize| -> f64 {
        if lag >= count {
            return 0.0;
        }
        let sum: f32 = flat.iter().zip(&flat[lag..]).map(|(a, b)| a * b).sum();
        f64::from(sum) / (count - lag) as f64
    };
    let all = at(0);
    if all <= 0.0 || strongest(values) < FAINT {
        return Vec::new();
    }
    (0..=lags).map(|lag| at(lag) / all).collect()
}

fn strongest(strengths: &[f32]) -> f32 {
    strengths.iter().copied().fold(0.0, f32::max)
}

/// The distance, seconds, of strokes that come one by one at even times.
fn even_strokes(onsets: &Onsets) -> Option<f64> {
    let strengths = onsets.strengths();
    let strongest = strongest(strengths);
    if strongest < FAINT {
        return None;
    }
    let mut strokes: Vec<usize> = Vec::new();
    // The newest frames may still be rising.
    for k in 1..strengths.len().saturating_sub(8) {
        let here = strengths[k];
        if here < STROKE * strongest || here < strengths[k - 1] || here <= strengths[k + 1] {
            continue;
        }
        match strokes.last_mut() {
            // One stroke, two humps.
            Some(last) if k - *last < 8 => {
                if here > strengths[*last] {
                    *last = k;
                }
            }
            _ => strokes.push(k),
        }
    }
    if strokes.len() <= FEWEST {
        return None;
    }
    let exact = |k: &usize| onsets.rise(*k).unwrap_or_else(|| onsets.time(*k));
    let times: Vec<f64> = strokes.iter().map(exact).collect();
    let mut gaps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_by(f64::total_cmp);
    let middle = gaps[gaps.len() / 2];
    let even = gaps
        .iter()
        .filter(|gap| (**gap / middle - 1.0).abs() <= EVEN)
        .count();
    let seconds = 60.0 / FASTEST..=60.0 / SLOWEST;
    (even as f64 >= MOST * gaps.len() as f64 && seconds.contains(&middle)).then_some(middle)
}
