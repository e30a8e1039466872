//! Following live sound: samples and stamps in, events and clap times out.
//!
//! This is the live flow without devices, threads or a clock: whoever owns
//! those hands in what came from them, and when. Three clocks meet here:
//! seconds of *sound* (what events speak of), the *common* time of the stamps,
//! and the samples that each device has counted.

use std::collections::VecDeque;
use std::sync::Arc;

use super::coast::Coast;
use super::plan::{Plan, Step};
use super::speech::Speech;
use crate::cue::{Cue, Scheduler};
use crate::dance::Card;
use crate::engine::{Engine, Settings};
use crate::event::Event;
use crate::hear::features::RateError;
use crate::phrase::Form;
use crate::sound::timeline::TimeLine;
pub use tally::Tally;

/// Seconds of sound that are kept, to fill shorter gaps with.
const KEPT: f64 = 9.0;

/// An event that is past by more than this, seconds, is no news.
const PAST: f64 = 0.2;

/// The engine's beats nearer than this to one given while it could not hear
/// are that beat, seconds.
const SAME: f64 = 0.25;

/// The loudspeaker's side.
struct Played {
    line: TimeLine,
    rate: f64,
    /// Its newest stamp's count.
    count: u64,
}

/// Follows what a microphone hears, through holes and changes of device.
pub struct Live {
    settings: Settings,
    /// The form of dances without a card.
    plain: Form,
    engine: Engine,
    scheduler: Scheduler,
    coast: Coast,
    plan: Plan,
    ticks: Plan,
    speech: Option<Speech>,
    rate: u32,
    heard: TimeLine,
    played: Option<Played>,
    /// Seconds of sound before this engine's first sample.
    zero: f64,
    /// The engine's samples less this device's count.
    base: i64,
    /// Samples given to the engine.
    pushed: u64,
    /// What the present device's time line has to continue from: the common
    /// time at which the sound heard so far ended.
    rejoin: Option<f64>,
    deaf: bool,
    claps: bool,
    ticking: bool,
    /// Seconds by which a sound that is played is in the microphone after its
    /// stamped time.
    round_trip: f64,
    /// The last [`KEPT`] seconds that the engine was given.
    kept: VecDeque<f32>,
    gap: Vec<f32>,
    fresh: Vec<Event>,
    events: Vec<Event>,
    cues: Vec<Cue>,
    tally: Tally,
}

impl Live {
    /// Follows mono sound of `rate` samples a second; with a card, its form
    /// takes the place of the settings' one.
    ///
    /// # Errors
    /// If the engine cannot hear at that rate.
    pub fn new(rate: u32, settings: Settings, card: Option<Arc<Card>>) -> Result<Self, RateError> {
        let plain = settings.form;
        let form = card.as_ref().map_or(plain, |card| card.form());
        let settings = Settings { form, ..settings };
        Ok(Live {
            settings,
            plain,
            engine: Engine::new(rate, settings)?,
            scheduler: match card {
                Some(card) => Scheduler::with_card(card),
                None => Scheduler::without_card(form),
            },
            coast: Coast::new(form),
            plan: Plan::default(),
            ticks: Plan::of_ticks(),
            speech: None,
            rate,
            heard: TimeLine::new(rate),
            played: None,
            zero: 0.0,
            base: 0,
            pushed: 0,
            rejoin: None,
            deaf: false,
            claps: true,
            ticking: false,
            round_trip: 0.0,
            kept: VecDeque::new(),
            gap: Vec::new(),
            fresh: Vec::new(),
            events: Vec::new(),
            cues: Vec::new(),
            tally: Tally::default(),
        })
    }

    /// Whether claps are planned from now on; turning them off takes back
    /// those that have not sounded.
    pub fn set_claps(&mut self, on: bool) {
        self.claps = on;
        if !on {
            self.plan.clear();
        }
    }

    /// The same for a soft tick on every beat.
    pub fn set_ticks(&mut self, on: bool) {
        self.ticking = on;
        if !on {
            self.ticks.clear();
        }
    }

    /// Another dance comes up, or (`None`) something without a card. The count
    /// goes on, in case the band has begun already; only another form is
    /// listened for anew. It is not called until [`call`](Self::call) says by whom.
    ///
    /// # Errors
    /// If the engine cannot hear at the microphone's rate.
    pub fn dance(&mut self, card: Option<Arc<Card>>) -> Result<(), RateError> {
        self.call_next(None);
        let form = card.as_ref().map_or(self.plain, |card| card.form());
        if form != self.settings.form {
            self.settings.form = form;
            self.engine = Engine::new(self.rate, self.settings)?;
            // Sound and the device's count keep their places.
            self.zero = self.sound();
            self.base -= self.pushed as i64;
            self.pushed = 0;
            self.kept.clear();
            self.coast = Coast::new(form);
            self.plan.clear();
            self.ticks.clear();
        }
        self.scheduler = match card {
            Some(card) => Scheduler::with_card(card),
            None => Scheduler::without_card(form),
        };
        self.cues.clear();
        Ok(())
    }

