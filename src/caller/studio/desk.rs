//! The thread between the loudspeaker and the microphone.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::time::Duration;

use crossbeam_channel::Sender;
use ringbuf::traits::{Consumer, Producer};

use super::keep::Keep;
use super::{Shared, StudioError, Told, Wanted};
use crate::caller::abreast::{Abreast, Beside};
use crate::caller::ear::{Ear, Method};
use crate::caller::prompt::Prompt;
use crate::sound::device::{Clapper, Direction, Input, Intake, Order, Outlet};
use crate::sound::resample::Resampler;

/// Time between two looks at the devices.
const REST: Duration = Duration::from_millis(4);
/// Seconds of playback ordered ahead, and in one order.
const AHEAD: f64 = 3.0;
const PIECE: f64 = 0.5;
/// Seconds in which the devices' clocks settle before the playback starts.
const SETTLE: f64 = 1.5;
/// Seconds between two tries to open a microphone that was lost.
const AGAIN: f64 = 2.0;
/// Level of the playback.
const LEVEL: f32 = 0.7;
/// Seconds after the playback in which prompts may still be told.
const AFTER: f64 = 1.5;

/// The microphone and what hears through it.
struct Mic {
    input: Input,
    intake: Intake,
    ear: Ear,
    scratch: (Beside, Vec<Prompt>),
}

/// Everything that the thread looks after.
pub(super) struct Desk {
    /// What is played beside what is heard.
    abreast: Abreast,
    /// `None` once the playback is at its end.
    resampler: Option<Resampler>,
    mic: Option<Mic>,
    /// When a microphone that was lost is looked for again, seconds of the epoch.
    again: Option<f64>,
    keep: Option<Keep>,
    output: Clapper,
    outlet: Outlet,
    wanted: Wanted,
    shared: Arc<Shared>,
    tell: Sender<Told>,
    /// All that was ordered, at the output's rate.
    played: Vec<f32>,
    /// Clips in use: never freed in the device's callback.
    clips: Vec<Arc<[f32]>>,
    ordered: usize,
    softened: Option<f32>,
    gaps: u32,
}

impl Desk {
    pub(super) fn new(
        output: Clapper,
        outlet: Outlet,
        wanted: Wanted,
        shared: Arc<Shared>,
        tell: Sender<Told>,
    ) -> Result<Self, StudioError> {
        let rate = outlet.rate;
        Ok(Desk {
            abreast: Abreast::new(rate),
            resampler: Some(Resampler::new(wanted.playback.0, rate, 1)?),
            mic: None,
            again: None,
            keep: None,
            output,
            outlet,
            wanted,
            shared,
            tell,
            played: Vec::new(),
            clips: Vec::new(),
            ordered: 0,
            softened: None,
            gaps: 0,
        })
    }

    /// Plays and listens until it is over or somebody says stop.
    pub(super) fn run(mut self) {
        let mut over = false;
        while !self.shared.stop.load(Relaxed) && !over {
            std::thread::sleep(REST);
            match self.look() {
                Ok(done) => over = done,
                Err(why) => {
                    let _ = self
                        .tell
                        .send(Told::Lost(Direction::Out, format!("{why:#}")));
                    over = true;
                }
            }
        }
        // What was said last is told too.
        let done = self.let_go();
        debug_assert!(done.is_ok());
        if let Some(keep) = self.keep.take() {
            keep.end();
        }
        let _ = self.tell.send(Told::Over(self.softened, self.gaps));
    }

