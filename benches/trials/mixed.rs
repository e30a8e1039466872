//! Sounds over the music, and other sample rates: rows beside the plain ones.

use eightclap::engine::Settings;
use eightclap::sound::band::Dice;
use eightclap::sound::resample::resample;

use super::Bench;
use super::change::Take;
use super::leak::{DELAYS, Softer, hear_with_claps};
use super::level::loudest;
use super::people::{self, CLAP_SCATTER, Doing, GROUP_BEFORE, STOMP_SCATTER};
use super::speech::Speech;
use super::table::Table;

/// By how much a caller's call ends before or after its phrase's first beat.
const CALL_SCATTER: f64 = 0.080;
/// Chance of a phrase to begin with claps, and of one to begin with stomps.
const CLAPPED: f64 = 0.4;
/// Loudness of the loudest 20 ms of dancers' claps or stomps against the music's
/// root mean square: +6 dB.
const DANCERS: f32 = 2.0;
/// Sample rates, hertz.
const RATES: [u32; 6] = [8_000, 16_000, 22_050, 48_000, 96_000, 192_000];

/// Prints the table.
pub fn print(bench: &Bench, speech: Option<&Speech>) -> anyhow::Result<()> {
    let table = Table::new(bench)?;
    if bench.wants("calls") {
        match speech {
            Some(speech) => {
                table.heard("calls at 0 dB", |take, dice| with_calls(take, speech, dice))?;
            }
            None => println!("calls at 0 dB            skipped: espeak-ng is not installed"),
        }
    }
    if bench.wants("claps") {
        table.heard("claps and stomps", with_dancers)?;
    }
    if bench.wants("leak") {
        for softer in [Softer::Power, Softer::Peak] {
            for delay in DELAYS {
                let name = format!("leak {delay} ms, -6 dB {}", softer.name());
                table.row(&name, |mut take, _| {
                    let mut engine = bench.ears().engine(take.rate, Settings::default())?;
                    let (rate, music) = (take.rate, take.music_rms());
                    let samples = &mut take.samples;
                    let events = hear_with_claps(&mut engine, samples, rate, music, softer, delay);
                    Ok((take, events))
                })?;
            }
        }
    }
    if bench.wants("rates") {
        for rate in RATES {
            table.heard(&format!("at {rate} Hz"), |take, _| at_rate(take, rate))?;
        }
    }
    Ok(())
}

/// A prompt before every phrase, over about at its first beat, as loud while it
/// is spoken as the music.
fn with_calls(mut take: Take, speech: &Speech, dice: &mut Dice) -> anyhow::Result<Take> {
    let prompts = speech.prompts(take.rate, dice)?;
    let gain = take.music_rms();
    for phrase in take.truth.phrases.clone() {
        let prompt = &prompts[(dice.even() * prompts.len() as f64) as usize];
        let length = prompt.len() as f64 / f64::from(take.rate);
        take.mix(phrase - length + dice.bell(CALL_SCATTER), prompt, gain);
    }
    Ok(take)
}

/// Claps on some ones and stomps on some: six to fourteen people each time.
fn with_dancers(mut take: Take, dice: &mut Dice) -> anyhow::Result<Take> {
    let rate = take.rate;
    let music = take.music_rms();
    for phrase in take.truth.phrases.clone() {
        let doings: [(f64, Doing); 2] =
            [(CLAP_SCATTER, people::clap), (STOMP_SCATTER, people::stomp)];
        for (scatter, one) in doings {
            if dice.chance(CLAPPED) {
                let count = dice.between(6.0, 15.0) as usize;
                let sound = people::group(rate, count, scatter, one, dice);
                let gain = DANCERS * music / loudest(&sound, rate);
                take.mix(phrase - GROUP_BEFORE, &sound, gain);
            }
        }
    }
    Ok(take)
}

fn at_rate(take: Take, rate: u32) -> anyhow::Result<Take> {
    Ok(Take {
        rate,
        samples: resample(&take.samples, take.rate, rate)?,
        truth: take.truth,
    })
}
