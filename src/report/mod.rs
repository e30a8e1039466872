//! Measures, tables and pages.

pub mod events;
pub mod measures;
