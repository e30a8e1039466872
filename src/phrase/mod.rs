//! From beats to lead-in, phrases, parts and times through the tune.
//!
//! A *phrase* is eight beats and its first beat is "one"; a *part* is sixteen
//! beats; a *time through* is the whole tune, usually sixty-four beats.
//!
//! With a lead-in, [`belief`] counts from the tune's first beat on. Without one,
//! or after the band slipped, the tune itself must tell: A2 repeats A1 and B2
//! repeats B1, phrases begin alike and come to rest at their ends. [`repeat`]
//! notes such things beat by beat, a small network ([`net`]) weighs them, and
//! the belief gathers the weights until it is sure enough for a clap. That takes
//! some thirty beats, sometimes sixty: a motif must return, or a part end.
//! Where the band leaves beats out or plays some twice, what was played once through
//! before tells sooner: [`slip`] hears that the beats are no longer like those at their
//! places but like those some beats on, and where a tune goes on after a pause.
//! Whether a part is A or B is often not in the sound, so the part's name is
//! less certain than the count.

pub mod belief;
mod form;
pub mod net;
pub mod repeat;
pub mod shape;
pub mod slip;

pub use form::{Form, FormError, PART_BEATS, PHRASE_BEATS, Part, Place};
