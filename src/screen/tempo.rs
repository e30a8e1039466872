//! The tempo meter's screen: the tempo in large figures, what to tell the band, a
//! scale with the wanted window, and the tempo over time.
//!
//! Advice is words and a mark; the colour only repeats them.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::widgets::{Sparkline, Widget};
use unicode_width::UnicodeWidthStr;

use super::keys::Keys;
use super::letters::put_large;
use super::text::{clock, steady_words};
use super::view::{Ink, fill, put, put_keys, put_middle, put_right, room_right};
use crate::report::tempo::{Advice, Estimate, Meter, Reading, Steadiness, Want, series, span};

/// Below this size only two lines are shown.
const LEAST: (u16, u16) = (28, 8);
/// Steps per minute that the scale shows beyond the window on either side.
const BESIDE: f64 = 12.0;
/// Half the width of the scale without a window.
const AROUND: f64 = 16.0;
/// Beats from which the whole is looked at only now and then.
const LONG: usize = 1000;
/// Dots in height of the largest figures.
const LARGEST: u16 = 24;

/// What a key means here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Press {
    /// A beat.
    Beat,
    /// Forget all beats.
    Anew,
    /// Stop.
    Quit,
}

/// The meaning of a key; `None` if it has none.
pub fn press(key: KeyEvent) -> Option<Press> {
    // A key held down is one beat, where the terminal tells.
    if key.kind != KeyEventKind::Press {
        return None;
    }
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    match key.code {
        KeyCode::Char('c' | 'd') if control => Some(Press::Quit),
        _ if control || key.modifiers.contains(KeyModifiers::ALT) => None,
        KeyCode::Char(' ') | KeyCode::Enter => Some(Press::Beat),
        KeyCode::Char('r' | 'R') => Some(Press::Anew),
        KeyCode::Char('q' | 'Q') | KeyCode::Esc => Some(Press::Quit),
        _ => None,
    }
}

/// What the screen shows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Dial {
    /// Where the beats come from: one line.
    pub source: String,
    /// What to do while there is no tempo yet.
    pub invitation: &'static str,
    /// The keys, one line.
    pub keys: Keys,
    /// The wanted window.
    pub want: Option<Want>,
    /// What to tell the band, as a sign and as words with the amount.
    pub advice: Option<(Advice, String)>,
    /// The tempo at the last beat.
    pub reading: Option<Reading>,
    /// Beats counted.
    pub beats: usize,
    /// Over all beats.
    pub whole: Option<Estimate>,
    /// Drift and spread.
    pub steadiness: Option<Steadiness>,
    /// The tempo over 8 beats at each beat: seconds, steps per minute.
    pub history: Vec<(f64, f64)>,
    /// Seconds since the first beat.
    pub seconds: f64,
    /// Whether a beat fell a moment ago.
    pub lit: bool,
    /// Whether colours are wanted.
    pub colour: bool,
}

impl Dial {
    /// Takes over what the meter knows now.
    pub fn update(&mut self, meter: &Meter) {
        self.reading = meter.reading();
        self.beats = meter.beats();
        // Late in an evening these take a tenth of a second, and hardly change.
        if self.beats < LONG || self.beats.is_multiple_of(8) {
            self.whole = meter.whole();
            self.steadiness = meter.steadiness();
        }
        if let Some((time, tempo)) = self.reading.and_then(|r| Some((r.time, r.over_8?))) {
            // Another reading of the music may have replaced the last beats.
            while self.history.pop_if(|last| last.0 >= time).is_some() {}
            self.history.push((time, tempo));
        }
    }

    /// Goes back to before the first beat.
    pub fn forget(&mut self) {
        self.history.clear();
        self.advice = None;
        self.update(&Meter::default());
    }

    /// The tempo to show largest: over 8 beats, before that what there is.
    fn tempo(&self) -> Option<f64> {
        self.reading.as_ref().and_then(Reading::latest)
    }
}

/// Draws the screen.
pub fn view(frame: &mut Frame, dial: &Dial) {
    draw(frame.area(), frame.buffer_mut(), dial);
}

