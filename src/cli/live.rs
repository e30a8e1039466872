//! Playing something and showing what is heard, as it is heard.

use std::io::{self, IsTerminal, Write};
use std::time::Duration;

use crate::event::Event;
use crate::follow::Follow;
use crate::screen::lines::Lines;
use crate::screen::{Action, Screen, Setup, State, Stop, colour_wanted};

use super::play::{Job, Source, listen, warn};
use super::speaker::Speaker;
use super::tell;

/// How long the screen shows what a key did, and what went wrong, in seconds.
const KEY_SHOWN: f64 = 2.0;
const TROUBLE_SHOWN: f64 = 12.0;

/// Time between two pictures.
const TICK: Duration = Duration::from_millis(15);

/// Plays the source through the default output, or in silence where there is
/// none, and shows what is heard as it is heard.
pub(super) fn perform(source: &mut dyn Source, job: &Job) -> anyhow::Result<()> {
    let mut follow = job.follow(source)?;
    let (speaker, silent_because) = Speaker::open(source.rate(), source.channels())?;
    let mut face = Face::new(source, job)?;
    if let Some(why) = silent_because {
        face.no_sound(why);
    }
    let done = play(source, &mut follow, speaker, &mut face);
    let seconds = face.state.now();
    let lines = face.leave();
    done?;
    writeln!(io::stdout().lock(), "{}", job.closing(&lines, seconds))?;
    warn(source);
    Ok(())
}

fn play(
    source: &mut dyn Source,
    follow: &mut Follow,
    mut speaker: Speaker,
    face: &mut Face,
) -> anyhow::Result<()> {
    let mut block = Vec::new();
    let mut over = false;
    loop {
        while !over && speaker.has_room() {
            block.clear();
            if source.read(&mut block)? == 0 {
                speaker.end()?;
                over = true;
                break;
            }
            let known = follow.push(&mut block);
            for event in known.events {
                face.state.update(event);
                face.lines_later.push(*event);
            }
            for cue in known.cues {
                face.state.cue(cue.clone());
            }
            speaker.play(&block)?;
        }
        if let Some(reason) = speaker.replace_if_lost() {
            face.no_sound(reason);
        }
        if over && speaker.drained() {
            return Ok(());
        }
        face.state.at(speaker.position());
        match face.show()? {
            Some(Action::Quit) => return Ok(()),
            Some(action) => face.act(action, follow, speaker.position()),
            None => {}
        }
    }
}

/// What the caller sees: the screen, or plain lines where there is no terminal.
struct Face {
    state: State,
    screen: Option<Screen>,
    lines: Lines,
    /// Events whose lines are not due yet, in order.
    lines_later: Vec<Event>,
    /// Troubles whose remedies are too long for the screen: told in full after it.
    told_after: Vec<String>,
    stop: Stop,
}

impl Face {
    fn new(source: &dyn Source, job: &Job) -> anyhow::Result<Self> {
        let state = State::new(Setup {
            tune: source.name(),
            length: source.seconds(),
            card: job.card.clone(),
            form: job.settings.form,
            claps: job.claps,
            flash: job.flash,
            colour: colour_wanted(),
        });
        let on_screen = io::stdout().is_terminal() && io::stdin().is_terminal();
        let (screen, stop) = if on_screen {
            (Some(Screen::enter()?), Stop::default())
        } else {
            writeln!(io::stdout().lock(), "{}", job.opening(source))?;
            (None, listen())
        };
        Ok(Face {
            state,
            screen,
            lines: Lines::new(job.card.clone()),
            lines_later: Vec::new(),
            told_after: Vec::new(),
            stop,
        })
    }

    /// Says that nothing is heard from now on, and why.
    fn no_sound(&mut self, why: String) {
        self.state.silent = true;
        let text = format!("going on in silence: {why}");
        match &self.screen {
            Some(_) => {
                self.state.say(text, TROUBLE_SHOWN);
                self.told_after.push(format!("no sound: {why}"));
            }
            None => tell(text),
        }
    }

    /// Does what a key asks, and says what it did.
    fn act(&mut self, action: Action, follow: &mut Follow, now: f64) {
        let beats = self.state.hears_beats();
        let said = match action {
            Action::One | Action::Move(_) if !beats => {
                "no beat is heard yet: there is nothing to count".to_owned()
            }
            Action::One => {
                follow.say_one(now);
                "this is one".to_owned()
            }
            Action::Move(by) => {
                follow.move_count(i32::from(by));
                let way = if by < 0 { "back" } else { "on" };
                format!("the count moved {way} a beat")
            }
            Action::Claps => {
                self.state.claps = !self.state.claps;
                follow.set_claps(self.state.claps);
                return;
            }
            Action::Flash => return self.state.flash = !self.state.flash,
            Action::Help => return self.state.help = !self.state.help,
            Action::Quit => return,
        };
        self.state.say(said, KEY_SHOWN);
    }

    /// Shows the present, and waits a moment for a key.
    fn show(&mut self) -> anyhow::Result<Option<Action>> {
        let now = self.state.now();
        let due = self.lines_later.partition_point(|e| e.time() <= now);
        for event in self.lines_later.drain(..due) {
            let line = self.lines.push(&event);
            if let (None, Some(line)) = (&self.screen, line) {
                writeln!(io::stdout().lock(), "{line}")?;
            }
        }
        match &mut self.screen {
            Some(screen) => {
                screen.draw(&self.state)?;
                Ok(screen.wait(TICK)?)
            }
            None if self.stop.asked() => Ok(Some(Action::Quit)),
            None => {
                std::thread::sleep(TICK);
                Ok(None)
            }
        }
    }

    /// Gives the terminal back and tells what did not fit on it; what is left
    /// is for plain lines.
    fn leave(self) -> Lines {
        drop(self.screen);
        for trouble in &self.told_after {
            tell(trouble);
        }
        self.lines
    }
}
