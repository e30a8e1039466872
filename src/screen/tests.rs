//! Whole screens at several sizes.

mod flashes;
mod pictures;
mod sizes;

use std::sync::Arc;

use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use ratatui::style::{Color, Modifier};

use super::picture::svg;
use super::{Action, Hand, Setup, State, view};
use crate::cue::Scheduler;
use crate::dance::{Card, LANTERNS_ON_THE_WEIR};
use crate::event::{Beat, Event, LeadIn, Phrase};
use crate::phrase::Form;

/// First beat and beat period of the made-up tune, seconds.
const FIRST: f64 = 3.0;
const PERIOD: f64 = 0.5;

fn events() -> Vec<Event> {
    let mut events = vec![Event::LeadIn(LeadIn {
        time: FIRST - 4.0 * PERIOD,
        announced: FIRST - 1.1 * PERIOD,
        one: FIRST,
    })];
    for i in 0..192_u64 {
        let time = FIRST + i as f64 * PERIOD;
        let announced = time - 0.08;
        let place = Form::default().place(i);
        if place.is_one() {
            events.push(Event::Phrase(Phrase {
                time,
                announced,
                part: place.part(),
                phrase: place.phrase(),
                time_through: place.time_through,
                sure: 0.95,
            }));
        }
        events.push(Event::Beat(Beat {
            time,
            announced,
            count: Some(place.count()),
            steps_per_minute: 60.0 / PERIOD,
            sure: 0.9,
        }));
    }
    events
}

/// The screen at `now`, fed as it is live.
fn state(now: f64, with_card: bool) -> State {
    let card = with_card
        .then(|| Arc::new(Card::parse(LANTERNS_ON_THE_WEIR, "card").expect("a good card")));
    let mut scheduler = match &card {
        Some(card) => Scheduler::with_card(card.clone()),
        None => Scheduler::without_card(Form::default()),
    };
    let mut state = State::new(Setup {
        tune: "The Ferryman's Teacup".into(),
        length: Some(100.0),
        card,
        form: Form::default(),
        want: None,
        claps: true,
        flash: true,
        colour: true,
        ..Setup::default()
    });
    for event in events().iter().filter(|e| e.announced() <= now) {
        state.at(event.announced());
        state.update(event);
        if let Some(cue) = scheduler.push(event) {
            state.cue(cue);
        }
    }
    state.at(now);
    state
}

fn buffer(state: &State, width: u16, height: u16) -> Buffer {
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    terminal.draw(|frame| view(frame, state)).unwrap();
    terminal.backend().buffer().clone()
}

/// The screen's rows.
fn rows(buffer: &Buffer) -> Vec<String> {
    let width = usize::from(buffer.area.width.max(1));
    buffer
        .content()
        .chunks(width)
        .map(|row| row.iter().map(|cell| cell.symbol()).collect())
        .collect()
}

fn screen(state: &State, width: u16, height: u16) -> String {
    rows(&buffer(state, width, height)).join("\n")
}

#[track_caller]
fn shows(screen: &str, pieces: &[&str]) {
    for piece in pieces {
        assert!(screen.contains(piece), "no {piece:?} in\n{screen}");
    }
}

/// Cells that are reversed, as a share of all.
fn reversed(buffer: &Buffer) -> f64 {
    let lit = buffer
        .content()
        .iter()
        .filter(|cell| cell.modifier.contains(Modifier::REVERSED));
    lit.count() as f64 / buffer.content().len() as f64
}

