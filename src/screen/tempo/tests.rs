use super::*;
use crate::report::tempo::Adviser;

/// The dial after `beats` taps at `tempo`.
fn tapped(tempo: f64, beats: u32, want: Option<&str>) -> Dial {
    let mut meter = Meter::default();
    let want: Option<Want> = want.map(|w| w.parse().unwrap());
    let mut dial = Dial {
        source: "tapping".into(),
        invitation: "press space on every beat",
        keys: &[("space", "a beat"), ("r", "anew"), ("q", "quit")],
        want,
        ..Dial::default()
    };
    for beat in 0..beats {
        meter.push(f64::from(beat) * 60.0 / tempo);
        dial.update(&meter);
    }
    if let (Some(want), Some(read)) = (want, meter.over(8)) {
        let mut adviser = Adviser::new(want);
        let advice = adviser.push(read);
        dial.advice = Some((advice, adviser.say(read)));
    }
    dial
}

/// The dial as text.
fn text(dial: &Dial, size: (u16, u16)) -> String {
    let area = Rect::new(0, 0, size.0, size.1);
    let mut buf = Buffer::empty(area);
    draw(area, &mut buf, dial);
    let rows = buf.content().chunks(usize::from(size.0));
    let lines = rows.map(|row| row.iter().map(|c| c.symbol()).collect::<String>());
    lines.collect::<Vec<_>>().join("\n")
}

/// Both at once.
fn drawn(tempo: f64, beats: u32, want: Option<&str>, size: (u16, u16)) -> String {
    text(&tapped(tempo, beats, want), size)
}

#[test]
fn the_screen_says_tempo_advice_and_spans() {
    let text = drawn(123.0, 80, Some("112..120"), (80, 24));
    for words in [
        "▼  a little slower (by 3)  ▼",
        "now 123.0     8 beats 123.0     64 beats 123.0     whole 123.0",
        "steps per minute, over 8 beats",
        "drift",
        "80 beats",
        "┣━",
        "100 ┄",
    ] {
        assert!(text.contains(words), "{words}:\n{text}");
    }
    assert!(text.matches('█').count() > 30, "{text}");
    let text = drawn(116.0, 80, Some("112..120"), (80, 24));
    assert!(text.contains("●  good, within 112–120  ●"), "{text}");
}

#[test]
fn before_the_first_tempo_it_says_what_to_do() {
    let text = drawn(116.0, 1, Some("112..120"), (80, 24));
    assert!(text.contains("press space on every beat"), "{text}");
    assert!(text.contains("wanted: 112–120"), "{text}");
    assert!(text.contains("1 beat "), "{text}");
}

#[test]
fn every_size_is_survived_and_small_ones_keep_the_advice() {
    let (with, without) = (tapped(131.0, 40, Some("112..120")), tapped(131.0, 40, None));
    for width in 1..100 {
        for height in 1..40 {
            text(&with, (width, height));
        }
        text(&without, (width, 24));
    }
    let text = drawn(131.0, 40, Some("112..120"), (26, 2));
    assert!(
        text.contains("131.0") && text.contains("▼▼ slower"),
        "{text}"
    );
    let text = drawn(131.0, 40, Some("112..120"), (28, 8));
    assert!(text.contains("131.0") || text.contains('█'), "{text}");
    assert!(text.contains("slower, please"), "{text}");
}

#[test]
fn keys_mean_what_the_last_line_says() {
    let of = |code| press(KeyEvent::new(code, KeyModifiers::NONE));
    assert_eq!(of(KeyCode::Char(' ')), Some(Press::Beat));
    assert_eq!(of(KeyCode::Enter), Some(Press::Beat));
    assert_eq!(of(KeyCode::Char('r')), Some(Press::Anew));
    assert_eq!(of(KeyCode::Esc), Some(Press::Quit));
    assert_eq!(of(KeyCode::Char('x')), None);
    let control = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
    assert_eq!(press(control), Some(Press::Quit));
    let held =
        KeyEvent::new_with_kind(KeyCode::Char(' '), KeyModifiers::NONE, KeyEventKind::Repeat);
    assert_eq!(press(held), None);
}
