//! The last thing before a loudspeaker or a file: no peak above −1 dBTP.
//!
//! What a loudspeaker gets is the curve through the samples, and that goes higher than
//! they do: up to 3 dB for tones, more for noise. ITU-R BS.1770-4, Annex 2, measures it
//! at four times the rate; EBU R 128 (2020) allows −1 dBTP. [`limit`](super::mix::limit)
//! bends samples and cannot see between them, so this comes after it.
//!
//! Where the curve would pass [`MOST`] the whole sound is turned down beforehand, over
//! [`ATTACK`], and up again over [`RELEASE`]; everywhere else every bit stays as it was.
//! The gain is the mean of the least gains needed within a window, so it is never more
//! than is needed, has no corners that are heard as clicks, and is the same for all
//! channels, which keeps them where they are.

use std::collections::VecDeque;
use std::f64::consts::PI;

/// True peak that nothing passes, full scale 1: −1.2 dB. A fifth of a decibel is for
/// meters whose filters differ from this one's, and for the gain's own slope.
pub const MOST: f32 = 0.871;

/// Seconds over which the sound is turned down.
pub const ATTACK: f64 = 0.0015;

/// Seconds in which it would come back from silence, evenly: from a decibel in 20 ms, so
/// that after a clap the tune is untouched again. Much shorter would follow a bass's waves.
pub const RELEASE: f64 = 0.2;

/// Points of the curve looked at for each sample.
const PHASES: usize = 4;
/// Samples on either side that a point is worked out from.
const HALF: usize = 12;
const TAPS: usize = 2 * HALF;
/// Meters differ near half the rate by how far their filters reach: 12 samples are those
/// of the standard's example. The higher one counts.
const REACHES: [usize; 2] = [HALF / 2, HALF];
const ROWS: usize = (PHASES - 1) * REACHES.len();
/// Samples on either side of a peak for which its gain holds: the curve at a point is
/// made of its neighbours.
const HELD: usize = 6;
/// Fewest samples over which the sound is turned down: a steeper gain would bend the
/// curve at low rates.
const GENTLE: usize = 32;
/// Gain 1. Gains are whole numbers, so that a running sum of them stays exact.
const ONE: u32 = 1 << 24;

/// Turns passing frames down where their curve would be too high. They leave
/// [`delay`](Self::delay) frames late; how they are cut into blocks makes no difference.
/// [`pass`](Self::pass) allocates nothing.
#[derive(Debug, Clone)]
pub struct Limiter {
    channels: usize,
    /// Weights of the points between samples, one row a phase and filter.
    between: [[f32; TAPS]; ROWS],
    /// Sound below this cannot have a point above [`MOST`].
    harmless: f32,
    /// Frames since a sample was not harmless.
    calm: usize,
    /// The last [`TAPS`] samples of each channel, twice in a row, so that they can be
    /// read in order from any place.
    recent: Vec<f32>,
    place: usize,
    /// Frames on their way.
    waiting: Vec<f32>,
    out: usize,
    /// Frames looked at so far.
    count: u64,
    /// The gains needed in the window, least first, of those that can still matter.
    needed: VecDeque<(u64, u32)>,
    window: u64,
    /// What the gain may rise by in a frame.
    back: u32,
    held: u32,
    /// The last gains, and their sum.
    gains: Vec<u32>,
    oldest: usize,
    sum: u64,
}

