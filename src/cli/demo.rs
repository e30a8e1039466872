//! `eightclap demo`: the house band, followed, clapped and cued.

use std::path::PathBuf;
use std::sync::Arc;

use clap::Args;

use crate::dance::{self, Card};
use crate::sound::band::{self, Performance, Player, Room, Settings, Tune};

use super::TuneArgs;
use super::config::Defaults;
use super::gear::OutArgs;
use super::live::perform;
use super::play::{Source, wav_name, write};
use super::practise::PlayArgs;

/// The tune played when none is named.
const TUNE: &str = "kettle-on-the-landing";

/// Arguments of `demo`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
Examples:
  eightclap demo                            what eightclap alone does
  eightclap demo --steps 104 --times 1      slower, and once through
  eightclap demo --no-claps --no-voice      clap and call yourself
  eightclap demo --write demo.wav           as a file")]
pub(super) struct DemoArgs {
    /// Write the tune with its claps and calls to this WAV file instead of playing it
    #[arg(long, value_name = "OUT.wav", value_parser = wav_name)]
    write: Option<PathBuf>,

    /// Which bundled tune to play
    #[arg(long, value_name = "NAME", default_value = TUNE, value_parser = tune_names())]
    tune: String,

    /// Tempo in steps per minute, 90 to 140
    #[arg(long, value_name = "STEPS", default_value_t = 114.0, value_parser = steps)]
    steps: f64,

    /// How many times through the tune, 1 to 64
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = super::gear::whole::<1, 64>)]
    times: u32,

    #[command(flatten)]
    out: OutArgs,

    #[command(flatten)]
    play: PlayArgs,
}

impl Default for DemoArgs {
    fn default() -> Self {
        DemoArgs {
            write: None,
            tune: TUNE.into(),
            steps: 114.0,
            times: 3,
            out: OutArgs::default(),
            play: PlayArgs::default(),
        }
    }
}

/// Tempi at which dances are danced, with room on both sides; a band that plays
/// beyond them is not followed.
pub(super) fn steps(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(steps) if (90.0..=140.0).contains(&steps) => Ok(steps),
        _ => Err("give steps per minute from 90 to 140".into()),
    }
}

fn tune_names() -> clap::builder::PossibleValuesParser {
    clap::builder::PossibleValuesParser::new(band::tunes().iter().map(|tune| tune.name()))
}

pub(super) fn run(mut args: DemoArgs) -> anyhow::Result<()> {
    let defaults = Defaults::load()?;
    args.play.fill(&defaults);
    args.out.fill(&defaults);
    let tune = band::tune(&args.tune)
        .ok_or_else(|| anyhow::anyhow!("no bundled tune is called {}", args.tune))?;
    let settings = Settings {
        steps_per_minute: args.steps,
        times: args.times,
        room: Room::SMALL,
        ..Settings::default()
    };
    let performance = Performance::new(tune, settings)?;
    let mut source = FromBand::new(tune, &performance);
    let card = Arc::new(Card::parse(dance::LANTERNS_ON_THE_WEIR, "bundled card")?);
    let (tune, times) = (TuneArgs { form: None }, Some(args.times));
    let mut job = args
        .play
        .job(Some(card), &tune, source.rate(), true, times)?;
    match &args.write {
        Some(path) => write(&mut source, &mut job, path),
        None => perform(&mut source, &mut job, &args.out.device()),
    }
}

/// Frames made at a time.
const BLOCK: usize = 1024;

struct FromBand {
    name: String,
    rate: u32,
    seconds: f64,
    player: Player,
}

impl FromBand {
    fn new(tune: &Tune, performance: &Performance) -> Self {
        FromBand {
            name: format!("{} ({})", tune.title(), tune.kind()),
            rate: performance.settings().sample_rate,
            seconds: performance.seconds(),
            player: performance.player(),
        }
    }
}

impl Source for FromBand {
    fn name(&self) -> String {
        self.name.clone()
    }

    fn rate(&self) -> u32 {
        self.rate
    }

    fn channels(&self) -> usize {
        1
    }

    fn seconds(&self) -> Option<f64> {
        Some(self.seconds)
    }

    fn read(&mut self, out: &mut Vec<f32>) -> anyhow::Result<usize> {
        let from = out.len();
        out.resize(from + BLOCK, 0.0);
        let made = self.player.next_block(&mut out[from..]);
        out.truncate(from + made);
        Ok(made)
    }
}
