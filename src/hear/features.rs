//! Samples to onset features, one frame every 10 ms.
//!
//! Each frame looks at the last 46 ms of sound through a Hann window. Its
//! magnitude spectrum is gathered into logarithmically spaced bands and
//! compressed to natural logarithms. Two views of the bands are kept: the level
//! against its own running mean, which forgets the colour of the room and the
//! gain of the microphone, and the rise against two frames before. The rise is
//! taken against the loudest of the band and its neighbours, so that a fiddle's
//! vibrato or a slide into a note does not look like a new note (the SuperFlux
//! idea: Böck & Widmer, "Maximum filter vibrato suppression for onset
//! detection", DAFx 2013).
//!
//! The window is chosen in seconds, so bands and frames mean the same at every
//! sample rate; bands above half the sample rate stay at the floor.

use std::sync::Arc;

use realfft::num_complex::Complex32;
use realfft::{RealFftPlanner, RealToComplex};

/// Frames a second.
pub const FRAME_RATE: u32 = 100;
/// Frequency bands.
pub const BANDS: usize = 48;
/// Numbers in a frame: band levels, band rises, loudness, loudness against its mean.
pub const FEATURES: usize = 2 * BANDS + 2;
/// Semitones kept for comparing melodies, from A3 (220 Hz) up.
pub const PITCHES: usize = 36;

/// Length of the analysis window, seconds (2048 samples at 44.1 kHz).
pub const WINDOW: f64 = 2048.0 / 44100.0;
/// Lowest band centre, hertz: below a bass's open strings only rumble is left.
const LOWEST_BAND: f64 = 50.0;
/// Highest band edge, hertz.
const HIGHEST_BAND: f64 = 9000.0;
/// Lowest semitone centre kept for melodies, hertz (A3).
const LOWEST_PITCH: f64 = 220.0;
/// Magnitude below which a band counts as silent (full scale is 1).
const FLOOR: f32 = 1e-5;
/// Frames over which running means settle (3 s).
const SETTLE: f32 = 300.0;

/// Why an engine cannot be made for a sample rate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a sample rate of {0} Hz is outside 4000–768000 Hz; convert the sound to 44100 Hz first")]
pub struct RateError(pub u32);

/// One 10 ms step of hearing.
#[derive(Debug, Clone, Copy)]
pub struct Frame<'a> {
    /// Frame number, from 0. Frame `n` has heard `(n + 1) / 100` seconds of sound.
    pub index: u64,
    /// What the beat network sees: [`BANDS`] levels, [`BANDS`] rises, two loudness values.
    pub features: &'a [f32; FEATURES],
    /// Semitone magnitudes, linear, for comparing melodies.
    pub pitches: &'a [f32; PITCHES],
    /// Root-mean-square of the window's sound (Hann-weighted), full scale 1.
    pub level: f32,
}

/// A weighted run of spectrum bins.
struct Band {
    first_bin: usize,
    weights: Vec<f32>,
}

impl Band {
    /// A triangle over bins, `low`..`peak`..`high` in hertz, weights summing to 1.
    fn triangle(low: f64, peak: f64, high: f64, bin_width: f64, bins: usize) -> Self {
        // Never narrower than a bin, so that no band misses all bins.
        let low = low.min(peak - bin_width);
        let high = high.max(peak + bin_width);
        let first_bin = (low / bin_width).ceil().max(0.0) as usize;
        let last_bin = ((high / bin_width).floor() as usize).min(bins.saturating_sub(1));
        let mut weights: Vec<f32> = (first_bin..=last_bin)
            .map(|bin| {
                let hertz = bin as f64 * bin_width;
                let slope = if hertz <= peak {
                    (hertz - low) / (peak - low)
                } else {
                    (high - hertz) / (high - peak)
                };
                slope.max(0.0) as f32
            })
            .collect();
        let sum: f32 = weights.iter().sum();
        if sum > 0.0 {
            weights.iter_mut().for_each(|w| *w /= sum);
        }
        Band { first_bin, weights }
    }

