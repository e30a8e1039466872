//! The picture in fixtures/screen.svg is what its command makes.

#[path = "../examples/picture.rs"]
#[allow(dead_code, reason = "its main is the command")]
mod picture;

/// What the picture shows, without what the last digit of a sum can change:
/// digits become `0`, and repeated signs (bars, blanks) are folded.
fn shown(svg: &str) -> Vec<String> {
    let mut texts: Vec<String> = svg
        .lines()
        .filter(|line| line.starts_with("<text "))
        .map(|line| {
            let (_, rest) = line.split_once('>').expect("a tag");
            let text = rest.trim_end_matches("</text>");
            let mut chars: Vec<char> = text
                .chars()
                .map(|c| if c.is_ascii_digit() { '0' } else { c })
                .collect();
            chars.dedup();
            chars.into_iter().collect()
        })
        .collect();
    texts.sort();
    texts.dedup();
    texts
}

#[test]
fn the_picture_is_what_its_command_makes() {
    let made = picture::picture().expect("a picture");
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/screen.svg");
    let kept = std::fs::read_to_string(path).expect("fixtures/screen.svg");
    let remedy = "run `cargo run --release --example picture` and look at fixtures/screen.svg";
    assert_eq!(kept.lines().next(), made.lines().next(), "{remedy}");
    assert_eq!(shown(&kept), shown(&made), "{remedy}");
    // A caller is told one beat ahead what comes, and where the tune is.
    for words in [
        "NEXT\u{a0}BEAT",
        "[A2]",
        "long\u{a0}lines,",
        "sure\u{a0}▮▮▮▮▮▮▮▮",
    ] {
        assert!(made.contains(words), "no {words:?} in the picture");
    }
}

#[test]
fn a_captured_screen_keeps_its_colours() {
    // As `tmux capture-pane -e` tells the bright colours of a terminal.
    let capture = b"\x1b[38;5;14mnext\x1b[39m \x1b[38;5;13mone\x1b[39m \x1b[38;5;11m!\x1b[39m\n";
    let svg = picture::captured(capture).expect("a picture");
    for ink in ["#6fd3e0", "#f08cd0", "#f2d060"] {
        assert!(svg.contains(ink), "{ink} in {svg}");
    }
}
