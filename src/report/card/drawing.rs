//! A longways set at each phrase of a dance, as SVG.
//!
//! Drawn for black and white: the first role is a square, the second a circle;
//! couples that go down the hall are dark, those that go up light; the four
//! that the eye should follow have heavy outlines, the others are thin.

use maud::{Markup, html};

use crate::dance::positions::{Column, Face, Followed, Set, Shape, Standing};
use crate::dance::{Card, Figures, Role, positions};
use crate::phrase::PHRASE_BEATS;

/// Couples that are drawn: two groups of four show what the next ones do.
const COUPLES: usize = 4;
/// Panels side by side on a wide page.
pub(super) const ACROSS: usize = 5;
/// Distance of the columns, and of the rows.
const COLUMNS: f64 = 66.0;
const ROWS: f64 = 40.0;
/// Half a dancer's width.
const DANCER: f64 = 11.0;
/// A panel's width, and what it needs above and below the dancers.
const PANEL: f64 = 132.0;
const HEAD: f64 = 46.0;
const FOOT: f64 = 58.0;
/// Letters that fit in a panel's width.
const LETTERS: usize = 23;

/// One picture of the set.
struct Panel<'a> {
    title: String,
    set: Option<&'a Set>,
    words: Vec<String>,
}

/// The set at the start and after each phrase, as a whole SVG document; nothing
/// for formations that are not followed.
pub fn svg(card: &Card, figures: &Figures) -> Option<String> {
    let drawing = drawing(card, figures, ACROSS)?;
    Some(format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n",
        drawing.into_string()
    ))
}

/// The same as an element for a page, so many panels side by side.
pub(super) fn drawing(card: &Card, figures: &Figures, across: usize) -> Option<Markup> {
    let followed = positions::follow(card, figures, COUPLES)?;
    let panels = panels(card, &followed);
    let focus = focus(&followed.start);
    // Each line of panels is as high as its own need be.
    let mut lines: Vec<(f64, Rows, &[Panel])> = Vec::new();
    let mut high = 0.0;
    for chunk in panels.chunks(across) {
        let rows = Rows::of(chunk);
        lines.push((high, rows, chunk));
        high += rows.height();
    }
    let legend = legend(card, across);
    let wide = across as f64 * PANEL;
    Some(html! {
        svg xmlns="http://www.w3.org/2000/svg"
            viewBox={ "0 0 " (wide) " " (high + 8.0 + 12.0 * legend.len() as f64) }
            role="img" font-family="sans-serif" fill="black" {
            title { "Where the dancers stand: " (card.title()) }
            @for (y, rows, chunk) in lines {
                @for (index, panel) in chunk.iter().enumerate() {
                    g transform={ "translate(" (index as f64 * PANEL) " " (y) ")" } {
                        (self::panel(card, panel, rows, &focus))
                    }
                }
            }
            @for (line, words) in legend.iter().enumerate() {
                text x="6" y=(high + 8.0 + 12.0 * line as f64) font-size="9" { (words) }
            }
        }
    })
}

/// The rows that a line of panels shows.
#[derive(Clone, Copy)]
struct Rows {
    top: i32,
    bottom: i32,
}

impl Rows {
    fn of(panels: &[Panel]) -> Self {
        let sets = panels.iter().filter_map(|p| p.set);
        let rows: Vec<i32> = sets
            .flat_map(|set| set.standings().into_keys().map(|(row, _)| row))
            .collect();
        let (top, bottom) = (rows.iter().min().copied(), rows.iter().max().copied());
        Rows {
            top: top.unwrap_or(0),
            // A panel with words alone needs room too.
            bottom: bottom.unwrap_or(3),
        }
    }

    fn height(self) -> f64 {
        self.y(self.bottom) + FOOT
    }

    fn y(self, row: i32) -> f64 {
        HEAD + f64::from(row - self.top) * ROWS
    }
}

/// The couples of the first group: those to follow with the eye.
fn focus(start: &Set) -> Vec<u16> {
    let group = start.groups().next();
    let four = group
        .into_iter()
        .flat_map(|(_, four)| four.iter().flatten());
    four.map(|s| s.dancer.couple).collect()
}

