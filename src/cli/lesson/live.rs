//! Leading the lesson: steps on keys, drills to the house band.

use std::io::{self, IsTerminal, Write};
use std::time::{Duration, Instant};

use clap::Args;
use crossbeam_channel::{Receiver, TryRecvError};

use crate::dance::lesson::Step;
use crate::follow::drill::{Drill, summary};
use crate::report::lesson::{drill_in_words, wrap};
use crate::screen::{
    LessonPress, LessonState, Screen, Stop, colour_wanted, lesson_press, lesson_view,
};
use crate::sound::device::Choice;
use crate::sound::quiet::Quiet;

use super::super::config::Defaults;
use super::super::face::{EARS, EARS_AND_EYES};
use super::super::gear::{EarArgs, FlashArgs, OutArgs, keys};
use super::super::play::listen;
use super::super::practise::level;
use super::super::speaker::Speaker;
use super::super::tell;
use super::room::RoomEar;
use super::{WIDEST, Which};

/// Time between two pictures.
const TICK: Duration = Duration::from_millis(15);
/// Frames made at a time.
const BLOCK: usize = 1024;
/// The rate of drills while no microphone asks for its own, hertz.
const RATE: u32 = 44_100;
/// Seconds of a drill after which a device says well what of it is heard.
const SETTLED: f64 = 0.5;

/// Arguments of `lesson run`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap lesson run                   the bundled lesson
  eightclap lesson run mine.toml         your own
  eightclap lesson run --no-feedback     without a microphone")]
pub(super) struct RunArgs {
    #[command(flatten)]
    which: Which,

    #[command(flatten)]
    ear: EarArgs,

    /// Without listening to the room
    #[arg(long, help_heading = "Devices", conflicts_with_all = ["input", "channel"])]
    no_feedback: bool,

    #[command(flatten)]
    out: OutArgs,

    /// Loudness of the program's full clap, 0 to 4; 1 is usual [config: levels.clap]
    #[arg(long, value_name = "LEVEL", value_parser = level, help_heading = "Devices")]
    clap_level: Option<f32>,

    #[command(flatten)]
    flash: FlashArgs,

    /// Plain lines instead of the screen; keys are lines of standard input
    #[arg(long, help_heading = "Screen")]
    line: bool,
}

pub(super) fn run(mut args: RunArgs) -> anyhow::Result<()> {
    let defaults = Defaults::load()?;
    args.which.words.fill(&defaults);
    args.ear.fill(&defaults);
    args.out.fill(&defaults);
    args.flash.fill(&defaults);
    let lesson = args.which.load()?;
    let state = LessonState::new(lesson, args.flash.wanted(), colour_wanted());
    let on_screen = !args.line && io::stdout().is_terminal() && io::stdin().is_terminal();
    let mut face = match on_screen {
        true => Face::Screen {
            screen: Screen::enter()?,
            _quiet: Quiet::display(),
        },
        false => Face::Lines(keys("n, b, d, a, c or q", press), listen()),
    };
    let (room, why) = match args.no_feedback {
        true => (None, None),
        false => {
            let (room, why) = RoomEar::open(args.ear.device(), args.ear.channel());
            (Some(room), why)
        }
    };
    let mut leader = Leader {
        state,
        room,
        playing: None,
        gain: args.clap_level.or(defaults.clap_level).unwrap_or(1.0),
        output: args.out.device(),
        warned: false,
        begun: Instant::now(),
    };
    if let Some(why) = why {
        leader.trouble(format!("drills without feedback: {why}"));
    }
    leader.tell_step(&face)?;
    leader.lead(&mut face)
}

/// What the caller sees, and how keys come.
enum Face {
    Screen { screen: Screen, _quiet: Quiet },
    Lines(Receiver<LessonPress>, Stop),
}

impl Face {
    fn is_screen(&self) -> bool {
        matches!(self, Face::Screen { .. })
    }

