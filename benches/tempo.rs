//! How well the tempo meter reads: `cargo bench --bench tempo`.
//!
//! Metronomes of three kinds, the house band, music of other kinds and, with
//! `--corpus DIR`, recordings `NAME.wav` with their beats in `NAME.json`, each by
//! five methods:
//!
//! * engine: the engine's beats alone;
//! * lag: the middle of the periods that the autocorrelation gave, no beats;
//! * chain: the plain pulse, its beats where their frames are;
//! * rise: the plain pulse, its beats where power rises most;
//! * meter: the engine, or the pulse with the better of those times, as `eightclap
//!   tempo` chooses.
//!
//! For each: how many sounds were read within 1 % over the whole, the largest
//! error of those over the whole, and the 95th percentile of their errors over 8
//! beats against the true beats' own tempo over 8 beats, in steps per minute.
//! `--items` prints a line for each sound.

use std::path::PathBuf;

use eightclap::engine::{Engine, Settings};
use eightclap::event::Event;
use eightclap::hear::pulse::{Pulse, Times};
use eightclap::report::measures::quantile;
use eightclap::report::tempo::Meter;
use eightclap::sound::file::find;
use eightclap::steps::Steps;
use rayon::prelude::*;

#[allow(
    dead_code,
    reason = "shared with benches that hear with given networks"
)]
mod corpus;
#[path = "../tests/tempo/sounds.rs"]
mod sounds;

use corpus::Item;
use sounds::{Click, Sound, air, band, clicks, noises, snaps, waltz, with_noise};

const METHODS: [&str; 5] = ["engine", "lag", "chain", "rise", "meter"];
/// The tempo preferred where there are several, as in `eightclap tempo`.
const USUAL: f64 = 112.0;

/// What a method read.
#[derive(Default)]
struct Read {
    whole: Option<f64>,
    /// Errors over 8 beats.
    errors: Vec<f64>,
}

fn main() -> anyhow::Result<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let items = args.iter().any(|a| a == "--items");
    let corpora: Vec<PathBuf> = args
        .windows(2)
        .filter(|pair| pair[0] == "--corpus")
        .map(|pair| pair[1].clone().into())
        .collect();

    let mut groups = made();
    for corpus in &corpora {
        let mut sounds = Vec::new();
        for wav in find(&[corpus])? {
            let item = Item::load(&wav.with_extension("json"))?;
            let beats = item.truth.beats;
            sounds.push(Sound {
                name: item.name,
                rate: item.rate,
                samples: item.samples,
                tempo: metered(&beats).0.whole().map_or(0.0, |w| w.value),
                beats,
            });
        }
        groups.push((corpus.display().to_string(), sounds));
    }

    print!("{:28} {:>3}", "", "n");
    for method in METHODS {
        print!(" {method:>16}");
    }
    println!();
    for (name, sounds) in &groups {
        let reads: Vec<[Read; 5]> = sounds.par_iter().map(read).collect();
        if items {
            for (sound, reads) in sounds.iter().zip(&reads) {
                print!(
                    "  {:26} {:>6.1}",
                    sound.name.chars().take(26).collect::<String>(),
                    sound.tempo
                );
                for read in reads {
                    let whole = read.whole.map_or("-".into(), |w| format!("{w:.2}"));
                    let most = quantile(&read.errors, 0.95).unwrap_or(f64::NAN);
                    print!(" {whole:>9} {most:>6.2}");
                }
                println!();
            }
        }
        print!("{name:28} {:>3}", sounds.len());
        for method in 0..METHODS.len() {
            print!(" {:>16}", cell(sounds, &reads, method));
        }
        println!();
    }
    println!("\nWhat has no beat: steps per minute read by the meter");
    for sound in noises() {
        let read = &read(&sound)[4];
        let whole = read.whole.map_or("none".into(), |w| format!("{w:.1}"));
        println!("{:28} {whole}", sound.name);
    }
    Ok(())
}

