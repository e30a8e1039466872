//! From one sample rate to another, block by block, without a shift in time.

use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{
    Async, Fft, FixedAsync, FixedSync, Indexing, SincInterpolationParameters, WindowFunction,
};

/// Input frames converted at a time.
const CHUNK: usize = 1024;

/// The longest transform worth its delay. Two rates with hardly a common
/// divisor would need one of up to their own length in samples.
const LONGEST_FFT: u32 = 4096;

/// Length of the sinc filter where the transform would be too long.
const SINC: usize = 128;

/// Why a converter could not be made or stopped.
#[derive(Debug, thiserror::Error)]
pub enum ResampleError {
    /// A rate or a channel count of 0, or one that is out of all reason.
    #[error(
        "cannot convert {channels} channels from {from} to {to} Hz; use rates from 1000 to 768000 Hz"
    )]
    Rates {
        /// The rate to convert from, hertz.
        from: u32,
        /// The rate to convert to, hertz.
        to: u32,
        /// Samples in a frame.
        channels: usize,
    },
    /// The converter itself failed.
    #[error("the sample rate conversion failed: {0}")]
    Failed(String),
}

/// A whole mono sound at another rate, as long as it was.
///
/// # Errors
/// As [`Resampler::new`] and [`Resampler::push`].
pub fn resample(sound: &[f32], from: u32, to: u32) -> Result<Vec<f32>, ResampleError> {
    let mut resampler = Resampler::new(from, to, 1)?;
    let mut out = Vec::new();
    resampler.push(sound, &mut out)?;
    resampler.finish(&mut out)?;
    Ok(out)
}

/// A streaming sample rate converter.
///
/// Output frame `n` belongs to the moment `n / to` seconds after the first
/// input frame: the filter's own delay is taken out, so what was at 2 s stays
/// at 2 s within one sample. With equal rates samples pass through untouched.
/// Output comes in bursts, some milliseconds of sound behind the input, and
/// is the same whatever the sizes of the blocks pushed.
pub struct Resampler {
    from: u32,
    to: u32,
    channels: usize,
    inner: Option<Box<dyn rubato::Resampler<f32>>>,
    waiting: Vec<f32>,
    output: Vec<f32>,
    /// Frames of filter delay still to be dropped.
    skip: usize,
    taken: u64,
    given: u64,
}

impl Resampler {
    /// A converter for interleaved frames of `channels` samples.
    ///
    /// # Errors
    /// [`ResampleError::Rates`] for rates outside 1 to 768 kHz or no channel.
    pub fn new(from: u32, to: u32, channels: usize) -> Result<Self, ResampleError> {
        let sane = 1_000..=768_000;
        if !sane.contains(&from) || !sane.contains(&to) || channels == 0 {
            return Err(ResampleError::Rates { from, to, channels });
        }
        let inner = if from == to {
            None
        } else {
            Some(converter(from, to, channels)?)
        };
        let skip = inner.as_ref().map_or(0, |r| r.output_delay());
        let room = inner.as_ref().map_or(0, |r| r.output_frames_max());
        Ok(Resampler {
            from,
            to,
            channels,
            inner,
            waiting: Vec::with_capacity(CHUNK * channels * 2),
            output: vec![0.0; room * channels],
            skip,
            taken: 0,
            given: 0,
        })
    }

    /// The rate that comes out, hertz.
    pub fn rate(&self) -> u32 {
        self.to
    }

    /// Converts `input`, whole interleaved frames, and appends what is ready
    /// to `out`.
    ///
    /// # Errors
    /// [`ResampleError::Failed`] if the converter does.
    pub fn push(&mut self, input: &[f32], out: &mut Vec<f32>) -> Result<(), ResampleError> {
        self.taken += (input.len() / self.channels) as u64;
        if self.inner.is_none() {
            out.extend_from_slice(input);
            return Ok(());
        }
        self.waiting.extend_from_slice(input);
        let mut used = 0;
        while let Some(frames) = self.convert(used, None, out)? {
            used += frames * self.channels;
        }
        self.waiting.drain(..used);
        Ok(())
    }

    /// Appends the rest, so that the output lasts as long as the input did.
    /// Start a new converter for a new stream.
    ///
    /// # Errors
    /// As [`push`](Self::push).
    pub fn finish(&mut self, out: &mut Vec<f32>) -> Result<(), ResampleError> {
        if self.inner.is_none() {
            return Ok(());
        }
        let total = (self.taken * u64::from(self.to)).div_ceil(u64::from(self.from));
        let mut left = self.waiting.len() / self.channels;
        while self.given < total {
            let before = out.len();
            self.convert(0, Some(left), out)?;
            left = 0;
            let surplus = self.given.saturating_sub(total) as usize * self.channels;
            out.truncate((out.len() - surplus).max(before));
        }
        self.waiting.clear();
        Ok(())
    }

    /// Converts one chunk that starts at sample `at` of what is waiting and
    /// returns how many frames it took, or `None` if too few are waiting.
    /// With `partial`, so many frames and silence after them.
    fn convert(
        &mut self,
        at: usize,
        partial: Option<usize>,
        out: &mut Vec<f32>,
    ) -> Result<Option<usize>, ResampleError> {
        let Some(inner) = &mut self.inner else {
            return Ok(None);
        };
        let failed = |e: &dyn std::fmt::Display| ResampleError::Failed(e.to_string());
        let input = &self.waiting[at..];
        let there = input.len() / self.channels;
        if partial.is_none() && there < inner.input_frames_next() {
            return Ok(None);
        }
        let room = self.output.len() / self.channels;
        let source = InterleavedSlice::new(input, self.channels, there).map_err(|e| failed(&e))?;
        let mut sink = InterleavedSlice::new_mut(&mut self.output, self.channels, room)
            .map_err(|e| failed(&e))?;
        let indexing = Indexing {
            partial_len: partial,
            ..Indexing::default()
        };
        let (used, made) = inner
            .process_into_buffer(&source, &mut sink, Some(&indexing))
            .map_err(|e| failed(&e))?;
        let dropped = self.skip.min(made);
        self.skip -= dropped;
        self.given += (made - dropped) as u64;
        out.extend_from_slice(&self.output[dropped * self.channels..made * self.channels]);
        Ok(Some(used))
    }
}

