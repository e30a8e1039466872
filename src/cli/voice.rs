//! `eightclap voice`: who speaks the calls, and recording one's own.

mod record;

use std::collections::HashMap;
use std::fmt;
use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Duration;

use anyhow::bail;
use clap::{Args, Subcommand, ValueEnum};

use crate::cue::voice::{
    Choice, Engine, Repertoire, SIGNALS, Settings, Source, Voice, of_card, of_figures,
};
use crate::dance::Card;
use crate::screen::Stop;
use crate::sound::device;
use crate::sound::peak::Limited;
use crate::sound::write::{Depth, WavOut};

use super::config::Defaults;
use super::gear::OutArgs;
use super::play::{listen, wav_name};
use super::speaker::Speaker;
use super::tell;

/// Rate at which words are listed, said and written, hertz.
const RATE: u32 = 48_000;

/// Arguments of `voice`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap voice list --card my.toml      who speaks each call
  eightclap voice record --card my.toml    your own voice for them
  eightclap voice say swing your partner   hear some words")]
pub(super) struct VoiceArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// List the calls, who speaks each, and how long it takes
    List(ListArgs),
    /// Record calls in your own voice, guided through those that are missing
    Record(record::RecordArgs),
    /// Say some words, or write them to a file
    Say(SayArgs),
}

/// Who may speak.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct SpeakerArgs {
    /// The folder with your own recordings, named after calls: "swing your partner.wav"
    /// [config: voice.recordings]
    #[arg(long = "recordings", value_name = "FOLDER")]
    folder: Option<PathBuf>,

    /// What speaks words that are neither recorded nor built in
    #[arg(long, value_name = "ENGINE", default_value_t)]
    engine: EngineName,
}

/// A speech engine as named on the command line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
enum EngineName {
    /// The best of this machine
    #[default]
    Best,
    /// None
    None,
    /// espeak-ng
    EspeakNg,
    /// The one of macOS
    Say,
    /// The one of Windows
    SystemSpeech,
}

impl fmt::Display for EngineName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let value = self.to_possible_value();
        f.write_str(value.as_ref().map_or("", |value| value.get_name()))
    }
}

impl SpeakerArgs {
    /// Takes a default for what was not given.
    fn fill(&mut self, defaults: &Defaults) {
        self.folder = self.folder.take().or_else(|| defaults.recordings.clone());
    }

    /// What the voice is told.
    pub(super) fn settings(&self) -> Settings {
        Settings {
            engine: match self.engine {
                EngineName::Best => Choice::Best,
                EngineName::None => Choice::None,
                EngineName::EspeakNg => Choice::This(Engine::EspeakNg),
                EngineName::Say => Choice::This(Engine::Say),
                EngineName::SystemSpeech => Choice::This(Engine::SystemSpeech),
            },
            ..Settings::usual(self.folder.clone())
        }
    }
}

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap voice list                                  every call there is
  eightclap voice list --card my.toml                   those of a card
  eightclap voice list --card my.toml --engine none     without a speech engine")]
struct ListArgs {
    /// A dance card, or the name of a bundled one; without one, the signals and the figures known
    #[arg(long = "card", value_name = "CARD")]
    cards: Vec<PathBuf>,

    #[command(flatten)]
    speaker: SpeakerArgs,
}

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap voice say swing your partner                   hear it
  eightclap voice say swing your partner --write swing.wav as a file")]
struct SayArgs {
    /// The words
    #[arg(value_name = "WORDS", required = true)]
    words: Vec<String>,

    /// Write them to this WAV file instead
    #[arg(long, value_name = "OUT.wav", value_parser = wav_name)]
    write: Option<PathBuf>,

    #[command(flatten)]
    speaker: SpeakerArgs,

    #[command(flatten)]
    out: OutArgs,
}

/// Lists, records or speaks.
pub(super) fn run(args: VoiceArgs) -> anyhow::Result<()> {
    let defaults = Defaults::load()?;
    match args.what {
        What::List(mut args) => {
            args.speaker.fill(&defaults);
            list(&args)
        }
        What::Record(mut args) => {
            args.fill(&defaults);
            record::run(&args)
        }
        What::Say(mut args) => {
            args.speaker.fill(&defaults);
            args.out.fill(&defaults);
            say(&args)
        }
    }
}