/// The sounds that are made here.
fn made() -> Vec<(String, Vec<Sound>)> {
    let mut groups = Vec::new();
    for kind in [Click::Blip, Click::Wood, Click::Bars] {
        for noise in [false, true] {
            let mut sounds = Vec::new();
            for tempo in [60.0, 90.0, 116.0, 120.0, 132.0, 208.0] {
                for rate in [44_100, 48_000] {
                    let plain = clicks(kind, tempo, 40.0, rate);
                    sounds.push(if noise { with_noise(plain) } else { plain });
                }
            }
            let noise = if noise { ", noise at −20 dB" } else { "" };
            groups.push((format!("clicks: {kind:?}{noise}").to_lowercase(), sounds));
        }
    }
    let tunes = [
        ("kettle-on-the-landing", 116.0),
        ("boots-on-the-fender", 104.0),
        ("lamplighters-ladder", 120.0),
        ("ferry-committee", 112.0),
        ("three-geese-late", 124.0),
    ];
    let bands = tunes.map(|(name, tempo)| band(name, tempo, 3, 44_100));
    groups.push(("house band".into(), bands.into()));
    let outside = [("three-geese-late", 76.0), ("ferry-committee", 160.0)];
    let bands = outside.map(|(name, tempo)| band(name, tempo, 3, 44_100));
    groups.push(("house band, 76 and 160".into(), bands.into()));
    let waltzes = [84.0, 100.0, 120.0, 140.0, 168.0].map(|t| waltz(t, 44_100));
    groups.push(("waltzes, 84 to 168".into(), waltzes.into()));
    let pairs = [96.0, 112.0, 120.0, 132.0].map(|t| snaps(t, 44_100));
    groups.push(("dotted pairs, 96 to 132".into(), pairs.into()));
    let airs = [56.0, 66.0, 80.0].map(|t| air(t, 44_100));
    groups.push(("slow airs, 56 to 80".into(), airs.into()));
    groups
}

fn cell(sounds: &[Sound], reads: &[[Read; 5]], method: usize) -> String {
    let (mut right, mut most, mut errors) = (0, 0.0f64, Vec::new());
    for (sound, reads) in sounds.iter().zip(reads) {
        let read = &reads[method];
        let off = read.whole.map(|whole| (whole - sound.tempo).abs());
        if let Some(off) = off.filter(|off| *off <= 0.01 * sound.tempo) {
            right += 1;
            most = most.max(off);
            errors.extend_from_slice(&read.errors);
        }
    }
    match (right, quantile(&errors, 0.95)) {
        (0, _) => "0".into(),
        (_, Some(error)) => format!("{right} {most:.2} {error:.2}"),
        _ => format!("{right} {most:.2} -"),
    }
}

/// Feeds `beats` to a meter; also the tempi over 8 beats, with their times.
fn metered(beats: &[f64]) -> (Meter, Vec<(f64, f64)>) {
    metered_anew(beats.iter().map(|&beat| (beat, false)))
}

/// The same for beats at some of which another listener takes over.
fn metered_anew(beats: impl Iterator<Item = (f64, bool)>) -> (Meter, Vec<(f64, f64)>) {
    let (mut meter, mut over) = (Meter::default(), Vec::new());
    for (beat, anew) in beats {
        if anew {
            meter.restart(beat);
        }
        if meter.push(beat)
            && let Some(tempo) = meter.over(8)
        {
            over.push((beat, tempo));
        }
    }
    (meter, over)
}

fn read(sound: &Sound) -> [Read; 5] {
    let mut engine = Engine::new(sound.rate, Settings::default()).expect("a usual rate");
    let pulse = |times| {
        let pulse = Pulse::new(sound.rate, USUAL).expect("a usual rate");
        pulse.with_times(times)
    };
    let (mut coarse, mut fine) = (pulse(Times::Frames), pulse(Times::Rises));
    let mut steps = Steps::new(sound.rate, USUAL).expect("a usual rate");
    let (mut events, mut chain, mut rise) = (Vec::new(), Vec::new(), Vec::new());
    let (mut found, mut periods) = (Vec::new(), Vec::new());
    for samples in sound.samples.chunks(sound.rate as usize / 10) {
        engine.push(samples, &mut events);
        coarse.push(samples, &mut chain);
        fine.push(samples, &mut rise);
        steps.push(samples, &mut found);
        periods.extend(coarse.period());
    }
    coarse.end(&mut chain);
    fine.end(&mut rise);
    steps.end(&mut found);
    let heard: Vec<f64> = events
        .iter()
        .filter(|e| matches!(e, Event::Beat(_)))
        .map(Event::time)
        .collect();
    let truth = metered(&sound.beats).1;
    let judged = |(meter, over): (Meter, Vec<(f64, f64)>)| Read {
        whole: meter.whole().map(|w| w.value),
        errors: over
            .iter()
            .filter_map(|(time, tempo)| {
                let after = truth.partition_point(|t| t.0 < time + 0.1);
                let (_, due) = truth.get(after.checked_sub(1)?)?;
                Some((tempo - due).abs())
            })
            .collect(),
    };
    let lag = Read {
        whole: quantile(&periods, 0.5).map(|period| 60.0 / period),
        errors: Vec::new(),
    };
    [
        judged(metered(&heard)),
        lag,
        judged(metered(&chain)),
        judged(metered(&rise)),
        judged(metered_anew(
            found.iter().map(|step| (step.time, step.anew)),
        )),
    ]
}