impl std::fmt::Debug for Resampler {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Resampler")
            .field("from", &self.from)
            .field("to", &self.to)
            .field("channels", &self.channels)
            .finish_non_exhaustive()
    }
}

fn converter(
    from: u32,
    to: u32,
    channels: usize,
) -> Result<Box<dyn rubato::Resampler<f32>>, ResampleError> {
    let failed = |e: rubato::ResamplerConstructionError| ResampleError::Failed(e.to_string());
    let step = gcd(from, to);
    if from.max(to) / step <= LONGEST_FFT {
        // The delay is half a transform: an even length makes it a whole
        // number of input frames.
        let pair = 2 * (from / step) as usize;
        let fft = Fft::new_custom(
            from as usize,
            to as usize,
            pair * CHUNK.div_ceil(pair),
            1,
            channels,
            WindowFunction::BlackmanHarris2,
            FixedSync::Input,
        );
        return Ok(Box::new(fft.map_err(failed)?));
    }
    let sinc = Async::new_sinc(
        f64::from(to) / f64::from(from),
        1.0,
        &SincInterpolationParameters::new(SINC, WindowFunction::BlackmanHarris2),
        CHUNK,
        channels,
        FixedAsync::Input,
    );
    Ok(Box::new(sinc.map_err(failed)?))
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn convert(from: u32, to: u32, channels: usize, input: &[f32], block: usize) -> Vec<f32> {
        let mut r = Resampler::new(from, to, channels).unwrap();
        let mut out = Vec::new();
        for piece in input.chunks(block * channels) {
            r.push(piece, &mut out).unwrap();
        }
        r.finish(&mut out).unwrap();
        out
    }

    fn peak_at(samples: &[f32]) -> usize {
        let loudest = |(_, a): &(usize, &f32), (_, b): &(usize, &f32)| a.abs().total_cmp(&b.abs());
        samples.iter().enumerate().max_by(loudest).unwrap().0
    }

    #[test]
    fn a_click_keeps_its_time_and_the_sound_its_length() {
        for (from, to) in [
            (44_100, 48_000),
            (48_000, 44_100),
            (8_000, 44_100),
            (192_000, 44_100),
            (22_050, 48_000),
            (44_101, 48_000),
            (11_025, 16_000),
        ] {
            let mut input = vec![0.0; from as usize];
            for seconds in [0.1, 0.503, 0.9] {
                input[(seconds * f64::from(from)) as usize] = 1.0;
            }
            let out = convert(from, to, 1, &input, 700);
            assert_eq!(out.len(), to as usize, "{from} to {to}");
            for seconds in [0.1, 0.503, 0.9] {
                let at = (seconds * f64::from(from)).floor() / f64::from(from) * f64::from(to);
                let near = at as usize - 200..at as usize + 200;
                let found = near.start + peak_at(&out[near]);
                assert!(
                    (found as f64 - at).abs() <= 1.0,
                    "{from} to {to}: click at {found} instead of {at:.2}"
                );
            }
        }
    }

    #[test]
    fn a_tone_keeps_its_level_and_what_is_too_high_vanishes() {
        let tone = |hz: f64| -> Vec<f32> {
            let step = std::f64::consts::TAU * hz / 48_000.0;
            (0..48_000)
                .map(|n| (0.5 * (n as f64 * step).sin()) as f32)
                .collect()
        };
        let level = |s: &[f32]| {
            let middle = &s[s.len() / 4..s.len() * 3 / 4];
            (middle.iter().map(|x| x * x).sum::<f32>() / middle.len() as f32).sqrt()
        };
        let kept = level(&convert(48_000, 22_050, 1, &tone(1_000.0), 512));
        assert!((kept - 0.3536).abs() < 0.002, "1 kHz came out at {kept}");
        let gone = level(&convert(48_000, 22_050, 1, &tone(15_000.0), 512));
        assert!(gone < 0.0005, "15 kHz came out at {gone}");
    }

    #[test]
    fn equal_rates_change_nothing() {
        let input: Vec<f32> = (0..5_000).map(|n| (n as f32 * 0.1).sin()).collect();
        assert_eq!(convert(44_100, 44_100, 2, &input, 333), input);
    }

    #[test]
    fn nonsense_rates_are_refused() {
        assert!(Resampler::new(0, 48_000, 1).is_err());
        assert!(Resampler::new(48_000, u32::MAX, 1).is_err());
        assert!(Resampler::new(48_000, 44_100, 0).is_err());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn block_sizes_make_no_difference(
            block in 1usize..5_000,
            rates in prop::sample::select(vec![(44_100, 48_000), (48_000, 44_100), (44_101, 48_000)]),
        ) {
            let input: Vec<f32> = (0..9_000).map(|n| (n as f32 * 0.37).sin() * 0.5).collect();
            let (from, to) = rates;
            let whole = convert(from, to, 2, &input, input.len());
            prop_assert_eq!(convert(from, to, 2, &input, block), whole);
        }
    }
}
