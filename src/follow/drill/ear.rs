//! What a microphone has heard lately, and when.

use std::collections::VecDeque;

use crate::sound::timeline::{Stamp, TimeLine};

/// Seconds of sound that are kept: a phrase and some.
const KEPT: f64 = 14.0;

/// The last seconds of a microphone, in the common time of its stamps.
#[derive(Debug, Clone)]
pub struct Ear {
    rate: u32,
    line: TimeLine,
    heard: VecDeque<f32>,
    /// Samples of the device before the first that is kept.
    before: u64,
}

impl Ear {
    /// An ear for a device of `rate` samples a second.
    pub fn new(rate: u32) -> Self {
        Ear {
            rate,
            line: TimeLine::new(rate),
            heard: VecDeque::new(),
            before: 0,
        }
    }

    /// Samples a second.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Takes a stamp of the microphone.
    pub fn stamp(&mut self, stamp: Stamp) {
        self.line.stamp(stamp);
    }

    /// Takes the next samples.
    pub fn hear(&mut self, samples: &[f32]) {
        self.heard.extend(samples);
        let most = (KEPT * f64::from(self.rate)) as usize;
        let over = self.heard.len().saturating_sub(most);
        self.heard.drain(..over);
        self.before += over as u64;
    }

    /// The sound from `from` to `to`, seconds of the common time; `None` unless
    /// all of it is there.
    pub(super) fn between(&self, from: f64, to: f64) -> Option<Vec<f32>> {
        if !self.line.settled() {
            return None;
        }
        let first = self.line.count_at(from)?.round() - self.before as f64;
        let length = ((to - from) * f64::from(self.rate)).round();
        if first < 0.0 || length < 0.0 || first + length > self.heard.len() as f64 {
            return None;
        }
        let sound = self.heard.iter().skip(first as usize).take(length as usize);
        Some(sound.copied().collect())
    }
}
