//! `eightclap config`: defaults kept in a file, and where each comes from.

#[cfg(any(test, fuzzing))]
#[path = "../../tests/fuzz/config.rs"]
pub mod fuzz;
mod keys;
mod layers;
#[cfg(test)]
mod tests;

use std::io::{self, Write};
use std::path::PathBuf;

use anyhow::{Context, bail};
use clap::{Args, Subcommand};
use unicode_width::UnicodeWidthStr;

use crate::cue::voice::Settings;
use crate::dance::file;

use super::programme::write_new;
use super::tell;
pub(super) use keys::Defaults;
use keys::{ALL, About, Key};
use layers::{Layers, Text};

/// A file to begin with, every key explained.
const TEMPLATE: &str = include_str!("config/template.toml");

/// Names another file than the usual; if it is empty, none.
const VARIABLE: &str = "EIGHTCLAP_CONFIG";

/// Columns that values are lined up in; longer ones stand out of their column.
const WIDEST: usize = 56;

/// Arguments of `config`.
#[derive(Debug, Args)]
#[command(after_help = after_help())]
pub(super) struct ConfigArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Print every default that is used, and where it comes from
    Show,
    /// Print where the file is, whether it is there or not
    Path,
    /// Write a file to begin with, every key explained; never over one that is there
    #[command(visible_alias = "init")]
    New,
}

/// The table of keys, and what goes before what.
fn after_help() -> String {
    let mut text = "\
An option of the command line goes before a variable of the environment, that before the \
file, and the file before what the program does of itself. A variable that is empty says \
nothing. EIGHTCLAP_CONFIG names another file than the usual; if it is empty, none is \
read. A card's own tempo goes before tempo.want.

Keys, variables and options:
"
    .to_owned();
    for about in &ALL {
        let options: Vec<String> = about.options.iter().map(|o| format!("--{o}")).collect();
        let (key, variable, options) = (about.dotted(), about.variable, options.join(", "));
        text.push_str(&format!("  {key:17} {variable:22} {options}\n"));
    }
    text + "
Examples:
  eightclap config new                        write the file
  eightclap config show                       what is used now
  EIGHTCLAP_CLAP_LEVEL=0.5 eightclap demo     softer claps for once"
}

/// Where the file is, and whether somebody named it.
struct Place {
    path: PathBuf,
    named: bool,
}

impl Place {
    /// The file's place; `None` if none is wanted, or the system has no place for it.
    fn find() -> Option<Self> {
        match std::env::var_os(VARIABLE) {
            Some(named) => (!named.is_empty()).then(|| Place {
                path: named.into(),
                named: true,
            }),
            None => directories::ProjectDirs::from("", "", "eightclap").map(|folders| Place {
                path: folders.config_dir().join("config.toml"),
                named: false,
            }),
        }
    }

    /// Whether there is anything; a broken link is something.
    fn is_there(&self) -> bool {
        self.path.symlink_metadata().is_ok()
    }

    /// Why there is no file, if there should be one.
    fn missed(&self) -> Option<String> {
        (self.named && !self.is_there()).then(|| {
            format!(
                "{}: there is no such file, but {VARIABLE} names it; write it with \
                 `eightclap config new`, or unset {VARIABLE}",
                self.path.display()
            )
        })
    }
}

/// Reads the file, if it is there, and the environment.
fn layers(place: Option<&Place>) -> Layers {
    let mut layers = Layers::default();
    if let Some(place) = place.filter(|place| place.is_there()) {
        let home = directories::BaseDirs::new();
        match file::text(&place.path, "file of defaults", &[]) {
            Ok(text) => layers.file(Text {
                path: &place.path,
                text: &text,
                home: home.as_ref().map(directories::BaseDirs::home_dir),
            }),
            Err(error) => layers.wrong_file = Some(error),
        }
    }
    layers.environment(|name| Some(std::env::var_os(name)?.to_string_lossy().into_owned()));
    layers
}

