//! The room's microphone, as long as there is one.

use std::time::{Duration, Instant};

use ringbuf::traits::Consumer;

use crate::follow::drill::Ear;
use crate::screen::level_words;
use crate::sound::device::{Choice, Input, Intake};

use super::super::listen::Clipping;

/// Time between two tries to open a microphone again.
const AGAIN: Duration = Duration::from_secs(1);

/// A microphone that is opened again when it comes back.
pub(super) struct RoomEar {
    choice: Choice,
    channel: Option<usize>,
    epoch: Instant,
    open: Option<Open>,
    next_try: Instant,
    clipping: Clipping,
}

struct Open {
    input: Input,
    intake: Intake,
    ear: Ear,
}

impl RoomEar {
    /// Opens it; why not, if that fails: the lesson goes on without.
    pub(super) fn open(choice: Choice, channel: Option<usize>) -> (Self, Option<String>) {
        let mut room = RoomEar {
            choice,
            channel,
            epoch: Instant::now(),
            open: None,
            next_try: Instant::now(),
            clipping: Clipping::default(),
        };
        let why = room.try_open().err();
        (room, why)
    }

    fn try_open(&mut self) -> Result<(), String> {
        self.next_try = Instant::now() + AGAIN;
        let (input, intake) = Input::open(&self.choice, self.channel, self.epoch)
            .map_err(|error| error.to_string())?;
        self.open = Some(Open {
            ear: Ear::new(intake.rate),
            input,
            intake,
        });
        Ok(())
    }

    /// Takes what was heard; tells if the microphone went or came.
    pub(super) fn listen(&mut self) -> Option<String> {
        if let Some(lost) = self.open.take_if(|open| open.input.lost()) {
            let name = lost.input.name().to_owned();
            // Standard error is off while a device is closed: told is after it.
            drop(lost);
            self.next_try = Instant::now() + AGAIN;
            return Some(format!(
                "\"{name}\" has stopped: no feedback until it is back; check its plug"
            ));
        }
        let Some(open) = &mut self.open else {
            let due = Instant::now() >= self.next_try;
            let back = due && self.try_open().is_ok();
            return back.then(|| "the microphone is back".to_owned());
        };
        for stamp in open.intake.stamps.pop_iter() {
            open.ear.stamp(stamp);
        }
        let ear = &mut open.ear;
        open.intake.take(|samples| ear.hear(samples));
        None
    }

    /// What was heard, while there is a microphone.
    pub(super) fn ear(&self) -> Option<&Ear> {
        self.open.as_ref().map(|open| &open.ear)
    }

    /// Seconds of the common time that its stamps are in.
    pub(super) fn now(&self) -> f64 {
        self.epoch.elapsed().as_secs_f64()
    }

    /// How loud it is, in words.
    pub(super) fn level(&mut self) -> String {
        let now = self.now();
        match &self.open {
            Some(open) => {
                let level = open.intake.meter.level();
                level_words(level.peak, self.clipping.shown(&level, now))
            }
            None => "no microphone: no feedback".to_owned(),
        }
    }
}
