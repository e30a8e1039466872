//! `eightclap rehearse`: the timing of the caller's own prompts.

mod live;
mod sound;

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;

use crate::caller::session::{Ending, Header, Heard, Keeper, Session, Store, now};
use crate::caller::{Grid, Limits, Prompt};
use crate::dance::{self, Card};
use crate::report::rehearsal::{Rehearsal, csv, json, page, text};
use crate::sound::file::Recording;
use crate::sound::write::whole;

use super::config::Defaults;
use super::gear::{DeviceArgs, FlashArgs};
use super::practise::read_card;
use sound::{Tune, tune};

/// Steps per minute where neither the card nor the user says.
const USUAL: f64 = 116.0;

/// Arguments of `rehearse`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap rehearse --card my.toml --headphones      to the house band
  eightclap rehearse --card my.toml --steps 104       slower
  eightclap rehearse --card my.toml --tune reel.mp3   to a recording
  eightclap rehearse --card my.toml --taps            without a microphone
  eightclap rehearse --card my.toml --calls calls.wav --tune reel.mp3
                                                      calls recorded elsewhere")]
pub(super) struct RehearseArgs {
    /// The dance card to call, or the name of a bundled one; without it
    /// lanterns-on-the-weir
    #[arg(long, value_name = "CARD")]
    card: Option<PathBuf>,

    /// What to call to: reel, jig, march, hornpipe, a bundled tune, or a recording
    #[arg(long, value_name = "TUNE", value_parser = tune)]
    tune: Option<Tune>,

    /// Tempo of the house band, steps per minute, 90 to 140; without it the card's
    #[arg(long, value_name = "STEPS", value_parser = super::demo::steps)]
    steps: Option<f64>,

    /// How many times through the dance, 1 to 16
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = super::gear::whole::<1, 16>)]
    times: u32,

    /// Score this recording of calls instead of a microphone. With --tune FILE its beats
    /// count, and both began together; with --tune and the same file, or without --tune,
    /// the band is heard in it too
    #[arg(long, value_name = "CALLS.wav")]
    calls: Option<PathBuf>,

    /// With --calls and --steps: where in the recording the tune's first beat is, seconds
    #[arg(long, value_name = "SECONDS", requires = "calls", requires = "steps")]
    one: Option<f64>,

    #[command(flatten)]
    devices: DeviceArgs,

    /// The microphone does not hear the band: nothing is taken out
    #[arg(long, help_heading = "Devices")]
    headphones: bool,

    /// Without a microphone: tap the space bar where each call ends
    #[arg(long, conflicts_with_all = ["calls", "keep"], help_heading = "Devices")]
    taps: bool,

    #[command(flatten)]
    flash: FlashArgs,

    /// Plain lines instead of the screen
    #[arg(long, help_heading = "Screen")]
    line: bool,

    /// Keep a recording of what the microphone heard beside the session
    #[arg(long, help_heading = "Report")]
    keep: bool,

    /// Write the report as a page
    #[arg(long, value_name = "FILE.html", help_heading = "Report")]
    html: Option<PathBuf>,

    /// Write the score as JSON
    #[arg(long, value_name = "FILE.json", help_heading = "Report")]
    json: Option<PathBuf>,

    /// Write the score as a table, a row a figure
    #[arg(long, value_name = "FILE.csv", help_heading = "Report")]
    csv: Option<PathBuf>,

    #[command(flatten)]
    limits: LimitArgs,
}

/// Where the verdicts change.
#[derive(Debug, Clone, Copy, Args)]
#[command(next_help_heading = "What is good, in beats")]
struct LimitArgs {
    /// Late: over more than so many beats after the figure's first
    #[arg(long, value_name = "BEATS", default_value_t = 0.0, value_parser = beats)]
    late: f64,
    /// Good: over at most so many beats ahead of it
    #[arg(long, value_name = "BEATS", default_value_t = 1.0, value_parser = beats)]
    good: f64,
    /// Early: over more than so many beats ahead
    #[arg(long, value_name = "BEATS", default_value_t = 2.0, value_parser = beats)]
    early: f64,
    /// Speaking over: begun less than so many beats after the figure before began
    #[arg(long, value_name = "BEATS", default_value_t = 1.0, value_parser = beats)]
    over: f64,
    /// Hasty: more syllables a second than this
    #[arg(long, value_name = "SYLLABLES", default_value_t = 7.0, value_parser = beats)]
    hasty: f64,
    /// Times through in which every figure is to be prompted; silence after them is fading
    #[arg(long, value_name = "N", default_value_t = 2)]
    full: u32,
    /// Times through after them that are planned with short prompts; then silence
    #[arg(long, value_name = "N", default_value_t = 2)]
    short: u32,
}

fn beats(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(beats) if (0.0..=16.0).contains(&beats) => Ok(beats),
        _ => Err("give a number from 0 to 16".into()),
    }
}

impl LimitArgs {
    fn limits(&self) -> anyhow::Result<Limits> {
        anyhow::ensure!(
            self.good <= self.early,
            "--good {} lies beyond --early {}: let it be smaller",
            self.good,
            self.early
        );
        Ok(Limits {
            late: self.late,
            good: self.good,
            early: self.early,
            over: self.over,
            hasty: self.hasty,
            full: self.full,
            short: self.short,
        })
    }
}

