//! `eightclap man`: manual pages made from the command line's own definition.
//!
//! A command of the program itself, though a hidden one: what builds a package has the
//! program already, and an example would build all that only the tests need.

use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::{Args, Command};
use clap_mangen::Man;
use roff::{Roff, bold, roman};

use crate::report::guide;

use super::command;

/// Arguments of `man`.
#[derive(Debug, Args)]
pub(super) struct ManArgs {
    /// The folder to write the pages to, made if need be
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
}

/// Writes a manual page for the program, one for each command, and the guide's.
pub(super) fn run(args: &ManArgs) -> anyhow::Result<()> {
    let mut program = command().disable_help_subcommand(true);
    program.build();
    std::fs::create_dir_all(&args.folder).with_context(|| unwritable(&args.folder))?;
    let guide = guide::page(env!("CARGO_PKG_VERSION"));
    write(&args.folder, "eightclap-guide.7", guide.as_bytes())?;
    pages(program, &args.folder)
}

fn unwritable(path: &Path) -> String {
    let name = path.display();
    format!("{name}: cannot be written; name a folder of your own")
}

fn write(folder: &Path, name: &str, page: &[u8]) -> anyhow::Result<()> {
    let path = folder.join(name);
    std::fs::write(&path, page).with_context(|| unwritable(&path))
}

/// Pages of a command and of all below it.
fn pages(command: Command, folder: &Path) -> anyhow::Result<()> {
    for below in command.get_subcommands().filter(|c| !c.is_hide_set()) {
        pages(below.clone(), folder)?;
    }
    let after = command.get_after_help().map(ToString::to_string);
    // It would be filled like any paragraph, and examples with it.
    let man = Man::new(command.after_help(None))
        .manual("eightclap")
        .source(concat!("eightclap ", env!("CARGO_PKG_VERSION")));
    let mut page = Vec::new();
    man.render(&mut page)?;
    page.extend(notes(&after.unwrap_or_default()).into_bytes());
    write(folder, &man.get_filename(), &page)
}

/// What stands below a command's help: paragraphs, and blocks whose lines stay as they
/// are, with their headings.
fn notes(after: &str) -> String {
    let mut roff = Roff::new();
    let mut section = "";
    for paragraph in after.split("\n\n").filter(|text| !text.trim().is_empty()) {
        let mut lines: Vec<&str> = paragraph.lines().collect();
        let heading = lines[0].strip_suffix(':').filter(|_| lines.len() > 1);
        if let Some(heading) = heading {
            section = heading;
            roff.control("SH", [heading.to_uppercase().as_str()]);
            lines.remove(0);
        } else if section.is_empty() {
            section = "notes";
            roff.control("SH", ["NOTES"]);
        }
        let kept = lines.iter().all(|line| line.starts_with("  "));
        roff.control(if kept { "nf" } else { "PP" }, []);
        for line in lines {
            roff.text([roman(if kept { &line[2..] } else { line })]);
        }
        if kept {
            roff.control("fi", []);
        }
    }
    roff.control("SH", ["SEE ALSO"]);
    roff.text([
        bold("eightclap"),
        roman("(1), "),
        bold("eightclap-guide"),
        roman("(7)"),
    ]);
    roff.render()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn examples_keep_their_lines() {
        let page = notes("Some words\nof it.\n\nExamples:\n  a b    c\n  d\n");
        let lines: Vec<&str> = page.lines().collect();
        let find = |line: &str| {
            let found = lines.iter().position(|l| *l == line);
            found.unwrap_or_else(|| panic!("no {line}: {page}"))
        };
        let order = [
            ".SH NOTES",
            ".PP",
            "Some words",
            "of it.",
            ".SH EXAMPLES",
            ".nf",
        ];
        let order: Vec<usize> = order.map(find).into();
        assert!(order.is_sorted(), "{page}");
        assert_eq!(find("d"), find("a b    c") + 1, "{page}");
        assert!(find(".fi") > find("d"), "{page}");
    }
}
