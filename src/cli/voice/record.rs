//! `eightclap voice record`: one's own voice, call after call.
//!
//! Lines in, lines out: whoever uses a screen reader, or speaks with both hands
//! full, needs no more than Enter.

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use anyhow::{Context, bail};
use clap::Args;
use crossbeam_channel::RecvTimeoutError;

use crate::cue::voice::{Guide, Next, Settings, Source, Verdict, Voice, Wish, file_name};
use crate::screen::Stop;
use crate::sound::device::{Choice, Input, Intake};
use crate::sound::write::{Depth, WavOut};

use super::super::config::Defaults;
use super::super::gear::{DeviceArgs, lines_as};
use super::super::play::listen;
use super::{play, texts};

/// How often the microphone is emptied while nobody presses a key.
const PAUSE: Duration = Duration::from_millis(20);

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap voice record --card my.toml         what a card lacks
  eightclap voice record --card my.toml --all   all of them anew
  eightclap voice record --recordings ~/calls   into a folder of your own")]
pub(super) struct RecordArgs {
    /// A dance card, or the name of a bundled one; without one, the signals and the figures known
    #[arg(long = "card", value_name = "CARD")]
    cards: Vec<PathBuf>,

    /// The folder to keep the recordings in; without it, one of your own that is always
    /// used [config: voice.recordings]
    #[arg(long = "recordings", value_name = "FOLDER")]
    folder: Option<PathBuf>,

    /// Also those that are recorded already: what is kept takes the old one's place
    #[arg(long)]
    all: bool,

    #[command(flatten)]
    devices: DeviceArgs,
}

impl RecordArgs {
    /// Takes defaults for what was not given.
    pub(super) fn fill(&mut self, defaults: &Defaults) {
        self.folder = self.folder.take().or_else(|| defaults.recordings.clone());
        self.devices.fill(defaults);
    }
}

/// Guides through what is to be recorded.
pub(super) fn run(args: &RecordArgs) -> anyhow::Result<()> {
    let Some(folder) = args.folder.clone().or_else(Settings::usual_folder) else {
        bail!("this system has no folder for data; name one with --recordings FOLDER");
    };
    let texts = texts(&args.cards)?;
    let ear = &args.devices.ear;
    let (input, mut intake) = Input::open(&ear.device(), ear.channel(), Instant::now())?;
    std::fs::create_dir_all(&folder)
        .with_context(|| format!("{}: it cannot be made a folder", folder.display()))?;
    let todo = todo(texts, &folder, args.all)?;
    let mut out = io::stdout();
    if todo.is_empty() {
        writeln!(out, "everything is recorded, in {}", folder.display())?;
        writeln!(out, "--all records it again")?;
        return Ok(());
    }
    writeln!(out, "from {}", input.in_words())?;
    writeln!(out, "into {}", folder.display())?;
    writeln!(
        out,
        "Enter begins; speak as you call. Silence or Enter ends it. s leaves words out, q stops.\n"
    )?;
    let (guide, first) = Guide::new(todo, intake.rate);
    let mut session = Session {
        guide,
        folder,
        rate: intake.rate,
        output: args.devices.out.device(),
        out,
        stop: listen(),
    };
    session.act(vec![first])?;
    session.go(&input, &mut intake)?;
    let (kept, left) = (session.guide.kept(), session.guide.left());
    writeln!(session.out, "\nrecorded: {kept}, still missing: {left}")?;
    Ok(())
}

/// What there is to record.
fn todo(texts: Vec<String>, folder: &Path, all: bool) -> anyhow::Result<Vec<String>> {
    let recorded = Voice::new(Settings {
        folder: Some(folder.to_owned()),
        engine: crate::cue::voice::Choice::None,
        cache: None,
    })?;
    let missing = |text: &String| all || recorded.source(text) != Some(Source::Own);
    Ok(texts.into_iter().filter(missing).collect())
}

/// A guide with its ears, its mouth and its folder.
struct Session {
    guide: Guide,
    folder: PathBuf,
    rate: u32,
    output: Choice,
    out: io::Stdout,
    stop: Stop,
}

