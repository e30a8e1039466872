//! The tempo meter: beat times in, steps per minute out.
//!
//! The meter does not know where beats come from: the engine, the plain pulse of
//! any music, or a caller's tapping. It numbers them, so that a beat that was
//! missed leaves a gap in the numbers and one that came twice gets none, and
//! fits a straight line of number against time (`line.rs` says how): the line's
//! slope is the tempo. That uses every beat between the ends; a mean of
//! intervals would use the two end beats alone.
//!
//! # Words
//!
//! | word | meaning |
//! |---|---|
//! | now | slope over the last 4 beats |
//! | over 8, over 64 | slope over the last 8, 64 beats, from half of them on |
//! | whole | slope over all beats; each run has its own start, all share the slope; runs at quite another tempo than most of the time are left out |
//! | run | beats without a break: a pause of more than four beats, or a jump to another tempo or to the off-beat, begins a new run |
//! | stretch | 8 beats of a run; stretches do not overlap |
//! | drift | slope of the stretches' tempi over time, in steps per minute per minute |
//! | spread | how far the stretches' tempi lie from the drift's line: their standard deviation, steps per minute |
//!
//! A tempo's and a drift's own standard errors are those of least squares with
//! the weights of the fit (NIST/SEMATECH e-Handbook of Statistical Methods,
//! section 4.1.4.3, "Weighted least squares regression"). Stretches are taken for
//! the drift because neighbouring beats of a band err together: a quick beat is
//! followed by quick ones, and beats taken one by one would make the drift look
//! surer than it is.

mod line;
mod log;
mod spark;
mod steadiness;
mod table;
mod want;
mod write;

pub use log::{CsvLog, LogError};
pub use spark::{blocks, series, span};
pub use steadiness::{Steadiness, Stretch};
pub use table::Row;
pub use want::{Advice, Adviser, Want, WantError};
pub use write::{CSV_HEAD, csv_row, json_beat, json_summary};

use std::borrow::Cow;

use crate::sound::timeline::median;
use line::Point;

/// Beats over which the tempo is said to be that of "now".
const NOW: u32 = 4;
/// Beats of a stretch.
const STRETCH: u32 = 8;
/// Longest and shortest time between beats, seconds, before a tempo is known:
/// 30 and 240 steps per minute.
const FIRST_GAP: std::ops::RangeInclusive<f64> = 0.25..=2.0;
/// Beats that may be missing before a new run begins.
const MISSING: f64 = 4.5;
/// Share of a beat by which a beat may be off its place and still be counted.
const REACH: f64 = 0.25;
/// Beats, counted or not, that are looked at for another tempo.
const DOUBTED: usize = 6;
/// Share by which the intervals between those may differ from each other.
const ALIKE: f64 = 0.12;

/// Log of the ratio from which two runs' tempi are not of one kind of music: about
/// a quarter more or less.
const LEVEL: f64 = 0.22;

/// A beat with its number within its run.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Beat {
    time: f64,
    number: u32,
    run: u32,
}

/// The tempo at one beat, in steps per minute.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// The beat, seconds.
    pub time: f64,
    /// Over the last 4 beats.
    pub now: Option<f64>,
    /// Over the last 8 beats.
    pub over_8: Option<f64>,
    /// Over the last 64 beats.
    pub over_64: Option<f64>,
}

impl Reading {
    /// The tempo over 8 beats, before that what there is.
    ///
    /// Never inlined: rustc 1.95 (LLVM 22.1) then looks into a reading that is not there,
    /// by a tag that nobody wrote, and the program crashes.
    #[inline(never)]
    pub fn latest(&self) -> Option<f64> {
        self.over_8.or(self.now)
    }
}

/// A number with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The number itself.
    pub value: f64,
    /// Its standard error, in the same unit.
    pub error: f64,
}

