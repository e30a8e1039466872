//! Measuring the round trip of a pair of devices, by ear.

use super::{Choice, Clapper, DeviceError, Input, Intake, Order, Outlet};
use crate::sound::roundtrip::{self, Measured, Unclear, find, judge, sweep};
use crate::sound::timeline::TimeLine;
use ringbuf::traits::{Consumer, Producer};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Loudness of the first sweep, and what each next one is louder by until one is
/// heard clearly. The first is hardly audible, the loudest is not painful.
const QUIET: f32 = 0.01;
const LOUDER: f32 = 2.0;
const LOUDEST: f32 = 0.32;

/// Sweeps that are measured once the loudness is found.
const SWEEPS: usize = 8;

/// Sweeps at the greatest loudness after which it is no use to go on.
const HOPELESS: usize = 3;

/// Seconds of sound asked for at a time: nothing is in a hurry here.
const BUFFER: f64 = 0.040;

/// Seconds before the first sweep, in which the devices settle.
const SETTLE: f64 = 1.5;

/// Seconds from an order until its sweep starts.
const LEAD: f64 = 0.3;

/// The longest round trip that is looked for, seconds; wireless loudspeakers
/// take up to half of one.
const LONGEST: f64 = 0.8;

/// Seconds of a sound that may come before the stamps say that it can.
const EARLY: f64 = 0.2;

/// A measured pair.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// Lasting name of the input.
    pub input: String,
    /// Lasting name of the output.
    pub output: String,
    /// What was measured.
    pub measured: Measured,
}

/// How a measurement goes.
#[derive(Debug, Clone, PartialEq)]
pub enum Step {
    /// The devices in use, for people.
    Opened(String, String),
    /// A sweep of this loudness (full scale 1) was heard after so many seconds,
    /// or not.
    Sweep(f32, Option<f64>),
}

/// Why nothing was measured.
#[derive(Debug, thiserror::Error)]
pub enum MeasureError {
    /// The microphone cannot be used.
    #[error("cannot listen")]
    Input(#[source] DeviceError),
    /// The loudspeaker cannot be used.
    #[error("cannot play")]
    Output(#[source] DeviceError),
    /// One of them stopped.
    #[error(
        "\"{0}\" stopped while it was measured; check its plug and the sound server, then try again"
    )]
    Lost(String),
    /// The sweeps say nothing.
    #[error(transparent)]
    Unclear(#[from] Unclear),
    /// Somebody asked to stop.
    #[error("stopped, so nothing was measured")]
    Stopped,
}

/// Plays sweeps and listens for them. `step` is told how it goes, and says
/// whether to go on.
///
/// # Errors
/// If a device cannot be used, or the sweeps are not heard clearly.
pub fn measure(
    input: &Choice,
    channel: Option<usize>,
    output: &Choice,
    mut step: impl FnMut(Step) -> bool,
) -> Result<Pair, MeasureError> {
    let epoch = Instant::now();
    let (input, intake) = Input::open(input, channel, epoch).map_err(MeasureError::Input)?;
    let (output, outlet) = Clapper::open(output, BUFFER, epoch).map_err(MeasureError::Output)?;
    if !step(Step::Opened(input.name().into(), output.name().into())) {
        return Err(MeasureError::Stopped);
    }
    let mut bench = Bench {
        heard: TimeLine::new(intake.rate),
        played: TimeLine::new(outlet.rate),
        clip: sweep(outlet.rate).into(),
        input,
        output,
        intake,
        outlet,
        sound: Vec::new(),
        taken: 0,
        next: 0,
        epoch,
    };
    bench.wait(SETTLE)?;
    let (mut gain, mut played, mut trips) = (QUIET, 0, Vec::new());
    while trips.len() < SWEEPS && played < SWEEPS {
        let trip = bench.sweep(gain)?;
        if !step(Step::Sweep(gain, trip)) {
            return Err(MeasureError::Stopped);
        }
        // Those that only looked for the loudness do not count.
        match trip {
            None if trips.is_empty() && gain < LOUDEST => gain = (gain * LOUDER).min(LOUDEST),
            trip => {
                played += 1;
                trips.extend(trip);
            }
        }
        if trips.is_empty() && played == HOPELESS {
            break;
        }
    }
    Ok(Pair {
        input: bench.input.id().to_owned(),
        output: bench.output.id().to_owned(),
        measured: judge(&trips, played)?,
    })
}

struct Bench {
    input: Input,
    output: Clapper,
    intake: Intake,
    outlet: Outlet,
    heard: TimeLine,
    played: TimeLine,
    clip: Arc<[f32]>,
    /// What was heard last, and how many samples in all.
    sound: Vec<f32>,
    taken: u64,
    next: u64,
    epoch: Instant,
}

impl Bench {
    /// Listens for so many seconds.
    fn wait(&mut self, seconds: f64) -> Result<(), MeasureError> {
        let end = Instant::now() + Duration::from_secs_f64(seconds);
        while Instant::now() < end {
            std::thread::sleep(Duration::from_millis(3));
            for stamp in self.intake.stamps.pop_iter() {
                self.heard.stamp(stamp);
            }
            for stamp in self.outlet.stamps.pop_iter() {
                self.played.stamp(stamp);
            }
            let before = self.sound.len();
            self.sound.extend(self.intake.samples.pop_iter());
            self.taken += (self.sound.len() - before) as u64;
            while self.outlet.reports.try_pop().is_some() {}
            if self.input.lost() {
                return Err(MeasureError::Lost(self.input.name().into()));
            }
            if self.output.lost() {
                return Err(MeasureError::Lost(self.output.name().into()));
            }
        }
        Ok(())
    }

    /// Plays one sweep; tells its round trip if it was heard clearly.
    fn sweep(&mut self, gain: f32) -> Result<Option<f64>, MeasureError> {
        self.sound.clear();
        let start = self.epoch.elapsed().as_secs_f64() + LEAD;
        let Some(at) = self.played.count_at(start) else {
            return Ok(None);
        };
        let at = at.max(0.0).round();
        let order = Order::Play {
            id: self.next,
            at: at as u64,
            clip: self.clip.clone(),
            gain,
        };
        self.next += 1;
        if self.outlet.orders.try_push(order).is_err() {
            return Ok(None);
        }
        self.wait(LEAD + LONGEST + roundtrip::SECONDS)?;
        // By then the lines rest on more stamps than before.
        let Some(left) = self.played.time_of(at) else {
            return Ok(None);
        };
        let first = (self.taken - self.sound.len() as u64) as f64;
        let from = self.heard.count_at(left - EARLY).unwrap_or(first);
        let skip = ((from - first).max(0.0) as usize).min(self.sound.len());
        let found = find(&self.sound[skip..], self.intake.rate);
        let came = found.and_then(|f| self.heard.time_of(first + skip as f64 + f.at));
        Ok(came.map(|came| came - left))
    }
}
