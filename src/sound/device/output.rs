//! Playing through an output.

use super::DeviceError;
use super::choose::{Choice, Chosen, Direction, find};
use super::feed::{Feed, MOST_CHANNELS};
use super::pace::Shared;
use super::stream::{Running, start_with, supported, with_sample};
use crate::sound::clock::{AHEAD, Sink};
use crate::sound::quiet::Quiet;
use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{
    FromSample, OutputCallbackInfo, SampleFormat, SizedSample, StreamConfig, SupportedStreamConfig,
};
use ringbuf::traits::{Observer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};
use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::time::{Duration, Instant};

/// Frames asked for per callback. Small buffers (512 frames) slip on a busy
/// laptop; at 2048 (43 ms at 48 kHz, held twice) none did, and a delay that is
/// known costs nothing here.
const BUFFER: u32 = 2048;

/// An output, playing what is written to it as a [`Sink`]. Dropping
/// it stops the sound at once; wait for [`Sink::drained`] first.
pub struct Output {
    /// Set aside, while it lives, to play: dropping it ends the stream.
    _stream: Running,
    ring: HeapProd<f32>,
    shared: Arc<Shared>,
    name: String,
    rate: u32,
    channels: usize,
    written: u64,
    buffer: u32,
}

impl Output {
    /// Opens an output for frames of `channels` samples (1 or 2), at
    /// `preferred_rate` if the device takes it and at its own rate otherwise:
    /// ask [`Sink::rate`] and convert. It plays silence until written to.
    ///
    /// # Errors
    /// [`DeviceError::None`] on a machine without a sound device; otherwise
    /// what keeps the device from playing.
    pub fn open(
        choice: &Choice,
        preferred_rate: u32,
        channels: usize,
    ) -> Result<Self, DeviceError> {
        let channels = channels.clamp(1, MOST_CHANNELS);
        let _quiet = Quiet::begin();
        let Chosen { device, name, .. } = find(choice, Direction::Out)?;
        let chosen = choose(&device, preferred_rate)?;

        let (stream, ring, shared) = start_with(&chosen, BUFFER, |config| {
            with_sample!(chosen.sample_format(), start(&device, config, channels))
        })?;
        Ok(Output {
            buffer: stream.buffer_size().unwrap_or(BUFFER),
            _stream: stream.into(),
            ring,
            shared,
            name,
            rate: chosen.sample_rate(),
            channels,
            written: 0,
        })
    }

    /// The device's name for people.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Frames that the device asks for at a time.
    pub fn buffer(&self) -> u32 {
        self.buffer
    }

    /// Error reports so far. A few thousand at the start are usual on Linux
    /// and mean nothing.
    pub fn errors(&self) -> u64 {
        self.shared.watch.errors()
    }
}

impl Sink for Output {
    fn rate(&self) -> u32 {
        self.rate
    }

    fn channels(&self) -> usize {
        self.channels
    }

    fn write(&mut self, frames: &[f32]) -> usize {
        let n = (frames.len() / self.channels).min(self.free());
        let pushed = self.ring.push_slice(&frames[..n * self.channels]);
        debug_assert_eq!(pushed, n * self.channels);
        self.written += n as u64;
        n
    }

    fn free(&self) -> usize {
        self.ring.vacant_len() / self.channels
    }

    fn written(&self) -> u64 {
        self.written
    }

    fn position(&self) -> f64 {
        self.shared.heard(Instant::now(), self.rate) / f64::from(self.rate)
    }

    fn end(&mut self) {
        self.shared.ended.store(true, Relaxed);
    }

    fn underruns(&self) -> u64 {
        self.shared.underruns.load(Relaxed) + self.shared.watch.xruns()
    }

    fn lost(&self) -> Option<String> {
        self.shared.watch.lost(Instant::now()).then(|| {
            format!(
                "the sound device \"{}\" has stopped; check its plug and the sound server, then start again",
                self.name
            )
        })
    }
}

impl std::fmt::Debug for Output {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Output")
            .field("name", &self.name)
            .field("rate", &self.rate)
            .field("channels", &self.channels)
            .field("buffer", &self.buffer)
            .finish_non_exhaustive()
    }
}

