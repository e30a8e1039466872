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

use super::lanes::{LANES, each, ln, sum};
use super::spectrum::{Band, Spectrum};

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
/// Share of the sample rate up to which sound is carried whole: converters fade out what
/// lies near half of it.
const CARRIED: f64 = 0.45;
/// Lowest semitone centre kept for melodies, hertz (A3).
const LOWEST_PITCH: f64 = 220.0;
/// Magnitude below which a band counts as silent (full scale is 1).
const FLOOR: f32 = 1e-5;
/// Frames over which running means settle (3 s).
const SETTLE: f32 = 300.0;
/// Frames of digital silence (0.5 s) that say there is no microphone, as before the first
/// sound, and as many as what was before counts for in the running means then.
const UNHEARD: u32 = 50;
/// Peak of the first sound after that (-40 dB) up to which it is a room's noise coming on,
/// heard as if nothing had been before: it would else stand above the means for seconds,
/// like a band that plays. Louder, it is a stroke.
const ROOM: f32 = 0.01;
/// Hops of that sound (20 ms) by which this is told: the first samples of a stroke are soft.
const TOLD: usize = 2;
/// Samples are held within this, so that no sum of them leaves its range.
const LOUDEST: f32 = 8.0;
/// Hops that are gathered before old sound is let go.
const HOPS: usize = 16;

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
    /// A room's noise comes on after digital silence: a microphone was opened.
    pub opens: bool,
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
    arch: pulp::Arch,
    spectrum: Spectrum,
    /// The newest samples, oldest first, `filled` of them, a window's at least. There is
    /// room for [`HOPS`] more hops before the newest have to be moved to the front.
    history: Vec<f32>,
    filled: usize,
    hop: usize,
    /// Samples taken in since the start.
    heard: u64,
    frames: u64,
    /// Frames that taught the running means.
    taught: u32,
    /// Frames of digital silence since anything was heard; [`UNHEARD`] before the first sound.
    unheard: u32,
    /// Whether a room's noise came on after them, in the last frame.
    opens: bool,
    bands: Vec<Band>,
    /// Bands that the rate carries. Those beyond are taken to be as the last of them, for to
    /// the networks a band without even noise in it is like nothing that a microphone hears.
    carried: usize,
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
        let bins = length / 2 + 1;
        let bin_width = f64::from(rate) / length as f64;
        let centres = band_centres();
        let bands: Vec<Band> = (0..BANDS)
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
        let semitones: Vec<Band> = (0..PITCHES)
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
        // Groups of weights may reach beyond the spectrum: nothing is there, nor counts.
        let end = bands.iter().chain(&semitones).map(Band::end).max();
        let hop = rate as usize / FRAME_RATE as usize + 1;
        Ok(Features {
            rate,
            arch: pulp::Arch::new(),
            spectrum: Spectrum::new(length, end.unwrap_or(0)),
            history: vec![0.0; length + HOPS * hop],
            filled: length,
            hop,
            heard: 0,
            frames: 0,
            taught: 0,
            unheard: UNHEARD,
            opens: false,
            bands,
            carried: centres[..BANDS].partition_point(|c| *c < CARRIED * f64::from(rate)),
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
        let whole = taken == wanted;
        self.arch.dispatch(Hear(self, now, whole));
        *samples = later;
        self.heard += taken as u64;
        if !whole {
            return None;
        }
        let length = self.spectrum.length();
        if self.filled + self.hop > self.history.len() {
            let oldest = self.filled - length;
            self.history.copy_within(oldest..self.filled, 0);
            self.filled = length;
        }
        self.frames += 1;
        Some(Frame {
            index: self.frames - 1,
            features: &self.features,
            pitches: &self.pitches,
            opens: self.opens,
        })
    }

    /// Keeps samples, and analyses those of a `whole` frame.
    #[inline(always)]
    fn hear<S: pulp::Simd>(&mut self, simd: S, now: &[f32], whole: bool) {
        for (slot, &sample) in self.history[self.filled..].iter_mut().zip(now) {
            let held = sample.clamp(-LOUDEST, LOUDEST);
            *slot = if sample.is_finite() { held } else { 0.0 };
        }
        self.filled += now.len();
        if whole {
            self.analyse(simd);
        }
    }

    /// Fills `features` and `pitches` from `history`.
    #[inline(always)]
    fn analyse<S: pulp::Simd>(&mut self, simd: S) {
        let length = self.spectrum.length();
        let heard = &self.history[self.filled - length..self.filled];
        self.spectrum.look(simd, heard);
        let magnitudes = self.spectrum.magnitudes();
        for (pitch, band) in self.pitches.iter_mut().zip(&self.semitones) {
            *pitch = band.gather(magnitudes);
        }

        self.levels.rotate_right(1);
        let [now, _, before] = &mut self.levels;
        for (slot, band) in now.iter_mut().zip(&self.bands) {
            *slot = band.gather(magnitudes);
        }
        let (carried, beyond) = now.split_at_mut(self.carried);
        beyond.fill(carried.last().copied().unwrap_or(0.0));
        let parts = now
            .as_chunks::<LANES>()
            .0
            .iter()
            .fold([0.0; LANES], |sums, part| each(|k| sums[k] + part[k]));
        let loudness = ln(sum(parts) / BANDS as f32 + FLOOR);
        now.iter_mut().for_each(|level| *level = ln(*level + FLOOR));

        // Each look ends at the first sample that decides it.
        let begins = heard.iter().position(|sample| *sample != 0.0);
        let sound = &heard[begins.unwrap_or(length)..];
        let told = sound.len() >= TOLD * self.hop;
        let closed = self.unheard >= UNHEARD;
        self.opens = closed && told && sound.iter().all(|sample| sample.abs() < ROOM);
        if sound.is_empty() {
            self.unheard = self.unheard.saturating_add(1);
        } else if told {
            self.unheard = 0;
        }
        if self.opens {
            self.taught = 0;
        } else if closed {
            self.taught = self.taught.min(UNHEARD);
        }
        // Plain averages at first, so that the start of a recording is not judged
        // against a made-up past; running means later.
        self.taught = self.taught.saturating_add(1);
        let share = 1.0 / SETTLE.min(self.taught as f32);
        let (against_mean, rest) = self.features.split_at_mut(BANDS);
        for ((out, mean), now) in against_mean.iter_mut().zip(&mut self.means).zip(&*now) {
            *mean += share * (now - *mean);
            *out = 0.5 * (now - *mean).clamp(-6.0, 6.0);
        }
        // With the outermost bands as their own neighbours.
        let mut beside = [before[0]; BANDS + 2];
        beside[1..=BANDS].copy_from_slice(before);
        beside[BANDS + 1] = before[BANDS - 1];
        for (i, (out, now)) in rest.iter_mut().zip(&*now).enumerate() {
            let around = beside[i].max(beside[i + 1]).max(beside[i + 2]);
            *out = (now - around).clamp(0.0, 6.0);
        }
        self.loudness_mean += share * (loudness - self.loudness_mean);
        self.features[2 * BANDS] = 0.25 * (loudness + 7.0);
        self.features[2 * BANDS + 1] = 0.5 * (loudness - self.loudness_mean).clamp(-6.0, 6.0);
    }
}

/// Hearing samples, which may make a frame whole, through whatever registers there are.
struct Hear<'a>(&'a mut Features, &'a [f32], bool);

impl pulp::WithSimd for Hear<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, simd: S) {
        self.0.hear(simd, self.1, self.2);
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
mod tests;