    /// Draws, and waits a moment for a key.
    fn show(&mut self, state: &LessonState) -> anyhow::Result<Option<LessonPress>> {
        match self {
            Face::Screen { screen, .. } => {
                screen.draw_with(|frame| lesson_view(frame, state))?;
                Ok(screen.wait_for(TICK, lesson_press, LessonPress::Quit)?)
            }
            Face::Lines(keys, stop) => {
                std::thread::sleep(TICK);
                Ok(match keys.try_recv() {
                    _ if stop.asked() => Some(LessonPress::Quit),
                    Ok(press) => Some(press),
                    // Nobody can ask for anything more.
                    Err(TryRecvError::Disconnected) if !state.is_drilling() => {
                        Some(LessonPress::Quit)
                    }
                    Err(_) => None,
                })
            }
        }
    }
}

/// Leads through the lesson.
struct Leader {
    state: LessonState,
    room: Option<RoomEar>,
    playing: Option<Playing>,
    gain: f32,
    output: Choice,
    /// It was said that loud sounds harm.
    warned: bool,
    begun: Instant,
}

/// A drill under way.
struct Playing {
    drill: Drill,
    speaker: Speaker,
    /// Nothing sounds: there is no loudspeaker.
    silent: bool,
    over: bool,
}

impl Leader {
    fn lead(&mut self, face: &mut Face) -> anyhow::Result<()> {
        loop {
            self.listen();
            self.play(face)?;
            self.state.tick(self.begun.elapsed().as_secs_f64());
            match face.show(&self.state)? {
                Some(LessonPress::Quit) => return Ok(()),
                Some(press) => self.act(press, face)?,
                None => {}
            }
        }
    }

    /// Says what went wrong: on the screen now, and once more after it.
    fn trouble(&mut self, text: String) {
        tell(&text);
        self.state.say(text);
    }

    fn note(&mut self, face: &Face, text: String) -> io::Result<()> {
        match face.is_screen() {
            true => self.state.say(text),
            false => writeln!(io::stdout().lock(), "{text}")?,
        }
        Ok(())
    }

    fn listen(&mut self) {
        let Some(room) = &mut self.room else {
            self.state.microphone = "without feedback".to_owned();
            return;
        };
        let news = room.listen();
        self.state.microphone = room.level();
        if let Some(news) = news {
            self.trouble(news);
        }
    }

    fn act(&mut self, press: LessonPress, face: &Face) -> anyhow::Result<()> {
        match press {
            LessonPress::Next | LessonPress::Back => {
                self.stop();
                if self.state.go(press == LessonPress::Next) {
                    self.tell_step(face)?;
                } else {
                    let end = match press {
                        LessonPress::Next => "this was the last step: have a good dance",
                        _ => "this is the first step",
                    };
                    self.note(face, end.to_owned())?;
                }
            }
            LessonPress::Drill if self.playing.is_some() => {
                self.stop();
                self.note(face, "stopped".to_owned())?;
            }
            LessonPress::Drill => self.start(face)?,
            LessonPress::Again => {
                let playing = self.playing.is_some();
                self.stop();
                self.state.begin_again();
                match playing {
                    true => self.start(face)?,
                    false => self.tell_step(face)?,
                }
            }
            LessonPress::Claps => {
                self.state.claps = !self.state.claps;
                if let Some(playing) = &mut self.playing {
                    playing.drill.set_claps(self.state.claps);
                }
                let said = if self.state.claps { "on" } else { "off" };
                self.note(face, format!("the program's claps are {said}"))?;
            }
            LessonPress::Flash => {
                self.state.flash = !self.state.flash;
                let said = if self.state.flash { "on" } else { "off" };
                self.note(face, format!("flashing {said}"))?;
            }
            LessonPress::Quit => {}
        }
        Ok(())
    }

    fn stop(&mut self) {
        self.playing = None;
        self.state.drill_over();
    }

