//! `eightclap guide`: a short manual, through a pager where there is a terminal.

use std::io::{self, ErrorKind, IsTerminal, Write};
use std::process::{Command, Stdio};

use clap::Args;
use clap::builder::{PossibleValue, PossibleValuesParser};

use crate::report::guide::{Emphasis, TOPICS, Topic, contents, text};
use crate::screen::Stop;

/// Widest lines, in columns.
const WIDEST: usize = 78;

/// Arguments of `guide`.
#[derive(Debug, Args)]
#[command(after_help = "\
On a terminal the guide goes through the pager that PAGER names, or less; else it is
plain text. As a manual page it is eightclap-guide(7), where that is installed.

Examples:
  eightclap guide                        all of it
  eightclap guide lead-in                one topic
  eightclap guide --list                 the topics
  eightclap guide cautions > notes.txt   as a file")]
pub(super) struct GuideArgs {
    /// What to read about; without it, everything
    #[arg(value_name = "TOPIC", value_parser = names(), conflicts_with = "list")]
    topic: Option<String>,

    /// Print the topics
    #[arg(long)]
    list: bool,
}

fn names() -> PossibleValuesParser {
    let value = |topic: &Topic| PossibleValue::new(topic.name).help(topic.title());
    PossibleValuesParser::new(TOPICS.iter().map(value))
}

pub(super) fn run(args: &GuideArgs) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    if args.list {
        return Ok(write!(out, "{}", contents())?);
    }
    let topic = args.topic.as_deref().and_then(Topic::named);
    let columns = io::stdout().is_terminal().then(crossterm::terminal::size);
    let width = match columns {
        Some(Ok((columns, _))) => usize::from(columns).clamp(30, WIDEST),
        _ => WIDEST,
    };
    if columns.is_some() && paged(&whole(topic, width, Emphasis::Overstruck))? {
        return Ok(());
    }
    Ok(write!(out, "{}", whole(topic, width, Emphasis::Marks))?)
}

/// One topic, or the contents and all of them.
fn whole(topic: Option<Topic>, width: usize, emphasis: Emphasis) -> String {
    if let Some(topic) = topic {
        return text(topic, width, emphasis);
    }
    let topics = TOPICS.iter().map(|topic| text(*topic, width, emphasis));
    let topics: Vec<String> = topics.collect();
    format!(
        "eightclap guide TOPIC shows one of these:\n\n{}\n{}",
        contents(),
        topics.join("\n")
    )
}

/// The pager that is wanted, with its arguments; `None` if none is.
fn pager() -> Option<Vec<String>> {
    let named = match std::env::var("PAGER") {
        Ok(named) => named,
        // Windows has none that shows bold letters.
        Err(_) if cfg!(windows) => return None,
        Err(_) => "less".to_owned(),
    };
    let words: Vec<String> = named.split_whitespace().map(str::to_owned).collect();
    (!words.is_empty() && words[0] != "cat").then_some(words)
}

/// Shows `text` in a pager until it is left; false if there is none.
fn paged(text: &str) -> io::Result<bool> {
    let Some(words) = pager() else {
        return Ok(false);
    };
    Stop::leave_interrupts();
    let mut command = Command::new(&words[0]);
    command.args(&words[1..]).stdin(Stdio::piped());
    if std::env::var_os("LESS").is_none() {
        // Less than a screen is printed at once, and what was read stays.
        command.env("LESS", "FRX");
    }
    let mut child = match command.spawn() {
        Ok(child) => child,
        Err(_) => return Ok(false),
    };
    if let Some(mut input) = child.stdin.take() {
        match input.write_all(text.as_bytes()) {
            Err(error) if error.kind() != ErrorKind::BrokenPipe => return Err(error),
            // Whoever leaves early has read enough.
            _ => {}
        }
    }
    child.wait()?;
    Ok(true)
}
