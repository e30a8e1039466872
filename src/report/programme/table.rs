//! Tables for the terminal.

use std::fmt::Write;

use unicode_width::UnicodeWidthStr;

use super::{about, bars, clock, ending, minutes};
use crate::dance::programme::{Programme, What};

/// Columns of the longest title, formation and tunes before they are cut.
const TITLE: usize = 30;
const FORMATION: usize = 16;
const TUNES: usize = 18;

/// Rows of cells, laid out in columns.
struct Rows {
    /// Whether each column is set to the right.
    right: &'static [bool],
    rows: Vec<Vec<String>>,
}

impl Rows {
    /// The rows as lines without blanks at their ends.
    fn lines(&self) -> String {
        let columns = self.right.len();
        let width = |column: usize| {
            let cells = self.rows.iter().filter_map(|row| row.get(column));
            cells.map(|cell| cell.width()).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..columns).map(width).collect();
        let mut out = String::new();
        for row in &self.rows {
            let mut line = String::from(" ");
            for ((cell, width), right) in row.iter().zip(&widths).zip(self.right) {
                let room = " ".repeat(width.saturating_sub(cell.width()));
                let (before, after) = if *right {
                    (room.as_str(), "")
                } else {
                    ("", room.as_str())
                };
                line += &format!(" {before}{cell}{after} ");
            }
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out
    }
}

/// The words cut to `width` columns.
fn cut(text: &str, width: usize) -> String {
    if text.width() <= width {
        return text.to_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        if kept.width() + c.to_string().width() >= width {
            break;
        }
        kept.push(c);
    }
    kept.push('…');
    kept
}

fn head(programme: &Programme) -> String {
    let about = about(programme);
    let rule = "─".repeat(programme.title().width());
    let about = if about.is_empty() {
        about
    } else {
        format!("{about}\n")
    };
    format!("{}\n{rule}\n{about}\n", programme.title())
}

/// Everything that a caller plans with, in lines.
pub fn table(programme: &Programme) -> String {
    let header = [
        "",
        "at",
        "item",
        "formation",
        "for",
        "tunes",
        "walk",
        "times",
        "music",
    ];
    let mut rows = Rows {
        right: &[true, true, false, false, false, false, true, true, true],
        rows: vec![header.map(String::from).into()],
    };
    let items = programme.items().iter().zip(programme.slots());
    for (n, (item, slot)) in (1..).zip(items) {
        let mut row = vec![
            n.to_string(),
            clock(programme, slot.start),
            cut(item.title(), TITLE),
        ];
        match &item.what {
            What::Dance(dance) => {
                let card = &dance.card;
                let difficulty = card.difficulty().map_or("-".to_owned(), |d| d.to_string());
                row.push(cut(&card.formation().to_string(), FORMATION));
                row.push(difficulty);
                row.push(cut(&item.tunes_in_words(), TUNES));
                let walk = if slot.walk > 0.0 {
                    minutes(slot.walk)
                } else {
                    "-".to_owned()
                };
                row.push(walk);
                row.push(format!("{} ×", dance.times));
            }
            What::Break(..) => row.extend(["break", "", "", "", ""].map(String::from)),
            What::Other(..) => {
                row.extend(["", ""].map(String::from));
                row.push(cut(&item.tunes_in_words(), TUNES));
                row.extend(["", ""].map(String::from));
            }
        }
        row.push(minutes(slot.music));
        rows.rows.push(row);
    }
    let mut out = head(programme);
    out += &rows.lines();
    let variety = programme.variety();
    // Writing to a string cannot fail.
    let _ = writeln!(out, "\n{}", ending(programme));
    if !variety.swinging.is_empty() {
        let formations: Vec<String> = variety
            .formations
            .iter()
            .map(|(formation, n)| format!("{formation} {n}"))
            .collect();
        let tunes: Vec<String> = variety
            .tunes
            .iter()
            .map(|(t, n)| format!("{t} {n}"))
            .collect();
        let _ = writeln!(
            out,
            "swinging: {:.0} % of the dancing; {} different figures",
            100.0 * variety.swinging_in_all,
            variety.figures
        );
        let _ = writeln!(out, "formations: {}", formations.join(", "));
        if !tunes.is_empty() {
            let _ = writeln!(out, "tunes asked for first: {}", tunes.join(", "));
        }
    }
    for note in programme.notes() {
        let _ = writeln!(out, "note: {note}");
    }
    out
}

/// What the band needs, in lines.
pub fn set_list(programme: &Programme) -> String {
    let header = [
        "",
        "at",
        "for",
        "tunes",
        "steps/min",
        "times",
        "bars",
        "music",
    ];
    let mut rows = Rows {
        right: &[true, true, false, false, true, true, true, true],
        rows: vec![header.map(String::from).into()],
    };
    let items = programme.items().iter().zip(programme.slots());
    for (n, (item, slot)) in (1..).zip(items) {
        let mut row = vec![
            n.to_string(),
            // The band is wanted when the music begins.
            clock(programme, slot.end() - slot.music),
            cut(item.title(), TITLE),
            cut(&item.tunes_in_words(), TUNES),
        ];
        match &item.what {
            What::Dance(dance) => row.extend([
                format!("{:.0}", dance.steps_per_minute),
                format!("{} ×", dance.times),
                bars(&dance.card).to_string(),
            ]),
            _ => row.extend(["", "", ""].map(String::from)),
        }
        row.push(minutes(slot.music));
        rows.rows.push(row);
    }
    format!(
        "{}{}\n{}\n",
        head(programme),
        rows.lines(),
        ending(programme)
    )
}
