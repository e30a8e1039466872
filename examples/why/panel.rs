//! The parts of a picture that every panel shares: a time axis, a value axis,
//! lines and words.

use std::fmt::Write;
use std::ops::Range;

use svg::node::element::{Group, Line, Path, Rectangle, Text};

/// Ink for words and marks.
pub const INK: &str = "#1b1b1b";
/// Ink for axes and lesser words.
pub const GREY: &str = "#5c5c5c";
/// Ink for the grid.
pub const FAINT: &str = "#d9d9d9";

/// The time axis.
pub struct Time {
    pub range: Range<f64>,
    /// Pixels from the picture's edge to the start.
    pub left: f64,
    /// Pixels a second.
    pub scale: f64,
}

impl Time {
    pub fn x(&self, seconds: f64) -> f64 {
        self.left + (seconds - self.range.start) * self.scale
    }

    pub fn end(&self) -> f64 {
        self.x(self.range.end)
    }

    pub fn shows(&self, seconds: f64) -> bool {
        self.range.contains(&seconds)
    }

    /// Seconds between two labels: the closest step that leaves them room.
    fn step(&self) -> f64 {
        let steps = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 60.0];
        let fits = |step: &&f64| **step * self.scale >= 44.0;
        steps.iter().find(fits).copied().unwrap_or(120.0)
    }

    /// The times to label.
    pub fn labels(&self) -> impl Iterator<Item = f64> {
        let (step, end) = (self.step(), self.range.end + 1e-9);
        let first = (self.range.start / step - 1e-9).ceil();
        (0..)
            .map(move |k| (first + f64::from(k)) * step)
            .take_while(move |t| *t <= end)
    }
}

/// A strip of the picture with a value axis of its own.
pub struct Panel {
    pub top: f64,
    pub height: f64,
    pub values: Range<f64>,
}

impl Panel {
    pub fn y(&self, value: f64) -> f64 {
        let share = (value - self.values.start) / (self.values.end - self.values.start);
        self.top + self.height * (1.0 - share)
    }

    pub fn bottom(&self) -> f64 {
        self.top + self.height
    }

    /// The frame, its grid in time, its name and what its axis counts.
    pub fn frame(&self, time: &Time, name: &str, notes: &[&str], marks: &[(f64, String)]) -> Group {
        let mut group = Group::new();
        for t in time.labels() {
            group = group.add(line(
                time.x(t),
                self.top,
                time.x(t),
                self.bottom(),
                FAINT,
                1.0,
            ));
        }
        for (value, label) in marks {
            let y = self.y(*value);
            group = group
                .add(line(time.left - 4.0, y, time.left, y, GREY, 1.0))
                .add(
                    words(time.left - 7.0, y + 3.5, label.as_str(), 10.0, GREY)
                        .set("text-anchor", "end"),
                );
        }
        group = group.add(words(14.0, self.top + 12.0, name, 13.0, INK).set("font-weight", 600));
        for (k, note) in notes.iter().enumerate() {
            let y = self.top + 28.0 + 13.0 * k as f64;
            group = group.add(words(14.0, y, *note, 10.5, GREY));
        }
        group.add(
            Rectangle::new()
                .set("x", time.left)
                .set("y", self.top)
                .set("width", time.end() - time.left)
                .set("height", self.height)
                .set("fill", "none")
                .set("stroke", GREY),
        )
    }

    /// The outline of `(seconds, value)` points, as path data.
    fn outline(&self, time: &Time, points: &[(f64, f64)]) -> String {
        let mut data = String::new();
        for (k, &(t, value)) in points.iter().enumerate() {
            let value = value.clamp(self.values.start, self.values.end);
            let command = if k == 0 { 'M' } else { 'L' };
            // Writing to a string cannot fail.
            let _ = write!(data, "{command}{:.1} {:.1}", time.x(t), self.y(value));
        }
        data
    }

    /// A line through points.
    pub fn curve(&self, time: &Time, points: &[(f64, f64)], ink: &str, width: f64) -> Path {
        Path::new()
            .set("d", self.outline(time, points))
            .set("fill", "none")
            .set("stroke", ink)
            .set("stroke-width", width)
            .set("stroke-linejoin", "round")
    }

    /// The area between points and the axis' lower end.
    pub fn area(&self, time: &Time, points: &[(f64, f64)], fill: &str) -> Path {
        let mut data = self.outline(time, points);
        if let (Some(first), Some(last)) = (points.first(), points.last()) {
            let (from, to, y) = (time.x(first.0), time.x(last.0), self.bottom());
            let _ = write!(data, "L{to:.1} {y:.1}L{from:.1} {y:.1}Z");
        }
        Path::new().set("d", data).set("fill", fill)
    }
}

pub fn line(x1: f64, y1: f64, x2: f64, y2: f64, ink: &str, width: f64) -> Line {
    Line::new()
        .set("x1", round(x1))
        .set("y1", round(y1))
        .set("x2", round(x2))
        .set("y2", round(y2))
        .set("stroke", ink)
        .set("stroke-width", width)
}

pub fn words(x: f64, y: f64, text: impl Into<String>, size: f64, ink: &str) -> Text {
    Text::new(text)
        .set("x", round(x))
        .set("y", round(y))
        .set("font-size", size)
        .set("fill", ink)
}

/// Words with a rim of paper, so that no line runs through them.
pub fn rimmed(text: Text) -> Text {
    text.set("stroke", "#ffffff")
        .set("stroke-width", 3)
        .set("paint-order", "stroke")
}

/// Tenths of a pixel: enough for the eye, and short in the file.
fn round(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}
