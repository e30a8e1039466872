//! Words that a card chooses from: formations, difficulties, tunes, progressions.

use std::fmt;

/// How the dancers stand at the start. (The names are common practice.)
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Formation {
    /// Longways, minor sets of two couples, every other couple crossed over.
    DupleImproper,
    /// Longways, minor sets of two couples, nobody crossed over.
    DupleProper,
    /// Longways, minor sets of two couples, partners side by side.
    Becket,
    /// Longways, minor sets of three couples, nobody crossed over.
    TripleProper,
    /// One ring; partners change during the dance.
    CircleMixer,
    /// A ring of couples facing couples.
    SicilianCircle,
    /// Lines of four facing lines of four.
    FourFacingFour,
    /// Four couples on the sides of a square.
    Square,
    /// One longways set danced by all its couples together.
    WholeSet,
    /// Anywhere on the floor.
    Scatter,
}

/// Who can dance it after one walk through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Difficulty {
    /// A floor where most have never danced.
    Newcomers,
    /// A floor with a fair share of regulars.
    SomeExperience,
    /// A floor of regulars.
    Experienced,
}

/// The kind of tune wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum TuneKind {
    /// Two or four quick notes a beat.
    Reel,
    /// Three notes a beat.
    Jig,
    /// A steady walking tune.
    March,
    /// Like a reel, dotted.
    Hornpipe,
    /// Whatever the band likes.
    #[default]
    Any,
}

/// How far couples move on in one time through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progression {
    /// By one couple.
    Single,
    /// By two couples.
    Double,
    /// Nobody moves on.
    None,
}

/// A word that a card may use for a thing, and back.
pub(super) trait Named: Copy + 'static {
    /// What the word stands for, as in "a formation".
    const WHAT: &'static str;
    /// Every value with its word.
    const ALL: &'static [(&'static str, Self)];
}

impl Named for Formation {
    const WHAT: &'static str = "formation";
    const ALL: &'static [(&'static str, Self)] = &[
        ("duple improper", Formation::DupleImproper),
        ("duple proper", Formation::DupleProper),
        ("becket", Formation::Becket),
        ("triple proper", Formation::TripleProper),
        ("circle mixer", Formation::CircleMixer),
        ("sicilian circle", Formation::SicilianCircle),
        ("four facing four", Formation::FourFacingFour),
        ("square", Formation::Square),
        ("whole set", Formation::WholeSet),
        ("scatter", Formation::Scatter),
    ];
}

impl Named for Difficulty {
    const WHAT: &'static str = "difficulty";
    const ALL: &'static [(&'static str, Self)] = &[
        ("newcomers", Difficulty::Newcomers),
        ("some experience", Difficulty::SomeExperience),
        ("experienced", Difficulty::Experienced),
    ];
}

impl Named for TuneKind {
    const WHAT: &'static str = "tune";
    const ALL: &'static [(&'static str, Self)] = &[
        ("reel", TuneKind::Reel),
        ("jig", TuneKind::Jig),
        ("march", TuneKind::March),
        ("hornpipe", TuneKind::Hornpipe),
        ("any", TuneKind::Any),
    ];
}

impl Named for Progression {
    const WHAT: &'static str = "progression";
    const ALL: &'static [(&'static str, Self)] = &[
        ("single", Progression::Single),
        ("double", Progression::Double),
        ("none", Progression::None),
    ];
}

impl Formation {
    /// Longways sets, whose couples move on to new ones every time through.
    pub fn is_longways(self) -> bool {
        matches!(
            self,
            Formation::DupleImproper
                | Formation::DupleProper
                | Formation::Becket
                | Formation::TripleProper
        )
    }
}

macro_rules! shown_by_its_word {
    ($($kind:ty),*) => {$(
        impl fmt::Display for $kind {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                let word = Self::ALL.iter().find(|(_, value)| value == self);
                f.pad(word.map_or("", |(word, _)| *word))
            }
        }
    )*};
}
shown_by_its_word!(Formation, Difficulty, TuneKind, Progression);
