//! What the caller sees and does: the screen, or plain lines.

use std::io::{self, IsTerminal, Write};
use std::sync::Arc;
use std::time::{Duration, Instant};

use crate::cue::{Cue, Fading};
use crate::dance::Card;
use crate::event::Event;
use crate::follow::Calling;
use crate::hear::beats::Expectations;
use crate::screen::lines::Lines;
use crate::screen::{Action, Screen, Setup, State, Stop};
use crate::sound::quiet::Quiet;

use super::play::listen;
use super::tell;

/// How long the screen shows what a key did, and what went wrong, in seconds.
const KEY_SHOWN: f64 = 2.0;
const TROUBLE_SHOWN: f64 = 12.0;
const CAUTION_SHOWN: f64 = 6.0;

/// What everybody who is about to hear something is told first.
pub(super) const EARS: &str =
    "start quietly: long loud listening harms ears, above all with headphones";
/// The same on a screen that flashes.
pub(super) const EARS_AND_EYES: &str =
    "start quietly: loud listening harms ears; it flashes: f turns that off";

/// What the screen says while nothing can be played yet.
const MAKING_READY: &str = "making the calls ready";

/// Time between two pictures.
const TICK: Duration = Duration::from_millis(15);

/// Whoever counts, and takes the caller's word for it.
pub(super) trait Counter {
    /// The beat nearest to `time`, seconds of sound, is a "one".
    fn say_one(&mut self, time: f64);
    /// Moves the count by so many beats.
    fn move_count(&mut self, beats: i32);
    /// Turns claps on or off.
    fn set_claps(&mut self, on: bool);
    /// Turns ticks on every beat on or off.
    fn set_ticks(&mut self, on: bool);
    /// Turns spoken calls on or off.
    fn set_voice(&mut self, on: bool);
    /// The dance is to be so many times through; `None` if nobody knows.
    fn set_times(&mut self, times: Option<u32>);
    /// Speaks the introductions, if the band has not begun.
    fn introduce(&mut self);
}

/// What the caller sees: the screen, or plain lines where there is no terminal
/// or they are asked for.
pub(super) struct Face {
    state: State,
    screen: Option<(Screen, Quiet)>,
    lines: Lines,
    /// Events whose lines are not due yet, in order.
    lines_later: Vec<Event>,
    stop: Stop,
    /// Whether ticks are wanted.
    ticks: bool,
    /// Times through as planned before.
    planned: Option<u32>,
    /// When it was first seen.
    since: Instant,
}

impl Face {
    /// Takes the terminal over, or prints the `opening` line.
    pub(super) fn new(
        setup: Setup,
        plain: bool,
        opening: String,
        ticks: bool,
    ) -> anyhow::Result<Self> {
        let mut lines = Lines::new(setup.card.clone());
        let planned = setup.times;
        lines.set_times(planned);
        let mut state = State::new(setup);
        let caution = if state.flash { EARS_AND_EYES } else { EARS };
        state.say(caution.to_owned(), CAUTION_SHOWN);
        let on_screen = !plain && io::stdout().is_terminal() && io::stdin().is_terminal();
        let (screen, stop) = if on_screen {
            (Some((Screen::enter()?, Quiet::display())), Stop::default())
        } else {
            writeln!(io::stdout().lock(), "{opening}\n{EARS}")?;
            (None, listen())
        };
        Ok(Face {
            state,
            screen,
            lines,
            lines_later: Vec::new(),
            stop,
            ticks,
            planned,
            since: Instant::now(),
        })
    }

    /// Takes an event, to be shown at its time.
    pub(super) fn event(&mut self, event: &Event) {
        self.state.update(event);
        self.lines_later.push(*event);
    }

    /// Takes a cue, to be shown at its time.
    pub(super) fn cue(&mut self, cue: Cue) {
        self.state.cue(cue);
    }

    /// Seconds of sound shown.
    pub(super) fn now(&self) -> f64 {
        self.state.now()
    }

    /// What is shown.
    pub(super) fn state(&mut self) -> &mut State {
        &mut self.state
    }

    /// Another dance comes up, or something without a card, called `tune`; so many
    /// times through, if that is known.
    pub(super) fn dance(&mut self, card: Option<Arc<Card>>, tune: String, times: Option<u32>) {
        self.planned = times;
        self.state.times = times;
        self.lines.dance(card.clone());
        self.lines.set_times(times);
        self.state.dance(card, tune);
    }

    /// Whether there is a screen; else there are plain lines.
    pub(super) fn on_screen(&self) -> bool {
        self.screen.is_some()
    }

    /// Says that nothing is heard from now on, and why.
    pub(super) fn no_sound(&mut self, why: String) {
        self.state.silent = true;
        self.trouble("going on in silence", &why);
    }

    /// Says what went wrong, and `why`, with the remedy.
    pub(super) fn trouble(&mut self, what: &str, why: &str) {
        let text = format!("{what}: {why}");
        // Its remedy may be too long for a screen: then it is told in full after it.
        tell(&text);
        self.state.say(text, TROUBLE_SHOWN);
    }

    /// Says on the screen, if nothing else is said there, that the calls are made ready.
    pub(super) fn making_ready(&mut self) {
        if self.state.message.is_none() {
            self.state.say(MAKING_READY.to_owned(), KEY_SHOWN);
        }
    }

    /// Brings a voice that has just become ready to what was asked for meanwhile.
    pub(super) fn put_right(&mut self, calling: &mut Calling) {
        self.state.message.take_if(|said| said == MAKING_READY);
        calling.on = self.state.voice == Some(true) && !self.state.held;
        calling.manner.fading.times = self.state.times;
    }

