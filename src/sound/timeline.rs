//! One time for devices that each count with their own crystal.
//!
//! A device's callbacks say when the first sample of a block was or will be at
//! the microphone or the loudspeaker. Such stamps wander by up to 18 ms from
//! one callback to the next, and by more after a dropout, while the samples
//! themselves come as evenly as the crystal that counts them. So samples are
//! counted, and the stamps only place the count in time: a [`TimeLine`] is a
//! straight line through them that some wild stamps cannot bend. Its offset is
//! the median of the last seconds, its slope (how fast this crystal is) that of
//! P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau",
//! J. Am. Stat. Assoc. 63 (1968), over the medians of the last minutes.
//!
//! With a line for each device a moment in one is a moment in the other:
//! `speaker.count_at(microphone.time_of(sample)?)`.

use std::collections::VecDeque;

/// Seconds whose stamps give the offset: stamps swing by some milliseconds with
/// periods of up to half a minute (seen on PulseAudio: two block lengths that
/// drift past each other).
const NEAR: f64 = 20.0;
/// Seconds from one anchor to the next.
const STEP: f64 = 1.0;
/// Anchors that give the slope: four minutes.
const ANCHORS: usize = 240;
/// Anchors before a slope is worth more than none.
const SLOPE_FROM: usize = 60;
/// No crystal is further from its nominal rate; some USB devices are near it.
const STEEPEST: f64 = 1e-3;
/// Seconds of stamps that tell a jump from wandering, and the fewest stamps.
const LATELY: f64 = 1.0;
const FEWEST: usize = 8;
/// A jump is at least so long, seconds; less is left to the median.
const JUMP: f64 = 0.016;
/// One that is at least so long, seconds, and that so many stamps in a row
/// agree on within so many seconds, is taken at once.
const GROSS: f64 = 0.040;
const AGREED: usize = 8;
const AGREEING: f64 = 0.020;
/// The line is good to use after so many seconds of stamps.
const SETTLED: f64 = 0.4;

/// What one callback says: sample `count`, the first of its block, is at `at`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stamp {
    /// Samples (frames) of the device before this one.
    pub count: u64,
    /// When it is at the microphone or loudspeaker, seconds of the common time.
    pub at: f64,
}

/// Places one device's samples in the common time.
///
/// All times are seconds; the zero is whatever the stamps' zero is.
///
/// ```
/// use eightclap::sound::timeline::{Stamp, TimeLine};
/// let mut line = TimeLine::new(48_000);
/// for block in 0..100u64 {
///     line.stamp(Stamp { count: 480 * block, at: 5.0 + 0.01 * block as f64 });
/// }
/// assert!((line.time_of(96_000.0).unwrap() - 7.0).abs() < 1e-6);
/// assert!((line.count_at(7.0).unwrap() - 96_000.0).abs() < 1.0);
/// ```
#[derive(Debug, Clone)]
pub struct TimeLine {
    rate: f64,
    /// The last [`NEAR`] seconds: nominal seconds counted, and how much later
    /// than that count the stamp says it is.
    near: VecDeque<(f64, f64)>,
    /// One median a [`STEP`], in the same form.
    anchors: VecDeque<(f64, f64)>,
    next_anchor: f64,
    offset: f64,
    /// Seconds of the common time gained in a nominal second.
    slope: f64,
    /// Stamps since the last new fit.
    since_fit: usize,
    settled: bool,
    scratch: Vec<f64>,
}

impl TimeLine {
    /// A line for a device of nominally `rate` samples a second.
    pub fn new(rate: u32) -> Self {
        TimeLine {
            rate: f64::from(rate.max(1)),
            near: VecDeque::new(),
            anchors: VecDeque::new(),
            next_anchor: f64::NEG_INFINITY,
            offset: 0.0,
            slope: 0.0,
            since_fit: 0,
            settled: false,
            scratch: Vec::new(),
        }
    }

    /// Takes the next stamp; counts never fall. If the stamps have left the
    /// line for good, returns by how many seconds: samples that a microphone
    /// lost or a loudspeaker was short of are a positive jump.
    pub fn stamp(&mut self, stamp: Stamp) -> Option<f64> {
        let counted = stamp.count as f64 / self.rate;
        let later = stamp.at - counted;
        if !later.is_finite() || self.near.back().is_some_and(|(c, _)| counted < *c) {
            return None;
        }
        self.near.push_back((counted, later));
        while self.near.front().is_some_and(|(c, _)| counted - c > NEAR) {
            self.near.pop_front();
        }
        if self.span() < SETTLED {
            // After a jump the few stamps there are move the past with them.
            let before = self.offset;
            self.fit();
            let by = self.offset - before;
            self.anchors.iter_mut().for_each(|(_, later)| *later += by);
            self.next_anchor = counted + STEP;
            return None;
        }
        self.settled = true;
        let jump = self.jump(counted);
        if let Some(by) = jump {
            self.shift(by);
        }
        if counted >= self.next_anchor {
            self.anchor(counted);
        }
        // A fit costs a sort: not at every stamp.
        self.since_fit += 1;
        if jump.is_some() || self.since_fit >= 32 {
            self.fit();
        }
        jump
    }

    /// When sample `count` is; `None` before the first stamp.
    pub fn time_of(&self, count: f64) -> Option<f64> {
        self.near.back()?;
        let counted = count / self.rate;
        Some(counted + self.at(counted))
    }

