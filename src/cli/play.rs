//! Something to be played through the engine, how, and writing it to a file.

use std::fmt::Display;
use std::io::{self, ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Context;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::dance::Card;
use crate::engine::Settings;
use crate::follow::{Calling, Follow};
use crate::report::tempo::Want;
use crate::screen::lines::Lines;
use crate::screen::{Hand, Setup, Stop, clock, colour_wanted};
use crate::sound::peak::Limited;
use crate::sound::write::{Depth, WavOut};

use super::calling::Coming;
use super::tell;

/// Something to be played once, from the front.
pub(super) trait Source {
    /// What people call it.
    fn name(&self) -> String;
    /// Frames a second.
    fn rate(&self) -> u32;
    /// Samples in a frame, 1 or 2.
    fn channels(&self) -> usize;
    /// Length, seconds, where it is known.
    fn seconds(&self) -> Option<f64>;
    /// Appends the next frames to `out`; 0 at the end.
    fn read(&mut self, out: &mut Vec<f32>) -> anyhow::Result<usize>;
    /// What was wrong with it, as far as it has been read.
    fn warning(&self) -> Option<String> {
        None
    }
}

/// Seconds before the introductions, and after them until the tune.
const BEFORE: f64 = 0.3;
const AFTER: f64 = 1.2;

/// A source after some silence, in which the dance is introduced.
pub(super) struct Introduced<'a> {
    source: &'a mut dyn Source,
    /// Seconds of silence, and frames of it that are left.
    silence: f64,
    left: usize,
}

impl Source for Introduced<'_> {
    fn name(&self) -> String {
        self.source.name()
    }

    fn rate(&self) -> u32 {
        self.source.rate()
    }

    fn channels(&self) -> usize {
        self.source.channels()
    }

    fn seconds(&self) -> Option<f64> {
        Some(self.source.seconds()? + self.silence)
    }

    fn read(&mut self, out: &mut Vec<f32>) -> anyhow::Result<usize> {
        if self.left == 0 {
            return self.source.read(out);
        }
        let frames = self.left.min(1024);
        self.left -= frames;
        out.resize(out.len() + frames * self.channels(), 0.0);
        Ok(frames)
    }

    fn warning(&self) -> Option<String> {
        self.source.warning()
    }
}

/// How to play it.
pub(super) struct Job {
    /// The dance, if there is one.
    pub(super) card: Option<Arc<Card>>,
    /// What the engine is told beforehand.
    pub(super) settings: Settings,
    /// Whether claps are heard at first.
    pub(super) claps: bool,
    /// Gain of the claps.
    pub(super) clap_gain: f32,
    /// Whether a soft tick is heard on every beat at first.
    pub(super) ticks: bool,
    /// Gain of the ticks.
    pub(super) tick_gain: f32,
    /// Whether the screen may flash.
    pub(super) flash: bool,
    /// The wanted steps per minute, if they are not the card's.
    pub(super) want: Option<Want>,
    /// Whether plain lines are wanted instead of the screen.
    pub(super) line: bool,
    /// The voice that is to call the dance aloud, if one is, while it is made ready.
    pub(super) coming: Option<Coming>,
    /// How the dance is called aloud, once it can be.
    pub(super) calling: Option<Calling>,
    /// Times through, if that is known.
    pub(super) times: Option<u32>,
}

impl Job {
    /// The engine, with what it is told.
    pub(super) fn follow(&self, source: &dyn Source) -> anyhow::Result<Follow> {
        let mut follow = Follow::new(
            source.rate(),
            source.channels(),
            self.settings,
            self.card.clone(),
        )
        .with_context(|| source.name())?;
        follow.set_claps(self.claps);
        follow.set_clap_gain(self.clap_gain);
        follow.set_ticks(self.ticks);
        follow.set_tick_gain(self.tick_gain);
        follow.set_times(self.times);
        Ok(follow)
    }

    /// Whether no voice is being made ready any more.
    ///
    /// # Errors
    /// If one cannot be made ready.
    pub(super) fn is_ready(&mut self) -> anyhow::Result<bool> {
        if let Some(coming) = &self.coming
            && let Some(calling) = coming.take()?
        {
            self.coming = None;
            self.calling = Some(calling);
        }
        Ok(self.coming.is_none())
    }

