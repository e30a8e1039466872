//! The keys of a card: the parser knows these and no others, and the schema
//! names the same.

/// At the top of a card, apart from the parts.
pub(super) const TOP: [&str; 12] = [
    "title",
    "author",
    "formation",
    "progression",
    "difficulty",
    "tune",
    "steps_per_minute",
    "form",
    "roles",
    "notes",
    "intro",
    "ending",
];

/// Of a figure.
pub(super) const FIGURE: [&str; 7] = [
    "figure", "beats", "call", "short", "note", "crosses", "ends",
];

/// Of an introduction or an ending.
pub(super) const ONCE: [&str; 5] = ["say", "figure", "call", "short", "note"];

/// Parts of the usual tune.
pub(super) const USUAL: [&str; 4] = ["A1", "A2", "B1", "B2"];
