//! `eightclap card`: begin, check and read dance cards.

use std::fs::OpenOptions;
use std::io::{ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::{Args, Subcommand, ValueEnum};

use crate::cue::voice::{Choice, Repertoire, Settings, Voice, of_card};
use crate::dance::check::{self, Report};
use crate::dance::positions::Outcome;
use crate::dance::{self, Card, Figures, Role};
use crate::report::card as shown;
use crate::sound::write::whole;

use super::config::Defaults;
use super::gear::RoleArgs;
use super::practise::is_same_file;
use super::{AlreadyTold, tell};

/// Samples a second that do where only the length of calls is wanted.
const LENGTHS_RATE: u32 = 24_000;

/// Widest lines for the music stand, in columns.
const WIDEST: usize = 80;

/// Arguments of `card`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap card new my.toml      begin one
  eightclap card check my.toml    what is wrong, or doubtful
  eightclap card show my.toml     for the music stand
  eightclap card calls my.toml    the calls, and how early each begins
  eightclap card schema > card.schema.json")]
pub(super) struct CardArgs {
    #[command(subcommand)]
    job: Job,
}

#[derive(Debug, Subcommand)]
enum Job {
    /// Write a card to begin with, every key explained
    New {
        /// The file to write; never one that exists
        #[arg(value_name = "FILE", default_value = "my-dance.toml")]
        file: PathBuf,
    },
    /// Say what is wrong with cards, or doubtful, with line and column
    #[command(after_help = "\
Examples:
  eightclap card check my.toml               errors, and what to think about
  eightclap card check --strict cards/*.toml exit code 1 for either")]
    Check {
        /// The cards, or names of bundled ones
        #[arg(value_name = "CARD", required = true)]
        cards: Vec<PathBuf>,
        /// Fail if anything is doubtful
        #[arg(long)]
        strict: bool,
    },
    /// Print a card for the music stand, or make a page or a drawing of it
    #[command(after_help = "\
Examples:
  eightclap card show my.toml                            for the music stand
  eightclap card show my.toml --html my.html --size a6   a card to hold
  eightclap card show my.toml --svg set.svg              where everybody stands
  eightclap card show my.toml --roles gent/lady          in your words")]
    Show {
        /// The card, or the name of a bundled one
        #[arg(value_name = "CARD")]
        card: PathBuf,
        /// Write a page for print
        #[arg(long, value_name = "OUT.html")]
        html: Option<PathBuf>,
        /// The page's paper
        #[arg(long, value_enum, default_value_t = Paper::A4, requires = "html")]
        size: Paper,
        /// Write a drawing of the set at each phrase
        #[arg(long, value_name = "OUT.svg")]
        svg: Option<PathBuf>,
        #[command(flatten)]
        words: RoleArgs,
    },
    /// Print a card's calls in order, with their length and room
    #[command(after_help = "\
Examples:
  eightclap card calls my.toml                     as the card has them
  eightclap card calls my.toml --roles gent/lady   in your words")]
    Calls {
        /// The card, or the name of a bundled one
        #[arg(value_name = "CARD")]
        card: PathBuf,
        #[command(flatten)]
        words: RoleArgs,
    },
    /// Print the JSON Schema of cards, for editors that complete and check
    Schema,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Paper {
    /// A card to hold; longways sets have the drawing on the back
    A6,
    /// A sheet with calls, cautions and the drawing
    A4,
}

pub(super) fn run(args: CardArgs) -> anyhow::Result<()> {
    match args.job {
        Job::New { file } => new(&file),
        Job::Check { cards, strict } => check_all(&cards, strict, &Defaults::load()?),
        Job::Show {
            card,
            html,
            size,
            svg,
            mut words,
        } => {
            words.fill(&Defaults::load()?);
            show(&card, html.as_deref(), size, svg.as_deref(), &words)
        }
        Job::Calls { card, mut words } => {
            let defaults = Defaults::load()?;
            words.fill(&defaults);
            let card = load(&card, &words)?;
            let report = report(&card, &defaults);
            print(&shown::calls(&card, &report.calls))
        }
        Job::Schema => print(dance::CARD_SCHEMA),
    }
}

fn print(text: &str) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())?;
    Ok(out.flush()?)
}

fn load(path: &Path, words: &RoleArgs) -> anyhow::Result<Card> {
    let card = Card::load(path)?;
    Ok(match &words.roles {
        Some(roles) => card.with_roles(roles),
        None => card,
    })
}

/// What there is to say of a card. Calls are as long as the voice takes that is
/// recorded or built in; in syllables where there is none.
fn report(card: &Card, defaults: &Defaults) -> Report {
    let voice = Voice::new(Settings {
        engine: Choice::None,
        ..Settings::usual(defaults.recordings.clone())
    });
    let texts = of_card(card);
    let texts = texts.iter().map(String::as_str);
    let said = voice.map_or_else(
        |_| Repertoire::default(),
        |voice| voice.survey(texts, LENGTHS_RATE),
    );
    check::check(card, Figures::builtin(), &|words| said.seconds(words))
}

fn new(path: &Path) -> anyhow::Result<()> {
    let file = OpenOptions::new().write(true).create_new(true).open(path);
    let mut file = file.map_err(|error| {
        let name = path.display();
        match error.kind() {
            ErrorKind::AlreadyExists => {
                anyhow::anyhow!("{name}: there is a file of that name already; name another one")
            }
            ErrorKind::NotFound => {
                anyhow::anyhow!("{name}: its folder does not exist; make the folder first")
            }
            _ => anyhow::anyhow!("{name}: it cannot be written ({error}); choose another place"),
        }
    })?;
    file.write_all(dance::NEW_CARD.as_bytes())
        .with_context(|| format!("{}: it cannot be written; check the disk", path.display()))?;
    print(&format!(
        "written: {0}; change it with any text editor, then: eightclap card check {0}\n",
        path.display()
    ))
}

fn check_all(cards: &[PathBuf], strict: bool, defaults: &Defaults) -> anyhow::Result<()> {
    let mut wrong = false;
    for path in cards {
        match Card::load(path) {
            Ok(card) => {
                let report = report(&card, defaults);
                wrong |= strict && !report.findings.is_empty();
                print(&told(path, &card, &report))?;
            }
            Err(error) => {
                wrong = true;
                tell(&error);
            }
        }
    }
    match wrong {
        true => Err(AlreadyTold.into()),
        false => Ok(()),
    }
}

/// All that `check` says of a card that can be danced.
fn told(path: &Path, card: &Card, report: &Report) -> String {
    let mut lines: Vec<String> = Vec::new();
    for finding in &report.findings {
        lines.push(finding.trouble.to_string());
    }
    let warnings = match report.findings.len() {
        0 => "good".to_owned(),
        1 => "can be danced; 1 warning".to_owned(),
        n => format!("can be danced; {n} warnings"),
    };
    lines.push(format!(
        "{}: \"{}\" {warnings}",
        path.display(),
        card.title()
    ));
    let beats = card.form().beats();
    let roles = card.roles();
    lines.push(format!(
        "  swinging {} of {beats} beats ({:.0} %); {} dance {} beats, {} {}; by its figures for {}",
        report.swinging,
        100.0 * f64::from(report.swinging) / f64::from(beats),
        roles.many(Role::First),
        report.active[0],
        roles.many(Role::Second),
        report.active[1],
        report.fit_for,
    ));
    lines.push(format!("  {}", where_they_end(card, report)));
    lines.join("\n") + "\n"
}

/// A line about where the dancers end.
fn where_they_end(card: &Card, report: &Report) -> String {
    let Some(followed) = &report.followed else {
        return format!(
            "where the dancers end is not followed in this formation ({})",
            card.formation()
        );
    };
    match (&followed.stopped, &followed.outcome) {
        (Some(stop), _) => {
            let figure = &card.figures()[stop.figure];
            format!(
                "where the dancers end is not followed from line {} on: \"{}\": {}",
                figure.line, figure.name, stop.why
            )
        }
        (None, Some(Outcome::MovedOn(0))) => "nobody moves on".into(),
        (None, Some(Outcome::MovedOn(1))) => {
            "each time through everybody moves on by one couple".into()
        }
        (None, Some(Outcome::MovedOn(n))) => {
            format!("each time through everybody moves on by {n} couples")
        }
        (None, Some(Outcome::Astray(why))) => format!("after one time through {why}"),
        (None, None) => "where the dancers end is not known".into(),
    }
}

fn show(
    path: &Path,
    html: Option<&Path>,
    size: Paper,
    svg: Option<&Path>,
    words: &RoleArgs,
) -> anyhow::Result<()> {
    let card = load(path, words)?;
    let figures = Figures::builtin();
    if html.is_none() && svg.is_none() {
        return print(&shown::stand(&card, width()));
    }
    if let Some(out) = html {
        let size = match size {
            Paper::A6 => shown::Size::A6,
            Paper::A4 => shown::Size::A4,
        };
        write(path, out, &shown::page(&card, figures, size))?;
    }
    if let Some(out) = svg {
        let drawing = shown::svg(&card, figures).with_context(|| {
            format!(
                "{}: only duple longways sets are drawn, and this is: {}; leave out --svg",
                path.display(),
                card.formation()
            )
        })?;
        write(path, out, &drawing)?;
    }
    Ok(())
}

/// Columns of the terminal, within what is easily read.
fn width() -> usize {
    let terminal = std::io::stdout().is_terminal();
    let size = terminal
        .then(crossterm::terminal::size)
        .and_then(Result::ok);
    size.map_or(WIDEST, |(columns, _)| usize::from(columns).min(WIDEST))
}

fn write(card: &Path, out: &Path, text: &str) -> anyhow::Result<()> {
    let name = out.display();
    anyhow::ensure!(
        !is_same_file(card, out),
        "{name}: this is the card itself; name another file"
    );
    anyhow::ensure!(
        !out.is_dir(),
        "{name}: this is a folder; name a file to write"
    );
    whole(out, text.as_bytes())?;
    print(&format!("written: {name}\n"))
}
