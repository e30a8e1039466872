//! `eightclap completions`: made from the command line's own definition.

use std::io::{self, Write};

use clap::Args;
use clap_complete::Shell;

use super::command;

/// Arguments of `completions`.
#[derive(Debug, Args)]
#[command(after_help = "\
Where they go:
  bash        ~/.local/share/bash-completion/completions/eightclap
  zsh         a folder of $fpath, as _eightclap
  fish        ~/.config/fish/completions/eightclap.fish
  powershell  the end of the file that $PROFILE names
  elvish      the end of ~/.config/elvish/rc.elv

Example:
  eightclap completions fish > ~/.config/fish/completions/eightclap.fish

The Debian package brings those of bash, zsh and fish along.")]
pub(super) struct CompletionsArgs {
    /// The shell
    #[arg(value_name = "SHELL", value_enum)]
    shell: Shell,
}

/// Prints what makes the shell complete commands and options.
pub(super) fn run(args: &CompletionsArgs) -> anyhow::Result<()> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut command(), "eightclap", &mut script);
    let mut out = io::stdout().lock();
    out.write_all(&script)?;
    Ok(out.flush()?)
}
