//! Large digits and letters made of block characters.
//!
//! Drawn on a grid of square dots, two dots to a character cell in height, so
//! that any whole magnification stays crisp.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Dots across and down of a digit.
pub(super) const DIGIT: (u16, u16) = (8, 10);

/// The counts 1 to 8, two dots thick so that they carry across a hall.
const DIGITS: [[&str; 10]; 8] = [
    [
        "...##...", "..###...", ".####...", "...##...", "...##...", "...##...", "...##...",
        "...##...", ".######.", ".######.",
    ],
    [
        ".######.", "########", "##....##", "......##", "....####", "..####..", ".###....",
        "##......", "########", "########",
    ],
    [
        ".######.", "########", "......##", "......##", "..#####.", "..#####.", "......##",
        "......##", "########", ".######.",
    ],
    [
        "....###.", "...####.", "..#####.", ".###.##.", "###..##.", "##...##.", "########",
        "########", ".....##.", ".....##.",
    ],
    [
        "########", "########", "##......", "##......", "#######.", "########", "......##",
        "......##", "########", ".######.",
    ],
    [
        ".######.", "#######.", "##......", "##......", "#######.", "########", "##....##",
        "##....##", "########", ".######.",
    ],
    [
        "########", "########", "......##", ".....###", "....###.", "...###..", "...##...",
        "..###...", "..##....", "..##....",
    ],
    [
        ".######.", "########", "##....##", "##....##", ".######.", ".######.", "##....##",
        "##....##", "########", ".######.",
    ],
];

/// Dots of a letter in height, and the empty row below it.
const LETTER: (usize, usize) = (5, 1);

/// Letters, figures and marks of calls, five dots high.
const LETTERS: &[(char, [&str; 5])] = &[
    ('A', [".##.", "#..#", "####", "#..#", "#..#"]),
    ('B', ["###.", "#..#", "###.", "#..#", "###."]),
    ('C', [".###", "#...", "#...", "#...", ".###"]),
    ('D', ["###.", "#..#", "#..#", "#..#", "###."]),
    ('E', ["####", "#...", "###.", "#...", "####"]),
    ('F', ["####", "#...", "###.", "#...", "#..."]),
    ('G', [".###", "#...", "#.##", "#..#", ".###"]),
    ('H', ["#..#", "#..#", "####", "#..#", "#..#"]),
    ('I', ["###", ".#.", ".#.", ".#.", "###"]),
    ('J', ["..##", "...#", "...#", "#..#", ".##."]),
    ('K', ["#..#", "#.#.", "##..", "#.#.", "#..#"]),
    ('L', ["#...", "#...", "#...", "#...", "####"]),
    ('M', ["#...#", "##.##", "#.#.#", "#...#", "#...#"]),
    ('N', ["#...#", "##..#", "#.#.#", "#..##", "#...#"]),
    ('O', [".##.", "#..#", "#..#", "#..#", ".##."]),
    ('P', ["###.", "#..#", "###.", "#...", "#..."]),
    ('Q', [".##.", "#..#", "#..#", "#.##", ".###"]),
    ('R', ["###.", "#..#", "###.", "#.#.", "#..#"]),
    ('S', [".###", "#...", ".##.", "...#", "###."]),
    ('T', ["###", ".#.", ".#.", ".#.", ".#."]),
    ('U', ["#..#", "#..#", "#..#", "#..#", ".##."]),
    ('V', ["#...#", "#...#", "#...#", ".#.#.", "..#.."]),
    ('W', ["#...#", "#...#", "#.#.#", "##.##", "#...#"]),
    ('X', ["#...#", ".#.#.", "..#..", ".#.#.", "#...#"]),
    ('Y', ["#...#", ".#.#.", "..#..", "..#..", "..#.."]),
    ('Z', ["####", "..#.", ".#..", "#...", "####"]),
    ('0', [".##.", "#..#", "#..#", "#..#", ".##."]),
    ('1', [".#.", "##.", ".#.", ".#.", "###"]),
    ('2', ["###.", "...#", ".##.", "#...", "####"]),
    ('3', ["###.", "...#", ".##.", "...#", "###."]),
    ('4', ["#..#", "#..#", "####", "...#", "...#"]),
    ('5', ["####", "#...", "###.", "...#", "###."]),
    ('6', [".##.", "#...", "###.", "#..#", ".##."]),
    ('7', ["####", "...#", "..#.", ".#..", ".#.."]),
    ('8', [".##.", "#..#", ".##.", "#..#", ".##."]),
    ('9', [".##.", "#..#", ".###", "...#", ".##."]),
    ('-', ["...", "...", "###", "...", "..."]),
    ('\'', ["#", "#", ".", ".", "."]),
    ('.', [".", ".", ".", ".", "#"]),
    ('!', ["#", "#", "#", ".", "#"]),
    (',', ["..", "..", "..", ".#", "#."]),
    (' ', ["..", "..", "..", "..", ".."]),
];

