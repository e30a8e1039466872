//! Draws what the engine heard and believed, so that a person can see why a
//! clap fell where it did:
//!
//! `cargo run --release --example why -- TUNE OUT.svg [--from S] [--to S] [--truth TUNE.json]`
//!
//! The recording is heard from its start, as live sound would be; `--from` and
//! `--to` only choose what is drawn. The picture needs nothing but a browser
//! and reads without colour.

mod key;
mod listen;
mod panel;
mod picture;

use std::path::PathBuf;

use anyhow::{Context, bail};
use clap::Parser;
use eightclap::engine::Settings;
use eightclap::phrase::Form;
use serde::Deserialize;

/// Seconds drawn if `--to` is not given.
const USUAL: f64 = 30.0;

/// Draw why the claps of a recording fell where they did.
#[derive(Parser)]
struct Args {
    /// The recording
    tune: PathBuf,
    /// The picture to write
    out: PathBuf,
    /// Where the picture starts, seconds
    #[arg(long, default_value_t = 0.0, value_name = "S")]
    from: f64,
    /// Where it ends, seconds [default: 30 s after its start]
    #[arg(long, value_name = "S")]
    to: Option<f64>,
    /// Beats in one time through the tune
    #[arg(long, default_value_t = 64, value_name = "BEATS")]
    form: u32,
    /// True beats to draw beside the announced ones: JSON with "beats" and "phrases", seconds
    #[arg(long, value_name = "FILE")]
    truth: Option<PathBuf>,
}

/// What is known of a recording.
#[derive(Deserialize, Default)]
struct Truth {
    beats: Vec<f64>,
    #[serde(default)]
    phrases: Vec<f64>,
}

fn main() -> anyhow::Result<()> {
    let args = Args::parse();
    let settings = Settings {
        form: Form::new(args.form)?,
        ..Settings::default()
    };
    let truth = match &args.truth {
        None => Truth::default(),
        Some(file) => {
            let name = || file.display().to_string();
            let text = std::fs::read_to_string(file).with_context(name)?;
            serde_json::from_str(&text).with_context(name)?
        }
    };
    let heard = listen::listen(&args.tune, settings)?;
    let end = heard.seconds();
    let to = args.to.unwrap_or(args.from + USUAL).min(end);
    if !(args.from >= 0.0 && args.from + 0.1 <= to) {
        bail!(
            "{}: nothing to draw from {} s to {to:.2} s; the recording is {end:.2} s long",
            args.tune.display(),
            args.from,
        );
    }
    let title = args.tune.file_name().unwrap_or_default().to_string_lossy();
    let picture = picture::draw(&title, &heard, &settings, &truth, args.from..to);
    svg::save(&args.out, &picture).with_context(|| args.out.display().to_string())
}
