//! The caller's own voice: prompts heard, matched to the dance, and scored.
//!
//! [`Ear`] takes what the microphone hears, and what was played meanwhile if that is
//! known, and gives [`Prompt`]s: when each began and ended. Like the engine it is a pure
//! state machine, without clock, thread or device.

mod abreast;
mod advice;
mod align;
mod drift;
mod ear;
mod echo;
mod frames;
mod grid;
mod pace;
mod prompt;
mod score;
pub mod session;
pub mod studio;

pub use abreast::{Abreast, Beside};
pub use advice::{Said, Sum, advice, fading, planned};
pub use align::align;
pub use ear::{Ear, EarError, Method};
pub use echo::Removal;
pub use grid::Grid;
pub use prompt::Prompt;
pub use score::{Limits, Score, Scored, Spoken, Verdict, score};
#[cfg(test)]
mod tests;
