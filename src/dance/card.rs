//! A dance card, read and ready to be asked what is danced on a beat.

use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use super::once::{Ends, Once};
use super::parse;
use super::roles::Roles;
use super::source::{CardError, Source, Trouble};
use super::words::{Difficulty, Formation, Progression, TuneKind};
use crate::phrase::{Form, Part};

/// A figure at its place in the dance.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FigureAt {
    /// First beat, counted within the time through from 0.
    pub start_beat: u32,
    /// Length in beats, 2 to 32.
    pub beats: u32,
    /// The part under which the card lists it.
    pub part: Part,
    /// What the figure is called.
    pub name: String,
    /// The words spoken ahead of it.
    pub call: String,
    /// Fewer words, for when the hall knows the dance.
    pub short: Option<String>,
    /// What to say while teaching it.
    pub note: Option<String>,
    /// The card says that it crosses the start of a phrase on purpose.
    pub crosses: bool,
    /// Where the card says that it ends.
    pub ends: Option<Ends>,
    /// Bytes of its name and of its call in the card.
    pub(super) spans: [Range<usize>; 2],
    /// The card's line that holds its name, from 1.
    pub line: usize,
}

impl FigureAt {
    /// The dancers' count on its first beat, 1 to 8.
    pub fn count(&self) -> u8 {
        (self.start_beat % crate::phrase::PHRASE_BEATS) as u8 + 1
    }
}

/// A dance: its form, and a figure for every beat of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Card {
    pub(super) title: String,
    pub(super) author: Option<String>,
    pub(super) formation: Formation,
    pub(super) difficulty: Option<Difficulty>,
    pub(super) tune: TuneKind,
    pub(super) steps_per_minute: Option<f64>,
    pub(super) form: Form,
    pub(super) progression: Option<Progression>,
    pub(super) roles: Roles,
    pub(super) notes: Vec<String>,
    pub(super) intro: Once,
    pub(super) ending: Once,
    /// Never empty; they follow on from beat 0 to the end of the form.
    pub(super) figures: Vec<FigureAt>,
    pub(super) warnings: Vec<Trouble>,
    /// Bytes of its title.
    pub(super) title_span: Range<usize>,
    /// The card as it was written, so that advice can point into it.
    pub(super) name: Arc<str>,
    pub(super) text: Arc<str>,
}

impl Card {
    /// Reads a card from a file, or the bundled dance of that name.
    ///
    /// # Errors
    /// If the file cannot be read, is no text, or is no card that can be
    /// danced; the error says where and what is expected.
    pub fn load(path: impl AsRef<Path>) -> Result<Self, CardError> {
        let path = path.as_ref();
        let text = super::file::text(path, "dance card", super::bundled())?;
        Self::parse(&text, &path.display().to_string())
    }

    /// Reads a card from `text`; `name` is what errors call it.
    ///
    /// # Errors
    /// If the text is no TOML, or no card that can be danced.
    pub fn parse(text: &str, name: &str) -> Result<Self, CardError> {
        parse::card(text, name)
    }

    /// The card as it was written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// What the dance is called.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Who made it.
    pub fn author(&self) -> Option<&str> {
        self.author.as_deref()
    }

    /// How the dancers stand.
    pub fn formation(&self) -> Formation {
        self.formation
    }

    /// Who can dance it, if the card says.
    pub fn difficulty(&self) -> Option<Difficulty> {
        self.difficulty
    }

    /// The kind of tune it wants.
    pub fn tune(&self) -> TuneKind {
        self.tune
    }

    /// The tempo it wants, in beats per minute.
    pub fn steps_per_minute(&self) -> Option<f64> {
        self.steps_per_minute
    }

    /// How long one time through is.
    pub fn form(&self) -> Form {
        self.form
    }

    /// How far couples move on: what the card says, else by one couple in
    /// longways sets and not at all elsewhere.
    pub fn progression(&self) -> Progression {
        let usual = match self.formation.is_longways() {
            true => Progression::Single,
            false => Progression::None,
        };
        self.progression.unwrap_or(usual)
    }

    /// The words that this card uses for the two roles.
    pub fn roles(&self) -> &Roles {
        &self.roles
    }

    /// What to know of the dance as a whole, line by line.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// What is said before the lead-in, and danced the first time only.
    pub fn intro(&self) -> &Once {
        &self.intro
    }

    /// What is danced the last time only, and said after the music.
    pub fn ending(&self) -> &Once {
        &self.ending
    }

    /// The same card in other words for the two roles, wherever it names them
    /// but in its title. Places that advice points at stay those of the card as
    /// it was written.
    pub fn with_roles(&self, roles: &Roles) -> Card {
        let word = |text: &str| self.roles.translate(text, roles);
        let figures = self.figures.iter().map(|figure| FigureAt {
            name: word(&figure.name),
            call: word(&figure.call),
            short: figure.short.as_deref().map(word),
            note: figure.note.as_deref().map(word),
            ..figure.clone()
        });
        Card {
            figures: figures.collect(),
            notes: self.notes.iter().map(|line| word(line)).collect(),
            intro: self.intro.map(word),
            ending: self.ending.map(word),
            roles: roles.clone(),
            ..self.clone()
        }
    }

    /// Something about the bytes `span` of the card as it was written.
    pub(super) fn trouble(&self, span: Range<usize>, message: impl Into<String>) -> Trouble {
        let (name, text) = (&self.name, &self.text);
        Source { name, text }.trouble(span, message)
    }

    /// The figures in the order danced; together they fill the form.
    pub fn figures(&self) -> &[FigureAt] {
        &self.figures
    }

    /// What can be danced but looks like a slip of the pen.
    pub fn warnings(&self) -> &[Trouble] {
        &self.warnings
    }

    /// The figure danced on `beat` (from 0; later times through wrap round).
    pub fn figure_at(&self, beat: u32) -> &FigureAt {
        &self.figures[self.index_at(beat)]
    }

    /// The figure that follows the one danced on `beat`; after the last comes
    /// the first again.
    pub fn next_after(&self, beat: u32) -> &FigureAt {
        &self.figures[(self.index_at(beat) + 1) % self.figures.len()]
    }

    /// The figure whose first beat is `beat` (wrapping), if one starts there.
    pub fn starting_at(&self, beat: u32) -> Option<&FigureAt> {
        let figure = self.figure_at(beat);
        (figure.start_beat == beat % self.form.beats()).then_some(figure)
    }

    fn index_at(&self, beat: u32) -> usize {
        let beat = beat % self.form.beats();
        self.figures
            .partition_point(|figure| figure.start_beat <= beat)
            .saturating_sub(1)
    }
}
