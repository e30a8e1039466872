//! One stretch of sound, followed as if it were live: the engine hears it, the
//! scheduler cues from what the engine says, and the mixer claps into it.
//!
//! This is the whole flow of the program without a device, a clock or a
//! screen. Sound goes through once, in blocks of any size; nothing is ever
//! known of a block before it has been pushed.

mod coast;
pub mod drill;
mod hearing;
mod listener;
mod live;
mod nap;
mod plan;
mod session;
mod speech;
mod strain;

pub use hearing::{Hearing, HearingError};
pub use live::{Live, Tally};
pub use plan::Step;
pub use session::{Caller, Ended, Session, SessionError, Told, Wanted};
pub use speech::Calling;

use std::sync::Arc;

use crate::cue::voice::Repertoire;
use crate::cue::{Cue, Saying, Scheduler};
use crate::dance::Card;
use crate::engine::{Engine, Settings};
use crate::event::Event;
use crate::hear::features::RateError;
use crate::sound::clap;
use crate::sound::file::mix_to_mono;
use crate::sound::mix::{FADE, Mixer};
use speech::{Prompting, clip, silent_by};

/// Level at which the tune is played, so that claps stand out above recordings
/// that use the full scale.
pub const TUNE_LEVEL: f32 = 0.7;

/// What became known while a block was heard.
#[derive(Debug)]
pub struct Known<'a> {
    /// What the engine decided.
    pub events: &'a [Event],
    /// What to flash, and when.
    pub cues: &'a [Cue],
}

/// Calls, and what they sound like.
struct Spoken {
    prompting: Prompting,
    repertoire: Arc<Repertoire>,
    gain: f32,
}

/// Follows a recording or a band, and claps and calls into it.
pub struct Follow {
    engine: Engine,
    scheduler: Scheduler,
    mixer: Mixer,
    clap: Arc<[f32]>,
    clap_gain: f32,
    claps_on: bool,
    tick: Arc<[f32]>,
    tick_gain: f32,
    ticks_on: bool,
    voice: Option<Spoken>,
    rate: u32,
    channels: usize,
    mono: Vec<f32>,
    events: Vec<Event>,
    cues: Vec<Cue>,
}

impl Follow {
    /// Follows frames of `channels` samples at `rate` frames a second; with a
    /// card, its form takes the place of the settings' one.
    ///
    /// # Errors
    /// If the engine cannot hear at that rate.
    pub fn new(
        rate: u32,
        channels: usize,
        settings: Settings,
        card: Option<Arc<Card>>,
    ) -> Result<Self, RateError> {
        let form = card.as_ref().map_or(settings.form, |card| card.form());
        let engine = Engine::new(rate, Settings { form, ..settings })?;
        Ok(Follow {
            engine,
            scheduler: match card {
                Some(card) => Scheduler::with_card(card),
                None => Scheduler::without_card(form),
            },
            mixer: Mixer::with_level(TUNE_LEVEL),
            clap: clap::group(rate),
            clap_gain: 1.0,
            claps_on: true,
            tick: clap::tick(rate),
            tick_gain: 1.0,
            ticks_on: false,
            voice: None,
            rate,
            channels: channels.max(1),
            mono: Vec::new(),
            events: Vec::new(),
            cues: Vec::new(),
        })
    }

    /// Whether claps are heard. They are known either way.
    pub fn set_claps(&mut self, on: bool) {
        self.claps_on = on;
    }

    /// Gain of the claps; 1 is as they are made.
    pub fn set_clap_gain(&mut self, gain: f32) {
        self.clap_gain = gain;
    }

    /// Whether a soft tick is heard on every beat; it is not at first.
    pub fn set_ticks(&mut self, on: bool) {
        self.ticks_on = on;
    }

    /// Gain of the ticks; 1 is as they are made.
    pub fn set_tick_gain(&mut self, gain: f32) {
        self.tick_gain = gain;
    }

