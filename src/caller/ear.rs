//! Hearing prompts: samples in, prompts out.

mod lesson;

use std::collections::VecDeque;

use earshot::Detector;

use super::echo::{BLOCK, Canceller, Removal};
use super::frames::{Frame, Framer, RATE};
use super::pace::{PAST, Pace};
use super::prompt::{Prompt, read};
use crate::sound::resample::{ResampleError, Resampler};
use lesson::Lesson;

/// What tells a voice from other sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Method {
    /// How far sound stands out of what is there anyway.
    Energy,
    /// A small network that knows voices (the crate `earshot`).
    Net,
    /// Where sound stands out, and the network hears a voice in it.
    #[default]
    Both,
}

/// The ear cannot hear at this rate.
#[derive(Debug, thiserror::Error)]
pub enum EarError {
    /// The sound cannot be converted.
    #[error(transparent)]
    Rate(#[from] ResampleError),
}

/// Decibels above what is there anyway from which sound is noticed, and down to which
/// it goes on.
const NOTICED: f32 = 5.0;
const GOES_ON: f32 = 2.6;
/// The same of the network's word.
const VOICE: f32 = 0.5;
const VOICE_GOES_ON: f32 = 0.3;

/// Frames of silence that end a prompt: 0.65 s.
const GAP: usize = 130;
/// Frames after a prompt that are looked at for its edge, and before it: 0.25 s, 0.75 s.
/// Those after it are there by the time it is over.
const AFTER: usize = 50;
const _: () = assert!(AFTER <= GAP);
const BEFORE: usize = 150;
/// Shorter than this, seconds, it is no prompt.
const SHORTEST: f64 = 0.14;
/// No syllable is longer than this, seconds.
const HELD: f64 = 0.9;
/// Frames after which talk is cut: 12 s.
const LONGEST: usize = 2_400;
/// How much of a prompt must sound like a voice, on the mean.
const LIKE_A_VOICE: f32 = 0.35;

/// Samples beyond this are no sound: full scale is 1.
const LOUDEST: f32 = 8.0;
/// Blocks that are worked on in a call, so that nobody waits for long: 0.6 s.
const AT_ONCE: usize = 40;
/// Power of a block from which it counts as playback: -60 dB.
const PLAYS: f32 = 1e-6 * BLOCK as f32;

/// Hears prompts.
///
/// What it says depends only on the samples, not on how they were cut into blocks. A
/// prompt is told some 0.7 s after its end.
pub struct Ear {
    method: Method,
    removal: Removal,
    heard: Resampler,
    played: Resampler,
    /// What was heard and what was played, the latter with [`PAST`] samples from before.
    waiting: (Vec<f32>, Vec<f32>),
    pace: Pace,
    /// What was pushed, without samples that are no sound.
    tame: (Vec<f32>, Vec<f32>),
    canceller: Canceller,
    /// What the filter hears beforehand of what waits.
    lesson: Lesson,
    /// Whether the filter knows the room.
    taught: bool,
    /// Blocks for which nothing is taken for a voice.
    deaf: usize,
    /// How many blocks on of those that wait the playback shifts. In order.
    shifts: VecDeque<usize>,
    detector: Detector,
    framer: Framer,
    fresh: Vec<Frame>,
    frames: VecDeque<Frame>,
    /// Frames that came before those kept.
    gone: u64,
    /// First and last frame of the voice that is heard now.
    voice: Option<(u64, u64)>,
    smooth: f32,
    /// Decibels by which blocks of playback were softened while nobody spoke.
    softer: Vec<f32>,
}

impl Ear {
    /// An ear for mono sound at `rate` samples a second.
    ///
    /// # Errors
    /// If the rate is out of all reason.
    pub fn new(rate: u32, method: Method, removal: Removal) -> Result<Self, EarError> {
        Ok(Ear {
            method,
            removal,
            heard: Resampler::new(rate, RATE, 1)?,
            played: Resampler::new(rate, RATE, 1)?,
            waiting: (Vec::new(), vec![0.0; PAST]),
            pace: Pace::default(),
            tame: Default::default(),
            canceller: Canceller::new(),
            lesson: Lesson::default(),
            taught: false,
            deaf: 0,
            shifts: VecDeque::new(),
            detector: Detector::default(),
            framer: Framer::new(removal == Removal::Mixed),
            fresh: Vec::new(),
            frames: VecDeque::new(),
            gone: 0,
            voice: None,
            smooth: 0.0,
            softer: Vec::new(),
        })
    }

