//! `eightclap practise`: a recording with claps on its phrases and the figures cued.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;

use crate::dance::Card;
use crate::report::tempo::Want;
use crate::sound::file::Recording;

use super::calling::{CallArgs, Coming};
use super::config::Defaults;
use super::gear::{FlashArgs, OutArgs};
use super::live::perform;
use super::play::{Job, Source, wav_name, write};
use super::tempo::want;
use super::{TuneArgs, tell};

/// Arguments of `practise`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap practise reel.mp3                         claps and count
  eightclap practise reel.mp3 --card my.toml          figures, and calls aloud
  eightclap practise reel.mp3 --card my.toml --no-voice
                                                      you call
  eightclap practise reel.mp3 --write out.wav         as a file
  eightclap practise reel.mp3 --want 112..120 --line  lines; the tempo watched")]
pub(super) struct PractiseArgs {
    /// The recording: WAV, MP3, FLAC, OGG, M4A, AAC or AIFF
    #[arg(value_name = "TUNE")]
    tune_file: PathBuf,

    /// The dance card whose figures are cued, or the name of a bundled one
    #[arg(long, value_name = "CARD")]
    card: Option<PathBuf>,

    /// Times through the tune, if you know: the last is told, and nothing called or clapped after it
    #[arg(long, value_name = "N", value_parser = super::gear::whole::<1, 64>)]
    times: Option<u32>,

    /// Write the recording with its claps and calls to this WAV file instead of playing it
    #[arg(long, value_name = "OUT.wav", value_parser = wav_name)]
    write: Option<PathBuf>,

    #[command(flatten)]
    tune: TuneArgs,

    #[command(flatten)]
    out: OutArgs,

    #[command(flatten)]
    play: PlayArgs,
}

/// How to play.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Claps and ticks")]
pub(super) struct PlayArgs {
    /// Without claps (while it plays, the c key turns them on)
    #[arg(long)]
    no_claps: bool,

    /// Loudness of the claps, 0 to 4; 1 is usual [config: levels.clap]
    #[arg(long, value_name = "LEVEL", value_parser = level)]
    clap_level: Option<f32>,

    /// With a soft tick on every beat (the t key turns them on and off)
    #[arg(long)]
    ticks: bool,

    /// Loudness of the ticks, 0 to 4; 1 is usual [config: levels.tick]
    #[arg(long, value_name = "LEVEL", value_parser = level)]
    tick_level: Option<f32>,

    /// The wanted steps per minute, such as 112..120: says what to tell the band
    /// [config: tempo.want]
    #[arg(long, value_name = "LOW..HIGH", value_parser = want, help_heading = "Screen")]
    want: Option<Want>,

    /// One plain line a phrase instead of the screen
    #[arg(long, help_heading = "Screen")]
    line: bool,

    #[command(flatten)]
    flash: FlashArgs,

    #[command(flatten)]
    call: CallArgs,

    /// The steps per minute wanted where neither this nor a card says.
    #[arg(skip)]
    usual: Option<Want>,
}

impl PlayArgs {
    /// Takes defaults for what was not given.
    pub(super) fn fill(&mut self, defaults: &Defaults) {
        self.clap_level = self.clap_level.or(defaults.clap_level);
        self.tick_level = self.tick_level.or(defaults.tick_level);
        self.usual = defaults.want;
        self.flash.fill(defaults);
        self.call.fill(defaults);
    }

    /// The steps per minute wanted with `card` where nothing was said here: its own, and
    /// where it says nothing either those that are usual.
    pub(super) fn usual_want(&self, card: Option<&Card>) -> Option<Want> {
        let said = self.want.is_some() || card.is_some_and(|c| c.steps_per_minute().is_some());
        self.usual.filter(|_| !said)
    }

    /// Who calls `card` live, with the voice on or off at first.
    pub(super) fn calling(
        &self,
        card: Option<&Arc<Card>>,
        rate: u32,
        on: bool,
        times: Option<u32>,
    ) -> anyhow::Result<Option<Coming>> {
        let Some(card) = card else { return Ok(None) };
        self.call.calling(Some(card), rate, on, times)
    }

