//! Prompts spoken by the free speech synthesiser `espeak-ng` (Debian's package of that
//! name), each with its own end known to the sample.

use std::path::Path;

use eightclap::sound::band::Dice;
use eightclap::sound::resample::resample;

use super::espeak::speak;

/// A sample belongs to the prompt down to this share of its loudest one: -30 dB.
pub const LEVEL: f32 = 0.03;

/// Voices: an accent and a speaker.
const VOICES: [&str; 8] = [
    "en-gb+m1",
    "en-us+m3",
    "en-gb-scotland+m7",
    "en-us+f2",
    "en-gb-x-rp+f4",
    "en-us+m6",
    "en-gb-x-gbclan+f3",
    "en-gb+f5",
];

/// Prompts as a caller might speak them, and their syllables, counted by hand.
const PROMPTS: [(&str, u32); 20] = [
    ("balance and swing", 4),
    ("circle left", 3),
    ("circle to the right", 5),
    ("do si do your partner", 6),
    ("swing your neighbour", 4),
    ("robins chain across", 5),
    ("and chain them back", 4),
    ("long lines forward and back", 6),
    ("star by the right", 4),
    ("now left hand star", 4),
    ("down the hall four in line", 6),
    ("turn as a couple", 5),
    ("bend the line", 3),
    ("right and left through", 4),
    ("promenade across the set", 7),
    ("allemande left once and a half", 8),
    ("half a hey", 3),
    ("larks pass left", 3),
    ("face the next and balance", 6),
    ("pass through to the next", 5),
];

/// A prompt on its own: its sound from its first sample to its last that is not below
/// [`LEVEL`].
pub struct Clip {
    pub syllables: u32,
    /// At the rate asked for, with a root mean square of 1 while it speaks.
    pub sound: Vec<f32>,
    /// Its first and last sample that is not below [`LEVEL`].
    pub from: usize,
    pub to: usize,
}

/// All prompts of the `n`-th caller at `rate` samples a second, in an order by chance.
pub fn caller(n: usize, rate: u32, folder: &Path) -> anyhow::Result<Vec<Clip>> {
    let mut dice = Dice::new(n as u64, 700);
    let voice = VOICES[n % VOICES.len()];
    let mut clips = PROMPTS
        .iter()
        .map(|(text, syllables)| {
            let words = dice.between(140.0, 210.0) as u32;
            let pitch = dice.between(30.0, 70.0) as u32;
            let file = folder.join(format!("{n}-{}.wav", text.replace(' ', "-")));
            let (from_rate, sound) = speak(voice, words, &["-p", &pitch.to_string()], text, &file)?;
            let mut out = resample(&sound, from_rate, rate)?;
            let loudest = out.iter().map(|x| x.abs()).fold(0.0, f32::max);
            let loud = |x: &f32| x.abs() >= LEVEL * loudest;
            let from = out.iter().position(loud).unwrap_or(0);
            let to = out.iter().rposition(loud).unwrap_or(0);
            let spoken = &out[from..=to];
            let rms = (spoken.iter().map(|x| x * x).sum::<f32>() / spoken.len() as f32).sqrt();
            out.iter_mut().for_each(|x| *x /= rms.max(1e-9));
            Ok(Clip {
                syllables: *syllables,
                sound: out,
                from,
                to,
            })
        })
        .collect::<anyhow::Result<Vec<_>>>()?;
    for n in (1..clips.len()).rev() {
        clips.swap(n, (dice.even() * (n + 1) as f64) as usize);
    }
    Ok(clips)
}
