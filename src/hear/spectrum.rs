//! How loud each frequency is in a stretch of sound, and in bands of them.

use std::sync::Arc;

use pulp::Simd;
use pulp::bytemuck::cast_slice_mut;
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

use super::lanes::{LANES, each, sum};

/// Magnitudes of stretches of sound, seen through a Hann window.
///
/// The sound, which is real, goes through a Fourier transform of half its length in
/// pairs of samples, as complex numbers. What is taken apart afterwards is only what is
/// looked at: the lowest bins.
pub(super) struct Spectrum {
    fft: Arc<dyn Fft<f32>>,
    window: Vec<f32>,
    /// The pairs, and room for the first once more.
    pairs: Vec<Complex32>,
    scratch: Vec<Complex32>,
    /// For each bin that is looked at, how far a wave of its frequency turns in a sample.
    turns: Apart,
    /// That bin of the pairs' transform, and the one as far from its end.
    ahead: Apart,
    back: Apart,
    magnitudes: Vec<[f32; LANES]>,
}

/// Complex numbers whose parts stand apart, in whole groups.
struct Apart {
    re: Vec<[f32; LANES]>,
    im: Vec<[f32; LANES]>,
}

impl Apart {
    /// Room for so many numbers.
    fn new(numbers: usize) -> Self {
        let groups = numbers.div_ceil(LANES);
        Apart {
            re: vec![[0.0; LANES]; groups],
            im: vec![[0.0; LANES]; groups],
        }
    }

    fn re(&self) -> &[f32] {
        self.re.as_flattened()
    }

    fn im(&self) -> &[f32] {
        self.im.as_flattened()
    }

    /// Takes the first of some numbers apart.
    #[inline(always)]
    fn fill<'a>(&mut self, numbers: impl Iterator<Item = &'a Complex32>) {
        let (re, im) = (self.re.as_flattened_mut(), self.im.as_flattened_mut());
        for ((re, im), c) in re.iter_mut().zip(im).zip(numbers) {
            *re = c.re;
            *im = c.im;
        }
    }
}

impl Spectrum {
    /// For stretches of `length` samples, an even number, of which the lowest `bins` are
    /// looked at, or a few more. Bins that there are not are 0.
    pub(super) fn new(length: usize, bins: usize) -> Self {
        let half = length / 2;
        let fft = FftPlanner::new().plan_fft_forward(half);
        let hann: Vec<f32> = (0..length)
            .map(|n| {
                let turn = std::f64::consts::TAU * (n as f64 + 0.5) / length as f64;
                (0.5 - 0.5 * turn.cos()) as f32
            })
            .collect();
        // A full-scale sine then has magnitude 1 in its bin.
        let gain = 2.0 / hann.iter().sum::<f32>();
        let circle: Vec<Complex32> = (0..=half)
            .map(|bin| {
                let turn = std::f64::consts::TAU * bin as f64 / length as f64;
                Complex32::new(turn.cos() as f32, -turn.sin() as f32)
            })
            .collect();
        let mut turns = Apart::new(bins);
        turns.fill(circle.iter());
        Spectrum {
            window: hann.iter().map(|w| w * gain).collect(),
            pairs: vec![Complex32::default(); half + 1],
            scratch: vec![Complex32::default(); fft.get_inplace_scratch_len()],
            fft,
            turns,
            ahead: Apart::new(bins),
            back: Apart::new(bins),
            magnitudes: vec![[0.0; LANES]; bins.div_ceil(LANES)],
        }
    }

    /// Samples in a stretch.
    pub(super) fn length(&self) -> usize {
        self.window.len()
    }

    /// Magnitudes of the bins of the last stretch; a full-scale sine has 1 in its own.
    pub(super) fn magnitudes(&self) -> &[f32] {
        self.magnitudes.as_flattened()
    }

    /// Looks at a stretch.
    #[inline(always)]
    pub(super) fn look<S: Simd>(&mut self, simd: S, samples: &[f32]) {
        let half = self.window.len() / 2;
        let pairs = &mut self.pairs[..half];
        let windowed: &mut [f32] = cast_slice_mut(pairs);
        for ((out, x), w) in windowed.iter_mut().zip(samples).zip(&self.window) {
            *out = x * w;
        }
        self.fft.process_with_scratch(pairs, &mut self.scratch);
        self.take_apart(simd);
    }

