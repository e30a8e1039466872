//! The panels in the middle: the count, the figures, the strip of eight beats.

use std::borrow::Cow;

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::widgets::{Block, BorderType, Widget};
use unicode_width::UnicodeWidthStr;

use super::letters::{self, Sign};
use super::state::State;
use super::view::{Ink, fill, put, put_middle, put_right, room_below, room_right};

/// Dots in height of the largest letters of a call, and of the figure being danced.
const LARGEST_CALL: u16 = 40;
const LARGEST_NOW: u16 = 28;

/// What comes after the last time's last figure.
pub(super) const END: &str = "the end";

/// The count at the left, the figures at the right.
pub(super) fn body(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    // The digit sets the width: as large as the height allows, but never more
    // than two fifths of the screen.
    let part_rows = match area.height {
        0..=13 => 0,
        14..=25 => 4,
        26..=39 => 7,
        _ => 9,
    };
    let rows = area.height - part_rows;
    let width = (letters::digit_width(2 * rows) + 4).min(area.width * 2 / 5);
    let left = Rect { width, ..area };
    let right = room_right(area, width);
    count(left, buf, state, ink, part_rows);
    figures(right, buf, state, ink);
}

fn count(area: Rect, buf: &mut Buffer, state: &State, ink: Ink, part_rows: u16) {
    let Some(count) = state.count() else {
        return waiting(area, buf, state, ink);
    };
    let style = if state.one_lit() {
        ink.one()
    } else {
        ink.strong()
    };
    let top = Rect {
        x: area.x + 1,
        width: area.width.saturating_sub(2),
        height: area.height - part_rows,
        ..area
    };
    if !letters::digit(buf, top, count, style) {
        put_middle(buf, top, top.height / 2, &count.to_string(), style);
    }
    if part_rows > 0
        && let Some(part) = state.part()
    {
        let (name, rows) = (part.name(), part_rows - 1);
        let width = area.width.saturating_sub(2);
        if let Some(sign) = Sign::fit(name, width, rows, 2 * rows) {
            sign.draw_middle(buf, area, area.height - sign.height(), ink.plain());
        }
    }
}

/// What stands in the place of the count while there is none.
fn waiting(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let (words, more) = if state.lead_in().is_some() {
        ("lead-in", "ready for one")
    } else if state.hears_beats() {
        ("listening", "no phrase yet")
    } else {
        ("listening", "no beat yet")
    };
    let middle = area.height / 2;
    let width = area.width.saturating_sub(4);
    if let Some(sign) = Sign::fit(words, width, area.height.saturating_sub(4), LARGEST_CALL) {
        let top = middle.saturating_sub(sign.height().div_ceil(2) + 1);
        sign.draw_middle(buf, area, top, ink.strong());
        return put_middle(buf, area, top + sign.height() + 1, more, ink.plain());
    }
    put_middle(buf, area, middle.saturating_sub(1), words, ink.strong());
    put_middle(buf, area, middle + 1, more, ink.plain());
}

fn figures(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let now_rows = match area.height {
        0..=4 => 0,
        5..=8 => 2,
        9..=13 => 3,
        14..=17 => 4,
        rows => (rows / 3).min(16),
    };
    let now = Rect {
        height: now_rows,
        ..area
    };
    figure_now(now, buf, state, ink);
    figure_next(room_below(area, now_rows), buf, state, ink);
}