    /// Calls the dance aloud. What is not prepared at this sound's rate is prepared now,
    /// which may take some seconds.
    pub fn call(&mut self, calling: &Calling) {
        self.scheduler.set_times(calling.manner.fading.times);
        self.voice = Some(Spoken {
            prompting: Prompting::new(calling),
            repertoire: calling.at_rate(self.rate),
            gain: calling.gain,
        });
    }

    /// Whether calls are heard. Without a voice there are none.
    pub fn set_voice(&mut self, on: bool) {
        let now = self.heard();
        if let Some(voice) = &mut self.voice {
            voice.prompting.set_on(on, now);
            self.say(now);
        }
    }

    /// The dance is to be so many times through; `None` if nobody knows.
    pub fn set_times(&mut self, times: Option<u32>) {
        let now = self.heard();
        self.scheduler.set_times(times);
        if let Some(voice) = &mut self.voice {
            voice.prompting.set_times(times, now);
            self.say(now);
        }
    }

    /// Speaks the introductions from `from` on, seconds of sound, until the band begins.
    pub fn introduce(&mut self, from: f64) {
        let now = self.heard();
        if let Some(voice) = &mut self.voice {
            voice.prompting.introduce(from.max(now));
            self.say(now);
        }
    }

    /// Seconds of sound heard.
    fn heard(&self) -> f64 {
        self.mixer.now() as f64 / f64::from(self.rate)
    }

    /// Does what the prompter has decided at `now`, seconds of sound.
    fn say(&mut self, now: f64) {
        let Some(voice) = &mut self.voice else { return };
        let rate = f64::from(self.rate);
        let frame = |time: f64| (time.max(0.0) * rate).round() as u64;
        for saying in voice.prompting.take() {
            match saying {
                Saying::Say(call) => {
                    if let Some(clip) = clip(&voice.repertoire, &call) {
                        let at = frame((call.start - clip.heard_from).max(now));
                        let samples = clip.samples.clone();
                        self.mixer.place(call.id, at, samples, voice.gain);
                    }
                }
                Saying::Withdraw { id } => {
                    self.mixer.withdraw(id);
                }
                Saying::Stop { id, by } => {
                    let fade = (FADE * rate) as u64;
                    self.mixer.stop(id, frame(silent_by(by, now)), fade);
                }
            }
        }
    }

    /// Hears `frames` (interleaved, whole frames) and then mixes into them the
    /// claps and ticks that are due.
    pub fn push(&mut self, frames: &mut [f32]) -> Known<'_> {
        self.mono.clear();
        mix_to_mono(frames, self.channels, &mut self.mono);
        self.events.clear();
        self.cues.clear();
        self.engine.push(&self.mono, &mut self.events);
        self.events.retain(|event| !self.scheduler.over(event));
        let events = std::mem::take(&mut self.events);
        for event in &events {
            self.cues.extend(self.scheduler.push(event));
            if let Some(voice) = &mut self.voice {
                voice.prompting.event(event);
                self.say(event.announced());
            }
            let (clip, gain) = match event {
                Event::Phrase(_) if self.claps_on => (&self.clap, self.clap_gain),
                Event::Beat(_) if self.ticks_on => (&self.tick, self.tick_gain),
                _ => continue,
            };
            let at = (event.time() * f64::from(self.rate)).round() as u64;
            self.mixer.schedule(at, clip.clone(), gain);
        }
        self.events = events;
        self.mixer.mix(frames, self.channels);
        Known {
            events: &self.events,
            cues: &self.cues,
        }
    }

    /// The caller says that the beat nearest to `time` (seconds) is a "one".
    pub fn say_one(&mut self, time: f64) {
        self.engine.say_one(time);
    }

    /// The caller moves the count by `beats`; forward is positive.
    pub fn move_count(&mut self, beats: i32) {
        self.engine.move_count(beats);
    }
}