/// What is rehearsed: the dance card's text, the tune's name, where its beats are.
struct Plan {
    text: String,
    tune: String,
    grid: Grid,
}

pub(super) fn run(mut args: RehearseArgs) -> anyhow::Result<()> {
    let defaults = Defaults::load()?;
    args.devices.fill(&defaults);
    args.flash.fill(&defaults);
    let args = &args;
    let limits = args.limits.limits()?;
    let (card, text) = dance(args.card.as_deref())?;
    let store = Store::of_user()?;
    let session = match &args.calls {
        Some(calls) => from_file(args, calls, &card, text, limits, &store)?,
        None => live::rehearse(args, &card, text, limits, &store)?,
    };
    report(args, session, &store)
}

/// The dance and its text.
fn dance(path: Option<&Path>) -> anyhow::Result<(Arc<Card>, String)> {
    let card = match path {
        Some(path) => read_card(path)?,
        None => Card::parse(dance::LANTERNS_ON_THE_WEIR, "bundled card")?,
    };
    let text = card.text().to_owned();
    Ok((Arc::new(card), text))
}

/// A session that grows on the disk as it goes.
struct Kept {
    keeper: Keeper,
    session: Session,
}

impl Kept {
    fn begin(plan: Plan, heard: Heard, limits: Limits, store: &Store) -> anyhow::Result<Self> {
        let header = Header {
            began: now(),
            card: plan.text,
            tune: plan.tune,
            grid: plan.grid,
            heard,
            limits,
        };
        let keeper = store.begin(header.clone())?;
        let name = keeper.path().file_stem().unwrap_or_default();
        Ok(Kept {
            session: Session {
                name: name.to_string_lossy().into_owned(),
                header,
                prompts: Vec::new(),
                ending: None,
            },
            keeper,
        })
    }

    fn prompt(&mut self, prompt: Prompt) -> anyhow::Result<()> {
        self.keeper.prompt(&prompt)?;
        let all = &mut self.session.prompts;
        all.insert(all.partition_point(|p| p.end <= prompt.end), prompt);
        Ok(())
    }

    fn end(mut self, ending: Ending) -> anyhow::Result<Session> {
        self.keeper.end(ending)?;
        self.session.ending = Some(ending);
        Ok(self.session)
    }
}

/// Scores a recording of calls.
fn from_file(
    args: &RehearseArgs,
    calls: &Path,
    card: &Arc<Card>,
    text: String,
    limits: Limits,
    store: &Store,
) -> anyhow::Result<Session> {
    let take = Recording::open(calls)?;
    let band = match &args.tune {
        Some(Tune::File(path)) => Some(path.as_path()),
        Some(Tune::Band(tune)) => anyhow::bail!(
            "with --calls name the recording that was played, not \"{}\"",
            tune.name()
        ),
        None => None,
    };
    let heard = sound::hear_file(take, calls, band, args, card)?;
    let plan = Plan {
        text,
        tune: heard.tune,
        grid: heard.grid,
    };
    let mut kept = Kept::begin(plan, Heard::Recording, limits, store)?;
    for prompt in heard.prompts {
        kept.prompt(prompt)?;
    }
    kept.end(heard.ending)
}

/// Prints the report and writes the files that were asked for.
fn report(args: &RehearseArgs, session: Session, store: &Store) -> anyhow::Result<()> {
    let (name, began) = (session.name.clone(), session.header.began);
    let rehearsal = Rehearsal::of(session)?;
    let mut out = io::stdout().lock();
    write!(out, "{}", text(&rehearsal))?;
    if let Some(path) = &args.html {
        let before = scored(store)?.0.into_iter();
        let before: Vec<Rehearsal> = before.filter(|r| r.session.header.began <= began).collect();
        save(path, &page(&rehearsal, &before))?;
        writeln!(out, "written: {}", path.display())?;
    }
    if let Some(path) = &args.json {
        save(path, &json(&rehearsal)?)?;
        writeln!(out, "written: {}", path.display())?;
    }
    if let Some(path) = &args.csv {
        save(path, &csv(&rehearsal))?;
        writeln!(out, "written: {}", path.display())?;
    }
    writeln!(
        out,
        "\nkept as {name} on this machine only; `eightclap progress` shows all, `eightclap progress --delete {name}` deletes it"
    )?;
    Ok(())
}

/// All sessions that can be scored, and what is wrong with the others.
pub(super) fn scored(store: &Store) -> anyhow::Result<(Vec<Rehearsal>, Vec<String>)> {
    let (sessions, wrong) = store.all()?;
    let mut wrong: Vec<String> = wrong.iter().map(ToString::to_string).collect();
    let mut all = Vec::new();
    for session in sessions {
        let name = session.name.clone();
        match Rehearsal::of(session) {
            Ok(rehearsal) => all.push(rehearsal),
            Err(error) => wrong.push(format!("session {name}: {error}")),
        }
    }
    Ok((all, wrong))
}

/// Writes a file whole, or says why not.
pub(super) fn save(path: &Path, text: &str) -> anyhow::Result<()> {
    Ok(whole(path, text.as_bytes())?)
}