#[test]
fn a_usual_terminal_shows_it_all() {
    // The sixth beat of A1: the second beat of the swing.
    let state = state(FIRST + 5.2 * PERIOD, true);
    let screen = screen(&state, 80, 24);
    shows(
        &screen,
        &[
            "Lanterns on the Weir   duple improper · reel · some experience",
            "NOW  beat 2 of 12",
            "■ ■ □ □ □ □ □ □ □ □ □ □",
            "┌ NEXT in 11 beats ─",
            "robins do-si-do, once and a half",
            "[A1]  A2   B1   B2    time through 1",
            "120 steps per minute   ▼ a little slower (by 2)",
            "sure ▮▮▮▮▮▮▮▮▮▯",
            "0:05 ━━━",
            "1:40",
            "space this is one",
        ],
    );
    // The strip with its figures' starts.
    shows(&screen, &["◆ 1 ", "◆ 5 "]);
    assert_eq!(screen.lines().count(), 24);
}

#[test]
fn the_present_beat_is_told_by_a_shape() {
    for beat in 0..8_u16 {
        let state = state(FIRST + (f64::from(beat) + 0.5) * PERIOD, true);
        let rows = rows(&buffer(&state, 80, 24));
        // The strip stands above two rows of status, the progress and the hints.
        let solid = &rows[17];
        let from = solid.chars().position(|c| c == '▄').unwrap_or(99);
        let expected = 1 + usize::from(79 * beat / 8);
        assert_eq!(from, expected, "beat {beat}: {solid}");
        let narrow = screen(&state, 40, 12);
        shows(&narrow, &[&format!("{}]", beat + 1)]);
    }
}

#[test]
fn the_cue_lights_up_one_beat_ahead_and_only_then() {
    let before = state(FIRST + 14.9 * PERIOD, true);
    let during = state(FIRST + 15.1 * PERIOD, true);
    let after = state(FIRST + 16.1 * PERIOD, true);
    for (width, height) in [(80, 24), (120, 40), (40, 12), (200, 60)] {
        let share = |state| reversed(&buffer(state, width, height));
        assert!(share(&before) < 0.1 && share(&after) < 0.1);
        assert!(share(&during) > 0.25, "{width}x{height}");
        shows(&screen(&before, width, height), &["NEXT in 2 beats"]);
        shows(
            &screen(&during, width, height),
            &["▶ NEXT BEAT ◀", "┏", "robins do"],
        );
        shows(&screen(&after, width, height), &["NEXT in 8 beats"]);
    }
    let mut calm = during.clone();
    calm.flash = false;
    assert!(reversed(&buffer(&calm, 80, 24)) < 0.1);
    shows(&screen(&calm, 80, 24), &["▶ NEXT BEAT ◀", "┏", "flash off"]);
}

#[test]
fn the_lead_in_flashes_the_first_figure() {
    let state = state(FIRST - 0.5 * PERIOD, true);
    let screen = screen(&state, 80, 24);
    shows(
        &screen,
        &["ready for one", "▶ NEXT BEAT ◀", "lead-in heard ▯▯▯"],
    );
    assert!(state.lit());
}

#[test]
fn before_any_beat_it_listens() {
    let screen = screen(&state(0.0, true), 80, 24);
    shows(
        &screen,
        &[
            "listening…",
            "no beat yet",
            " FIRST ",
            "wanted 114–118 steps per minute",
        ],
    );
    assert!(!screen.contains("[A1]"));
}

#[test]
fn beats_without_a_phrase_have_no_count_and_no_figure() {
    let mut state = state(0.0, true);
    for i in 0..20 {
        state.update(&Event::Beat(Beat {
            time: f64::from(i) * 0.5,
            announced: f64::from(i) * 0.5 - 0.08,
            count: None,
            steps_per_minute: 120.0,
            sure: 0.5,
        }));
    }
    state.at(9.6);
    let screen = screen(&state, 80, 24);
    shows(
        &screen,
        &[
            "listening… ▯▯▯",
            "no phrase yet",
            " FIRST ",
            "120 steps per minute",
        ],
    );
    assert!(!screen.contains("NOW  beat"));
}

#[test]
fn without_a_card_the_next_one_is_told() {
    let screen = screen(&state(FIRST + 2.2 * PERIOD, false), 80, 24);
    shows(
        &screen,
        &[
            "The Ferryman's Teacup",
            "(no dance card)",
            "NEXT in 6 beats",
            "120 steps per minute",
        ],
    );
}

