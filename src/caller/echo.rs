//! Taking known sound out of what a microphone hears.
//!
//! A filter learns how the room carries the loudspeaker to the microphone, and what it
//! foretells is subtracted. The filter lies in the frequency domain, cut into
//! partitions so that a long room costs little delay (Soo & Pang, "Multidelay block
//! frequency domain adaptive filter", IEEE Trans. ASSP 38(2), 1990). How fast it may
//! learn is told by how much of what is left still resembles the echo, so that a voice
//! speaking over the music does not spoil it (Valin, "On Adjusting the Learning Rate in
//! Frequency Domain Echo Cancellation With Double-Talk", IEEE Trans. ASLP 15(3), 2007).

use std::collections::VecDeque;
use std::sync::Arc;

use realfft::num_complex::Complex32;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

/// Samples in a block, at [`RATE`](super::frames::RATE): 16 ms.
pub(super) const BLOCK: usize = 256;
/// Partitions of the filter: 320 ms of room and delay.
const PARTS: usize = 20;
/// Bins of a block's spectrum.
const BINS: usize = BLOCK + 1;

/// The share of the largest step at which the filter begins.
const FIRST_STEP: f32 = 0.25;
/// The largest step, as a share of the one that would be best without noise.
const LARGEST_STEP: f32 = 0.5;
/// Blocks' worth of full steps after which the filter counts as having learned.
const LEARNED: f32 = 6.0;
/// Time constants of the powers that the learning rate rests on, in blocks.
const POWERS: f32 = 0.1;

/// How known playback is taken out of the microphone's sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Removal {
    /// Nothing is played, or it is not heard: headphones.
    None,
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
    /// Means of the powers of what is left and of the echo, by bin.
    left_mean: Vec<f32>,
    echo_mean: Vec<f32>,
    /// How the two go together, and how the echo's goes by itself.
    together: f32,
    alone: f32,
    learned: f32,
    scratch: Vec<f32>,
    spectrum: Vec<Complex32>,
    left_spectrum: Vec<Complex32>,
    /// Slow means of the power of the microphone and of what is left.
    heard_power: f32,
    left_power: f32,
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
            left_mean: vec![0.0; BINS],
            echo_mean: vec![0.0; BINS],
            together: 0.0,
            alone: 0.0,
            learned: 0.0,
            scratch: vec![0.0; 2 * BLOCK],
            spectrum: zero.clone(),
            left_spectrum: zero,
            heard_power: 0.0,
            left_power: 0.0,
        }
    }

    /// Takes a block of the microphone's sound and the playback's at the same time;
    /// fills in what is left and the echo that was foretold.
    pub(super) fn block(
        &mut self,
        heard: &[f32],
        played: &[f32],
        left: &mut [f32],
        echo: &mut [f32],
    ) {
        self.reference.copy_within(BLOCK.., 0);
        self.reference[BLOCK..].copy_from_slice(played);
        let mut newest = self.past.pop_back().unwrap_or_default();
        newest.resize(BINS, Complex32::default());
        self.scratch.copy_from_slice(&self.reference);
        transform(&*self.forward, &mut self.scratch, &mut newest);
        self.past.push_front(newest);

        self.spectrum.fill(Complex32::default());
        for (weights, past) in self.filter.iter().zip(&self.past) {
            for ((sum, w), x) in self.spectrum.iter_mut().zip(weights).zip(past) {
                *sum += w * x;
            }
        }
        invert(&*self.back, &mut self.spectrum, &mut self.scratch);
        echo.copy_from_slice(&self.scratch[BLOCK..]);
        for ((out, heard), echo) in left.iter_mut().zip(heard).zip(echo.iter()) {
            *out = heard - echo;
        }
        self.learn(heard, left, echo);
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

    fn forget(&mut self) {
        for part in &mut self.filter {
            part.fill(Complex32::default());
        }
        (self.learned, self.together, self.alone) = (0.0, 0.0, 0.0);
        self.left_power = self.heard_power;
    }

    fn learn(&mut self, heard: &[f32], left: &[f32], echo: &[f32]) {
        let spectrum_of = |sound: &[f32], scratch: &mut [f32], out: &mut [Complex32]| {
            scratch[..BLOCK].fill(0.0);
            scratch[BLOCK..].copy_from_slice(sound);
            transform(&*self.forward, scratch, out);
        };
        spectrum_of(left, &mut self.scratch, &mut self.left_spectrum);
        spectrum_of(echo, &mut self.scratch, &mut self.spectrum);

        let energy = |sound: &[f32]| sound.iter().map(|x| x * x).sum::<f32>() + 1e-9;
        let (all, rest, foretold) = (energy(heard), energy(left), energy(echo));
        let (mut both, mut own) = (0.0, 0.0);
        for bin in 0..BINS {
            let (l, e) = (self.left_spectrum[bin].norm_sqr(), self.spectrum[bin].norm_sqr());
            let (dl, de) = (l - self.left_mean[bin], e - self.echo_mean[bin]);
            self.left_mean[bin] += POWERS * dl;
            self.echo_mean[bin] += POWERS * de;
            both += dl * de;
            own += de * de;
        }
        let rate = (2.0 * foretold / rest).min(0.5) * 0.016;
        self.together += rate * (both - self.together);
        self.alone += rate * (own - self.alone);
        let leak = match self.alone > 0.0 {
            true => (self.together / self.alone).clamp(0.003, 1.0),
            false => 1.0,
        };
        let overall = (leak * foretold / rest).min(LARGEST_STEP);
        let begun = self.learned >= LEARNED;
        let reference: f32 = self.past[0].iter().map(|x| x.norm_sqr()).sum();
        if reference < 1e-6 {
            return;
        }
        // Before it has learned anything the echo foretells nothing.
        let first = FIRST_STEP * (all / rest).min(1.0);
        for bin in 0..BINS {
            let l = self.left_spectrum[bin].norm_sqr();
            let e = self.spectrum[bin].norm_sqr();
            let step = match begun {
                true => 0.7 * (leak * e / (l + 1e-9)).min(LARGEST_STEP) + 0.3 * overall,
                false => first,
            };
            let power: f32 = self.past.iter().map(|x| x[bin].norm_sqr()).sum();
            self.left_spectrum[bin] *= step / (power + 1e-4);
        }
        self.learned += if begun { 0.0 } else { first };
        for (weights, past) in self.filter.iter_mut().zip(&self.past) {
            for ((out, l), x) in self.spectrum.iter_mut().zip(&self.left_spectrum).zip(past) {
                *out = l * x.conj();
            }
            // Only the first half of the filter's answer may be used: the rest would
            // wrap round.
            invert(&*self.back, &mut self.spectrum, &mut self.scratch);
            self.scratch[BLOCK..].fill(0.0);
            transform(&*self.forward, &mut self.scratch, &mut self.spectrum);
            for (w, change) in weights.iter_mut().zip(&self.spectrum) {
                *w += change;
            }
        }
    }
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
