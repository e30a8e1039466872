//! The caller's own voice: prompts heard, matched to the dance, and scored.
//!
//! [`Ear`] takes what the microphone hears, and what was played meanwhile if that is
//! known, and gives [`Prompt`]s: when each began and ended. Like the engine it is a pure
//! state machine, without clock, thread or device.

mod echo;
mod ear;
mod frames;
mod prompt;

pub use ear::{Ear, EarError, Method};
pub use echo::Removal;
pub use prompt::Prompt;
