//! Taking known sound out of what a microphone hears.
//!
//! A filter learns how the room carries the loudspeaker to the microphone, and what it
//! foretells is subtracted. It is a Kalman filter in the frequency domain, which weighs
//! what it is unsure of itself against all that is no echo, so that a voice over the
//! music does not spoil it (Enzner & Vary, "Frequency-domain adaptive Kalman filter for
//! acoustic echo control in hands-free telephones", Signal Processing 86(6), 2006), cut
//! into partitions so that a long room costs little delay (Kuech, Mabande & Enzner,
//! "State-space architecture of the partitioned-block-based acoustic echo controller",
//! ICASSP 2014).

use std::collections::VecDeque;
use std::sync::Arc;

use realfft::num_complex::Complex32;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use super::drift::{Drift, LOOK, line};

/// Samples in a block, at [`RATE`](super::frames::RATE): 16 ms.
pub(super) const BLOCK: usize = 256;
/// Partitions of the filter: 320 ms of room and delay.
const PARTS: usize = 20;
/// Bins of a block's spectrum.
const BINS: usize = BLOCK + 1;

/// How much of the room stays the same from block to block.
const SAME: f32 = 0.9995;
/// How unsure the filter is at first, as the power that a partition may have: even
/// over the delay, then falling as sound dies away in a room.
const UNSURE: f32 = 1.0;
const DELAY_PARTS: usize = 6;
const FALL: f32 = 0.63;
/// The greatest shift that is looked for, samples (0.1 s), and how far its stroke has to
/// stand out of the others' root mean square.
const MOST_SHIFTED: i64 = 1_600;
const CLEAR: f32 = 8.0;
/// How slowly the power of all that is no echo is followed.
const SLOW: f32 = 0.8;

/// How known playback is taken out of the microphone's sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Removal {
    /// Nothing is played, or it is not heard: headphones.
    None,
    /// A band is in the same sound, and not known: a recorded evening.
    Mixed,
    /// What is left in each band is weighed against what the playback has there.
    Spectral,
    /// A filter that learns the room is subtracted; then as [`Removal::Spectral`].
    #[default]
    Adaptive,
}

/// Foretells the echo of a loudspeaker and subtracts it.
pub(super) struct Canceller {
    forward: Arc<dyn RealToComplex<f32>>,
    back: Arc<dyn ComplexToReal<f32>>,
    /// The reference's last two blocks.
    reference: Vec<f32>,
    /// Spectra of the reference, the newest first.
    past: VecDeque<Vec<Complex32>>,
    filter: Vec<Vec<Complex32>>,
    /// How unsure each of its weights is: the power of its error.
    unsure: Vec<Vec<f32>>,
    /// Power of what is left, by bin.
    rest: Vec<f32>,
    scratch: Vec<f32>,
    spectrum: Vec<Complex32>,
    left_spectrum: Vec<Complex32>,
    /// Slow means of the power of the microphone and of what is left.
    heard_power: f32,
    left_power: f32,
    drift: Drift,
}

impl Canceller {
    pub(super) fn new() -> Self {
        let mut planner = RealFftPlanner::<f32>::new();
        let forward = planner.plan_fft_forward(2 * BLOCK);
        let back = planner.plan_fft_inverse(2 * BLOCK);
        let zero = vec![Complex32::default(); BINS];
        Canceller {
            forward,
            back,
            reference: vec![0.0; 2 * BLOCK],
            past: (0..PARTS).map(|_| zero.clone()).collect(),
            filter: vec![zero.clone(); PARTS],
            unsure: unsure(),
            rest: vec![0.0; BINS],
            scratch: vec![0.0; 2 * BLOCK],
            spectrum: zero.clone(),
            left_spectrum: zero,
            heard_power: 0.0,
            left_power: 0.0,
            drift: Drift::default(),
        }
    }

    /// Takes a block of the microphone's sound and the playback's at the same time;
    /// fills in what is left.
    pub(super) fn block(&mut self, heard: &[f32], played: &[f32], left: &mut [f32]) {
        self.hear(played);
        self.foretell(None);
        let echo = &self.scratch[BLOCK..];
        for ((out, heard), echo) in left.iter_mut().zip(heard).zip(echo) {
            *out = heard - echo;
        }
        self.look(heard);
        self.learn(left);
        let power = |sound: &[f32]| sound.iter().map(|x| x * x).sum::<f32>();
        self.heard_power += 0.05 * (power(heard) - self.heard_power);
        self.left_power += 0.05 * (power(left) - self.left_power);
        if self.left_power > 2.0 * self.heard_power + 1e-6 {
            // It makes things worse: the room has changed, or it has run away.
            self.forget();
        }
        if power(left) > power(heard) {
            left.copy_from_slice(heard);
        }
    }