    /// Which sample is at `time`; `None` before the first stamp.
    pub fn count_at(&self, time: f64) -> Option<f64> {
        self.near.back()?;
        // time = counted + offset + slope * counted
        Some((time - self.offset) / (1.0 + self.slope) * self.rate)
    }

    /// Whether the line rests on enough stamps to be used.
    pub fn settled(&self) -> bool {
        self.settled
    }

    /// The oldest sample whose stamp the line's offset rests on: after a jump the first
    /// that came after it.
    pub fn first(&self) -> Option<f64> {
        self.near.front().map(|(counted, _)| counted * self.rate)
    }

    /// How much faster than nominal the device counts, in millionths.
    pub fn fast_by(&self) -> f64 {
        -1e6 * self.slope
    }

    fn span(&self) -> f64 {
        match (self.near.front(), self.near.back()) {
            (Some((first, _)), Some((last, _))) => last - first,
            _ => 0.0,
        }
    }

    /// How much later than nominal the line is at nominal second `counted`.
    fn at(&self, counted: f64) -> f64 {
        self.offset + self.slope * counted
    }

    /// By how much the stamps have lately left the line, if it is a jump.
    fn jump(&mut self, counted: f64) -> Option<f64> {
        let last = self.near.iter().rev().take(AGREED);
        self.scratch.clear();
        self.scratch
            .extend(last.map(|(c, later)| later - (self.offset + self.slope * c)));
        let (least, most) = self
            .scratch
            .iter()
            .fold((f64::MAX, f64::MIN), |(a, b), d| (a.min(*d), b.max(*d)));
        let agreed = self.scratch.len() == AGREED && most - least < AGREEING;
        if agreed && (least > GROSS || most < -GROSS) {
            return Some(median(&mut self.scratch));
        }
        let lately = self.near.iter().rev();
        let lately = lately.take_while(|(c, _)| counted - c <= LATELY);
        self.scratch.clear();
        self.scratch
            .extend(lately.map(|(c, later)| later - (self.offset + self.slope * c)));
        if self.scratch.len() < FEWEST || self.span() < LATELY {
            return None;
        }
        let off = median(&mut self.scratch);
        if off.abs() <= JUMP {
            return None;
        }
        // Some of them are from before the jump: what most of the others say.
        let side = off.signum();
        self.scratch.retain(|d| d * side > 0.5 * off.abs());
        Some(median(&mut self.scratch))
    }

    /// Moves the line and its past by `by` seconds.
    fn shift(&mut self, by: f64) {
        let (offset, slope) = (self.offset, self.slope);
        let newest = self.near.back().map_or(0.0, |(c, _)| *c);
        self.near.retain(|stamp| newest - stamp.0 <= LATELY);
        // Single stamps lie: the jump was where most before it belong to the old line and
        // most after it to the new one.
        let (mut best, mut ahead, mut first) = (0, 0, 0);
        for (n, (counted, later)) in self.near.iter().enumerate() {
            let off = later - (offset + slope * counted);
            ahead += if (off - by).abs() < off.abs() { -1 } else { 1 };
            if ahead > best {
                (best, first) = (ahead, n + 1);
            }
        }
        self.near.drain(..first);
        self.anchors.iter_mut().for_each(|(_, later)| *later += by);
        self.next_anchor = newest + STEP;
        self.offset += by;
    }

    fn anchor(&mut self, counted: f64) {
        let lately = self.near.iter().rev();
        let lately = lately.take_while(|(c, _)| counted - c <= STEP);
        self.scratch.clear();
        self.scratch.extend(lately.map(|(_, later)| *later));
        self.next_anchor = counted + STEP;
        if self.scratch.len() < FEWEST {
            return;
        }
        let later = median(&mut self.scratch);
        self.anchors.push_back((counted - 0.5 * STEP, later));
        if self.anchors.len() > ANCHORS {
            self.anchors.pop_front();
        }
        if self.anchors.len() >= SLOPE_FROM {
            let before = self.at(counted);
            self.slope = self.steepness().clamp(-STEEPEST, STEEPEST);
            // The line turns where it is now, not about its far beginning: hours later that
            // would move it by tens of milliseconds until it is fitted anew.
            self.offset = before - self.slope * counted;
        }
    }

    /// The median slope between anchors that are far apart: near ones only add
    /// noise.
    fn steepness(&mut self) -> f64 {
        let half = self.anchors.len() / 2;
        self.scratch.clear();
        for (n, (from, before)) in self.anchors.iter().enumerate() {
            for (to, after) in self.anchors.iter().skip(n + half) {
                self.scratch.push((after - before) / (to - from));
            }
        }
        median(&mut self.scratch)
    }

    fn fit(&mut self) {
        self.since_fit = 0;
        self.scratch.clear();
        self.scratch
            .extend(self.near.iter().map(|(c, later)| later - self.slope * c));
        self.offset = median(&mut self.scratch);
    }
}

/// The median, reordering the values; 0 for none.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    match values.len() {
        0 => 0.0,
        _ => *values.select_nth_unstable_by(middle, f64::total_cmp).1,
    }
}

#[cfg(test)]
pub(crate) mod fake;
#[cfg(test)]
mod tests;