    fn gather(&self, magnitudes: &[f32]) -> f32 {
        match magnitudes.get(self.first_bin..self.first_bin + self.weights.len()) {
            Some(bins) => bins.iter().zip(&self.weights).map(|(m, w)| m * w).sum(),
            None => 0.0,
        }
    }
}

/// Band centres, hertz: even in hertz while a log step is finer than a bin, then logarithmic.
fn band_centres() -> [f64; BANDS + 1] {
    let bin = 1.0 / WINDOW;
    // The log ratio that lets BANDS steps, none finer than a bin, end at the top.
    let reach = |ratio: f64| (0..BANDS).fold(LOWEST_BAND, |f, _| f + bin.max(f * (ratio - 1.0)));
    let (mut low, mut high) = (1.0, 2.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if reach(middle) < HIGHEST_BAND {
            low = middle;
        } else {
            high = middle;
        }
    }
    let mut centres = [LOWEST_BAND; BANDS + 1];
    for i in 1..=BANDS {
        centres[i] = centres[i - 1] + bin.max(centres[i - 1] * (low - 1.0));
    }
    centres
}

/// The sample-to-feature stage. Allocates only when made.
pub struct Features {
    rate: u32,
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    /// The newest `window.len()` samples, oldest first, followed by room for one hop.
    history: Vec<f32>,
    filled: usize,
    /// Samples taken in since the start.
    heard: u64,
    frames: u64,
    windowed: Vec<f32>,
    spectrum: Vec<Complex32>,
    scratch: Vec<Complex32>,
    magnitudes: Vec<f32>,
    bands: Vec<Band>,
    semitones: Vec<Band>,
    /// Log band levels of this frame and the two before.
    levels: [[f32; BANDS]; 3],
    means: [f32; BANDS],
    loudness_mean: f32,
    features: [f32; FEATURES],
    pitches: [f32; PITCHES],
}

impl Features {
    /// A stage for mono sound at `rate` samples a second.
    pub fn new(rate: u32) -> Result<Self, RateError> {
        if !(4_000..=768_000).contains(&rate) {
            return Err(RateError(rate));
        }
        let length = even_smooth((f64::from(rate) * WINDOW).round() as usize);
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(length);
        let spectrum = fft.make_output_vec();
        let scratch = fft.make_scratch_vec();
        let bins = spectrum.len();
        let bin_width = f64::from(rate) / length as f64;
        let hann: Vec<f32> = (0..length)
            .map(|n| {
                let turn = std::f64::consts::TAU * (n as f64 + 0.5) / length as f64;
                (0.5 - 0.5 * turn.cos()) as f32
            })
            .collect();
        // A full-scale sine then has magnitude 1 in its bin.
        let gain = 2.0 / hann.iter().sum::<f32>();
        let window = hann.iter().map(|w| w * gain).collect();

        let centres = band_centres();
        let bands = (0..BANDS)
            .map(|i| {
                let below = if i == 0 {
                    2.0 * centres[0] - centres[1]
                } else {
                    centres[i - 1]
                };
                Band::triangle(below, centres[i], centres[i + 1], bin_width, bins)
            })
            .collect();
        let semitone = 2f64.powf(1.0 / 12.0);
        let semitones = (0..PITCHES)
            .map(|i| {
                let centre = LOWEST_PITCH * semitone.powi(i as i32);
                Band::triangle(
                    centre / semitone,
                    centre,
                    centre * semitone,
                    bin_width,
                    bins,
                )
            })
            .collect();
        let top_bin = ((HIGHEST_BAND / bin_width) as usize + 2).min(bins);
        let hop = rate as usize / FRAME_RATE as usize + 1;
        Ok(Features {
            rate,
            fft,
            windowed: vec![0.0; length],
            history: vec![0.0; length + hop],
            filled: length,
            heard: 0,
            frames: 0,
            window,
            spectrum,
            scratch,
            magnitudes: vec![0.0; top_bin],
            bands,
            semitones,
            levels: [[FLOOR.ln(); BANDS]; 3],
            means: [FLOOR.ln(); BANDS],
            loudness_mean: FLOOR.ln(),
            features: [0.0; FEATURES],
            pitches: [0.0; PITCHES],
        })
    }

