//! Hearing: from an input device to mono samples that somebody takes.

use super::DeviceError;
use super::choose::{Choice, Direction, find};
use super::meter::{Meter, Needle};
use super::stream::{PIECE, Running, STAMPS, start_with, supported, with_sample};
use super::watch::Watch;
use crate::sound::quiet::Quiet;
use crate::sound::timeline::Stamp;
use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{
    FromSample, InputCallbackInfo, Sample, SizedSample, StreamConfig, SupportedStreamConfig,
};
use ringbuf::traits::{Consumer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::time::{Duration, Instant};

/// Callbacks asked for a second: what is heard is known so much later at least.
const CALLBACKS: u32 = 100;

/// Seconds of sound that wait at most for somebody to take them.
const ROOM: usize = 2;

/// Samples passed on at a time, at most.
const BLOCK: usize = 512;

/// An open input device. It hears until it is dropped.
pub struct Input {
    /// Set aside, while it lives, to hear: dropping it ends the stream.
    _stream: Running,
    watch: Arc<Watch>,
    name: String,
    id: String,
    channels: usize,
    /// The one that is heard, from 1; else the mean of all.
    channel: Option<usize>,
    rate: u32,
    buffer: u32,
}

/// Where the samples of an [`Input`] are taken.
pub struct Intake {
    /// Mono samples, full scale ±1, in order.
    pub samples: HeapCons<f32>,
    /// One stamp a callback. Counts are of the samples put into `samples`.
    pub stamps: HeapCons<Stamp>,
    /// Samples a second.
    pub rate: u32,
    /// How loud it is.
    pub meter: Arc<Meter>,
    overruns: Arc<AtomicU64>,
    watch: Arc<Watch>,
}

impl Intake {
    /// Passes on all samples that have come, some hundreds at a time.
    pub fn take(&mut self, mut hear: impl FnMut(&[f32])) {
        let mut block = [0.0f32; BLOCK];
        loop {
            match self.samples.pop_slice(&mut block) {
                0 => return,
                taken => hear(&block[..taken]),
            }
        }
    }

    /// Callbacks whose samples were partly lost, for want of room or because
    /// the device said so.
    pub fn overruns(&self) -> u64 {
        self.overruns.load(Relaxed) + self.watch.xruns()
    }
}

impl Input {
    /// Opens an input device and starts to hear: channel `channel` (from 1) of
    /// it, or the mean of all. Stamps are seconds since `epoch`.
    ///
    /// # Errors
    /// What keeps the device from being used; a device or channel that is not
    /// there.
    pub fn open(
        choice: &Choice,
        channel: Option<usize>,
        epoch: Instant,
    ) -> Result<(Self, Intake), DeviceError> {
        let _quiet = Quiet::begin();
        let chosen = find(choice, Direction::In).map_err(DeviceError::of_input)?;
        let config = config(&chosen.device, channel.unwrap_or(1)).map_err(DeviceError::of_input)?;
        let channels = usize::from(config.channels());
        if let Some(n) = channel.filter(|n| *n == 0 || *n > channels) {
            return Err(DeviceError::Channel(chosen.name, n, channels));
        }
        let frames = (config.sample_rate() / CALLBACKS).max(16);
        let (stream, intake) = start_with(&config, frames, |stream_config| {
            with_sample!(
                config.sample_format(),
                start(&chosen.device, stream_config, channel, epoch)
            )
        })
        .map_err(DeviceError::of_input)?;
        let input = Input {
            buffer: stream.buffer_size().unwrap_or(0),
            _stream: stream.into(),
            watch: intake.watch.clone(),
            name: chosen.name,
            id: chosen.id,
            channels,
            channel,
            rate: intake.rate,
        };
        Ok((input, intake))
    }

    /// The device's name for people.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its name for the system, unique and lasting.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// Its name, what of it is heard, and how: one line.
    pub fn in_words(&self) -> String {
        let heard = match (self.channel, self.channels) {
            (Some(n), all) => format!("channel {n} of {all}"),
            (None, 1) => "its one channel".to_owned(),
            (None, n) => format!("the mean of its {n} channels"),
        };
        format!(
            "\"{}\", {heard}, {} Hz, {:.0} ms at a time",
            self.name,
            self.rate,
            1e3 * f64::from(self.buffer) / f64::from(self.rate)
        )
    }

    /// Whether it has stopped: no callback for a second, or its own word.
    pub fn lost(&self) -> bool {
        self.watch.lost(Instant::now())
    }
}

/// The device's own configuration, or one with at least `channels` channels.
fn config(device: &cpal::Device, channels: usize) -> Result<SupportedStreamConfig, DeviceError> {
    let default = device.default_input_config()?;
    let enough = |count: u16| usize::from(count) >= channels;
    if enough(default.channels()) && supported(default.sample_format()) {
        return Ok(default);
    }
    let rate = default.sample_rate();
    let other = device
        .supported_input_configs()?
        .filter(|c| enough(c.channels()) && supported(c.sample_format()))
        .filter_map(|c| {
            c.try_with_sample_rate(rate)
                .or(Some(c.with_max_sample_rate()))
        })
        .min_by_key(SupportedStreamConfig::channels);
    Ok(other.unwrap_or(default))
}

fn start<T>(
    device: &cpal::Device,
    config: StreamConfig,
    channel: Option<usize>,
    epoch: Instant,
) -> Result<(cpal::Stream, Intake), DeviceError>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    let (mut ear, intake) = ear(config.sample_rate, config.channels.into(), channel, epoch);
    let reports = intake.watch.clone();
    let stream = device.build_input_stream(
        config,
        move |heard: &[T], info: &InputCallbackInfo| {
            let stamp = info.timestamp();
            ear.hear(heard, stamp.callback.duration_since(stamp.capture));
        },
        move |error: cpal::Error| reports.note(error.kind()),
        Some(Duration::from_secs(1)),
    )?;
    stream.play()?;
    intake.watch.alive(Instant::now());
    Ok((stream, intake))
}