    /// The room may be another from now on: what is known of it is doubted, and soon learned
    /// anew.
    pub(super) fn doubt(&mut self) {
        self.unsure = unsure();
        self.drift = Drift::default();
    }

    /// By how many samples a sample the echo has come later of late, against what is read of
    /// the playback; `None` if there is nothing new.
    pub(super) fn drift(&mut self) -> Option<f64> {
        self.drift.found()
    }

    /// How many samples later than foretold the echo of `played` is in `heard`, both of
    /// one length; `None` if that is not clear. For when the two have shifted against each
    /// other while the room stayed as it is; what was seen of their drift is forgotten.
    pub(super) fn shifted(&mut self, heard: &[f32], played: &[f32]) -> Option<i64> {
        self.drift = Drift::default();
        let mut room = Vec::with_capacity(PARTS * BLOCK);
        for part in &self.filter {
            self.spectrum.copy_from_slice(part);
            invert(&*self.back, &mut self.spectrum, &mut self.scratch);
            room.extend_from_slice(&self.scratch[..BLOCK]);
        }
        let length = (heard.len() + room.len()).next_power_of_two();
        let mut planner = RealFftPlanner::<f32>::new();
        let (forward, back) = (
            planner.plan_fft_forward(length),
            planner.plan_fft_inverse(length),
        );
        let spectrum = |sound: &[f32]| {
            let (mut padded, mut out) = (sound.to_vec(), forward.make_output_vec());
            padded.resize(length, 0.0);
            transform(&*forward, &mut padded, &mut out);
            out
        };
        let (heard, mut echo) = (spectrum(heard), spectrum(played));
        for (x, h) in echo.iter_mut().zip(spectrum(&room)) {
            *x *= h;
        }
        // What, put upon the echo foretold, gives what is heard: a stroke at the shift.
        let mean = echo.iter().map(Complex32::norm_sqr).sum::<f32>() / echo.len() as f32;
        for (x, y) in echo.iter_mut().zip(&heard) {
            *x = y * x.conj() / (x.norm_sqr() + 0.3 * mean + 1e-12);
        }
        let last = echo.len() - 1;
        (echo[0].im, echo[last].im) = (0.0, 0.0);
        let mut answer = back.make_output_vec();
        let done = back.process(&mut echo, &mut answer);
        debug_assert!(done.is_ok());
        let lags = -MOST_SHIFTED..=MOST_SHIFTED;
        let at = |lag: i64| answer[lag.rem_euclid(length as i64) as usize];
        let best = lags.clone().max_by(|a, b| at(*a).total_cmp(&at(*b)))?;
        let all = lags.clone().map(|lag| at(lag).powi(2)).sum::<f32>() / lags.count() as f32;
        (at(best) > CLEAR * all.sqrt()).then_some(best)
    }

    /// How many samples later than foretold the echo of `played` came at the beginning of
    /// `heard`, and by how many more a sample, as the filter knows it now: a line through
    /// what is seen in each half second. `None` if too little is clear. For sound that is
    /// heard once more afterwards: what was seen of its drift is forgotten.
    pub(super) fn later(&mut self, heard: &[f32], played: &[f32]) -> Option<(f64, f64)> {
        self.drift = Drift::default();
        let past = (self.reference.clone(), self.past.clone());
        let mut drift = Drift::of(self.filter.clone());
        let mut seen = Vec::new();
        let blocks = heard.as_chunks::<BLOCK>().0.iter();
        for (block, (heard, played)) in (1u32..).zip(blocks.zip(played.as_chunks::<BLOCK>().0)) {
            self.hear(played);
            self.compare(&mut drift, heard);
            if block.is_multiple_of(LOOK) {
                let middle = (f64::from(block) - 0.5 * f64::from(LOOK)) * BLOCK as f64;
                seen.extend(drift.take_later().map(|later| (middle, later)));
            }
        }
        (self.reference, self.past) = past;
        line(&seen)
    }

    /// Looks how much later the echo comes than the filter of a moment ago foretells.
    fn look(&mut self, heard: &[f32]) {
        let mut drift = std::mem::take(&mut self.drift);
        self.compare(&mut drift, heard);
        drift.pass(&self.filter);
        self.drift = drift;
    }

    /// Sets what is heard beside what the filter kept in `drift` foretells.
    fn compare(&mut self, drift: &mut Drift, heard: &[f32]) {
        if drift.kept().is_empty() {
            return;
        }
        self.foretell(Some(drift.kept()));
        self.scratch[..BLOCK].fill(0.0);
        transform(&*self.forward, &mut self.scratch, &mut self.spectrum);
        self.scratch[..BLOCK].fill(0.0);
        self.scratch[BLOCK..].copy_from_slice(heard);
        transform(&*self.forward, &mut self.scratch, &mut self.left_spectrum);
        drift.add(&self.left_spectrum, &self.spectrum);
    }

