//! Drawing a [`State`]: which panel goes where at which size.
//!
//! Nothing is told by colour alone: the present beat has a shape, doubt has
//! words and marks, a cue has a border of its own and words.

use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Color, Modifier, Style};
use ratatui::widgets::{Block, BorderType, Clear, Widget};
use unicode_width::UnicodeWidthStr;

use super::keys::{HELP, HELP_CALLS, HELP_EVENING, Hand, KEYS, KEYS_CALLS, KEYS_EVENING, Keys};
use super::panels;
use super::state::State;
use super::status;
use super::text::fit;
use crate::dance::TuneKind;
use crate::phrase::Part;

/// Below this size only a line or two is shown.
const LEAST: (u16, u16) = (24, 7);

/// From this size on the strip and the rows below it have large letters too.
const LARGE: (u16, u16) = (150, 44);

/// Draws the whole screen.
pub fn view(frame: &mut Frame, state: &State) {
    draw(frame.area(), frame.buffer_mut(), state);
}

/// Draws the whole screen into `area` of `buf`.
pub fn draw(area: Rect, buf: &mut Buffer, state: &State) {
    let area = area.intersection(buf.area);
    let ink = Ink {
        colour: state.colour,
    };
    if area.width < LEAST.0 || area.height < LEAST.1 {
        return tiny(area, buf, state, ink);
    }
    let height = area.height;
    let if_at_least = |least: u16, rows: u16| if height >= least { rows } else { 0 };
    let large = area.width >= LARGE.0 && height >= LARGE.1;
    let strip_rows = match height {
        _ if large => 5,
        18.. => 3,
        _ => 1,
    };
    let status_rows = match height {
        _ if large => 2,
        14.. => 3,
        11.. => 2,
        9.. => 1,
        _ => 0,
    };
    let [title, rule, body, strip, figures, status, message] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(if_at_least(
            if state.evening.is_empty() { 16 } else { 9 },
            1,
        )),
        Constraint::Min(3),
        Constraint::Length(strip_rows),
        Constraint::Length(if large { status::LARGE + 1 } else { 0 }),
        Constraint::Length(status_rows),
        Constraint::Length(if_at_least(8, 1)),
    ])
    .areas(area);

    title_row(title, buf, state, ink);
    if rule.height > 0 {
        match state.evening.is_empty() {
            true => fill(rule, buf, "─", ink.plain()),
            false => evening_row(rule, buf, state, ink),
        }
    }
    panels::body(body, buf, state, ink);
    panels::strip(strip, buf, state, ink);
    if large {
        status::large(room_below(figures, 1), buf, state, ink);
    }
    status::rows(status, buf, state, large, ink);
    message_row(message, buf, state, height < 14, ink);
    if state.help {
        help(area, buf, state, ink);
    }
}

/// Where the evening stands, in as many words as there is room for.
fn evening_row(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let room = usize::from(area.width.saturating_sub(2));
    let words = state.evening.iter();
    let fits = words.clone().find(|words| words.width() <= room);
    if let Some(words) = fits.or(words.last()) {
        fill(area, buf, " ", ink.lit());
        put(buf, area, 1, 0, words, ink.lit());
    }
}

/// The styles of the screen. Without colour only weight and reversal are left.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ink {
    pub(super) colour: bool,
}

impl Ink {
    fn tinted(self, colour: Color) -> Style {
        match self.colour {
            true => Style::new().fg(colour),
            false => Style::new(),
        }
    }

    pub(super) fn plain(self) -> Style {
        Style::new()
    }

    pub(super) fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// The first beat of a phrase.
    pub(super) fn one(self) -> Style {
        self.tinted(Color::LightMagenta)
            .add_modifier(Modifier::BOLD)
    }

    /// What comes next.
    pub(super) fn next(self) -> Style {
        self.tinted(Color::LightCyan)
    }

    /// The present one of several.
    pub(super) fn lit(self) -> Style {
        Style::new().add_modifier(Modifier::REVERSED | Modifier::BOLD)
    }

    /// A cue that flashes.
    pub(super) fn flash(self) -> Style {
        self.tinted(Color::LightYellow)
            .add_modifier(Modifier::REVERSED | Modifier::BOLD)
    }

    pub(super) fn message(self) -> Style {
        self.tinted(Color::LightYellow).add_modifier(Modifier::BOLD)
    }
}

/// `area` without its first `rows` rows.
pub(super) fn room_below(area: Rect, rows: u16) -> Rect {
    let rows = rows.min(area.height);
    Rect {
        y: area.y + rows,
        height: area.height - rows,
        ..area
    }
}

/// `area` without its first `columns` columns.
pub(super) fn room_right(area: Rect, columns: u16) -> Rect {
    let columns = columns.min(area.width);
    Rect {
        x: area.x + columns,
        width: area.width - columns,
        ..area
    }
}

/// Writes `text` at the left of row `row` of `area`, cut to fit; tells how many
/// columns it took.
pub(super) fn put(buf: &mut Buffer, area: Rect, x: u16, row: u16, text: &str, style: Style) -> u16 {
    if row >= area.height || x >= area.width {
        return 0;
    }
    let text = fit(text, usize::from(area.width - x));
    let (end, _) = buf.set_stringn(
        area.x + x,
        area.y + row,
        &text,
        usize::from(area.width - x),
        style,
    );
    end - (area.x + x)
}

/// Writes `text` in the middle of row `row`.
pub(super) fn put_middle(buf: &mut Buffer, area: Rect, row: u16, text: &str, style: Style) {
    let width = u16::try_from(text.width()).unwrap_or(u16::MAX);
    put(
        buf,
        area,
        area.width.saturating_sub(width) / 2,
        row,
        text,
        style,
    );
}

