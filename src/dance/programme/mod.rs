//! Programmes: the dances of an evening in their order, with breaks and other
//! items between them, and how long all that takes.
//!
//! A programme is a TOML 1.0 file. At the top stand `title` and, if wanted,
//! `date`, `hall`, `band`, `start`, `end`, `floor`, `roles`, `changeover` and
//! `notes`; then comes one `[[item]]` block for each dance, break or other item:
//!
//! ```
//! use eightclap::dance::programme::Programme;
//!
//! let text = r#"
//! title = "An evening in the loft"
//! start = "19:30"
//!
//! [[item]]
//! dance = "the-tin-kettle-ring"
//! times = 8
//! walk = 4
//!
//! [[item]]
//! break = "Tea"
//! minutes = 15
//! "#;
//! let programme = Programme::parse(text, "loft.toml", None)?;
//! let slots = programme.slots();
//! assert_eq!(programme.clock(slots[1].start).unwrap().to_string(), "19:39");
//! # Ok::<(), eightclap::dance::CardError>(())
//! ```

mod advice;
mod evening;
mod parse;
mod time;

use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use super::card::Card;
use super::file;
use super::roles::Roles;
use super::source::{CardError, Source, Trouble};
use super::words::Named;

pub use advice::Variety;
pub use evening::{Evening, Standing};
pub use time::{Clock, Slot};

/// The programme's keys in JSON Schema (draft 2020-12), for editors.
pub const SCHEMA: &str = include_str!("../../../fixtures/programme.schema.json");

/// What `eightclap programme new` writes.
pub const TEMPLATE: &str = include_str!("../../../fixtures/programmes/template.toml");

/// The two programmes that come with the program: name and text.
pub fn bundled() -> &'static [(&'static str, &'static str)] {
    &[
        (
            "first-steps-evening",
            include_str!("../../../fixtures/programmes/first-steps-evening.toml"),
        ),
        (
            "regular-evening",
            include_str!("../../../fixtures/programmes/regular-evening.toml"),
        ),
    ]
}

/// Who is on the floor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Floor {
    /// Most have never danced.
    Newcomers,
    /// Some have, some have not.
    #[default]
    Mixed,
    /// Nearly all dance regularly.
    Experienced,
}

impl Named for Floor {
    const WHAT: &'static str = "floor";
    const ALL: &'static [(&'static str, Self)] = &[
        ("newcomers", Floor::Newcomers),
        ("mixed", Floor::Mixed),
        ("experienced", Floor::Experienced),
    ];
}

/// An evening, item by item.
#[derive(Debug, Clone)]
pub struct Programme {
    title: String,
    date: Option<String>,
    hall: Option<String>,
    band: Option<String>,
    start: Option<Clock>,
    end: Option<Clock>,
    floor: Floor,
    roles: Roles,
    /// Minutes before each dance for lining up and finding partners.
    changeover: f64,
    notes: Vec<String>,
    /// Never empty.
    items: Vec<Item>,
    /// What was doubtful while reading.
    warnings: Vec<Trouble>,
    end_span: Range<usize>,
    name: Arc<str>,
    text: Arc<str>,
}

/// One item of the evening.
#[derive(Debug, Clone)]
pub struct Item {
    /// What it is.
    pub what: What,
    /// Kinds of tunes for the band, in the order wanted.
    pub tunes: Vec<String>,
    /// What to know, line by line.
    pub notes: Vec<String>,
    /// Bytes of its first key in the file, for advice.
    span: Range<usize>,
}

/// A dance with its card, or something without one.
#[derive(Debug, Clone)]
pub enum What {
    /// A dance.
    Dance(Dance),
    /// Nobody dances: what it is called, and its minutes.
    Break(String, f64),
    /// Danced without a card, such as a waltz, or a notice: its name and minutes.
    Other(String, f64),
}

/// A dance as it is planned.
#[derive(Debug, Clone)]
pub struct Dance {
    /// What is danced, in the programme's words for the roles.
    pub card: Arc<Card>,
    /// How many times through.
    pub times: u32,
    /// Minutes for walking it through beforehand.
    pub walk: f64,
    /// The tempo that its length is reckoned with.
    pub steps_per_minute: f64,
}

impl Item {
    /// Its name.
    pub fn title(&self) -> &str {
        match &self.what {
            What::Dance(dance) => dance.card.title(),
            What::Break(title, _) | What::Other(title, _) => title,
        }
    }

    /// The dance, if it is one.
    pub fn dance(&self) -> Option<&Dance> {
        match &self.what {
            What::Dance(dance) => Some(dance),
            _ => None,
        }
    }

    /// What the band is asked for: "jig", "reels, then a march".
    pub fn tunes_in_words(&self) -> String {
        match (self.tunes.as_slice(), &self.what) {
            ([], What::Break(..)) => String::new(),
            ([], _) => "any".to_owned(),
            (tunes, _) => tunes.join(", "),
        }
    }
}

impl Programme {
    /// Reads a programme from a file, or the bundled one of that name. Cards are looked
    /// for beside it, unless their name is that of a bundled dance.
    ///
    /// # Errors
    /// If the file or one of its cards cannot be read or used; the error says
    /// where and what is expected.
    pub fn load(path: impl AsRef<Path>) -> Result<Self, CardError> {
        let path = path.as_ref();
        let text = file::text(path, "programme", bundled())?;
        Self::parse(&text, &path.display().to_string(), path.parent())
    }

    /// Reads a programme from `text`; `name` is what errors call it. Cards are
    /// files in `folder`; without one only bundled dances are known.
    ///
    /// # Errors
    /// As [`Programme::load`].
    pub fn parse(text: &str, name: &str, folder: Option<&Path>) -> Result<Self, CardError> {
        parse::programme(text, name, folder)
    }

    /// What the evening is called.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// When, in the writer's words.
    pub fn date(&self) -> Option<&str> {
        self.date.as_deref()
    }

    /// Where.
    pub fn hall(&self) -> Option<&str> {
        self.hall.as_deref()
    }

    /// Who plays.
    pub fn band(&self) -> Option<&str> {
        self.band.as_deref()
    }

    /// Who is on the floor.
    pub fn floor(&self) -> Floor {
        self.floor
    }

    /// The words for the two roles in all its cards.
    pub fn roles(&self) -> &Roles {
        &self.roles
    }

    /// What to know of the evening, line by line.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// Its items in order; never empty.
    pub fn items(&self) -> &[Item] {
        &self.items
    }

    /// What is written down so that it can be read, but is doubtful; for the
    /// whole evening see [`Programme::advice`].
    pub fn warnings(&self) -> &[Trouble] {
        &self.warnings
    }

    /// The same evening in other words for the two roles.
    pub fn with_roles(&self, roles: &Roles) -> Programme {
        let word = |text: &String| self.roles.translate(text, roles);
        let items = self.items.iter().map(|item| Item {
            what: match &item.what {
                What::Dance(dance) => What::Dance(Dance {
                    card: Arc::new(dance.card.with_roles(roles)),
                    ..dance.clone()
                }),
                other => other.clone(),
            },
            notes: item.notes.iter().map(word).collect(),
            ..item.clone()
        });
        Programme {
            items: items.collect(),
            notes: self.notes.iter().map(word).collect(),
            roles: roles.clone(),
            ..self.clone()
        }
    }

    fn trouble(&self, span: Range<usize>, message: impl Into<String>) -> Trouble {
        let (name, text) = (&self.name, &self.text);
        Source { name, text }.trouble(span, message)
    }
}

#[cfg(test)]
mod tests;
