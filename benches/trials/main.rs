//! What the engine bears of what happens in real halls:
//! `cargo bench --bench trials -- --corpus DIR`.
//!
//! Takes recordings with their truth as the accuracy bench does, changes sound
//! and truth, and hears again. The plain recordings come first, for comparison.
//! `--only KEY` (any number) runs those trials alone; a wrong key prints them all.
//! `--items` prints a line for each recording too; `--weights` and
//! `--phrase-weights` and `--set` are as in the accuracy bench. Chance is the same at every
//! run, and each recording's own: it does not depend on which others are there.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use eightclap::sound::band::Dice;
use rayon::prelude::*;

mod change;
#[path = "../corpus/mod.rs"]
mod corpus;
#[path = "../corpus/espeak.rs"]
mod espeak;
mod form;
mod judge;
mod leak;
mod level;
mod mixed;
mod nothing;
mod people;
mod recover;
mod speech;
mod stretch;
mod table;

use change::Take;
use corpus::{Ears, Item, Options};
use speech::Speech;

/// What `--only` may name.
const KEYS: [&str; 11] = [
    "calls",
    "claps",
    "leak",
    "rates",
    "dropped",
    "added",
    "breakdown",
    "faster",
    "slower",
    "form",
    "notmusic",
];

/// Seed of all chance here.
const SEED: u64 = 20_240_613;

/// What every trial needs.
pub struct Bench {
    /// The command line.
    options: Options,
    /// Keys of the trials to run; all if empty.
    only: Vec<String>,
}

fn main() -> anyhow::Result<()> {
    let options = Options::from_args()?;
    let mut only = Vec::new();
    let mut rest = options.rest.iter();
    while let Some(arg) = rest.next() {
        match arg.as_str() {
            "--only" => only.push(rest.next().context("--only KEY")?.clone()),
            other => bail!("unknown argument {other}; usage: --corpus DIR [--only KEY] [--items]"),
        }
    }
    if let Some(unknown) = only.iter().find(|key| !KEYS.contains(&key.as_str())) {
        bail!(
            "--only {unknown}: no such trial; there are {}",
            KEYS.join(", ")
        );
    }
    if options.items.is_empty() {
        println!("trials: no --corpus DIR given, nothing to try");
        return Ok(());
    }
    let bench = Bench { options, only };
    let speech = match bench.wants("calls") || bench.wants("notmusic") {
        true => Speech::new()?,
        false => None,
    };
    mixed::print(&bench, speech.as_ref())?;
    recover::print(&bench)?;
    form::print(&bench)?;
    nothing::print(&bench, speech.as_ref())
}

impl Bench {
    /// Whether the trial called `key` is asked for.
    fn wants(&self, key: &str) -> bool {
        debug_assert!(KEYS.contains(&key));
        self.only.is_empty() || self.only.iter().any(|o| o == key)
    }

    /// Whether each recording is to have its line.
    fn lines(&self) -> bool {
        self.options.each
    }

    /// What hears.
    fn ears(&self) -> &Ears {
        &self.options.ears
    }

    /// Names of the recordings, as [`Bench::each`] takes them.
    fn names(&self) -> impl Iterator<Item = String> {
        self.options.items.iter().map(|json| corpus::name(json))
    }

    /// Does `job` with every recording, on all cores, each with chance of its own.
    fn each<T: Send>(
        &self,
        job: impl Fn(Take, &mut Dice) -> anyhow::Result<T> + Sync,
    ) -> anyhow::Result<Vec<T>> {
        let run = |path: &PathBuf| {
            let (name, take) = load(path)?;
            let mut dice = Dice::new(SEED, hash(&name));
            job(take, &mut dice).with_context(|| name)
        };
        self.options.items.par_iter().map(run).collect()
    }

    /// Does `job` with every recording and the one after it.
    fn each_pair<T: Send>(
        &self,
        job: impl Fn(Take, Take) -> anyhow::Result<T> + Sync,
    ) -> anyhow::Result<Vec<T>> {
        let items = &self.options.items;
        let run = |at: usize| {
            let (name, take) = load(&items[at])?;
            let (_, next) = load(&items[(at + 1) % items.len()])?;
            job(take, next).with_context(|| name)
        };
        (0..items.len()).into_par_iter().map(run).collect()
    }
}

/// The recording of `json`, and its name.
fn load(json: &Path) -> anyhow::Result<(String, Take)> {
    let Item {
        name,
        truth,
        rate,
        samples,
    } = Item::load(json)?;
    let take = Take {
        rate,
        samples,
        truth,
    };
    Ok((name, take))
}

/// A number for a name, the same for good (FNV-1a, 64 bits; from memory).
fn hash(name: &str) -> u64 {
    let mix = |h: u64, byte: u8| (h ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    name.bytes().fold(0xcbf2_9ce4_8422_2325, mix)
}
