//! How well the engine hears: `cargo bench --bench accuracy -- --corpus DIR`.
//!
//! Each `DIR` holds recordings `NAME.wav` with their truth `NAME.json` beside
//! them. Every recording goes through the engine as live sound would, on all
//! cores; the table says per condition, and in all, how the announced beats and
//! phrases fit. Beat measures are defined in `eightclap::report::measures`.
//! `--items` prints a line for each recording too; `--weights DIR` hears with the
//! network of `DIR/weights.json` and `DIR/weights.bin` instead of the shipped one,
//! `--phrase-weights DIR` finds phrases with another one.

use std::path::{Path, PathBuf};
use std::time::Instant;

use anyhow::{Context, bail};
use eightclap::engine::{Engine, Settings};
use eightclap::event::{Event, NOTICE};
use eightclap::hear::net::Net;
use eightclap::phrase::net::PhraseNet;
use eightclap::report::measures::{
    Continuity, HIT_WINDOW, WrongLocks, continuity, f_measure, matches, quantile, wrong_locks,
};
use eightclap::sound::file::load_mono;
use rayon::prelude::*;
use serde::Deserialize;

/// What is known of a recording.
#[derive(Deserialize)]
struct Truth {
    #[serde(default)]
    kind: String,
    #[serde(default)]
    instrument: String,
    #[serde(default)]
    backup: String,
    #[serde(default)]
    condition: String,
    #[serde(default)]
    lead_in: Vec<f64>,
    beats: Vec<f64>,
    #[serde(default)]
    phrases: Vec<f64>,
    #[serde(default)]
    parts: Vec<TruePart>,
}

#[derive(Deserialize)]
struct TruePart {
    t: f64,
    name: String,
}

/// One recording's figures.
struct Item {
    name: String,
    truth: Truth,
    f: f64,
    continuity: Continuity,
    wrong: WrongLocks,
    /// Announced minus true time of each matched beat, seconds.
    errors: Vec<f64>,
    /// Windows of eight beats: within 2 %, within 4 %, all.
    tempo: [usize; 3],
    phrases_right: usize,
    false_claps: usize,
    first_clap_right: bool,
    /// Seconds from the music's start to the first right clap.
    first_right: Option<f64>,
    /// Beats heard before the first right clap, and before the first with its right part.
    beats_to_phrase: Option<usize>,
    beats_to_part: Option<usize>,
    late_notice: usize,
    seconds: f64,
    cpu_seconds: f64,
}

fn main() -> anyhow::Result<()> {
    let mut folders = Vec::new();
    let mut each = false;
    let mut net = Net::trained();
    let mut phrase_net = PhraseNet::trained();
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        match arg.as_str() {
            "--corpus" => folders.push(PathBuf::from(args.next().context("--corpus DIR")?)),
            "--items" => each = true,
            "--weights" => {
                let (list, data) = weights(&args.next().context("--weights DIR")?)?;
                net = Net::from_parts(&list, &data)?;
            }
            "--phrase-weights" => {
                let (list, data) = weights(&args.next().context("--phrase-weights DIR")?)?;
                phrase_net = PhraseNet::from_parts(&list, &data)?;
            }
            "--bench" => {}
            other => {
                bail!("unknown argument {other}; usage: --corpus DIR [--corpus DIR] [--items]")
            }
        }
    }
    if folders.is_empty() {
        println!("accuracy: no --corpus DIR given, nothing to measure");
        return Ok(());
    }
    let mut names = Vec::new();
    for folder in &folders {
        let list = std::fs::read_dir(folder).with_context(|| format!("{}", folder.display()))?;
        for entry in list {
            let path = entry?.path();
            if path.extension().is_some_and(|e| e == "json") && path.with_extension("wav").exists()
            {
                names.push(path);
            }
        }
    }
    names.sort();
    let items: Vec<Item> = names
        .par_iter()
        .map(|path| measure(path, &net, &phrase_net))
        .collect::<Result<_, _>>()?;
    if items.is_empty() {
        bail!("no NAME.wav with NAME.json in the given folders");
    }
    if each {
        for item in &items {
            print_item(item);
        }
    }
    print_tables(&items);
    Ok(())
}

/// The list and the data of the weights in `folder`.
fn weights(folder: &str) -> anyhow::Result<(String, Vec<u8>)> {
    let folder = Path::new(folder);
    let list = std::fs::read_to_string(folder.join("weights.json"))?;
    Ok((list, std::fs::read(folder.join("weights.bin"))?))
}

