//! What to show or say, and when: from the engine's events to cues.
//!
//! [`Seat`] keeps the place in the tune, [`Scheduler`] turns places into
//! [`Cue`]s to be flashed, [`Prompter`] into [`Call`]s to be spoken: a [`Script`]
//! holds the words and their lengths, [`Fading`] says how much of them is wanted at
//! which time through. All are pure: they take events and hand back values, and know
//! no clock.
//! [`voice`] speaks the words, made ready before the music.

mod call;
mod fading;
mod fit;
mod once;
mod prompter;
mod schedule;
mod script;
mod seat;
pub mod voice;

pub use call::{Call, Saying, Subject};
pub use fading::{Fading, Signal, Wording, over};
pub use fit::BREATH;
pub use once::danced;
pub use prompter::{Manner, Prompter};
pub use schedule::{Cue, Scheduler};
pub use script::{FAREWELL, FARTHEST, LAST_TIME, Line, Script, TWO_MORE};
pub use seat::Seat;

#[cfg(test)]
mod tests;