    /// Looks after everything once; tells whether it is over.
    fn look(&mut self) -> anyhow::Result<bool> {
        for stamp in self.outlet.stamps.pop_iter() {
            self.abreast.played(stamp);
        }
        while self.outlet.reports.try_pop().is_some() {}
        if self.output.lost() {
            anyhow::bail!(
                "\"{}\" has stopped; check its plug and the sound server, then start again",
                self.output.name()
            );
        }
        let now = self.shared.epoch.elapsed().as_secs_f64();
        let rate = f64::from(self.outlet.rate);
        if self.abreast.started().is_none() && now > SETTLE && self.abreast.settled() {
            self.abreast.start(now + 0.5);
        }
        let heard = self.abreast.seconds_at(now);
        if let (Some(start), Some(heard)) = (self.abreast.started(), heard) {
            self.shared.ahead.store((heard - now).to_bits(), Relaxed);
            self.order(start, heard)?;
        }
        self.hear(now)?;
        let end = self.played.len() as f64 / rate;
        Ok(self.resampler.is_none() && heard.is_some_and(|heard| heard > end + AFTER))
    }

    /// Orders the playback that is due soon.
    fn order(&mut self, start: u64, heard: f64) -> anyhow::Result<()> {
        let rate = f64::from(self.outlet.rate);
        while let Some(resampler) = &mut self.resampler
            && (self.played.len() as f64) < (heard + AHEAD) * rate
        {
            let mut frames = Vec::new();
            if (self.wanted.playback.1)(&mut frames)? == 0 {
                resampler.finish(&mut self.played)?;
                self.resampler = None;
            } else {
                frames.iter_mut().for_each(|x| *x *= LEVEL);
                resampler.push(&frames, &mut self.played)?;
            }
        }
        let piece = (PIECE * rate) as usize;
        while self.played.len() - self.ordered >= piece
            || (self.resampler.is_none() && self.ordered < self.played.len())
        {
            let end = (self.ordered + piece).min(self.played.len());
            let clip: Arc<[f32]> = self.played[self.ordered..end].into();
            let order = Order::Play {
                id: self.clips.len() as u64,
                at: start + self.ordered as u64,
                clip: clip.clone(),
                gain: 1.0,
            };
            if self.outlet.orders.try_push(order).is_err() {
                break;
            }
            self.clips.push(clip);
            self.ordered = end;
        }
        // Those long over may be let go of: only this thread holds them by then.
        let over = ((heard - 2.0) / PIECE).max(0.0) as usize;
        for clip in self
            .clips
            .iter_mut()
            .take(over)
            .rev()
            .take_while(|c| !c.is_empty())
        {
            *clip = Arc::from([]);
        }
        Ok(())
    }

    /// Opens the microphone, if one is wanted; says so if there is none.
    pub(super) fn open_microphone(&mut self) -> Result<(), StudioError> {
        if !self.wanted.microphone {
            return Ok(());
        }
        let opened = Input::open(&self.wanted.input, self.wanted.channel, self.shared.epoch);
        let (input, intake) = match opened {
            Ok(opened) => opened,
            Err(error) => {
                let _ = self.tell.send(Told::Lost(Direction::In, error.to_string()));
                return Ok(());
            }
        };
        let known = self.hear_through(input, intake)?;
        let words = self.mic.as_ref().map(|mic| mic.input.in_words());
        let _ = self.tell.send(Told::Opened(
            Direction::In,
            format!("{}, {known}", words.unwrap_or_default()),
        ));
        if let (Some(mic), Some(path)) = (&self.mic, self.wanted.keep.take()) {
            let kept = Keep::begin(&path, mic.intake.rate);
            self.keep = kept
                .inspect_err(|why| {
                    let _ = self.tell.send(Told::Unkept(why.clone()));
                })
                .ok();
        }
        Ok(())
    }

    /// Hears through a microphone from now on; returns what is known of its delay.
    fn hear_through(&mut self, input: Input, intake: Intake) -> Result<String, StudioError> {
        let trip = self.wanted.round_trips.get(input.id(), self.output.id());
        self.abreast
            .microphone(intake.rate, trip.unwrap_or_default());
        self.mic = Some(Mic {
            ear: Ear::new(intake.rate, Method::default(), self.wanted.removal)?,
            input,
            intake,
            scratch: Default::default(),
        });
        Ok(match trip {
            Some(seconds) => format!("round trip {:.0} ms as measured", 1e3 * seconds),
            None => "round trip not measured (`eightclap devices measure`)".to_owned(),
        })
    }

