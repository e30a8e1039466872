//! The rows below the strip: where the tune is, how fast it goes, how sure the
//! program is, how loud the microphone is.

use ratatui::buffer::Buffer;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

use super::letters::put_large;
use super::state::{InputLevel, State};
use super::text::{bar, clock, sure_words};
use super::view::{Ink, put, put_middle, put_right, room_right};
use crate::phrase::Part;
use crate::report::tempo::Advice;

/// A peak this far below full scale, in decibels, is too quiet, and one still lower is
/// nothing at all. Our own choice: the second leaves some eight of sixteen bits.
const QUIET: f32 = 34.0;
const NOTHING: f32 = 46.0;
/// Decibels of one mark of the level's bar.
const MARK: f32 = 6.0;
/// Marks of the bar.
const MARKS: usize = 8;
/// Columns from which words are written out.
const WIDE: u16 = 60;

/// The rows, as many as there is room for: place, tempo, time and level. Where
/// [`large`] says the rest already, the first has the switches and the second goes.
pub(super) fn rows(area: Rect, buf: &mut Buffer, state: &State, with_large: bool, ink: Ink) {
    let row = |y: u16| Rect {
        y: area.y + y,
        height: 1,
        ..area
    };
    if area.height > 0 {
        let used = place_row(row(0), buf, state, ink);
        match with_large {
            true => put_switches(row(0), buf, used + 1, state, ink),
            false => sure_at_right(row(0), buf, used + 1, state, ink),
        }
    }
    if with_large {
        return time_row(row(1), buf, state, ink);
    }
    if area.height > 1 {
        tempo_row(row(1), buf, state, ink);
    }
    if area.height > 2 {
        time_row(row(2), buf, state, ink);
    }
}

fn put_switches(area: Rect, buf: &mut Buffer, from: u16, state: &State, ink: Ink) {
    if let Some(all) = switches(state).first() {
        put_right(buf, area, from, 0, &format!("{all} "), ink.plain());
    }
}

/// The parts of the form with the present one marked, as (text, present).
fn parts(state: &State) -> Vec<(String, bool)> {
    let here = state.part();
    (0..state.form().beats() / 16)
        .filter_map(|i| Part::from_index(u8::try_from(i).ok()?))
        .map(|part| match Some(part) == here {
            true => (format!("[{part}]"), true),
            false => (format!(" {part} "), false),
        })
        .collect()
}

/// Part and time through at the left; tells how many columns that took.
fn place_row(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) -> u16 {
    let wide = area.width >= WIDE;
    let mut x = 1;
    for (text, present) in parts(state) {
        let style = if present { ink.lit() } else { ink.plain() };
        x += put(buf, area, x, 0, &text, style) + u16::from(wide);
    }
    if let Some(place) = state.place() {
        let mut words = match wide {
            true => format!("  time through {}", place.time_through),
            false => format!("time {}", place.time_through),
        };
        if let Some(times) = state.times.filter(|times| *times >= place.time_through) {
            words += &match wide {
                true => format!(" of {times}"),
                false => format!("/{times}"),
            };
        }
        x += put(buf, area, x, 0, &words, ink.plain());
    }
    x
}

/// How sure the program is, in words and as a bar if that fits.
fn sure_at_right(area: Rect, buf: &mut Buffer, from: u16, state: &State, ink: Ink) {
    let words = doubt(state);
    let marks = if area.width >= WIDE { 10 } else { 4 };
    let share = state.sure().unwrap_or(0.0);
    let both = format!("{words} {} ", bar(share, marks));
    let text = match usize::from(from) + both.width() <= usize::from(area.width) {
        true => both,
        false => format!("{words} "),
    };
    put_right(buf, area, from, 0, &text, ink.strong());
}

/// How sure the program is, in words.
pub(super) fn doubt(state: &State) -> &'static str {
    match state.sure() {
        None if state.lead_in().is_some() => "lead-in heard",
        None if state.count().is_some() => "not sure",
        Some(_) if state.other_form().is_some() => "form not sure",
        sure => sure_words(sure),
    }
}

