//! `eightclap track`: what the engine hears, as fast as it can.

use std::io::{self, BufWriter, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::Context;
use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use rayon::prelude::*;

use crate::engine::{Engine, Settings};
use crate::report::events::write_json;
use crate::screen::{clock, lines::Lines};
use crate::sound::file::{Recording, find};

use super::{AlreadyTold, TuneArgs, tell};

/// Arguments of `track`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap track reel.mp3                      every phrase, and a summary
  eightclap track tunes/                        a whole folder, on all cores
  eightclap track reel.mp3 --json > reel.json   for programs
  eightclap track hornpipe.ogg --form 48        a tune of 48 beats")]
pub(super) struct TrackArgs {
    /// Recordings, or folders of them
    #[arg(required = true, value_name = "TUNE")]
    tunes: Vec<PathBuf>,

    /// One JSON object a line: beats, phrases and lead-ins, as they become known
    #[arg(long)]
    json: bool,

    #[command(flatten)]
    tune: TuneArgs,
}

/// What became of one recording.
type Outcome = (usize, anyhow::Result<Vec<u8>>);

pub(super) fn run(args: &TrackArgs) -> anyhow::Result<()> {
    let settings = args.tune.settings();
    let (mut files, mut failed) = (Vec::new(), false);
    for tune in &args.tunes {
        match find(&[tune]) {
            Ok(found) => files.extend(found),
            // The others may be good.
            Err(error) => {
                failed = true;
                tell(error);
            }
        }
    }
    let alone = args.tunes.len() == 1 && args.tunes[0].is_file();
    if alone && let [file] = files.as_slice() {
        // A single recording is printed as it is heard, however long it is.
        let mut out = BufWriter::new(io::stdout().lock());
        track(file, args.json, settings, None, &mut out)?;
        return Ok(out.flush()?);
    }

    let bar = ProgressBar::new(files.len() as u64).with_style(
        ProgressStyle::with_template("{bar:32} {pos}/{len} recordings, {eta} left")
            .unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    if !io::stderr().is_terminal() {
        bar.set_draw_target(ProgressDrawTarget::hidden());
    }
    let (send, receive) = crossbeam_channel::unbounded::<Outcome>();
    let unread = AtomicBool::new(false);
    std::thread::scope(|scope| -> anyhow::Result<()> {
        let (files, bar, unread) = (&files, &bar, &unread);
        scope.spawn(move || {
            files
                .par_iter()
                .enumerate()
                .for_each_with(send, |send, (index, file)| {
                    if unread.load(Ordering::Relaxed) {
                        return;
                    }
                    let mut text = Vec::new();
                    let name = file.to_string_lossy();
                    let done = track(file, args.json, settings, Some(&name), &mut text);
                    if send.send((index, done.map(|()| text))).is_err() {
                        // Printing failed: nobody wants the rest.
                        unread.store(true, Ordering::Relaxed);
                    }
                    bar.inc(1);
                });
        });
        let mut out = io::stdout().lock();
        for outcome in in_order(receive.into_iter()) {
            match outcome {
                Ok(text) => bar.suspend(|| out.write_all(&text))?,
                Err(error) => {
                    failed = true;
                    bar.suspend(|| tell(format_args!("{error:#}")));
                }
            }
        }
        Ok(out.flush()?)
    })?;
    bar.finish_and_clear();
    if failed {
        return Err(AlreadyTold.into());
    }
    Ok(())
}

/// Gives outcomes in the order of their numbers, each as soon as all before it are there.
fn in_order(
    outcomes: impl Iterator<Item = Outcome>,
) -> impl Iterator<Item = anyhow::Result<Vec<u8>>> {
    let mut early = std::collections::BTreeMap::new();
    let mut next = 0;
    outcomes.flat_map(move |(index, outcome)| {
        early.insert(index, outcome);
        let mut ready = Vec::new();
        while let Some(outcome) = early.remove(&next) {
            ready.push(outcome);
            next += 1;
        }
        ready
    })
}

/// Runs one recording through the engine and prints what it says.
fn track(
    file: &Path,
    json: bool,
    settings: Settings,
    name: Option<&str>,
    out: &mut impl Write,
) -> anyhow::Result<()> {
    let mut recording = Recording::open(file)?;
    let mut engine = Engine::new(recording.sample_rate(), settings)
        .with_context(|| file.display().to_string())?;
    let mut lines = Lines::new(None);
    let (mut samples, mut events) = (Vec::new(), Vec::new());
    if !json {
        writeln!(out, "{}", file.display())?;
    }
    while recording.read_mono(&mut samples)? > 0 {
        engine.push(&samples, &mut events);
        for event in events.drain(..) {
            if json {
                write_json(out, &event, name)?;
            } else if let Some(line) = lines.push(&event) {
                writeln!(out, "{line}")?;
            }
        }
    }
    if !json {
        let seconds = recording.position() as f64 / f64::from(recording.sample_rate());
        writeln!(out, "{}: {}", clock(seconds), lines.summary().line(None))?;
        if name.is_some() {
            writeln!(out)?;
        }
    }
    if let Some(warning) = recording.warning() {
        tell(warning);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outcomes_come_in_the_order_of_the_files() {
        let outcomes = [2usize, 0, 3, 1].map(|k| (k, Ok(vec![k as u8])));
        let order: Vec<u8> = in_order(outcomes.into_iter())
            .map(|text| text.unwrap()[0])
            .collect();
        assert_eq!(order, [0, 1, 2, 3]);
    }
}