    /// The source after the introductions, which `follow` speaks; as it is without any.
    pub(super) fn introduce<'a>(
        &self,
        source: &'a mut dyn Source,
        follow: &mut Follow,
    ) -> Introduced<'a> {
        let calling = self.calling.as_ref().filter(|calling| calling.on);
        let seconds = calling.map_or(0.0, |calling| calling.script.introduction_seconds());
        let silence = match seconds > 0.0 {
            true => BEFORE + seconds + AFTER,
            false => 0.0,
        };
        if silence > 0.0 {
            follow.introduce(BEFORE);
        }
        Introduced {
            left: (silence * f64::from(source.rate())).round() as usize,
            silence,
            source,
        }
    }

    /// What the screen knows of it before it starts.
    pub(super) fn setup(&self, tune: String, length: Option<f64>) -> Setup {
        Setup {
            tune,
            length,
            card: self.card.clone(),
            form: self.settings.form,
            want: self.want,
            claps: self.claps,
            flash: self.flash,
            voice: self.coming.as_ref().map(Coming::on),
            times: self.times,
            hand: Hand::Counts,
            colour: colour_wanted(),
        }
    }

    /// What is played, and for which dance: one line.
    pub(super) fn opening(&self, source: &dyn Source) -> String {
        match &self.card {
            Some(card) => format!("{}, for \"{}\"", source.name(), card.title()),
            None => source.name(),
        }
    }

    /// What was heard in `seconds` of sound: one line.
    pub(super) fn closing(&self, lines: &Lines, seconds: f64) -> String {
        let wanted = self.card.as_ref().and_then(|card| card.steps_per_minute());
        format!("{}: {}", clock(seconds), lines.summary().line(wanted))
    }
}

/// Takes the name of a WAV file to write.
///
/// # Errors
/// If its extension says that it is another kind of file: players would
/// stumble over it.
pub(super) fn wav_name(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    match path.extension().and_then(|e| e.to_str()) {
        Some(e) if !e.eq_ignore_ascii_case("wav") && !e.eq_ignore_ascii_case("wave") => {
            Err(format!(
                "only WAV files are written; call it {}",
                path.with_extension("wav").display()
            ))
        }
        _ => Ok(path),
    }
}

/// Renders the source with its claps and calls to a WAV file, as fast as it goes.
pub(super) fn write(source: &mut dyn Source, job: &mut Job, path: &Path) -> anyhow::Result<()> {
    // The finished file takes the place of what is there: never of a device.
    if path
        .metadata()
        .is_ok_and(|there| !there.is_file() && !there.is_dir())
    {
        anyhow::bail!(
            "{}: this is not a plain file and would be replaced; name a WAV file to write",
            path.display()
        );
    }
    let stop = listen();
    let mut follow = job.follow(source)?;
    if let Some(coming) = job.coming.take() {
        let calling = coming.wait()?;
        follow.call(&calling);
        job.calling = Some(calling);
    }
    let source = &mut job.introduce(source, &mut follow);
    let mut file = WavOut::create_signed(path, source.rate(), source.channels(), Depth::Int16)?;
    let rate = f64::from(source.rate());
    let bar = progress(source.seconds());
    let mut lines = Lines::new(job.card.clone());
    lines.set_times(job.times);
    let mut out = Told::default();
    bar.suspend(|| out.line(job.opening(source)))?;
    let mut limited = Limited::new(source.rate(), source.channels());
    let (mut block, mut ready) = (Vec::new(), Vec::new());
    loop {
        block.clear();
        ready.clear();
        if source.read(&mut block)? == 0 {
            break;
        }
        let known = follow.push(&mut block);
        for event in known.events {
            if let Some(line) = lines.push(event) {
                bar.suspend(|| out.line(line))?;
            }
        }
        limited.push(&block, &mut ready);
        file.write(&ready)?;
        if stop.asked() {
            bar.finish_and_clear();
            anyhow::bail!(
                "{}: stopped before its end, so it was not written",
                path.display()
            );
        }
        bar.set_position((10.0 * file.frames() as f64 / rate) as u64);
    }
    limited.finish(&mut ready);
    file.write(&ready)?;
    let seconds = file.frames() as f64 / rate;
    file.finish()?;
    bar.finish_and_clear();
    out.line(job.closing(&lines, seconds))?;
    out.line(format_args!("written: {}", path.display()))?;
    warn(source);
    Ok(())
}

/// Listens for requests to stop; where that is not possible, signals do what they
/// always did.
pub(super) fn listen() -> Stop {
    let stop = Stop::default();
    let _ = stop.listen();
    stop
}

/// Standard output beside a job that goes on when nobody reads it any more.
#[derive(Default)]
struct Told {
    closed: bool,
}

impl Told {
    fn line(&mut self, text: impl Display) -> io::Result<()> {
        if self.closed {
            return Ok(());
        }
        match writeln!(io::stdout().lock(), "{text}") {
            Err(error) if error.kind() == ErrorKind::BrokenPipe => {
                self.closed = true;
                Ok(())
            }
            told => told,
        }
    }
}

fn progress(seconds: Option<f64>) -> ProgressBar {
    let (bar, template) = match seconds {
        Some(seconds) => (
            ProgressBar::new((10.0 * seconds) as u64),
            "{bar:32} {percent}%, {eta} left",
        ),
        None => (ProgressBar::new_spinner(), "{spinner} {elapsed}"),
    };
    if !io::stderr().is_terminal() {
        bar.set_draw_target(ProgressDrawTarget::hidden());
    }
    bar.with_style(
        ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar()),
    )
}

/// Tells what was wrong with the source.
pub(super) fn warn(source: &dyn Source) {
    if let Some(warning) = source.warning() {
        tell(warning);
    }
}
