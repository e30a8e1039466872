//! The program's own claps, back in its microphone.
//!
//! Shared with `tests/leak.rs`.

use eightclap::engine::Engine;
use eightclap::event::Event;
use eightclap::sound::clap;

use super::level::{loudest, mix, peak};

/// -6 dB.
const HALF: f32 = 0.5;
/// Ways from the loudspeaker back to the microphone, milliseconds.
pub const DELAYS: [u32; 4] = [5, 20, 40, 80];

/// What "6 dB softer than the music" is said of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Softer {
    /// The clap's loudest 20 ms, against the root mean square of the music.
    Power,
    /// Its largest sample, against the music's.
    Peak,
}

impl Softer {
    /// The name of the measure.
    pub fn name(self) -> &'static str {
        match self {
            Softer::Power => "rms",
            Softer::Peak => "peak",
        }
    }
}

/// `samples` at `rate`, heard by `engine` in blocks of 10 ms while each clap that
/// it orders comes back `delay` milliseconds after its time, 6 dB softer than the
/// music (of the given root mean square). The claps stay in `samples`.
///
/// # Panics
/// If a clap is announced after its sound would have been heard.
pub fn hear_with_claps(
    engine: &mut Engine,
    samples: &mut [f32],
    rate: u32,
    music_rms: f32,
    softer: Softer,
    delay: u32,
) -> Vec<Event> {
    let clap = clap::group(rate);
    let gain = HALF
        * match softer {
            Softer::Power => music_rms / loudest(&clap, rate),
            Softer::Peak => peak(samples) / peak(&clap),
        };
    let mut events = Vec::new();
    let block = rate as usize / 100;
    for start in (0..samples.len()).step_by(block) {
        let known = events.len();
        let end = (start + block).min(samples.len());
        engine.push(&samples[start..end], &mut events);
        for event in &events[known..] {
            if let Event::Phrase(phrase) = event {
                let seconds = phrase.time + f64::from(delay) / 1000.0;
                let at = (seconds * f64::from(rate)).round() as usize;
                assert!(at >= end, "a clap at {seconds} s was announced too late");
                mix(samples, rate, seconds, &clap, gain);
            }
        }
    }
    events
}