impl Limiter {
    /// For frames of `channels` samples at `rate` frames a second.
    pub fn new(rate: u32, channels: usize) -> Self {
        let channels = channels.max(1);
        let frames = |seconds: f64| (seconds * f64::from(rate)).ceil().max(1.0) as usize;
        let attack = frames(ATTACK).max(GENTLE);
        let between = weights();
        let sum = |row: &[f32; TAPS]| row.iter().map(|w| w.abs()).sum::<f32>();
        let worst = between.iter().map(sum).fold(1.0, f32::max);
        let window = attack + 2 * HELD;
        let delay = HALF + HELD + attack - 1;
        Limiter {
            channels,
            between,
            harmless: MOST / worst,
            calm: TAPS,
            recent: vec![0.0; 2 * TAPS * channels],
            place: 0,
            waiting: vec![0.0; delay * channels],
            out: 0,
            count: 0,
            needed: VecDeque::with_capacity(window + 1),
            window: window as u64,
            back: (f64::from(ONE) / frames(RELEASE) as f64).ceil() as u32,
            held: ONE,
            gains: vec![ONE; attack],
            oldest: 0,
            sum: u64::from(ONE) * attack as u64,
        }
    }

    /// Frames by which the sound is late.
    pub fn delay(&self) -> usize {
        self.waiting.len() / self.channels
    }

    /// Takes whole frames and puts those of [`delay`](Self::delay) frames ago in their
    /// place. What is not a number becomes silence.
    pub fn pass(&mut self, frames: &mut [f32]) {
        for frame in frames.chunks_exact_mut(self.channels) {
            self.look(frame);
            let gain = self.gain();
            let waiting = &mut self.waiting[self.out..self.out + self.channels];
            for (sample, waiting) in frame.iter_mut().zip(waiting) {
                let new = if sample.is_finite() { *sample } else { 0.0 };
                *sample = match gain {
                    None => *waiting,
                    Some(gain) => *waiting * gain,
                };
                *waiting = new;
            }
            self.out += self.channels;
            if self.out == self.waiting.len() {
                self.out = 0;
            }
        }
    }

    /// Takes in one more frame, and which gain its curve needs [`HALF`] frames ago.
    fn look(&mut self, frame: &[f32]) {
        let mut loudest = 0.0f32;
        for (channel, sample) in frame.iter().enumerate() {
            let sample = if sample.is_finite() { *sample } else { 0.0 };
            let at = 2 * TAPS * channel + self.place;
            self.recent[at] = sample;
            self.recent[at + TAPS] = sample;
            loudest = loudest.max(sample.abs());
        }
        self.place = (self.place + 1) % TAPS;
        self.calm = match loudest > self.harmless {
            true => 0,
            false => (self.calm + 1).min(TAPS),
        };
        let needed = match self.calm < TAPS {
            true => gain_for(self.highest()),
            false => ONE,
        };
        while self.needed.back().is_some_and(|(_, gain)| *gain >= needed) {
            self.needed.pop_back();
        }
        self.needed.push_back((self.count, needed));
        self.count += 1;
        while let Some((at, _)) = self.needed.front()
            && at + self.window < self.count
        {
            self.needed.pop_front();
        }
    }

    /// The highest point of the curve of any channel in the middle of the recent samples.
    fn highest(&self) -> f32 {
        let mut highest = 0.0f32;
        for channel in self.recent.chunks_exact(2 * TAPS) {
            let samples = &channel[self.place..self.place + TAPS];
            highest = highest.max(samples[HALF - 1].abs());
            for row in &self.between {
                let point: f32 = row.iter().zip(samples).map(|(w, x)| w * x).sum();
                highest = highest.max(point.abs());
            }
        }
        highest
    }

    /// The gain of the frame that leaves now; `None` to leave it as it is.
    fn gain(&mut self) -> Option<f32> {
        let least = self.needed.front().map_or(ONE, |(_, gain)| *gain);
        self.held = least.min(self.held + self.back);
        let oldest = std::mem::replace(&mut self.gains[self.oldest], self.held);
        self.sum = self.sum + u64::from(self.held) - u64::from(oldest);
        self.oldest = (self.oldest + 1) % self.gains.len();
        let full = u64::from(ONE) * self.gains.len() as u64;
        (self.sum < full).then(|| (self.sum as f64 / full as f64) as f32)
    }
}

/// The gain that brings `peak` down to [`MOST`], in parts of [`ONE`].
fn gain_for(peak: f32) -> u32 {
    match peak > MOST {
        true => (f64::from(MOST) / f64::from(peak) * f64::from(ONE)) as u32,
        false => ONE,
    }
}

