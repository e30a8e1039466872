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

/// Seconds of a beat at the card's tempo.
fn beat(card: &Card) -> f64 {
    60.0 / card.steps_per_minute().unwrap_or(USUAL_STEPS)
}

/// How long `words` take: what the voice says, else by their syllables; and
/// whether the voice said so.
fn length(words: &str, seconds: &dyn Fn(&str) -> Option<f64>) -> (f64, bool) {
    let said = seconds(words).filter(|s| s.is_finite() && *s >= 0.0);
    (
        said.unwrap_or_else(|| syllables::seconds(words)),
        said.is_some(),
    )
}

/// All full calls of a card, in the order danced.
pub(super) fn of(card: &Card, seconds: &dyn Fn(&str) -> Option<f64>) -> Vec<CallAt> {
    let beat = beat(card);
    let figures = card.figures();
    figures
        .iter()
        .enumerate()
        .map(|(index, figure)| {
            // The first call of a later time through comes while the last
            // figure is danced; the very first has the lead-in.
            let before = &figures[(index + figures.len() - 1) % figures.len()];
            let (seconds, measured) = length(&figure.call, seconds);
            CallAt {
                figure: index,
                start_beat: figure.start_beat,
                part: figure.part,
                words: figure.call.clone(),
                syllables: syllables::syllables(&figure.call),
                seconds,
                measured,
                room: f64::from(before.beats) * beat,
                near: NEAR_BEATS * beat,
            }
        })
        .collect()
}

pub(super) fn too_long(card: &Card, calls: &[CallAt], findings: &mut Vec<Finding>) {
    for call in calls.iter().filter(|c| !c.fits()) {
        let span = card.figures()[call.figure].spans[1].clone();
        findings.push(Finding {
            kind: Kind::LongCall,
            trouble: card.trouble(span, long(call)),
        });
    }
}

/// Calls of figures that are danced once: the first has the lead-in before it.
pub(super) fn once_too_long(
    card: &Card,
    seconds: &dyn Fn(&str) -> Option<f64>,
    findings: &mut Vec<Finding>,
) {
    let calls = of(card, seconds);
    let places = [(card.intro(), 0), (card.ending(), calls.len() - 1)];
    for (once, index) in places {
        let Some(figure) = &once.figure else { continue };
        let (seconds, measured) = length(&figure.call, seconds);
        let place = &calls[index];
        let call = CallAt {
            words: figure.call.clone(),
            syllables: syllables::syllables(&figure.call),
            seconds,
            measured,
            room: if index == 0 { place.near } else { place.room },
            ..place.clone()
        };
        if !call.fits() {
            findings.push(Finding {
                kind: Kind::LongCall,
                trouble: card.trouble(figure.spans[1].clone(), long(&call)),
            });
        }
    }
}

/// What to say of a call that does not fit.
fn long(call: &CallAt) -> String {
    let CallAt {
        seconds,
        words,
        syllables,
        ..
    } = call;
    if call.seconds > call.room {
        return format!(
            "the call \"{words}\" ({syllables} syllables, {seconds:.1} s) is longer than what it has before it ({:.1} s): shorten it",
            call.room
        );
    }
    format!(
        "the call \"{words}\" ({syllables} syllables, {seconds:.1} s) has to begin {:.1} beats ahead, more than {NEAR_BEATS}: shorten it to {} syllables",
        call.beats_ahead(),
        (call.near * syllables::SYLLABLES_A_SECOND).floor()
    )
}
