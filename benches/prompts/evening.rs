//! A caller at home: prompts, the room's noise, and music that leaks in.

use eightclap::sound::band::{self, Dice, Performance, Settings, signals};
use realfft::RealFftPlanner;

use crate::devices::Devices;
use crate::spoken::Clip;

/// Samples a second.
pub const RATE: u32 = 48_000;
/// Root mean square of the voice while it speaks, full scale 1.
const VOICE: f32 = 0.06;

/// What is heard beside the voice, decibels against the voice while it speaks.
#[derive(Debug, Clone, Copy)]
pub struct Condition {
    pub name: &'static str,
    /// White noise.
    pub noise: f32,
    /// People who talk far away.
    pub people: f32,
    /// The band, out of a loudspeaker in the room.
    pub music: f32,
    /// Whether the band's own sound is known.
    pub known: bool,
    /// The devices' crystals, where they are two.
    pub devices: Option<Devices>,
}

const NONE: f32 = -120.0;

const fn quiet(name: &'static str, noise: f32) -> Condition {
    Condition {
        name,
        noise,
        people: NONE,
        music: NONE,
        known: false,
        devices: None,
    }
}

const fn leak(name: &'static str, music: f32, known: bool) -> Condition {
    Condition {
        name,
        noise: -50.0,
        people: NONE,
        music,
        known,
        devices: None,
    }
}

const fn apart(name: &'static str, ppm: f64, holes: f64) -> Condition {
    Condition {
        devices: Some(Devices { ppm, holes }),
        ..leak(name, -10.0, true)
    }
}

/// The conditions measured.
pub const CONDITIONS: [Condition; 16] = [
    quiet("quiet", -50.0),
    quiet("noise -30 dB", -30.0),
    quiet("noise -20 dB", -20.0),
    quiet("noise -10 dB", -10.0),
    Condition {
        people: -20.0,
        ..quiet("people -20 dB", -50.0)
    },
    leak("band leaks -20 dB", -20.0, true),
    leak("band leaks -10 dB", -10.0, true),
    leak("band leaks 0 dB", 0.0, true),
    leak("unknown band -20 dB", -20.0, false),
    leak("unknown band -10 dB", -10.0, false),
    leak("unknown band 0 dB", 0.0, false),
    // Band at -10 dB, loudspeaker and microphone with stamps that wander:
    apart("clocks 0 ppm", 0.0, 0.0),
    apart("clocks 20 ppm", 20.0, 0.0),
    apart("clocks 50 ppm", 50.0, 0.0),
    apart("clocks 100 ppm", 100.0, 0.0),
    apart("clocks 20 ppm, holes", 20.0, 0.5),
];

/// A prompt in an evening, seconds.
#[derive(Debug, Clone, Copy)]
pub struct Said {
    pub start: f64,
    pub end: f64,
    pub syllables: u32,
}

/// What there is to hear.
pub struct Air {
    /// The voice, noise and people.
    pub voice: Vec<f32>,
    /// What comes out of the loudspeaker, at the microphone.
    pub echo: Vec<f32>,
    /// What the loudspeaker played; silence where there is none, or nobody knows.
    pub played: Vec<f32>,
    pub said: Vec<Said>,
}

