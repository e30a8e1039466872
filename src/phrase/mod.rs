//! From beats to lead-in, phrases, parts and times through the tune.
//!
//! A *phrase* is eight beats and its first beat is "one"; a *part* is sixteen
//! beats; a *time through* is the whole tune, usually sixty-four beats.

pub mod belief;
mod form;
pub mod net;
pub mod repeat;

pub use form::{Form, FormError, PART_BEATS, PHRASE_BEATS, Part, Place};