    /// Fills `magnitudes` from the transform of the `pairs`.
    #[inline(always)]
    fn take_apart<S: Simd>(&mut self, simd: S) {
        if let [first, .., last] = self.pairs.as_mut_slice() {
            *last = *first;
        }
        self.ahead.fill(self.pairs.iter());
        self.back.fill(self.pairs.iter().rev());
        let wide = |numbers| S::as_simd_f32s(numbers).0;
        let (a_re, a_im) = (wide(self.ahead.re()), wide(self.ahead.im()));
        let (b_re, b_im) = (wide(self.back.re()), wide(self.back.im()));
        let (turn_re, turn_im) = (wide(self.turns.re()), wide(self.turns.im()));
        let (plus, minus) = (|a, b| simd.add_f32s(a, b), |a, b| simd.sub_f32s(a, b));
        let times = |a, b| simd.mul_f32s(a, b);
        let half = simd.splat_f32s(0.5);
        let ahead = a_re.iter().zip(a_im);
        let back = b_re.iter().zip(b_im);
        let turns = turn_re.iter().zip(turn_im);
        let magnitudes = S::as_mut_simd_f32s(self.magnitudes.as_flattened_mut()).0;
        let bins = ahead.zip(back).zip(turns);
        for (magnitude, (((&a_re, &a_im), (&b_re, &b_im)), (&turn_re, &turn_im))) in
            magnitudes.iter_mut().zip(bins)
        {
            // Twice what the first samples of all pairs give alone, and what the second
            // ones do; these come a sample later.
            let (first_re, first_im) = (plus(a_re, b_re), minus(a_im, b_im));
            let (second_re, second_im) = (plus(a_im, b_im), minus(b_re, a_re));
            let turned_re = minus(times(turn_re, second_re), times(turn_im, second_im));
            let turned_im = plus(times(turn_re, second_im), times(turn_im, second_re));
            let (re, im) = (plus(first_re, turned_re), plus(first_im, turned_im));
            let square = plus(times(re, re), times(im, im));
            *magnitude = times(half, simd.sqrt_f32s(square));
        }
    }
}

/// A weighted run of spectrum bins.
pub(super) struct Band {
    first_bin: usize,
    /// In whole groups, the last one filled up with zeros.
    weights: Vec<[f32; LANES]>,
}

impl Band {
    /// A triangle over bins, `low`..`peak`..`high` in hertz, weights summing to 1.
    pub(super) fn triangle(low: f64, peak: f64, high: f64, bin_width: f64, bins: usize) -> Self {
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
        let weights = weights
            .chunks(LANES)
            .map(|part| {
                let mut group = [0.0; LANES];
                group[..part.len()].copy_from_slice(part);
                group
            })
            .collect();
        Band { first_bin, weights }
    }

    /// The bin after the last one that [`Self::gather`] looks at.
    pub(super) fn end(&self) -> usize {
        self.first_bin + LANES * self.weights.len()
    }

    /// The weighted sum of its bins.
    #[inline(always)]
    pub(super) fn gather(&self, magnitudes: &[f32]) -> f32 {
        let Some(bins) = magnitudes.get(self.first_bin..self.end()) else {
            return 0.0;
        };
        let mut sums = [0.0; LANES];
        for (bins, weights) in bins.as_chunks::<LANES>().0.iter().zip(&self.weights) {
            sums = each(|k| sums[k] + bins[k] * weights[k]);
        }
        sum(sums)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use realfft::RealFftPlanner;

    #[test]
    fn a_full_scale_sine_has_magnitude_one() {
        let mut spectrum = Spectrum::new(2048, 430);
        let turn = std::f64::consts::TAU * 100.0 / 2048.0;
        let sine: Vec<f32> = (0..2048)
            .map(|n| (turn * f64::from(n)).sin() as f32)
            .collect();
        spectrum.look(pulp::Scalar, &sine);
        let magnitudes = spectrum.magnitudes();
        assert!((magnitudes[100] - 1.0).abs() < 1e-4, "{}", magnitudes[100]);
        assert!(magnitudes[110] < 1e-4);
    }

    #[test]
    fn magnitudes_are_those_of_the_whole_transform() {
        for (length, bins) in [(2048, 430), (372, 187), (30, 99), (10, 3)] {
            let mut spectrum = Spectrum::new(length, bins);
            let samples: Vec<f32> = (0..length).map(|n| ((n * n) as f32).sin()).collect();
            spectrum.look(pulp::Scalar, &samples);
            let mut windowed: Vec<f32> = samples
                .iter()
                .zip(&spectrum.window)
                .map(|(x, w)| x * w)
                .collect();
            let fft = RealFftPlanner::<f32>::new().plan_fft_forward(length);
            let mut whole = fft.make_output_vec();
            fft.process(&mut windowed, &mut whole).unwrap();
            assert!(spectrum.magnitudes().len() >= bins);
            for (bin, magnitude) in spectrum.magnitudes().iter().enumerate() {
                let theirs = whole.get(bin).map_or(0.0, |c| c.norm());
                assert!(
                    (magnitude - theirs).abs() < 1e-5,
                    "bin {bin} of {length}: {magnitude}, not {theirs}"
                );
            }
        }
    }
}
