//! Rehearsing live: the band plays through the loudspeaker, the caller is heard.
//!
//! One thread feeds the loudspeaker some seconds ahead, takes what the microphone heard,
//! works out what was played at that moment ([`Abreast`](super::Abreast)), and lets an
//! [`Ear`](super::Ear) hear both. Prompts are told in seconds of the playback as the caller
//! heard it. A microphone that was lost is opened again once it is back.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering::Relaxed};
use std::thread::JoinHandle;
use std::time::Instant;

use crossbeam_channel::{Receiver, unbounded};

use super::ear::EarError;
use super::echo::Removal;
use super::prompt::Prompt;
use crate::sound::device::{Choice, Clapper, DeviceError, Direction, LONGEST};
use crate::sound::resample::ResampleError;
use crate::sound::roundtrip::RoundTrips;

mod desk;
mod keep;

use desk::Desk;

/// What is played: appends mono frames to the vector; 0 at its end.
pub type Playback = Box<dyn FnMut(&mut Vec<f32>) -> anyhow::Result<usize> + Send>;

/// What to rehearse with.
pub struct Wanted {
    /// Where the caller is heard.
    pub input: Choice,
    /// The one channel of it that is heard, from 1; else the mean of all.
    pub channel: Option<usize>,
    /// Where the band plays.
    pub output: Choice,
    /// Whether to listen at all.
    pub microphone: bool,
    /// How the playback is taken out of what is heard.
    pub removal: Removal,
    /// What was measured of pairs of devices.
    pub round_trips: RoundTrips,
    /// The playback and its frames a second.
    pub playback: (u32, Playback),
    /// Where what is heard is kept.
    pub keep: Option<PathBuf>,
}

/// What a studio tells as it goes.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    /// A device is in use: its name, and what is to be known of it.
    Opened(Direction, String),
    /// A device cannot be used or has stopped: why, with the remedy.
    Lost(Direction, String),
    /// The recording is not kept, or no further: why, with the remedy.
    Unkept(String),
    /// A prompt was heard; times are seconds of the playback.
    Prompt(Prompt),
    /// It is over: by how many decibels the playback was softened, and how often the
    /// devices lost sound that was noticed.
    Over(Option<f32>, u32),
}

/// Why nothing can be rehearsed.
#[derive(Debug, thiserror::Error)]
pub enum StudioError {
    /// The loudspeaker cannot be used.
    #[error("cannot play")]
    Output(#[from] DeviceError),
    /// It has a rate that nothing can be played at.
    #[error(transparent)]
    Rate(#[from] ResampleError),
    /// The microphone has one that nothing can be heard at.
    #[error(transparent)]
    Ear(#[from] EarError),
    /// The system gives no more threads.
    #[error("cannot start; close some programs and try again")]
    Thread(#[from] std::io::Error),
}

/// A rehearsal under way, until this is dropped.
pub struct Studio {
    told: Receiver<Told>,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

struct Shared {
    epoch: Instant,
    stop: AtomicBool,
    /// Seconds of playback less seconds since `epoch`, as bits of an f64; NaN before it
    /// started.
    ahead: AtomicU64,
}

impl Studio {
    /// Opens the devices and starts to play. Without a microphone it goes on, and says so.
    ///
    /// # Errors
    /// If the loudspeaker cannot be used.
    pub fn start(wanted: Wanted) -> Result<Self, StudioError> {
        let (tell, told) = unbounded();
        let shared = Arc::new(Shared {
            epoch: Instant::now(),
            stop: AtomicBool::new(false),
            ahead: AtomicU64::new(f64::NAN.to_bits()),
        });
        let (output, outlet) = Clapper::open(&wanted.output, LONGEST, shared.epoch)?;
        let _ = tell.send(Told::Opened(Direction::Out, output.in_words()));
        let mut desk = Desk::new(output, outlet, wanted, shared.clone(), tell)?;
        desk.open_microphone()?;
        let thread = std::thread::Builder::new()
            .name("studio".into())
            .spawn(move || desk.run())?;
        Ok(Studio {
            told,
            shared,
            thread: Some(thread),
        })
    }

    /// What has been told since it was asked last.
    pub fn told(&self) -> impl Iterator<Item = Told> + '_ {
        self.told.try_iter()
    }

    /// Seconds of the playback that the caller has heard by now; negative before it.
    pub fn now(&self) -> f64 {
        let ahead = f64::from_bits(self.shared.ahead.load(Relaxed));
        match ahead.is_nan() {
            true => -1.0,
            false => self.shared.epoch.elapsed().as_secs_f64() + ahead,
        }
    }

    /// Whether its thread has ended.
    pub fn over(&self) -> bool {
        self.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Stops playing and waits for what is still to be told.
    pub fn end(mut self) -> Vec<Told> {
        self.shared.stop.store(true, Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
        self.told.try_iter().collect()
    }
}

impl Drop for Studio {
    fn drop(&mut self) {
        self.shared.stop.store(true, Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
