//! The stages of hearing, each alone, with what the stages before it said of some music.
//!
//! Every stage is made ready first; what is to be timed is what it hands back.

use std::sync::Arc;

use eightclap::cue::Scheduler;
use eightclap::dance::{Card, LANTERNS_ON_THE_WEIR};
use eightclap::engine::{Engine, Settings};
use eightclap::event::Event;
use eightclap::hear::beats::Expectations;
use eightclap::hear::features::{FEATURES, FRAME_RATE, Features, PITCHES, WINDOW};
use eightclap::hear::net::{Activation, Net};
use eightclap::hear::tracker::{Heard, Tracker};
use eightclap::phrase::Form;
use eightclap::phrase::belief::{Belief, COUNTED_BEATS, Trust};
use eightclap::phrase::net::PhraseNet;
use eightclap::phrase::repeat::Memory;
use eightclap::phrase::shape::Shape;
use eightclap::phrase::slip::Slips;
use eightclap::sound::band::{self, Performance};
use eightclap::sound::clap;
use eightclap::sound::mix::Mixer;

/// The house band from its lead-in on, and what is made of it.
pub struct Music {
    pub rate: u32,
    pub sound: Vec<f32>,
    features: Vec<[f32; FEATURES]>,
    pitches: Vec<[f32; PITCHES]>,
    activations: Vec<Activation>,
    beats: Vec<Heard>,
    events: Vec<Event>,
}

impl Music {
    /// So many seconds at `rate` samples a second.
    pub fn new(rate: u32, seconds: usize) -> Self {
        let settings = band::Settings {
            times: 2,
            sample_rate: rate,
            ..band::Settings::default()
        };
        let performance = Performance::new(&band::tunes()[0], settings).expect("good settings");
        let mut sound = Vec::new();
        let mut player = performance.player();
        let mut block = [0.0; 1024];
        while sound.len() < seconds * rate as usize {
            let made = player.next_block(&mut block);
            assert!(made > 0, "the tune is shorter than {seconds} s");
            sound.extend(&block[..made]);
        }
        sound.truncate(seconds * rate as usize);

        let mut heard = Features::new(rate).expect("a usual rate");
        let (mut features, mut pitches) = (Vec::new(), Vec::new());
        let mut samples = &sound[..];
        while let Some(frame) = heard.next(&mut samples) {
            features.push(*frame.features);
            pitches.push(*frame.pitches);
        }
        let mut net = Net::trained();
        let activations: Vec<Activation> = features.iter().map(|f| net.step(f)).collect();
        let mut tracker = Tracker::new(Expectations::default(), net.delay());
        let step = |(frame, activation)| tracker.step(moment(frame), activation);
        let beats = activations.iter().enumerate().filter_map(step).collect();
        let mut events = Vec::new();
        let mut engine = Engine::new(rate, Settings::default()).expect("a usual rate");
        engine.push(&sound, &mut events);
        Music {
            rate,
            sound,
            features,
            pitches,
            activations,
            beats,
            events,
        }
    }

    /// Its length, seconds.
    pub fn seconds(&self) -> f64 {
        self.sound.len() as f64 / f64::from(self.rate)
    }
}

/// Seconds of sound heard by a frame's end.
fn moment(frame: usize) -> f64 {
    (frame + 1) as f64 / f64::from(FRAME_RATE)
}

/// Samples to onset features.
pub fn features(music: &Music) -> impl FnOnce() -> usize {
    let mut features = Features::new(music.rate).expect("a usual rate");
    move || {
        let mut samples = &music.sound[..];
        let mut frames = 0;
        while features.next(&mut samples).is_some() {
            frames += 1;
        }
        frames
    }
}

/// Features to activations.
pub fn net(music: &Music) -> impl FnOnce() -> usize {
    let mut net = Net::trained();
    move || {
        let mut sure = |features| net.step(features).beat > 0.5;
        music.features.iter().filter(|f| sure(f)).count()
    }
}

/// Activations to beats: the bar pointer, and what takes beats out of it.
pub fn tracker(music: &Music) -> impl FnOnce() -> usize {
    let mut tracker = Tracker::new(Expectations::default(), Net::trained().delay());
    move || {
        let frames = music.activations.iter().enumerate();
        let step = |(frame, activation)| tracker.step(moment(frame), activation);
        frames.filter_map(step).count()
    }
}

/// Beats and pitches to phrases: what is remembered, the phrase network, the belief over
/// the tune, and the looks at its form and for slips.
pub fn phrase(music: &Music) -> impl FnOnce() -> usize {
    let form = Form::default();
    let mut memory = Memory::default();
    let mut net = PhraseNet::trained();
    let mut belief = Belief::new(form, Trust::default());
    let mut shape = Shape::new(form);
    let mut slips = Slips::new(form);
    move || {
        let mut beats = music.beats.iter().peekable();
        let mut place = 0;
        let mut sure = 0;
        for (frame, pitches) in music.pitches.iter().enumerate() {
            memory.hear(moment(frame) - 0.5 * WINDOW, pitches);
            if let Some(remembered) = memory.take() {
                belief.weigh(&net.step(&remembered));
                shape.beat(memory.again());
                slips.beat(memory.place(), memory.likes());
                sure += usize::from(slips.slipped().is_none());
            }
            if let Some(beat) = beats.next_if(|beat| beat.announced <= moment(frame)) {
                memory.beat(beat.time, beat.period, Some(place));
                place = form.turned(place, 1);
                belief.advance([0.0; COUNTED_BEATS]);
                sure += usize::from(belief.count().1 > 0.5);
            }
        }
        sure
    }
}

/// Events to cues of a dance card.
pub fn scheduler(music: &Music) -> impl FnOnce() -> usize {
    let card = Card::parse(LANTERNS_ON_THE_WEIR, "bundled card").expect("a good card");
    let mut scheduler = Scheduler::with_card(Arc::new(card));
    move || {
        let cues = music.events.iter().map(|event| scheduler.push(event));
        cues.map(|cues| cues.into_iter().count()).sum()
    }
}

/// The clap on every "one" and a tick on every beat mixed into the sound, in blocks of
/// 1024 samples.
pub fn mixer(music: &Music) -> impl FnOnce() -> usize {
    let mut mixer = Mixer::with_level(0.7);
    let (clap, tick) = (clap::group(music.rate), clap::tick(music.rate));
    let mut sound = music.sound.clone();
    move || {
        let mut events = music.events.iter().peekable();
        for block in sound.chunks_mut(1024) {
            let heard = mixer.now() + block.len() as u64;
            let announced = |event: &&Event| event.announced() * f64::from(music.rate);
            while let Some(event) = events.next_if(|event| announced(event) <= heard as f64) {
                let at = (event.time() * f64::from(music.rate)) as u64;
                match event {
                    Event::Phrase(_) => mixer.schedule(at, clap.clone(), 1.0),
                    Event::Beat(_) => mixer.schedule(at, tick.clone(), 1.0),
                    _ => false,
                };
            }
            mixer.mix(block, 1);
        }
        sound.iter().filter(|sample| **sample > 0.5).count()
    }
}

/// Samples to events: all stages that hear.
pub fn engine(music: &Music) -> impl FnOnce() -> usize {
    let mut engine = Engine::new(music.rate, Settings::default()).expect("a usual rate");
    let mut events = Vec::with_capacity(1024);
    move || {
        engine.push(&music.sound, &mut events);
        events.len()
    }
}