/// The input callback's state.
struct Ear {
    samples: HeapProd<f32>,
    stamps: HeapProd<Stamp>,
    watch: Arc<Watch>,
    meter: Arc<Meter>,
    needle: Needle,
    overruns: Arc<AtomicU64>,
    channels: usize,
    /// The one channel that is heard, from 0; else the mean of all.
    only: Option<usize>,
    count: u64,
}

fn ear(rate: u32, channels: usize, channel: Option<usize>, epoch: Instant) -> (Ear, Intake) {
    let (samples_in, samples) = HeapRb::new(ROOM * rate as usize).split();
    let (stamps_in, stamps) = HeapRb::new(STAMPS).split();
    let watch = Arc::new(Watch::new(epoch));
    let meter = Arc::new(Meter::default());
    let overruns = Arc::new(AtomicU64::new(0));
    let ear = Ear {
        samples: samples_in,
        stamps: stamps_in,
        watch: watch.clone(),
        meter: meter.clone(),
        needle: Needle::new(rate),
        overruns: overruns.clone(),
        channels: channels.max(1),
        only: channel.map(|n| n.saturating_sub(1)),
        count: 0,
    };
    let intake = Intake {
        samples,
        stamps,
        rate,
        meter,
        overruns,
        watch,
    };
    (ear, intake)
}