    /// Samples a second.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Takes samples off the front of `samples` up to the next frame, and gives
    /// that frame; `None` when the samples end before it. Samples that are not
    /// numbers are heard as silence.
    pub fn next<'a>(&'a mut self, samples: &mut &[f32]) -> Option<Frame<'a>> {
        let due = (self.frames + 1) * u64::from(self.rate) / u64::from(FRAME_RATE);
        let wanted = (due - self.heard) as usize;
        let taken = wanted.min(samples.len());
        let (now, later) = samples.split_at(taken);
        for (slot, &sample) in self.history[self.filled..].iter_mut().zip(now) {
            *slot = if sample.is_finite() {
                sample.clamp(-8.0, 8.0)
            } else {
                0.0
            };
        }
        *samples = later;
        self.filled += taken;
        self.heard += taken as u64;
        if taken < wanted {
            return None;
        }
        let length = self.window.len();
        self.history
            .copy_within(self.filled - length..self.filled, 0);
        self.filled = length;
        let level = self.analyse();
        self.frames += 1;
        Some(Frame {
            index: self.frames - 1,
            features: &self.features,
            pitches: &self.pitches,
            level,
        })
    }

    /// Fills `features` and `pitches` from `history`; gives the window's level.
    fn analyse(&mut self) -> f32 {
        let length = self.window.len();
        for ((out, x), w) in self
            .windowed
            .iter_mut()
            .zip(&self.history[..length])
            .zip(&self.window)
        {
            *out = x * w;
        }
        let energy: f32 = self.windowed.iter().map(|x| x * x).sum();
        // The window's own gain is 2 / sum(hann); sum(hann²) = 3/8 length, sum(hann) = length/2.
        let level = (energy * length as f32 / 6.0).sqrt();
        // Lengths are fixed at planning, so the only possible error cannot occur.
        if self
            .fft
            .process_with_scratch(&mut self.windowed, &mut self.spectrum, &mut self.scratch)
            .is_err()
        {
            self.spectrum.fill(Complex32::default());
        }
        for (m, c) in self.magnitudes.iter_mut().zip(&self.spectrum) {
            *m = (c.re * c.re + c.im * c.im).sqrt();
        }
        for (pitch, band) in self.pitches.iter_mut().zip(&self.semitones) {
            *pitch = band.gather(&self.magnitudes);
        }

        self.levels.rotate_right(1);
        let mut loudness = 0.0;
        for (slot, band) in self.levels[0].iter_mut().zip(&self.bands) {
            let magnitude = band.gather(&self.magnitudes);
            loudness += magnitude;
            *slot = (magnitude + FLOOR).ln();
        }
        let loudness = (loudness / BANDS as f32 + FLOOR).ln();

        // Plain averages at first, so that the start of a recording is not judged
        // against a made-up past; running means later.
        let share = 1.0 / SETTLE.min(self.frames as f32 + 1.0);
        let (now, before) = (&self.levels[0], &self.levels[2]);
        for i in 0..BANDS {
            self.means[i] += share * (now[i] - self.means[i]);
            self.features[i] = 0.5 * (now[i] - self.means[i]).clamp(-6.0, 6.0);
            let around = before[i]
                .max(before[i.saturating_sub(1)])
                .max(before[(i + 1).min(BANDS - 1)]);
            self.features[BANDS + i] = (now[i] - around).clamp(0.0, 6.0);
        }
        self.loudness_mean += share * (loudness - self.loudness_mean);
        self.features[2 * BANDS] = 0.25 * (loudness + 7.0);
        self.features[2 * BANDS + 1] = 0.5 * (loudness - self.loudness_mean).clamp(-6.0, 6.0);
        level
    }
}