/// The words of the signals and of some cards; without cards, of the figures.
fn texts(cards: &[PathBuf]) -> anyhow::Result<Vec<String>> {
    let mut texts: Vec<String> = SIGNALS.map(str::to_owned).into();
    for path in cards {
        texts.extend(of_card(&Card::load(path)?));
    }
    if cards.is_empty() {
        texts.extend(of_figures());
    }
    let mut seen = std::collections::HashSet::new();
    texts.retain(|text| seen.insert(crate::cue::voice::normal(text)));
    Ok(texts)
}

fn list(args: &ListArgs) -> anyhow::Result<()> {
    let texts = texts(&args.cards)?;
    let voice = Voice::new(args.speaker.settings())?;
    let said = voice.survey(texts.iter().map(String::as_str), RATE);
    print(&texts, &said, &mut io::stdout().lock())?;
    said.warnings().iter().for_each(tell);
    Ok(())
}

fn print(texts: &[String], said: &Repertoire, out: &mut impl Write) -> io::Result<()> {
    let mut count: HashMap<Option<Source>, usize> = HashMap::new();
    for text in texts {
        let found = said.get(text);
        let source = found.map(|u| u.source);
        *count.entry(source).or_default() += 1;
        let seconds = found.map_or("     -".to_owned(), |u| format!("{:4.1} s", u.natural));
        writeln!(out, "{:<9} {seconds}  {text}", word(source))?;
    }
    let parts: Vec<String> = [
        Some(Source::Own),
        Some(Source::BuiltIn),
        Some(Source::Engine),
        None,
    ]
    .into_iter()
    .filter_map(|source| Some(format!("{} {}", count.get(&source)?, word(source))))
    .collect();
    writeln!(out, "\n{} calls: {}", texts.len(), parts.join(", "))?;
    if let Some(missing) = said.missing().first() {
        writeln!(out, "not spoken, only flashed: {}", missing.why)?;
    }
    Ok(())
}

fn word(source: Option<Source>) -> &'static str {
    match source {
        Some(Source::Own) => "own",
        Some(Source::BuiltIn) => "built in",
        Some(Source::Engine) => "engine",
        None => "nobody",
    }
}

fn say(args: &SayArgs) -> anyhow::Result<()> {
    let words = args.words.join(" ");
    let voice = Voice::new(args.speaker.settings())?;
    let said = voice.survey([words.as_str()], RATE);
    said.warnings().iter().for_each(tell);
    let Some(utterance) = said.get(&words) else {
        match said.missing().first() {
            Some(missing) => bail!("\"{words}\" cannot be spoken: {}", missing.why),
            None => bail!("there are no words in \"{words}\"; give some letters or digits"),
        }
    };
    let Some(clip) = utterance.clips.first() else {
        return Ok(());
    };
    match &args.write {
        Some(path) => {
            let mut file = WavOut::create_signed(path, RATE, 1, Depth::Int16)?;
            let (mut limited, mut ready) = (Limited::new(RATE, 1), Vec::new());
            limited.push(&clip.samples, &mut ready);
            limited.finish(&mut ready);
            file.write(&ready)?;
            file.finish()?;
        }
        None => {
            if let Some(why) = play(&args.out.device(), &clip.samples, RATE, &listen())? {
                bail!("{why}; or write a WAV file with --write OUT.wav");
            }
        }
    }
    let by = word(Some(utterance.source));
    let done = match &args.write {
        Some(path) => format!(", written: {}", path.display()),
        None => String::new(),
    };
    writeln!(
        io::stdout().lock(),
        "\"{words}\": {by}, {:.1} s{done}",
        utterance.natural
    )?;
    Ok(())
}

/// Plays mono samples to their end, or until somebody has had enough; says why
/// not, if there is no loudspeaker.
fn play(
    output: &device::Choice,
    samples: &[f32],
    rate: u32,
    stop: &Stop,
) -> anyhow::Result<Option<String>> {
    let (mut speaker, why) = Speaker::open(output, rate, 1)?;
    if why.is_some() {
        return Ok(why);
    }
    let mut pieces = samples.chunks(rate as usize / 20);
    let mut ended = false;
    loop {
        if stop.asked() || ended && speaker.drained() {
            return Ok(None);
        }
        if let Some(why) = speaker.replace_if_lost() {
            return Ok(Some(why));
        }
        if ended || !speaker.has_room() {
            std::thread::sleep(Duration::from_millis(5));
            continue;
        }
        match pieces.next() {
            Some(piece) => speaker.play(piece)?,
            None => {
                speaker.end()?;
                ended = true;
            }
        }
    }
}
