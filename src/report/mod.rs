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

/// `+0.4` or `−0.6`, with a true minus.
pub(crate) fn signed(value: f64) -> String {
    let tenths = (10.0 * value).round() / 10.0;
    match tenths < 0.0 {
        true => format!("−{:.1}", -tenths),
        false => format!("+{:.1}", tenths.abs()),
    }
}
