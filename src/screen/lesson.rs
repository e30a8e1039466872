//! The lesson's screen: what to say, and during a drill the count, how loud the
//! program still claps, and how the room does.
//!
//! Every verdict has a sign of its own and words; colour only repeats them.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::Style;

use super::flash::{Lamp, Limiter};
use super::keys::Keys;
use super::letters;
use super::text::{bar, clock};
use super::view::{Ink, fill, put, put_keys, put_middle, put_right, room_right};
use crate::dance::lesson::{Lesson, Step};
use crate::follow::drill::{Feel, Moment, Verdict};
use crate::report::lesson::{drill_in_words, wrap};

/// Columns of the count, from so many columns on.
const COUNT: u16 = 26;
const WIDE: u16 = 70;
/// Seconds for which a message stays.
const SHOWN: f64 = 8.0;

/// What a key means here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LessonPress {
    /// On to the next step.
    Next,
    /// Back to the step before.
    Back,
    /// Start the drill, or stop it.
    Drill,
    /// The drill, or the step, from its beginning.
    Again,
    /// The program's claps on or off.
    Claps,
    /// Flashing on or off.
    Flash,
    /// Stop.
    Quit,
}

/// The keys as the last row shows them, from long to short.
const KEYS: [Keys; 3] = [
    &[
        ("space", "drill"),
        ("n", "next step"),
        ("b", "back"),
        ("a", "again"),
        ("c", "my claps"),
        ("f", "flash"),
        ("q", "quit"),
    ],
    &[
        ("space", "drill"),
        ("n", "next"),
        ("b", "back"),
        ("q", "quit"),
    ],
    &[("space", "drill"), ("n", "next")],
];

/// The meaning of a key; `None` if it has none.
pub fn lesson_press(key: KeyEvent) -> Option<LessonPress> {
    // Holding a key down must not run through the lesson.
    if key.kind != KeyEventKind::Press {
        return None;
    }
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    match key.code {
        KeyCode::Char('c' | 'd') if control => Some(LessonPress::Quit),
        _ if control || key.modifiers.contains(KeyModifiers::ALT) => None,
        KeyCode::Char(' ') => Some(LessonPress::Drill),
        KeyCode::Char('n' | 'N') | KeyCode::Right | KeyCode::PageDown | KeyCode::Enter => {
            Some(LessonPress::Next)
        }
        KeyCode::Char('b' | 'B') | KeyCode::Left | KeyCode::PageUp => Some(LessonPress::Back),
        KeyCode::Char('a' | 'A') => Some(LessonPress::Again),
        KeyCode::Char('c' | 'C') => Some(LessonPress::Claps),
        KeyCode::Char('f' | 'F') => Some(LessonPress::Flash),
        KeyCode::Char('q' | 'Q') | KeyCode::Esc => Some(LessonPress::Quit),
        _ => None,
    }
}

/// What the screen shows, as plain data.
#[derive(Debug, Clone)]
pub struct LessonState {
    lesson: Lesson,
    at: usize,
    /// When the step began, and what it is now, seconds of a clock that never
    /// goes back.
    since: f64,
    now: f64,
    /// Where the drill is, while one is played.
    moment: Option<Moment>,
    /// How loud the program claps in this phrase, 0 to 1.
    own: f32,
    verdicts: Vec<Verdict>,
    phrases: u32,
    message: Option<(String, f64)>,
    /// What is to be said of the microphone.
    pub microphone: String,
    /// Whether the program's claps are on.
    pub claps: bool,
    /// Whether the screen may flash.
    pub flash: bool,
    /// Whether colours are used.
    pub colour: bool,
    limiter: Limiter,
    lamp: Lamp,
}

impl LessonState {
    /// The first step of a lesson.
    pub fn new(lesson: Lesson, flash: bool, colour: bool) -> Self {
        LessonState {
            lesson,
            at: 0,
            since: 0.0,
            now: 0.0,
            moment: None,
            own: 0.0,
            verdicts: Vec::new(),
            phrases: 0,
            message: None,
            microphone: String::new(),
            claps: true,
            flash,
            colour,
            limiter: Limiter::default(),
            lamp: Lamp::default(),
        }
    }

    /// The step that is on, and its number from 1.
    pub fn step(&self) -> (usize, &Step) {
        (self.at + 1, &self.lesson.steps()[self.at])
    }

