//! Spoken words for the trials, by the free speech synthesiser `espeak-ng`
//! (Debian package of that name), which must be installed for these rows.

use std::path::Path;

use anyhow::ensure;
use eightclap::sound::band::Dice;
use eightclap::sound::resample::resample;
use rayon::prelude::*;

use super::espeak::{self, speak};
use super::level::{active, loudest, set_rms};

/// Voices: an accent and a speaker, and how many words a minute.
const VOICES: [(&str, u32); 8] = [
    ("en-gb+m1", 165),
    ("en-us+m3", 180),
    ("en-gb-scotland+m7", 170),
    ("en-us+f2", 175),
    ("en-gb-x-rp+f4", 160),
    ("en-us+m6", 195),
    ("en-gb-x-gbclan+f3", 180),
    ("en-gb+m4", 150),
];

/// Prompts, as a caller might speak them ahead of traditional figures.
const PROMPTS: [&str; 20] = [
    "balance and swing",
    "circle left",
    "circle to the right",
    "do si do your partner",
    "swing your neighbour",
    "ladies chain across",
    "and chain them back",
    "long lines, forward and back",
    "star by the right",
    "now left hand star",
    "down the hall, four in line",
    "turn as a couple, come back",
    "bend the line",
    "right and left through",
    "promenade across the set",
    "allemande left, once and a half",
    "half a hey",
    "gents pass left",
    "face the next, and balance",
    "pass through to the next",
];

/// What a caller might say while teaching, without music.
const TALK: &str = "All right, let us walk it through once. Find a partner, and take hands \
    four from the top of the hall. The couple with their backs to the band are number one. \
    Trade places with your partner, please, so that everybody stands where they should. \
    We begin in long lines: walk forward, and fall back. If you have danced this before, \
    help the people beside you, gently. The swing lasts eight beats, so there is time to \
    find your balance; mind the people behind you, and hold on to each other, but not too \
    tightly. After that you face across, and the ladies walk by the right. Are there any \
    questions? No? Then walk back to where you were, and we will do it once more. Thank \
    you. The doors on the left are open if anybody needs some air, and there is water by \
    the stage. When the music begins, wait for the lead in, and listen.";

/// Clips at the sample rate that the synthesiser chose.
pub struct Speech {
    rate: u32,
    prompts: Vec<Vec<f32>>,
    talks: Vec<Vec<f32>>,
}

impl Speech {
    /// Speaks everything once; `None` if the synthesiser is not installed.
    ///
    /// # Errors
    /// If it is, but fails.
    pub fn new() -> anyhow::Result<Option<Self>> {
        if !espeak::there()? {
            return Ok(None);
        }
        let folder = tempfile::tempdir()?;
        let spoken = |texts: &[&str]| -> anyhow::Result<Vec<(u32, Vec<f32>)>> {
            let jobs: Vec<_> = VOICES
                .iter()
                .flat_map(|voice| texts.iter().map(move |text| (voice, text)))
                .enumerate()
                .collect();
            jobs.into_par_iter()
                .map(|(n, (&(voice, words), text))| {
                    let file = folder.path().join(format!("{}-{n}.wav", texts.len()));
                    spoken(voice, words, text, &file)
                })
                .collect()
        };
        let prompts = spoken(&PROMPTS)?;
        let talks = spoken(&[TALK])?;
        let rate = prompts[0].0;
        ensure!(
            prompts.iter().chain(&talks).all(|clip| clip.0 == rate),
            "espeak-ng speaks at more than one sample rate; use other voices in {}",
            file!()
        );
        let sounds = |clips: Vec<(u32, Vec<f32>)>| clips.into_iter().map(|clip| clip.1).collect();
        Ok(Some(Speech {
            rate,
            prompts: sounds(prompts),
            talks: sounds(talks),
        }))
    }

    /// The prompts of one caller, by chance, at `rate`, each with a root mean
    /// square of 1 while it speaks.
    pub fn prompts(&self, rate: u32, dice: &mut Dice) -> anyhow::Result<Vec<Vec<f32>>> {
        let caller = (dice.even() * VOICES.len() as f64) as usize;
        let of = caller * PROMPTS.len();
        self.prompts[of..of + PROMPTS.len()]
            .iter()
            .map(|clip| {
                let mut clip = resample(clip, self.rate, rate)?;
                let loud = active(&clip, rate).max(1e-6);
                clip.iter_mut().for_each(|x| *x /= loud);
                Ok(clip)
            })
            .collect()
    }

    /// `seconds` of talk by the `n`-th voice, from a place by chance, at a root
    /// mean square of 0.1.
    pub fn talk(
        &self,
        n: usize,
        seconds: f64,
        rate: u32,
        dice: &mut Dice,
    ) -> anyhow::Result<Vec<f32>> {
        let talk = resample(&self.talks[n % self.talks.len()], self.rate, rate)?;
        let from = (dice.even() * talk.len() as f64) as usize;
        let count = (seconds * f64::from(rate)) as usize;
        let mut out: Vec<f32> = talk.into_iter().cycle().skip(from).take(count).collect();
        set_rms(&mut out, 0.1);
        Ok(out)
    }

    /// `seconds` of `count` people who talk at once, at a root mean square of 0.1.
    pub fn babble(
        &self,
        count: usize,
        seconds: f64,
        rate: u32,
        dice: &mut Dice,
    ) -> anyhow::Result<Vec<f32>> {
        let mut out = vec![0.0; (seconds * f64::from(rate)) as usize];
        for n in 0..count {
            let near = dice.between(0.3, 1.0) as f32;
            for (y, x) in out.iter_mut().zip(self.talk(n, seconds, rate, dice)?) {
                *y += near * x;
            }
        }
        set_rms(&mut out, 0.1);
        Ok(out)
    }
}

/// One text in one voice, without the silence around it.
fn spoken(voice: &str, words: u32, text: &str, file: &Path) -> anyhow::Result<(u32, Vec<f32>)> {
    let (rate, sound) = speak(voice, words, &[], text, file)?;
    let quiet = 0.03 * loudest(&sound, rate);
    let first = sound.iter().position(|x| x.abs() > quiet).unwrap_or(0);
    let last = sound.iter().rposition(|x| x.abs() > quiet).unwrap_or(0);
    ensure!(last > first, "espeak-ng -v {voice}: it says nothing");
    Ok((rate, sound[first..=last].to_vec()))
}
