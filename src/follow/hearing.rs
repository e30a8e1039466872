//! The beats of whatever a microphone hears, for a tempo meter: no count, no claps.
//!
//! Without a thread of its own: whoever wants beats looks in often enough, and
//! the microphone keeps two seconds of sound for that.

use std::time::Instant;

use ringbuf::traits::Consumer;

use super::session::{AGAIN, Told, stopped};
use crate::hear::features::RateError;
use crate::sound::device::{Choice, DeviceError, Direction, Input, Intake, Level};
use crate::sound::timeline::TimeLine;
use crate::steps::{Step, Steps};

/// Longest silence that stands for sound that was missed, seconds.
const FILLED: f64 = 10.0;

/// Why nothing can be heard.
#[derive(Debug, thiserror::Error)]
pub enum HearingError {
    /// The microphone cannot be used.
    #[error(transparent)]
    Device(#[from] DeviceError),
    /// It has a rate that nothing can be heard at.
    #[error(transparent)]
    Rate(#[from] RateError),
}

/// A microphone and the beats heard through it.
///
/// Times are seconds since it was asked for. A device that stops is
/// opened again once it is back.
pub struct Hearing {
    choice: Choice,
    channel: Option<usize>,
    usual: f64,
    epoch: Instant,
    open: Option<Open>,
    next_try: Instant,
    told: Vec<Told>,
    scratch: Vec<Step>,
}

/// An open microphone.
struct Open {
    input: Input,
    intake: Intake,
    steps: Steps,
    line: TimeLine,
    /// Seconds before its first sample.
    zero: f64,
    /// Samples that were made up for it.
    filled: u64,
}

impl Hearing {
    /// Opens a microphone: channel `channel` (from 1) of it, or the mean of all.
    /// `usual` is the tempo preferred where the music leaves several, steps per
    /// minute.
    ///
    /// # Errors
    /// If it cannot be used.
    pub fn open(choice: Choice, channel: Option<usize>, usual: f64) -> Result<Self, HearingError> {
        let mut hearing = Hearing {
            choice,
            channel,
            usual,
            epoch: Instant::now(),
            open: None,
            next_try: Instant::now(),
            told: Vec::new(),
            scratch: Vec::new(),
        };
        hearing.try_open()?;
        Ok(hearing)
    }

    fn try_open(&mut self) -> Result<(), HearingError> {
        let (input, intake) = Input::open(&self.choice, self.channel, self.epoch)?;
        let zero = self.epoch.elapsed().as_secs_f64();
        self.told
            .push(Told::Opened(Direction::In, input.in_words()));
        self.open = Some(Open {
            steps: Steps::new(intake.rate, self.usual)?,
            line: TimeLine::new(intake.rate),
            input,
            intake,
            zero,
            filled: 0,
        });
        Ok(())
    }

    /// Appends the beats found since the last call.
    pub fn beats(&mut self, steps: &mut Vec<Step>) {
        if let Some(lost) = self.open.take_if(|open| open.input.lost()) {
            let why = stopped(lost.input.name());
            // Standard error is off while a device is closed: told is after it.
            drop(lost);
            self.told.push(Told::Lost(Direction::In, why));
            self.next_try = Instant::now() + AGAIN;
        }
        if self.open.is_none() && Instant::now() >= self.next_try {
            // Why not was told when it was lost.
            let _ = self.try_open();
            self.next_try = Instant::now() + AGAIN;
        }
        if let Some(open) = &mut self.open {
            open.hear(&mut self.scratch);
            let zero = open.zero;
            steps.extend(self.scratch.drain(..).map(|step| step.later(zero)));
        }
    }

    /// Appends the beats that were held back, for nothing more will be heard.
    pub fn end(&mut self, steps: &mut Vec<Step>) {
        self.beats(steps);
        if let Some(mut open) = self.open.take() {
            open.steps.end(&mut self.scratch);
            let zero = open.zero;
            steps.extend(self.scratch.drain(..).map(|step| step.later(zero)));
        }
    }

    /// What has happened to the device since it was asked last.
    pub fn told(&mut self) -> std::vec::Drain<'_, Told> {
        self.told.drain(..)
    }

    /// Seconds of sound at the microphone by now; `None` while there is none.
    pub fn now(&self) -> Option<f64> {
        let open = self.open.as_ref()?;
        let count = open.line.count_at(self.epoch.elapsed().as_secs_f64())?;
        Some(open.zero + (count + open.filled as f64) / f64::from(open.intake.rate))
    }

    /// How loud it is; nothing while there is no microphone.
    pub fn level(&self) -> Level {
        let open = self.open.as_ref();
        open.map(|open| open.intake.meter.level())
            .unwrap_or_default()
    }
}

impl Open {
    /// Takes all sound that has come.
    fn hear(&mut self, steps: &mut Vec<Step>) {
        let rate = f64::from(self.intake.rate);
        for stamp in self.intake.stamps.pop_iter() {
            // What was lost on the way must not shorten the time between beats.
            if let Some(jump) = self.line.stamp(stamp).filter(|jump| *jump > 0.0) {
                let missed = (jump.min(FILLED) * rate) as usize;
                self.steps.push(&vec![0.0; missed], steps);
                self.filled += missed as u64;
            }
        }
        self.intake.take(|samples| self.steps.push(samples, steps));
    }
}
