//! Spoken words, ready to be mixed.

use std::collections::HashMap;
use std::sync::Arc;

use super::words::normal;

/// How much faster than natural the variants are. A quarter is the most that
/// still sounds like the same speaker in no hurry.
pub const PACES: [f64; 4] = [1.0, 1.08, 1.16, 1.25];

/// Where the sound of some words comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Source {
    /// The caller's own recording.
    Own,
    /// The bank in the program.
    BuiltIn,
    /// The machine's speech engine.
    Engine,
}

/// Words spoken at one pace: mono samples, peaks within 0.7 of full scale.
#[derive(Debug, Clone)]
pub struct Clip {
    /// How many times as fast as natural.
    pub pace: f64,
    /// The sound, at the repertoire's rate.
    pub samples: Arc<[f32]>,
    /// Seconds from its first sample to where something is heard.
    pub heard_from: f64,
    /// Seconds from its first sample to where nothing is heard any more.
    pub over: f64,
}

/// Words that can be spoken, at natural pace and faster.
#[derive(Debug, Clone)]
pub struct Utterance {
    /// The words as they were asked for.
    pub words: String,
    /// Who speaks them.
    pub source: Source,
    /// How long it takes to say them at natural pace, seconds.
    pub natural: f64,
    /// One clip for each of [`PACES`], the slowest first; after a
    /// [`survey`](super::Voice::survey) the first of them alone.
    pub clips: Vec<Clip>,
}

impl Utterance {
    /// The most natural clip that is over within `room` seconds of its start;
    /// `None` if even the fastest is not.
    pub fn fitting(&self, room: f64) -> Option<&Clip> {
        self.clips.iter().find(|clip| clip.over <= room)
    }
}

/// Why some words cannot be spoken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Missing {
    /// The words as they were asked for.
    pub words: String,
    /// Why, with the remedy: one line.
    pub why: String,
}

/// All that can be said, prepared before the music.
#[derive(Debug, Clone, Default)]
pub struct Repertoire {
    pub(super) rate: u32,
    pub(super) said: HashMap<String, Utterance>,
    pub(super) missing: Vec<Missing>,
    pub(super) warnings: Vec<String>,
}

impl Repertoire {
    /// Samples a second of every clip.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// How `words` sound, however they are spelt; `None` if nobody says them.
    pub fn get(&self, words: &str) -> Option<&Utterance> {
        self.said.get(&normal(words))
    }

    /// How long `words` take at natural pace, seconds.
    pub fn seconds(&self, words: &str) -> Option<f64> {
        self.get(words).map(|said| said.natural)
    }

    /// What was asked for and cannot be spoken, in the order asked.
    pub fn missing(&self) -> &[Missing] {
        &self.missing
    }

    /// What went wrong without leaving words unspoken: a recording of the
    /// caller's that cannot be read, say. One line each, with the remedy.
    pub fn warnings(&self) -> &[String] {
        &self.warnings
    }
}
