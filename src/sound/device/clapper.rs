//! Clapping: clips that leave an output device at a sample of its own count.

use super::DeviceError;
use super::choose::{Choice, Direction, find};
use super::feed::spread;
use super::output::choose;
use super::stream::{PIECE, Running, STAMPS, start_with, with_sample};
use super::watch::Watch;
use crate::sound::mix::{FADE, Mixer};
use crate::sound::peak::Limiter;
use crate::sound::quiet::Quiet;
use crate::sound::timeline::Stamp;
use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{FromSample, OutputCallbackInfo, SizedSample, StreamConfig};
use ringbuf::traits::{Consumer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// The rate asked for, hertz.
const RATE: u32 = 48_000;

/// Seconds of sound asked for in a callback at first and at most; the device
/// holds two of them. The shorter they are, the later a clap can still be put
/// right, and the more does a busy machine leave out.
pub const SHORTEST: f64 = 0.020;
/// See [`SHORTEST`].
pub const LONGEST: f64 = 0.080;

/// Orders and reports that wait at most.
const ORDERS: usize = 64;

/// A clap that comes no later than this, seconds, is given at once; a later one
/// not at all, for a clap off the beat is worse than none.
pub(super) const LATE: f64 = 0.005;

/// What an output device is to do. The clip must be held elsewhere too, so that
/// it is never freed in the device's callback.
#[derive(Debug, Clone)]
pub enum Order {
    /// Play `clip` (mono) from frame `at` of the device's count on, instead of
    /// one of the same `id` that still waits.
    Play {
        /// Its name.
        id: u64,
        /// Frame of the device's count.
        at: u64,
        /// The sound at the device's rate.
        clip: Arc<[f32]>,
        /// Scale.
        gain: f32,
    },
    /// Do not play the one called so, if it still waits.
    Withdraw {
        /// Its name.
        id: u64,
    },
    /// Make the one called so silent from a frame on; at once if that has passed.
    Stop {
        /// Its name.
        id: u64,
        /// Frame of the device's count.
        at: u64,
    },
}

/// What became of an [`Order::Play`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Report {
    /// The clip's name.
    pub id: u64,
    /// Frames from the device's next one to the one asked for; negative if
    /// that had passed.
    pub margin: i64,
    /// Whether it is or was played.
    pub taken: bool,
}

/// An open output device that plays silence and what it is ordered to.
pub struct Clapper {
    /// Set aside, while it lives, to play: dropping it ends the stream.
    _stream: Running,
    watch: Arc<Watch>,
    name: String,
    id: String,
    rate: u32,
    /// Frames that it asks for at a time; 0 if it does not say.
    buffer: u32,
}

/// Where a [`Clapper`] takes its orders.
pub struct Outlet {
    /// Orders, in order.
    pub orders: HeapProd<Order>,
    /// One stamp a callback. Counts are of the frames handed to the device.
    pub stamps: HeapCons<Stamp>,
    /// One report for each [`Order::Play`].
    pub reports: HeapCons<Report>,
    /// Frames a second.
    pub rate: u32,
    watch: Arc<Watch>,
}

impl Outlet {
    /// How often the device ran dry, as far as it says so.
    pub fn underruns(&self) -> u64 {
        self.watch.xruns()
    }
}

impl Clapper {
    /// Opens an output device that is to ask for `buffer` seconds of sound at a
    /// time, [`SHORTEST`] to [`LONGEST`]. Stamps are seconds since `epoch`.
    ///
    /// # Errors
    /// What keeps the device from playing; a device that is not there.
    pub fn open(
        choice: &Choice,
        buffer: f64,
        epoch: Instant,
    ) -> Result<(Self, Outlet), DeviceError> {
        let _quiet = Quiet::begin();
        let chosen = find(choice, Direction::Out)?;
        let config = choose(&chosen.device, RATE)?;
        let buffer = buffer.clamp(SHORTEST, LONGEST);
        let frames = (buffer * f64::from(config.sample_rate())) as u32;
        let (stream, outlet) = start_with(&config, frames, |stream_config| {
            with_sample!(
                config.sample_format(),
                start(&chosen.device, stream_config, epoch)
            )
        })?;
        let clapper = Clapper {
            buffer: stream.buffer_size().unwrap_or(0),
            _stream: stream.into(),
            watch: outlet.watch.clone(),
            name: chosen.name,
            id: chosen.id,
            rate: outlet.rate,
        };
        Ok((clapper, outlet))
    }

    /// The device's name for people.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its name for the system, unique and lasting.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// Its name and how it plays: one line.
    pub fn in_words(&self) -> String {
        format!(
            "\"{}\", {} Hz, {:.0} ms at a time",
            self.name,
            self.rate,
            1e3 * f64::from(self.buffer) / f64::from(self.rate)
        )
    }

