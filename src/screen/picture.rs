//! A screen as an SVG, so that a page can show it without a screenshot.

use std::fmt::Write;

use ratatui::buffer::{Buffer, Cell};
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier};
use unicode_width::UnicodeWidthStr;

use super::state::State;
use super::view::draw;

/// Width and height of a character cell in the SVG's units.
const CELL: (u32, u32) = (9, 18);
/// How far the baseline lies below a cell's top.
const BASELINE: u32 = 14;
/// Room round the screen.
const MARGIN: u32 = 12;
/// The terminal's own colours: ink and paper.
const INK: &str = "#e8e6e3";
const PAPER: &str = "#16181d";

/// Draws `state` on a screen of `columns` × `rows` cells, as an SVG document.
pub fn svg(state: &State, columns: u16, rows: u16) -> String {
    let area = Rect::new(0, 0, columns, rows);
    let mut buffer = Buffer::empty(area);
    draw(area, &mut buffer, state);
    svg_of(&buffer)
}

/// The cells of `buffer` as an SVG document that needs nothing else: filled
/// blocks are drawn, other characters are monospaced text.
pub fn svg_of(buffer: &Buffer) -> String {
    let area = buffer.area();
    let width = u32::from(area.width) * CELL.0 + 2 * MARGIN;
    let height = u32::from(area.height) * CELL.1 + 2 * MARGIN;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
         width=\"{width}\" height=\"{height}\" font-family=\"ui-monospace, DejaVu Sans Mono, \
         Menlo, Consolas, monospace\" font-size=\"15\">\n\
         <rect width=\"{width}\" height=\"{height}\" rx=\"8\" fill=\"{PAPER}\"/>\n"
    );
    let mut text = String::new();
    for row in area.rows() {
        let mut column = 0;
        while column < row.width {
            let start = column;
            let Some(first) = buffer.cell((row.x + start, row.y)) else {
                break;
            };
            // A run of cells that look the same becomes one shape or one text.
            let shape = block(first.symbol());
            let mut run = String::new();
            while let Some(cell) = buffer.cell((row.x + column, row.y)) {
                if column >= row.width
                    || style(cell) != style(first)
                    || block(cell.symbol()) != shape
                {
                    break;
                }
                run.push_str(cell.symbol());
                column += u16::try_from(cell.symbol().width()).unwrap_or(1).max(1);
            }
            let (ink, paper, bold) = style(first);
            let x = MARGIN + u32::from(start) * CELL.0;
            let y = MARGIN + u32::from(row.y - area.y) * CELL.1;
            let across = u32::from(column - start) * CELL.0;
            if paper != PAPER {
                rect(&mut svg, (x, y, across, CELL.1), paper);
            }
            match shape {
                Some((top, rows)) => rect(&mut svg, (x, y + top, across, rows), ink),
                None => words(&mut text, (x, y + BASELINE), &run, ink, bold),
            }
        }
    }
    svg.push_str(&text);
    svg.push_str("</svg>\n");
    svg
}

/// Top and height of a block character that is drawn as a rectangle.
fn block(symbol: &str) -> Option<(u32, u32)> {
    match symbol {
        "█" => Some((0, CELL.1)),
        "▀" => Some((0, CELL.1 / 2)),
        "▄" => Some((CELL.1 / 2, CELL.1 / 2)),
        _ => None,
    }
}

fn rect(svg: &mut String, (x, y, width, height): (u32, u32, u32, u32), fill: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(
        svg,
        "<rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\" fill=\"{fill}\" \
         shape-rendering=\"crispEdges\"/>"
    );
}

/// Words that stand apart are placed one by one: not every program that shows an SVG
/// keeps blanks, or heeds the length of a text.
fn words(svg: &mut String, (x, y): (u32, u32), run: &str, ink: &str, bold: bool) {
    let columns = |text: &str| u32::try_from(text.width()).unwrap_or(0) * CELL.0;
    let weight = if bold { " font-weight=\"bold\"" } else { "" };
    let mut rest = run;
    while let Some(start) = rest.find(|c| c != ' ') {
        let end = rest[start..]
            .find("  ")
            .map_or(rest.len(), |end| start + end);
        let piece = rest[start..end].trim_end();
        let before = columns(run) - columns(&rest[start..]);
        let mut escaped = String::new();
        for c in piece.chars() {
            match c {
                '&' => escaped.push_str("&amp;"),
                '<' => escaped.push_str("&lt;"),
                '>' => escaped.push_str("&gt;"),
                ' ' => escaped.push('\u{a0}'),
                c => escaped.push(c),
            }
        }
        let (x, across) = (x + before, columns(piece));
        let _ = writeln!(
            svg,
            "<text x=\"{x}\" y=\"{y}\" textLength=\"{across}\" lengthAdjust=\"spacingAndGlyphs\" \
             fill=\"{ink}\"{weight}>{escaped}</text>"
        );
        rest = &rest[end..];
    }
}

/// Ink, paper and weight of a cell.
fn style(cell: &Cell) -> (&'static str, &'static str, bool) {
    let ink = colour(cell.fg).unwrap_or(INK);
    let paper = colour(cell.bg).unwrap_or(PAPER);
    let bold = cell.modifier.contains(Modifier::BOLD);
    match cell.modifier.contains(Modifier::REVERSED) {
        true => (paper, ink, bold),
        false => (ink, paper, bold),
    }
}

/// The colours that the screen uses.
fn colour(colour: Color) -> Option<&'static str> {
    match colour {
        Color::LightMagenta | Color::Indexed(13) => Some("#f08cd0"),
        Color::LightCyan | Color::Indexed(14) => Some("#6fd3e0"),
        Color::LightYellow | Color::Indexed(11) => Some("#f2d060"),
        _ => None,
    }
}