/// Turns beat times into tempi.
///
/// ```
/// use eightclap::report::tempo::Meter;
/// let mut meter = Meter::default();
/// for beat in 0..32 {
///     if beat != 9 { // missed
///         meter.push(2.0 + f64::from(beat) * 60.0 / 116.0);
///     }
/// }
/// let tempo = meter.whole().unwrap().value;
/// assert!((tempo - 116.0).abs() < 0.01);
/// ```
#[derive(Debug, Clone, Default)]
pub struct Meter {
    beats: Vec<Beat>,
    /// The last beats as they came, counted or not, and whether they came a beat
    /// after the one before.
    raw: Vec<(f64, bool)>,
    strays: u64,
}

impl Meter {
    /// Takes in a beat at `time` (seconds) and says whether it was counted. Times
    /// must ascend; what is no number or comes before the last beat is not counted.
    pub fn push(&mut self, time: f64) -> bool {
        if !time.is_finite() || self.raw.last().is_some_and(|&(last, _)| time <= last) {
            return false;
        }
        let steps = self.place(time);
        self.strays += u64::from(steps.is_none());
        if self.raw.len() == DOUBTED {
            self.raw.remove(0);
        }
        self.raw.push((time, steps == Some(1)));
        match steps {
            Some(0 | 1) => true,
            Some(_) => {
                self.begin_anew_if_steady();
                true
            }
            None => self.begin_anew_if_steady(),
        }
    }

    /// The beats from now on follow another reading of the music, whose first beat
    /// is at `time`: those already counted from there on are forgotten, and a new
    /// run begins.
    pub fn restart(&mut self, time: f64) {
        let kept = self.beats.partition_point(|b| b.time < time);
        self.beats.truncate(kept);
        self.raw.clear();
    }

    /// Gives the beat its number, if it has one: how many beats after the last
    /// that is, 0 for the first of a run.
    fn place(&mut self, time: f64) -> Option<u32> {
        let last = self.beats.last().copied();
        // Nothing was heard since a restart.
        let (Some(last), false) = (last, self.raw.is_empty()) else {
            return self.begin(time);
        };
        let gap = time - last.time;
        let steps = match self.period() {
            None if gap > *FIRST_GAP.end() => return self.begin(time),
            None if gap < *FIRST_GAP.start() => return None,
            None => 1.0,
            Some(period) => gap / period,
        };
        if steps > MISSING {
            return self.begin(time);
        }
        let whole = steps.round();
        if whole < 1.0 || (steps - whole).abs() > REACH {
            return None;
        }
        self.beats.push(Beat {
            time,
            number: last.number + whole as u32,
            run: last.run,
        });
        Some(whole as u32)
    }

    fn begin(&mut self, time: f64) -> Option<u32> {
        let run = self.beats.last().map_or(0, |b| b.run + 1);
        self.beats.push(Beat {
            time,
            number: 0,
            run,
        });
        Some(0)
    }

    /// If the last beats were evenly spaced although some of them had no place or
    /// seemed to be missing, the music has gone over to another tempo or to the
    /// off-beat.
    fn begin_anew_if_steady(&mut self) -> bool {
        let doubted = self.raw.iter().filter(|(_, plain)| !plain).count();
        if self.raw.len() < DOUBTED || doubted < 2 {
            return false;
        }
        let mut gaps: Vec<f64> = self.raw.windows(2).map(|w| w[1].0 - w[0].0).collect();
        let middle = median(&mut gaps);
        if gaps.iter().any(|gap| (gap / middle - 1.0).abs() > ALIKE) || middle < *FIRST_GAP.start()
        {
            return false;
        }
        let (anew, before) = (std::mem::take(&mut self.raw), self.beats.len());
        self.restart(anew[0].0);
        // They were no strays after all.
        let strays = anew.len() - (before - self.beats.len());
        self.strays = self.strays.saturating_sub(strays as u64);
        for (time, _) in anew {
            let steps = self.place(time);
            self.raw.push((time, steps == Some(1)));
        }
        true
    }

    /// Seconds a beat of the last few of this run.
    fn period(&self) -> Option<f64> {
        let tail = self.tail(STRETCH);
        let mut gaps: Vec<f64> = tail
            .windows(2)
            .map(|w| (w[1].time - w[0].time) / f64::from(w[1].number - w[0].number))
            .collect();
        (!gaps.is_empty()).then(|| median(&mut gaps))
    }