fn measure(json: &Path, net: &Net, phrase_net: &PhraseNet) -> anyhow::Result<Item> {
    let text = std::fs::read_to_string(json)?;
    let truth: Truth =
        serde_json::from_str(&text).with_context(|| format!("{}", json.display()))?;
    let (rate, samples) = load_mono(json.with_extension("wav"))?;
    let began = Instant::now();
    let mut engine = Engine::with_nets(rate, Settings::default(), net.clone(), phrase_net.clone())?;
    let mut events = Vec::new();
    for block in samples.chunks(512) {
        engine.push(block, &mut events);
    }
    let cpu_seconds = began.elapsed().as_secs_f64();

    let mut beats = Vec::new();
    let mut claps = Vec::new();
    let mut late_notice = 0;
    for event in &events {
        match event {
            Event::Beat(b) => beats.push(b.time),
            Event::Phrase(p) => claps.push((p.time, p.part.name())),
            Event::LeadIn(_) => continue,
        }
        if event.time() - event.announced() < NOTICE - 1e-9 {
            late_notice += 1;
        }
    }
    let clap_times: Vec<f64> = claps.iter().map(|c| c.0).collect();
    let right = matches(&truth.phrases, &clap_times, HIT_WINDOW);
    let is_right = |t: f64| truth.phrases.iter().any(|p| (p - t).abs() <= HIT_WINDOW);
    let part_at = |t: f64| {
        let near = truth.parts.iter().rev().find(|p| p.t <= t + HIT_WINDOW);
        near.map(|p| p.name.as_str())
    };
    let music_starts = truth
        .lead_in
        .first()
        .or(truth.beats.first())
        .copied()
        .unwrap_or(0.0);
    let beats_until = |t: f64| truth.beats.iter().filter(|&&b| b < t - HIT_WINDOW).count();
    let first_right = clap_times.iter().copied().find(|&t| is_right(t));
    let first_part = claps
        .iter()
        .find(|(t, part)| is_right(*t) && part_at(*t) == Some(*part))
        .map(|c| c.0);
    Ok(Item {
        name: json
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned(),
        f: f_measure(&truth.beats, &beats, HIT_WINDOW),
        continuity: continuity(&truth.beats, &beats),
        wrong: wrong_locks(&truth.beats, &beats),
        errors: matches(&truth.beats, &beats, HIT_WINDOW)
            .iter()
            .map(|(t, a)| a - t)
            .collect(),
        tempo: tempo_windows(&truth.beats, &beats),
        phrases_right: right.len(),
        false_claps: clap_times.iter().filter(|&&t| !is_right(t)).count(),
        first_clap_right: clap_times.first().is_some_and(|&t| is_right(t)),
        first_right: first_right.map(|t| t - music_starts),
        beats_to_phrase: first_right.map(beats_until),
        beats_to_part: first_part.map(beats_until),
        late_notice,
        seconds: samples.len() as f64 / f64::from(rate),
        cpu_seconds,
        truth,
    })
}

/// Tempo over every eight announced beats against the true one there.
fn tempo_windows(truth: &[f64], beats: &[f64]) -> [usize; 3] {
    let mut counts = [0; 3];
    for window in beats.windows(9) {
        let at = truth.partition_point(|&t| t < window[0] - 0.2);
        let Some(&[first, .., last]) = truth.get(at..at + 9) else {
            continue;
        };
        let error = ((last - first) / (window[8] - window[0]) - 1.0).abs();
        counts[0] += usize::from(error <= 0.02);
        counts[1] += usize::from(error <= 0.04);
        counts[2] += 1;
    }
    counts
}

fn print_item(item: &Item) {
    let t = &item.truth;
    println!(
        "{:34} {:8} {:17} {:11} {:6} F {:.3} CMLt {:.3} half {:.2} third {:.2} phrases {}/{} false {} first {} at {:.1}s bias {:+.0}ms",
        item.name,
        t.kind,
        t.instrument,
        t.backup,
        t.condition,
        item.f,
        item.continuity.cml_t,
        item.wrong.half_off,
        item.wrong.third_off,
        item.phrases_right,
        t.phrases.len(),
        item.false_claps,
        if item.first_clap_right {
            "right"
        } else {
            "WRONG"
        },
        item.first_right.unwrap_or(f64::NAN),
        1000.0 * quantile(&item.errors, 0.5).unwrap_or(f64::NAN),
    );
}