    /// Takes a block of the playback.
    fn hear(&mut self, played: &[f32]) {
        self.reference.copy_within(BLOCK.., 0);
        self.reference[BLOCK..].copy_from_slice(played);
        let mut newest = self.past.pop_back().unwrap_or_default();
        newest.resize(BINS, Complex32::default());
        self.scratch.copy_from_slice(&self.reference);
        transform(&*self.forward, &mut self.scratch, &mut newest);
        self.past.push_front(newest);
    }

    /// The echo as `filter` foretells it, or the present one: the second half of the scratch.
    fn foretell(&mut self, filter: Option<&[Vec<Complex32>]>) {
        self.spectrum.fill(Complex32::default());
        for (weights, past) in filter.unwrap_or(&self.filter).iter().zip(&self.past) {
            for ((sum, w), x) in self.spectrum.iter_mut().zip(weights).zip(past) {
                *sum += w * x;
            }
        }
        invert(&*self.back, &mut self.spectrum, &mut self.scratch);
    }

    fn forget(&mut self) {
        for part in &mut self.filter {
            part.fill(Complex32::default());
        }
        self.doubt();
        self.left_power = self.heard_power;
    }

    /// Puts the filter right by what is left.
    fn learn(&mut self, left: &[f32]) {
        self.scratch[..BLOCK].fill(0.0);
        self.scratch[BLOCK..].copy_from_slice(left);
        transform(&*self.forward, &mut self.scratch, &mut self.left_spectrum);
        for bin in 0..BINS {
            let power = self.left_spectrum[bin].norm_sqr();
            self.rest[bin] = SLOW * self.rest[bin] + (1.0 - SLOW) * power;
            let parts = self.past.iter().zip(&self.unsure);
            let foretold: f32 = parts.map(|(x, p)| x[bin].norm_sqr() * p[bin]).sum();
            // Only half of a transform's samples are new: hence the halves.
            self.left_spectrum[bin] /= 0.5 * foretold + self.rest[bin] + 1e-7;
        }
        for part in 0..PARTS {
            let (past, unsure) = (&self.past[part], &mut self.unsure[part]);
            for bin in 0..BINS {
                self.spectrum[bin] = past[bin].conj() * unsure[bin] * self.left_spectrum[bin];
            }
            // Only the first half of the filter's answer may be used: the rest would
            // wrap round.
            invert(&*self.back, &mut self.spectrum, &mut self.scratch);
            self.scratch[BLOCK..].fill(0.0);
            transform(&*self.forward, &mut self.scratch, &mut self.spectrum);
            for (w, change) in self.filter[part].iter_mut().zip(&self.spectrum) {
                *w += change;
            }
        }
        for bin in 0..BINS {
            let parts = self.past.iter().zip(&self.unsure);
            let foretold: f32 = parts.map(|(x, p)| x[bin].norm_sqr() * p[bin]).sum();
            let all = 0.5 * foretold + self.rest[bin] + 1e-7;
            for part in 0..PARTS {
                let known = 0.5 * self.past[part][bin].norm_sqr() * self.unsure[part][bin] / all;
                let weight = self.filter[part][bin].norm_sqr();
                let unsure = &mut self.unsure[part][bin];
                *unsure = SAME * SAME * (1.0 - known) * *unsure + (1.0 - SAME * SAME) * weight;
            }
        }
    }
}

/// How unsure a filter is that has learned nothing.
fn unsure() -> Vec<Vec<f32>> {
    let part = |n: usize| UNSURE * FALL.powi(n.saturating_sub(DELAY_PARTS) as i32);
    (0..PARTS).map(|n| vec![part(n); BINS]).collect()
}

/// The lengths are ours, so the transforms cannot fail.
pub(super) fn transform(
    fft: &dyn RealToComplex<f32>,
    sound: &mut [f32],
    spectrum: &mut [Complex32],
) {
    let done = fft.process(sound, spectrum);
    debug_assert!(done.is_ok());
}

/// The inverse, scaled.
fn invert(fft: &dyn ComplexToReal<f32>, spectrum: &mut [Complex32], sound: &mut [f32]) {
    // What must be real is so up to rounding; the transform insists on it.
    spectrum[0].im = 0.0;
    spectrum[BINS - 1].im = 0.0;
    let done = fft.process(spectrum, sound);
    debug_assert!(done.is_ok());
    let scale = 1.0 / sound.len() as f32;
    sound.iter_mut().for_each(|x| *x *= scale);
}
