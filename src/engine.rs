//! Hearing and counting in one state machine: samples in, events out.
//!
//! The engine has no clock, thread or device: live sound, files, tests and
//! benches run the same code. What it says depends only on the samples it was
//! given, never on how they were cut into blocks, and never on samples after
//! the moment it speaks.

mod count;

use crate::event::Event;
use crate::hear::beats::Expectations;
use crate::hear::features::{FEATURES, FRAME_RATE, Features, PITCHES, RateError, WINDOW};
use crate::hear::net::{Activation, Net};
use crate::hear::tracker::Tracker;
use crate::phrase::Form;
use crate::phrase::belief::{Belief, Evidence, Trust};
use crate::phrase::net::PhraseNet;
use count::Counter;

/// What the engine is told about the music beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// The tune's form.
    pub form: Form,
    /// Probability of the likeliest count above which the engine begins to clap.
    pub clap_above: f32,
    /// The same where the count comes from the tune alone, not from a beginning that was
    /// heard or from the caller.
    pub clap_above_by_tune: f32,
    /// The same where it comes from the tune alone, but a beginning was heard, if badly, no
    /// longer than one time through ago.
    pub clap_above_begun: f32,
    /// Probability of it down to which the engine then goes on clapping.
    pub clap_down_to: f32,
    /// Largest spread, seconds, of the tune's first beat that is clapped on: with
    /// lead-ins heard well it is 8 to 11 ms.
    pub sharp: f64,
    /// The same of a lead-in's fourth beat that tells of the tune's first.
    pub sharp_lead_in: f64,
    /// Expectations of the beat.
    pub expect: Expectations,
    /// Trust in the phrase evidence.
    pub trust: Trust,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            form: Form::default(),
            clap_above: 0.6,
            clap_above_by_tune: 0.8,
            clap_above_begun: 0.7,
            clap_down_to: 0.45,
            sharp: 0.010,
            sharp_lead_in: 0.0115,
            expect: Expectations::default(),
            trust: Trust::default(),
        }
    }
}

/// Activation of a beat below which nothing was heard of it.
const UNHEARD: f32 = 0.35;

/// Activations kept to judge a beat by: 1.28 s.
const KEPT: usize = 128;
/// Frames that go through each stage together, if there are so many.
const TOGETHER: usize = 16;
/// Seconds around a beat in which a "one" is looked for.
const ONE_REACH: f64 = 0.045;

/// Hears a band and counts its phrases.
pub struct Engine {
    features: Features,
    net: Net,
    tracker: Tracker,
    counter: Counter,
    /// The newest activations, by frame number modulo [`KEPT`].
    recent: [Activation; KEPT],
    frames: u64,
    /// The beat announced, until it was listened for.
    awaited: Option<f64>,
}

impl Engine {
    /// An engine for mono sound at `rate` samples a second.
    pub fn new(rate: u32, settings: Settings) -> Result<Self, RateError> {
        Self::with_nets(rate, settings, Net::trained(), PhraseNet::trained())
    }

    /// An engine that hears with other networks than those that ship, to compare
    /// them.
    pub fn with_nets(
        rate: u32,
        settings: Settings,
        net: Net,
        phrase_net: PhraseNet,
    ) -> Result<Self, RateError> {
        let features = Features::new(rate)?;
        Ok(Engine {
            features,
            tracker: Tracker::new(settings.expect, net.delay()),
            net,
            counter: Counter::new(settings, phrase_net),
            recent: [Activation::default(); KEPT],
            frames: 0,
            awaited: None,
        })
    }

    /// Seconds of sound heard, in whole frames of 10 ms.
    pub fn heard(&self) -> f64 {
        self.frames as f64 / f64::from(FRAME_RATE)
    }

    /// The belief over the beats of the tune.
    pub fn belief(&self) -> &Belief {
        self.counter.belief()
    }

