//! From the bar pointer's belief to beats that are announced once and kept.
//!
//! The pointer's most probable state may flip between two readings of the same
//! music; a dancer's foot may not. So beats are taken from the belief's mean
//! around the beat that is due, and another reading is taken up only after it
//! has been much the better one for several beats.

use super::beats::{BarPointer, Expectations, MODES, NONE, STEPS_PER_SECOND};
use super::net::Activation;
use crate::event::NOTICE;

/// Seconds between two frames.
const FRAME: f64 = 1.0 / super::features::FRAME_RATE as f64;
/// Notice given in fact, seconds: a little over [`NOTICE`], so that it is still
/// kept after times have been rounded for printing.
const LEAST: f64 = NOTICE + 0.002;
/// Beats within this share of a beat of the expected time speak for it.
const REACH: f64 = 0.2;
/// Share of the belief that a first reading needs.
const LOCK_MASS: f32 = 0.55;
/// Share of the belief below which a held reading is in doubt.
const DOUBT_MASS: f32 = 0.25;
/// Share of the belief that another reading needs to replace a doubted one.
const SWITCH_MASS: f32 = 0.6;
/// Beats in a row that another reading must win.
const SWITCH_BEATS: u32 = 4;
/// The same while the reading is younger than [`YOUNG`] beats: lead-ins can be
/// heard badly, and the tune then puts them right at once.
const YOUNG_SWITCH_BEATS: u32 = 1;
/// Beats for which a reading is young.
const YOUNG: u32 = 8;
/// Beats after which a pause ends the count.
const LONGEST_PAUSE: f64 = 12.0;
/// Spread given to beats that nothing in the belief speaks for, seconds.
const UNKNOWN_SPREAD: f64 = 0.1;
/// Probability of "nobody plays" above which beats end.
const SILENCE: f32 = 0.9;

/// A beat that has been decided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heard {
    /// When it falls, seconds.
    pub time: f64,
    /// Seconds of sound heard when it was decided.
    pub announced: f64,
    /// Seconds a beat.
    pub period: f64,
    /// Share of the belief behind this beat, 0 to 1.
    pub sure: f32,
    /// Spread (standard deviation) of the time, seconds.
    pub spread: f64,
    /// The modes' shares just before the beat, summing to 1.
    pub modes: [f32; MODES],
    /// Beats since the last one by the clock, about 1; another number when
    /// beats were missed or another reading of the music was taken up, and
    /// `None` after a new start.
    pub steps: Option<f64>,
}

/// What is held between beats.
#[derive(Debug, Clone, Copy)]
struct Held {
    /// The last beat decided, if any.
    last: Option<f64>,
    /// When the next is expected.
    next: f64,
    period: f64,
    /// Beats decided since this reading was taken up.
    age: u32,
    /// Beats in a row for which another reading was better.
    doubts: u32,
}

/// Decides beats from activations, one frame at a time.
#[derive(Debug, Clone)]
pub struct Tracker {
    arch: pulp::Arch,
    pointer: BarPointer,
    /// Seconds by which an activation's moment lags behind the sound heard.
    delay: f64,
    held: Option<Held>,
    /// The last beat ever decided, so that none is decided twice.
    last: f64,
    histogram: Vec<f32>,
}

impl Tracker {
    /// A tracker for activations that speak of the moment `delay` seconds before
    /// the sound heard.
    pub fn new(expect: Expectations, delay: f64) -> Self {
        let pointer = BarPointer::new(expect);
        Tracker {
            arch: pulp::Arch::new(),
            histogram: vec![0.0; pointer.histogram_len()],
            pointer,
            delay,
            held: None,
            last: f64::NEG_INFINITY,
        }
    }

    /// The belief behind the beats.
    pub fn pointer(&self) -> &BarPointer {
        &self.pointer
    }

    /// Takes in one frame; `heard` is the sound heard by its end, seconds.
    pub fn step(&mut self, heard: f64, activation: &Activation) -> Option<Heard> {
        self.arch.dispatch(Step(self, heard, activation))
    }

