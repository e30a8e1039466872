//! What each key means.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

/// Something that the caller wants.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// "This beat is one."
    One,
    /// Move the count by so many beats: +1 makes a three a four.
    Move(i8),
    /// "The beat is twice as fast."
    Twice,
    /// "The beat is half as fast."
    Half,
    /// Claps on or off.
    Claps,
    /// A soft tick on every beat, or none.
    Ticks,
    /// No claps until it is asked for again, or going on after that.
    Hold,
    /// Spoken calls on or off.
    Voice,
    /// Speak the introduction.
    Introduce,
    /// The next time through is the last; once more: two follow.
    Last,
    /// Flashing on or off.
    Flash,
    /// On to the next item of the programme.
    Next,
    /// Back to the item before.
    Back,
    /// Show or hide the keys.
    Help,
    /// Stop.
    Quit,
}

/// What the caller's keys are for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Hand {
    /// A band is heard: they put its count right, and say what sounds.
    #[default]
    Counts,
    /// The beats are known and the caller calls: the space bar says where a call ends.
    Calls,
}

impl Hand {
    /// Whether an action means anything.
    pub fn does(self, action: Action) -> bool {
        let calls = matches!(
            action,
            Action::One | Action::Flash | Action::Help | Action::Quit
        );
        self == Hand::Counts || calls
    }
}

/// Keys and what they do, for a row of the screen: the key stands out, the words are few.
pub type Keys = &'static [(&'static str, &'static str)];

/// The row where a band is heard, from long to short.
pub(super) const KEYS: [Keys; 4] = [
    &[
        ("space", "this is one"),
        ("← →", "move the count"),
        ("c", "claps"),
        ("f", "flash"),
        ("?", "keys"),
        ("q", "quit"),
    ],
    &[
        ("space", "this is one"),
        ("← →", "move"),
        ("?", "keys"),
        ("q", "quit"),
    ],
    &[
        ("space", "one"),
        ("← →", "move"),
        ("?", "keys"),
        ("q", "quit"),
    ],
    &[("?", "keys"), ("q", "quit")],
];

/// The row of an evening.
pub(super) const KEYS_EVENING: [Keys; 3] = [
    &[
        ("n", "next item"),
        ("b", "back"),
        ("space", "this is one"),
        ("c", "claps"),
        ("h", "hold"),
        ("?", "keys"),
        ("q", "quit"),
    ],
    &[
        ("n", "next"),
        ("b", "back"),
        ("space", "one"),
        ("?", "keys"),
        ("q", "quit"),
    ],
    &[("n", "next"), ("?", "keys"), ("q", "quit")],
];

/// The row of somebody who calls.
pub(super) const KEYS_CALLS: [Keys; 3] = [
    &[
        ("space", "my call ends here"),
        ("f", "flash"),
        ("?", "keys"),
        ("q", "end, and see the report"),
    ],
    &[("space", "my call ends"), ("?", "keys"), ("q", "end")],
    &[("?", "keys"), ("q", "end")],
];

/// The keys of somebody who calls.
pub(super) const HELP_CALLS: [(&str, &str); 4] = [
    ("space", "my call ends here"),
    ("f", "flashing on or off"),
    ("?", "show or hide these keys"),
    ("q", "end it (Esc and Ctrl-C too)"),
];

/// The keys and what they do, as the help shows them.
pub(super) const HELP: [(&str, &str); 13] = [
    ("space", "this beat is one"),
    ("→", "move the count on a beat"),
    ("←", "move the count back a beat"),
    ("+ -", "the beat is twice, or half, as fast"),
    ("c", "claps on or off"),
    ("t", "a soft tick on every beat, or none"),
    ("v", "spoken calls on or off"),
    ("i", "speak the introduction"),
    ("l", "last time next; again: two more"),
    ("h", "hold: no sound until h again"),
    ("f", "flashing on or off"),
    ("?", "show or hide these keys"),
    ("q", "quit (Esc and Ctrl-C too)"),
];

/// The keys that only a programme has.
pub(super) const HELP_EVENING: [(&str, &str); 2] = [
    ("n", "on to the next item"),
    ("b", "back to the item before"),
];

