//! Dance cards: what is danced, figure by figure, to which beats.
//!
//! A card is a TOML 1.0 file. At the top stand `title` and `formation`, and if
//! wanted `author`, `difficulty`, `tune`, `steps_per_minute` and `form`; then
//! comes one block a figure, headed by the part it belongs to:
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
mod keys;
mod once;
mod parse;
pub mod positions;
mod read;
mod roles;
mod source;
pub mod syllables;

pub use card::{Card, Difficulty, FigureAt, Formation, Progression, TuneKind};
pub use figures::{Facing, Figure, Figures, Movement, Reading, Way, Who};
pub use once::{Ends, OfFour, Once, OnceFigure};
pub use roles::{Role, Roles, RolesError};
pub use source::{CardError, Trouble};

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
