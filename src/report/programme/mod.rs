//! A programme as people read it: a table for the terminal, a list for the band,
//! and pages for print.

mod page;
mod table;

pub use page::page;
pub use table::{set_list, table};

use crate::dance::Card;
use crate::dance::programme::{Dance, Programme};

/// For whom a list or page is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Reader {
    /// Who calls: everything.
    #[default]
    Caller,
    /// Who plays: tunes, tempi, lengths.
    Band,
}

/// Minutes as `m:ss`.
fn minutes(minutes: f64) -> String {
    let seconds = (60.0 * minutes).round().max(0.0) as u64;
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// The time of day so many minutes after the start; without a start, how much
/// later it is.
fn clock(programme: &Programme, after: f64) -> String {
    match programme.clock(after) {
        Some(clock) => clock.to_string(),
        None => format!("+{}", minutes(after)),
    }
}

/// Date, hall and band, as far as they are known.
fn about(programme: &Programme) -> String {
    let parts = [programme.date(), programme.hall(), programme.band()];
    let parts: Vec<&str> = parts.into_iter().flatten().collect();
    parts.join(" · ")
}

/// When it ends, and how that is against the time to close.
fn ending(programme: &Programme) -> String {
    let all = programme.minutes();
    let ends = clock(programme, all);
    let length = format!("{:.0} minutes in all", all);
    match (programme.spare(), programme.end()) {
        (Some(spare), Some(end)) if spare >= 0.0 => {
            format!("ends {ends}, {spare:.0} minutes before {end}; {length}")
        }
        (Some(spare), Some(end)) => {
            format!("ends {ends}, {:.0} minutes after {end}; {length}", -spare)
        }
        _ => format!("ends {ends}; {length}"),
    }
}

/// How long a tune has to be, in bars of two beats.
fn bars(card: &Card) -> u32 {
    card.form().beats() / 2
}

/// "9 times, 32 bars".
fn times(dance: &Dance) -> String {
    let times = match dance.times {
        1 => "once".to_owned(),
        n => format!("{n} times"),
    };
    format!("{times}, {} bars", bars(&dance.card))
}