fn print_tables(items: &[Item]) {
    println!(
        "{:22} {:>5} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>7} {:>7} {:>7} {:>6} {:>6} {:>6} {:>7} {:>7}",
        "",
        "items",
        "F",
        "CMLt",
        "AMLt",
        "med ms",
        "p95 ms",
        "tmp2%",
        "tmp4%",
        "phrases",
        "1stclap",
        ">=90%",
        "half",
        "third",
        "level",
        "false/m",
        "1st s"
    );
    let led: Vec<&Item> = items
        .iter()
        .filter(|i| !i.truth.lead_in.is_empty())
        .collect();
    let mid: Vec<&Item> = items
        .iter()
        .filter(|i| i.truth.lead_in.is_empty() && !i.truth.beats.is_empty())
        .collect();
    let mut conditions: Vec<&str> = items.iter().map(|i| i.truth.condition.as_str()).collect();
    conditions.sort_unstable();
    conditions.dedup();
    for condition in &conditions {
        let of: Vec<&Item> = led
            .iter()
            .copied()
            .filter(|i| i.truth.condition == *condition)
            .collect();
        for (label, backed) in [("with backup", true), ("melody alone", false)] {
            let part: Vec<&Item> = of
                .iter()
                .copied()
                .filter(|i| (i.truth.backup != "none") == backed)
                .collect();
            print_row(&format!("{condition} {label}"), &part);
        }
        print_row(&format!("{condition} all"), &of);
    }
    print_row("all with lead-in", &led);
    if !mid.is_empty() {
        print_row("mid-tune start", &mid);
        let within = |pick: fn(&Item) -> Option<usize>, most: usize| {
            mid.iter()
                .filter(|i| pick(i).is_some_and(|n| n <= most))
                .count() as f64
                / mid.len() as f64
        };
        println!(
            "mid-tune start: phrase right within 64 beats {:.1} %, part right within 128 beats {:.1} %",
            100.0 * within(|i| i.beats_to_phrase, 64),
            100.0 * within(|i| i.beats_to_part, 128),
        );
    }
    let seconds: f64 = items.iter().map(|i| i.seconds).sum();
    let cpu: f64 = items.iter().map(|i| i.cpu_seconds).sum();
    let late: usize = items.iter().map(|i| i.late_notice).sum();
    println!(
        "{seconds:.0} s of sound in {cpu:.1} s of one core: {:.0} x real time; announced too late: {late}",
        seconds / cpu
    );
}

fn print_row(label: &str, items: &[&Item]) {
    if items.is_empty() {
        return;
    }
    let n = items.len() as f64;
    let mean = |f: &dyn Fn(&Item) -> f64| items.iter().map(|i| f(i)).sum::<f64>() / n;
    let share = |f: &dyn Fn(&Item) -> bool| items.iter().filter(|i| f(i)).count() as f64 / n;
    let errors: Vec<f64> = items
        .iter()
        .flat_map(|i| i.errors.iter().map(|e| 1000.0 * e.abs()))
        .collect();
    let tempo = items.iter().fold([0; 3], |mut sum, i| {
        sum.iter_mut().zip(i.tempo).for_each(|(s, x)| *s += x);
        sum
    });
    let of_tempo = |k: usize| 100.0 * tempo[k] as f64 / (tempo[2].max(1)) as f64;
    let phrases: usize = items.iter().map(|i| i.truth.phrases.len()).sum();
    let hits: usize = items.iter().map(|i| i.phrases_right).sum();
    let false_claps: usize = items.iter().map(|i| i.false_claps).sum();
    let minutes: f64 = items.iter().map(|i| i.seconds / 60.0).sum();
    let first: Vec<f64> = items.iter().filter_map(|i| i.first_right).collect();
    println!(
        "{label:22} {:5} {:6.3} {:6.3} {:6.3} {:6.1} {:6.1} {:6.1} {:6.1} {:7.1} {:7.1} {:7.1} {:6.3} {:6.3} {:6.3} {:7.2} {:7.1}",
        items.len(),
        mean(&|i| i.f),
        mean(&|i| i.continuity.cml_t),
        mean(&|i| i.continuity.aml_t),
        quantile(&errors, 0.5).unwrap_or(f64::NAN),
        quantile(&errors, 0.95).unwrap_or(f64::NAN),
        of_tempo(0),
        of_tempo(1),
        100.0 * hits as f64 / phrases.max(1) as f64,
        100.0 * share(&|i| i.first_clap_right),
        100.0 * share(&|i| 10 * i.phrases_right >= 9 * i.truth.phrases.len()),
        mean(&|i| i.wrong.half_off),
        mean(&|i| i.wrong.third_off),
        mean(&|i| i.wrong.wrong_level),
        false_claps as f64 / minutes.max(1e-9),
        quantile(&first, 0.5).unwrap_or(f64::NAN),
    );
}