/// The even number nearest to `length` whose only prime factors are 2, 3 and 5,
/// for which the Fourier transform is fast.
fn even_smooth(length: usize) -> usize {
    let smooth = |mut n: usize| {
        for p in [2, 3, 5] {
            while n.is_multiple_of(p) {
                n /= p;
            }
        }
        n == 1
    };
    (0..length)
        .flat_map(|d| [length - d, length + d])
        .find(|&n| n >= 2 && n.is_multiple_of(2) && smooth(n))
        .unwrap_or(2)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(rate: u32, sound: &[f32], block: usize) -> Vec<[f32; FEATURES]> {
        let mut features = Features::new(rate).unwrap();
        let mut out = Vec::new();
        for mut samples in sound.chunks(block) {
            while let Some(frame) = features.next(&mut samples) {
                out.push(*frame.features);
            }
        }
        out
    }

    fn tone(rate: u32, hertz: f32, seconds: f32) -> Vec<f32> {
        (0..(rate as f32 * seconds) as usize)
            .map(|n| 0.3 * (std::f32::consts::TAU * hertz * n as f32 / rate as f32).sin())
            .collect()
    }

    #[test]
    fn blocks_of_any_size_give_the_same_frames() {
        let sound = tone(44100, 440.0, 0.5);
        let whole = all(44100, &sound, sound.len());
        assert_eq!(whole.len(), 50);
        for block in [1, 7, 441, 1000] {
            assert_eq!(all(44100, &sound, block), whole);
        }
    }

    #[test]
    fn odd_rates_keep_a_hundred_frames_a_second() {
        for rate in [8000, 11025, 22050, 48000, 192_000] {
            let sound = tone(rate, 440.0, 3.0);
            let frames = all(rate, &sound, 777).len();
            assert!((299..=300).contains(&frames), "{rate} Hz: {frames} frames");
        }
    }

    #[test]
    fn a_tone_stands_out_in_its_own_band_and_rises_once() {
        let mut sound = vec![0.0; 44100];
        sound.extend(tone(44100, 1000.0, 0.3));
        let frames = all(44100, &sound, 512);
        let best = (0..BANDS)
            .max_by(|&a, &b| frames[112][a].total_cmp(&frames[112][b]))
            .unwrap();
        let centres = band_centres();
        assert!(
            (centres[best] / 1000.0 - 1.0).abs() < 0.12,
            "{} Hz",
            centres[best]
        );
        let rise = |f: usize| frames[f][BANDS + best];
        assert!((100..104).any(|f| rise(f) > 2.0));
        assert!((108..128).all(|f| rise(f) < 0.01));
    }

    #[test]
    fn gain_moves_only_the_loudness() {
        let loud = tone(44100, 600.0, 1.0);
        let quiet: Vec<f32> = loud.iter().map(|x| x * 0.25).collect();
        let (a, b) = (all(44100, &loud, 441), all(44100, &quiet, 441));
        let band = (0..BANDS)
            .max_by(|&i, &j| a[50][i].total_cmp(&a[50][j]))
            .unwrap();
        assert!((a[50][band] - b[50][band]).abs() < 0.02);
        assert!((a[50][2 * BANDS] - b[50][2 * BANDS]) > 0.3);
    }

    #[test]
    fn level_is_the_root_mean_square() {
        let mut features = Features::new(48000).unwrap();
        let sound = tone(48000, 500.0, 0.5);
        let mut samples = &sound[..];
        let mut level = 0.0;
        while let Some(frame) = features.next(&mut samples) {
            level = frame.level;
        }
        assert!((level - 0.3 / 2f32.sqrt()).abs() < 0.005, "{level}");
    }

    #[test]
    fn samples_that_are_not_numbers_are_silence() {
        let frames = all(44100, &[f32::NAN, f32::INFINITY].repeat(22050), 100);
        assert!(frames.iter().flatten().all(|x| x.is_finite()));
    }

    #[test]
    fn window_lengths_suit_the_transform() {
        assert_eq!(even_smooth(2048), 2048);
        assert_eq!(even_smooth(2229), 2250);
        assert!(Features::new(0).is_err());
    }
}