/// Writes `text` at the right of row `row` if it fits behind column `from`.
pub(super) fn put_right(
    buf: &mut Buffer,
    area: Rect,
    from: u16,
    row: u16,
    text: &str,
    style: Style,
) {
    let width = u16::try_from(text.width()).unwrap_or(u16::MAX);
    if let Some(x) = area.width.checked_sub(width)
        && x >= from
    {
        put(buf, area, x, row, text, style);
    }
}

/// The first of some wordings of the keys that fits in the first row: keys stand out, what
/// they do is plain.
pub(super) fn put_keys(buf: &mut Buffer, area: Rect, wordings: &[Keys], ink: Ink) {
    const APART: u16 = 3;
    let width = |(key, words): &(&str, &str)| (key.width() + 1 + words.width()) as u16;
    let whole = |keys: &Keys| keys.iter().map(|k| width(k) + APART).sum::<u16>();
    // The last one has nothing behind it, and the row's last column stays free.
    let fits = |keys: &&Keys| whole(keys) < area.width + APART;
    let mut x = 0;
    for key in wordings.iter().find(fits).copied().unwrap_or_default() {
        let used = put(buf, area, x, 0, key.0, ink.strong());
        put(buf, area, x + used + 1, 0, key.1, ink.plain());
        x += width(key) + APART;
    }
}

pub(super) fn fill(area: Rect, buf: &mut Buffer, symbol: &str, style: Style) {
    for position in area.positions() {
        if let Some(cell) = buf.cell_mut(position) {
            cell.set_symbol(symbol).set_style(style);
        }
    }
}

fn title_row(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let keys = "? keys ";
    let Some(card) = state.card() else {
        let used = put(buf, area, 1, 0, &state.tune, ink.strong());
        return put_right(buf, area, used + 3, 0, keys, ink.plain());
    };
    let mut used = 1 + put(buf, area, 1, 0, card.title(), ink.strong());
    let tune = match card.tune() {
        TuneKind::Any => "any tune".to_owned(),
        kind => kind.to_string(),
    };
    let mut about = format!("{} · {tune}", card.formation());
    if let Some(difficulty) = card.difficulty() {
        about = format!("{about} · {difficulty}");
    }
    let room = area.width.saturating_sub(used + keys.len() as u16 + 5);
    if about.width() <= usize::from(room) {
        used += 3 + put(buf, area, used + 3, 0, &about, ink.plain());
    }
    let tune = format!("to {}   {keys}", state.tune);
    let fits =
        !state.tune.is_empty() && tune.width() + usize::from(used) + 3 <= usize::from(area.width);
    let right = if fits { &tune } else { keys };
    put_right(buf, area, used + 2, 0, right, ink.plain());
}

/// What has just happened; else that claps are held back, or the level of a
/// microphone if it has no row of its own; else some keys.
fn message_row(area: Rect, buf: &mut Buffer, state: &State, with_level: bool, ink: Ink) {
    let inside = room_right(area, 1);
    if let Some(message) = &state.message {
        put(buf, inside, 0, 0, message, ink.message());
        return;
    }
    if state.held {
        let words = "sound is held back: h lets it go on";
        put(buf, inside, 0, 0, words, ink.message());
        return;
    }
    if let (true, Some(level)) = (with_level, state.level()) {
        return status::level_row(inside, buf, level, ink);
    }
    let hints: &[Keys] = match (state.hand, state.evening.is_empty()) {
        (Hand::Calls, _) => &KEYS_CALLS,
        (Hand::Counts, true) => &KEYS,
        (Hand::Counts, false) => &KEYS_EVENING,
    };
    put_keys(buf, inside, hints, ink);
}

fn help(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let (more, keys) = match (state.hand, state.evening.is_empty()) {
        (Hand::Calls, _) => (&[][..], &HELP_CALLS[..]),
        (Hand::Counts, true) => (&[][..], &HELP[..]),
        (Hand::Counts, false) => (&HELP_EVENING[..], &HELP[..]),
    };
    let keys: Vec<_> = more.iter().chain(keys).collect();
    let width = 46.min(area.width);
    let height = (keys.len() as u16 + 2).min(area.height);
    let place = Rect {
        x: area.x + (area.width - width) / 2,
        y: area.y + (area.height - height) / 2,
        width,
        height,
    };
    Clear.render(place, buf);
    let block = Block::bordered()
        .border_type(BorderType::Double)
        .title(" keys ");
    let inside = block.inner(place);
    block.render(place, buf);
    for (row, (key, meaning)) in (0..).zip(keys) {
        put(buf, inside, 1, row, key, ink.strong());
        put(buf, inside, 8, row, meaning, ink.plain());
    }
}

/// What still helps on a few cells: the count, the part, the next figure.
fn tiny(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let count = state.count().map_or("-".to_owned(), |c| c.to_string());
    let part = state.part().map_or("", Part::name);
    let cue = match state.present_cue() {
        Some(cue) => cue.call.clone(),
        None if state.ends_in().is_some() => panels::END.to_owned(),
        None => state
            .figure_next()
            .map_or_else(String::new, |(figure, _)| figure.name.clone()),
    };
    let marked = if state.present_cue().is_some() {
        '▶'
    } else {
        '>'
    };
    let style = if state.lit() {
        ink.flash()
    } else {
        ink.strong()
    };
    if area.height >= 2 {
        let line = format!("{count} {part} {}", status::doubt(state));
        put(buf, area, 0, 0, &line, ink.strong());
        put(buf, area, 0, 1, &format!("{marked} {cue}"), style);
    } else {
        put(
            buf,
            area,
            0,
            0,
            &format!("{count} {part} {marked} {cue}"),
            style,
        );
    }
}
