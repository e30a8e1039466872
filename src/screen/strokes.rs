//! Letters and figures drawn with a pen, so that they are smooth at every size.
//!
//! A character is a few strokes in a box 14 units high. Each stroke is a row of
//! points `x,y` joined by straight lines; `@x,y,across,down,from,to` stands for the
//! points of an arc about (x, y), from one angle to another in degrees, clockwise
//! from the right. Strokes are parted by `/`.

use std::sync::LazyLock;

/// Height of the box.
pub(super) const HEIGHT: f32 = 14.0;
/// Half the width of the pen for words, and of the one for a count that stands alone.
pub(super) const FINE: f32 = 1.0;
pub(super) const BROAD: f32 = 1.35;
/// Room between two characters.
pub(super) const BETWEEN: f32 = 2.0;
/// Points of an arc, for each quarter of a circle.
const QUARTER: f32 = 5.0;

/// Characters, the width of their box, and their strokes. All our own.
const DRAWN: &[(char, f32, &str)] = &[
    ('0', 10.0, "@5,7,3.6,5.6,0,360 / 4.2,8.2 5.8,5.8"),
    ('1', 9.0, "1.8,4.3 5,1.4 5,12.6 / 1.8,12.6 7.7,12.6"),
    ('2', 10.0, "@5,5,3.5,3.6,190,395 1.6,12.6 8.6,12.6"),
    (
        '3',
        10.0,
        "@4.8,4.1,3,2.7,200,450 / @4.8,9.7,3.6,2.9,270,520",
    ),
    ('4', 10.0, "7,12.6 7,1.6 1.4,9.7 8.7,9.7"),
    ('5', 10.0, "8,1.4 2.2,1.4 1.8,6.7 @4.7,8.9,3.9,3.7,218,510"),
    ('6', 10.0, "@5,9,3.6,3.6,0,360 / @9,9,7.6,7.6,180,262"),
    ('7', 10.0, "1.4,1.4 8.6,1.4 4.2,12.6"),
    ('8', 10.0, "@5,4.1,3,2.7,0,360 / @5,9.7,3.6,2.9,0,360"),
    ('9', 10.0, "@5,5,3.6,3.6,0,360 / @1,5,7.6,7.6,0,82"),
    ('A', 10.0, "1.4,12.6 5,1.4 8.6,12.6 / 2.7,9.2 7.3,9.2"),
    (
        'B',
        10.0,
        "5,6.8 1.5,6.8 1.5,1.4 @5,4.1,2.8,2.7,270,450 @5.2,9.7,3.3,2.9,270,450 1.5,12.6 1.5,6.8",
    ),
    ('C', 10.0, "@5.3,7,3.9,5.6,50,310"),
    ('D', 10.0, "1.5,12.6 1.5,1.4 @4,7,4.5,5.6,270,450 1.5,12.6"),
    (
        'E',
        9.0,
        "7.6,1.4 1.5,1.4 1.5,12.6 7.6,12.6 / 1.5,6.9 6.4,6.9",
    ),
    ('F', 9.0, "7.6,1.4 1.5,1.4 1.5,12.6 / 1.5,6.9 6.4,6.9"),
    ('G', 10.0, "5.6,7.4 8.6,7.4 @5.3,7,3.9,5.6,32,310"),
    (
        'H',
        10.0,
        "1.5,1.4 1.5,12.6 / 8.5,1.4 8.5,12.6 / 1.5,7 8.5,7",
    ),
    ('I', 3.0, "1.5,1.4 1.5,12.6"),
    ('J', 9.0, "7.5,1.4 @4.5,9.4,3,3.2,0,165"),
    (
        'K',
        10.0,
        "1.5,1.4 1.5,12.6 / 8.3,1.4 1.5,8.2 / 4,5.9 8.5,12.6",
    ),
    ('L', 8.5, "1.5,1.4 1.5,12.6 7.2,12.6"),
    ('M', 12.0, "1.5,12.6 1.5,1.4 6,8.6 10.5,1.4 10.5,12.6"),
    ('N', 10.0, "1.5,12.6 1.5,1.4 8.5,12.6 8.5,1.4"),
    ('O', 10.4, "@5.2,7,3.8,5.6,0,360"),
    ('P', 9.6, "1.5,12.6 1.5,1.4 @5,4.5,3.2,3.1,270,450 1.5,7.6"),
    ('Q', 10.4, "@5.2,7,3.8,5.6,0,360 / 6,9.6 8.9,12.6"),
    (
        'R',
        10.0,
        "1.5,12.6 1.5,1.4 @5,4.5,3.2,3.1,270,450 1.5,7.6 / 4.8,7.6 8.5,12.6",
    ),
    ('S', 9.6, "@4.8,4.2,3.3,2.8,335,90 @4.8,9.8,3.4,2.8,270,520"),
    ('T', 10.0, "1.4,1.4 8.6,1.4 / 5,1.4 5,12.6"),
    ('U', 10.0, "1.5,1.4 @5,9,3.5,3.6,180,0 8.5,1.4"),
    ('V', 10.0, "1.4,1.4 5,12.6 8.6,1.4"),
    ('W', 13.0, "1.4,1.4 3.9,12.6 6.5,4 9.1,12.6 11.6,1.4"),
    ('X', 10.0, "1.4,1.4 8.6,12.6 / 8.6,1.4 1.4,12.6"),
    ('Y', 10.0, "1.4,1.4 5,7.2 8.6,1.4 / 5,7.2 5,12.6"),
    ('Z', 9.6, "1.5,1.4 8.2,1.4 1.5,12.6 8.2,12.6"),
    ('-', 6.5, "1.4,7.4 5.1,7.4"),
    ('\'', 3.0, "1.5,1.4 1.5,3.6"),
    ('.', 3.0, "1.5,12.6"),
    (',', 4.0, "2.4,11.8 1.6,13.6"),
    ('!', 3.0, "1.5,1.4 1.5,8.2 / 1.5,12.6"),
    (' ', 4.0, ""),
];

