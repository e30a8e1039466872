//! The panels in the middle: the count, the figures, the strip of eight beats.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::widgets::{Block, BorderType, Widget};
use unicode_width::UnicodeWidthStr;

use super::letters::{self, DIGIT, Sign};
use super::state::State;
use super::text::sure_words;
use super::view::{Ink, fill, put, put_middle};

/// Most times that letters are enlarged: beyond that a call takes the screen.
const LARGEST_LETTERS: u16 = 3;

/// The count at the left, the figures at the right.
pub(super) fn body(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    // The digit sets the width: as large as the height allows, but never more
    // than two fifths of the screen.
    let part_rows = match area.height {
        0..=13 => 0,
        14..=25 => 4,
        _ => 7,
    };
    let scale = ((area.height - part_rows) * 2 / DIGIT.1)
        .min(area.width * 2 / 5 / DIGIT.0)
        .max(1);
    let width = (DIGIT.0 * scale + 4).min(area.width / 2);
    let left = Rect { width, ..area };
    let right = Rect {
        x: area.x + width,
        width: area.width - width,
        ..area
    };
    count(left, buf, state, ink, part_rows);
    figures(right, buf, state, ink);
}

fn count(area: Rect, buf: &mut Buffer, state: &State, ink: Ink, part_rows: u16) {
    let Some(count) = state.count() else {
        return waiting(area, buf, state, ink);
    };
    let style = if count == 1 { ink.one() } else { ink.strong() };
    let top = Rect {
        height: area.height - part_rows,
        ..area
    };
    if !letters::digit(buf, top, count, style) {
        put_middle(buf, top, top.height / 2, &count.to_string(), style);
    }
    if part_rows > 0
        && let Some(place) = state.place()
        && let Some(sign) = Sign::fit(place.part().name(), area.width, part_rows - 1, 2)
    {
        let x = area.width.saturating_sub(sign.width()) / 2;
        let below = Rect {
            x: area.x + x,
            y: area.y + top.height,
            width: area.width - x,
            height: part_rows,
        };
        sign.draw(buf, below, ink.plain());
    }
}

/// What stands in the place of the count while there is none.
fn waiting(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let (words, more) = if state.lead_in().is_some() {
        ("lead-in", "ready for one")
    } else if state.hears_beats() {
        (sure_words(None), "beats, but no phrase")
    } else {
        (sure_words(None), "no beat yet")
    };
    let middle = area.height / 2;
    put_middle(buf, area, middle.saturating_sub(1), words, ink.strong());
    put_middle(buf, area, middle + 1, more, ink.plain());
}

fn figures(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let now_rows = match area.height {
        0..=4 => 0,
        5..=8 => 2,
        9..=17 => 4,
        rows => (rows / 3).min(16),
    };
    let now = Rect {
        height: now_rows,
        ..area
    };
    let next = Rect {
        y: area.y + now_rows,
        height: area.height - now_rows,
        ..area
    };
    figure_now(now, buf, state, ink);
    figure_next(next, buf, state, ink);
}

fn figure_now(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let inside = Rect {
        x: area.x + 2,
        width: area.width.saturating_sub(3),
        ..area
    };
    let (label, words) = match (state.figure_now(), state.place()) {
        (Some(figure), Some(place)) => {
            let beat = place.beat.saturating_sub(figure.start_beat) + 1;
            let label = format!("NOW   beat {beat} of {}", figure.beats);
            (label, figure.name.clone())
        }
        _ => {
            let words = match (state.card(), state.lead_in(), state.place()) {
                (_, Some(_), _) => "lead-in heard",
                (None, _, Some(_)) => "the tune (no dance card)",
                _ => sure_words(None),
            };
            ("NOW".to_owned(), words.to_owned())
        }
    };
    put(buf, inside, 0, 0, &label, ink.plain());
    let room = Rect {
        y: inside.y + 1,
        height: inside.height.saturating_sub(1),
        ..inside
    };
    // The figure's beats as marks below its name.
    let marks = match (state.figure_now(), state.place()) {
        (Some(figure), Some(place)) => {
            let danced = place.beat.saturating_sub(figure.start_beat) + 1;
            (1..=figure.beats)
                .map(|beat| if beat <= danced { "■ " } else { "□ " })
                .collect()
        }
        _ => String::new(),
    };
    let rows = room.height.saturating_sub(3);
    let used = match Sign::fit(&words, room.width, rows, 2) {
        Some(sign) => {
            sign.draw(buf, room_below(room, 1), ink.strong());
            sign.height() + 2
        }
        None => {
            put(buf, room, 0, 0, &words, ink.strong());
            1
        }
    };
    put(buf, room, 0, used, &marks, ink.plain());
}

/// `area` without its first `rows` rows.
fn room_below(area: Rect, rows: u16) -> Rect {
    let rows = rows.min(area.height);
    Rect {
        y: area.y + rows,
        height: area.height - rows,
        ..area
    }
}

/// The block that lights up one beat ahead of a figure.
fn figure_next(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let up = state.present_cue();
    let next = match up {
        Some(cue) => cue.figure.as_ref().map(|figure| (figure, Some(1))),
        None => state.figure_next(),
    };
    let beats = next.and_then(|(_, beats)| beats).or_else(|| {
        let count = u32::from(state.count()?);
        state.card().is_none().then_some(9 - count)
    });
    let title = match (up, beats) {
        (Some(_), _) | (None, Some(1)) => " NEXT BEAT ".to_owned(),
        (None, Some(beats)) => format!(" NEXT in {beats} beats "),
        (None, None) => " FIRST ".to_owned(),
    };
    let (call, short) = match next {
        Some((figure, _)) => (figure.call.as_str(), figure.short.as_deref()),
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
    words(inside, buf, call, short, style);
}

/// The call in large letters; its short form, with the whole call below, where
/// that can be larger; else the call in plain letters.
fn words(area: Rect, buf: &mut Buffer, call: &str, short: Option<&str>, style: Style) {
    let whole = Sign::fit(call, area.width, area.height, LARGEST_LETTERS);
    let rows = area.height.saturating_sub(2);
    let short = short.and_then(|short| Sign::fit(short, area.width, rows, LARGEST_LETTERS));
    let scale = |sign: &Option<Sign>| sign.as_ref().map_or(0, |sign| sign.scale);
    let shorter = scale(&short) > scale(&whole);
    match (whole, short) {
        (_, Some(short)) if shorter => {
            let top = middle(area, short.height() + 2);
            short.draw(buf, top, style);
            put(buf, top, 0, short.height() + 1, call, style);
        }
        (Some(whole), _) => whole.draw(buf, middle(area, whole.height()), style),
        _ => plain_words(area, buf, call, style),
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
        let row = |row| Rect {
            y: inner.y + row,
            height: 1,
            ..inner
        };
        if present {
            fill(row(0), buf, "▄", ink.strong());
            fill(row(1), buf, " ", ink.lit());
            fill(row(2), buf, "▀", ink.strong());
            put_middle(buf, inner, 1, &label, ink.lit());
        } else {
            let style = if beat == 1 { ink.one() } else { ink.plain() };
            put_middle(buf, inner, 1, &label, style);
            let past = here.is_some_and(|here| beat < here);
            fill(row(2), buf, if past { "▬" } else { "╌" }, ink.plain());
        }
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