    #[inline(always)]
    fn hear(&mut self, heard: f64, activation: &Activation) -> Option<Heard> {
        self.pointer.step(activation);
        let moment = heard - self.delay;
        if self.held.is_none() {
            self.start(moment, heard);
        }
        let held = self.held?;
        if held.next - heard > 0.25 * held.period {
            return None;
        }
        let guess = self.pointer.around(held.next - moment, REACH * held.period);
        let (time, period, mass) = match guess {
            Some(g) if g.mass > 0.02 => (moment + g.ahead, g.period, g.mass),
            _ => (held.next, held.period, 0.0),
        };
        if time - heard > LEAST + FRAME {
            return None;
        }
        let other = match mass {
            m if m < DOUBT_MASS => self.another(moment, time),
            _ => None,
        };
        let doubts = other.map_or(0, |_| held.doubts + 1);
        if let Some((next, period)) = other {
            let patience = match held.age {
                age if age < YOUNG => YOUNG_SWITCH_BEATS,
                _ => SWITCH_BEATS,
            };
            if doubts >= patience {
                let next = self.soonest(next, period, heard);
                self.held = Some(Held {
                    next,
                    period,
                    age: 0,
                    doubts: 0,
                    ..held
                });
                return None;
            }
        }
        let modes = match guess {
            Some(g) => g.modes.map(|m| m / g.mass),
            None => [0.0; MODES],
        };
        let time = time.max(heard + LEAST);
        self.last = time;
        self.held = (self.pointer.modes()[NONE] <= SILENCE).then_some(Held {
            last: Some(time),
            next: time + period,
            period,
            age: held.age + 1,
            doubts,
        });
        Some(Heard {
            time,
            announced: heard,
            period,
            sure: mass.min(1.0),
            spread: guess.map_or(UNKNOWN_SPREAD, |g| g.spread),
            modes,
            steps: held.last.map(|last| (time - last) / period),
        })
    }

    /// Looks for a first reading.
    fn start(&mut self, moment: f64, heard: f64) {
        let modes = self.pointer.modes();
        if modes[NONE] > 1.0 - LOCK_MASS {
            return;
        }
        let Some((ahead, mass, period)) = self.best() else {
            return;
        };
        if mass > LOCK_MASS {
            let next = self.soonest(moment + ahead, period, heard);
            let pause = (next - self.last) / period;
            self.held = Some(Held {
                last: (pause < LONGEST_PAUSE).then_some(self.last),
                next,
                period,
                age: 0,
                doubts: 0,
            });
        }
    }

    /// The first beat of a reading that can still be announced.
    fn soonest(&self, beat: f64, period: f64, heard: f64) -> f64 {
        let from = (heard + LEAST).max(self.last + 0.6 * period);
        beat + ((from - beat) / period).ceil().max(0.0) * period
    }

    /// A much better reading than a beat at `time`, if there is one: one of its
    /// beats, and its period.
    fn another(&mut self, moment: f64, time: f64) -> Option<(f64, f64)> {
        let (ahead, mass, period) = self.best()?;
        let other = moment + ahead;
        let apart = ((other - time) / period).rem_euclid(1.0);
        let apart = apart.min(1.0 - apart);
        (mass >= SWITCH_MASS && apart >= REACH).then_some((other, period))
    }

    /// The most probable next beat: seconds ahead, mass, period.
    fn best(&mut self) -> Option<(f64, f32, f64)> {
        self.pointer.next_beats(&mut self.histogram);
        let width = 6;
        let (bin, _) = self
            .histogram
            .windows(2 * width + 1)
            .map(|w| w.iter().sum::<f32>())
            .enumerate()
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        let ahead = (bin + width) as f64 / STEPS_PER_SECOND;
        let rough = self.pointer.around(ahead, 0.1)?;
        let fine = self.pointer.around(rough.ahead, REACH * rough.period)?;
        Some((fine.ahead, fine.mass, fine.period))
    }
}

/// A step, through whatever registers there are.
struct Step<'a>(&'a mut Tracker, f64, &'a Activation);

impl pulp::WithSimd for Step<'_> {
    type Output = Option<Heard>;

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) -> Option<Heard> {
        self.0.hear(self.1, self.2)
    }
}

#[cfg(test)]
mod tests;
