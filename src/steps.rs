//! The beats of any music, each from whichever listener knows this music best.
//!
//! Dance tunes are the engine's: it was trained on them and is then sure of nearly
//! every beat. Metronomes, waltzes, airs and tempi out of its range are followed by
//! [`Pulse`], which knows nothing of tunes. Both listen all the time; the choice
//! between them is made anew with every twentieth of a second of sound:
//!
//! * single strokes at even times (a metronome) are the pulse's from the start, and
//!   until there were none for some seconds;
//! * else the engine has it once it was sure of eight beats, and for as long as it
//!   stays nearly so, unless its tempo fits the onsets much worse than the pulse's:
//!   beyond its range it settles on two thirds or four thirds of the tempo;
//! * else the pulse has it once it gave eight beats that the engine did not.
//!
//! Like the engine this is a pure state machine: what it says depends only on the
//! samples, not on how they were cut into blocks.

use std::collections::VecDeque;

use crate::engine::{Engine, Settings};
use crate::event::Event;
use crate::hear::features::RateError;
use crate::hear::pulse::Pulse;

/// Beats by which a listener is judged.
const JUDGED: usize = 8;
/// Mean sureness of those from which the engine has the music, and down to which
/// it keeps it. On dance bands it is 0.99, on what is none 0.3 to 0.9.
const SURE: f32 = 0.95;
const STILL_SURE: f32 = 0.85;
/// Seconds without a beat after which a listener has lost the music.
const LOST: f64 = 2.0;
/// Seconds after which single even strokes, and the beginning of a tune that was not
/// the engine's, are forgotten.
const EVEN_FOR: f64 = 8.0;
/// Share of the pulse's fit that the engine's tempo must have.
const FITS: f64 = 0.7;
/// Share by which two tempi may differ and still be the same.
const SAME: f64 = 0.03;
/// Pieces of sound a second after which the choice is made anew.
const PIECES: u64 = 20;

/// Who found a beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// The engine: dance music.
    Engine,
    /// The plain pulse: any other music.
    Pulse,
    /// Somebody tapped it.
    Tapping,
}

impl By {
    /// The word for it.
    pub fn name(self) -> &'static str {
        match self {
            By::Engine => "engine",
            By::Pulse => "pulse",
            By::Tapping => "tapping",
        }
    }
}

/// A beat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// When it is, seconds since the first sample.
    pub time: f64,
    /// Who found it.
    pub by: By,
    /// Whether another listener has taken over: this beat and those after it
    /// replace beats already given from this time on.
    pub anew: bool,
}

impl Step {
    /// The same beat `by` seconds later.
    pub fn later(self, by: f64) -> Self {
        Step {
            time: self.time + by,
            ..self
        }
    }
}

/// Finds the beats of any music.
pub struct Steps {
    engine: Engine,
    pulse: Pulse,
    by: Option<By>,
    /// Since when there have been no single even strokes, seconds.
    even_until: f64,
    heard: VecDeque<(f64, f32)>,
    felt: VecDeque<f64>,
    /// The last beat given.
    last: f64,
    starts: Vec<(u32, f64)>,
    /// The same, while the engine does not have the music.
    claimed: Vec<(u32, f64)>,
    rate: u64,
    samples: u64,
    events: Vec<Event>,
    beats: Vec<f64>,
}

impl Steps {
    /// A listener to mono sound at `rate` samples a second. `usual` is the tempo,
    /// steps per minute, that is preferred where music that is no dance tune leaves
    /// several.
    ///
    /// # Errors
    /// If the rate is not one that sound is heard at.
    pub fn new(rate: u32, usual: f64) -> Result<Self, RateError> {
        Ok(Steps {
            engine: Engine::new(rate, Settings::default())?,
            pulse: Pulse::new(rate, usual)?,
            by: None,
            even_until: f64::NEG_INFINITY,
            heard: VecDeque::new(),
            felt: VecDeque::new(),
            last: f64::NEG_INFINITY,
            starts: Vec::new(),
            claimed: Vec::new(),
            rate: u64::from(rate),
            samples: 0,
            events: Vec::new(),
            beats: Vec::new(),
        })
    }

    /// Hears `samples` (full scale is ±1) and appends the beats found: the engine's
    /// some hundredths of a second ahead of their time, the pulse's about a second
    /// after it.
    pub fn push(&mut self, mut samples: &[f32], steps: &mut Vec<Step>) {
        while !samples.is_empty() {
            let piece = self.samples * PIECES / self.rate + 1;
            let due = (piece * self.rate).div_ceil(PIECES) - self.samples;
            let (now, later) = samples.split_at((due as usize).min(samples.len()));
            samples = later;
            self.samples += now.len() as u64;
            self.engine.push(now, &mut self.events);
            self.pulse.push(now, &mut self.beats);
            if now.len() as u64 == due {
                self.settle(steps);
            }
        }
    }

    /// The sound is over: appends the beats that were held back.
    pub fn end(&mut self, steps: &mut Vec<Step>) {
        self.pulse.end(&mut self.beats);
        self.settle(steps);
    }

    /// When each time through the tune began, with its number, as far as the engine
    /// knows: seconds, ascending.
    pub fn starts(&self) -> &[(u32, f64)] {
        &self.starts
    }