impl Ear {
    /// Takes a block of interleaved frames, the first of which was at the
    /// microphone `ago` before now.
    fn hear<T>(&mut self, block: &[T], ago: Duration)
    where
        T: Copy,
        f32: FromSample<T>,
    {
        let now = self.watch.alive(Instant::now());
        // A stamp more or less matters to nobody.
        let _ = self.stamps.try_push(Stamp {
            count: self.count,
            at: now.as_secs_f64() - ago.as_secs_f64(),
        });
        let mut scratch = [0.0f32; PIECE];
        let mut lost = false;
        for piece in block.chunks(PIECE * self.channels) {
            let mono = &mut scratch[..piece.len() / self.channels];
            for (frame, mono) in piece.chunks_exact(self.channels).zip(mono.iter_mut()) {
                *mono = match self.only {
                    Some(n) => frame.get(n).map_or(0.0, |s| f32::from_sample(*s)),
                    None => {
                        let sum: f32 = frame.iter().map(|s| f32::from_sample(*s)).sum();
                        sum / self.channels as f32
                    }
                };
            }
            self.needle.see(mono, &self.meter);
            let taken = self.samples.push_slice(mono);
            // Only what was put in is counted: to the time line a loss here
            // and one in the device look the same.
            self.count += taken as u64;
            lost |= taken < mono.len();
        }
        if lost {
            self.overruns.fetch_add(1, Relaxed);
        }
    }
}

impl std::fmt::Debug for Input {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Input")
            .field("name", &self.name)
            .field("channels", &self.channels)
            .field("buffer", &self.buffer)
            .finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use cpal::I24;
    use ringbuf::traits::Observer;

    fn heard<T: Copy>(block: &[T], channels: usize, only: Option<usize>) -> Vec<f32>
    where
        f32: FromSample<T>,
    {
        let (mut ear, mut intake) = ear(8_000, channels, only, Instant::now());
        ear.hear(block, Duration::ZERO);
        intake.samples.pop_iter().collect()
    }

    #[test]
    fn all_channels_or_one_of_them_are_heard() {
        let frames = [0.5f32, -0.5, 0.25, 0.75];
        assert_eq!(heard(&frames, 2, None), [0.0, 0.5]);
        assert_eq!(heard(&frames, 2, Some(1)), [0.5, 0.25]);
        assert_eq!(heard(&frames, 2, Some(2)), [-0.5, 0.75]);
        assert_eq!(heard(&frames, 4, Some(3)), [0.25]);
        assert_eq!(heard(&frames, 1, None), frames);
    }

    #[test]
    fn every_format_comes_out_in_the_same_scale() {
        assert_eq!(heard(&[i16::MIN, 0, 16_384], 1, None), [-1.0, 0.0, 0.5]);
        assert_eq!(heard(&[0u8, 128, 192], 1, None), [-1.0, 0.0, 0.5]);
        assert_eq!(heard(&[i32::MIN, 1 << 30], 1, None), [-1.0, 0.5]);
        assert_eq!(heard(&[-1.0f64, 0.5], 1, None), [-1.0, 0.5]);
        let i24 = [-(1 << 23), 1 << 22].map(|n| I24::new(n).unwrap());
        assert_eq!(heard(&i24, 1, None), [-1.0, 0.5]);
    }

    #[test]
    fn what_finds_no_room_is_counted_and_leaves_a_hole_in_time() {
        let epoch = Instant::now();
        let (mut ear, mut intake) = ear(1_000, 1, None, epoch);
        for _ in 0..5 {
            ear.hear(&[0.1f32; 600], Duration::ZERO);
        }
        // Room for 2 s: the fourth block found 200 places, the fifth none.
        assert_eq!(intake.samples.occupied_len(), 2_000);
        assert_eq!(intake.overruns(), 2);
        let counts: Vec<u64> = intake.stamps.pop_iter().map(|s| s.count).collect();
        assert_eq!(counts, [0, 600, 1_200, 1_800, 2_000]);
    }

    #[test]
    fn a_stamp_tells_when_the_block_began() {
        let epoch = Instant::now();
        let (mut ear, mut intake) = ear(1_000, 1, None, epoch);
        ear.hear(&[0.0f32; 10], Duration::from_millis(250));
        let stamp = intake.stamps.try_pop().unwrap();
        assert!((-0.25..-0.2).contains(&stamp.at), "{}", stamp.at);
    }
}