    /// Goes to the next step, or the one before; false if there is none. A drill's
    /// verdicts are forgotten with its step.
    pub fn go(&mut self, forward: bool) -> bool {
        let to = match forward {
            true => self.at + 1,
            false => self.at.wrapping_sub(1),
        };
        let there = to < self.lesson.steps().len();
        if there {
            self.at = to;
            self.begin_again();
            self.message = None;
        }
        there
    }

    /// The step begins anew.
    pub fn begin_again(&mut self) {
        self.since = self.now;
        self.verdicts.clear();
        self.moment = None;
    }

    /// A drill of so many phrases begins.
    pub fn drill(&mut self, phrases: u32) {
        self.verdicts.clear();
        self.phrases = phrases;
        self.moment = Some(Moment::default());
    }

    /// The drill is at `moment`, with the program's clap so loud.
    pub fn drilled(&mut self, moment: Moment, own: f32) {
        self.moment = Some(moment);
        self.own = own;
    }

    /// The drill is over.
    pub fn drill_over(&mut self) {
        self.moment = None;
    }

    /// Whether a drill is played.
    pub fn is_drilling(&self) -> bool {
        self.moment.is_some()
    }

    /// The room was judged.
    pub fn judged(&mut self, verdict: Verdict) {
        self.verdicts.push(verdict);
    }

    /// How the room did so far.
    pub fn verdicts(&self) -> &[Verdict] {
        &self.verdicts
    }

    /// Shows a message for some seconds.
    pub fn say(&mut self, message: String) {
        self.message = Some((message, self.now + SHOWN));
    }

    /// Moves the clock, seconds.
    pub fn tick(&mut self, now: f64) {
        self.now = now;
        self.message.take_if(|(_, until)| now >= *until);
        let one = self.moment.is_some_and(|m| m.count == Some(1));
        self.lamp.at(now, one && self.flash, &mut self.limiter);
    }

    fn lit(&self) -> bool {
        self.flash && self.lamp.lit()
    }
}

/// Draws the screen.
pub fn lesson_view(frame: &mut Frame, state: &LessonState) {
    draw(frame.area(), frame.buffer_mut(), state);
}

fn draw(area: Rect, buf: &mut Buffer, state: &LessonState) {
    let ink = Ink {
        colour: state.colour,
    };
    let height = area.height;
    let if_at_least = |least: u16, rows: u16| if height >= least { rows } else { 0 };
    let [title, rule, body, room, last, keys] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(if_at_least(10, 1)),
        Constraint::Min(1),
        Constraint::Length(if_at_least(6, 1)),
        Constraint::Length(if_at_least(7, 1)),
        Constraint::Length(if_at_least(4, 1)),
    ])
    .areas(area);
    title_row(title, buf, state, ink);
    if rule.height > 0 {
        fill(rule, buf, "─", ink.plain());
    }
    let text = match state.moment {
        Some(moment) => {
            let wide = area.width >= WIDE;
            let width = if wide {
                COUNT.min(body.width)
            } else {
                6.min(body.width)
            };
            count(Rect { width, ..body }, buf, state, moment, ink);
            room_right(body, width)
        }
        None => body,
    };
    script(text, buf, state.step().1, ink);
    room_row(room, buf, state, ink);
    own_row(last, buf, state, ink);
    keys_row(keys, buf, state, ink);
}

fn title_row(area: Rect, buf: &mut Buffer, state: &LessonState, ink: Ink) {
    let (n, step) = state.step();
    let time = format!(
        "{} of {} min ",
        clock(state.now - state.since),
        step.minutes
    );
    let title = format!("{n} of {}   {}", state.lesson.steps().len(), step.title);
    let used = 1 + put(buf, area, 1, 0, &title, ink.strong());
    put_right(buf, area, used + 2, 0, &time, ink.plain());
}

/// The count as large as its room, or the lead-in's beats.
fn count(area: Rect, buf: &mut Buffer, state: &LessonState, moment: Moment, ink: Ink) {
    let style = if state.lit() { ink.one() } else { ink.strong() };
    let middle = area.height / 2;
    match (moment.count, moment.lead_in) {
        (Some(count), _) => {
            let room = Rect {
                x: area.x + 1,
                width: area.width.saturating_sub(3),
                ..area
            };
            if !letters::digit(buf, room, count, style) {
                put_middle(buf, area, middle, &count.to_string(), style);
            }
        }
        (None, Some(beat)) => {
            put_middle(buf, area, middle.saturating_sub(1), "lead-in", ink.strong());
            put_middle(buf, area, middle + 1, &beat.to_string(), ink.strong());
        }
        (None, None) => put_middle(buf, area, middle, "…", ink.plain()),
    }
}

