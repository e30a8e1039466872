//! Whether calls have room before their figures.

use super::super::card::Card;
use super::super::syllables;
use super::{Finding, Kind, USUAL_STEPS};
use crate::phrase::Part;

/// A call should not begin more than so many beats ahead: earlier ones are
/// forgotten (common practice).
pub const NEAR_BEATS: f64 = 4.0;

/// A call, its length, and the room it has.
#[derive(Debug, Clone, PartialEq)]
pub struct CallAt {
    /// Which figure of the card, from 0.
    pub figure: usize,
    /// The figure's first beat in the time through, from 0: the call is over by
    /// then.
    pub start_beat: u32,
    /// The part it is in.
    pub part: Part,
    /// The words.
    pub words: String,
    /// Their syllables.
    pub syllables: usize,
    /// How long they take to say, in seconds.
    pub seconds: f64,
    /// Whether the voice said so, or syllables were counted.
    pub measured: bool,
    /// How long the figure before lasts, in seconds.
    pub room: f64,
    /// How long [`NEAR_BEATS`] last, in seconds.
    pub near: f64,
}

impl CallAt {
    /// Beats before the figure at which the call has to begin.
    pub fn beats_ahead(&self) -> f64 {
        self.seconds / self.near * NEAR_BEATS
    }

    /// Whether it fits where calls should be.
    pub fn fits(&self) -> bool {
        self.seconds <= self.room.min(self.near)
    }
}

/// All full calls of a card, in the order danced.
pub(super) fn of(card: &Card, seconds: &dyn Fn(&str) -> Option<f64>) -> Vec<CallAt> {
    let steps = card.steps_per_minute().unwrap_or(USUAL_STEPS);
    let beat = 60.0 / steps;
    let figures = card.figures();
    figures
        .iter()
        .enumerate()
        .map(|(index, figure)| {
            // The first call of a later time through comes while the last
            // figure is danced; the very first has the lead-in.
            let before = &figures[(index + figures.len() - 1) % figures.len()];
            let said = seconds(&figure.call).filter(|s| s.is_finite() && *s >= 0.0);
            CallAt {
                figure: index,
                start_beat: figure.start_beat,
                part: figure.part,
                words: figure.call.clone(),
                syllables: syllables::syllables(&figure.call),
                seconds: said.unwrap_or_else(|| syllables::seconds(&figure.call)),
                measured: said.is_some(),
                room: f64::from(before.beats) * beat,
                near: NEAR_BEATS * beat,
            }
        })
        .collect()
}

pub(super) fn too_long(card: &Card, calls: &[CallAt], findings: &mut Vec<Finding>) {
    for call in calls.iter().filter(|c| !c.fits()) {
        let CallAt { seconds, words, .. } = call;
        let syllables = call.syllables;
        let message = if call.seconds > call.room {
            format!(
                "the call \"{words}\" ({syllables} syllables, {seconds:.1} s) is longer than the figure before it ({:.1} s): shorten it",
                call.room
            )
        } else {
            format!(
                "the call \"{words}\" ({syllables} syllables, {seconds:.1} s) has to begin {:.1} beats ahead, more than {NEAR_BEATS}: shorten it to {} syllables",
                call.beats_ahead(),
                (call.near * syllables::SYLLABLES_A_SECOND).floor()
            )
        };
        let span = card.figures()[call.figure].spans[1].clone();
        let trouble = card.trouble(span, message);
        findings.push(Finding {
            kind: Kind::LongCall,
            trouble,
        });
    }
}