/// Sincs under Hann windows, at the quarters between the two middle samples.
fn weights() -> [[f32; TAPS]; ROWS] {
    std::array::from_fn(|row| {
        let reach = REACHES[row / (PHASES - 1)] as f64;
        let part = (row % (PHASES - 1) + 1) as f64 / PHASES as f64;
        std::array::from_fn(|tap| {
            let x = tap as f64 - (HALF - 1) as f64 - part;
            let window = match x.abs() < reach {
                true => 0.5 + 0.5 * (PI * x / reach).cos(),
                false => 0.0,
            };
            ((PI * x).sin() / (PI * x) * window) as f32
        })
    })
}

/// A [`Limiter`] for sound that can wait: what comes out begins with the first frame that
/// went in, and all of it comes out in the end.
#[derive(Debug, Clone)]
pub struct Limited {
    limiter: Limiter,
    /// Samples of the delay's own silence, still to be left out.
    early: usize,
}

impl Limited {
    /// For frames of `channels` samples at `rate` frames a second.
    pub fn new(rate: u32, channels: usize) -> Self {
        let limiter = Limiter::new(rate, channels);
        Limited {
            early: limiter.waiting.len(),
            limiter,
        }
    }

    /// Takes whole frames, and appends those that are ready to `out`.
    pub fn push(&mut self, frames: &[f32], out: &mut Vec<f32>) {
        let from = out.len();
        out.extend_from_slice(frames);
        self.limiter.pass(&mut out[from..]);
        let early = self.early.min(out.len() - from);
        out.drain(from..from + early);
        self.early -= early;
    }

    /// Appends the rest to `out`, and begins anew.
    pub fn finish(&mut self, out: &mut Vec<f32>) {
        let rest = vec![0.0; self.limiter.waiting.len()];
        self.push(&rest, out);
        self.early = self.limiter.waiting.len();
    }
}

