//! Dance cards: what is danced, figure by figure, to which beats.
//!
//! A card is a TOML 1.0 file. At its top stand
//!
//! | key | what |
//! |---|---|
//! | `title` | the dance's name; needed |
//! | `formation` | how the dancers stand, a [`Formation`]; needed |
//! | `author`, `difficulty`, `tune`, `steps_per_minute` | who made it, for whom, to what |
//! | `form` | its parts, if they are not A1 A2 B1 B2 |
//! | `progression` | how far couples move on: `single` (usual in longways sets), `double`, `none` |
//! | `roles` | this card's words for the two roles, if not lark and robin; then odd plurals |
//! | `notes` | a line, or a list of lines, on the dance as a whole |
//! | `[intro]` | once, at the start: `say`, a line or lines spoken before the lead-in; and, if wanted, a `figure` with `call`, `short`, `note`, danced instead of the first one the first time through |
//! | `[ending]` | once, at the end: a `figure` likewise instead of the last one the last time through; and `say`, spoken after the music |
//!
//! and then comes one block a figure, headed by the part it belongs to:
//!
//! | key | what |
//! |---|---|
//! | `figure` | who does what and how far, in plain words, as [`Figures::read`] understands them; needed |
//! | `beats` | its length, 2 to 32; needed |
//! | `call` | what is said ahead of it; needed |
//! | `short`, `note` | a shorter call; what to say while teaching |
//! | `crosses` | `true` if it crosses the start of a phrase on purpose |
//! | `ends` | where it ends if its name does not tell: see [`Ends`] |
//!
//! ```
//! use eightclap::dance::Card;
//!
//! let text = r#"
//! title = "Round and Back"
//! formation = "circle mixer"
//! form = ["A1"]
//!
//! [[A1]]
//! figure = "circle left"
//! beats = 8
//! call = "circle left"
//!
//! [[A1]]
//! figure = "circle right"
//! beats = 8
//! call = "and to the right"
//! "#;
//! let card = Card::parse(text, "round.toml")?;
//! assert_eq!(card.figure_at(9).name, "circle right");
//! # Ok::<(), eightclap::dance::CardError>(())
//! ```

mod card;
pub mod check;
mod extras;
mod figures;
pub(crate) mod file;
mod keys;
pub mod lesson;
mod once;
mod parse;
pub mod positions;
pub mod programme;
pub(crate) mod read;
mod roles;
pub(crate) mod source;
pub mod syllables;
mod words;

pub use card::{Card, FigureAt};
pub use figures::{Facing, Figure, Figures, Movement, Reading, Way, Who};
pub use once::{Ends, OfFour, Once, OnceFigure};
pub use roles::{Role, Roles, RolesError};
pub use source::{CardError, Trouble};
pub use words::{Difficulty, Formation, Progression, TuneKind};

/// A contra for a longways set, with figures on counts 1 and 5.
pub const LANTERNS_ON_THE_WEIR: &str =
    include_str!("../../fixtures/cards/lanterns-on-the-weir.toml");

/// A circle mixer for newcomers.
pub const THE_TIN_KETTLE_RING: &str = include_str!("../../fixtures/cards/the-tin-kettle-ring.toml");

/// The JSON Schema (draft 2020-12) of dance cards, for editors that complete and
/// check.
pub const CARD_SCHEMA: &str = include_str!("../../fixtures/card.schema.json");

/// A card to begin with, every key explained.
pub const NEW_CARD: &str = include_str!("template.toml");

/// The bundled dances, invented for this project: file name without its ending,
/// and text.
pub fn bundled() -> &'static [(&'static str, &'static str)] {
    &[
        (
            "gravel-and-clover",
            include_str!("../../fixtures/cards/gravel-and-clover.toml"),
        ),
        (
            "lamps-along-the-quay",
            include_str!("../../fixtures/cards/lamps-along-the-quay.toml"),
        ),
        ("lanterns-on-the-weir", LANTERNS_ON_THE_WEIR),
        (
            "six-boats-abreast",
            include_str!("../../fixtures/cards/six-boats-abreast.toml"),
        ),
        (
            "the-borrowed-umbrella",
            include_str!("../../fixtures/cards/the-borrowed-umbrella.toml"),
        ),
        ("the-tin-kettle-ring", THE_TIN_KETTLE_RING),
    ]
}
