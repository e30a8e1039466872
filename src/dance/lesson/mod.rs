//! The newcomers' session before the dance: what the caller says, step by step,
//! and drills in which the program's clap fades until the room carries it.
//!
//! A lesson is a TOML 1.0 file: `title`, if wanted `roles` and `rules`, and a
//! `[[step]]` block for each step, some with a `[step.drill]`:
//!
//! ```
//! use eightclap::dance::lesson::Lesson;
//!
//! let text = r#"
//! title = "Ten minutes"
//!
//! [[step]]
//! title = "Clap on one"
//! minutes = 4
//! say = "Clap with me on one of each eight."
//! [step.drill]
//! tune = "boots-on-the-fender"
//! phrases = 8
//! full = 2
//! fade = 2
//! "#;
//! let lesson = Lesson::parse(text, "ten.toml")?;
//! let drill = lesson.steps()[0].drill.as_ref().expect("there is one");
//! let loud = [0, 1, 2, 3, 4].map(|phrase| drill.loudness(phrase));
//! assert_eq!((loud[0], loud[1], loud[4]), (1.0, 1.0, 0.0));
//! assert!(loud[1] > loud[2] && loud[2] > loud[3] && loud[3] > 0.0);
//! # Ok::<(), eightclap::dance::CardError>(())
//! ```

mod parse;

use std::path::Path;

use super::file;
use super::roles::Roles;
use super::source::CardError;

/// The lesson's keys in JSON Schema (draft 2020-12), for editors.
pub const SCHEMA: &str = include_str!("../../../fixtures/lesson.schema.json");

/// The lesson that comes with the program, and its name.
pub const BUNDLED: (&str, &str) = (
    "before-the-first-dance",
    include_str!("../../../fixtures/lesson/before-the-first-dance.toml"),
);

/// How far a fading clap falls before it ends, decibels: by then people who
/// clap hardly hear it.
const FADED: f32 = 24.0;

/// A lesson.
#[derive(Debug, Clone, PartialEq)]
pub struct Lesson {
    title: String,
    roles: Roles,
    rules: Vec<String>,
    /// Never empty.
    steps: Vec<Step>,
}

/// One step of a lesson.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// What it is called.
    pub title: String,
    /// How long it takes.
    pub minutes: f64,
    /// What the caller says, line by line.
    pub say: Vec<String>,
    /// What the room does.
    pub room: Option<String>,
    /// What to look for, and what helps.
    pub watch: Option<String>,
    /// Where someone could be hurt.
    pub caution: Vec<String>,
    /// What is played meanwhile.
    pub drill: Option<Drill>,
}

/// A tune with claps that fade.
#[derive(Debug, Clone, PartialEq)]
pub struct Drill {
    /// Name of a tune of the house band.
    pub tune: String,
    /// How fast it is played.
    pub steps_per_minute: f64,
    /// Phrases that are played.
    pub phrases: u32,
    /// Phrases that are clapped at full loudness.
    pub full: u32,
    /// Phrases over which the clap fades.
    pub fade: u32,
}

impl Drill {
    /// How loud the program's clap on the one of `phrase` (from 0) is: 1 is
    /// full, then it falls by equal steps of level, and 0 is silence.
    pub fn loudness(&self, phrase: u32) -> f32 {
        let into = match phrase.checked_sub(self.full) {
            None => return 1.0,
            Some(into) if into < self.fade => into + 1,
            Some(_) => return 0.0,
        };
        let share = into as f32 / (self.fade + 1) as f32;
        10f32.powf(-FADED * share / 20.0)
    }
}

impl Lesson {
    /// Reads a lesson from a file.
    ///
    /// # Errors
    /// If the file cannot be read or used; the error says where and what is
    /// expected.
    pub fn load(path: impl AsRef<Path>) -> Result<Self, CardError> {
        let path = path.as_ref();
        let text = file::text(path, "lesson", &[])?;
        Self::parse(&text, &path.display().to_string())
    }

    /// Reads a lesson from `text`; `name` is what errors call it.
    ///
    /// # Errors
    /// As [`Lesson::load`].
    pub fn parse(text: &str, name: &str) -> Result<Self, CardError> {
        parse::lesson(text, name)
    }

    /// What it is called.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// What goes before all steps.
    pub fn rules(&self) -> &[String] {
        &self.rules
    }

    /// Its steps in order; never empty.
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// All its minutes.
    pub fn minutes(&self) -> f64 {
        self.steps.iter().map(|step| step.minutes).sum()
    }

    /// The same in other words for the two roles.
    pub fn with_roles(&self, roles: &Roles) -> Lesson {
        let word = |text: &String| self.roles.translate(text, roles);
        let steps = self.steps.iter().map(|step| Step {
            title: word(&step.title),
            say: step.say.iter().map(word).collect(),
            room: step.room.as_ref().map(word),
            watch: step.watch.as_ref().map(word),
            caution: step.caution.iter().map(word).collect(),
            ..step.clone()
        });
        Lesson {
            steps: steps.collect(),
            rules: self.rules.iter().map(word).collect(),
            roles: roles.clone(),
            ..self.clone()
        }
    }
}

#[cfg(test)]
mod tests;
