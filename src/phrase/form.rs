//! The shape of a tune: how many beats, and what its parts are called.

use std::fmt;

/// Beats in a phrase.
pub const PHRASE_BEATS: u32 = 8;
/// Beats in a part.
pub const PART_BEATS: u32 = 16;

/// A form that cannot be danced to.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "{0} beats is not a form: give whole phrases of 8 beats, from 16 to 128 (usual: 64, 48, 32)"
)]
pub struct FormError(pub u32);

/// The number of beats in one time through a tune.
///
/// The usual form is 64 beats, A1 A2 B1 B2.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Form {
    beats: u32,
}

impl Default for Form {
    fn default() -> Self {
        Form { beats: 64 }
    }
}

impl Form {
    /// A form of `beats` beats; whole phrases, 16 to 128 beats.
    pub fn new(beats: u32) -> Result<Self, FormError> {
        if beats.is_multiple_of(PHRASE_BEATS) && (16..=128).contains(&beats) {
            Ok(Form { beats })
        } else {
            Err(FormError(beats))
        }
    }

    /// Beats in one time through.
    pub fn beats(self) -> u32 {
        self.beats
    }

    /// Phrases in one time through.
    pub fn phrases(self) -> u32 {
        self.beats / PHRASE_BEATS
    }

    /// The beat `by` beats after beat `beat` of a time through.
    pub fn turned(self, beat: u32, by: i64) -> u32 {
        (i64::from(beat) + by).rem_euclid(i64::from(self.beats)) as u32
    }

    /// Where beat number `beat` (0 is the tune's first) falls.
    pub fn place(self, beat: u64) -> Place {
        let form = u64::from(self.beats);
        let within = (beat % form) as u32;
        Place {
            beat: within,
            time_through: (beat / form) as u32 + 1,
        }
    }
}

/// A beat's place in the tune.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Beat within the time through, from 0.
    pub beat: u32,
    /// Which time through the tune, from 1.
    pub time_through: u32,
}

impl Place {
    /// The dancers' count, 1 to 8.
    pub fn count(self) -> u8 {
        (self.beat % PHRASE_BEATS) as u8 + 1
    }

    /// The part this beat belongs to.
    pub fn part(self) -> Part {
        Part((self.beat / PART_BEATS) as u8)
    }

    /// The phrase within the time through, from 0.
    pub fn phrase(self) -> u32 {
        self.beat / PHRASE_BEATS
    }

    /// Whether a phrase begins on this beat.
    pub fn is_one(self) -> bool {
        self.beat.is_multiple_of(PHRASE_BEATS)
    }
}

/// A part of the tune, sixteen beats: A1, A2, B1, B2, and C1 … in longer forms.
///
/// Ordered as danced; [`Part::index`] counts from 0 (A1).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Part(u8);

impl Part {
    /// The `index`-th part, 0 for A1; at most 7 (D2).
    pub fn from_index(index: u8) -> Option<Self> {
        (index < 8).then_some(Part(index))
    }

    /// Position in the tune, 0 for A1.
    pub fn index(self) -> u8 {
        self.0
    }

    /// The letter and number dancers use.
    pub fn name(self) -> &'static str {
        ["A1", "A2", "B1", "B2", "C1", "C2", "D1", "D2"][usize::from(self.0 & 7)]
    }

    /// The part called `name`, if it is one.
    pub fn from_name(name: &str) -> Option<Self> {
        (0..8)
            .map(Part)
            .find(|p| p.name().eq_ignore_ascii_case(name))
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_usual_tune_has_eight_phrases_in_four_parts() {
        let form = Form::default();
        assert_eq!(form.phrases(), 8);
        let names: Vec<_> = (0..64)
            .step_by(16)
            .map(|b| form.place(b).part().name())
            .collect();
        assert_eq!(names, ["A1", "A2", "B1", "B2"]);
        assert_eq!(form.place(64).time_through, 2);
        assert_eq!(form.place(64).beat, 0);
        assert_eq!(form.place(71).count(), 8);
        assert!(form.place(72).is_one());
    }

    #[test]
    fn odd_forms_are_refused_with_a_remedy() {
        assert!(Form::new(48).is_ok());
        let error = Form::new(50).unwrap_err();
        assert!(error.to_string().contains("usual: 64"));
        assert!(Form::new(0).is_err() && Form::new(8).is_err());
    }

    #[test]
    fn part_names_read_back() {
        for i in 0..8 {
            let part = Part::from_index(i).unwrap();
            assert_eq!(Part::from_name(part.name()), Some(part));
        }
        assert_eq!(Part::from_name("E1"), None);
    }
}