    /// Says something that is no trouble.
    pub(super) fn note(&mut self, text: String) -> io::Result<()> {
        match &self.screen {
            Some(_) => self.state.say(text, TROUBLE_SHOWN),
            None => writeln!(io::stdout().lock(), "{text}")?,
        }
        Ok(())
    }

    /// Does what a key asks, and says what it did.
    pub(super) fn act(&mut self, action: Action, counter: &mut dyn Counter) {
        let beats = self.state.hears_beats();
        let said = match action {
            Action::One | Action::Move(_) | Action::Twice | Action::Half if !beats => {
                "no beat is heard yet: there is nothing to count".to_owned()
            }
            Action::One => {
                counter.say_one(self.state.now());
                "this is one".to_owned()
            }
            Action::Move(by) => {
                counter.move_count(i32::from(by));
                let way = if by < 0 { "back" } else { "on" };
                format!("the count moved {way} a beat")
            }
            Action::Twice => self.other_beat("twice", 2.0),
            Action::Half => self.other_beat("half", 0.5),
            Action::Claps => {
                self.state.claps = !self.state.claps;
                counter.set_claps(self.state.claps && !self.state.held);
                match (self.state.claps, self.state.held) {
                    (false, _) => "claps off".to_owned(),
                    (true, false) => "claps on".to_owned(),
                    (true, true) => "claps on, but held: h goes on".to_owned(),
                }
            }
            Action::Ticks => {
                self.ticks = !self.ticks;
                counter.set_ticks(self.ticks && !self.state.held);
                match self.ticks {
                    true => "a soft tick on every beat".to_owned(),
                    false => "no ticks".to_owned(),
                }
            }
            Action::Voice => match self.state.voice {
                Some(on) => {
                    self.state.voice = Some(!on);
                    counter.set_voice(!on && !self.state.held);
                    match (on, self.state.held) {
                        (true, _) => "the voice is off: calls are flashed".to_owned(),
                        (false, false) => "the voice calls".to_owned(),
                        (false, true) => "the voice calls, but held: h goes on".to_owned(),
                    }
                }
                None if self.state.card().is_none() => {
                    "nothing to call: start with --card and a dance card".to_owned()
                }
                None => "started with --no-voice: calls are flashed".to_owned(),
            },
            Action::Introduce => match self.state.voice {
                Some(true) if !beats => {
                    counter.introduce();
                    "the introduction, until the band begins".to_owned()
                }
                Some(true) => "the band plays: no introduction".to_owned(),
                _ => "the voice is off: no introduction".to_owned(),
            },
            Action::Last => self.last(counter),
            Action::Hold => {
                self.state.held = !self.state.held;
                counter.set_claps(self.state.claps && !self.state.held);
                counter.set_ticks(self.ticks && !self.state.held);
                counter.set_voice(self.state.voice == Some(true) && !self.state.held);
                match self.state.held {
                    true => "held: silent until h is pressed again".to_owned(),
                    false => "going on".to_owned(),
                }
            }
            Action::Flash => {
                self.state.flash = !self.state.flash;
                match self.state.flash {
                    true => "flashing on".to_owned(),
                    false => "flashing off".to_owned(),
                }
            }
            Action::Next | Action::Back if self.state.evening.is_empty() => {
                "there is no programme: eightclap programme run".to_owned()
            }
            // Whoever leads the evening does that.
            Action::Next | Action::Back => return,
            Action::Help => return self.state.help = !self.state.help,
            Action::Quit => return,
        };
        self.state.say(said, KEY_SHOWN);
    }

    /// The key for the end of the dance: says what it asks for now.
    fn last(&mut self, counter: &mut dyn Counter) -> String {
        let Some(place) = self.state.place() else {
            return "no phrase is known yet: there is no last time".to_owned();
        };
        let now = place.time_through;
        let fading = Fading {
            times: self.state.times,
            ..Fading::default()
        };
        let times = fading.pressed(now, self.planned);
        self.state.times = times;
        self.lines.set_times(times);
        counter.set_times(times);
        match times.map(|times| times - now.min(times)) {
            Some(1) => "the next time is the last (l again: two more)".to_owned(),
            Some(2) => "two more times (l again: no end)".to_owned(),
            Some(left) => format!("{left} more times, as planned"),
            None => "no end is set".to_owned(),
        }
    }

    /// Why the beat stays when somebody takes it to be `times` as fast: no two tempi
    /// that are counted lie an octave apart.
    fn other_beat(&self, words: &str, times: f64) -> String {
        let range = Expectations::default();
        let other = self.state.steps_per_minute().unwrap_or(range.usual) * times;
        format!(
            "{words} as fast would be {other:.0}: only {:.0} to {:.0} are counted",
            range.slowest, range.fastest
        )
    }

    /// Shows what is at `now`, seconds of sound, and waits a moment for a key.
    pub(super) fn show(&mut self, now: f64) -> anyhow::Result<Option<Action>> {
        self.state
            .at_moment(now, self.since.elapsed().as_secs_f64());
        let due = self.lines_later.partition_point(|e| e.time() <= now);
        for event in self.lines_later.drain(..due) {
            let line = self.lines.push(&event);
            if let (None, Some(line)) = (&self.screen, line) {
                writeln!(io::stdout().lock(), "{line}")?;
            }
        }
        match &mut self.screen {
            Some((screen, _)) => {
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

    /// Gives the terminal back; what is left is for plain lines.
    pub(super) fn leave(self) -> Lines {
        self.lines
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_tempi_that_are_counted_lie_an_octave_apart() {
        // Else the keys for twice and half as fast would have to change the count.
        let range = Expectations::default();
        assert!(range.fastest < 2.0 * range.slowest);
    }
}