/// Draws the screen into `area` of `buf`.
pub fn draw(area: Rect, buf: &mut Buffer, dial: &Dial) {
    let area = area.intersection(buf.area);
    let ink = Ink {
        colour: dial.colour,
    };
    if area.width < LEAST.0 || area.height < LEAST.1 {
        return tiny(area, buf, dial, ink);
    }
    let height = area.height;
    let if_at_least = |least: u16, rows: u16| if height >= least { rows } else { 0 };
    let [
        title,
        rule,
        figures,
        advice,
        _,
        scale,
        _,
        spans,
        steady,
        history,
        keys,
    ] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(if_at_least(14, 1)),
        Constraint::Min(3),
        Constraint::Length(1),
        Constraint::Length(if_at_least(22, 1)),
        Constraint::Length(if_at_least(11, 2)),
        Constraint::Length(if_at_least(24, 1)),
        Constraint::Length(1),
        Constraint::Length(if_at_least(12, 1)),
        Constraint::Length(if_at_least(16, 3) + if_at_least(26, 2)),
        Constraint::Length(1),
    ])
    .areas(area);

    let used = 1 + put(buf, title, 1, 0, &dial.source, ink.strong());
    let beats = match dial.beats {
        1 => "1 beat".to_owned(),
        beats => format!("{beats} beats"),
    };
    let time = format!("{beats}   {} ", clock(dial.seconds));
    put_right(buf, title, used + 2, 0, &time, ink.plain());
    if rule.height > 0 {
        fill(rule, buf, "─", ink.plain());
    }
    large(figures, buf, dial, ink);
    advice_row(advice, buf, dial, ink);
    scale_rows(scale, buf, dial, ink);
    span_row(spans, buf, dial, ink);
    steady_row(steady, buf, dial, ink);
    history_rows(history, buf, dial, ink);
    put_keys(buf, room_right(keys, 1), &[dial.keys], ink);
}

fn large(area: Rect, buf: &mut Buffer, dial: &Dial, ink: Ink) {
    let Some(tempo) = dial.tempo() else {
        let row = area.height / 2;
        return put_middle(buf, area, row, dial.invitation, ink.strong());
    };
    // The last row says what the figures are.
    let [figures, caption] =
        Layout::vertical([Constraint::Min(1), Constraint::Length(1)]).areas(area);
    let text = format!("{tempo:.1}");
    // Not lit at a beat: taps may come faster than anything may flash, and the small
    // marks below are enough.
    put_large(buf, figures, &text, (2, LARGEST), ink.strong());
    let over = match dial.reading.and_then(|r| r.over_8) {
        Some(_) => "steps per minute, over 8 beats",
        None => "steps per minute, so far",
    };
    let mark = if dial.lit { "●" } else { "○" };
    put_middle(
        buf,
        caption,
        0,
        &format!("{mark} {over} {mark}"),
        ink.plain(),
    );
}

fn advice_row(area: Rect, buf: &mut Buffer, dial: &Dial, ink: Ink) {
    match (&dial.advice, dial.want) {
        (Some((advice, words)), _) => {
            let text = format!(" {0}  {words}  {0} ", advice.mark());
            let style = match advice {
                Advice::Good => ink.next().patch(ink.strong()),
                _ => ink.message().patch(ink.lit()),
            };
            put_middle(buf, area, 0, &text, style);
        }
        (None, Some(want)) => {
            let text = format!("wanted: {want} steps per minute");
            put_middle(buf, area, 0, &text, ink.plain());
        }
        (None, None) => {}
    }
}

/// A scale of tempi with the window drawn thick and a pointer below it.
fn scale_rows(area: Rect, buf: &mut Buffer, dial: &Dial, ink: Ink) {
    let tempo = dial.tempo();
    let (low, high) = match (dial.want, dial.whole, tempo) {
        (Some(want), ..) => (want.low() - BESIDE, want.high() + BESIDE),
        // Around the whole, rounded, so that the scale stands still.
        (None, Some(whole), _) => {
            let middle = (whole.value / 8.0).round() * 8.0;
            (middle - AROUND, middle + AROUND)
        }
        _ => return,
    };
    let (left, right) = (format!("{low:.0} "), format!(" {high:.0}"));
    let room = area
        .width
        .saturating_sub(2 + (left.len() + right.len()) as u16);
    if area.height < 2 || room < 12 {
        return;
    }
    let column = |tempo: f64| {
        let share = ((tempo - low) / (high - low)).clamp(0.0, 1.0);
        (share * f64::from(room - 1)).round() as u16
    };
    let from = 1 + put(buf, area, 1, 0, &left, ink.plain());
    for x in 0..room {
        let inside = dial
            .want
            .is_some_and(|want| (column(want.low())..=column(want.high())).contains(&x));
        let (symbol, style) = match inside {
            true => ("━", ink.next()),
            false => ("┄", ink.plain()),
        };
        put(buf, area, from + x, 0, symbol, style);
    }
    if let Some(want) = dial.want {
        put(buf, area, from + column(want.low()), 0, "┣", ink.next());
        put(buf, area, from + column(want.high()), 0, "┫", ink.next());
    }
    put(buf, area, from + room, 0, &right, ink.plain());
    if let Some(tempo) = tempo {
        let at = from + column(tempo);
        let pointer = match tempo {
            t if t < low => "◀",
            t if t > high => "▶",
            _ => "▲",
        };
        put(buf, area, at, 1, pointer, ink.strong());
        if let Some(want) = dial.want {
            // The window's ends, where the pointer leaves room for them.
            for end in [want.low(), want.high()] {
                let text = format!("{end}");
                let x = from + column(end).saturating_sub(text.len() as u16 / 2);
                if at + 1 < x || at > x + text.len() as u16 {
                    put(buf, area, x, 1, &text, ink.plain());
                }
            }
        }
    }
}

