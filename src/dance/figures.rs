//! The traditional figures: what each is, how long, who dances it, what may
//! hurt, and how a card's free words for it are understood.
//!
//! The list is `figures/traditional.toml`: common practice, in our own words.

mod phrase;

use std::sync::LazyLock;

use serde::Deserialize;

pub use phrase::{Facing, Reading, Way, Who};
pub(super) use phrase::{like_word, strange_role};

use super::read::nearest;
use super::roles::Roles;

/// How a figure moves dancers, where its name alone says so. What each does to
/// positions stands in [`super::positions`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Movement {
    /// Nobody changes place.
    Stay,
    /// Nobody changes place; all face into the ring.
    RingStay,
    /// Nobody changes place; all face across.
    LinesStay,
    /// The ring turns clockwise seen from above, by so many places.
    Clockwise,
    /// The ring turns against the clock, by so many places.
    Anticlockwise,
    /// One place to the right round the ring, each alone.
    SpinRight,
    /// One place to the left round the ring, each alone.
    SpinLeft,
    /// Two dancers go round each other, by so many quarter turns.
    TurnPair,
    /// Two dancers change places and face each other.
    SwapPair,
    /// Two dancers side by side change places.
    SwapSide,
    /// A couple side by side changes places and faces the other way.
    Twirl,
    /// A pair turns and ends side by side, first role on the left.
    Swing,
    /// Two of one role cross and are turned by the others.
    Chain,
    /// The same over and back.
    ChainBack,
    /// Couples change sides, first role on the left as before.
    CouplesCross,
    /// All go to the place diagonally opposite.
    HalfTurn,
    /// A weaving that ends where it began.
    HeyHome,
    /// All walk past the one opposite.
    PassThrough,
    /// Past the one across, then past the one beside.
    CrossTrail,
    /// The ring opens at the bottom to a line facing down.
    LineDown,
    /// The same, and pairs wheel to face up.
    LineDownCouples,
    /// The same, and all turn on the spot.
    LineDownAlone,
    /// Pairs in a line wheel about.
    LineCouples,
    /// Dancers in a line turn on the spot.
    LineAlone,
    /// A line facing up becomes a ring.
    BendLine,
    /// Couples go one place to their left along their line.
    SlideLeft,
    /// Couples go one place to their right along their line.
    SlideRight,
}

/// A traditional figure.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Figure {
    /// Its usual name.
    pub name: String,
    /// Other names for the same thing.
    #[serde(default)]
    pub also: Vec<String>,
    /// Usual lengths in beats.
    pub beats: Vec<u32>,
    /// Who usually does it.
    pub who: Vec<String>,
    /// Where one ends.
    pub ends: String,
    /// The full call.
    pub call: String,
    /// Fewer words for it.
    pub short: String,
    /// A line on teaching it.
    pub teach: String,
    /// Where someone could be hurt, and what helps.
    pub caution: Option<String>,
    /// Counts as time spent swinging.
    #[serde(default)]
    pub swinging: bool,
    /// Makes people dizzy.
    #[serde(default)]
    pub dizzy: bool,
    /// Loads arms or shoulders.
    #[serde(default)]
    pub shoulders: bool,
    /// Beats of it, at its start, in which people stand (a balance).
    #[serde(default)]
    pub still: u32,
    /// How hard for newcomers: 0 at once, 1 with a word, 2 with a walk-through,
    /// 3 later.
    pub hard: u8,
    /// How it moves dancers, if its name says so.
    pub moves: Option<Movement>,
    /// Quarter turns or places danced where the card says nothing.
    pub turn: Option<u8>,
    /// Kinds of dances it is at home in: `contra`, `square`, `mixer`.
    pub used: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    figure: Vec<Figure>,
}

/// A list of figures that can be asked for by a card's words.
#[derive(Debug)]
pub struct Figures {
    list: Vec<Figure>,
    /// Words of every name, the longest name first, and whose it is.
    names: Vec<(Vec<String>, usize)>,
}

static BUILTIN: LazyLock<Figures> = LazyLock::new(|| {
    let text = include_str!("figures/traditional.toml");
    let file: File = toml::from_str(text).expect("the bundled list, read by a test");
    Figures::new(file.figure)
});

impl Figures {
    /// The traditional figures.
    pub fn builtin() -> &'static Figures {
        &BUILTIN
    }

    fn new(list: Vec<Figure>) -> Self {
        let mut names: Vec<(Vec<String>, usize)> = list
            .iter()
            .enumerate()
            .flat_map(|(at, f)| {
                let all = std::iter::once(&f.name).chain(&f.also);
                all.map(move |name| (phrase::words(name), at))
            })
            .collect();
        let letters = |words: &[String]| words.iter().map(String::len).sum::<usize>();
        names.sort_by_key(|(words, _)| std::cmp::Reverse((words.len(), letters(words))));
        Figures { list, names }
    }

    /// All figures, in the order of the list.
    pub fn all(&self) -> &[Figure] {
        &self.list
    }

    /// The figure of exactly this name.
    pub fn named(&self, name: &str) -> Option<&Figure> {
        let wanted = phrase::words(name);
        let found = self.names.iter().find(|(words, _)| *words == wanted)?;
        Some(&self.list[found.1])
    }

    /// What a card means by `text`, such as "robins do-si-do once and a half":
    /// the longest known name in it, who does it, and how far. `roles` are the
    /// words that the text uses. Nothing if no name is known.
    pub fn read(&self, text: &str, roles: &Roles) -> Option<Reading<'_>> {
        let text = roles.translate(text, &Roles::default());
        phrase::read(self, &text)
    }

    /// The known name most like `text`, if any is much like it.
    pub fn like(&self, text: &str, roles: &Roles) -> Option<&str> {
        let text = roles.translate(text, &Roles::default());
        let bare = phrase::without_who(&text);
        let names: Vec<&str> = self
            .list
            .iter()
            .flat_map(|f| std::iter::once(&f.name).chain(&f.also))
            .map(String::as_str)
            .collect();
        nearest(&bare, &names)
    }

    /// Names in words, the longest first, with the figure's place in the list.
    fn names(&self) -> impl Iterator<Item = (&[String], &Figure)> {
        self.names
            .iter()
            .map(|(words, at)| (&words[..], &self.list[*at]))
    }
}

#[cfg(test)]
mod tests;