    /// Hears `samples` while `played` is played: as many samples, silence where nothing
    /// is. Appends the prompts that are over.
    ///
    /// # Errors
    /// If the rate conversion fails.
    pub fn push(
        &mut self,
        samples: &[f32],
        played: &[f32],
        prompts: &mut Vec<Prompt>,
    ) -> Result<(), EarError> {
        let sound = |x: &f32| {
            if x.is_finite() {
                x.clamp(-LOUDEST, LOUDEST)
            } else {
                0.0
            }
        };
        let (heard, beside) = &mut self.tame;
        heard.clear();
        heard.extend(samples.iter().map(sound));
        beside.clear();
        beside.extend(played.iter().map(sound));
        self.heard.push(heard, &mut self.waiting.0)?;
        self.played.push(beside, &mut self.waiting.1)?;
        self.hear(false, prompts);
        Ok(())
    }

    /// What is pushed from now on may have shifted beside what is played, since samples
    /// were lost: the next two seconds of it are heard beforehand.
    pub fn shifted(&mut self) {
        if self.removal == Removal::Adaptive {
            self.shifts.push_back(self.waiting.0.len() / BLOCK);
        }
    }

    /// The sound is over: appends the prompt that was not yet.
    ///
    /// # Errors
    /// If the rate conversion fails.
    pub fn end(&mut self, prompts: &mut Vec<Prompt>) -> Result<(), EarError> {
        self.heard.finish(&mut self.waiting.0)?;
        self.played.finish(&mut self.waiting.1)?;
        for _ in 0..GAP * super::frames::HOP / BLOCK + 2 {
            self.waiting.0.extend([0.0; BLOCK]);
            self.waiting.1.extend([0.0; BLOCK]);
        }
        // As far as the playback may be read ahead.
        self.waiting.1.extend([0.0; PAST]);
        self.hear(true, prompts);
        Ok(())
    }

    /// By how many decibels the playback was softened while nobody spoke, on the median;
    /// `None` if nothing was played.
    pub fn softened(&self) -> Option<f32> {
        let mut all = self.softer.clone();
        let middle = all.len() / 2;
        let median = |all: &mut Vec<f32>| *all.select_nth_unstable_by(middle, f32::total_cmp).1;
        (!all.is_empty()).then(|| median(&mut all))
    }

    fn hear(&mut self, over: bool, prompts: &mut Vec<Prompt>) {
        let mut most = if over { usize::MAX } else { AT_ONCE };
        loop {
            if self.learns(over, most) {
                return;
            }
            let blocks = self.blocks();
            let shift = self.shifts.front().copied();
            let now = blocks.min(most).min(shift.unwrap_or(usize::MAX));
            self.work(now, prompts);
            self.shifts.iter_mut().for_each(|shift| *shift -= now);
            most -= now;
            if self.shifts.front() != Some(&0) {
                return;
            }
            while self.shifts.front() == Some(&0) {
                self.shifts.pop_front();
            }
            self.begin_lesson();
        }
    }