fn span_row(area: Rect, buf: &mut Buffer, dial: &Dial, ink: Ink) {
    let Some(reading) = dial.reading else {
        return;
    };
    let figure = |tempo: Option<f64>| tempo.map_or("-".to_owned(), |t| format!("{t:.1}"));
    let whole = figure(dial.whole.map(|w| w.value));
    let full = [
        format!("now {}", figure(reading.now)),
        format!("8 beats {}", figure(reading.over_8)),
        format!("64 beats {}", figure(reading.over_64)),
        format!("whole {whole}"),
    ];
    let text = full.join("     ");
    let text = match text.width() + 2 <= usize::from(area.width) {
        true => text,
        false => format!("{}  whole {whole}", full[0]),
    };
    put_middle(buf, area, 0, &text, ink.strong());
}

fn steady_row(area: Rect, buf: &mut Buffer, dial: &Dial, ink: Ink) {
    if let Some(steady) = dial.steadiness {
        put_middle(buf, area, 0, &steady_words(&steady), ink.plain());
    }
}

fn history_rows(area: Rect, buf: &mut Buffer, dial: &Dial, ink: Ink) {
    let labels = 6;
    if area.height == 0 || area.width < labels + 12 {
        return;
    }
    let columns = area.width - labels - 2;
    let tempi = series(&dial.history, usize::from(columns));
    if tempi.len() < 2 {
        return;
    }
    let (low, high) = span(&tempi);
    let label = Rect {
        width: labels,
        ..area
    };
    for (row, tempo) in [(0, high), (area.height - 1, low)] {
        put_right(buf, label, 0, row, &format!("{tempo:.0} "), ink.plain());
    }
    let steps = u64::from(area.height) * 8;
    let bars: Vec<Option<u64>> = tempi
        .iter()
        .map(|tempo| {
            let share = |t: f64| (t - low) / (high - low);
            // Never empty: an empty bar would be a pause.
            tempo.map(|t| 1 + (share(t) * (steps - 1) as f64).round() as u64)
        })
        .collect();
    let place = Rect {
        x: area.x + labels,
        width: columns,
        ..area
    };
    Sparkline::default()
        .data(bars)
        .max(steps)
        .style(ink.next())
        .render(place, buf);
}

/// What still helps on a few cells.
fn tiny(area: Rect, buf: &mut Buffer, dial: &Dial, ink: Ink) {
    let tempo = match dial.tempo() {
        Some(tempo) => format!("{tempo:.1} steps/min"),
        None => dial.invitation.to_owned(),
    };
    let advice = dial
        .advice
        .as_ref()
        .map(|(advice, words)| format!("{} {words}", advice.mark()));
    match (advice, area.height) {
        (Some(advice), 2..) => {
            put(buf, area, 0, 0, &tempo, ink.strong());
            put(buf, area, 0, 1, &advice, ink.strong());
        }
        (Some(advice), _) => {
            let short = dial.tempo().map_or(String::new(), |t| format!("{t:.1} "));
            put(buf, area, 0, 0, &format!("{short}{advice}"), ink.strong());
        }
        (None, _) => {
            put(buf, area, 0, 0, &tempo, ink.strong());
        }
    }
}

#[cfg(test)]
mod tests;
