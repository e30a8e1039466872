//! The pulse of any music: a plain method for what is no dance tune.
//!
//! The network of [`crate::hear::net`] was trained on dance bands at 86 to 148
//! steps per minute. A metronome, a waltz or a slow air is none of these, and a
//! tempo meter should read them too. This method knows nothing of tunes:
//!
//! ```text
//! samples ─→ onsets ─────────────→ period ─────────────────→ chain ──→ beats
//!            how much begins in    how far apart: the strong  when: the
//!            each 10 ms; when to   lags of the onsets'        best chain
//!            the millisecond       autocorrelation            of onsets
//! ```
//!
//! 1. `onsets`: an onset strength every 10 ms, from the band rises of
//!    [`crate::hear::features`], and the rise of the sound's power, every
//!    millisecond.
//! 2. `period`: the autocorrelation of the last 8 s of onset strength, at a lag
//!    and at its multiples, weighed by how usual the tempo is. Where single strokes
//!    come at even times, as a metronome's do, their distance is the period.
//! 3. `chain`: the chain of frames, about a period apart, with the most onset
//!    strength (Ellis, "Beat Tracking by Dynamic Programming", *Journal of New
//!    Music Research* 36, 2007), over the last 8 s again and again. A beat is given
//!    when it is more than a period old. Single even strokes are then given the
//!    time at which power rises most; in music with many voices that rise jumps
//!    from one player to another, and the frame's own time is steadier.
//!
//! So beats come about a second late: good for a meter, not for claps. Which of
//! several levels is *the* beat (a waltz's bars or its quarters?) is a matter of
//! taste; [`Pulse::new`] takes the tempo that is thought usual.

mod chain;
mod onsets;
mod period;

use super::features::{FRAME_RATE, RateError};
use onsets::Onsets;
use period::Period;

/// Frames that are looked back over: 8 s.
const SEEN: usize = 8 * FRAME_RATE as usize;
/// Frames between two looks.
const LOOK_EVERY: u64 = 10;
/// Frames that must have been heard before the first look.
const LEAST: usize = 3 * FRAME_RATE as usize;
/// Looks in a row without a clear pulse after which it is lost: 3 s.
const LOST: u32 = 30;
/// Share of the chain's mean strength from which a beat was heard.
const HEARD: f32 = 0.2;
/// A beat comes at least this share of a period after the one before.
const APART: f64 = 0.6;
/// A beat is given when it is this many periods old.
const OLD: f64 = 1.3;

/// Follows the pulse of mono sound, about a second late.
pub struct Pulse {
    onsets: Onsets,
    period: Period,
    last: Option<f64>,
    unclear: u32,
    times: Times,
}

/// When a beat is said to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Times {
    /// At the steepest rise for single even strokes, else where the frame is.
    #[default]
    Best,
    /// Where the frame is: to a hundredth of a second.
    Frames,
    /// At the steepest rise of power.
    Rises,
}

impl Pulse {
    /// A follower of sound at `rate` samples a second; `usual` is the tempo in
    /// beats per minute that is taken where the music leaves several.
    ///
    /// # Errors
    /// If the rate is not one that sound is heard at.
    pub fn new(rate: u32, usual: f64) -> Result<Self, RateError> {
        Ok(Pulse {
            onsets: Onsets::new(rate, SEEN)?,
            period: Period::new(usual),
            last: None,
            unclear: 0,
            times: Times::Best,
        })
    }

    /// The same with other times, to compare them.
    pub fn with_times(mut self, times: Times) -> Self {
        self.times = times;
        self
    }

    /// Hears `samples` (full scale is ±1) and appends the beats found, in seconds
    /// since the first sample.
    pub fn push(&mut self, mut samples: &[f32], beats: &mut Vec<f64>) {
        while self.onsets.hear(&mut samples) {
            let frames = self.onsets.frames();
            if frames.is_multiple_of(LOOK_EVERY) && self.onsets.strengths().len() >= LEAST {
                self.look(false, beats);
            }
        }
    }

    /// The sound is over: appends the beats that were held back.
    pub fn end(&mut self, beats: &mut Vec<f64>) {
        if self.onsets.strengths().len() >= LEAST {
            self.look(true, beats);
        }
    }

    /// How well beats `seconds` apart fit the onsets of the last seconds: 1 at best,
    /// 0 if not at all.
    pub fn fit(&self, seconds: f64) -> f64 {
        self.period.fit(seconds)
    }

    /// Whether single strokes come at even times, as a metronome's do.
    pub fn is_even(&self) -> bool {
        self.period.is_even()
    }

    /// Whether there is a pulse at all.
    pub fn is_clear(&self) -> bool {
        self.unclear == 0 && self.period.seconds().is_some()
    }

    /// Seconds between beats by the autocorrelation alone, at the last look.
    pub fn period(&self) -> Option<f64> {
        self.period.seconds()
    }

    fn look(&mut self, over: bool, beats: &mut Vec<f64>) {
        let Some(period) = self.period.look(&self.onsets) else {
            self.unclear += 1;
            if self.unclear >= LOST {
                self.period.forget();
                self.last = None;
            }
            return;
        };
        self.unclear = 0;
        let rate = f64::from(FRAME_RATE);
        let strengths = self.onsets.strengths();
        let mut chain = chain::best(strengths, period * rate);
        // A chain reaches to the present, music does not: what has not been heard
        // yet may be missing, or over.
        let mean = chain.iter().map(|&k| strengths[k]).sum::<f32>() / chain.len().max(1) as f32;
        while chain.pop_if(|k| strengths[*k] < HEARD * mean).is_some() {}
        let now = self.onsets.frames() as f64 / rate;
        // A steady tone has a ripple and a period, but no onsets.
        let rises = chain.iter().filter(|&&k| self.onsets.rise(k).is_some());
        if 2 * rises.count() < chain.len() {
            return;
        }
        let exact = match self.times {
            Times::Best => self.period.is_even(),
            Times::Frames => false,
            Times::Rises => true,
        };
        for frame in chain {
            let time = self.onsets.time(frame);
            if !over && time > now - OLD * period {
                break;
            }
            let time = self.onsets.rise(frame).filter(|_| exact).unwrap_or(time);
            if self.last.is_none_or(|last| time > last + APART * period) {
                self.last = Some(time);
                beats.push(time);
            }
        }
    }
}

#[cfg(test)]
mod tests;
