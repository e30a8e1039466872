//! The terminal display, readable from across a stage.
//!
//! State, update and view are kept apart: [`State`] is plain data that events,
//! cues and the clock change; [`view()`] draws it; [`Screen`] owns the terminal
//! and gives it back as it was; [`action`] says what a key means. Where standard
//! output is no terminal, [`lines`] says the same in plain lines, and
//! [`picture`] turns a screen into an SVG. The tempo meter has a screen of its own,
//! [`tempo`].

mod evening;
mod flash;
mod keys;
mod lesson;
mod letters;
pub mod lines;
mod panels;
pub mod picture;
mod state;
mod status;
mod stop;
mod strokes;
pub mod tempo;
mod terminal;
mod text;
mod view;

pub use evening::evening_words;
pub use keys::{Action, Hand, Keys, action};
pub use lesson::{LessonPress, LessonState, lesson_press, lesson_view};
pub use state::{InputLevel, Setup, State};
pub use status::level_words;
pub use stop::Stop;
pub use terminal::{Screen, ScreenError, colour_wanted};
pub use text::{clock, form_words, steady_words, sure_words};
pub use view::{draw, view};

#[cfg(test)]
mod tests;