    /// Whether the voice is asked for, live.
    pub(super) fn wants_voice(&self) -> bool {
        self.call.wants_voice(false)
    }

    /// The same without anything said of what each dance has of its own.
    pub(super) fn without_dance(&self) -> Self {
        PlayArgs {
            call: CallArgs::default(),
            usual: None,
            ..self.clone()
        }
    }

    /// The job of playing with `card` at `rate` frames a second, so many times through if
    /// that is known; with a voice from the start if that is `usual`.
    ///
    /// # Errors
    /// If there can be no voice though one is wanted.
    pub(super) fn job(
        &self,
        card: Option<Arc<Card>>,
        tune: &TuneArgs,
        rate: u32,
        usual: bool,
        times: Option<u32>,
    ) -> anyhow::Result<Job> {
        let want = self.want.or_else(|| self.usual_want(card.as_deref()));
        Ok(Job {
            coming: self.call.calling(card.as_ref(), rate, usual, times)?,
            calling: None,
            times,
            card,
            settings: tune.settings(),
            claps: !self.no_claps,
            clap_gain: self.clap_level.unwrap_or(1.0),
            ticks: self.ticks,
            tick_gain: self.tick_level.unwrap_or(1.0),
            flash: self.flash.wanted(),
            want,
            line: self.line,
        })
    }
}

pub(super) fn level(text: &str) -> Result<f32, String> {
    match text.parse::<f32>() {
        Ok(level) if (0.0..=4.0).contains(&level) => Ok(level),
        _ => Err("give a number from 0 to 4".into()),
    }
}

pub(super) fn run(mut args: PractiseArgs) -> anyhow::Result<()> {
    let defaults = Defaults::load()?;
    args.play.fill(&defaults);
    args.out.fill(&defaults);
    let card = card(args.card.as_deref(), &args.tune)?;
    let mut recording = FromFile(Recording::open(&args.tune_file)?);
    let rate = recording.rate();
    let mut job = args.play.job(card, &args.tune, rate, true, args.times)?;
    match &args.write {
        Some(path) if is_same_file(path, &args.tune_file) => anyhow::bail!(
            "{}: this is the recording itself and would be lost; name another file to write",
            path.display()
        ),
        Some(path) => write(&mut recording, &mut job, path),
        None => perform(&mut recording, &mut job, &args.out.device()),
    }
}

/// Reads the card, if one is given, and sees that the form is its own.
pub(super) fn card(path: Option<&Path>, tune: &TuneArgs) -> anyhow::Result<Option<Arc<Card>>> {
    let Some(path) = path else { return Ok(None) };
    let card = Arc::new(read_card(path)?);
    if let Some(form) = tune.form
        && card.form() != form
    {
        anyhow::bail!(
            "the card \"{}\" is {} beats long, but --form says {}; leave --form out",
            card.title(),
            card.form().beats(),
            form.beats()
        );
    }
    Ok(Some(card))
}

pub(super) fn is_same_file(a: &Path, b: &Path) -> bool {
    match (a.canonicalize(), b.canonicalize()) {
        (Ok(a), Ok(b)) => a == b,
        _ => false,
    }
}

pub(super) fn read_card(path: &Path) -> anyhow::Result<Card> {
    let card = Card::load(path)?;
    for warning in card.warnings() {
        tell(warning);
    }
    Ok(card)
}

struct FromFile(Recording);

impl Source for FromFile {
    fn name(&self) -> String {
        self.0.path().display().to_string()
    }

    fn rate(&self) -> u32 {
        self.0.sample_rate()
    }

    fn channels(&self) -> usize {
        match self.0.channels() {
            2 => 2,
            _ => 1,
        }
    }

    fn seconds(&self) -> Option<f64> {
        self.0.seconds()
    }

    fn read(&mut self, out: &mut Vec<f32>) -> anyhow::Result<usize> {
        // More than two channels are a mixer's: one sum is what a caller needs.
        Ok(match self.0.channels() {
            1 | 2 => self.0.read(out)?,
            _ => self.0.read_mono(out)?,
        })
    }

    fn warning(&self) -> Option<String> {
        self.0.warning()
    }
}