/// The tempo against the wanted one at the left, the switches at the right.
fn tempo_row(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let switches = switches(state);
    let room = usize::from(area.width.saturating_sub(2));
    let fits = |words: &str, switches: &str| {
        let apart = if switches.is_empty() { 0 } else { 2 };
        words.width() + apart + switches.width() <= room
    };
    let tempo = tempo_wordings(state);
    // Rather shorter words than no switches; those that matter most stay longest.
    let all = tempo
        .iter()
        .flat_map(|words| switches.iter().map(move |s| (words, s)));
    let found = all.clone().find(|(words, switches)| fits(words, switches));
    let Some((words, switches)) = found.or_else(|| all.last()) else {
        return;
    };
    let style = advice_ink(state.advice().map(|(advice, _)| advice), ink);
    let used = 1 + put(buf, area, 1, 0, words, style);
    put_right(buf, area, used + 1, 0, &format!("{switches} "), ink.plain());
}

/// A tempo that is not as wanted stands out.
fn advice_ink(advice: Option<Advice>, ink: Ink) -> Style {
    match advice {
        None | Some(Advice::Good) => ink.strong(),
        Some(_) => ink.message(),
    }
}

/// The tempo in words, from long to short.
fn tempo_wordings(state: &State) -> Vec<String> {
    let wanted = state.want().map(|want| format!("wanted {want}"));
    let Some(tempo) = state.steps_per_minute() else {
        return match wanted {
            Some(wanted) => vec![format!("{wanted} steps per minute"), wanted],
            None => vec![String::new()],
        };
    };
    let plain = format!("{tempo:.0} steps per minute");
    let short = format!("{tempo:.0} steps/min");
    match (state.advice(), wanted) {
        (Some((advice, said)), Some(wanted)) => {
            let mark = advice.mark();
            let words = advice.words();
            // A good tempo's sentence says the window once more.
            let said = if advice == Advice::Good { words } else { &said };
            vec![
                format!("{plain}   {mark} {said}   {wanted}"),
                format!("{plain}  {mark} {said}"),
                format!("{short} {mark} {said}"),
                format!("{tempo:.0} {mark} {said}"),
                format!("{short} {mark} {words}"),
                format!("{tempo:.0} {mark} {words}"),
                format!("{short} {mark}"),
            ]
        }
        (None, Some(wanted)) => vec![format!("{plain}   {wanted}"), plain, short],
        _ => vec![plain, short],
    }
}

/// What is on and off, from long to short; the last says only what is unusual.
fn switches(state: &State) -> Vec<String> {
    let on = |on| if on { "on" } else { "off" };
    let claps = if state.held { "held" } else { on(state.claps) };
    let mut all = Vec::new();
    let mut unusual = Vec::new();
    if state.silent {
        all.push("no sound".to_owned());
        unusual.push("no sound".to_owned());
    }
    all.push(format!("claps {claps}"));
    if claps != "on" {
        unusual.push(format!("claps {claps}"));
    }
    if let Some(voice) = state.voice {
        all.push(format!(
            "voice {}",
            if state.held { "held" } else { on(voice) }
        ));
    }
    all.push(format!("flash {}", on(state.flash)));
    let least = unusual.last().cloned().unwrap_or_default();
    if !state.flash {
        unusual.push("flash off".to_owned());
    }
    vec![all.join("   "), unusual.join("  "), least]
}

