//! Calls of a scripted caller, their ends known to the sample: spoken by `espeak-ng`
//! where it is installed, else sounds like a voice.

use std::path::Path;
use std::process::Command;

use eightclap::sound::file::load_mono;
use eightclap::sound::resample::resample;

pub const RATE: u32 = 48_000;

/// What is called ahead of the figures of the bundled dance.
const WORDS: [&str; 9] = [
    "neighbours balance",
    "and swing",
    "robins do si do once and a half",
    "swing your partner",
    "long lines forward and back",
    "right hands in make a star",
    "circle left three places",
    "balance the ring",
    "pass through to the next",
];
/// Root mean square while it speaks, full scale 1.
const LOUD: f32 = 0.12;
/// Down to this share of its loudest sample a sound belongs to a call: -30 dB.
const LEVEL: f32 = 0.03;

/// A call: its sound, and its last sample that is no softer than [`LEVEL`].
pub struct Call {
    pub sound: Vec<f32>,
    pub to: usize,
}

impl Call {
    fn of(mut sound: Vec<f32>) -> Call {
        let loudest = sound.iter().map(|x| x.abs()).fold(0.0, f32::max);
        let loud = |x: &f32| x.abs() >= LEVEL * loudest;
        let from = sound.iter().position(loud).expect("a sound");
        let to = sound.iter().rposition(loud).expect("a sound");
        sound.truncate(to + 1);
        sound.drain(..from);
        let rms = (sound.iter().map(|x| x * x).sum::<f32>() / sound.len() as f32).sqrt();
        sound.iter_mut().for_each(|x| *x *= LOUD / rms);
        Call {
            to: sound.len() - 1,
            sound,
        }
    }

    /// Adds it so that it ends at `end` seconds, or as soon as it can.
    pub fn add_to(&self, out: &mut [f32], end: f64) {
        let first = ((end * f64::from(RATE)) as usize).saturating_sub(self.to);
        for (y, x) in out[first..].iter_mut().zip(&self.sound) {
            *y += x;
        }
    }
}

/// The calls, one a figure.
pub fn calls(folder: &Path) -> Vec<Call> {
    let call = |(n, words): (usize, &&str)| {
        let file = folder.join(format!("call-{n}.wav"));
        let spoken = Command::new("espeak-ng")
            .args(["-v", "en-us+f2", "-s", "190", "-w"])
            .arg(&file)
            .arg(words)
            .status();
        if !spoken.is_ok_and(|s| s.success()) {
            return Call::of(babble(words.split(' ').count() + 1, 140.0 + 8.0 * n as f64));
        }
        let (rate, sound) = load_mono(&file).expect("a recording");
        Call::of(resample(&sound, rate, RATE).expect("good rates"))
    };
    WORDS.iter().enumerate().map(call).collect()
}

/// Pulses at a falling pitch through three resonances, in syllables of 0.18 s.
fn babble(syllables: usize, pitch: f64) -> Vec<f32> {
    let rate = f64::from(RATE);
    let length = (0.18 * rate) as usize;
    let mut out = vec![0.0f64; syllables * length];
    let mut phase = 0.0;
    for (n, y) in out.iter_mut().enumerate() {
        let within = (n % length) as f64 / length as f64;
        phase += pitch * (1.1 - 0.2 * n as f64 / (syllables * length) as f64) / rate;
        if phase >= 1.0 {
            *y = (std::f64::consts::PI * within).sin().powi(2);
        }
        phase = phase.fract();
    }
    for (hertz, width) in [(700.0, 90.0), (1_200.0, 110.0), (2_600.0, 160.0)] {
        let r = (-std::f64::consts::PI * width / rate).exp();
        let c = 2.0 * r * (std::f64::consts::TAU * hertz / rate).cos();
        let (mut a, mut b) = (0.0, 0.0);
        for y in &mut out {
            let now = *y + c * a - r * r * b;
            (b, a) = (a, now);
            *y = now;
        }
    }
    out.iter().map(|y| *y as f32).collect()
}
