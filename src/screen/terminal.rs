//! Taking the terminal over, and giving it back whatever happens.

use std::io;
use std::sync::Arc;
use std::time::{Duration, Instant};

use crossterm::event::{self, Event, KeyEvent};
use ratatui::{DefaultTerminal, Frame};

use super::flash::Gate;
use super::keys::{Action, action};
use super::state::State;
use super::stop::Stop;
use super::view::view;

/// The terminal did not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum ScreenError {
    /// It could not be taken over.
    #[error(
        "cannot use this terminal as a screen: {0}; with output to a pipe or file there are plain lines instead"
    )]
    Enter(#[source] io::Error),
    /// It went away while it was in use.
    #[error("the terminal stopped answering: {0}")]
    Lost(#[source] io::Error),
}

/// The terminal while it is the program's own.
///
/// It is given back when this is dropped, when the program panics, and before
/// it ends on a signal: in raw mode Ctrl-C comes as a key, and TERM, HUP and
/// INT from elsewhere come out of [`Screen::wait`] as [`Action::Quit`].
#[derive(Debug)]
pub struct Screen {
    terminal: DefaultTerminal,
    /// Nothing reaches the terminal but through it.
    gate: Box<Gate>,
    begun: Instant,
    stop: Stop,
    /// Held while the terminal is the program's own.
    _in_use: Arc<()>,
}

impl Screen {
    /// Takes the terminal over.
    ///
    /// # Errors
    /// If standard output is no terminal, or cannot be switched.
    pub fn enter() -> Result<Self, ScreenError> {
        let stop = Stop::default();
        stop.listen().map_err(ScreenError::Enter)?;
        // This also puts the terminal right ahead of a panic's message.
        let terminal = ratatui::try_init().map_err(|error| {
            let _ = ratatui::try_restore();
            ScreenError::Enter(error)
        })?;
        let in_use = Arc::new(());
        Stop::insist(Arc::downgrade(&in_use), || {
            let _ = ratatui::try_restore();
        })
        .map_err(|error| {
            let _ = ratatui::try_restore();
            ScreenError::Enter(error)
        })?;
        Ok(Screen {
            terminal,
            gate: Box::default(),
            begun: Instant::now(),
            stop,
            _in_use: in_use,
        })
    }

    /// Draws `state`.
    ///
    /// # Errors
    /// If the terminal went away.
    pub fn draw(&mut self, state: &State) -> Result<(), ScreenError> {
        self.draw_with(|frame| view(frame, state))
    }

    /// Draws whatever `view` draws, a moment later where large places would flash too
    /// often.
    ///
    /// # Errors
    /// If the terminal went away.
    pub fn draw_with(&mut self, view: impl FnOnce(&mut Frame)) -> Result<(), ScreenError> {
        let (gate, now) = (&mut self.gate, self.begun.elapsed().as_secs_f64());
        let gated = |frame: &mut Frame| {
            view(frame);
            gate.pass(now, frame.buffer_mut());
        };
        self.terminal
            .draw(gated)
            .map(|_| ())
            .map_err(ScreenError::Lost)
    }

    /// Waits at most `time` for the next thing that the caller wants.
    ///
    /// # Errors
    /// If the terminal went away.
    pub fn wait(&mut self, time: Duration) -> Result<Option<Action>, ScreenError> {
        self.wait_for(time, action, Action::Quit)
    }

    /// Waits at most `time` for the next key and hands back its `meaning`; `quit` if
    /// somebody asks the program to end.
    ///
    /// # Errors
    /// If the terminal went away.
    pub fn wait_for<T>(
        &mut self,
        time: Duration,
        meaning: impl Fn(KeyEvent) -> Option<T>,
        quit: T,
    ) -> Result<Option<T>, ScreenError> {
        let read = || -> io::Result<Option<T>> {
            if !event::poll(time)? {
                return Ok(None);
            }
            Ok(match event::read()? {
                Event::Key(key) => meaning(key),
                _ => None,
            })
        };
        let found = read();
        if self.stop.asked() {
            return Ok(Some(quit));
        }
        found.map_err(ScreenError::Lost)
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        // A panic has put it right before its message; a second time would put the
        // cursor back above that.
        if !std::thread::panicking() {
            let _ = self.terminal.show_cursor();
            let _ = ratatui::try_restore();
        }
    }
}

/// Whether colours are wanted: not if `NO_COLOR` is set to anything
/// (<https://no-color.org>).
pub fn colour_wanted() -> bool {
    std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}