impl Session {
    /// Goes on until all is done, or somebody has had enough.
    fn go(&mut self, input: &Input, intake: &mut Intake) -> anyhow::Result<()> {
        let lines = lines_as(|line| Some(line.to_owned()));
        loop {
            let line = lines.recv_timeout(PAUSE);
            if self.stop.asked() {
                return Ok(());
            }
            let mut over = None;
            intake.take(|samples| over = over.take().or_else(|| self.guide.hear(samples)));
            if let Some(next) = over {
                self.act(vec![next])?;
            }
            if input.lost() {
                bail!(
                    "the microphone \"{}\" has stopped; what was kept is in {}; plug it in again and go on with the same command",
                    input.name(),
                    self.folder.display()
                );
            }
            let wish = match line {
                Err(RecvTimeoutError::Timeout) => continue,
                // Whatever is being said is still heard to its end.
                Err(RecvTimeoutError::Disconnected) if self.guide.records() => {
                    std::thread::sleep(PAUSE);
                    continue;
                }
                Err(RecvTimeoutError::Disconnected) => Wish::Quit,
                Ok(line) => match wish(&line) {
                    Some(wish) => wish,
                    None => {
                        self.line("Enter, h, r, k, s or q")?;
                        continue;
                    }
                },
            };
            let next = self.guide.wish(wish);
            if next.contains(&Next::End) {
                return self.act(next);
            }
            self.act(next)?;
            // What was heard while a file was written or played is no call.
            intake.take(|_| ());
        }
    }

    fn act(&mut self, next: Vec<Next>) -> anyhow::Result<()> {
        for next in next {
            match next {
                Next::Ask(words, n, of) => {
                    self.line(&format!("{n} of {of}   {}", words.to_uppercase()))?;
                    self.line("Enter records")?;
                }
                Next::Record => self.line("speak ...")?,
                Next::Judge(Verdict::Good(seconds)) => self.line(&format!(
                    "{seconds:.1} s. Enter keeps it, h plays it, r records it again, s leaves it out"
                ))?,
                Next::Judge(Verdict::Clipped(seconds)) => self.line(&format!(
                    "{seconds:.1} s, but too loud: it is distorted. Enter records it again, from farther away; k keeps it all the same"
                ))?,
                Next::Judge(Verdict::Silent) => self.line(
                    "nothing was heard; is the microphone muted or far away? Enter tries again, s leaves it out",
                )?,
                Next::Play(sound) => {
                    if let Some(why) = play(&self.output, &sound, self.rate, &self.stop)? {
                        self.line(&why)?;
                    }
                }
                Next::Save(words, sound) => self.save(&words, &sound)?,
                Next::Nothing => self.line("there is nothing recorded yet; Enter records")?,
                Next::End => {}
            }
        }
        Ok(())
    }

    fn save(&mut self, words: &str, sound: &[f32]) -> anyhow::Result<()> {
        let name = file_name(words);
        let mut file = WavOut::create(self.folder.join(&name), self.rate, 1, Depth::Int16)?;
        file.write(sound)?;
        file.finish()?;
        self.line(&format!("kept: {name}\n"))
    }

    fn line(&mut self, text: &str) -> anyhow::Result<()> {
        writeln!(self.out, "{text}")?;
        Ok(self.out.flush()?)
    }
}

/// What a line from the keyboard means.
fn wish(line: &str) -> Option<Wish> {
    Some(match line.trim().to_lowercase().as_str() {
        "" => Wish::Go,
        "h" => Wish::Hear,
        "r" => Wish::Again,
        "k" => Wish::Keep,
        "s" => Wish::Skip,
        "q" => Wish::Quit,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_has_no_recording_is_asked_for() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("Last-Time.wav"), "x").unwrap();
        let texts = || vec!["last time".to_owned(), "swing".to_owned()];
        assert_eq!(todo(texts(), folder.path(), false).unwrap(), ["swing"]);
        assert_eq!(todo(texts(), folder.path(), true).unwrap().len(), 2);
    }

    #[test]
    fn keys_have_their_meanings() {
        assert_eq!(wish("\r"), Some(Wish::Go));
        assert_eq!(wish(" Q "), Some(Wish::Quit));
        assert_eq!(wish("what"), None);
    }
}
