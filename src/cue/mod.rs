//! What to show or say, and when: from the engine's events to cues.
//!
//! [`Seat`] keeps the place in the tune, [`Scheduler`] turns places into
//! [`Cue`]s. Both are pure: they take events and hand back values, and know no
//! clock. [`voice`] speaks the words of calls, made ready before the music.

mod schedule;
mod seat;
pub mod voice;

pub use schedule::{Cue, Scheduler};
pub use seat::Seat;

#[cfg(test)]
mod tests;
