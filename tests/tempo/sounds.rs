//! Sounds of known tempo: metronomes, and music of other kinds than dance tunes.

use eightclap::sound::band::{self, Performance, signals};

/// A sound and its tempo.
pub struct Sound {
    /// What it is.
    pub name: String,
    /// Samples a second.
    pub rate: u32,
    /// Mono samples.
    pub samples: Vec<f32>,
    /// Beats, seconds.
    pub beats: Vec<f64>,
    /// Beats per minute.
    pub tempo: f64,
}

/// Kinds of metronome.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Click {
    /// A kilohertz for 40 ms.
    Blip,
    /// A burst of noise that dies away, like a wood block.
    Wood,
    /// Blips in bars of four, the first higher and louder.
    Bars,
}

/// `seconds` of clicks at `tempo`, the first after 0.37 s.
pub fn clicks(kind: Click, tempo: f64, seconds: f64, rate: u32) -> Sound {
    let hz = f64::from(rate);
    let mut samples = signals::silence(seconds, rate);
    let mut beats = Vec::new();
    let noise = signals::white_noise(0.1, rate, 1.0, 5);
    for k in 0.. {
        let at = 0.37 + f64::from(k) * 60.0 / tempo;
        if at + 0.3 > seconds {
            break;
        }
        beats.push(at);
        let (hertz, level) = match kind {
            Click::Bars if k % 4 == 0 => (1500.0, 0.6),
            _ => (1000.0, 0.3),
        };
        // The first sample at or after the beat: it falls between two samples.
        let first = (at * hz).ceil() as usize;
        for (n, sample) in samples[first..].iter_mut().take(noise.len()).enumerate() {
            let after = (first + n) as f64 / hz - at;
            let value = match kind {
                Click::Wood => f64::from(noise[n]) * (-after / 0.012).exp() * 0.5,
                _ if after > 0.040 => break,
                // Two milliseconds to swell and to die, as a loudspeaker's blip.
                _ => {
                    let swell = (after / 0.002).min((0.040 - after) / 0.002).min(1.0);
                    level * swell * (std::f64::consts::TAU * hertz * after).sin()
                }
            };
            *sample += value as f32;
        }
    }
    Sound {
        name: format!("{kind:?} at {tempo}").to_lowercase(),
        rate,
        samples,
        beats,
        tempo,
    }
}

/// The same with white noise 20 dB below the sound's own power while it sounds.
pub fn with_noise(mut sound: Sound) -> Sound {
    let loud: Vec<f32> = sound
        .samples
        .iter()
        .copied()
        .filter(|s| s.abs() > 1e-3)
        .collect();
    let power = loud.iter().map(|s| s * s).sum::<f32>() / loud.len().max(1) as f32;
    // White noise between ±peak has a third of peak² as its power.
    let peak = (3.0 * power / 100.0).sqrt();
    let seconds = sound.samples.len() as f64 / f64::from(sound.rate) + 0.1;
    let noise = signals::white_noise(seconds, sound.rate, peak, 9);
    for (sample, noise) in sound.samples.iter_mut().zip(noise) {
        *sample += noise;
    }
    sound.name.push_str(" + noise");
    sound
}

/// A melody of plucked notes over soft chords: (beats, MIDI pitch) in turn, again
/// and again; `bass` lists pitches struck on the beats in turn, 0 for none.
pub fn melody(
    name: &str,
    tempo: f64,
    seconds: f64,
    rate: u32,
    notes: &[(f64, u8)],
    bass: &[u8],
) -> Sound {
    let hz = f64::from(rate);
    let mut samples = signals::silence(seconds, rate);
    let beat = 60.0 / tempo;
    // Players are some milliseconds early or late; the same at every run.
    let wander = |k: usize| 0.006 * ((k as f64 * 12.9898).sin() * 43_758.545).fract();
    let mut pluck = |at: f64, length: f64, pitch: u8, level: f64, soft: f64| {
        let hertz = 440.0 * ((f64::from(pitch) - 69.0) / 12.0).exp2();
        let first = (at.max(0.0) * hz) as usize;
        let count = ((length + 0.15) * hz) as usize;
        for (n, sample) in samples.iter_mut().skip(first).take(count).enumerate() {
            let t = n as f64 / hz;
            let swell = (t / soft).min(1.0);
            let fade = ((length + 0.15 - t) / 0.1).clamp(0.0, 1.0);
            let tone: f64 = (1..=6)
                .map(|h| {
                    let h = f64::from(h);
                    let turn = std::f64::consts::TAU * hertz * h * t;
                    turn.sin() / (h * h) * (-t * (1.0 + 0.8 * h)).exp()
                })
                .sum();
            *sample += (level * swell * fade * tone) as f32;
        }
    };
    let (mut at, mut k) = (0.0, 0);
    while 0.4 + at * beat < seconds - 2.0 {
        let (length, pitch) = notes[k % notes.len()];
        if pitch > 0 {
            pluck(
                0.4 + at * beat + wander(k),
                length * beat,
                pitch,
                0.25,
                0.006,
            );
        }
        at += length;
        k += 1;
    }
    let mut beats = Vec::new();
    for k in 0.. {
        let at = 0.4 + k as f64 * beat;
        if at > seconds - 2.0 {
            break;
        }
        beats.push(at);
        let pitch = bass[k % bass.len()];
        if pitch > 0 {
            pluck(at + wander(k + 999), 0.8 * beat, pitch, 0.2, 0.004);
        }
    }
    Sound {
        name: name.to_owned(),
        rate,
        samples,
        beats,
        tempo,
    }
}