/// The start, and every phrase's end at which figures end too.
fn panels<'a>(card: &Card, followed: &'a Followed) -> Vec<Panel<'a>> {
    let mut panels = vec![Panel {
        title: "start".into(),
        set: Some(&followed.start),
        words: Vec::new(),
    }];
    let mut names: Vec<&str> = Vec::new();
    for (index, figure) in card.figures().iter().enumerate() {
        names.push(&figure.name);
        let end = figure.start_beat + figure.beats;
        if let Some(stop) = followed.stopped.as_ref().filter(|s| s.figure == index) {
            panels.push(Panel {
                title: format!("{}: not followed", figure.part),
                set: None,
                words: fold(&format!("\"{}\": {}", figure.name, stop.why), 8),
            });
            break;
        }
        if end % PHRASE_BEATS == 0 {
            let place = card.form().place(u64::from(end - 1));
            let part = place.part();
            let half = end % 16;
            let title = match half {
                0 => format!("after {part}"),
                _ => format!("{part}, after {half} beats"),
            };
            panels.push(Panel {
                title,
                set: followed.after.get(index),
                words: fold(&names.join(", "), 3),
            });
            names.clear();
        }
    }
    // New groups that form without a word are worth a picture of their own.
    let tops = |set: &Set| set.groups().map(|(row, _)| row).collect::<Vec<_>>();
    let last = followed.after.last();
    if let Some(next) = &followed.next
        && last.is_some_and(|last| tops(last) != tops(next))
    {
        panels.push(Panel {
            title: "the next time".into(),
            set: Some(next),
            words: Vec::new(),
        });
    }
    panels
}

/// `text` in lines that fit a panel, at most `most`.
fn fold(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= LETTERS => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            last.push('…');
        }
    }
    lines
}

fn panel(card: &Card, panel: &Panel, rows: Rows, focus: &[u16]) -> Markup {
    let middle = PANEL / 2.0;
    let words_at = match panel.set {
        Some(_) => rows.y(rows.bottom) + 31.0,
        None => HEAD,
    };
    html! {
        text x=(middle) y="14" text-anchor="middle" font-size="11" font-weight="bold" { (panel.title) }
        @if let Some(set) = panel.set {
            // The band plays at the top.
            path d={ "M" (middle - 26.0) " 22h52" } stroke="black" stroke-width="3" {}
            @for (row, group) in set.groups() {
                @if !group.contains(&None) {
                    rect x=(middle - COLUMNS / 2.0 - 17.0) y=(rows.y(row) - 17.0)
                        width=(COLUMNS + 34.0) height=(ROWS + 34.0) rx="8"
                        fill="none" stroke="black" stroke-width="0.6" stroke-dasharray="3 3" {}
                }
            }
            @for drawn in places(set, rows) {
                (dancer(card, set, &drawn, focus))
            }
        }
        @for (line, words) in panel.words.iter().enumerate() {
            text x=(middle) y=(words_at + line as f64 * 10.0) text-anchor="middle" font-size="9" { (words) }
        }
    }
}

/// A dancer, where on the panel, and the direction they face.
struct Drawn {
    standing: Standing,
    at: (f64, f64),
    face: Option<(f64, f64)>,
}

