//! What the engine says: beats, phrases and lead-ins, each ahead of its time.

use crate::phrase::{Form, Part};

/// How far ahead of its time every beat and phrase is announced, in seconds.
pub const NOTICE: f64 = 0.060;

/// Something the engine has decided. A decision is never taken back.
///
/// All times are seconds of sound since the engine's first sample. `announced`
/// is how much sound the engine had heard when it decided, so
/// `time - announced` is the notice given: at least [`NOTICE`] for beats and
/// phrases.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Event {
    /// A band leads in: told at the fourth of the four beats, or, where that was not
    /// clear, with the tune's first.
    LeadIn(LeadIn),
    /// A beat is about to fall.
    Beat(Beat),
    /// A phrase is about to begin, and the program is sure enough to clap.
    Phrase(Phrase),
    /// The tune seems to have another form than was told, or no longer does.
    Form(FormHeard),
}

/// Four lead-in beats, and the tune's first beat after them.
///
/// A beat ahead `one` is a forecast: the tune's [`Beat`] and [`Phrase`] tell whether and
/// when it came.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeadIn {
    /// The first of the four beats, seconds.
    pub time: f64,
    /// Seconds of sound heard when this was decided.
    pub announced: f64,
    /// Where the tune's first beat is expected, seconds.
    pub one: f64,
}

/// One step of the dance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beat {
    /// When the beat falls, seconds.
    pub time: f64,
    /// Seconds of sound heard when this was decided.
    pub announced: f64,
    /// The dancers' count, 1 to 8, or `None` while the phrase is unknown.
    pub count: Option<u8>,
    /// Tempo, beats per minute.
    pub steps_per_minute: f64,
    /// How sure the engine is of this beat, 0 to 1.
    pub sure: f32,
}

/// The first beat of eight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phrase {
    /// When its first beat falls, seconds.
    pub time: f64,
    /// Seconds of sound heard when this was decided.
    pub announced: f64,
    /// The part it belongs to.
    pub part: Part,
    /// The phrase within the time through, from 0 (the first of A1).
    pub phrase: u32,
    /// Which time through, from 1.
    pub time_through: u32,
    /// How sure the engine is of this phrase, 0 to 1.
    pub sure: f32,
}

/// Another form than was told, heard in how the tune repeats itself. Phrases go on
/// all the same; the parts that they name are those of the form told, and doubtful.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FormHeard {
    /// The beat at which it became clear, seconds.
    pub time: f64,
    /// Seconds of sound heard when this was decided.
    pub announced: f64,
    /// The form that the tune seems to have; `None` when the one told fits again.
    pub other: Option<Form>,
}

impl Event {
    /// When the thing happens, seconds.
    pub fn time(&self) -> f64 {
        match self {
            Event::LeadIn(e) => e.time,
            Event::Beat(e) => e.time,
            Event::Phrase(e) => e.time,
            Event::Form(e) => e.time,
        }
    }

    /// Seconds of sound heard when it was decided.
    pub fn announced(&self) -> f64 {
        match self {
            Event::LeadIn(e) => e.announced,
            Event::Beat(e) => e.announced,
            Event::Phrase(e) => e.announced,
            Event::Form(e) => e.announced,
        }
    }

    /// The same event with all its times `by` seconds later.
    pub fn later(self, by: f64) -> Self {
        match self {
            Event::LeadIn(e) => Event::LeadIn(LeadIn {
                time: e.time + by,
                announced: e.announced + by,
                one: e.one + by,
            }),
            Event::Beat(e) => Event::Beat(Beat {
                time: e.time + by,
                announced: e.announced + by,
                ..e
            }),
            Event::Phrase(e) => Event::Phrase(Phrase {
                time: e.time + by,
                announced: e.announced + by,
                ..e
            }),
            Event::Form(e) => Event::Form(FormHeard {
                time: e.time + by,
                announced: e.announced + by,
                ..e
            }),
        }
    }
}