    fn start(&mut self, face: &Face) -> anyhow::Result<()> {
        let Some(plan) = self.state.step().1.drill.clone() else {
            return Ok(self.note(face, "this step has no drill".to_owned())?);
        };
        let heard = self.room.as_ref().and_then(RoomEar::ear);
        let rate = heard.map_or(RATE, |ear| ear.rate());
        let mut drill = Drill::new(&plan, rate)?;
        drill.set_clap_gain(self.gain);
        drill.set_claps(self.state.claps);
        let (speaker, why) = Speaker::open(&self.output, rate, 1)?;
        let silent = why.is_some();
        match why {
            Some(why) => self.trouble(format!("flashes only, nothing sounds: {why}")),
            None if self.warned => {}
            None => {
                let flashes = face.is_screen() && self.state.flash;
                let caution = if flashes { EARS_AND_EYES } else { EARS };
                self.note(face, caution.to_owned())?;
                self.warned = true;
            }
        }
        self.state.drill(drill.phrases());
        self.playing = Some(Playing {
            drill,
            speaker,
            silent,
            over: false,
        });
        Ok(())
    }

    /// Keeps the drill going, if there is one.
    fn play(&mut self, face: &Face) -> anyhow::Result<()> {
        let Some(playing) = &mut self.playing else {
            return Ok(());
        };
        let mut block = Vec::new();
        while !playing.over && playing.speaker.has_room() {
            block.clear();
            if playing.drill.next_block(BLOCK, &mut block) == 0 {
                playing.speaker.end()?;
                playing.over = true;
                break;
            }
            playing.speaker.play(&block)?;
        }
        let lost = playing.speaker.replace_if_lost();
        playing.silent |= lost.is_some();
        let position = playing.speaker.position();
        let moment = playing.drill.at(position);
        let own = moment
            .phrase
            .map_or(0.0, |phrase| playing.drill.loudness(phrase));
        self.state.drilled(moment, own);
        let mut verdicts = Vec::new();
        if let Some(room) = self.room.as_ref().filter(|_| !playing.silent) {
            let drained = playing.over && playing.speaker.drained();
            if position > SETTLED && !drained {
                playing.drill.placed(room.now(), position);
            }
            // A microphone that came back may have another rate.
            if let Some(ear) = room.ear().filter(|ear| ear.rate() == playing.drill.rate()) {
                verdicts = playing.drill.judge(ear);
            }
        }
        let over = playing.over && playing.speaker.drained();
        if let Some(why) = lost {
            self.trouble(format!("flashes only, nothing sounds: {why}"));
        }
        for verdict in verdicts {
            self.state.judged(verdict);
            if !face.is_screen() {
                let own = match verdict.own {
                    own if own > 0.0 => {
                        format!("my clap {:+.0} dB", 20.0 * own.log10()).replace('-', "−")
                    }
                    _ => "my clap is silent".to_owned(),
                };
                let phrase = verdict.phrase + 1;
                let words = verdict.in_words();
                writeln!(io::stdout().lock(), "phrase {phrase:>2}: {words}; {own}")?;
            }
        }
        if over {
            let verdicts = self.state.verdicts();
            let said = match verdicts.is_empty() {
                true => "the drill is over".to_owned(),
                false => summary(verdicts),
            };
            self.stop();
            self.note(face, said)?;
        }
        Ok(())
    }

    /// In plain lines, the step's script.
    fn tell_step(&self, face: &Face) -> io::Result<()> {
        if face.is_screen() {
            return Ok(());
        }
        let (n, step) = self.state.step();
        let mut out = io::stdout().lock();
        write!(
            out,
            "\n{n}. {} ({} min)\n{}",
            step.title,
            step.minutes,
            words(step)
        )?;
        writeln!(
            out,
            "[n: next step, b: back, d: drill or stop, a: again, q: quit]"
        )
    }
}

/// What a step says, in lines.
fn words(step: &Step) -> String {
    let mut out = String::new();
    for line in &step.say {
        out += &wrap(line, "» ", WIDEST);
    }
    for line in &step.caution {
        out += &wrap(line, "! ", WIDEST);
    }
    if let Some(drill) = &step.drill {
        out += &wrap(&drill_in_words(drill), "drill: ", WIDEST);
    }
    out
}

/// A line of standard input as a key; an empty one goes on.
fn press(line: &str) -> Option<LessonPress> {
    Some(match line {
        "" | "n" => LessonPress::Next,
        "b" => LessonPress::Back,
        "d" => LessonPress::Drill,
        "a" => LessonPress::Again,
        "c" => LessonPress::Claps,
        "q" => LessonPress::Quit,
        _ => return None,
    })
}
