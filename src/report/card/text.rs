//! A card for the music stand, and its calls, as plain lines.

use std::fmt::Write;

use unicode_width::UnicodeWidthStr;

use super::about;
use crate::dance::check::CallAt;
use crate::dance::{Card, Once};

/// Narrowest lines that are made, in columns.
const NARROWEST: usize = 40;
/// Columns before a figure: its part and its beats.
const INDENT: usize = 8;

/// The card in lines of at most `width` columns (words are never cut).
pub fn stand(card: &Card, width: usize) -> String {
    let width = width.max(NARROWEST);
    let mut out = String::new();
    let title = card.title().to_uppercase();
    match card.author() {
        Some(author) if title.width() + author.width() + 2 <= width => {
            let gap = width - author.width() - title.width();
            let _ = writeln!(out, "{title}{:gap$}{author}", "");
        }
        Some(author) => {
            wrap(&mut out, "", &title, width);
            wrap(&mut out, "", author, width);
        }
        None => wrap(&mut out, "", &title, width),
    }
    wrap(&mut out, "", &about(card).join(" · "), width);
    for note in card.notes() {
        wrap(&mut out, "", note, width);
    }
    once(
        &mut out,
        "Before the lead-in",
        "The first time begins with",
        card.intro(),
        width,
    );
    let mut part = None;
    for figure in card.figures() {
        let new = part != Some(figure.part);
        part = Some(figure.part);
        if new {
            out.push('\n');
        }
        let name = if new { figure.part.name() } else { "" };
        let head = format!("{name:<4}{:>2}  ", figure.beats);
        wrap(&mut out, &head, &figure.name, width);
        if let Some(note) = &figure.note {
            wrap(&mut out, &" ".repeat(INDENT + 2), note, width);
        }
    }
    once(
        &mut out,
        "After the music",
        "The last time ends with",
        card.ending(),
        width,
    );
    out
}

fn once(out: &mut String, say: &str, dance: &str, once: &Once, width: usize) {
    if once.is_empty() {
        return;
    }
    out.push('\n');
    if let Some(figure) = &once.figure {
        wrap(out, "", &format!("{dance}: {}", figure.name), width);
    }
    if !once.say.is_empty() {
        wrap(out, "", &format!("{say}: {}", once.say.join(" / ")), width);
    }
}

/// `text` after `head`, later lines as far in as the head is wide.
fn wrap(out: &mut String, head: &str, text: &str, width: usize) {
    let indent = " ".repeat(head.width());
    let mut line = head.to_owned();
    let mut bare = true;
    for word in text.split_whitespace() {
        if !bare && line.width() + 1 + word.width() > width {
            out.push_str(line.trim_end());
            out.push('\n');
            line = indent.clone();
            bare = true;
        }
        if !bare {
            line.push(' ');
        }
        line.push_str(word);
        bare = false;
    }
    out.push_str(line.trim_end());
    out.push('\n');
}

/// The calls in order: part, the figure's first beat in the time through (from
/// 1), syllables, seconds, beats ahead at which to begin, and the words.
pub fn calls(card: &Card, calls: &[CallAt]) -> String {
    let mut out = String::from("part  beat  syllables  seconds  room, s  beats ahead  call\n");
    for call in calls {
        let counted = if call.measured { ' ' } else { '~' };
        let room = call.room.min(call.near);
        let long = if call.fits() { "" } else { "  (too long)" };
        let short = card.figures()[call.figure]
            .short
            .as_ref()
            .map_or_else(String::new, |short| format!("  [{short}]"));
        let _ = writeln!(
            out,
            "{:<4}  {:>4}  {:>9}  {counted}{:>6.1}  {room:>7.1}  {:>11.1}  {}{short}{long}",
            call.part.name(),
            call.start_beat + 1,
            call.syllables,
            call.seconds,
            call.beats_ahead(),
            call.words,
        );
    }
    out
}