/// A picture of dots.
struct Dots {
    rows: Vec<Vec<bool>>,
}

impl Dots {
    fn at(&self, x: usize, y: usize) -> bool {
        self.rows.get(y).and_then(|row| row.get(x)) == Some(&true)
    }

    /// The same dots twice as fine, with the steps of slants and corners
    /// smoothed: a dot's quarter takes the colour of its two neighbours there
    /// if they agree with each other and not with the opposite ones (the
    /// Scale2x rule, <https://www.scale2x.it/algorithm>).
    fn finer(&self) -> Dots {
        let mut rows = Vec::with_capacity(2 * self.rows.len());
        for y in 0..self.rows.len() {
            let width = self.rows.iter().map(Vec::len).max().unwrap_or(0);
            let (mut upper, mut lower) = (Vec::new(), Vec::new());
            for x in 0..width {
                let here = self.at(x, y);
                let above = y > 0 && self.at(x, y - 1);
                let left = x > 0 && self.at(x - 1, y);
                let (right, below) = (self.at(x + 1, y), self.at(x, y + 1));
                let smooth = above != below && left != right;
                let quarter = |a: bool, b: bool| if smooth && a == b { a } else { here };
                upper.extend([quarter(above, left), quarter(above, right)]);
                lower.extend([quarter(below, left), quarter(below, right)]);
            }
            rows.extend([upper, lower]);
        }
        Dots { rows }
    }

    /// Eight dots for one, for drawings that are to be much enlarged. (Letters
    /// are too small for it: a smoothed D reads as an O.)
    fn smooth(&self) -> Dots {
        self.finer().finer().finer()
    }

    /// Draws the dots in clear squares, `scale` times enlarged, with the corner
    /// at (`x`, `y`), clipped to `area`.
    fn draw(&self, buf: &mut Buffer, area: Rect, corner: (u16, u16), scale: u16, style: Style) {
        self.draw_at(buf, area, corner, (usize::from(scale), 1), style);
    }

    /// The same, enlarged by the fraction `times`.
    fn draw_at(
        &self,
        buf: &mut Buffer,
        area: Rect,
        (x, y): (u16, u16),
        times: (usize, usize),
        style: Style,
    ) {
        let (over, under) = (times.0.max(1), times.1.max(1));
        let width = self.rows.iter().map(Vec::len).max().unwrap_or(0) * over / under;
        let dots = self.rows.len() * over / under;
        let height = dots.div_ceil(2);
        // The dot below the middle of a drawn one.
        let nearest = |at: usize| (2 * at + 1) * under / (2 * over);
        let on = |x: usize, y: usize| y < dots && self.at(nearest(x), nearest(y));
        for row in 0..height {
            for column in 0..width {
                let upper = on(column, 2 * row);
                let lower = on(column, 2 * row + 1);
                let symbol = match (upper, lower) {
                    (true, true) => "█",
                    (true, false) => "▀",
                    (false, true) => "▄",
                    (false, false) => continue,
                };
                let at = (
                    x.saturating_add(u16::try_from(column).unwrap_or(u16::MAX)),
                    y.saturating_add(u16::try_from(row).unwrap_or(u16::MAX)),
                );
                if area.contains(at.into())
                    && let Some(cell) = buf.cell_mut(at)
                {
                    cell.set_symbol(symbol).set_style(style);
                }
            }
        }
    }
}

/// Draws `count` (1 to 8) as large as `area` allows, in its middle.
///
/// `false` if the area is too small for any size.
pub(super) fn digit(buf: &mut Buffer, area: Rect, count: u8, style: Style) -> bool {
    let scale = digit_scale(area);
    let Some(rows) = DIGITS.get(usize::from(count).wrapping_sub(1)) else {
        return false;
    };
    if scale == 0 {
        return false;
    }
    let dots = Dots {
        rows: rows
            .iter()
            .map(|row| row.bytes().map(|b| b == b'#').collect())
            .collect(),
    };
    let (width, height) = (DIGIT.0 * scale, (DIGIT.1 * scale).div_ceil(2));
    let corner = (
        area.x + (area.width - width) / 2,
        area.y + (area.height - height) / 2,
    );
    match scale {
        1 => dots.draw(buf, area, corner, 1, style),
        _ => dots
            .smooth()
            .draw_at(buf, area, corner, (usize::from(scale), 8), style),
    }
    true
}

/// How often a digit can be enlarged to fit `area`; 0 if it does not fit.
fn digit_scale(area: Rect) -> u16 {
    (area.width / DIGIT.0).min(area.height.saturating_mul(2) / DIGIT.1)
}

/// Words in large letters, broken into lines that fit.
pub(super) struct Sign {
    lines: Vec<Dots>,
    /// How often the letters are enlarged.
    pub(super) scale: u16,
}

