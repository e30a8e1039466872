//! Measures, tables and pages.

pub mod accuracy;
pub mod card;
pub mod events;
pub mod guide;
pub mod lesson;
pub mod measures;
mod page;
pub mod programme;
pub mod rehearsal;
pub mod tempo;
