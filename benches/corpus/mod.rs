//! What the benches on recordings share: their arguments, the recordings, and
//! the engine that hears them.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use eightclap::engine::{Engine, Settings};
use eightclap::event::Event;
use eightclap::hear::net::Net;
use eightclap::phrase::net::PhraseNet;
use eightclap::sound::band::Truth;
use eightclap::sound::file::load_mono;

/// What the command line asks for.
pub struct Options {
    /// `NAME.json` of each recording in the given folders, sorted.
    pub items: Vec<PathBuf>,
    /// Print a line for each recording too.
    pub each: bool,
    /// What to hear with.
    pub ears: Ears,
    /// Arguments not known here.
    pub rest: Vec<String>,
}

impl Options {
    /// Reads `--corpus DIR` (any number), `--items`, `--weights DIR` (any number, asked
    /// together), `--phrase-weights DIR` and `--set NAME=VALUE` (any number; names as in
    /// [`set`]); the folders hold `NAME.wav` with `NAME.json`.
    pub fn from_args() -> anyhow::Result<Self> {
        let mut folders = Vec::new();
        let mut rest = Vec::new();
        let mut each = false;
        let mut ears = Ears {
            net: Net::trained(),
            phrase_net: PhraseNet::trained(),
            settings: Vec::new(),
        };
        let mut nets = Vec::new();
        let mut args = std::env::args().skip(1);
        while let Some(arg) = args.next() {
            match arg.as_str() {
                "--corpus" => folders.push(PathBuf::from(args.next().context("--corpus DIR")?)),
                "--items" => each = true,
                "--weights" => {
                    let (list, data) = weights(&args.next().context("--weights DIR")?)?;
                    nets.push(Net::from_parts(&list, &data)?);
                }
                "--phrase-weights" => {
                    let (list, data) = weights(&args.next().context("--phrase-weights DIR")?)?;
                    ears.phrase_net = PhraseNet::from_parts(&list, &data)?;
                }
                "--set" => {
                    let text = args.next().context("--set NAME=VALUE")?;
                    let (name, value) = text.split_once('=').context("--set NAME=VALUE")?;
                    let value = value.parse().with_context(|| format!("--set {text}"))?;
                    set(&mut Settings::default(), name, value)?;
                    ears.settings.push((name.to_owned(), value));
                }
                "--bench" => {}
                _ => rest.push(arg),
            }
        }
        if let Some(net) = nets.into_iter().map(Ok).reduce(|all, net| all?.with(net?)) {
            ears.net = net?;
        }
        let mut items = Vec::new();
        for folder in &folders {
            let list =
                std::fs::read_dir(folder).with_context(|| format!("{}", folder.display()))?;
            for entry in list {
                let path = entry?.path();
                if path.extension().is_some_and(|e| e == "json")
                    && path.with_extension("wav").exists()
                {
                    items.push(path);
                }
            }
        }
        items.sort();
        if items.is_empty() && !folders.is_empty() {
            bail!("no NAME.wav with NAME.json in the given folders");
        }
        Ok(Options {
            items,
            each,
            ears,
            rest,
        })
    }
}

/// The list and the data of the weights in `folder`.
fn weights(folder: &str) -> anyhow::Result<(String, Vec<u8>)> {
    let folder = Path::new(folder);
    let list = std::fs::read_to_string(folder.join("weights.json"))?;
    Ok((list, std::fs::read(folder.join("weights.bin"))?))
}

/// The networks to hear with, and what is to be expected in another way than usual.
pub struct Ears {
    net: Net,
    phrase_net: PhraseNet,
    settings: Vec<(String, f64)>,
}

/// Sets one of the numbers that decide how the engine hears.
fn set(settings: &mut Settings, name: &str, value: f64) -> anyhow::Result<()> {
    let weight = value as f32;
    match name {
        "clap_above" => settings.clap_above = weight,
        "clap_above_by_tune" => settings.clap_above_by_tune = weight,
        "clap_above_begun" => settings.clap_above_begun = weight,
        "clap_down_to" => settings.clap_down_to = weight,
        "sharp" => settings.sharp = value,
        "sharp_lead_in" => settings.sharp_lead_in = value,
        "slip" => settings.trust.slip = weight,
        "near_slip" => settings.trust.near_slip = weight,
        "opening" => settings.trust.opening = value as u32,
        "apart" => settings.trust.apart = value,
        "wrong" => settings.trust.wrong = weight,
        "one_weight" => settings.trust.one_weight = weight,
        "part_weight" => settings.trust.part_weight = weight,
        "tune_weight" => settings.trust.tune_weight = weight,
        "counted_tune_weight" => settings.trust.counted_tune_weight = weight,
        "beat_weight" => settings.expect.beat_weight = weight,
        "off_beat_weight" => settings.expect.off_beat_weight = weight,
        "mode_weight" => settings.expect.mode_weight = weight,
        "mode_floor" => settings.expect.mode_floor = weight,
        "settling" => settings.expect.settling = value,
        "steadiness" => settings.expect.steadiness = value,
        _ => bail!("--set {name}: no such number; benches/corpus/mod.rs lists them"),
    }
    Ok(())
}

impl Ears {
    /// A new engine for sound at `rate` samples a second.
    pub fn engine(&self, rate: u32, settings: Settings) -> anyhow::Result<Engine> {
        let (net, phrase_net) = (self.net.clone(), self.phrase_net.clone());
        let mut settings = settings;
        for (name, value) in &self.settings {
            set(&mut settings, name, *value)?;
        }
        Ok(Engine::with_nets(rate, settings, net, phrase_net)?)
    }

    /// All that a new engine says of `samples`.
    pub fn hear(
        &self,
        rate: u32,
        samples: &[f32],
        settings: Settings,
    ) -> anyhow::Result<Vec<Event>> {
        let mut engine = self.engine(rate, settings)?;
        let mut events = Vec::new();
        for block in samples.chunks(512) {
            engine.push(block, &mut events);
        }
        Ok(events)
    }
}

/// A recording and what was played in it.
pub struct Item {
    /// The file's name without its extension.
    pub name: String,
    /// What was played.
    pub truth: Truth,
    /// Samples a second.
    pub rate: u32,
    /// Mono.
    pub samples: Vec<f32>,
}

impl Item {
    /// Loads `json` and the WAV file beside it.
    pub fn load(json: &Path) -> anyhow::Result<Self> {
        let text = std::fs::read_to_string(json)
            .with_context(|| format!("{}: no truth beside the recording", json.display()))?;
        let truth = serde_json::from_str(&text).with_context(|| format!("{}", json.display()))?;
        let (rate, samples) = load_mono(json.with_extension("wav"))?;
        Ok(Item {
            name: name(json),
            truth,
            rate,
            samples,
        })
    }
}

/// The file's name without its extension.
pub fn name(file: &Path) -> String {
    let stem = file.file_stem().unwrap_or_default();
    stem.to_string_lossy().into_owned()
}