/// The device's configuration nearest to stereo at `rate`.
pub(super) fn choose(
    device: &cpal::Device,
    rate: u32,
) -> Result<SupportedStreamConfig, DeviceError> {
    let default = device.default_output_config()?;
    let Ok(configs) = device.supported_output_configs() else {
        return Ok(default);
    };
    let fits = |c: &cpal::SupportedStreamConfigRange| {
        c.contains_rate(rate) && supported(c.sample_format())
    };
    let best = configs
        .filter(fits)
        .max_by(|a, b| {
            let stereo = |c: &cpal::SupportedStreamConfigRange| c.channels() == 2;
            let float =
                |c: &cpal::SupportedStreamConfigRange| c.sample_format() == SampleFormat::F32;
            let own = |c: &cpal::SupportedStreamConfigRange| c.channels() == default.channels();
            (stereo(a), own(a), float(a))
                .cmp(&(stereo(b), own(b), float(b)))
                .then_with(|| a.cmp_default_heuristics(b))
        })
        .and_then(|c| c.try_with_sample_rate(rate));
    Ok(best.unwrap_or(default))
}

fn start<T>(
    device: &cpal::Device,
    config: StreamConfig,
    channels: usize,
) -> Result<(cpal::Stream, HeapProd<f32>, Arc<Shared>), DeviceError>
where
    T: SizedSample + FromSample<f32>,
{
    let room = (AHEAD * f64::from(config.sample_rate)) as usize * channels;
    let (push, pop): (HeapProd<f32>, HeapCons<f32>) = HeapRb::new(room).split();
    let shared = Arc::new(Shared::new());
    let mut feed = Feed::new(
        pop,
        shared.clone(),
        config.sample_rate,
        channels,
        usize::from(config.channels),
    );
    let reports = shared.clone();
    let stream = device.build_output_stream(
        config,
        move |out: &mut [T], info: &OutputCallbackInfo| {
            let stamp = info.timestamp();
            feed.fill(out, stamp.playback.duration_since(stamp.callback));
        },
        move |error: cpal::Error| reports.watch.note(error.kind()),
        Some(Duration::from_secs(1)),
    )?;
    stream.play()?;
    shared.watch.alive(Instant::now());
    Ok((stream, push, shared))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::clap;

    /// Plays claps half a second apart in real time. What the loudspeaker gets
    /// can be recorded meanwhile; the test itself checks the clock.
    #[test]
    fn a_real_device_keeps_time_and_loses_nothing() {
        let mut out = match Output::open(&Choice::Default, 44_100, 2) {
            Ok(out) => out,
            Err(e) => {
                println!("skipped: {e}");
                return;
            }
        };
        let rate = out.rate() as usize;
        let clap = clap::group(out.rate());
        let mut tune = vec![0.0f32; rate * 2 * 3];
        for start in (rate / 2..rate * 5 / 2).step_by(rate / 2) {
            for (n, s) in clap.iter().enumerate() {
                tune[2 * (start + n)] = 0.5 * s;
                tune[2 * (start + n) + 1] = 0.5 * s;
            }
        }
        let (begin, mut at, mut last, mut worst) = (Instant::now(), 0, 0.0, 0.0f64);
        let mut first = None;
        while begin.elapsed() < Duration::from_secs(10) {
            at += 2 * out.write(&tune[at..]);
            if at == tune.len() && out.drained() {
                break;
            }
            if at == tune.len() {
                out.end();
            }
            let heard = out.position();
            assert!(heard >= last, "ran backwards from {last} to {heard}");
            assert!(heard <= out.written() as f64 / rate as f64);
            last = heard;
            // From one second on it must go like the wall clock.
            if heard > 1.0 && heard < 2.9 {
                let offset = begin.elapsed().as_secs_f64() - heard;
                worst = worst.max((offset - *first.get_or_insert(offset)).abs());
            }
            assert_eq!(out.lost(), None);
            std::thread::sleep(Duration::from_millis(10));
        }
        println!(
            "{}: {} Hz, buffer {}, heard {last:.3} s, drift {:.1} ms, {} dry, {} reports",
            out.name(),
            rate,
            out.buffer(),
            worst * 1e3,
            out.underruns(),
            out.errors(),
        );
        assert!((last - 3.0).abs() < 0.01, "heard {last} s of 3");
        assert!(worst < 0.1, "the clock drifted by {worst} s");
    }

    #[test]
    fn the_list_names_a_default_or_says_that_there_is_nothing() {
        match crate::sound::device::list() {
            Ok(devices) => {
                println!("{devices:#?}");
                let all = devices.inputs.iter().chain(&devices.outputs);
                for device in all {
                    assert!(!device.name.is_empty() && device.rate > 0 && device.channels > 0);
                }
            }
            Err(e) => {
                assert_eq!(e, DeviceError::None);
                println!("skipped: {e}");
            }
        }
    }
}