    /// Works on so many blocks of those that wait.
    fn work(&mut self, blocks: usize, prompts: &mut Vec<Prompt>) {
        let (mut left, mut echo) = ([0.0f32; BLOCK], [0.0f32; BLOCK]);
        let mut played = [0.0f32; BLOCK];
        let (heard, beside) = std::mem::take(&mut self.waiting);
        for (block, heard) in heard.as_chunks::<BLOCK>().0[..blocks].iter().enumerate() {
            self.pace.read(&beside[block * BLOCK..], 0, &mut played);
            self.pace.pass();
            let played = &played;
            match self.removal {
                Removal::None | Removal::Mixed | Removal::Spectral => left.copy_from_slice(heard),
                Removal::Adaptive => self.canceller.block(heard, played, &mut left),
            }
            if let Some(drift) = self.canceller.drift() {
                self.pace.heed(drift);
            }
            if matches!(self.removal, Removal::Spectral | Removal::Adaptive) {
                if self.voice.is_none() && power(played) > PLAYS {
                    let (before, after) = (power(heard) + 1e-9, power(&left) + 1e-9);
                    self.softer.push(10.0 * (before / after).log10());
                }
                echo.copy_from_slice(played);
            }
            // It insists on full scale.
            let within = left.map(|x| x.clamp(-1.0, 1.0));
            let mut voice = self.detector.predict_f32(&within);
            if self.deaf > 0 {
                self.deaf -= 1;
                voice = 0.0;
            }
            let mut fresh = std::mem::take(&mut self.fresh);
            self.framer.push(&left, &echo, voice, &mut fresh);
            for frame in fresh.drain(..) {
                self.take(frame, prompts);
            }
            self.fresh = fresh;
        }
        self.waiting = (heard, beside);
        self.waiting.0.drain(..blocks * BLOCK);
        self.waiting.1.drain(..blocks * BLOCK);
    }

    /// Blocks of what waits that can be worked on.
    fn blocks(&self) -> usize {
        let heard = self.waiting.0.len() / BLOCK;
        heard.min(self.pace.blocks(self.waiting.1.len()))
    }

    fn take(&mut self, frame: Frame, prompts: &mut Vec<Prompt>) {
        self.frames.push_back(frame);
        self.smooth += 0.4 * (frame.above - self.smooth);
        let now = self.gone + self.frames.len() as u64 - 1;
        let on = self.voice.is_some();
        let stands_out = self.smooth > if on { GOES_ON } else { NOTICED };
        let voice = frame.voice > if on { VOICE_GOES_ON } else { VOICE };
        let sounds = match self.method {
            Method::Energy => stands_out,
            Method::Net => voice,
            Method::Both => stands_out && voice,
        };
        match (&mut self.voice, sounds) {
            (Some((from, to)), true) => {
                *to = now;
                if now - *from > LONGEST as u64 {
                    self.finish(prompts);
                }
            }
            (None, true) => self.voice = Some((now, now)),
            (Some((_, to)), false) if now - *to >= GAP as u64 => self.finish(prompts),
            _ => {}
        }
        let keep = self
            .voice
            .map_or(now, |v| v.0)
            .saturating_sub(BEFORE as u64);
        while self.gone < keep && !self.frames.is_empty() {
            self.frames.pop_front();
            self.gone += 1;
        }
    }

    /// Reads the prompt that is over out of its frames.
    fn finish(&mut self, prompts: &mut Vec<Prompt>) {
        let Some((from, to)) = self.voice.take() else {
            return;
        };
        let frames = self.frames.make_contiguous();
        let first = from.saturating_sub(BEFORE as u64).max(self.gone);
        let last = (to + AFTER as u64).min(self.gone + frames.len() as u64 - 1);
        let around = &frames[(first - self.gone) as usize..=(last - self.gone) as usize];
        let read = read(
            around,
            first,
            (from - first) as usize,
            (to - first) as usize,
        );
        let Some(prompt) = read else { return };
        let length = prompt.end - prompt.start;
        // A tone that is held is no call.
        let long = length >= SHORTEST && (length < HELD || prompt.syllables > 1);
        let voice = self.method == Method::Energy || prompt.sure >= LIKE_A_VOICE;
        if long && voice {
            prompts.push(prompt);
        }
    }
}

fn power(block: &[f32]) -> f32 {
    block.iter().map(|x| x * x).sum()
}

#[cfg(test)]
mod tests;