    /// Takes in what both listeners said, chooses, and passes on.
    fn settle(&mut self, steps: &mut Vec<Step>) {
        let (mut heard, mut felt) = (0, 0);
        for event in self.events.drain(..) {
            match event {
                Event::Beat(beat) => {
                    self.heard.push_back((beat.time, beat.sure));
                    heard += 1;
                }
                Event::Phrase(phrase) if phrase.phrase == 0 => {
                    self.claimed.push((phrase.time_through, phrase.time));
                }
                _ => {}
            }
        }
        for beat in self.beats.drain(..) {
            self.felt.push_back(beat);
            felt += 1;
        }
        let spare = self.heard.len().saturating_sub(JUDGED.max(heard));
        self.heard.drain(..spare);
        let spare = self.felt.len().saturating_sub((2 * JUDGED).max(felt));
        self.felt.drain(..spare);

        if self.pulse.is_even() {
            self.even_until = self.now();
        }
        let chosen = self.choose();
        let taken_over = chosen != self.by;
        if chosen == Some(By::Engine) {
            self.starts.append(&mut self.claimed);
        } else {
            // Clicks are no tune, whatever the engine takes them for.
            let long_ago = self.now() - EVEN_FOR;
            self.claimed.retain(|(_, time)| *time > long_ago);
        }
        let before = std::mem::replace(&mut self.by, chosen);
        match chosen {
            Some(By::Engine) => {
                let fresh = if taken_over { self.heard.len() } else { heard };
                let first = self.heard.len() - fresh;
                let times = self.heard.iter().skip(first).map(|beat| beat.0);
                give(times, By::Engine, taken_over, &mut self.last, steps);
            }
            Some(by) => {
                let fresh = if taken_over { self.felt.len() } else { felt };
                let first = self.felt.len() - fresh;
                // The engine's beats were good until it lost the music.
                let from = match before {
                    Some(By::Engine) if !self.pulse.is_even() => self.last,
                    _ => f64::NEG_INFINITY,
                };
                let times = self.felt.iter().skip(first).copied();
                let times = times.filter(|time| *time > from || !taken_over);
                give(times, by, taken_over, &mut self.last, steps);
            }
            None => {}
        }
    }

    /// Seconds of sound heard.
    fn now(&self) -> f64 {
        self.samples as f64 / self.rate as f64
    }

    fn choose(&self) -> Option<By> {
        let even = self.pulse.is_even();
        let same = self.same_tempo();
        match self.by {
            Some(By::Engine) if even && !same && !self.octave_apart() => Some(By::Pulse),
            Some(By::Engine) if self.is_sure(STILL_SURE) => Some(By::Engine),
            Some(By::Engine) => self.pulse_if_new(),
            _ if even => Some(By::Pulse),
            // In noise some strokes go unheard; the others are still good.
            Some(by) if same && self.now() < self.even_until + EVEN_FOR => Some(by),
            _ if self.is_sure(SURE) => Some(By::Engine),
            Some(by) if self.pulse.is_clear() => Some(by),
            // Nobody has it for now.
            _ => self.pulse_if_new(),
        }
    }

    /// The pulse, if it gave enough beats after the last beat that was given. While
    /// it has not, whoever had the music keeps it.
    fn pulse_if_new(&self) -> Option<By> {
        let new = self.felt.iter().filter(|time| **time > self.last).count();
        match new >= JUDGED && self.pulse.is_clear() {
            true => Some(By::Pulse),
            false => self.by,
        }
    }

    /// Whether the engine is sure of the last beats, on the mean, and they fit.
    fn is_sure(&self, least: f32) -> bool {
        let sure = self.heard.iter().map(|beat| beat.1).sum::<f32>() / JUDGED as f32;
        let there = self
            .heard
            .back()
            .is_some_and(|beat| beat.0 > self.now() - LOST);
        self.heard.len() >= JUDGED && sure >= least && there && self.fits()
    }

    /// Whether the engine's tempo fits the onsets, beside the pulse's.
    fn fits(&self) -> bool {
        match self.periods() {
            Some((heard, felt)) if self.pulse.is_clear() => {
                self.octave_apart() || self.pulse.fit(heard) >= FITS * self.pulse.fit(felt)
            }
            _ => true,
        }
    }

    /// Whether one listener hears twice the other's tempo. Running notes of a reel
    /// can be even strokes: then the steps are the engine's.
    fn octave_apart(&self) -> bool {
        let apart = |(heard, felt): (f64, f64)| ((heard / felt).log2().abs() - 1.0).abs() < SAME;
        self.periods().is_some_and(apart)
    }

    /// Whether both listeners hear the same tempo, or one of them none.
    fn same_tempo(&self) -> bool {
        let same = |(heard, felt): (f64, f64)| (heard / felt - 1.0).abs() <= SAME;
        self.periods().is_none_or(same)
    }

    /// Seconds a beat as the engine hears them, and as the pulse does.
    fn periods(&self) -> Option<(f64, f64)> {
        self.engine_period().zip(self.pulse.period())
    }

    /// Seconds between the engine's last beats.
    fn engine_period(&self) -> Option<f64> {
        let (first, last) = (self.heard.front()?, self.heard.back()?);
        let beats = self.heard.len() - 1;
        (beats > 0).then(|| (last.0 - first.0) / beats as f64)
    }
}

fn give(
    times: impl Iterator<Item = f64>,
    by: By,
    mut anew: bool,
    last: &mut f64,
    steps: &mut Vec<Step>,
) {
    for time in times {
        steps.push(Step { time, by, anew });
        anew = false;
        *last = time;
    }
}
