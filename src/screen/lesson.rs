//! The lesson's screen: what to say, and during a drill the count, how loud the
//! program still claps, and how the room does.
//!
//! Every verdict has a sign of its own and words; colour only repeats them.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::{Constraint, Layout, Rect};
use unicode_width::UnicodeWidthStr;

use super::flash::{Lamp, Limiter};
use super::letters;
use super::text::{bar, clock};
use super::view::{Ink, fill, put, put_middle, put_right, room_right};
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
const KEYS: [&str; 3] = [
    "space drill   n next step   b back   a again   c my claps   f flash   q quit",
    "space drill  n next  b back  a again  c f  q quit",
    "space n b a q",
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
    let mut rows: Vec<(String, ratatui::style::Style)> = Vec::new();
    let mut add = |text: &str, label: &str, style| {
        for line in wrap(text, label, width).lines() {
            rows.push((line.to_owned(), style));
        }
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
    let cut = rows.len() > room;
    for (row, (line, style)) in (0..area.height).zip(&rows) {
        let last = cut && usize::from(row) + 1 == room;
        let line = if last {
            "… (more: make the window larger)"
        } else {
            line
        };
        put(buf, area, 1, row, line, *style);
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
    if state.moment.is_some() {
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
    let room = usize::from(area.width.saturating_sub(2));
    if let Some(keys) = KEYS.iter().find(|keys| keys.width() <= room) {
        put(buf, area, 1, 0, keys, ink.plain());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dance::lesson::BUNDLED;
    use crate::hear::claps::RoomClaps;

    fn state() -> LessonState {
        let lesson = Lesson::parse(BUNDLED.1, BUNDLED.0).expect("the bundled lesson");
        LessonState::new(lesson, true, true)
    }

    fn shown(state: &LessonState, width: u16, height: u16) -> String {
        let area = Rect::new(0, 0, width, height);
        let mut buf = Buffer::empty(area);
        draw(area, &mut buf, state);
        let rows = (0..height).map(|y| {
            let row = (0..width).map(|x| buf[(x, y)].symbol()).collect::<String>();
            row.trim_end().to_owned() + "\n"
        });
        rows.collect()
    }

    fn verdict(phrase: u32, offset: f64) -> Verdict {
        let room = Some(RoomClaps {
            offset,
            spread: 0.02,
            clear: 9.0,
        });
        Verdict {
            phrase,
            own: 1.0,
            room,
        }
    }

    #[test]
    fn a_step_is_shown_with_its_words_and_keys() {
        let mut state = state();
        assert!(state.go(true));
        state.tick(75.0);
        let screen = shown(&state, 90, 24);
        for words in [
            "2 of 9   Clap on one of each eight",
            "» The music walks in eights",
            "watch: Too early",
            "drill: Boots on the Fender, 16 phrases",
            "space drill   n next step",
            "1:15 of 4 min",
        ] {
            assert!(screen.contains(words), "no {words} in\n{screen}");
        }
    }

    #[test]
    fn a_drill_shows_the_count_the_clap_and_the_room() {
        let mut state = state();
        state.go(true);
        state.drill(4);
        let moment = Moment {
            lead_in: None,
            count: Some(1),
            phrase: Some(3),
        };
        state.drilled(moment, 0.25);
        for (phrase, offset) in [(0, -0.1), (1, 0.0), (2, 0.13)] {
            state.judged(verdict(phrase, offset));
        }
        state.microphone = "input good".into();
        state.tick(1.0);
        assert!(state.lit(), "one flashes");
        let screen = shown(&state, 90, 24);
        for words in [
            "the room: ◀●▶_   ▶ late by 130 ms",
            "my clap: ▮▮▮▮",
            "input good",
            "█",
        ] {
            assert!(screen.contains(words), "no {words} in\n{screen}");
        }
        state.drilled(moment, 0.0);
        assert!(shown(&state, 90, 24).contains("(the room's turn)"));
        state.flash = false;
        state.tick(1.1);
        assert!(!state.lit());
    }

    #[test]
    fn the_lead_in_is_counted_before_the_tune() {
        let mut state = state();
        state.drill(2);
        let moment = Moment {
            lead_in: Some(3),
            ..Moment::default()
        };
        state.drilled(moment, 1.0);
        let screen = shown(&state, 80, 20);
        assert!(screen.contains("lead-in"), "{screen}");
    }

    #[test]
    fn steps_end_at_both_ends() {
        let mut state = state();
        assert!(!state.go(false));
        for _ in 1..state.lesson.steps().len() {
            assert!(state.go(true));
        }
        assert!(!state.go(true));
        assert_eq!(state.step().0, state.lesson.steps().len());
    }

    #[test]
    fn any_size_is_drawn() {
        let mut state = state();
        state.go(true);
        for drilling in [false, true] {
            if drilling {
                state.drill(16);
                state.judged(verdict(0, 0.0));
            }
            for (width, height) in [(1, 1), (20, 3), (40, 8), (80, 24), (200, 60)] {
                shown(&state, width, height);
            }
        }
    }

    #[test]
    fn keys_do_what_the_last_row_says() {
        let press = |code| lesson_press(KeyEvent::new(code, KeyModifiers::NONE));
        assert_eq!(press(KeyCode::Char(' ')), Some(LessonPress::Drill));
        assert_eq!(press(KeyCode::Char('n')), Some(LessonPress::Next));
        assert_eq!(press(KeyCode::Char('b')), Some(LessonPress::Back));
        assert_eq!(press(KeyCode::Char('a')), Some(LessonPress::Again));
        assert_eq!(press(KeyCode::Char('c')), Some(LessonPress::Claps));
        assert_eq!(press(KeyCode::Char('f')), Some(LessonPress::Flash));
        assert_eq!(press(KeyCode::Char('q')), Some(LessonPress::Quit));
        assert_eq!(press(KeyCode::Char('x')), None);
        let held =
            KeyEvent::new_with_kind(KeyCode::Char('n'), KeyModifiers::NONE, KeyEventKind::Repeat);
        assert_eq!(lesson_press(held), None);
    }
}