/// The figure being danced: its beat and its name in plain letters, and as large as
/// there is room for.
fn figure_now(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let inside = Rect {
        x: area.x + 2,
        width: area.width.saturating_sub(3),
        ..area
    };
    let (Some(figure), Some(place)) = (state.figure_now(), state.place()) else {
        let words = match (state.card(), state.lead_in(), state.place()) {
            (_, Some(_), _) => "lead-in heard",
            (None, _, Some(_)) => "the tune (no dance card)",
            (Some(_), None, Some(_)) => END,
            _ if state.hears_beats() => "finding the phrase",
            _ => "waiting for the band",
        };
        put(buf, inside, 0, 0, "NOW", ink.plain());
        return put_now(room_below(inside, 1), buf, words, None, ink);
    };
    if let Some(signal) = state.signal() {
        let label = "▶ FOR THE BAND ◀";
        put(buf, inside, 0, 0, label, ink.message());
        return put_now(room_below(inside, 1), buf, signal.words(), None, ink);
    }
    let danced = place.beat.saturating_sub(figure.start_beat) + 1;
    let label = format!("NOW  beat {danced} of {}", figure.beats);
    let used = put(buf, inside, 0, 0, &label, ink.plain());
    // The figure's beats as marks.
    let marks: String = (1..=figure.beats)
        .map(|beat| if beat <= danced { " ■" } else { " □" })
        .collect();
    put_right(buf, inside, used + 1, 0, &marks, ink.plain());
    let room = room_below(inside, 1);
    put_now(room, buf, &figure.name, figure.short.as_deref(), ink);
}

fn put_now(area: Rect, buf: &mut Buffer, name: &str, short: Option<&str>, ink: Ink) {
    if area.height < 3 {
        put(buf, area, 0, 0, name, ink.strong());
        return;
    }
    words(area, buf, name, short, ink.strong(), LARGEST_NOW);
}

/// The block that lights up one beat ahead of a figure.
fn figure_next(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let up = state.present_cue();
    let ends_in = state.ends_in().filter(|_| up.is_none());
    let next = match up {
        Some(cue) => cue.figure.as_ref().map(|f| (Cow::Borrowed(f), Some(1))),
        None => state.figure_next(),
    };
    let beats = next.as_ref().and_then(|(_, beats)| *beats).or_else(|| {
        let count = u32::from(state.count()?);
        state.card().is_none().then_some(9 - count)
    });
    let title = match (up, ends_in.or(beats)) {
        (Some(_), _) | (None, Some(1)) => " NEXT BEAT ".to_owned(),
        (None, Some(beats)) => format!(" NEXT in {beats} beats "),
        (None, None) => " FIRST ".to_owned(),
    };
    let (call, short) = match &next {
        _ if ends_in.is_some() => (END, None),
        Some((figure, _)) => (figure.call.as_str(), figure.short.as_deref()),
        None if state.card().is_some() => (END, None),
        None => ("one", None),
    };
    let (style, border) = match (up.is_some(), state.lit()) {
        (true, true) => (ink.flash(), BorderType::Thick),
        (true, false) => (ink.strong(), BorderType::Thick),
        (false, _) => (ink.next(), BorderType::Plain),
    };
    let title = match up {
        Some(_) => format!(" ▶{title}◀ "),
        None => title,
    };
    let area = Rect {
        width: area.width.saturating_sub(1),
        ..area
    };
    if state.lit() {
        fill(area, buf, " ", style);
    }
    let inside = if area.height >= 3 {
        let block = Block::bordered()
            .border_type(border)
            .border_style(style)
            .title(title.as_str());
        let inside = block.inner(area);
        block.render(area, buf);
        inside
    } else {
        area
    };
    let inside = Rect {
        x: inside.x + 1,
        width: inside.width.saturating_sub(2),
        ..inside
    };
    words(inside, buf, call, short, style, LARGEST_CALL);
}

/// The words in large letters of at most `most` dots; their short form, with all of
/// them below if there is room, where that can be larger; else in plain letters.
fn words(area: Rect, buf: &mut Buffer, call: &str, short: Option<&str>, style: Style, most: u16) {
    let sign = |words: &str, rows: u16| Sign::fit(words, area.width, rows, most);
    let size = |sign: &Option<Sign>| sign.as_ref().map_or(0, |sign| sign.size);
    let whole = sign(call, area.height);
    let with_call = short.and_then(|short| sign(short, area.height.saturating_sub(2)));
    if let (Some(short), true) = (&with_call, size(&with_call) > size(&whole)) {
        let top = middle(area, short.height() + 2);
        short.draw(buf, top, style);
        put(buf, top, 0, short.height() + 1, call, style);
    } else if let Some(whole) = whole {
        whole.draw(buf, middle(area, whole.height()), style);
    } else if let Some(alone) = short.and_then(|short| sign(short, area.height)) {
        alone.draw(buf, middle(area, alone.height()), style);
    } else {
        plain_words(area, buf, call, style);
    }
}