impl Defaults {
    /// What the environment and the file say.
    ///
    /// # Errors
    /// If either holds something that nothing can be done with.
    pub(super) fn load() -> anyhow::Result<Self> {
        let place = Place::find();
        if let Some(missed) = place.as_ref().and_then(Place::missed) {
            bail!(missed);
        }
        let layers = layers(place.as_ref());
        if let Some(wrong) = layers.wrong_variables.into_iter().next() {
            return Err(wrong.into());
        }
        match layers.wrong_file {
            Some(wrong) => Err(wrong.into()),
            None => Ok(layers.defaults),
        }
    }
}

pub(super) fn run(args: &ConfigArgs) -> anyhow::Result<()> {
    let place = Place::find();
    match args.what {
        What::Show => show(place.as_ref()),
        What::Path => {
            let place = wanted(place)?;
            writeln!(io::stdout().lock(), "{}", place.path.display())?;
            Ok(())
        }
        What::New => {
            let path = wanted(place)?.path;
            if let Some(folder) = path.parent() {
                std::fs::create_dir_all(folder).with_context(|| {
                    let name = folder.display();
                    format!(
                        "{name}: this folder cannot be made; make it yourself, or set {VARIABLE}"
                    )
                })?;
            }
            anyhow::ensure!(
                path.symlink_metadata().is_err(),
                "{}: there is a file of that name already; change it with any text editor, or delete it first",
                path.display()
            );
            write_new(&path, TEMPLATE)?;
            writeln!(
                io::stdout().lock(),
                "written: {}; change it with any text editor, then: eightclap config show",
                path.display()
            )?;
            Ok(())
        }
    }
}

/// The place, where there has to be one.
fn wanted(place: Option<Place>) -> anyhow::Result<Place> {
    match place {
        Some(place) => Ok(place),
        None if std::env::var_os(VARIABLE).is_some() => {
            bail!("{VARIABLE} is empty, so no file is read; unset it, or name a file in it")
        }
        None => {
            bail!("this system has no folder for settings; set HOME, or name a file in {VARIABLE}")
        }
    }
}

/// Prints every key. What is wrong with the file or the environment is told, and stops
/// nothing here: this is where one looks for it.
fn show(place: Option<&Place>) -> anyhow::Result<()> {
    let layers = layers(place);
    let mut out = io::stdout().lock();
    match place {
        Some(place) if place.is_there() => writeln!(out, "file: {}\n", place.path.display())?,
        Some(place) => writeln!(
            out,
            "file: {} (not there; `eightclap config new` writes it)\n",
            place.path.display()
        )?,
        None => writeln!(out, "file: none\n")?,
    }
    write!(out, "{}", table(&layers))?;
    out.flush()?;
    let missed = place.and_then(Place::missed);
    let variables = layers.wrong_variables.iter().map(ToString::to_string);
    let file = layers.wrong_file.iter().map(ToString::to_string);
    let wrong: Vec<String> = missed.into_iter().chain(variables).chain(file).collect();
    for wrong in &wrong {
        tell(wrong);
    }
    if !wrong.is_empty() {
        tell("until this is put right, commands that need these defaults do not start");
    }
    Ok(())
}

/// What holds where nobody says anything, in words.
fn usual(about: &About) -> String {
    match about.key {
        Key::Recordings => Settings::usual_folder().map_or_else(
            || about.usual.to_owned(),
            |folder| folder.display().to_string(),
        ),
        _ => about.usual.to_owned(),
    }
}

/// A line a key: what is used, and where it comes from.
fn table(layers: &Layers) -> String {
    let rows = ALL.iter().map(|about| match layers.told.get(&about.key) {
        Some((text, origin)) => {
            let limit = match about.key {
                Key::Want => ", where no card says",
                _ => "",
            };
            (about.dotted(), format!("{text}{limit}"), origin.to_string())
        }
        None => (about.dotted(), usual(about), "default".to_owned()),
    });
    let rows: Vec<(String, String, String)> = rows.collect();
    let wide = rows.iter().map(|(_, text, _)| text.width()).max();
    let wide = wide.unwrap_or(0).min(WIDEST);
    rows.iter()
        .map(|(key, text, from)| {
            let gap = " ".repeat(wide.saturating_sub(text.width()));
            format!("{key:17}  {text}{gap}  {from}\n")
        })
        .collect()
}
