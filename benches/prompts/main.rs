//! How well prompts are found and their ends measured: `cargo bench --bench prompts`.
//!
//! Eight callers of a speech synthesiser say twenty prompts each, at rates and pitches by
//! chance, in silence, noise, talk, and with the house band leaking into the microphone
//! out of a loudspeaker in a room. A prompt's true ends are its first and last sample
//! that is not more than 30 dB below its loudest one. It is found if a prompt that was
//! heard overlaps it; what was heard besides is false, a second piece of one prompt too.
//!
//! `--callers N` takes fewer callers, `--seed N` other chances, `--out DIR` keeps what
//! the microphone heard, `--only TEXT` measures conditions whose names contain it, `--method
//! TEXT` tries only such methods, `--items` tells what was missed or far off.

use std::path::PathBuf;

use anyhow::Context;
use eightclap::caller::{Ear, Method, Prompt, Removal};
use eightclap::report::measures::quantile;
use eightclap::sound::write::{Depth, WavOut};
use rayon::prelude::*;

mod devices;
#[path = "../corpus/espeak.rs"]
mod espeak;
mod evening;
mod spoken;

use evening::{CONDITIONS, Condition, RATE, Said, evening};

/// What a microphone heard, what was played meanwhile, and what was said.
struct Evening {
    heard: Vec<f32>,
    played: Vec<f32>,
    said: Vec<Said>,
    /// The devices that it went through, if it did.
    take: Option<devices::Take>,
}

/// What was measured under a condition.
#[derive(Default)]
struct Score {
    said: usize,
    found: usize,
    heard: usize,
    starts: Vec<f64>,
    ends: Vec<f64>,
    syllables: Vec<f64>,
    sure: Vec<f64>,
}

fn main() -> anyhow::Result<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let value = |name: &str| {
        let at = args.iter().position(|a| a == name)?;
        args.get(at + 1).cloned()
    };
    let callers: usize = value("--callers").map_or(Ok(8), |n| n.parse())?;
    let seed: u64 = value("--seed").map_or(Ok(1), |n| n.parse())?;
    let only = value("--only").unwrap_or_default();
    let out: Option<PathBuf> = value("--out").map(PathBuf::from);
    let items = args.iter().any(|a| a == "--items");
    if !espeak::there()? {
        println!("skipped: prompts are spoken by espeak-ng; install the package of that name");
        return Ok(());
    }
    let folder = tempfile::tempdir()?;
    let clips = (0..callers)
        .into_par_iter()
        .map(|n| spoken::caller(n, RATE, folder.path()))
        .collect::<anyhow::Result<Vec<_>>>()?;

    println!(
        "{:22} {:14} {:>5} {:>7} {:>6} | {:>6} {:>6} | {:>6} {:>6} {:>6} | {:>5} {:>5}",
        "milliseconds",
        "method",
        "said",
        "found",
        "false",
        "start",
        "95 %",
        "end",
        "95 %",
        "mean",
        "syll.",
        "sure"
    );
    for condition in CONDITIONS.iter().filter(|c| c.name.contains(&only)) {
        let evenings: Vec<Evening> = clips
            .par_iter()
            .enumerate()
            .map(|(n, clips)| recorded(clips, condition, 100 * seed + n as u64))
            .collect();
        if let Some(out) = &out {
            for (n, evening) in evenings.iter().enumerate() {
                let name = format!("{}-{n}.wav", condition.name.replace(' ', "-"));
                std::fs::create_dir_all(out).context("the folder of --out")?;
                let mut file = WavOut::create(out.join(name), RATE, 1, Depth::Int16)?;
                file.write(&evening.heard)?;
                file.finish()?;
            }
        }
        for (name, method, removal) in methods(condition) {
            if value("--method").is_some_and(|m| !name.contains(&m)) {
                continue;
            }
            let heard: Vec<Vec<Prompt>> = evenings
                .par_iter()
                .map(|evening| hear(evening, method, removal))
                .collect::<anyhow::Result<_>>()?;
            let mut score = Score::default();
            for (evening, heard) in evenings.iter().zip(&heard) {
                judge(&evening.said, heard, &mut score, items);
            }
            print(condition.name, name, &score);
        }
    }
    Ok(())
}

/// An evening as the microphone heard it.
fn recorded(clips: &[spoken::Clip], condition: &Condition, seed: u64) -> Evening {
    let air = evening(clips, condition, seed);
    if let Some(devices) = condition.devices {
        let mut take = devices::through(&air, devices, seed);
        return Evening {
            heard: std::mem::take(&mut take.heard),
            played: std::mem::take(&mut take.played),
            said: std::mem::take(&mut take.said),
            take: Some(take),
        };
    }
    let both = air.voice.iter().zip(&air.echo);
    Evening {
        heard: both.map(|(voice, echo)| voice + echo).collect(),
        played: air.played,
        said: air.said,
        take: None,
    }
}

