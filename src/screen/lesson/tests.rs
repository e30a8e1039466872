//! What a lesson's screen shows, and what its keys mean.

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