    /// Lets go of a microphone; what was said into it last is told.
    fn let_go(&mut self) -> anyhow::Result<()> {
        let done = self.listen(true);
        let Some(mut mic) = self.mic.take() else {
            return done;
        };
        let mut prompts = Vec::new();
        mic.ear.end(&mut prompts)?;
        self.softened = mic.ear.softened().or(self.softened);
        self.pass_on(&prompts);
        done
    }

    fn hear(&mut self, now: f64) -> anyhow::Result<()> {
        if let Some(lost) = self.mic.as_ref().filter(|mic| mic.input.lost()) {
            let why = format!(
                "\"{}\" has stopped; check its plug and the sound server (it is used again once it is back), and tap the ends of your calls meanwhile",
                lost.input.name()
            );
            self.let_go()?;
            let _ = self.tell.send(Told::Lost(Direction::In, why));
            self.again = Some(now + AGAIN);
        }
        if self.again.is_some_and(|again| now > again) {
            self.again = Some(now + AGAIN);
            // Why it is not there was told when it was lost.
            let opened = Input::open(&self.wanted.input, self.wanted.channel, self.shared.epoch);
            if let Ok((input, intake)) = opened {
                self.again = None;
                let name = input.name().to_owned();
                self.hear_through(input, intake)?;
                let words = format!("\"{name}\" is back");
                let _ = self.tell.send(Told::Opened(Direction::In, words));
                self.fill_up(now);
            }
        }
        self.listen(false)
    }

    /// Lets the ear hear what has come; with `all` nothing is held back any more.
    fn listen(&mut self, all: bool) -> anyhow::Result<()> {
        let Some(mic) = &mut self.mic else {
            return Ok(());
        };
        for stamp in mic.intake.stamps.pop_iter() {
            self.abreast.stamp(stamp);
        }
        let (beside, prompts) = &mut mic.scratch;
        let mut written = Ok(());
        let mut keep = self.keep.as_mut();
        mic.intake.take(|sound| {
            self.abreast.heard(sound.iter().copied());
            if let (Some(keep), Ok(())) = (&mut keep, &written) {
                written = keep.write(sound);
            }
        });
        prompts.clear();
        while self.abreast.next(&self.played, all, beside) {
            if beside.shifted {
                self.gaps += 1;
                mic.ear.shifted();
            }
            mic.ear.push(&beside.heard, &beside.played, prompts)?;
        }
        let prompts = std::mem::take(prompts);
        self.pass_on(&prompts);
        self.recorded(written);
        Ok(())
    }

    /// Puts silence into the recording for the time in which there was no microphone.
    fn fill_up(&mut self, now: f64) {
        let (Some(keep), Some(mic)) = (&mut self.keep, &self.mic) else {
            return;
        };
        let done = if mic.intake.rate == keep.rate() {
            let due = (now * f64::from(keep.rate())) as u64;
            let silence = due.saturating_sub(keep.written());
            keep.write(&vec![0.0; silence as usize])
        } else {
            let rate = mic.intake.rate;
            Err(format!(
                "the recording is kept no further: the microphone came back with {rate} samples a second; use one at a time"
            ))
        };
        self.recorded(done);
    }

    fn recorded(&mut self, done: Result<(), String>) {
        if let Err(why) = done {
            let _ = self.tell.send(Told::Unkept(why));
            if let Some(keep) = self.keep.take() {
                keep.end();
            }
        }
    }

    /// Tells prompts in seconds of the playback.
    fn pass_on(&self, prompts: &[Prompt]) {
        for prompt in prompts {
            let end = self.abreast.seconds_of(prompt.end);
            if let Some(end) = end {
                let prompt = prompt.later(end - prompt.end);
                let _ = self.tell.send(Told::Prompt(prompt));
            }
        }
    }
}