    /// The activation of the newest frame, which speaks of the moment
    /// [`Self::activation_delay`] seconds before [`Self::heard`].
    pub fn activation(&self) -> Activation {
        self.recent[(self.frames as usize + KEPT - 1) % KEPT]
    }

    /// Seconds by which activations lag behind the sound heard.
    pub fn activation_delay(&self) -> f64 {
        self.net.delay()
    }

    /// Hears mono `samples` (full scale is ±1) and appends what it decides to
    /// `events`, in the order in which it became known.
    pub fn push(&mut self, mut samples: &[f32], events: &mut Vec<Event>) {
        // Of a long block several frames go through each stage in a row: what a stage
        // needs then stays close to the processor. Each hears them one by one all the same.
        let mut heard = [(Activation::default(), [0.0; PITCHES]); TOGETHER];
        let mut features = [([0.0; FEATURES], false); TOGETHER];
        loop {
            let mut frames = 0;
            for (features, (_, pitches)) in features.iter_mut().zip(&mut heard) {
                let Some(frame) = self.features.next(&mut samples) else {
                    break;
                };
                *features = (*frame.features, frame.opens);
                *pitches = *frame.pitches;
                frames += 1;
            }
            let heard = &mut heard[..frames];
            for ((features, opens), (activation, _)) in features.iter().zip(&mut *heard) {
                if *opens {
                    self.net.forget();
                }
                *activation = self.net.step(features);
            }
            for (activation, pitches) in heard {
                self.hear(*activation, pitches, events);
            }
            if frames < TOGETHER {
                return;
            }
        }
    }

    /// Takes in one frame's activation and semitone magnitudes.
    fn hear(&mut self, activation: Activation, pitches: &[f32; PITCHES], events: &mut Vec<Event>) {
        self.recent[self.frames as usize % KEPT] = activation;
        self.frames += 1;
        let heard = self.heard();
        let beat = self.tracker.step(heard, &activation);
        self.counter.hear(heard - 0.5 * WINDOW, pitches);
        self.listen_for_it();
        if let Some(beat) = beat {
            let before = self.counter.standing().map(|time| self.evidence(time));
            self.counter.count(&beat, before, events);
            self.awaited = Some(beat.time);
        }
    }

    /// Notes, once, whether the beat announced was then heard.
    fn listen_for_it(&mut self) {
        let Some(time) = self.awaited else { return };
        if self.heard() - self.net.delay() >= time + ONE_REACH {
            self.awaited = None;
            let heard = self.around(time).any(|heard| heard.beat >= UNHEARD);
            self.counter.listened(heard);
        }
    }

    /// The caller says that the beat nearest to `time` (seconds) is a "one".
    pub fn say_one(&mut self, time: f64) {
        self.counter.say_one(time);
    }

    /// The caller moves the count by `beats`; forward is positive.
    pub fn move_count(&mut self, beats: i32) {
        self.counter.move_count(beats);
    }

    /// What the sound around the beat at `time` says about phrases.
    fn evidence(&self, time: f64) -> Evidence {
        let mut evidence = Evidence {
            one: 0.0,
            part: 0.0,
        };
        for heard in self.around(time) {
            evidence.one = evidence.one.max(heard.one);
            evidence.part = evidence.part.max(heard.part);
        }
        evidence
    }

    /// The activations around the beat at `time`, as far as they are kept.
    fn around(&self, time: f64) -> impl Iterator<Item = &Activation> {
        let centre = (time + self.net.delay()) * f64::from(FRAME_RATE) - 1.0;
        let reach = ONE_REACH * f64::from(FRAME_RATE);
        let first = (centre - reach).round().max(0.0) as u64;
        let last = (centre + reach).round().max(0.0) as u64;
        let oldest = (self.frames + 1).saturating_sub(KEPT as u64);
        (first.max(oldest)..=last.min(self.frames.saturating_sub(1)))
            .map(|frame| &self.recent[frame as usize % KEPT])
    }
}
