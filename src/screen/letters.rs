//! Large digits and letters made of block characters.
//!
//! Two dots to a character cell in height make them about square. Large characters
//! are drawn with the pen of [`super::strokes`]; for those of five dots every dot is
//! set by hand.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::strokes::{self, Drawn};
use super::view::put_middle;

/// Dots in height from which the pen draws well.
const LEAST_DRAWN: u16 = 8;
/// A digit's width as a share of its height.
const DIGIT: (u16, u16) = (10, 14);

/// Dots of a letter in height, and the empty row below it.
const LETTER: (u16, usize) = (5, 1);

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

    /// Characters `height` dots high, drawn with a pen; `None` if one cannot be.
    fn drawn(text: &str, height: u16, pen: f32) -> Option<Dots> {
        let dot = strokes::HEIGHT / f32::from(height);
        let mut rows = vec![Vec::new(); usize::from(height)];
        let mut end = 0.0;
        for c in text.chars() {
            let drawn = Drawn::of(c)?;
            // Every character begins on a whole dot, so that all its likes are alike.
            let from = rows[0].len();
            end += drawn.width + strokes::BETWEEN;
            let columns = ((end / dot).round() as usize).saturating_sub(from);
            for (y, row) in rows.iter_mut().enumerate() {
                let at = |x: usize| ((x as f32 + 0.5) * dot, (y as f32 + 0.5) * dot);
                row.extend((0..columns).map(|x| {
                    let (x, y) = at(x);
                    drawn.inked(x, y, pen)
                }));
            }
        }
        Some(Dots { rows })
    }

    /// Columns up to the last one with a dot.
    fn inked(&self) -> u16 {
        let last = |row: &Vec<bool>| row.iter().rposition(|dot| *dot).map_or(0, |x| x + 1);
        u16::try_from(self.rows.iter().map(last).max().unwrap_or(0)).unwrap_or(u16::MAX)
    }

    /// Draws the dots with the corner at (`x`, `y`), clipped to `area`.
    fn draw(&self, buf: &mut Buffer, area: Rect, (x, y): (u16, u16), style: Style) {
        let width = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        for row in 0..self.rows.len().div_ceil(2) {
            for column in 0..width {
                let upper = self.at(column, 2 * row);
                let lower = self.at(column, 2 * row + 1);
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
    let height = digit_height(area.width, area.height);
    let Some(c) = (1..=8).contains(&count).then(|| char::from(b'0' + count)) else {
        return false;
    };
    if height == 0 {
        return false;
    }
    let Some(dots) = Dots::drawn(c.encode_utf8(&mut [0; 4]), height, strokes::BROAD) else {
        return false;
    };
    let corner = (
        area.x + (area.width - digit_width(height)) / 2,
        area.y + (area.height - height.div_ceil(2)) / 2,
    );
    dots.draw(buf, area, corner, style);
    true
}

/// Dots in height of the largest digit on so many cells; 0 if there is none.
fn digit_height(width: u16, height: u16) -> u16 {
    let height = height
        .saturating_mul(2)
        .min(width.saturating_mul(DIGIT.1) / DIGIT.0);
    // An even height fills its cells.
    if height < LEAST_DRAWN {
        0
    } else {
        height / 2 * 2
    }
}

/// Cells in width of a digit `height` dots high.
pub(super) fn digit_width(height: u16) -> u16 {
    height * DIGIT.0 / DIGIT.1
}

/// Words in large letters, broken into lines that fit. Dots are set only when it is
/// drawn: of several that are tried one is shown.
pub(super) struct Sign {
    lines: Vec<String>,
    /// Dots between two lines.
    apart: usize,
    /// Dots in height of a letter.
    pub(super) size: u16,
}

impl Sign {
    /// Sets `words` as large as they fit into `width` × `height` cells, in letters
    /// of at most `most` dots. `None` if they do not fit at all, or use letters
    /// that there are no dots for.
    pub(super) fn fit(words: &str, width: u16, height: u16, most: u16) -> Option<Self> {
        let most = most.min(height.saturating_mul(2));
        let drawn = (LEAST_DRAWN..=most).rev().find_map(|size| {
            let dots = |text: &str| {
                let units: Option<f32> = text
                    .chars()
                    .map(|c| strokes::width(c).map(|w| w + strokes::BETWEEN))
                    .sum();
                let units = (units? - strokes::BETWEEN).max(0.0);
                Some((units * f32::from(size) / strokes::HEIGHT).ceil() as usize)
            };
            let sign = Sign {
                lines: broken(words, usize::from(width), dots)?,
                apart: usize::from((size / 4).max(2)),
                size,
            };
            (sign.height() <= height).then_some(sign)
        });
        drawn.or_else(|| {
            let sign = Sign {
                lines: broken(words, usize::from(width), dots_across)?,
                apart: LETTER.1,
                size: LETTER.0,
            };
            (most >= sign.size && sign.height() <= height).then_some(sign)
        })
    }

    /// Cells in height.
    pub(super) fn height(&self) -> u16 {
        let dots = self.lines.len() * (usize::from(self.size) + self.apart) - self.apart;
        u16::try_from(dots.div_ceil(2)).unwrap_or(u16::MAX)
    }

    /// All lines, one below the other.
    fn dots(&self) -> Dots {
        let mut all = Dots { rows: Vec::new() };
        for line in &self.lines {
            let line = match self.size >= LEAST_DRAWN {
                true => Dots::drawn(line, self.size, strokes::FINE),
                false => dots(line),
            };
            // None is missing: the letters were measured before.
            all.rows.extend(line.into_iter().flat_map(|line| line.rows));
            all.rows.extend(std::iter::repeat_n(Vec::new(), self.apart));
        }
        all.rows.truncate(2 * usize::from(self.height()));
        all
    }

    /// Draws the words from the upper left corner of `area`.
    pub(super) fn draw(&self, buf: &mut Buffer, area: Rect, style: Style) {
        self.dots().draw(buf, area, (area.x, area.y), style);
    }

    /// Draws the words from row `row` of `area` on, midway between its sides; tells
    /// the column at which they begin.
    pub(super) fn draw_middle(&self, buf: &mut Buffer, area: Rect, row: u16, style: Style) -> u16 {
        let dots = self.dots();
        let x = area.width.saturating_sub(dots.inked()) / 2;
        dots.draw(buf, area, (area.x + x, area.y + row), style);
        x
    }
}

/// Draws `words` in the middle of `area`, `beside` of its columns left free, in letters
/// of at most `most` dots; in plain ones if there is no room for them.
pub(super) fn put_large(
    buf: &mut Buffer,
    area: Rect,
    words: &str,
    (beside, most): (u16, u16),
    style: Style,
) {
    match Sign::fit(words, area.width.saturating_sub(beside), area.height, most) {
        Some(sign) => {
            let row = (area.height - sign.height()) / 2;
            sign.draw_middle(buf, area, row, style);
        }
        None => put_middle(buf, area, area.height / 2, words, style),
    }
}

/// Breaks `words` at blanks into lines of at most `width` of what `across` measures.
fn broken(
    words: &str,
    width: usize,
    across: impl Fn(&str) -> Option<usize>,
) -> Option<Vec<String>> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split_whitespace() {
        let longer = lines.last().map(|line| format!("{line} {word}"));
        match (longer, lines.last_mut()) {
            (Some(longer), Some(last)) if across(&longer)? <= width => *last = longer,
            _ if across(word)? <= width => lines.push(word.to_owned()),
            _ => return None,
        }
    }
    (!lines.is_empty()).then_some(lines)
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
    let mut rows = vec![Vec::new(); usize::from(LETTER.0)];
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
        for (c, rows) in LETTERS {
            assert!(rows.iter().all(|row| row.len() == rows[0].len()), "{c}");
            assert!(strokes::width(*c).is_some(), "{c} in large");
        }
    }

    #[test]
    fn all_counts_look_different_and_fill_their_size() {
        for (width, height) in [(6, 4), (16, 10), (40, 30), (100, 70)] {
            let area = Rect::new(0, 0, width, height);
            let mut seen = Vec::new();
            for count in 1..=8 {
                let mut buf = Buffer::empty(area);
                assert!(digit(&mut buf, area, count, Style::new()));
                let text: String = buf.content().iter().map(|c| c.symbol()).collect();
                let inked = text.chars().filter(|c| *c != ' ').count();
                assert!(inked > text.chars().count() / 5, "{count}: {inked}");
                assert!(!seen.contains(&text));
                seen.push(text);
            }
        }
        let area = Rect::new(0, 0, 16, 10);
        let mut buf = Buffer::empty(area);
        assert!(!digit(&mut buf, Rect::new(0, 0, 5, 10), 3, Style::new()));
        assert!(!digit(&mut buf, Rect::new(0, 0, 16, 3), 3, Style::new()));
        assert!(!digit(&mut buf, area, 0, Style::new()));
        assert!(!digit(&mut buf, area, 9, Style::new()));
    }

    #[test]
    fn words_are_broken_and_enlarged_to_fit() {
        let fit = |width, height, most| {
            let sign = Sign::fit("circle left", width, height, most)?;
            assert!(sign.dots().inked() <= width && sign.height() <= height);
            Some((sign.lines.len(), sign.size))
        };
        assert_eq!(fit(60, 3, 40), Some((1, 5)));
        assert_eq!(fit(30, 6, 40), Some((2, 5)));
        assert_eq!(fit(60, 12, 10), Some((2, 10)));
        assert!(fit(60, 12, 40).is_some_and(|(lines, size)| lines == 2 && size > 10));
        assert!(fit(200, 40, 40).is_some_and(|(_, size)| size > 25));
        assert_eq!(fit(20, 20, 40), None);
        assert_eq!(fit(60, 3, 4), None);
        assert!(Sign::fit("日本", 200, 20, 40).is_none());
        assert!(Sign::fit("", 200, 20, 40).is_none());
    }
}