/// What is tried under a condition.
fn methods(condition: &Condition) -> Vec<(&'static str, Method, Removal)> {
    if condition.devices.is_some() {
        return vec![("both+filter", Method::Both, Removal::Adaptive)];
    }
    let mut all = vec![
        ("energy", Method::Energy, Removal::None),
        ("net", Method::Net, Removal::None),
        ("both", Method::Both, Removal::None),
    ];
    if condition.music > -100.0 && !condition.known {
        all.push(("both+mixed", Method::Both, Removal::Mixed));
    }
    if condition.known {
        all.extend([
            ("both+spectral", Method::Both, Removal::Spectral),
            ("energy+filter", Method::Energy, Removal::Adaptive),
            ("net+filter", Method::Net, Removal::Adaptive),
            ("both+filter", Method::Both, Removal::Adaptive),
        ]);
    }
    all
}

fn hear(evening: &Evening, method: Method, removal: Removal) -> anyhow::Result<Vec<Prompt>> {
    let mut ear = Ear::new(RATE, method, removal)?;
    let mut prompts = Vec::new();
    let shifts = evening.take.as_ref().map(|take| &take.shifts[..]);
    let mut shifts = shifts.unwrap_or_default().iter().peekable();
    let blocks = evening.heard.chunks(480).zip(evening.played.chunks(480));
    for (n, (heard, played)) in blocks.enumerate() {
        if shifts.next_if(|shift| **shift <= 480 * n).is_some() {
            ear.shifted();
        }
        ear.push(heard, played, &mut prompts)?;
    }
    ear.end(&mut prompts)?;
    if let Some(take) = &evening.take {
        for prompt in &mut prompts {
            *prompt = prompt.later(take.place(prompt.end) - prompt.end);
        }
    }
    Ok(prompts)
}

fn judge(said: &[Said], heard: &[Prompt], score: &mut Score, items: bool) {
    score.said += said.len();
    score.heard += heard.len();
    let overlap = |p: &Prompt, said: &Said| p.end.min(said.end) - p.start.max(said.start);
    // What was heard belongs to one prompt only, even if it runs on into the next.
    let owner = |p: &Prompt| {
        let all = said.iter().enumerate();
        let best = all.max_by(|a, b| overlap(p, a.1).total_cmp(&overlap(p, b.1)));
        best.map(|(n, _)| n)
    };
    for (n, said) in said.iter().enumerate() {
        let of = heard.iter().filter(|p| owner(p) == Some(n));
        let best = of.max_by(|a, b| overlap(a, said).total_cmp(&overlap(b, said)));
        let least = 0.3 * (said.end - said.start);
        let Some(found) = best.filter(|p| overlap(p, said) > least) else {
            if items {
                println!("  missed {:.3} to {:.3}", said.start, said.end);
            }
            continue;
        };
        score.found += 1;
        let (start, end) = (
            1e3 * (found.start - said.start),
            1e3 * (found.end - said.end),
        );
        if items && (start.abs() > 60.0 || end.abs() > 60.0) {
            println!(
                "  {:8.3} to {:8.3}: start {start:.0}, end {end:.0}",
                said.start, said.end
            );
        }
        score.starts.push(start);
        score.ends.push(end);
        score
            .syllables
            .push(f64::from(found.syllables) - f64::from(said.syllables));
        score.sure.push(f64::from(found.sure));
    }
    if items {
        for p in heard {
            let inside = |s: &Said| p.end.min(s.end) - p.start.max(s.start) > 0.0;
            if !said.iter().any(inside) {
                println!("  false {:.3} to {:.3}, sure {:.2}", p.start, p.end, p.sure);
            }
        }
    }
}

fn print(condition: &str, method: &str, score: &Score) {
    let size = |all: &[f64], share| {
        let sizes: Vec<f64> = all.iter().map(|x| x.abs()).collect();
        quantile(&sizes, share).unwrap_or(f64::NAN)
    };
    let mean = |all: &[f64]| all.iter().sum::<f64>() / all.len().max(1) as f64;
    println!(
        "{condition:22} {method:14} {:>5} {:>6.1}% {:>5.1}% | {:>6.0} {:>6.0} | {:>6.0} {:>6.0} {:>+6.0} | {:>+5.1} {:>5.2}",
        score.said,
        100.0 * score.found as f64 / score.said.max(1) as f64,
        100.0 * (score.heard - score.found) as f64 / score.said.max(1) as f64,
        size(&score.starts, 0.5),
        size(&score.starts, 0.95),
        size(&score.ends, 0.5),
        size(&score.ends, 0.95),
        mean(&score.ends),
        mean(&score.syllables),
        mean(&score.sure),
    );
}
