//! Checks that a written demo has its claps where it says:
//! `cargo run --release --example claps -- WITH.wav WITHOUT.wav PRINTED.txt`.
//!
//! The two recordings differ only by the claps. Every phrase that the demo
//! printed must begin with one, and there must be no others.

use eightclap::sound::file::load_mono;

/// Printed times are rounded to whole seconds; claps are told apart by this.
const SAME_SECOND: f64 = 1.0;
/// A new clap begins after so much silence, seconds.
const APART: f64 = 0.5;

fn main() -> anyhow::Result<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [with, without, printed] = args.as_slice() else {
        anyhow::bail!("usage: claps WITH.wav WITHOUT.wav PRINTED.txt");
    };
    let (rate, with) = load_mono(with)?;
    let (_, without) = load_mono(without)?;
    anyhow::ensure!(
        with.len() == without.len(),
        "the recordings differ in length"
    );
    let mut claps: Vec<f64> = Vec::new();
    let mut last = f64::NEG_INFINITY;
    for (n, (a, b)) in with.iter().zip(&without).enumerate() {
        if (a - b).abs() > 0.02 {
            let time = n as f64 / f64::from(rate);
            if time - last > APART {
                claps.push(time);
            }
            last = time;
        }
    }
    let phrases: Vec<f64> = std::fs::read_to_string(printed)?
        .lines()
        .filter(|line| line.contains(" phrase "))
        .filter_map(|line| {
            let (minutes, seconds) = line.split_whitespace().next()?.split_once(':')?;
            Some(60.0 * minutes.parse::<f64>().ok()? + seconds.parse::<f64>().ok()?)
        })
        .collect();
    println!(
        "{} phrases printed, {} claps heard",
        phrases.len(),
        claps.len()
    );
    anyhow::ensure!(phrases.len() >= 24, "three times through have 24 phrases");
    anyhow::ensure!(phrases.len() == claps.len(), "not one clap for each phrase");
    for (phrase, clap) in phrases.iter().zip(&claps) {
        anyhow::ensure!(
            (0.0..SAME_SECOND).contains(&(clap - phrase)),
            "clap at {clap:.2} s, but the phrase was printed at {phrase} s"
        );
    }
    Ok(())
}
