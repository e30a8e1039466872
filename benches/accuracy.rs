//! How well the engine hears: `cargo bench --bench accuracy -- --corpus DIR`.
//!
//! Each `DIR` holds recordings `NAME.wav` with their truth `NAME.json` beside
//! them. Every recording goes through the engine as live sound would, on all
//! cores; the table says per condition, and in all, how the announced beats and
//! phrases fit. The measures are defined in `eightclap::report::accuracy`.
//! `--items` prints a line for each recording too; `--weights DIR` (any number)
//! hears with the networks of `DIR/weights.json` and `DIR/weights.bin` instead of the
//! shipped ones, `--phrase-weights DIR` finds phrases with another one; `--set NAME=VALUE` changes one
//! of the numbers that decide (`corpus/mod.rs` lists them).

use std::path::Path;
use std::time::Instant;

use anyhow::bail;
use eightclap::engine::Settings;
use eightclap::report::accuracy::{Figures, Summary};
use eightclap::report::measures::quantile;
use eightclap::sound::band::Truth;
use rayon::prelude::*;

mod corpus;
use corpus::{Ears, Options};

/// One recording's figures.
struct Item {
    name: String,
    truth: Truth,
    figures: Figures,
    cpu_seconds: f64,
}

fn main() -> anyhow::Result<()> {
    let options = Options::from_args()?;
    if let Some(other) = options.rest.first() {
        bail!("unknown argument {other}; usage: --corpus DIR [--corpus DIR] [--items]");
    }
    if options.items.is_empty() {
        println!("accuracy: no --corpus DIR given, nothing to measure");
        return Ok(());
    }
    let items: Vec<Item> = options
        .items
        .par_iter()
        .map(|path| measure(path, &options.ears))
        .collect::<Result<_, _>>()?;
    if options.each {
        for item in &items {
            print_item(item);
        }
    }
    print_tables(&items);
    Ok(())
}

fn measure(json: &Path, ears: &Ears) -> anyhow::Result<Item> {
    let item = corpus::Item::load(json)?;
    let began = Instant::now();
    let events = ears.hear(item.rate, &item.samples, Settings::default())?;
    let cpu_seconds = began.elapsed().as_secs_f64();
    let seconds = item.samples.len() as f64 / f64::from(item.rate);
    Ok(Item {
        figures: Figures::of(&item.truth, &events, seconds),
        name: item.name,
        truth: item.truth,
        cpu_seconds,
    })
}

fn print_item(item: &Item) {
    let (t, figures) = (&item.truth, &item.figures);
    println!(
        "{:34} {:8} {:17} {:11} {:6} F {:.3} CMLt {:.3} half {:.2} third {:.2} phrases {}/{} false {} first {} at {:.1}s bias {:+.0}ms",
        item.name,
        t.kind,
        t.instrument,
        t.backup,
        t.condition,
        figures.f,
        figures.continuity.cml_t,
        figures.wrong.half_off,
        figures.wrong.third_off,
        figures.phrases_right,
        t.phrases.len(),
        figures.false_claps,
        if figures.first_clap_right {
            "right"
        } else {
            "WRONG"
        },
        figures.first_right.unwrap_or(f64::NAN),
        1000.0 * quantile(&figures.errors, 0.5).unwrap_or(f64::NAN),
    );
}

fn print_tables(items: &[Item]) {
    println!(
        "{:22} {:>5} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>7} {:>7} {:>7} {:>6} {:>6} {:>6} {:>7} {:>7} {:>7}",
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
        "in tune",
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
            100.0 * within(|i| i.figures.beats_to_phrase, 64),
            100.0 * within(|i| i.figures.beats_to_part, 128),
        );
    }
    let notices: Vec<f64> = items
        .iter()
        .flat_map(|i| i.figures.led_in.iter().copied())
        .collect();
    let wrong: usize = items.iter().map(|i| i.figures.false_lead_ins).sum();
    let found = led.iter().filter(|i| !i.figures.led_in.is_empty()).count();
    println!(
        "lead-ins: {} right ({found} of {} recordings), {wrong} wrong; \"one\" known {:.0} ms ahead (median)",
        notices.len(),
        led.len(),
        1000.0 * quantile(&notices, 0.5).unwrap_or(f64::NAN),
    );
    let seconds: f64 = items.iter().map(|i| i.figures.seconds).sum();
    let cpu: f64 = items.iter().map(|i| i.cpu_seconds).sum();
    let late: usize = items.iter().map(|i| i.figures.late_notice).sum();
    println!(
        "{seconds:.0} s of sound in {cpu:.1} s of one core: {:.0} x real time; announced too late: {late}",
        seconds / cpu
    );
}

fn print_row(label: &str, items: &[&Item]) {
    let figures: Vec<&Figures> = items.iter().map(|i| &i.figures).collect();
    let Some(all) = Summary::of(&figures) else {
        return;
    };
    println!(
        "{label:22} {:5} {:6.3} {:6.3} {:6.3} {:6.1} {:6.1} {:6.1} {:6.1} {:7.1} {:7.1} {:7.1} {:6.3} {:6.3} {:6.3} {:7.2} {:7.2} {:7.1}",
        all.items,
        all.f,
        all.cml_t,
        all.aml_t,
        1000.0 * all.error_median,
        1000.0 * all.error_p95,
        100.0 * all.tempo_2,
        100.0 * all.tempo_4,
        100.0 * all.phrases,
        100.0 * all.first_clap,
        100.0 * all.most_phrases,
        all.half_off,
        all.third_off,
        all.wrong_level,
        all.false_a_minute,
        all.false_while_playing,
        all.first_right,
    );
}