/// Breaks a call at blanks over the rows of `area`; the last one is cut.
fn plain_words(area: Rect, buf: &mut Buffer, call: &str, style: Style) {
    let width = usize::from(area.width);
    let mut lines: Vec<String> = Vec::new();
    for word in call.split(' ') {
        let full = lines.len() == usize::from(area.height);
        let longer = lines.last().map(|line| format!("{line} {word}"));
        match (longer, lines.last_mut()) {
            (Some(longer), Some(last)) if full || longer.width() <= width => {
                *last = longer;
            }
            _ => lines.push(word.to_owned()),
        }
    }
    let area = middle(area, u16::try_from(lines.len()).unwrap_or(u16::MAX));
    for (row, line) in (0..).zip(&lines) {
        put(buf, area, 0, row, line, style);
    }
}

/// `area` without the rows above something `height` rows high in its middle.
fn middle(area: Rect, height: u16) -> Rect {
    room_below(area, area.height.saturating_sub(height).div_ceil(2))
}

/// The eight beats of the phrase. The present one is a solid block, and a
/// diamond stands where a figure starts.
pub(super) fn strip(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let width = area.width.saturating_sub(1);
    let left = |beat: u8| 1 + width * u16::from(beat - 1) / 8;
    let here = state.count();
    for beat in 1..=8_u8 {
        let cell = left(beat + 1) - left(beat);
        let place = Rect {
            x: area.x + left(beat),
            width: cell,
            ..area
        }
        .intersection(area);
        let mark = if figure_starts(state, beat) {
            "◆"
        } else {
            ""
        };
        let present = here == Some(beat);
        let label = match (present, cell) {
            (true, ..=5) => format!("[{mark}{beat}]"),
            (_, ..=5) => format!("{mark}{beat}"),
            _ if mark.is_empty() => beat.to_string(),
            _ => format!("{mark} {beat}"),
        };
        if place.height < 3 {
            let style = if present { ink.lit() } else { ink.plain() };
            put_middle(buf, place, 0, &label, style);
            continue;
        }
        let inner = Rect {
            width: place.width.saturating_sub(1),
            ..place
        };
        let past = here.is_some_and(|here| beat < here);
        let style = match (present, beat) {
            (true, _) => ink.lit(),
            (_, 1) => ink.one(),
            _ => ink.plain(),
        };
        strip_cell(inner, buf, (present, past), &label, style, ink);
    }
}

/// One beat of the strip: a solid block if it is the present one, a thick line below
/// if it is past, a thin one if it is to come.
fn strip_cell(
    area: Rect,
    buf: &mut Buffer,
    (present, past): (bool, bool),
    label: &str,
    style: Style,
    ink: Ink,
) {
    let row = |row| Rect {
        y: area.y + row,
        height: 1,
        ..area
    };
    let last = area.height - 1;
    if present {
        fill(row(0), buf, "▄", ink.strong());
        fill(row(last), buf, "▀", ink.strong());
        for between in 1..last {
            fill(row(between), buf, " ", style);
        }
    } else {
        fill(row(last), buf, if past { "▬" } else { "╌" }, ink.plain());
    }
    let figure = label.chars().next_back().map(String::from);
    let sign = figure.and_then(|figure| Sign::fit(&figure, area.width, last.min(3), 6));
    let Some(sign) = sign.filter(|_| area.height >= 5) else {
        return put_middle(buf, area, area.height / 2, label, style);
    };
    // Blocks are ink already: on a solid block they are drawn in its own paper.
    let x = sign.draw_middle(buf, area, 1, style);
    if label.starts_with('◆') {
        put(buf, area, x.saturating_sub(3), area.height / 2, "◆", style);
    }
}

/// Whether a figure starts on this beat of the present phrase.
fn figure_starts(state: &State, beat: u8) -> bool {
    let (Some(card), Some(place)) = (state.card(), state.place()) else {
        return false;
    };
    let first = place.beat - (u32::from(place.count()) - 1);
    card.starting_at(first + u32::from(beat) - 1).is_some()
}