/// All of [`DRAWN`], read once: the screen is drawn many times a second.
static READ: LazyLock<Vec<(char, Drawn)>> = LazyLock::new(|| {
    let read = |&(c, width, strokes)| (c, Drawn::read(width, strokes));
    DRAWN.iter().map(read).collect()
});

/// A character's box and strokes.
pub(super) struct Drawn {
    /// Width of the box.
    pub(super) width: f32,
    lines: Vec<[(f32, f32); 2]>,
}

impl Drawn {
    /// The character, whatever its case; `None` if it cannot be drawn.
    pub(super) fn of(c: char) -> Option<&'static Self> {
        let c = c.to_ascii_uppercase();
        let found = READ.iter().find(|(drawn, _)| *drawn == c);
        found.map(|(_, drawn)| drawn)
    }

    fn read(width: f32, strokes: &str) -> Self {
        let mut lines = Vec::new();
        for stroke in strokes.split('/') {
            let mut points: Vec<(f32, f32)> = Vec::new();
            for piece in stroke.split_whitespace() {
                add(&mut points, piece);
            }
            match points.as_slice() {
                [only] => lines.push([*only; 2]),
                points => lines.extend(points.windows(2).map(|pair| [pair[0], pair[1]])),
            }
        }
        Drawn { width, lines }
    }

    /// Whether a pen of half that width went over the point (x, y).
    pub(super) fn inked(&self, x: f32, y: f32, pen: f32) -> bool {
        self.lines.iter().any(|&[from, to]| {
            let (along_x, along_y) = (to.0 - from.0, to.1 - from.1);
            let length = along_x * along_x + along_y * along_y;
            let share = match length > 0.0 {
                true => ((x - from.0) * along_x + (y - from.1) * along_y) / length,
                false => 0.0,
            };
            let share = share.clamp(0.0, 1.0);
            let off = (x - from.0 - share * along_x, y - from.1 - share * along_y);
            // A pen between a circle and a square: round ends are spikes where they are
            // only a few dots wide.
            off.0.powi(4) + off.1.powi(4) <= pen.powi(4)
        })
    }
}

/// The width of the character's box; `None` if it cannot be drawn.
pub(super) fn width(c: char) -> Option<f32> {
    Drawn::of(c).map(|drawn| drawn.width)
}

/// Adds a point, or the points of an arc.
fn add(points: &mut Vec<(f32, f32)>, piece: &str) {
    let numbers = |text: &str| -> Vec<f32> { text.split(',').flat_map(str::parse).collect() };
    let Some(arc) = piece.strip_prefix('@') else {
        if let [x, y] = numbers(piece)[..] {
            points.push((x, y));
        }
        return;
    };
    if let [x, y, across, down, from, to] = numbers(arc)[..] {
        let steps = ((to - from).abs() / 90.0 * QUARTER).ceil().max(1.0);
        for step in 0..=steps as u16 {
            let angle = (from + (to - from) * f32::from(step) / steps).to_radians();
            points.push((x + across * angle.cos(), y + down * angle.sin()));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_drawing_is_well_formed_and_stays_in_its_box() {
        for (c, width, strokes) in DRAWN {
            for piece in strokes.split(['/', ' ']).filter(|piece| !piece.is_empty()) {
                let mut points = Vec::new();
                add(&mut points, piece);
                assert!(!points.is_empty(), "{c}: {piece}");
                for (x, y) in points {
                    assert!((1.2..=width - 1.2).contains(&x), "{c}: {x}");
                    assert!((1.2..=HEIGHT - 0.3).contains(&y), "{c}: {y}");
                }
            }
        }
    }

    #[test]
    fn no_two_look_alike() {
        let picture = |c| {
            let drawn = Drawn::of(c).unwrap();
            // Four samples in each square unit: a full stop is small.
            let at = |i: u16| 0.5 * f32::from(i) + 0.25;
            let ink = |i: u16| drawn.inked(at(i % 26), at(i / 26), FINE);
            (0..26 * 28).map(ink).collect::<Vec<_>>()
        };
        for (i, (a, ..)) in DRAWN.iter().enumerate() {
            for (b, ..) in &DRAWN[..i] {
                let (of_a, of_b) = (picture(*a), picture(*b));
                let apart = of_a.iter().zip(&of_b).filter(|(a, b)| a != b).count();
                assert!(apart > 8, "{a} and {b}: {apart}");
            }
        }
        assert!(Drawn::of('日').is_none() && width('é').is_none());
        assert_eq!(width('a'), Some(10.0));
    }
}