    /// The beats of this run that lie within the last `beats` beats.
    fn tail(&self, beats: u32) -> &[Beat] {
        let Some(last) = self.beats.last() else {
            return &[];
        };
        let from = self
            .beats
            .partition_point(|b| (b.run, b.number) < (last.run, last.number.saturating_sub(beats)));
        &self.beats[from..]
    }

    /// Beats counted.
    pub fn beats(&self) -> usize {
        self.beats.len()
    }

    /// Beats that had no place: doubled, or beside the beat.
    pub fn strays(&self) -> u64 {
        self.strays
    }

    /// Time of the first and the last beat counted, seconds.
    pub fn span(&self) -> Option<(f64, f64)> {
        Some((self.beats.first()?.time, self.beats.last()?.time))
    }

    /// Steps per minute over the last `beats` beats, once half of them are there.
    pub fn over(&self, beats: u32) -> Option<f64> {
        let tail = self.tail(beats);
        let enough = tail.last()?.number - tail.first()?.number >= beats.div_ceil(2).max(1);
        if !enough {
            return None;
        }
        Some(60.0 * line::fit(&points(tail))?.slope)
    }

    /// The tempo at the last beat.
    pub fn reading(&self) -> Option<Reading> {
        Some(Reading {
            time: self.beats.last()?.time,
            now: self.over(NOW),
            over_8: self.over(8),
            over_64: self.over(64),
        })
    }

    /// Steps per minute over all beats, with its standard error.
    pub fn whole(&self) -> Option<Estimate> {
        self.between(f64::NEG_INFINITY, f64::INFINITY)
    }

    /// Steps per minute over the beats from `from` to just before `to` (seconds).
    pub fn between(&self, from: f64, to: f64) -> Option<Estimate> {
        let fit = line::fit(&points(&alike(self.inside(from, to))))?;
        Some(Estimate {
            value: 60.0 * fit.slope,
            error: 60.0 * fit.error,
        })
    }

    /// The beats from `from` to just before `to` (seconds).
    fn inside(&self, from: f64, to: f64) -> &[Beat] {
        let first = self.beats.partition_point(|b| b.time < from);
        let last = self.beats.partition_point(|b| b.time < to);
        &self.beats[first..last.max(first)]
    }
}

/// The beats of those runs whose tempo is about that of most of the time: runs at
/// twice or half the tempo, as when the beat was looked for, are another matter.
fn alike(beats: &[Beat]) -> Cow<'_, [Beat]> {
    // A run alone is like itself; it need not be fitted to see that.
    if beats.first().map(|b| b.run) == beats.last().map(|b| b.run) {
        return Cow::Borrowed(beats);
    }
    let mut runs: Vec<(f64, f64, &[Beat])> = beats
        .chunk_by(|a, b| a.run == b.run)
        .filter_map(|run| {
            let slope = line::fit(&points(run))?.slope;
            Some((slope, run[run.len() - 1].time - run[0].time, run))
        })
        .collect();
    runs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = 0.5 * runs.iter().map(|run| run.1).sum::<f64>();
    let mut passed = 0.0;
    let middle = runs.iter().find(|run| {
        passed += run.1;
        passed >= half
    });
    let Some(&(slope, ..)) = middle else {
        return Cow::Owned(Vec::new());
    };
    let near = |run: &&(f64, f64, &[Beat])| (run.0 / slope).ln().abs() < LEVEL;
    let mut kept: Vec<Beat> = runs
        .iter()
        .filter(near)
        .flat_map(|run| run.2)
        .copied()
        .collect();
    kept.sort_by_key(|b| (b.run, b.number));
    Cow::Owned(kept)
}

fn points(beats: &[Beat]) -> Vec<Point> {
    beats
        .iter()
        .map(|b| Point {
            x: b.time,
            y: f64::from(b.number),
            run: b.run,
        })
        .collect()
}

#[cfg(test)]
mod tests;
