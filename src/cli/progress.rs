//! `eightclap progress`: all rehearsals that were kept, and deleting them.

use std::io::{self, Write};
use std::path::PathBuf;

use clap::Args;

use crate::caller::session::Store;
use crate::report::rehearsal::{csv, json, page, progress, text};

use super::rehearse::{save, scored};
use super::tell;

/// Arguments of `progress`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap progress                             the trend
  eightclap progress --show last                 the last rehearsal in full
  eightclap progress --show last --html my.html  as a page
  eightclap progress --delete all                delete every one")]
pub(super) struct ProgressArgs {
    /// Show this session's whole report; "last" is the last one
    #[arg(long, value_name = "SESSION", conflicts_with = "delete")]
    show: Option<String>,

    /// Write that session, or the last one, as a page with the trend over all of them
    #[arg(long, value_name = "FILE.html", conflicts_with = "delete")]
    html: Option<PathBuf>,

    /// Write that session, or the last one, as JSON
    #[arg(long, value_name = "FILE.json", conflicts_with = "delete")]
    json: Option<PathBuf>,

    /// Write that session, or the last one, as a table
    #[arg(long, value_name = "FILE.csv", conflicts_with = "delete")]
    csv: Option<PathBuf>,

    /// Delete this session and its recording; "all" deletes all of them
    #[arg(long, value_name = "SESSION")]
    delete: Option<String>,
}

pub(super) fn run(args: &ProgressArgs) -> anyhow::Result<()> {
    let store = Store::of_user()?;
    let mut out = io::stdout().lock();
    if let Some(name) = &args.delete {
        let deleted = match name.as_str() {
            "all" => store.delete(None)?,
            name => store.delete(Some(name))?,
        };
        let word = if deleted == 1 { "session" } else { "sessions" };
        writeln!(out, "deleted: {deleted} {word}")?;
        return Ok(());
    }
    let (all, wrong) = scored(&store)?;
    wrong.into_iter().for_each(tell);
    let name = args.show.as_deref().unwrap_or("last");
    let chosen = match name {
        "last" => all.last(),
        name => all.iter().find(|r| r.session.name == name),
    };
    if args.show.is_none() {
        match all.is_empty() {
            true => writeln!(
                out,
                "no rehearsal is kept yet: `eightclap rehearse` makes one"
            )?,
            false => write!(out, "{}", progress(&all))?,
        }
    }
    let wanted = [&args.html, &args.json, &args.csv]
        .into_iter()
        .any(Option::is_some);
    let Some(chosen) = chosen else {
        if args.show.is_some() || wanted {
            anyhow::bail!("there is no session \"{name}\"; `eightclap progress` lists them");
        }
        return Ok(());
    };
    if args.show.is_some() {
        write!(out, "{}", text(chosen))?;
    }
    let upto = all.iter().take_while(|r| !std::ptr::eq(*r, chosen)).count() + 1;
    if let Some(path) = &args.html {
        save(path, &page(chosen, &all[..upto]))?;
        writeln!(out, "written: {}", path.display())?;
    }
    if let Some(path) = &args.json {
        save(path, &json(chosen)?)?;
        writeln!(out, "written: {}", path.display())?;
    }
    if let Some(path) = &args.csv {
        save(path, &csv(chosen))?;
        writeln!(out, "written: {}", path.display())?;
    }
    Ok(())
}
