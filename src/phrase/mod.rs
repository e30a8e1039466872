//! Phrases, parts and times through the tune.

mod form;

pub use form::{Form, FormError, PART_BEATS, PHRASE_BEATS, Part, Place};
