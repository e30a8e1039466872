//! eightclap hears a dance band, claps on the first beat of every eight, and
//! cues the next figure one beat ahead.

pub mod event;
pub mod phrase;
pub mod sound;
