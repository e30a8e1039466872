//! `eightclap listen`: a band, live, with claps and cues.

use std::io::{self, Write};
use std::path::PathBuf;

use clap::Args;

use crate::event::Event;
use crate::follow::{Caller, Ended, Session, SessionError, Told, Wanted};
use crate::report::tempo::{Adviser, Meter, Want};
use crate::screen::Action;
use crate::sound::device::{Direction, Level};
use crate::sound::roundtrip::RoundTrips;

use super::config::Defaults;
use super::face::{Counter, Face};
use super::gear::DeviceArgs;
use super::play::Job;
use super::practise::{PlayArgs, card};
use super::{TuneArgs, tell};

/// The rate that most loudspeakers have, hertz: calls are made ready at it.
pub(super) const RATE: u32 = 48_000;

/// How long a clipped sample is shown, seconds.
const CLIPPED_SHOWN: f64 = 2.0;

/// Arguments of `listen`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap listen --card my.toml                the usual devices
  eightclap listen --in USB --channel 2          the second channel of a mixer
  eightclap listen --out Phones                  claps in your headphones
  eightclap listen --want 112..118 --line        lines, with advice on the tempo
  eightclap devices measure                      first: how late the devices are")]
pub(super) struct ListenArgs {
    /// The dance card whose figures are cued, or the name of a bundled one
    #[arg(long, value_name = "CARD")]
    card: Option<PathBuf>,

    /// Stop after so many seconds
    #[arg(long, value_name = "N", value_parser = seconds)]
    seconds: Option<f64>,

    /// Times through the tune, if you know: the last is told, and nothing called or clapped after it
    #[arg(long, value_name = "N", value_parser = super::gear::whole::<1, 64>)]
    times: Option<u32>,

    #[command(flatten)]
    tune: TuneArgs,

    #[command(flatten)]
    devices: DeviceArgs,

    #[command(flatten)]
    play: PlayArgs,
}

/// Starts to listen and clap.
pub(super) fn start(devices: &DeviceArgs, job: &Job) -> Result<Session, SessionError> {
    Session::start(Wanted {
        input: devices.ear.device(),
        channel: devices.ear.channel(),
        output: devices.out.device(),
        settings: job.settings,
        card: job.card.clone(),
        clap_gain: job.clap_gain,
        claps: job.claps,
        tick_gain: job.tick_gain,
        ticks: job.ticks,
        round_trips: round_trips(),
    })
}

pub(super) fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(seconds) if seconds > 0.0 && seconds <= 1e6 => Ok(seconds),
        _ => Err("give a number of seconds above 0".into()),
    }
}

impl Counter for Caller {
    fn say_one(&mut self, time: f64) {
        Caller::say_one(self, time);
    }

    fn move_count(&mut self, beats: i32) {
        Caller::move_count(self, beats);
    }

    fn set_claps(&mut self, on: bool) {
        Caller::set_claps(self, on);
    }

    fn set_ticks(&mut self, on: bool) {
        Caller::set_ticks(self, on);
    }

    fn set_voice(&mut self, on: bool) {
        Caller::set_voice(self, on);
    }

    fn set_times(&mut self, times: Option<u32>) {
        Caller::set_times(self, times);
    }

    fn introduce(&mut self) {
        Caller::introduce(self);
    }
}

pub(super) fn run(mut args: ListenArgs) -> anyhow::Result<()> {
    let defaults = Defaults::load()?;
    args.devices.fill(&defaults);
    args.play.fill(&defaults);
    // In a hall she calls who listens: the voice waits until it is asked for.
    let card = card(args.card.as_deref(), &args.tune)?;
    let mut job = args.play.job(card, &args.tune, RATE, false, args.times)?;
    let session = start(&args.devices, &job)?;
    session.caller().set_times(job.times);
    let opening = match &job.card {
        Some(card) => format!("listening, for \"{}\"", card.title()),
        None => "listening".to_owned(),
    };
    let mut setup = job.setup("the band".to_owned(), None);
    setup.length = args.seconds;
    let face = Face::new(setup, job.line, opening, job.ticks)?;
    follow(session, face, &mut job, args.seconds, &mut Alone)
}

/// Who leads through what is followed: nobody in `listen`, the programme else.
pub(super) trait Lead {
    /// Looks after the screen, many times a second; false ends it all.
    fn look(&mut self, face: &mut Face, caller: &Caller) -> anyhow::Result<bool>;
    /// Does what a key asks, if it is about that.
    fn act(&mut self, action: Action, face: &mut Face, caller: &Caller) -> anyhow::Result<()>;
}

/// Nobody.
struct Alone;

impl Lead for Alone {
    fn look(&mut self, _: &mut Face, _: &Caller) -> anyhow::Result<bool> {
        Ok(true)
    }

    fn act(&mut self, _: Action, _: &mut Face, _: &Caller) -> anyhow::Result<()> {
        Ok(())
    }
}

/// What was measured before. Without it claps are still given: late or early
/// by what the devices do not say of themselves.
pub(super) fn round_trips() -> RoundTrips {
    let loaded = RoundTrips::path().and_then(|path| RoundTrips::load(&path));
    loaded.unwrap_or_else(|error| {
        tell(format_args!("going on without measured delays: {error}"));
        RoundTrips::default()
    })
}