    /// The caller says that the beat nearest to `time` (seconds of sound) is a
    /// "one".
    pub fn say_one(&mut self, time: f64) {
        self.engine.say_one(time - self.zero);
    }

    /// The caller moves the count by `beats`; forward is positive.
    pub fn move_count(&mut self, beats: i32) {
        self.engine.move_count(beats);
    }

    /// Hears samples, at `now` of the common time.
    pub fn push(&mut self, samples: &[f32], now: f64) {
        self.hear(samples);
        self.tally.seconds += samples.len() as f64 / f64::from(self.rate);
        self.take(now);
    }

    /// Lets time pass until `now` of the common time.
    pub fn tick(&mut self, now: f64) {
        if self.deaf
            && let Some(now) = self.sound_at(now)
        {
            let mut coasted = std::mem::take(&mut self.fresh);
            self.coast.go_on(now, &mut coasted);
            for event in coasted.drain(..) {
                self.give(event);
            }
            self.plan.heard(now);
            self.ticks.heard(now);
            self.fresh = coasted;
        }
    }

    /// What became known since it was asked last.
    pub fn take_events(&mut self) -> (std::vec::Drain<'_, Event>, std::vec::Drain<'_, Cue>) {
        (self.events.drain(..), self.cues.drain(..))
    }

    /// What to tell the loudspeaker: claps, ticks and calls by its own count of frames.
    pub fn take_steps(&mut self) -> Vec<Step> {
        let Some(played) = &self.played else {
            return Vec::new();
        };
        let now = played.count as f64 / played.rate;
        let place = |sound: f64| {
            if !self.heard.settled() || !played.line.settled() {
                return None;
            }
            let count = (sound - self.zero) * f64::from(self.rate) - self.base as f64;
            let time = self.heard.time_of(count)?;
            let frame = played.line.count_at(time - self.round_trip)?;
            (frame >= 0.0).then_some(frame / played.rate)
        };
        let mut steps = self.plan.steps(now, place);
        steps.extend(self.ticks.steps(now, place));
        if let Some(speech) = &mut self.speech {
            steps.extend(speech.steps(now, place));
        }
        let rate = played.rate;
        let frames = |step| match step {
            Step::Play { id, at } => Step::Play { id, at: at * rate },
            Step::Stop { id, at } => Step::Stop { id, at: at * rate },
            other => other,
        };
        steps.into_iter().map(frames).collect()
    }

    /// The loudspeaker says that clap, tick or call `id` came too late to sound.
    pub fn missed(&mut self, id: u64) {
        self.plan.missed(id);
        self.ticks.missed(id);
        if let Some(speech) = &mut self.speech {
            speech.missed(id);
        }
    }

    /// When the program's own claps of the last two seconds are in the
    /// microphone, seconds of sound: each starts there if the round trip is
    /// known, and a little later if it is not. The place to keep them from
    /// being taken for the band's.
    pub fn own_claps(&self) -> impl Iterator<Item = f64> + '_ {
        self.plan.sounded()
    }

    /// What was counted.
    pub fn tally(&self) -> &Tally {
        &self.tally
    }

    /// Seconds of sound given to the engine so far.
    fn sound(&self) -> f64 {
        self.zero + self.pushed as f64 / f64::from(self.rate)
    }

    fn hear(&mut self, samples: &[f32]) {
        self.engine.push(samples, &mut self.fresh);
        self.pushed += samples.len() as u64;
        self.kept.extend(samples);
        let most = (KEPT * f64::from(self.rate)) as usize;
        self.kept.drain(..self.kept.len().saturating_sub(most));
    }

    /// Passes on what the engine has said, at `now` of the common time.
    fn take(&mut self, now: f64) {
        let sound = self.sound_at(now).unwrap_or(0.0);
        let mut fresh = std::mem::take(&mut self.fresh);
        for event in fresh.drain(..) {
            let event = event.later(self.zero);
            if event.time() < sound - PAST && !matches!(event, Event::LeadIn(_)) {
                continue;
            }
            let again = |last: f64| event.time() < last + SAME;
            if matches!(event, Event::Beat(_)) && self.coast.last().is_some_and(again) {
                continue;
            }
            if self.scheduler.over(&event) {
                continue;
            }
            if self.rejoin.is_none() {
                self.tally.delayed(sound - event.announced());
            }
            self.give(event);
        }
        self.fresh = fresh;
        let sound = self.sound();
        self.plan.heard(sound);
        self.ticks.heard(sound);
    }

    fn give(&mut self, event: Event) {
        self.coast.event(&event);
        if self.claps {
            self.plan.event(&event);
        }
        if self.ticking {
            self.ticks.event(&event);
        }
        if let Some(speech) = &mut self.speech {
            speech.event(&event);
        }
        self.cues.extend(self.scheduler.push(&event));
        self.events.push(event);
    }
}

mod aloud;
mod devices;
mod tally;
#[cfg(test)]
mod tests;