#[test]
fn keys_and_messages_are_shown_when_asked_for() {
    let mut state = state(FIRST + 5.2 * PERIOD, true);
    assert!(!screen(&state, 80, 24).contains(" keys ═"));
    state.help = true;
    state.message = Some("no sound device: showing the screen only".into());
    state.claps = false;
    shows(
        &screen(&state, 80, 24),
        &[
            "╔ keys ═",
            "move the count on a beat",
            "no sound device: showing the screen only",
            "claps off",
        ],
    );
}

#[test]
fn who_calls_is_shown_what_the_space_bar_means_then() {
    let mut state = state(FIRST + 5.2 * PERIOD, true);
    state.hand = Hand::Calls;
    let hints = screen(&state, 80, 24);
    shows(&hints, &["space my call ends here"]);
    assert!(!hints.contains("this is one"));
    state.help = true;
    let help = screen(&state, 80, 24);
    shows(&help, &["╔ keys ═", "my call ends here"]);
    assert!(!help.contains("move the count"));
    assert!(!Hand::Calls.does(Action::Move(1)) && Hand::Counts.does(Action::Move(1)));
}

#[test]
fn a_microphone_shows_its_level_and_held_claps_are_told() {
    for (peak, clips, words) in [
        (0.5, false, "input ▮▮▮▮▮▮▮▯ good"),
        (0.015, false, "input ▮▮▯▯▯▯▯▯ too quiet: turn it up"),
        (0.0, false, "input ▯▯▯▯▯▯▯▯ nothing to hear"),
        (1.0, true, "input ▮▮▮▮▮▮▮▮ clipping: turn it down"),
    ] {
        let mut state = state(14.0, true);
        state.length = None;
        state.hears(peak, clips);
        shows(&screen(&state, 80, 24), &[words]);
        shows(&screen(&state, 40, 12), &[words]);
        state.held = true;
        shows(&screen(&state, 80, 24), &["claps held"]);
        shows(&screen(&state, 40, 12), &["claps held"]);
    }
}

#[test]
fn without_colour_nothing_is_coloured_and_nothing_is_lost() {
    for time in [0.0, FIRST + 0.1, FIRST + 15.1 * PERIOD] {
        let coloured = state(time, true);
        let mut plain = coloured.clone();
        plain.colour = false;
        let (coloured, plain) = (buffer(&coloured, 80, 24), buffer(&plain, 80, 24));
        assert_eq!(rows(&coloured), rows(&plain));
        let tinted = |b: &Buffer| {
            b.content()
                .iter()
                .any(|c| c.fg != Color::Reset || c.bg != Color::Reset)
        };
        assert!(tinted(&coloured));
        assert!(!tinted(&plain));
    }
}

#[test]
fn a_picture_holds_the_whole_screen() {
    let state = state(FIRST + 15.1 * PERIOD, true);
    let picture = svg(&state, 80, 24);
    assert!(
        picture.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 744 456\"")
    );
    assert!(picture.ends_with("</svg>\n"));
    shows(
        &picture,
        &[
            "Lanterns\u{a0}on\u{a0}the\u{a0}Weir",
            "▶\u{a0}NEXT\u{a0}BEAT\u{a0}◀",
            "font-weight=\"bold\"",
        ],
    );
    // The lit block is light with dark words on it.
    shows(
        &picture,
        &[
            "fill=\"#e8e6e3\" shape-rendering",
            "fill=\"#16181d\" font-weight",
        ],
    );
    assert_eq!(
        picture.matches("<text ").count(),
        picture.matches("</text>").count()
    );
    let mut odd = state.clone();
    odd.message = Some("<&>".into());
    shows(&svg(&odd, 80, 24), &[">&lt;&amp;&gt;</text>"]);
    assert!(svg(&odd, 0, 0).ends_with("</svg>\n"));
}