/// Follows until the caller quits, or for `seconds`; then says what was counted.
pub(super) fn follow(
    mut session: Session,
    mut face: Face,
    job: &mut Job,
    seconds: Option<f64>,
    lead: &mut dyn Lead,
) -> anyhow::Result<()> {
    let mut caller = session.caller();
    let mut clipping = Clipping::default();
    let mut coach = job.want.map(Coach::new);
    let done = loop {
        for told in session.told() {
            if let (Some(coach), Told::Event(event)) = (&mut coach, &told)
                && let Some(advice) = coach.hear(event)
            {
                face.note(advice)?;
            }
            hear(told, &mut face)?;
        }
        if session.broken() {
            break Err(SessionError::Fault);
        }
        if job.is_ready()?
            && let Some(mut calling) = job.calling.take()
        {
            face.put_right(&mut calling);
            caller.call(calling);
        }
        let now = session.now();
        let level = session.level();
        let clips = clipping.shown(&level, now);
        face.state().hears(level.peak, clips);
        match face.show(now)? {
            Some(Action::Quit) => break Ok(()),
            Some(action) => {
                face.act(action, &mut caller);
                lead.act(action, &mut face, &caller)?;
            }
            None => {}
        }
        if seconds.is_some_and(|end| now >= end) || !lead.look(&mut face, &caller)? {
            break Ok(());
        }
    };
    let now = face.now();
    let lines = face.leave();
    done?;
    let ended = session.end()?;
    let mut out = io::stdout().lock();
    writeln!(out, "{}", job.closing(&lines, now))?;
    Ok(summary(&ended, &mut out)?)
}

/// Shows what the session tells.
fn hear(told: Told, face: &mut Face) -> io::Result<()> {
    match told {
        Told::Event(event) => face.event(&event),
        Told::Cue(cue) => face.cue(cue),
        Told::Opened(Direction::In, what) => face.note(format!("hearing {what}"))?,
        Told::Opened(Direction::Out, what) => {
            face.state().silent = false;
            face.note(format!("clapping through {what}"))?;
        }
        Told::Lost(Direction::In, why) => {
            face.trouble("nothing is heard, the beat goes on for some seconds", &why);
        }
        Told::Lost(Direction::Out, why) => {
            face.state().silent = true;
            face.trouble("flashes only, no claps", &why);
        }
        Told::Late(claps) => face.trouble(&too_late(claps), REMEDY),
        Told::Slept => face.note("the computer slept: listening anew".to_owned())?,
    }
    Ok(())
}

/// Says what to tell the band about its tempo, when that changes.
struct Coach {
    meter: Meter,
    adviser: Adviser,
}

impl Coach {
    fn new(want: Want) -> Self {
        Coach {
            meter: Meter::default(),
            adviser: Adviser::new(want),
        }
    }

    fn hear(&mut self, event: &Event) -> Option<String> {
        let Event::Beat(beat) = event else {
            return None;
        };
        self.meter.push(beat.time);
        let tempo = self.meter.over(8)?;
        let before = self.adviser.advice();
        let advice = self.adviser.push(tempo);
        (before != Some(advice)).then(|| format!("tempo: {}", self.adviser.say(tempo)))
    }
}

/// What to do about claps that come too late.
const REMEDY: &str = "use a wired loudspeaker or headphones, choose a direct device with --out, and close other programs";

fn too_late(claps: u64) -> String {
    match claps {
        1 => "1 clap was too late for this sound card and left out".to_owned(),
        n => format!("{n} claps were too late for this sound card and left out"),
    }
}

/// Keeps a clipped sample in sight for a while.
#[derive(Debug, Default)]
pub(super) struct Clipping {
    clipped: u64,
    until: f64,
}

impl Clipping {
    pub(super) fn shown(&mut self, level: &Level, now: f64) -> bool {
        if level.clipped > self.clipped {
            self.until = now + CLIPPED_SHOWN;
        }
        self.clipped = level.clipped;
        now < self.until
    }
}

/// What was counted, in plain lines.
fn summary(ended: &Ended, out: &mut impl Write) -> io::Result<()> {
    let tally = &ended.tally;
    writeln!(
        out,
        "listened {:.0} s; microphone: {} overruns, {} holes ({}); loudspeaker: {} underruns",
        tally.seconds,
        ended.overruns,
        tally.holes,
        ms(tally.missing),
        ended.underruns
    )?;
    write!(out, "claps: {} given, {} too late", ended.claps, ended.late)?;
    if let Some((least, middle)) = spare(&ended.spare) {
        write!(
            out,
            ", ordered {} ahead (at least {})",
            ms(middle),
            ms(least)
        )?;
    }
    writeln!(out)?;
    let mut told = Vec::new();
    if let Some((middle, most)) = tally.delay() {
        let (middle, most) = (ms(middle), ms(most));
        told.push(format!(
            "from sound to decision: {middle}, 95 % within {most}"
        ));
    }
    if let Some(cpu) = ended.cpu {
        told.push(format!("processor time of the listener: {cpu:.1} s"));
    }
    match told.is_empty() {
        true => Ok(()),
        false => writeln!(out, "{}", told.join("; ")),
    }
}

/// Seconds as whole milliseconds. Stamps are not exact: what they place a
/// little below nothing is nothing.
fn ms(seconds: f64) -> String {
    format!("{:.0} ms", (1e3 * seconds).max(0.0))
}

/// The least and the median.
fn spare(all: &[f64]) -> Option<(f64, f64)> {
    let mut sorted = all.to_vec();
    sorted.sort_by(f64::total_cmp);
    Some((*sorted.first()?, *sorted.get(sorted.len() / 2)?))
}

#[cfg(test)]
mod tests;