/// What to say, what the room does, what to watch, cautions.
fn script(area: Rect, buf: &mut Buffer, step: &Step, ink: Ink) {
    let width = usize::from(area.width.saturating_sub(2));
    let mut rows: Vec<(&str, String, Style)> = Vec::new();
    let mut add = |text: &str, label: &'static str, style| {
        let lines = wrap(text, label, width);
        rows.extend(lines.lines().map(|line| (label, line.to_owned(), style)));
    };
    for line in &step.say {
        add(line, "» ", ink.strong());
    }
    for line in &step.caution {
        add(line, "! ", ink.message());
    }
    if let Some(room) = &step.room {
        add(room, "room: ", ink.plain());
    }
    if let Some(watch) = &step.watch {
        add(watch, "watch: ", ink.plain());
    }
    if let Some(drill) = &step.drill {
        add(&drill_in_words(drill), "drill: ", ink.next());
    }
    let room = usize::from(area.height);
    if rows.len() > room && room > 0 {
        rows.truncate(room - 1);
        let more = "… (more: make the window larger)".to_owned();
        rows.push(("", more, ink.plain()));
    }
    // Kinds of lines stand apart where there is room for that.
    let apart = rows.windows(2).filter(|two| two[0].0 != two[1].0).count();
    let apart = rows.len() + apart <= room;
    let (mut row, mut before) = (0, rows.first().map_or("", |first| first.0));
    for (label, line, style) in &rows {
        row += u16::from(apart && *label != before);
        put(buf, area, 1, row, line, *style);
        (row, before) = (row + 1, label);
    }
}

/// One sign a verdict.
fn sign(feel: Feel) -> &'static str {
    match feel {
        Feel::Nothing => "·",
        Feel::Early => "◀",
        Feel::Together => "●",
        Feel::Late => "▶",
        Feel::Ragged => "≈",
    }
}

/// How the room does: a sign a phrase, and the last verdict in words.
fn room_row(area: Rect, buf: &mut Buffer, state: &LessonState, ink: Ink) {
    if state.verdicts.is_empty() && state.moment.is_none() {
        return;
    }
    let mut signs: String = state.verdicts.iter().map(|v| sign(v.feel())).collect();
    let left = (state.phrases as usize).saturating_sub(state.verdicts.len());
    signs.push_str(&"_".repeat(left));
    let used = put(buf, area, 1, 0, &format!("the room: {signs}"), ink.plain());
    if let Some(last) = state.verdicts.last() {
        let words = format!("   {} {}", sign(last.feel()), last.in_words());
        put(buf, area, 1 + used, 0, &words, ink.strong());
    }
}

/// How loud the program claps, and what the microphone does.
fn own_row(area: Rect, buf: &mut Buffer, state: &LessonState, ink: Ink) {
    let mut used = 0;
    // Before the tune it is nobody's turn.
    if state.moment.is_some_and(|moment| moment.count.is_some()) {
        // Level, not amplitude: what is heard as half is far below half.
        let heard = match state.own {
            own if own <= 0.0 || !state.claps => 0.0,
            own => (1.0 + own.log10() / 1.3).clamp(0.1, 1.0),
        };
        let whose = if heard > 0.0 {
            ""
        } else {
            " (the room's turn)"
        };
        let text = format!("my clap: {}{whose}", bar(heard, 8));
        used = 1 + put(buf, area, 1, 0, &text, ink.plain());
    }
    put_right(
        buf,
        area,
        used + 2,
        0,
        &format!("{} ", state.microphone),
        ink.plain(),
    );
}

fn keys_row(area: Rect, buf: &mut Buffer, state: &LessonState, ink: Ink) {
    if let Some((message, _)) = &state.message {
        put(buf, area, 1, 0, message, ink.message());
        return;
    }
    put_keys(buf, room_right(area, 1), &KEYS, ink);
}

#[cfg(test)]
mod tests;
