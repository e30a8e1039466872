//! The same evening through a loudspeaker and a microphone that count with crystals of their
//! own, lose sound, and whose stamps wander.

use eightclap::caller::{Abreast, Beside};
use eightclap::sound::band::Dice;

use crate::evening::{Air, RATE, Said};
use eightclap::sound::timeline::Stamp;
use fake::Device;

// The device of the time lines' own tests.
#[allow(dead_code, reason = "not all of it is used here")]
#[path = "../../src/sound/timeline/fake.rs"]
mod fake;

/// How two devices differ, and what they do.
#[derive(Debug, Clone, Copy)]
pub struct Devices {
    /// How much faster the microphone's crystal is, millionths.
    pub ppm: f64,
    /// How often a minute one of them loses up to a quarter of a second.
    pub holes: f64,
}

/// What the microphone heard, and the playback beside it as the program would have it.
pub struct Take {
    pub heard: Vec<f32>,
    pub played: Vec<f32>,
    /// The prompts, in seconds of the playback.
    pub said: Vec<Said>,
    /// Samples before which the playback has shifted.
    pub shifts: Vec<usize>,
    /// Which second of the playback a second of the microphone's sound is, as the program
    /// would have it.
    places: Vec<(f64, f64)>,
}

/// Samples in a callback.
const BLOCK: u64 = 480;
/// Seconds after which the playback starts, as in a rehearsal.
const SETTLE: f64 = 2.0;

/// What two devices make of the sound in the air, whose music begins with the playback.
pub fn through(air: &Air, devices: Devices, seed: u64) -> Take {
    let rate = f64::from(RATE);
    let mut dice = Dice::new(seed, 811);
    let mut speaker = Device::new(seed, rate, 0.0, BLOCK);
    let mut mic = Device::new(seed + 1, rate, devices.ppm, BLOCK);
    speaker.begin(0.0);
    mic.begin(0.0);
    let mut abreast = Abreast::new(RATE);
    abreast.microphone(RATE, 0.0);
    let chance = devices.holes / 60.0 * BLOCK as f64 / rate;
    let seconds = air.voice.len() as f64 / rate;
    let mut take = Take {
        heard: Vec::new(),
        played: Vec::new(),
        said: Vec::new(),
        shifts: Vec::new(),
        places: Vec::new(),
    };
    // (When, and the first frame that is heard from then on.)
    let mut start = None;
    let mut said = air.said.iter().peekable();
    while mic.true_time(mic.count as f64) < SETTLE + seconds {
        let now = mic.true_time(mic.count as f64);
        while speaker.true_time(speaker.count as f64) <= now {
            abreast.played(speaker.next());
            if dice.chance(chance) {
                speaker.hole(dice.between(0.02, 0.25));
            }
        }
        if start.is_none() && now > SETTLE - 0.5 {
            start = abreast.start(now + 0.5);
        }
        let first = mic.count;
        abreast.stamp(mic.next());
        let mut heard = Vec::with_capacity(BLOCK as usize);
        for n in first..mic.count {
            let time = mic.true_time(n as f64);
            // The voice does not wait for the playback; it is laid out as if that began
            // on time.
            let voice = at(&air.voice, (time - SETTLE) * rate);
            let frame = speaker.true_count(time) - start.unwrap_or(u64::MAX) as f64;
            heard.push(voice + at(&air.echo, frame));
        }
        abreast.heard(heard);
        // Where each prompt's end truly is in the playback.
        let end = mic.true_time(mic.count as f64);
        while let Some(prompt) = said.next_if(|p| SETTLE + p.end < end) {
            let shown = SETTLE + prompt.end;
            let frame = speaker.true_count(shown) - start.unwrap_or(0) as f64;
            let by = frame / rate - prompt.end;
            take.said.push(Said {
                start: prompt.start + by,
                end: prompt.end + by,
                ..*prompt
            });
        }
        take.listen(&mut abreast, air, false);
        if dice.chance(chance) {
            mic.hole(dice.between(0.02, 0.25));
        }
    }
    take.listen(&mut abreast, air, true);
    take
}

impl Take {
    fn listen(&mut self, abreast: &mut Abreast, air: &Air, all: bool) {
        let mut beside = Beside::default();
        while abreast.next(&air.played, all, &mut beside) {
            if beside.shifted {
                self.shifts.push(self.heard.len());
            }
            let second = self.heard.len() as f64 / f64::from(RATE);
            if let Some(place) = abreast.seconds_of(second) {
                self.places.push((second, place));
            }
            self.heard.append(&mut beside.heard);
            self.played.append(&mut beside.played);
        }
    }

    /// Which second of the playback a second of the microphone's sound is.
    pub fn place(&self, second: f64) -> f64 {
        let n = self.places.partition_point(|place| place.0 <= second);
        match n.checked_sub(1).and_then(|n| self.places.get(n)) {
            Some((from, place)) => place + second - from,
            None => second - SETTLE,
        }
    }
}

/// The sample at a place with fractions, by a straight line.
fn at(sound: &[f32], place: f64) -> f32 {
    if place < 0.0 {
        return 0.0;
    }
    let (below, part) = (place as usize, place.fract() as f32);
    match (sound.get(below), sound.get(below + 1)) {
        (Some(a), Some(b)) => a + part * (b - a),
        _ => 0.0,
    }
}
