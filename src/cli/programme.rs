//! `eightclap programme`: an evening, checked, shown, and led live.

mod live;

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand, ValueEnum};

use crate::dance::programme::{Programme, SCHEMA, TEMPLATE};
use crate::report::programme::{Reader, page, set_list, table};

use super::config::Defaults;
use super::gear::RoleArgs;
use super::{AlreadyTold, tell};
use crate::sound::write::whole;

/// Arguments of `programme`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap programme show first-steps-evening   a bundled one
  eightclap programme new evening.toml           begin your own
  eightclap programme check evening.toml         whether it fits
  eightclap programme show evening.toml          with clock times
  eightclap programme run evening.toml           lead it live")]
pub(super) struct ProgrammeArgs {
    #[command(subcommand)]
    job: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Write a programme to begin with
    New {
        /// The file to write; never over one that is there
        #[arg(value_name = "FILE.toml", default_value = "programme.toml")]
        file: PathBuf,
    },
    /// Say whether programmes fit their evening: length, variety, difficulty
    #[command(after_help = "\
Examples:
  eightclap programme check evening.toml            advice, if there is any
  eightclap programme check --strict evening.toml   exit code 1 if there is")]
    Check {
        /// Programmes, or names of bundled ones
        #[arg(value_name = "FILE", required = true)]
        files: Vec<PathBuf>,
        /// Take advice for errors
        #[arg(long)]
        strict: bool,
    },
    /// Print the evening with its clock times, for the caller or the band
    #[command(after_help = "\
Examples:
  eightclap programme show evening.toml               for you
  eightclap programme show evening.toml --for band    the band's set list
  eightclap programme show regular-evening --html regular.html
                                                      a page of a bundled one")]
    Show {
        #[command(flatten)]
        which: Which,
        /// Whose list it is
        #[arg(long = "for", value_enum, default_value_t)]
        reader: For,
        /// Write a page for print instead
        #[arg(long, value_name = "OUT.html")]
        html: Option<PathBuf>,
    },
    /// Lead the evening: as `listen`, with the next dance on a key
    Run(live::RunArgs),
    /// Print the JSON Schema of programmes, for editors
    Schema,
}

/// Which programme, in which words.
#[derive(Debug, Args)]
struct Which {
    /// The programme, or the name of a bundled one
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    words: RoleArgs,
}

#[derive(Debug, Clone, Copy, Default, ValueEnum)]
enum For {
    #[default]
    Caller,
    Band,
}

impl Which {
    /// Reads it, and says what is doubtful.
    fn load(&self) -> anyhow::Result<Programme> {
        let programme = Programme::load(&self.file)?;
        for warning in programme.warnings() {
            tell(warning);
        }
        Ok(match &self.words.roles {
            Some(roles) => programme.with_roles(roles),
            None => programme,
        })
    }
}

pub(super) fn run(args: ProgrammeArgs) -> anyhow::Result<()> {
    match args.job {
        What::New { file } => {
            write_new(&file, TEMPLATE)?;
            writeln!(
                io::stdout().lock(),
                "written: {}; change it with any text editor, then: eightclap programme check {0}",
                file.display()
            )?;
        }
        What::Check { files, strict } => return check(&files, strict),
        What::Show {
            mut which,
            reader,
            html,
        } => {
            which.words.fill(&Defaults::load()?);
            let mut out = io::stdout().lock();
            let programme = which.load()?;
            let reader = match reader {
                For::Caller => Reader::Caller,
                For::Band => Reader::Band,
            };
            match html {
                Some(path) => {
                    write_page(&path, &page(&programme, reader))?;
                    writeln!(out, "written: {}", path.display())?;
                }
                None => match reader {
                    Reader::Caller => write!(out, "{}", table(&programme))?,
                    Reader::Band => write!(out, "{}", set_list(&programme))?,
                },
            }
        }
        What::Run(args) => return live::run(args),
        What::Schema => write!(io::stdout().lock(), "{SCHEMA}")?,
    }
    Ok(())
}

/// Tells of each programme what is wrong with it and what looks unwise.
fn check(files: &[PathBuf], strict: bool) -> anyhow::Result<()> {
    let mut failed = false;
    for file in files {
        let programme = match Programme::load(file) {
            Ok(programme) => programme,
            Err(error) => {
                tell(format_args!("{error:#}"));
                failed = true;
                continue;
            }
        };
        let mut advice = programme.warnings().to_vec();
        advice.extend(programme.advice());
        let mut out = io::stdout().lock();
        for trouble in &advice {
            writeln!(out, "{trouble}\n")?;
        }
        let found = match advice.len() {
            0 => "nothing to advise".to_owned(),
            1 => "1 piece of advice".to_owned(),
            n => format!("{n} pieces of advice"),
        };
        writeln!(
            out,
            "{}: {} items, {:.0} minutes, {found}",
            file.display(),
            programme.items().len(),
            programme.minutes()
        )?;
        failed |= strict && !advice.is_empty();
    }
    if failed {
        return Err(AlreadyTold.into());
    }
    Ok(())
}

/// Writes `text` to a file that is not there yet.
pub(super) fn write_new(path: &Path, text: &str) -> anyhow::Result<()> {
    let mut file = std::fs::File::create_new(path).map_err(|error| match error.kind() {
        io::ErrorKind::AlreadyExists => anyhow::anyhow!(
            "{}: there is a file of that name already; name another one",
            path.display()
        ),
        _ => unwritable(path, &error),
    })?;
    file.write_all(text.as_bytes())
        .map_err(|error| unwritable(path, &error))
}

/// Writes a page, over an older one if there is one.
pub(super) fn write_page(path: &Path, html: &str) -> anyhow::Result<()> {
    Ok(whole(path, html.as_bytes())?)
}

fn unwritable(path: &Path, error: &io::Error) -> anyhow::Error {
    anyhow::anyhow!(
        "{}: cannot be written ({error}); name a file in a folder of your own",
        path.display()
    )
}