/// The prompts of `clips`, one after the other, under `condition`.
pub fn evening(clips: &[Clip], condition: &Condition, seed: u64) -> Air {
    let mut dice = Dice::new(seed, 701);
    let rate = f64::from(RATE);
    let mut at = dice.between(4.0, 7.0);
    let mut voice: Vec<f32> = Vec::new();
    let mut said = Vec::new();
    for clip in clips {
        let first = (at * rate) as usize;
        voice.resize(first + clip.sound.len(), 0.0);
        // No prompt is spoken as loudly as the last one.
        let gain = VOICE * 10f32.powf(dice.between(-0.15, 0.15) as f32);
        for (y, x) in voice[first..].iter_mut().zip(&clip.sound) {
            *y += gain * x;
        }
        said.push(Said {
            start: (first + clip.from) as f64 / rate,
            end: (first + clip.to) as f64 / rate,
            syllables: clip.syllables,
        });
        at = (first + clip.to) as f64 / rate + dice.between(0.9, 4.0);
    }
    voice.resize(voice.len() + 2 * RATE as usize, 0.0);
    let seconds = voice.len() as f64 / rate;
    let gain = |decibels: f32| VOICE * 10f32.powf(decibels / 20.0);
    // An even distribution's root mean square is its peak by the root of three.
    let noise = signals::white_noise(seconds + 1.0, RATE, gain(condition.noise) * 1.732, seed);
    let people = signals::babble(seconds + 1.0, RATE, gain(condition.people), seed);
    for (n, y) in voice.iter_mut().enumerate() {
        *y += noise[n] + people[n];
    }
    let mut played = vec![0.0; voice.len()];
    let mut echo = played.clone();
    if condition.music > NONE {
        let music = music(voice.len(), seed);
        echo = through_a_room(&music, &mut dice);
        let rms = (echo.iter().map(|x| x * x).sum::<f32>() / echo.len() as f32).sqrt();
        let level = gain(condition.music) / rms;
        echo.iter_mut().for_each(|x| *x *= level);
        if condition.known {
            played = music;
        }
    }
    Air {
        voice,
        echo,
        played,
        said,
    }
}

/// The house band, from the first sample on.
fn music(length: usize, seed: u64) -> Vec<f32> {
    let tunes = band::tunes();
    let tune = &tunes[seed as usize % tunes.len()];
    let settings = Settings {
        times: 8,
        seed,
        silence: 0.1,
        sample_rate: RATE,
        ..Settings::default()
    };
    let performance = Performance::new(tune, settings).expect("good settings");
    let mut sound = vec![0.0; length];
    performance.player().next_block(&mut sound);
    sound
}

/// What a loudspeaker's sound becomes on its way to the microphone: a delay of 5 to
/// 60 ms, what a small box passes, a room that rings for 0.3 to 0.5 s.
fn through_a_room(sound: &[f32], dice: &mut Dice) -> Vec<f32> {
    let rate = f64::from(RATE);
    let mut response = vec![0.0f32; (0.6 * rate) as usize];
    let delay = (dice.between(0.005, 0.060) * rate) as usize;
    let ring = dice.between(0.3, 0.5);
    response[delay] = 1.0;
    for (n, y) in response[delay + 48..].iter_mut().enumerate() {
        let seconds = n as f64 / rate;
        // Sparse at first, then ever denser.
        if dice.chance((0.002 + 0.2 * seconds).min(0.3)) {
            let level = 0.4 * 10f64.powf(-3.0 * seconds / ring);
            *y += (level * dice.between(-1.0, 1.0)) as f32;
        }
    }
    let length = (sound.len() + response.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f32>::new();
    let (forward, back) = (
        planner.plan_fft_forward(length),
        planner.plan_fft_inverse(length),
    );
    let spectrum = |sound: &[f32]| {
        let mut padded = sound.to_vec();
        padded.resize(length, 0.0);
        let mut out = forward.make_output_vec();
        forward.process(&mut padded, &mut out).expect("lengths fit");
        out
    };
    let (mut all, room) = (spectrum(sound), spectrum(&response));
    for (bin, (x, h)) in all.iter_mut().zip(&room).enumerate() {
        let hertz = bin as f64 * rate / length as f64;
        let low = hertz * hertz / (hertz * hertz + 150.0 * 150.0);
        let high = 1.0 / (1.0 + (hertz / 9_000.0).powi(4));
        *x *= h * ((low * high / length as f64) as f32);
    }
    all[0].im = 0.0;
    let last = all.len() - 1;
    all[last].im = 0.0;
    let mut out = back.make_output_vec();
    back.process(&mut all, &mut out).expect("lengths fit");
    out.truncate(sound.len());
    out
}
