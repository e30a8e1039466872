use super::*;
use crate::dance::{Figures, LANTERNS_ON_THE_WEIR, Roles, THE_TIN_KETTLE_RING, bundled, check};

fn card(text: &str) -> Card {
    Card::parse(text, "t").unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn the_stand_shows_every_figure_within_its_width() {
    for (_, text) in bundled() {
        let card = card(text);
        for width in [0, 40, 60, 80] {
            let shown = stand(&card, width);
            assert!(
                shown.lines().all(|l| l.chars().count() <= width.max(40)),
                "{shown}"
            );
            let words: Vec<&str> = shown.split_whitespace().collect();
            let joined = words.join(" ");
            for figure in card.figures() {
                assert!(
                    joined.contains(&format!("{} {}", figure.beats, figure.name)),
                    "{joined}"
                );
            }
        }
    }
    let shown = stand(&card(LANTERNS_ON_THE_WEIR), 60);
    let start = "\
LANTERNS ON THE WEIR                           Odile Farrant
duple improper · reel · 116 steps per minute · for floors
with some experience

A1   4  neighbours balance
    12  neighbours swing
          End facing across. Dizzy? Walk a turn by two hands
          instead.
";
    assert!(shown.starts_with(start), "{shown}");
}

#[test]
fn pages_are_whole_and_escaped() {
    let evil = LANTERNS_ON_THE_WEIR
        .replace("\"Odile Farrant\"", "'<script>alert(1)</script>'")
        .replace("\"neighbours balance\"", "'<img src=x> & \"more\"'");
    for (text, drawn) in [(&evil[..], true), (THE_TIN_KETTLE_RING, false)] {
        for size in [Size::A6, Size::A4] {
            let page = page(&card(text), Figures::builtin(), size);
            assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>"));
            assert!(!page.contains("<script") && !page.contains("<img"));
            assert_eq!(page.contains("<svg"), drawn);
            assert_eq!(page.matches("<tbody>").count(), 4);
        }
    }
    for (_, text) in bundled() {
        let gents = card(text).with_roles(&Roles::parse("gent/lady").unwrap());
        let page = page(&gents, Figures::builtin(), Size::A4).to_lowercase();
        assert!(!page.contains("robin") && !page.contains("lark"), "{page}");
        assert_eq!(page.contains("<svg"), page.contains("square: gent"));
    }
}

#[test]
fn the_drawing_has_a_panel_a_phrase() {
    let svg = svg(&card(LANTERNS_ON_THE_WEIR), Figures::builtin()).unwrap();
    // The start, the long swing's end, and six phrases.
    assert_eq!(svg.matches("font-size=\"11\"").count(), 8, "{svg}");
    // Four couples in each.
    assert_eq!(svg.matches("<circle").count(), 8 * 4);
    assert!(svg.contains("after B2") && svg.contains("A2, after 8 beats"));
    assert!(super::svg(&card(THE_TIN_KETTLE_RING), Figures::builtin()).is_none());
    let lost = LANTERNS_ON_THE_WEIR.replace("\"star by the right\"", "\"contra corners\"");
    let svg = super::svg(&card(&lost), Figures::builtin()).unwrap();
    assert!(svg.contains("B1: not followed") && !svg.contains("after B2"));
}

#[test]
fn calls_are_listed_with_their_room() {
    let card = card(LANTERNS_ON_THE_WEIR);
    let report = check::check(&card, Figures::builtin(), &|w| {
        (w == "and swing").then_some(9.0)
    });
    let listed = calls(&card, &report.calls);
    assert_eq!(listed.lines().count(), 10);
    let swing = listed.lines().nth(2).unwrap();
    assert!(
        swing.starts_with("A1       5          2      9.0      2.1         17.4  and swing"),
        "{swing}"
    );
    assert!(swing.ends_with("[swing]  (too long)"), "{swing}");
    assert!(listed.lines().nth(1).unwrap().contains('~'));
}
