//! Where the beats of `tempo` come from when there is no recording.

use std::io::{self, BufRead};
use std::time::Instant;

use anyhow::Context;
use crossbeam_channel::{Receiver, TryRecvError};

use crate::steps::{By, Step};

/// Where beats come from while time goes by.
pub(super) trait Beats {
    /// Appends the beats that have come since the last call, without waiting;
    /// `false` when there will be no more.
    fn come(&mut self, steps: &mut Vec<Step>) -> anyhow::Result<bool>;

    /// Appends the beats that were held back: no more are wanted.
    fn end(&mut self, _steps: &mut Vec<Step>) {}

    /// A key was pressed for a beat, just now.
    fn press(&mut self) {}

    /// What has happened to them since it was asked last.
    fn news(&mut self) -> Vec<News> {
        Vec::new()
    }

    /// How loud it is, in words, if they are heard.
    fn level(&mut self) -> Option<String> {
        None
    }

    /// Seconds of the beats' own time by now; `None` if a beat falls when it comes.
    fn now(&self) -> Option<f64> {
        None
    }
}

/// What happens to a source of beats.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum News {
    /// Where they come from.
    Good(String),
    /// Why there are none for now, with the remedy.
    Bad(String),
}

/// Beats tapped on a key of the screen.
#[derive(Debug, Default)]
pub(super) struct Keys {
    first: Option<Instant>,
    tapped: Vec<f64>,
}

impl Beats for Keys {
    fn come(&mut self, steps: &mut Vec<Step>) -> anyhow::Result<bool> {
        steps.extend(self.tapped.drain(..).map(tapped));
        Ok(true)
    }

    fn press(&mut self) {
        let now = Instant::now();
        let first = *self.first.get_or_insert(now);
        self.tapped.push((now - first).as_secs_f64());
    }
}

fn tapped(time: f64) -> Step {
    Step {
        time,
        by: By::Tapping,
        anew: false,
    }
}

/// Beats as lines of standard input: each counts at the moment it comes.
#[derive(Debug)]
pub(super) struct InputLines {
    lines: Receiver<io::Result<Instant>>,
    first: Option<Instant>,
}

impl InputLines {
    pub(super) fn open() -> Self {
        let (send, lines) = crossbeam_channel::unbounded();
        // Reading blocks, and cannot be stopped: the thread ends with the program.
        std::thread::spawn(move || {
            for line in io::stdin().lock().split(b'\n') {
                if send.send(line.map(|_| Instant::now())).is_err() {
                    return;
                }
            }
        });
        InputLines { lines, first: None }
    }
}

impl Beats for InputLines {
    fn come(&mut self, steps: &mut Vec<Step>) -> anyhow::Result<bool> {
        loop {
            match self.lines.try_recv() {
                Ok(line) => {
                    let at = line.context(
                        "the taps on standard input cannot be read; pipe lines of text to it",
                    )?;
                    let first = *self.first.get_or_insert(at);
                    steps.push(tapped((at - first).as_secs_f64()));
                }
                Err(TryRecvError::Empty) => return Ok(true),
                Err(TryRecvError::Disconnected) => return Ok(false),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn keys_count_from_the_first_press() {
        let (mut keys, mut steps) = (Keys::default(), Vec::new());
        keys.press();
        std::thread::sleep(Duration::from_millis(30));
        keys.press();
        assert!(keys.come(&mut steps).unwrap());
        assert_eq!((steps.len(), steps[0].time), (2, 0.0));
        assert!(steps[1].time >= 0.03 && steps[1].by == By::Tapping);
        assert!(keys.come(&mut steps).unwrap());
        assert_eq!(steps.len(), 2);
    }
}
