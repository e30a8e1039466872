//! `eightclap lesson`: the newcomers' session before the dance.

mod live;
mod room;

use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};

use crate::dance::lesson::{BUNDLED, Lesson, SCHEMA};
use crate::report::lesson::{page, script};

use super::config::Defaults;
use super::gear::RoleArgs;
use super::programme::{write_new, write_page};

/// Widest lines of the script, in columns.
const WIDEST: usize = 80;

/// Arguments of `lesson`.
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
#[command(after_help = "\
Examples:
  eightclap lesson                           lead the bundled lesson
  eightclap lesson --no-feedback             without a microphone
  eightclap lesson show --html sheet.html    the script on paper
  eightclap lesson new mine.toml             make it your own
  eightclap lesson mine.toml                 and lead that")]
pub(super) struct LessonArgs {
    #[command(subcommand)]
    job: Option<Job>,

    #[command(flatten)]
    run: live::RunArgs,
}

#[derive(Debug, Subcommand)]
enum Job {
    /// Lead it step by step, with drills to the house band (what `lesson` alone does)
    Run(live::RunArgs),
    /// Print the whole script
    #[command(after_help = "\
Examples:
  eightclap lesson show                      on the terminal
  eightclap lesson show --html sheet.html    a sheet for print
  eightclap lesson show mine.toml            of your own lesson")]
    Show {
        #[command(flatten)]
        which: Which,
        /// Write a sheet for print instead
        #[arg(long, value_name = "OUT.html")]
        html: Option<PathBuf>,
    },
    /// Write the bundled lesson to a file, to be made your own
    New {
        /// The file to write; never over one that is there
        #[arg(value_name = "FILE.toml", default_value = "my-lesson.toml")]
        file: PathBuf,
    },
    /// Print the JSON Schema of lessons, for editors
    Schema,
}

/// Which lesson, in which words.
#[derive(Debug, Args)]
struct Which {
    /// The lesson; without it the bundled one
    #[arg(value_name = "FILE")]
    file: Option<PathBuf>,
    #[command(flatten)]
    words: RoleArgs,
}

impl Which {
    fn load(&self) -> anyhow::Result<Lesson> {
        let lesson = match self.file.as_deref() {
            Some(path) if path.exists() || path != Path::new(BUNDLED.0) => Lesson::load(path)?,
            _ => Lesson::parse(BUNDLED.1, BUNDLED.0)?,
        };
        Ok(match &self.words.roles {
            Some(roles) => lesson.with_roles(roles),
            None => lesson,
        })
    }
}

pub(super) fn run(args: LessonArgs) -> anyhow::Result<()> {
    match args.job {
        None => return live::run(args.run),
        Some(Job::Run(args)) => return live::run(args),
        Some(Job::Show { mut which, html }) => {
            which.words.fill(&Defaults::load()?);
            let mut out = io::stdout().lock();
            let lesson = which.load()?;
            match html {
                Some(path) => {
                    write_page(&path, &page(&lesson))?;
                    writeln!(out, "written: {}", path.display())?;
                }
                None => write!(out, "{}", script(&lesson, width()))?,
            }
        }
        Some(Job::New { file }) => {
            write_new(&file, BUNDLED.1)?;
            writeln!(
                io::stdout().lock(),
                "written: {}; change it with any text editor, then: eightclap lesson {0}",
                file.display()
            )?;
        }
        Some(Job::Schema) => write!(io::stdout().lock(), "{SCHEMA}")?,
    }
    Ok(())
}

/// Columns for the script: the terminal's, but no more than can be read well.
fn width() -> usize {
    let columns = io::stdout().is_terminal().then(crossterm::terminal::size);
    match columns {
        Some(Ok((columns, _))) => usize::from(columns.saturating_sub(1)).clamp(30, WIDEST),
        _ => WIDEST,
    }
}
