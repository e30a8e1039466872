//! A hall in simulated time: a band that plays, pauses, and talks, and two devices.

use std::collections::BTreeMap;

use eightclap::cue::Cue;
use eightclap::engine::Settings;
use eightclap::event::Event;
use eightclap::follow::{Live, Step};
use eightclap::screen::{Setup, State};
use eightclap::sound::band::{self, Performance, Room, signals};
use eightclap::sound::timeline::Stamp;
use rand::RngExt;
use rand_pcg::Pcg32;
use rand_pcg::rand_core::SeedableRng;

/// The simulated devices of the library's own tests.
#[path = "../../src/sound/timeline/fake.rs"]
#[allow(dead_code, reason = "the tests need more of it")]
mod fake;
use fake::Device;

/// Samples a second of the microphone.
pub const RATE: u32 = 48_000;
/// Samples of a block.
const BLOCK: usize = 480;
/// Frames of the loudspeaker's.
const FRAMES: u64 = 1_024;
/// What the microphone's driver takes to hand a block over, seconds.
const TRANSPORT: f64 = 0.008;
/// From the moment that a block is asked for until it sounds, seconds.
const DEPTH: f64 = 0.035;
/// A clap is one's if it is no further from it, seconds.
const NEAR: f64 = 0.25;

/// A stretch of sound, and where its ones are.
struct Stretch {
    sound: Vec<f32>,
    ones: Vec<usize>,
}

/// How an hour went.
#[derive(Debug, Clone, Copy)]
pub struct Judged {
    pub ones: usize,
    /// Share of them with a clap within 70 ms.
    pub clapped: f64,
    /// How far those are off, seconds: the median, and 95 of 100.
    pub median: f64,
    pub most: f64,
    /// Claps with no one near.
    pub stray: usize,
}

pub struct Hall {
    stretches: Vec<Stretch>,
    /// The one that sounds, and samples of it that are over.
    now: (usize, usize),
    rng: Pcg32,
    pub live: Live,
    state: State,
    mic: Device,
    speaker: Device,
    orders: BTreeMap<u64, u64>,
    /// When ones and claps were, common time.
    ones: Vec<f64>,
    claps: Vec<f64>,
    pub events: u64,
    pub ordered: u64,
    pub heard_samples: u64,
    next_hole: [f64; 2],
}

impl Hall {
    pub fn new(seed: u64, seconds: f64) -> Self {
        let mut live = Live::new(RATE, Settings::default(), None).expect("a usual rate");
        live.microphone(RATE).expect("a usual rate");
        live.loudspeaker(Some(44_100));
        // Room for all there will be: what grows is the program's then.
        let most = (seconds / 2.0) as usize;
        Hall {
            stretches: stretches(),
            now: (0, 0),
            rng: Pcg32::seed_from_u64(seed),
            live,
            state: State::new(Setup {
                flash: true,
                want: "112..120".parse().ok(),
                ..Setup::default()
            }),
            mic: Device::new(seed + 10, f64::from(RATE), 60.0, BLOCK as u64),
            speaker: Device::new(seed + 11, 44_100.0, -40.0, FRAMES),
            orders: BTreeMap::new(),
            ones: Vec::with_capacity(most),
            claps: Vec::with_capacity(most),
            events: 0,
            ordered: 0,
            heard_samples: 0,
            next_hole: [200.0, 300.0],
        }
    }

    /// Lets time pass until second `end` of the microphone's sound.
    pub fn until(&mut self, end: f64) {
        let mut block = [0.0f32; BLOCK];
        while (self.mic.count as f64) < end * f64::from(RATE) {
            self.lose();
            self.sound(&mut block);
            let stamp = self.mic.next();
            let now = self.mic.true_time(self.mic.count as f64) + TRANSPORT;
            self.play(now);
            self.live.heard_at(stamp);
            self.live.push(&block, now);
            self.heard_samples += BLOCK as u64;
            self.live.tick(now);
            for step in self.live.take_steps() {
                self.ordered += 1;
                match step {
                    Step::Play { id, at } => self.orders.insert(id, at.round() as u64),
                    Step::Withdraw { id } => self.orders.remove(&id),
                    Step::Stop { .. } => None,
                };
            }
            let sound = self.live.sound_at(now);
            let (events, cues) = self.live.take_events();
            let (events, cues): (Vec<Event>, Vec<Cue>) = (events.collect(), cues.collect());
            self.events += events.len() as u64;
            events.iter().for_each(|event| self.state.update(event));
            cues.into_iter().for_each(|cue| self.state.cue(cue));
            if let Some(sound) = sound {
                self.state.at_moment(sound, now);
            }
        }
    }

