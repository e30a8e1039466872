//! The commands, one a file. They parse what the user asked for, open files and
//! devices, and leave hearing, counting, cueing and mixing to the other rooms.

mod calling;
mod card;
mod completions;
mod config;
mod demo;
mod devices;
mod face;
mod gear;
mod guide;
mod lesson;
mod listen;
mod live;
mod man;
mod play;
mod practise;
mod programme;
mod progress;
mod rehearse;
mod speaker;
mod tempo;
mod track;
mod voice;

/// A way in for `tests/fuzz` alone: cargo-fuzz sets this flag.
#[cfg(fuzzing)]
pub use config::fuzz::is_read_or_refused as config_is_read_or_refused;

use std::fmt;
use std::process::ExitCode;

use clap::{Args, CommandFactory, FromArgMatches, Parser, Subcommand};

use crate::engine::Settings;
use crate::phrase::Form;
use crate::sound::quiet;

/// Hears a dance band, claps on the first beat of every eight, and cues the
/// next figure one beat ahead.
#[derive(Debug, Parser)]
#[command(name = "eightclap", version, about, max_term_width = 100)]
#[command(after_help = "\
Without a command, eightclap plays its demo: a tune of its own with claps and cues.

Examples:
  eightclap                                   the demo, with sound if it can be
  eightclap demo --write demo.wav             the demo as a file
  eightclap practise reel.mp3 --card my.toml  a recording with claps and cues
  eightclap listen --card my.toml             a band, through the microphone
  eightclap rehearse --card my.toml           how early was each of your calls?
  eightclap tempo reel.mp3 --want 112..120    steps per minute, and what to say
  eightclap tempo                             the same of a band that plays
  eightclap tempo --tap                       the same of taps on the space bar
  eightclap track reel.mp3 --json             what is heard, for programs
  eightclap card new my.toml                  a dance card to begin with
  eightclap card check my.toml                what is wrong with it, or doubtful
  eightclap programme run evening.toml        an evening, dance by dance
  eightclap lesson                            the newcomers' session before it
  eightclap voice record --card my.toml       your own voice for the calls
  eightclap config new                        a file for your devices and levels
  eightclap guide                             a short manual")]
pub struct Cli {
    #[command(subcommand)]
    command: Option<Command>,
}

/// At the end of the help on whatever sounds.
const CAUTION: &str = "\
Sounds start at a moderate level and are limited. Long loud listening harms ears
all the same: start quietly, above all with headphones. Screens flash at most
twice in any second; f turns that off. On the floor the hall's rules and
qualified teachers come first.";

/// The commands that sound, or teach what sounds, and those below them that do.
const SOUNDING: [(&str, &[&str]); 8] = [
    ("practise", &[]),
    ("listen", &[]),
    ("demo", &[]),
    ("rehearse", &[]),
    ("programme", &["run"]),
    ("lesson", &["run"]),
    ("voice", &["record", "say"]),
    ("devices", &["measure"]),
];

