//! `eightclap tempo`: steps per minute, of a recording, of a band, or of tapping.

mod account;
mod beats;
mod follow;
mod microphone;

use std::io::{self, BufWriter, IsTerminal, Write};
use std::path::PathBuf;
use std::time::Instant;

use anyhow::Context;
use clap::Args;

use crate::follow::{Hearing, HearingError};
use crate::report::tempo::{Want, WantError};
use crate::screen::tempo::Dial;
use crate::screen::{clock, colour_wanted};
use crate::sound::device::DeviceError;
use crate::sound::file::Recording;
use crate::steps::Steps;

use super::config::Defaults;
use super::gear::EarArgs;
use super::listen::seconds;
use super::play::listen;
use super::practise::is_same_file;
use super::tell;
use account::Account;
use beats::{InputLines, Keys};
use follow::{follow_in_lines, follow_on_screen};
use microphone::Microphone;

/// Arguments of `tempo`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap tempo reel.mp3 --want 112..120   of a recording, and what to say
  eightclap tempo                            the band that plays now
  eightclap tempo --tap                      your taps on the space bar
  eightclap tempo reel.mp3 --csv beats.csv   every beat in a table")]
pub(super) struct TempoArgs {
    /// The recording, read as fast as possible; without one, what the microphone hears
    #[arg(value_name = "TUNE", conflicts_with_all = ["tap", "input", "channel", "seconds", "line"])]
    tune: Option<PathBuf>,

    /// Tap the beats: the space bar or Enter; from a pipe, every line is a beat
    #[arg(long, conflicts_with_all = ["input", "channel"])]
    tap: bool,

    /// Stop after so many seconds
    #[arg(long, value_name = "N", value_parser = seconds)]
    seconds: Option<f64>,

    /// A plain line every 8 beats instead of the screen
    #[arg(long, help_heading = "Output")]
    line: bool,

    /// The wanted steps per minute, such as 112..120: says what to tell the band
    /// [config: tempo.want]
    #[arg(long, value_name = "LOW..HIGH", value_parser = want)]
    want: Option<Want>,

    /// Log every beat to this file: seconds, and steps per minute now, over 8 and
    /// over 64 beats. Replaces an older file
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    csv: Option<PathBuf>,

    /// One JSON object a line: every beat, and a summary at the end
    #[arg(long, help_heading = "Output")]
    json: bool,

    #[command(flatten)]
    ear: EarArgs,
}

pub(super) fn want(text: &str) -> Result<Want, WantError> {
    text.parse()
}

/// Tempo preferred where music that is no dance tune leaves several, steps per
/// minute: that of dances.
const USUAL: f64 = 112.0;

pub(super) fn run(mut args: TempoArgs) -> anyhow::Result<()> {
    let defaults = Defaults::load()?;
    args.ear.fill(&defaults);
    args.want = args.want.or(defaults.want);
    let args = &args;
    if let (Some(csv), Some(tune)) = (&args.csv, &args.tune)
        && is_same_file(csv, tune)
    {
        anyhow::bail!(
            "{}: this is the recording itself and would be lost; name another file for the log",
            csv.display()
        );
    }
    match &args.tune {
        Some(tune) => {
            // A recording that cannot be read should not cost an older log.
            let recording = Recording::open(tune)?;
            read(recording, Account::new(args)?, args)
        }
        None if args.tap => tap(Account::new(args)?, args, "tapping"),
        None => hear(args),
    }
}

/// Hears what is played now; where nothing can be heard, taps are as good.
fn hear(args: &TempoArgs) -> anyhow::Result<()> {
    let usual = args.want.map_or(USUAL, Want::middle);
    // The microphone comes first: without it an older log is kept.
    match Hearing::open(args.ear.device(), args.ear.channel(), usual) {
        Ok(hearing) => {
            let mut source = Microphone::new(hearing);
            let account = Account::new(args)?;
            if !on_screen(args) {
                return follow_in_lines(&mut source, account, &listen(), args);
            }
            let dial = Dial {
                invitation: "listening for a steady beat",
                keys: &[("r", "begin anew"), ("q", "quit")],
                want: args.want,
                colour: colour_wanted(),
                ..Dial::default()
            };
            follow_on_screen(&mut source, account, dial, args)
        }
        Err(HearingError::Device(DeviceError::NoInput))
            if !args.ear.is_named() && on_screen(args) =>
        {
            tap(Account::new(args)?, args, "no microphone: tapping")?;
            tell(format_args!(
                "{}; taps were taken instead",
                DeviceError::NoInput
            ));
            Ok(())
        }
        Err(error) => Err(anyhow::Error::new(error)
            .context("cannot listen (`eightclap tempo --tap` takes taps instead)")),
    }
}

fn on_screen(args: &TempoArgs) -> bool {
    !args.json && !args.line && io::stdout().is_terminal() && io::stdin().is_terminal()
}

impl TempoArgs {
    /// Whether the time is up for what `began` then.
    fn over(&self, began: Instant) -> bool {
        let seconds = began.elapsed().as_secs_f64();
        self.seconds.is_some_and(|end| seconds >= end)
    }
}

/// Reads a recording to its end and prints its tempo by time through.
fn read(mut recording: Recording, mut account: Account, args: &TempoArgs) -> anyhow::Result<()> {
    let name = recording.path().display().to_string();
    let rate = recording.sample_rate();
    let usual = args.want.map_or(USUAL, Want::middle);
    let mut listener = Steps::new(rate, usual).with_context(|| name.clone())?;
    let mut out = BufWriter::new(io::stdout().lock());
    let (mut samples, mut steps) = (Vec::new(), Vec::new());
    loop {
        let over = recording.read_mono(&mut samples)? == 0;
        match over {
            true => listener.end(&mut steps),
            false => listener.push(&samples, &mut steps),
        }
        for step in steps.drain(..) {
            account.take(step, &mut out)?;
        }
        if over {
            break;
        }
    }
    if !args.json {
        writeln!(out, "{name}")?;
        let rows = account.meter.table(listener.starts());
        if !rows.is_empty() {
            writeln!(
                out,
                "{:18}{:>8}{:>8}{:>20}   slowest and fastest 8 beats",
                "", "from", "beats", "steps per minute"
            )?;
        }
        for row in rows {
            let range = row.range.map_or(String::new(), |(low, high)| {
                format!("{low:.1} to {high:.1}")
            });
            let line = format!(
                "{:18}{:>8}{:>8}{:>20.1}   {range}",
                row.name,
                clock(row.from),
                row.beats,
                row.tempo
            );
            writeln!(out, "{}", line.trim_end())?;
        }
    }
    let seconds = recording.position() as f64 / f64::from(rate);
    account.close(Some(seconds), &mut out)?;
    out.flush()?;
    if let Some(warning) = recording.warning() {
        tell(warning);
    }
    Ok(())
}

/// Follows taps: on the screen, or as lines where there is none.
fn tap(account: Account, args: &TempoArgs, title: &str) -> anyhow::Result<()> {
    if on_screen(args) {
        let dial = Dial {
            source: title.to_owned(),
            invitation: "press the space bar on every beat",
            keys: &[("space", "a beat"), ("r", "begin anew"), ("q", "quit")],
            want: args.want,
            colour: colour_wanted(),
            ..Dial::default()
        };
        return follow_on_screen(&mut Keys::default(), account, dial, args);
    }
    if io::stdin().is_terminal() {
        tell("press Enter on every beat, Ctrl-C at the end");
    }
    follow_in_lines(&mut InputLines::open(), account, &listen(), args)
}