/// Everybody with their place on the panel.
fn places(set: &Set, rows: Rows) -> Vec<Drawn> {
    let left = (PANEL - COLUMNS) / 2.0;
    if set.shape() == Shape::Line {
        let mut all = Vec::new();
        for (row, group) in set.groups() {
            let full = !group.contains(&None);
            for (slot, standing) in group.iter().enumerate() {
                let Some(standing) = *standing else { continue };
                let (x, y) = match full {
                    // Side by side, a little beyond the columns.
                    true => (
                        PANEL / 2.0 + (slot as f64 - 1.5) * (2.0 * DANCER + 3.0),
                        rows.y(row) + ROWS / 2.0,
                    ),
                    false => (
                        left + if slot == 1 || slot == 2 { COLUMNS } else { 0.0 },
                        rows.y(row + i32::from(slot >= 2)),
                    ),
                };
                let face = towards(standing.face, (0.0, 0.0));
                let at = (x, y);
                all.push(Drawn { standing, at, face });
            }
        }
        return all;
    }
    let mut all = Vec::new();
    for ((row, column), standing) in set.standings() {
        let x = left
            + if column == Column::Right {
                COLUMNS
            } else {
                0.0
            };
        let parity = set.groups().next().map_or(0, |(row, _)| row);
        let upper = (row - parity).rem_euclid(2) == 0;
        let inwards = (
            if column == Column::Right { -0.85 } else { 0.85 },
            if upper { 0.53 } else { -0.53 },
        );
        let face = towards(standing.face, inwards);
        let at = (x, rows.y(row));
        all.push(Drawn { standing, at, face });
    }
    all
}

/// A face as a direction on paper.
fn towards(face: Option<Face>, inwards: (f64, f64)) -> Option<(f64, f64)> {
    Some(match face? {
        Face::Up => (0.0, -1.0),
        Face::Down => (0.0, 1.0),
        Face::Left => (-1.0, 0.0),
        Face::Right => (1.0, 0.0),
        Face::In => inwards,
    })
}

fn dancer(card: &Card, set: &Set, drawn: &Drawn, focus: &[u16]) -> Markup {
    let Drawn {
        standing,
        at: (x, y),
        face,
    } = *drawn;
    let Standing { dancer, .. } = standing;
    let one = set.is_one(dancer);
    let followed = focus.contains(&dancer.couple);
    let fill = match (one, followed) {
        (true, true) => "black",
        (true, false) => "#777",
        (false, _) => "white",
    };
    let ink = if one { "white" } else { "black" };
    let stroke = if followed {
        ("black", 2.0)
    } else {
        ("#777", 1.0)
    };
    let letters = card.roles().letters(dancer.role);
    html! {
        @if let Some((dx, dy)) = face {
            // A nose: a small triangle on the rim, further out at a corner.
            @let base = if dx * dy == 0.0 { DANCER - 1.0 } else { DANCER + 2.5 };
            @let r = base + 6.5;
            @let (bx, by) = (x + dx * base, y + dy * base);
            path d={
                "M" (n(x + dx * r)) " " (n(y + dy * r))
                "L" (n(bx - dy * 5.0)) " " (n(by + dx * 5.0))
                "L" (n(bx + dy * 5.0)) " " (n(by - dx * 5.0)) "Z"
            } fill=(stroke.0) {}
        }
        @match dancer.role {
            Role::First => rect x=(n(x - DANCER + 1.0)) y=(n(y - DANCER + 1.0))
                width=(2.0 * DANCER - 2.0) height=(2.0 * DANCER - 2.0)
                fill=(fill) stroke=(stroke.0) stroke-width=(stroke.1) {},
            Role::Second => circle cx=(n(x)) cy=(n(y)) r=(DANCER)
                fill=(fill) stroke=(stroke.0) stroke-width=(stroke.1) {},
        }
        text x=(n(x)) y=(n(y + 3.5)) text-anchor="middle" font-size="10" font-weight="bold" fill=(ink) {
            (letters) (if one { 1 } else { 2 })
        }
    }
}

/// Two decimals are finer than any printer.
fn n(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

/// What the marks mean, in lines that fit so many panels side by side.
fn legend(card: &Card, across: usize) -> Vec<String> {
    let roles = card.roles();
    let marks = [
        format!("square: {}", roles.one(Role::First)),
        format!("round: {}", roles.one(Role::Second)),
        "dark, 1: go down the hall".into(),
        "light, 2: go up".into(),
        "thin: the next four".into(),
        "bar: the band".into(),
    ];
    let mut lines: Vec<String> = Vec::new();
    for mark in marks {
        match lines.last_mut() {
            Some(line) if line.chars().count() + mark.len() < across * LETTERS => {
                line.push_str(" \u{2003}");
                line.push_str(&mark);
            }
            _ => lines.push(mark),
        }
    }
    lines
}
