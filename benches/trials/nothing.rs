//! Sound without music: nothing must be clapped.

use eightclap::engine::Settings;
use eightclap::event::Event;
use eightclap::sound::band::{Dice, signals};
use rayon::prelude::*;

use super::speech::Speech;
use super::{Bench, SEED, people};

/// Length of each sound.
const SECONDS: f64 = 60.0;
/// Samples a second.
const RATE: u32 = 44_100;
/// Sounds of each kind.
const TIMES: u64 = 8;
/// People who talk at once.
const TALKERS: usize = 24;

/// Prints the table.
pub fn print(bench: &Bench, speech: Option<&Speech>) -> anyhow::Result<()> {
    if !bench.wants("notmusic") {
        return Ok(());
    }
    println!(
        "\nnobody plays\n{:24} {:>7} {:>9} {:>9} {:>14}",
        "", "minutes", "claps/min", "beats/min", "with claps"
    );
    row(bench, "silence", |_, _| Ok(signals::silence(SECONDS, RATE)))?;
    row(bench, "white noise", |n, _| {
        Ok(signals::white_noise(SECONDS, RATE, 0.2, n as u64))
    })?;
    row(bench, "pink noise", |_, dice| {
        Ok(people::pink(SECONDS, RATE, dice))
    })?;
    match speech {
        Some(speech) => {
            row(bench, "one person talks", |n, dice| {
                speech.talk(n, SECONDS, RATE, dice)
            })?;
            row(bench, "24 people talk", |_, dice| {
                speech.babble(TALKERS, SECONDS, RATE, dice)
            })?;
        }
        None => println!("talk                     skipped: espeak-ng is not installed"),
    }
    row(bench, "crowd, without words", |n, _| {
        Ok(signals::babble(SECONDS, RATE, 0.1, n as u64))
    })?;
    row(bench, "applause", |_, dice| {
        Ok(people::applause(SECONDS, RATE, dice))
    })?;
    row(bench, "feet", |_, dice| {
        Ok(people::shuffle(SECONDS, RATE, dice))
    })
}

/// Prints the row of one kind of sound; `sound` makes the `n`-th.
fn row(
    bench: &Bench,
    name: &str,
    sound: impl Fn(usize, &mut Dice) -> anyhow::Result<Vec<f32>> + Sync,
) -> anyhow::Result<()> {
    let heard = (0..TIMES)
        .into_par_iter()
        .map(|n| {
            let mut dice = Dice::new(SEED, n);
            let samples = sound(n as usize, &mut dice)?;
            bench.ears().hear(RATE, &samples, Settings::default())
        })
        .collect::<anyhow::Result<Vec<Vec<Event>>>>()?;
    let count = |of: fn(&Event) -> bool| -> Vec<usize> {
        let each = heard.iter();
        each.map(|events| events.iter().filter(|e| of(e)).count())
            .collect()
    };
    let claps = count(|e| matches!(e, Event::Phrase(_)));
    let beats = count(|e| matches!(e, Event::Beat(_)));
    let minutes = TIMES as f64 * SECONDS / 60.0;
    println!(
        "{name:24} {minutes:7.0} {:9.2} {:9.1} {:>9} of {TIMES}",
        claps.iter().sum::<usize>() as f64 / minutes,
        beats.iter().sum::<usize>() as f64 / minutes,
        claps.iter().filter(|&&n| n > 0).count(),
    );
    Ok(())
}