    /// The loudspeaker asks for its sound until `now`.
    fn play(&mut self, now: f64) {
        while self.speaker.true_time(self.speaker.count as f64) - DEPTH < now {
            let (from, to) = (self.speaker.count, self.speaker.count + FRAMES);
            // One for an earlier block came too late.
            let due = self.orders.values().filter(|at| (from..to).contains(*at));
            let heard = due.map(|at| self.speaker.true_time(*at as f64));
            self.claps.extend(heard);
            self.orders.retain(|_, at| *at >= to);
            self.live.played_at(self.speaker.next());
        }
    }

    /// Now and then a device loses some sound.
    fn lose(&mut self) {
        let now = self.mic.count as f64 / f64::from(RATE);
        if now > self.next_hole[0] {
            let seconds = self.rng.random_range(0.02..0.2);
            self.mic.hole(seconds);
            // The band plays on.
            self.now.1 += (seconds * f64::from(RATE)) as usize;
            self.next_hole[0] = now + self.rng.random_range(100.0..700.0);
        }
        if now > self.next_hole[1] {
            self.speaker.hole(self.rng.random_range(0.02..0.2));
            self.next_hole[1] = now + self.rng.random_range(200.0..900.0);
        }
    }

    /// What the microphone hears next.
    fn sound(&mut self, block: &mut [f32]) {
        block.fill(0.0);
        let stretch = &self.stretches[self.now.0];
        let from = self.now.1;
        let there = stretch.sound.get(from..).unwrap_or_default();
        for (out, sample) in block.iter_mut().zip(there) {
            *out = *sample;
        }
        for one in &stretch.ones {
            if (from..from + block.len()).contains(one) {
                let at = self.mic.count as f64 + (one - from) as f64;
                self.ones.push(self.mic.true_time(at));
            }
        }
        self.now.1 += block.len();
        if self.now.1 >= stretch.sound.len() {
            // Talk or silence between tunes, a tune after them.
            let tunes = self.stretches.len() - 4;
            let next = match self.now.0 < tunes {
                true => tunes + self.rng.random_range(0..4),
                false => self.rng.random_range(0..tunes),
            };
            self.now = (next, 0);
        }
    }

    /// How claps fell since it was asked last.
    pub fn judge(&mut self) -> Judged {
        let mut off = Vec::new();
        let nearest = |to: f64, all: &[f64]| {
            let at = all.partition_point(|t| *t < to);
            let around = &all[at.saturating_sub(1)..(at + 1).min(all.len())];
            let apart = around.iter().map(|t| (t - to).abs());
            apart.fold(f64::INFINITY, f64::min)
        };
        self.claps.sort_by(f64::total_cmp);
        for one in &self.ones {
            off.push(nearest(*one, &self.claps));
        }
        let stray = self.claps.iter();
        let stray = stray
            .filter(|clap| nearest(**clap, &self.ones) > NEAR)
            .count();
        let ones = off.len();
        off.retain(|off| *off <= 0.07);
        off.sort_by(f64::total_cmp);
        let at = |percent: usize| off.get(off.len() * percent / 100).copied();
        self.ones.clear();
        self.claps.clear();
        Judged {
            ones,
            clapped: off.len() as f64 / ones.max(1) as f64,
            median: at(50).unwrap_or(f64::NAN),
            most: at(95).unwrap_or(f64::NAN),
            stray,
        }
    }
}

/// The bundled tunes, twice through each, then talk, and silences of some lengths.
fn stretches() -> Vec<Stretch> {
    let tune = |(n, tune): (usize, &band::Tune)| {
        let settings = band::Settings {
            steps_per_minute: 110.0 + 3.0 * n as f64,
            times: 2,
            sample_rate: RATE,
            room: Room::SMALL,
            ..band::Settings::default()
        };
        let performance = Performance::new(tune, settings).expect("good settings");
        let ones = performance.truth().phrases.iter();
        Stretch {
            ones: ones.map(|one| (one * f64::from(RATE)) as usize).collect(),
            sound: performance.render(),
        }
    };
    let still = |sound: Vec<f32>| Stretch {
        sound,
        ones: Vec::new(),
    };
    let mut all: Vec<Stretch> = band::tunes().iter().enumerate().map(tune).collect();
    all.push(still(signals::babble(45.0, RATE, 0.05, 3)));
    all.push(still(signals::babble(12.0, RATE, 0.1, 4)));
    all.push(still(signals::silence(8.0, RATE)));
    all.push(still(signals::silence(60.0, RATE)));
    all
}