/// The time, and how far that is through the tune or how loud the microphone is.
fn time_row(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let used = put(buf, area, 1, 0, &clock(state.now()), ink.plain()) + 2;
    if let Some(level) = state.level() {
        level_row(room_right(area, used + 2), buf, level, ink);
        if let Some(length) = state.length {
            put_right(
                buf,
                area,
                area.width / 2,
                0,
                &format!("of {} ", clock(length)),
                ink.plain(),
            );
        }
        return;
    }
    let (Some(progress), Some(length)) = (state.progress(), state.length) else {
        return;
    };
    let end = clock(length);
    let bar = area.width.saturating_sub(used + end.len() as u16 + 2);
    let done = (f64::from(bar) * progress).round() as u16;
    let line: String = (0..bar).map(|x| if x < done { '━' } else { '┄' }).collect();
    put(buf, area, used, 0, &line, ink.plain());
    put_right(buf, area, used, 0, &format!("{end} "), ink.plain());
}

/// How loud the microphone is, as a bar and in words.
pub(super) fn level_row(area: Rect, buf: &mut Buffer, level: InputLevel, ink: Ink) {
    let (words, wrong) = heard(level);
    let style = if wrong { ink.message() } else { ink.plain() };
    let long = level_text(level.peak, words);
    let short = words.split(':').next().unwrap_or(words);
    let text = match long.width() <= usize::from(area.width) {
        true => long,
        false => format!("input {} {short}", bar(share(level.peak), MARKS / 2)),
    };
    put(buf, area, 0, 0, &text, style);
}

/// How loud a microphone is just now, from its peak (full scale 1) and whether it
/// clipped a moment ago: a bar and words.
pub fn level_words(peak: f32, clips: bool) -> String {
    let level = InputLevel {
        peak,
        loudest: peak,
        clips,
    };
    level_text(peak, heard(level).0)
}

fn level_text(peak: f32, words: &str) -> String {
    format!("input {} {words}", bar(share(peak), MARKS))
}

/// What to say of a level, and whether something is wrong with it.
fn heard(level: InputLevel) -> (&'static str, bool) {
    match below(level.loudest) {
        _ if level.clips => ("clipping: turn it down", true),
        b if b > NOTHING => ("nothing to hear", true),
        b if b > QUIET => ("too quiet: turn it up", true),
        _ => ("good", false),
    }
}

/// Decibels below full scale.
fn below(peak: f32) -> f32 {
    -20.0 * peak.max(1e-4).log10()
}

/// How much of the bar a peak fills.
fn share(peak: f32) -> f32 {
    1.0 - below(peak) / (MARK * MARKS as f32)
}

/// Rows of [`large`].
pub(super) const LARGE: u16 = 6;

/// Tempo, advice and certainty in large letters, where there is room to spare.
pub(super) fn large(area: Rect, buf: &mut Buffer, state: &State, ink: Ink) {
    let [through, tempo, advice, sure] = Layout::horizontal([
        Constraint::Fill(1),
        Constraint::Fill(2),
        Constraint::Fill(4),
        Constraint::Fill(3),
    ])
    .areas(area);
    if let Some(place) = state.place() {
        let number = place.time_through.to_string();
        captioned(through, buf, &number, "time through", ink.strong());
    }
    let want = state.want().map(|want| format!(", wanted {want}"));
    let caption = format!("steps per minute{}", want.unwrap_or_default());
    let steps = state.steps_per_minute();
    let steps = steps.map_or("-".to_owned(), |steps| format!("{steps:.0}"));
    captioned(tempo, buf, &steps, &caption, ink.strong());
    if let Some((given, said)) = state.advice() {
        let caption = format!("{0}  {said}  {0}", given.mark());
        let style = advice_ink(Some(given), ink);
        captioned(advice, buf, given.words(), &caption, style);
    }
    let words = doubt(state);
    let share = bar(state.sure().unwrap_or(0.0), 20);
    captioned(sure, buf, words.trim_end_matches('…'), &share, ink.strong());
}

/// Large words in the middle of `area`, with small ones below.
fn captioned(area: Rect, buf: &mut Buffer, words: &str, caption: &str, style: Style) {
    let rows = area.height.saturating_sub(1);
    let large = Rect {
        height: rows,
        ..area
    };
    put_large(buf, large, words, (4, 2 * rows), style);
    put_middle(buf, area, rows, caption, style);
}