/// A waltz in three quarters, invented for this table.
pub fn waltz(tempo: f64, rate: u32) -> Sound {
    let tune = [
        (2.0, 74),
        (1.0, 76),
        (1.5, 78),
        (0.5, 76),
        (1.0, 74),
        (2.0, 71),
        (1.0, 69),
        (3.0, 66),
        (1.0, 67),
        (1.0, 69),
        (1.0, 71),
        (2.0, 74),
        (1.0, 71),
        (0.5, 69),
        (0.5, 71),
        (0.5, 69),
        (0.5, 67),
        (1.0, 66),
        (3.0, 64),
    ];
    let name = format!("waltz at {tempo}");
    melody(&name, tempo, 50.0, rate, &tune, &[50, 57, 57, 55, 59, 59])
}

/// A slow dance in four with dotted pairs both ways round, invented.
pub fn snaps(tempo: f64, rate: u32) -> Sound {
    let tune = [
        (0.25, 69),
        (0.75, 74),
        (0.75, 76),
        (0.25, 74),
        (1.0, 78),
        (0.25, 76),
        (0.75, 74),
        (0.75, 71),
        (0.25, 69),
        (0.25, 66),
        (0.75, 69),
        (1.0, 71),
        (1.0, 69),
        (0.25, 74),
        (0.75, 78),
        (0.75, 81),
        (0.25, 78),
        (0.25, 76),
        (0.75, 78),
        (1.0, 74),
        (1.0, 69),
    ];
    let name = format!("dotted pairs at {tempo}");
    melody(&name, tempo, 50.0, rate, &tune, &[50, 57, 54, 57])
}

/// A slow air without backing, invented.
pub fn air(tempo: f64, rate: u32) -> Sound {
    let tune = [
        (1.0, 62),
        (2.0, 69),
        (1.0, 67),
        (1.0, 66),
        (0.5, 64),
        (0.5, 62),
        (2.0, 64),
        (1.0, 66),
        (1.0, 69),
        (2.0, 71),
        (1.0, 69),
        (1.5, 66),
        (0.5, 64),
        (2.0, 62),
    ];
    let name = format!("slow air at {tempo}");
    melody(&name, tempo, 60.0, rate, &tune, &[0])
}

/// The house band's tune called `name`.
pub fn band(name: &str, steps_per_minute: f64, seed: u64, rate: u32) -> Sound {
    let tune = band::tune(name).expect("a bundled tune");
    let settings = band::Settings {
        steps_per_minute,
        times: 2,
        seed,
        drift: 0.0,
        sample_rate: rate,
        ..band::Settings::default()
    };
    let performance = Performance::new(tune, settings).expect("good settings");
    Sound {
        name: format!("{name} at {steps_per_minute}"),
        rate,
        samples: performance.render(),
        beats: performance.truth().beats.clone(),
        tempo: steps_per_minute,
    }
}

/// What has no beat.
pub fn noises() -> Vec<Sound> {
    let rate = 44_100;
    [
        ("white noise", signals::white_noise(40.0, rate, 0.5, 1)),
        ("talk", signals::babble(40.0, rate, 0.1, 2)),
        ("a steady tone", signals::sine(40.0, rate, 440.0, 0.5)),
        ("silence", signals::silence(10.0, rate)),
    ]
    .into_iter()
    .map(|(name, samples)| Sound {
        name: name.to_owned(),
        rate,
        samples,
        beats: Vec::new(),
        tempo: 0.0,
    })
    .collect()
}