/// The true peak of sound as a meter shows it, dBTP: for tests, with another's filter.
#[cfg(test)]
pub(crate) fn true_peak(sound: &[f32], channels: usize, rate: u32) -> f64 {
    use ebur128::{EbuR128, Mode};
    let mut meter = EbuR128::new(channels as u32, rate, Mode::TRUE_PEAK).expect("a usual rate");
    meter.add_frames_f32(sound).expect("whole frames");
    let peaks = (0..channels as u32).map(|n| meter.true_peak(n).expect("measured"));
    20.0 * peaks.fold(0.0f64, f64::max).log10()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::band::signals::white_noise;
    use crate::sound::mix::CEILING;
    use proptest::prelude::*;

    fn limited(sound: &[f32], channels: usize, rate: u32, blocks: &[usize]) -> Vec<f32> {
        let (mut limited, mut out) = (Limited::new(rate, channels), Vec::new());
        let (mut rest, mut sizes) = (sound, blocks.iter().cycle());
        while !rest.is_empty() {
            let n = sizes.next().map_or(1, |n| n * channels).min(rest.len());
            limited.push(&rest[..n], &mut out);
            rest = &rest[n..];
        }
        limited.finish(&mut out);
        out
    }

    /// The sounds whose curve is furthest above their samples.
    fn worst(rate: u32) -> Vec<(&'static str, Vec<f32>)> {
        let second = rate as usize;
        let tone = |share: f64, turn: f64| {
            let wave = (0..second).map(|n| (2.0 * PI * (share * n as f64 + turn)).sin() as f32);
            wave.collect::<Vec<f32>>()
        };
        let sign = |x: &f32| x.signum();
        let noise = white_noise(1.0, rate, 1.0, 7);
        let mut steps = vec![0.0; second];
        for (n, x) in steps.iter_mut().enumerate() {
            *x = if (n / (second / 20)).is_multiple_of(2) {
                1.0
            } else {
                -1.0
            };
        }
        // The signs of a sinc: all its neighbours push the middle up.
        let mut pushed = vec![0.0f32; second];
        for n in 0..40 {
            let side = if n % 2 == 0 { 1.0 } else { -1.0 };
            pushed[second / 2 + n] = side;
            pushed[second / 2 - 1 - n] = side;
        }
        vec![
            (
                "a quarter of the rate, between its samples",
                tone(0.25, 0.125),
            ),
            ("a sixth", tone(1.0 / 6.0, 1.0 / 12.0)),
            ("close to half", tone(0.4998, 0.0)),
            ("noise", noise.iter().map(|x| x.clamp(-1.0, 1.0)).collect()),
            ("noise of two values", noise.iter().map(sign).collect()),
            ("a square wave", steps),
            ("the signs of a sinc", pushed),
        ]
    }

    #[test]
    fn no_curve_passes_one_decibel_below_full_scale() {
        for rate in [8_000, 22_050, 44_100, 48_000, 96_000, 192_000] {
            for (what, sound) in worst(rate) {
                for gain in [0.5, CEILING, 1.0, 4.0] {
                    let loud: Vec<f32> = sound.iter().map(|x| gain * x).collect();
                    let out = limited(&loud, 1, rate, &[512]);
                    assert_eq!(out.len(), loud.len());
                    let (before, after) = (true_peak(&loud, 1, rate), true_peak(&out, 1, rate));
                    assert!(
                        after <= -1.0,
                        "{what} × {gain} at {rate}: {before:.2} → {after:.2}"
                    );
                }
            }
        }
    }

    #[test]
    fn what_is_below_passes_bit_by_bit_and_in_time() {
        let sound: Vec<f32> = white_noise(1.0, 48_000, 0.1, 3);
        assert_eq!(limited(&sound, 2, 48_000, &[77]), sound);
        let mut limiter = Limiter::new(48_000, 1);
        assert!(
            limiter.delay() < 96,
            "two milliseconds: {}",
            limiter.delay()
        );
        let mut late = sound.clone();
        limiter.pass(&mut late);
        assert_eq!(
            late[limiter.delay()..],
            sound[..sound.len() - limiter.delay()]
        );
    }

    #[test]
    fn after_a_peak_it_comes_back_to_every_bit() {
        let mut sound = white_noise(4.0, 48_000, 0.05, 3);
        sound[48_000] = 3.0;
        let out = limited(&sound, 1, 48_000, &[480]);
        assert_eq!(out[..47_900], sound[..47_900], "before it");
        let gain = out[48_000 + 40] / sound[48_000 + 40];
        assert!((0.2..0.5).contains(&gain), "{gain}");
        let later = 48_000 + 48_000 / 5;
        assert_eq!(out[later..], sound[later..], "a fifth of a second after it");
    }

    #[test]
    fn all_channels_are_turned_down_together() {
        let mut sound = vec![0.1f32; 2 * 4_000];
        sound[2 * 2_000] = 2.0;
        let out = limited(&sound, 2, 48_000, &[100]);
        assert!(out[2 * 2_000 + 1] < 0.05, "{}", out[2 * 2_000 + 1]);
    }

    proptest! {
        #[test]
        fn blocks_make_no_difference_and_nothing_spoils_it(
            sound in prop::collection::vec(prop_oneof![
                -4f32..4.0, Just(f32::NAN), Just(f32::INFINITY), Just(f32::MIN_POSITIVE / 3.0),
            ], 2..1_500),
            blocks in prop::collection::vec(1usize..200, 1..6),
            channels in 1usize..4,
        ) {
            let whole = sound.len() / channels * channels;
            let out = limited(&sound[..whole], channels, 48_000, &blocks);
            prop_assert_eq!(&out, &limited(&sound[..whole], channels, 48_000, &[whole]));
            prop_assert_eq!(out.len(), whole);
            prop_assert!(out.iter().all(|x| x.abs() <= MOST), "a sample above");
        }
    }
}