/// What the key means; `None` if nothing.
pub fn action(key: KeyEvent) -> Option<Action> {
    if key.kind == KeyEventKind::Release {
        return None;
    }
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    // Holding a key down must not toggle or count twice.
    let first = key.kind == KeyEventKind::Press;
    match key.code {
        KeyCode::Char('c' | 'C' | 'd') if control => Some(Action::Quit),
        _ if control || key.modifiers.contains(KeyModifiers::ALT) => None,
        KeyCode::Char('q' | 'Q') | KeyCode::Esc => Some(Action::Quit),
        KeyCode::Right => Some(Action::Move(1)),
        KeyCode::Left => Some(Action::Move(-1)),
        KeyCode::Char(' ') if first => Some(Action::One),
        KeyCode::Char('+') if first => Some(Action::Twice),
        KeyCode::Char('-') if first => Some(Action::Half),
        KeyCode::Char('c' | 'C') if first => Some(Action::Claps),
        KeyCode::Char('t' | 'T') if first => Some(Action::Ticks),
        KeyCode::Char('v' | 'V') if first => Some(Action::Voice),
        KeyCode::Char('i' | 'I') if first => Some(Action::Introduce),
        KeyCode::Char('l' | 'L') if first => Some(Action::Last),
        KeyCode::Char('f' | 'F') if first => Some(Action::Flash),
        KeyCode::Char('h' | 'H') if first => Some(Action::Hold),
        KeyCode::Char('n' | 'N') if first => Some(Action::Next),
        KeyCode::Char('b' | 'B') if first => Some(Action::Back),
        KeyCode::Char('?') | KeyCode::F(1) if first => Some(Action::Help),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn press(code: KeyCode) -> Option<Action> {
        action(KeyEvent::new(code, KeyModifiers::NONE))
    }

    #[test]
    fn keys_do_what_the_help_says() {
        assert_eq!(press(KeyCode::Char(' ')), Some(Action::One));
        assert_eq!(press(KeyCode::Right), Some(Action::Move(1)));
        assert_eq!(press(KeyCode::Left), Some(Action::Move(-1)));
        assert_eq!(press(KeyCode::Char('+')), Some(Action::Twice));
        assert_eq!(press(KeyCode::Char('-')), Some(Action::Half));
        assert_eq!(press(KeyCode::Char('c')), Some(Action::Claps));
        assert_eq!(press(KeyCode::Char('F')), Some(Action::Flash));
        assert_eq!(press(KeyCode::Char('t')), Some(Action::Ticks));
        assert_eq!(press(KeyCode::Char('v')), Some(Action::Voice));
        assert_eq!(press(KeyCode::Char('i')), Some(Action::Introduce));
        assert_eq!(press(KeyCode::Char('L')), Some(Action::Last));
        assert_eq!(press(KeyCode::Char('h')), Some(Action::Hold));
        assert_eq!(press(KeyCode::Char('n')), Some(Action::Next));
        assert_eq!(press(KeyCode::Char('b')), Some(Action::Back));
        assert_eq!(press(KeyCode::Char('?')), Some(Action::Help));
        assert_eq!(press(KeyCode::Char('q')), Some(Action::Quit));
        assert_eq!(press(KeyCode::Esc), Some(Action::Quit));
        assert_eq!(press(KeyCode::Char('x')), None);
    }

    #[test]
    fn control_c_quits_and_other_chords_do_nothing() {
        let chord = |c, m| action(KeyEvent::new(KeyCode::Char(c), m));
        assert_eq!(chord('c', KeyModifiers::CONTROL), Some(Action::Quit));
        assert_eq!(chord('f', KeyModifiers::CONTROL), None);
        assert_eq!(chord('c', KeyModifiers::ALT), None);
    }

    #[test]
    fn a_key_let_go_or_held_down_does_nothing_more() {
        let of = |kind| {
            action(KeyEvent::new_with_kind(
                KeyCode::Char(' '),
                KeyModifiers::NONE,
                kind,
            ))
        };
        assert_eq!(of(KeyEventKind::Release), None);
        assert_eq!(of(KeyEventKind::Repeat), None);
        assert_eq!(of(KeyEventKind::Press), Some(Action::One));
    }
}
