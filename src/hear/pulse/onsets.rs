//! How much begins when: roughly every 10 ms, finely every millisecond.

use crate::hear::features::{BANDS, FRAME_RATE, Features, RateError};

/// Steps of the fine power a second.
const FINE_RATE: usize = 1000;
/// Fine steps a frame.
const FINE: usize = FINE_RATE / FRAME_RATE as usize;
/// Frames over which the strength's running mean settles (1 s).
const SETTLE: f32 = 100.0;
/// Fine steps on each side of a rise whose powers are compared.
const SIDE: usize = 10;
/// Seconds before and after the end of a frame between which its onset lies: the
/// window reaches 46 ms back, and rises are taken over 20 ms.
const BEFORE: f64 = 0.070;
const AFTER: f64 = 0.010;
/// Rise of power, as a natural logarithm, below which there is no fine onset.
const LEAST_RISE: f32 = 0.3;
/// Where an onset without a fine rise lies, seconds before its frame's end.
const USUAL: f64 = 0.025;

/// Onset strengths of the last few seconds.
pub(super) struct Onsets {
    features: Features,
    frames: u64,
    mean: f32,
    strengths: Vec<f32>,
    seen: usize,
    rate: u64,
    samples: u64,
    last_sample: f32,
    power: f32,
    in_step: u32,
    fine_steps: u64,
    /// The fine power, kept in step with `strengths`.
    fine: Vec<f32>,
}

impl Onsets {
    /// Keeps `seen` frames.
    pub(super) fn new(rate: u32, seen: usize) -> Result<Self, RateError> {
        Ok(Onsets {
            features: Features::new(rate)?,
            frames: 0,
            mean: 0.0,
            strengths: Vec::with_capacity(seen),
            seen,
            rate: u64::from(rate),
            samples: 0,
            last_sample: 0.0,
            power: 0.0,
            in_step: 0,
            fine_steps: 0,
            fine: Vec::with_capacity((seen + 1) * FINE),
        })
    }

    /// Takes samples up to the next frame off `samples`; `false` if they end
    /// before it.
    pub(super) fn hear(&mut self, samples: &mut &[f32]) -> bool {
        let before = *samples;
        let strength = self.features.next(samples).map(|frame| {
            let rises = &frame.features[BANDS..2 * BANDS];
            // The root mean square: a stroke of one pitch is strong in few bands.
            (rises.iter().map(|r| r * r).sum::<f32>() / BANDS as f32).sqrt()
        });
        for &sample in &before[..before.len() - samples.len()] {
            self.hear_finely(if sample.is_finite() { sample } else { 0.0 });
        }
        let Some(strength) = strength else {
            return false;
        };
        // Noise rises a little all the time; what counts is what stands out.
        let share = 1.0 / SETTLE.min(self.frames as f32 + 1.0);
        self.mean += share * (strength - self.mean);
        if self.strengths.len() == self.seen {
            self.strengths.remove(0);
        }
        self.strengths.push((strength - self.mean).max(0.0));
        self.frames += 1;
        let most = self.strengths.len() * FINE;
        let spare = self.fine.len().saturating_sub(most);
        self.fine.drain(..spare);
        true
    }

    /// Power of the differences between samples: a stroke is sharpest in what is
    /// high, and a bass string's own swing is no onset.
    fn hear_finely(&mut self, sample: f32) {
        self.power += (sample - self.last_sample).powi(2);
        self.last_sample = sample;
        self.in_step += 1;
        self.samples += 1;
        if self.samples >= (self.fine_steps + 1) * self.rate / FINE_RATE as u64 {
            self.fine.push(self.power / self.in_step.max(1) as f32);
            self.fine_steps += 1;
            self.power = 0.0;
            self.in_step = 0;
        }
    }

    /// Frames heard since the start.
    pub(super) fn frames(&self) -> u64 {
        self.frames
    }

    /// The onset strength of the last frames, oldest first.
    pub(super) fn strengths(&self) -> &[f32] {
        &self.strengths
    }

    /// About when the onset that is strong in `frame` of [`Self::strengths`] was,
    /// seconds since the start.
    pub(super) fn time(&self, frame: usize) -> f64 {
        self.end(frame) - USUAL
    }

    /// The end of a frame, seconds since the start.
    fn end(&self, frame: usize) -> f64 {
        let first = self.frames as f64 - self.strengths.len() as f64;
        (first + frame as f64 + 1.0) / f64::from(FRAME_RATE)
    }

    /// Just when that onset was: where power rises most. `None` if it does not rise.
    pub(super) fn rise(&self, frame: usize) -> Option<f64> {
        let end = self.end(frame);
        let first_step = self.fine_steps as f64 - self.fine.len() as f64;
        let step = |time: f64| (time * FINE_RATE as f64 - first_step).round().max(0.0) as usize;
        let low = step(end - BEFORE).max(SIDE);
        let high = step(end + AFTER).min(self.fine.len().saturating_sub(SIDE));
        if low >= high {
            return None;
        }
        let around = &self.fine[low - SIDE..high + SIDE];
        // Beside the loudest of the neighbourhood the faintest rises are nothing.
        let floor = 1e-3 * around.iter().copied().fold(0.0, f32::max) + 1e-12;
        let mean = |steps: &[f32]| steps.iter().sum::<f32>() / SIDE as f32 + floor;
        let rise = |k: usize| (mean(&self.fine[k..k + SIDE]) / mean(&self.fine[k - SIDE..k])).ln();
        let rises: Vec<f32> = (low..high).map(rise).collect();
        let best = (0..rises.len()).max_by(|&a, &b| rises[a].total_cmp(&rises[b]))?;
        if rises[best] < LEAST_RISE {
            return None;
        }
        let between = peak_offset(&rises, best);
        Some((first_step + (low + best) as f64 + between) / FINE_RATE as f64)
    }
}

/// Where between samples the peak at `k` lies, by a parabola: −0.5 to 0.5.
pub(super) fn peak_offset<T: Copy + Into<f64>>(values: &[T], k: usize) -> f64 {
    if k == 0 || k + 1 >= values.len() {
        return 0.0;
    }
    let [a, b, c] = [values[k - 1], values[k], values[k + 1]].map(Into::into);
    let bend = a - 2.0 * b + c;
    if bend >= 0.0 {
        return 0.0;
    }
    (0.5 * (a - c) / bend).clamp(-0.5, 0.5)
}
