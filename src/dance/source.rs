//! Where in a card something is wrong, shown the way a reader can find it.

use std::fmt;
use std::ops::Range;

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Longest excerpt of a line that is shown, in columns.
const EXCERPT: usize = 96;
/// Most troubles printed for one card: more would bury the first.
const PRINTED: usize = 5;

/// One thing wrong (or doubtful) in a card, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// The card's name, usually its path.
    pub name: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What is wrong and what is expected, in one line.
    pub message: String,
    /// The line itself, cut to a width that fits a terminal.
    excerpt: String,
    /// Columns before the caret, and how many carets.
    caret: (usize, usize),
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Trouble {
            name, line, column, ..
        } = self;
        writeln!(f, "{name}:{line}:{column}: {}", self.message)?;
        let gutter = line.to_string().len();
        let (indent, carets) = self.caret;
        writeln!(f, "{:gutter$} |", "")?;
        writeln!(f, "{line} | {}", self.excerpt)?;
        write!(
            f,
            "{:gutter$} | {:indent$}{}",
            "",
            "",
            "^".repeat(carets.max(1))
        )
    }
}

/// A card that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CardError {
    /// The file could not be read at all.
    #[error("{name}: {reason}")]
    Unreadable {
        /// The card's path.
        name: String,
        /// What is in the way, and the remedy.
        reason: String,
    },
    /// The file was read, but says something that cannot be danced.
    #[error("{}", list(.0))]
    Wrong(Vec<Trouble>),
}

impl CardError {
    /// The places in the card that are wrong; empty if it was not readable.
    pub fn troubles(&self) -> &[Trouble] {
        match self {
            CardError::Unreadable { .. } => &[],
            CardError::Wrong(troubles) => troubles,
        }
    }
}

fn list(troubles: &[Trouble]) -> String {
    let shown: Vec<String> = troubles
        .iter()
        .take(PRINTED)
        .map(Trouble::to_string)
        .collect();
    let mut text = shown.join("\n");
    if troubles.len() > PRINTED {
        text.push_str(&format!(
            "\nand {} more in the same file",
            troubles.len() - PRINTED
        ));
    }
    text
}

/// A card's text and name.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Source<'a> {
    pub(crate) name: &'a str,
    pub(crate) text: &'a str,
}

impl Source<'_> {
    /// A trouble at the bytes `span`, which may lie anywhere.
    pub(crate) fn trouble(&self, span: Range<usize>, message: impl Into<String>) -> Trouble {
        let start = self.boundary(span.start);
        let end = self.boundary(span.end.max(start));
        let before = &self.text[..start];
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        let line_end = self.text[start..]
            .find('\n')
            .map_or(self.text.len(), |at| start + at);
        let head = visible(&self.text[line_start..start]);
        let marked = visible(&self.text[start..end.min(line_end)]);
        let tail = visible(&self.text[end.clamp(start, line_end)..line_end]);
        let (excerpt, caret) = cut(&head, &marked, &tail);
        Trouble {
            name: self.name.to_owned(),
            line: before.matches('\n').count() + 1,
            column: self.text[line_start..start].chars().count() + 1,
            message: message.into(),
            excerpt,
            caret,
        }
    }

    /// The nearest character boundary at or before `offset`.
    fn boundary(&self, offset: usize) -> usize {
        let mut at = offset.min(self.text.len());
        while !self.text.is_char_boundary(at) {
            at -= 1;
        }
        at
    }
}

/// `text` with one column for every control character, so that carets line up
/// and nothing in a card can steer the terminal.
fn visible(text: &str) -> String {
    text.trim_end_matches('\r')
        .chars()
        .map(|c| match c {
            '\t' => ' ',
            c if c.is_control() => '\u{fffd}',
            c => c,
        })
        .collect()
}

/// Cuts a line to [`EXCERPT`] columns round its marked stretch.
fn cut(head: &str, marked: &str, tail: &str) -> (String, (usize, usize)) {
    let mut shown = String::new();
    if head.width() > EXCERPT / 2 {
        let mut room = EXCERPT / 2 - 1;
        let mut kept: Vec<char> = head
            .chars()
            .rev()
            .take_while(|c| {
                let width = c.width().unwrap_or(0);
                let fits = width <= room;
                room -= width.min(room);
                fits
            })
            .collect();
        kept.reverse();
        shown.push('…');
        shown.extend(kept);
    } else {
        shown.push_str(head);
    }
    let indent = shown.width();
    let mut width = indent;
    for c in marked.chars().chain(tail.chars()) {
        width += c.width().unwrap_or(0);
        if width >= EXCERPT {
            shown.push('…');
            break;
        }
        shown.push(c);
    }
    let carets = marked.width().min(shown.width().saturating_sub(indent));
    (shown.trim_end().to_owned(), (indent, carets))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trouble_points_at_its_bytes() {
        let source = Source {
            name: "a.toml",
            text: "title = \"Ü\"\r\n\tbeats = 99\n",
        };
        let at = source.text.find("99").unwrap();
        let trouble = source.trouble(at..at + 2, "too many");
        assert_eq!((trouble.line, trouble.column), (2, 10));
        assert_eq!(
            trouble.to_string(),
            "a.toml:2:10: too many\n  |\n2 |  beats = 99\n  |          ^^"
        );
    }

    #[test]
    fn any_span_is_shown_without_a_panic() {
        let text = format!("é{}\n日本語 = \"{}\"", "x".repeat(300), "ö".repeat(200));
        let source = Source {
            name: "b",
            text: &text,
        };
        for start in 0..text.len() + 3 {
            for end in [0, start, start + 1, start + 40, usize::MAX] {
                let shown = source.trouble(start..end, "m").to_string();
                assert!(shown.lines().all(|l| l.width() < EXCERPT + 12), "{shown}");
            }
        }
    }
}