/// The command line, as it is parsed, and as help, manual and completions know it.
fn command() -> clap::Command {
    let cautioned = |command: clap::Command| {
        let help = match command.get_after_help() {
            Some(examples) => format!("{examples}\n\n{CAUTION}"),
            None => CAUTION.to_owned(),
        };
        command.after_help(help)
    };
    SOUNDING
        .into_iter()
        .fold(Cli::command(), |all, (name, below)| {
            all.mut_subcommand(name, |command| {
                let command = cautioned(command);
                below
                    .iter()
                    .fold(command, |all, name| all.mut_subcommand(name, cautioned))
            })
        })
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Play a recording with a clap on every "one", and cue the figures of a dance card
    Practise(practise::PractiseArgs),
    /// Listen to a band, clap on every "one", and cue the figures of a dance card
    Listen(listen::ListenArgs),
    /// Play a tune of the house band with claps and cues
    Demo(demo::DemoArgs),
    /// Call a dance to a band, and learn how early or late each prompt ended
    Rehearse(Box<rehearse::RehearseArgs>),
    /// Show all rehearsals that were kept, or delete them
    Progress(progress::ProgressArgs),
    /// Say how many steps per minute a recording has, a band, or taps on the space bar
    Tempo(tempo::TempoArgs),
    /// Print the beats, phrases and tempo heard in recordings, as fast as possible
    Track(track::TrackArgs),
    /// Begin, check, show and print dance cards
    Card(card::CardArgs),
    /// An evening: check it, show it, lead it
    Programme(programme::ProgrammeArgs),
    /// Lead the newcomers' session before the dance, with clapping drills
    Lesson(lesson::LessonArgs),
    /// Say who speaks the calls, say some words, or record your own voice
    Voice(voice::VoiceArgs),
    /// List the sound devices, or measure how late they are
    Devices(devices::DevicesArgs),
    /// Show or begin the file of defaults: devices, levels, voice, words, tempo, flashing
    Config(config::ConfigArgs),
    /// Read a short manual: a first evening, the lead-in, cards, devices, cautions
    Guide(guide::GuideArgs),
    /// Print what makes your shell complete commands and options
    Completions(completions::CompletionsArgs),
    /// Write the manual pages to a folder, for packages
    #[command(hide = true)]
    Man(man::ManArgs),
}

/// What is known of the tune beforehand.
#[derive(Debug, Clone, Args)]
struct TuneArgs {
    /// Beats in one time through the tune: 64 (A1 A2 B1 B2), 48, 32, ...
    #[arg(long, value_name = "BEATS", value_parser = form)]
    form: Option<Form>,
}

impl TuneArgs {
    fn settings(&self) -> Settings {
        Settings {
            form: self.form.unwrap_or_default(),
            ..Settings::default()
        }
    }
}

fn form(text: &str) -> Result<Form, String> {
    let beats = text
        .parse()
        .map_err(|_| "give a number of beats".to_string())?;
    Form::new(beats).map_err(|e| e.to_string())
}

/// A job that failed after its reasons were already printed.
#[derive(Debug)]
struct AlreadyTold;

impl fmt::Display for AlreadyTold {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("some of the work could not be done")
    }
}

impl std::error::Error for AlreadyTold {}

/// Parses the command line and does what it says.
///
/// The exit code is 0 for a job done, 1 for a job that failed (with one
/// readable line on standard error) and 2 for a wrong call.
pub fn run() -> ExitCode {
    let parsed = command().try_get_matches();
    let cli = match parsed.and_then(|matches| Cli::from_arg_matches(&matches)) {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version are no errors; clap knows which stream they go to.
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
        }
    };
    let done = match cli.command {
        None => demo::run(demo::DemoArgs::default()),
        Some(Command::Demo(args)) => demo::run(args),
        Some(Command::Practise(args)) => practise::run(args),
        Some(Command::Track(args)) => track::run(&args),
        Some(Command::Tempo(args)) => tempo::run(args),
        Some(Command::Listen(args)) => listen::run(args),
        Some(Command::Card(args)) => card::run(args),
        Some(Command::Programme(args)) => programme::run(args),
        Some(Command::Lesson(args)) => lesson::run(args),
        Some(Command::Rehearse(args)) => rehearse::run(*args),
        Some(Command::Progress(args)) => progress::run(&args),
        Some(Command::Devices(args)) => devices::run(args),
        Some(Command::Voice(args)) => voice::run(args),
        Some(Command::Config(args)) => config::run(&args),
        Some(Command::Guide(args)) => guide::run(&args),
        Some(Command::Completions(args)) => completions::run(&args),
        Some(Command::Man(args)) => man::run(&args),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        // A reader that closed the pipe has seen enough.
        Err(error) if is_broken_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            if !error.is::<AlreadyTold>() {
                tell(format_args!("{error:#}"));
            }
            ExitCode::FAILURE
        }
    }
}

/// Says something on standard error.
fn tell(text: impl fmt::Display) {
    quiet::tell(&format!("eightclap: {text}"));
}

fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause
            .downcast_ref::<std::io::Error>()
            .is_some_and(|e| e.kind() == std::io::ErrorKind::BrokenPipe)
    })
}
