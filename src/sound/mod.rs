//! Sound: the house band.

pub mod band;
