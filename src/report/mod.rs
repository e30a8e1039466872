//! Measures, tables and pages.

pub mod accuracy;
pub mod card;
pub mod events;
pub mod measures;
pub mod rehearsal;
pub mod tempo;
