//! The `eightclap` program: everything it does lives in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    eightclap::cli::run()
}
