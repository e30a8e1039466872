//! A call: words that are spoken at a moment.

use std::sync::Arc;

use super::fading::Signal;

/// What a call is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// The figure that starts on a beat of the tune, counted from its first.
    Figure {
        /// That beat.
        number: i64,
        /// Whether it is the short call.
        short: bool,
    },
    /// What the band is told of the end, when so many times through are wanted.
    Signal(Signal, u32),
    /// The introduction before the music.
    Introduction,
    /// Thanks after it.
    Farewell,
}

/// Words to be spoken. All times are seconds of sound, as in the events.
#[derive(Debug, Clone, PartialEq)]
pub struct Call {
    /// Its number, by which it is moved, taken back or stopped.
    pub id: u64,
    /// What it is for.
    pub subject: Subject,
    /// The words.
    pub words: Arc<str>,
    /// When the first sound is heard.
    pub start: f64,
    /// How fast it is spoken, one of [`PACES`](super::voice::PACES).
    pub pace: f64,
    /// How long that takes.
    pub seconds: f64,
    /// When it has to be over: the figure's first beat, as foreseen.
    pub over_by: f64,
}

impl Call {
    /// When the last sound is over.
    pub fn end(&self) -> f64 {
        self.start + self.seconds
    }
}

/// What is to be said, or no more.
#[derive(Debug, Clone, PartialEq)]
pub enum Saying {
    /// Say this, instead of what was ordered under the same number before.
    Say(Call),
    /// Do not say what was ordered; it has not begun.
    Withdraw {
        /// Its number.
        id: u64,
    },
    /// What is being said is to be silent from `by` on, whatever was ordered before; if
    /// that is past, at once.
    Stop {
        /// Its number.
        id: u64,
        /// Seconds of sound.
        by: f64,
    },
}
