//! Words spoken by espeak-ng.

use std::io::ErrorKind;
use std::path::Path;
use std::process::Command;

use anyhow::{Context, ensure};
use eightclap::sound::file::load_mono;

/// Whether the synthesiser is there.
pub fn there() -> anyhow::Result<bool> {
    match Command::new("espeak-ng").arg("--version").output() {
        Err(e) if e.kind() == ErrorKind::NotFound => Ok(false),
        found => found.map(|_| true).context("espeak-ng does not start"),
    }
}

/// `text` in a `voice` at so many `words` a minute, written to `file`: its rate and its
/// samples. `more` are further options of espeak-ng.
pub fn speak(
    voice: &str,
    words: u32,
    more: &[&str],
    text: &str,
    file: &Path,
) -> anyhow::Result<(u32, Vec<f32>)> {
    let done = Command::new("espeak-ng")
        .args(["-v", voice, "-s", &words.to_string()])
        .args(more)
        .arg("-w")
        .arg(file)
        .arg(text)
        .output()
        .context("espeak-ng does not start")?;
    ensure!(
        done.status.success(),
        "espeak-ng -v {voice}: {}",
        String::from_utf8_lossy(&done.stderr).trim()
    );
    Ok(load_mono(file)?)
}