impl Sign {
    /// Sets `words` as large as they fit into `width` × `height` cells, at most
    /// `most` times enlarged. `None` if they do not fit at all, or use letters
    /// that there are no dots for.
    pub(super) fn fit(words: &str, width: u16, height: u16, most: u16) -> Option<Self> {
        (1..=most).rev().find_map(|scale| {
            let lines = broken(words, usize::from(width / scale))?;
            let sign = Sign { lines, scale };
            (sign.height() <= height).then_some(sign)
        })
    }

    /// Cells in height.
    pub(super) fn height(&self) -> u16 {
        let dots = self.lines.len() * (LETTER.0 + LETTER.1) - LETTER.1;
        u16::try_from((dots * usize::from(self.scale)).div_ceil(2)).unwrap_or(u16::MAX)
    }

    /// Cells in width.
    pub(super) fn width(&self) -> u16 {
        let dots = self
            .lines
            .iter()
            .map(|line| line.rows[0].len().saturating_sub(1));
        u16::try_from(dots.max().unwrap_or(0) * usize::from(self.scale)).unwrap_or(u16::MAX)
    }

    /// Draws the words from the upper left corner of `area`.
    pub(super) fn draw(&self, buf: &mut Buffer, area: Rect, style: Style) {
        let mut all = Dots { rows: Vec::new() };
        for line in &self.lines {
            all.rows.extend(line.rows.iter().cloned());
            all.rows.push(Vec::new());
        }
        all.draw(buf, area, (area.x, area.y), self.scale, style);
    }
}

/// Breaks `words` at blanks into lines of at most `width` dots.
fn broken(words: &str, width: usize) -> Option<Vec<Dots>> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split_whitespace() {
        let longer = lines.last().map(|line| format!("{line} {word}"));
        match (longer, lines.last_mut()) {
            (Some(longer), Some(last)) if dots_across(&longer)? <= width => *last = longer,
            _ if dots_across(word)? <= width => lines.push(word.to_owned()),
            _ => return None,
        }
    }
    if lines.is_empty() {
        return None;
    }
    lines.iter().map(|line| dots(line)).collect()
}

fn letter(c: char) -> Option<&'static [&'static str; 5]> {
    let c = c.to_ascii_uppercase();
    LETTERS.iter().find(|(l, _)| *l == c).map(|(_, rows)| rows)
}

fn dots_across(text: &str) -> Option<usize> {
    let mut width = 0;
    for c in text.chars() {
        width += letter(c)?[0].len() + 1;
    }
    Some(width.saturating_sub(1))
}

fn dots(text: &str) -> Option<Dots> {
    let mut rows = vec![Vec::new(); LETTER.0];
    for c in text.chars() {
        for (row, drawn) in rows.iter_mut().zip(letter(c)?) {
            row.extend(drawn.bytes().map(|b| b == b'#'));
            row.push(false);
        }
    }
    Some(Dots { rows })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_drawing_is_a_full_rectangle() {
        for rows in &DIGITS {
            assert!(rows.iter().all(|row| row.len() == usize::from(DIGIT.0)));
        }
        for (c, rows) in LETTERS {
            assert!(rows.iter().all(|row| row.len() == rows[0].len()), "{c}");
        }
    }

    #[test]
    fn all_counts_look_different_and_fill_their_size() {
        let area = Rect::new(0, 0, 16, 10);
        let mut seen = Vec::new();
        for count in 1..=8 {
            let mut buf = Buffer::empty(area);
            assert!(digit(&mut buf, area, count, Style::new()));
            let text: String = buf.content().iter().map(|c| c.symbol()).collect();
            assert!(text.chars().filter(|c| *c == '█').count() > 50);
            assert!(!seen.contains(&text));
            seen.push(text);
        }
        let mut buf = Buffer::empty(area);
        assert!(!digit(&mut buf, Rect::new(0, 0, 7, 10), 3, Style::new()));
        assert!(!digit(&mut buf, area, 0, Style::new()));
        assert!(!digit(&mut buf, area, 9, Style::new()));
    }

    #[test]
    fn words_are_broken_and_enlarged_to_fit() {
        let sign = Sign::fit("circle left", 60, 3, 4).unwrap();
        assert_eq!((sign.lines.len(), sign.scale, sign.height()), (1, 1, 3));
        let sign = Sign::fit("circle left", 30, 6, 4).unwrap();
        assert_eq!((sign.lines.len(), sign.height()), (2, 6));
        let sign = Sign::fit("circle left", 60, 12, 4).unwrap();
        assert_eq!((sign.lines.len(), sign.scale), (2, 2));
        assert!(Sign::fit("circle left", 20, 20, 1).is_none());
        assert!(Sign::fit("日本", 200, 20, 1).is_none());
        assert!(Sign::fit("", 200, 20, 1).is_none());
    }
}