    /// How often it ran dry, as far as it says so.
    pub fn underruns(&self) -> u64 {
        self.watch.xruns()
    }

    /// Whether it has stopped: no callback for a second, or its own word.
    pub fn lost(&self) -> bool {
        self.watch.lost(Instant::now())
    }
}

impl std::fmt::Debug for Clapper {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Clapper")
            .field("name", &self.name)
            .field("buffer", &self.buffer)
            .finish_non_exhaustive()
    }
}

fn start<T>(
    device: &cpal::Device,
    config: StreamConfig,
    epoch: Instant,
) -> Result<(cpal::Stream, Outlet), DeviceError>
where
    T: SizedSample + FromSample<f32>,
{
    let (mut hands, outlet) = hands(config.sample_rate, config.channels.into(), epoch);
    let reports = outlet.watch.clone();
    let stream = device.build_output_stream(
        config,
        move |out: &mut [T], info: &OutputCallbackInfo| {
            let stamp = info.timestamp();
            hands.fill(out, stamp.playback.duration_since(stamp.callback));
        },
        move |error: cpal::Error| reports.note(error.kind()),
        Some(Duration::from_secs(1)),
    )?;
    stream.play()?;
    outlet.watch.alive(Instant::now());
    Ok((stream, outlet))
}

/// The output callback's state.
struct Hands {
    orders: HeapCons<Order>,
    stamps: HeapProd<Stamp>,
    reports: HeapProd<Report>,
    watch: Arc<Watch>,
    /// It is ahead of the device by the limiter's delay, so that what it adds at a frame
    /// leaves at that frame.
    mixer: Mixer,
    limiter: Limiter,
    /// Frames handed to the device.
    count: u64,
    channels: usize,
    /// Frames by which a clap may be late.
    late: u64,
    /// Frames over which a clip that is stopped fades.
    fade: u64,
}

fn hands(rate: u32, channels: usize, epoch: Instant) -> (Hands, Outlet) {
    let (orders, orders_out) = HeapRb::new(ORDERS).split();
    let (stamps_in, stamps) = HeapRb::new(STAMPS).split();
    let (reports_in, reports) = HeapRb::new(ORDERS).split();
    let watch = Arc::new(Watch::new(epoch));
    let (mut mixer, mut limiter) = (Mixer::new(), Limiter::new(rate, 1));
    let mut ahead = vec![0.0; limiter.delay()];
    mixer.mix(&mut ahead, 1);
    limiter.pass(&mut ahead);
    let hands = Hands {
        orders: orders_out,
        stamps: stamps_in,
        reports: reports_in,
        watch: watch.clone(),
        mixer,
        limiter,
        count: 0,
        channels: channels.max(1),
        late: (LATE * f64::from(rate)) as u64,
        fade: (FADE * f64::from(rate)) as u64,
    };
    let outlet = Outlet {
        orders,
        stamps,
        reports,
        rate,
        watch,
    };
    (hands, outlet)
}

impl Hands {
    /// Fills one of the device's buffers, the first frame of which will be
    /// heard after `delay`.
    fn fill<T>(&mut self, out: &mut [T], delay: Duration)
    where
        T: SizedSample + FromSample<f32>,
    {
        let now = self.watch.alive(Instant::now());
        // A stamp more or less matters to nobody.
        let _ = self.stamps.try_push(Stamp {
            count: self.count,
            at: now.as_secs_f64() + delay.as_secs_f64(),
        });
        while let Some(order) = self.orders.try_pop() {
            self.obey(order);
        }
        for piece in out.chunks_mut(PIECE * self.channels) {
            let mut scratch = [0.0f32; PIECE];
            let mono = &mut scratch[..piece.len() / self.channels];
            self.mixer.mix(mono, 1);
            self.limiter.pass(mono);
            self.count += mono.len() as u64;
            spread(mono, 1, piece, self.channels);
        }
    }

    fn obey(&mut self, order: Order) {
        match order {
            Order::Play { id, at, clip, gain } => {
                let now = self.mixer.now();
                let due = if at + self.late >= now {
                    at.max(now)
                } else {
                    at
                };
                let taken = self.mixer.place(id, due, clip, gain);
                let _ = self.reports.try_push(Report {
                    id,
                    margin: at as i64 - now as i64,
                    taken,
                });
            }
            Order::Withdraw { id } => {
                self.mixer.withdraw(id);
            }
            Order::Stop { id, at } => {
                self.mixer.stop(id, at, self.fade);
            }
        }
    }
}

#[cfg(test)]
mod tests;
