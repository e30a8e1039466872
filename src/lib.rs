//! eightclap hears a dance band, claps on the first beat of every eight, and
//! cues the next figure one beat ahead.

pub mod caller;
pub mod cli;
pub mod cue;
pub mod dance;
pub mod engine;
pub mod event;
pub mod follow;
pub mod hear;
pub mod phrase;
pub mod report;
pub mod screen;
pub mod sound;
pub mod steps;
