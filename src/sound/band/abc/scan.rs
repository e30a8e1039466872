//! From the text of a tune's body to bars of notes.

use super::signs::{self, WHOLE};
use super::{Fault, Header, Place};
use crate::sound::band::tune::Chord;

/// One thing in a bar.
#[derive(Debug, Clone)]
pub(super) enum Item {
    /// A note, or a rest if there is no pitch.
    Note {
        pitch: Option<u8>,
        ticks: u32,
        tied: bool,
        slurred: bool,
    },
    /// A chord symbol: the backup changes here.
    Chord(Chord),
}

/// The music between two bar lines.
#[derive(Debug, Clone)]
pub(super) struct Bar {
    pub at: Place,
    pub items: Vec<(Place, Item)>,
    pub ticks: u32,
    /// Begins with `|:`.
    pub opens: bool,
    /// Ends with `:|`.
    pub repeats: bool,
    /// Ends with a double bar or a repeat sign, so that it may be short.
    pub ends_part: bool,
    /// Part of a first or second ending.
    pub ending: Option<u8>,
}

impl Bar {
    fn new(at: Place) -> Self {
        Bar {
            at,
            items: Vec::new(),
            ticks: 0,
            opens: false,
            repeats: false,
            ends_part: false,
            ending: None,
        }
    }
}

/// State of the reading.
struct Scan<'a> {
    header: &'a Header,
    chars: Vec<char>,
    at: usize,
    line: usize,
    bars: Vec<Bar>,
    bar: Bar,
    /// Accidentals of this bar by (letter, octave).
    accidentals: Vec<(char, i32, i8)>,
    /// Notes left in the triplet.
    triplet: u32,
    /// Factor (numerator over 2) on the next note from a broken rhythm.
    broken: Option<(u32, Place)>,
    in_slur: bool,
    slur_begins: bool,
}

/// Reads the bars of the body, which starts after `skip` lines.
pub(super) fn bars(text: &str, skip: usize, header: &Header) -> Result<Vec<Bar>, Fault> {
    let mut scan = Scan {
        header,
        chars: Vec::new(),
        at: 0,
        line: skip,
        bars: Vec::new(),
        bar: Bar::new(Place {
            line: skip + 1,
            column: 1,
        }),
        accidentals: Vec::new(),
        triplet: 0,
        broken: None,
        in_slur: false,
        slur_begins: false,
    };
    for (index, line) in text.lines().enumerate().skip(skip) {
        scan.line = index + 1;
        scan.chars = line.split('%').next().unwrap_or_default().chars().collect();
        scan.at = 0;
        while scan.at < scan.chars.len() {
            scan.step()?;
        }
    }
    if let Some((_, place)) = scan.broken {
        return Err((place, "broken rhythm with no note after it".into()));
    }
    if !scan.bar.items.is_empty() {
        let bar = scan.bar;
        scan.bars.push(bar);
    }
    if scan.bars.is_empty() {
        let place = Place {
            line: skip.max(1),
            column: 1,
        };
        return Err((place, "no music after the K: line".into()));
    }
    Ok(scan.bars)
}

impl Scan<'_> {
    fn place(&self) -> Place {
        Place {
            line: self.line,
            column: self.at + 1,
        }
    }

    fn peek(&self) -> Option<char> {
        self.chars.get(self.at).copied()
    }

    fn eat(&mut self, c: char) -> bool {
        let found = self.peek() == Some(c);
        self.at += usize::from(found);
        found
    }

    fn digits(&mut self) -> Result<Option<u32>, Fault> {
        let place = self.place();
        let start = self.at;
        while self.peek().is_some_and(|c| c.is_ascii_digit()) {
            self.at += 1;
        }
        if start == self.at {
            return Ok(None);
        }
        let text: String = self.chars[start..self.at].iter().collect();
        match text.parse() {
            Ok(n @ 1..=64) => Ok(Some(n)),
            _ => Err((place, format!("'{text}' is no note length: use 1 to 64"))),
        }
    }

    fn step(&mut self) -> Result<(), Fault> {
        let place = self.place();
        let Some(c) = self.peek() else { return Ok(()) };
        match c {
            ' ' | '\t' | '\r' => self.at += 1,
            '|' | ':' => self.bar_line()?,
            '[' => {
                if self.chars.get(self.at + 1) == Some(&'|') {
                    self.bar_line()?;
                } else {
                    self.at += 1;
                    self.ending(place)?;
                }
            }
            '"' => self.chord()?,
            '(' if self.chars.get(self.at + 1) == Some(&'3') => {
                if self.triplet > 0 {
                    return Err((place, "a triplet inside a triplet".into()));
                }
                self.at += 2;
                self.triplet = 3;
            }
            '(' => {
                if self.in_slur {
                    return Err((place, "a slur inside a slur".into()));
                }
                self.at += 1;
                (self.in_slur, self.slur_begins) = (true, true);
            }
            ')' => {
                if !self.in_slur {
                    return Err((place, "')' without the '(' of a slur".into()));
                }
                self.at += 1;
                self.in_slur = false;
            }
            '>' | '<' => self.broken(c)?,
            '-' => {
                self.at += 1;
                match self.bar.items.last_mut() {
                    Some((_, Item::Note { tied, pitch, .. })) if pitch.is_some() => *tied = true,
                    _ => return Err((place, "a tie must follow a note".into())),
                }
            }
            'A'..='G' | 'a'..='g' | '^' | '_' | '=' | 'z' => self.note()?,
            _ => return Err((place, format!("'{c}' is not read here: remove it"))),
        }
        Ok(())
    }

    fn chord(&mut self) -> Result<(), Fault> {
        let place = self.place();
        let rest = &self.chars[self.at + 1..];
        let Some(length) = rest.iter().position(|c| *c == '"') else {
            return Err((place, "chord symbol without its closing '\"'".into()));
        };
        let name: String = rest[..length].iter().collect();
        self.at += length + 2;
        let chord = signs::chord(&name).ok_or_else(|| {
            let problem = format!("chord '{name}': use names such as G, Am, D7 or F#m");
            (place, problem)
        })?;
        self.push(place, Item::Chord(chord), 0);
        Ok(())
    }

    fn push(&mut self, place: Place, item: Item, ticks: u32) {
        if self.bar.items.is_empty() {
            self.bar.at = place;
        }
        self.bar.items.push((place, item));
        self.bar.ticks += ticks;
    }

    fn note(&mut self) -> Result<(), Fault> {
        let place = self.place();
        let accidental = match self.peek() {
            Some('^') => Some(1),
            Some('_') => Some(-1),
            Some('=') => Some(0),
            _ => None,
        };
        self.at += usize::from(accidental.is_some());
        let letter = self.peek().unwrap_or(' ');
        self.at += 1;
        let pitch = if letter == 'z' && accidental.is_none() {
            None
        } else {
            Some(self.pitch(place, letter, accidental)?)
        };
        let ticks = self.length(place)?;
        let slurred = self.in_slur && !self.slur_begins;
        self.slur_begins = false;
        let note = Item::Note {
            pitch,
            ticks,
            tied: false,
            slurred,
        };
        self.push(place, note, ticks);
        Ok(())
    }

    fn pitch(&mut self, place: Place, letter: char, sign: Option<i8>) -> Result<u8, Fault> {
        let upper = letter.to_ascii_uppercase();
        let Some(natural) = signs::natural(upper) else {
            return Err((
                place,
                "an accidental must stand before a note A to G".into(),
            ));
        };
        let mut octave = i32::from(letter.is_ascii_lowercase());
        loop {
            if self.eat(',') {
                octave -= 1;
            } else if self.eat('\'') {
                octave += 1;
            } else {
                break;
            }
        }
        // An accidental holds to the end of the bar (section 4.2).
        let known = |&&(l, o, _): &&(char, i32, i8)| l == upper && o == octave;
        let sign = sign.unwrap_or_else(|| {
            let held = self.accidentals.iter().rev().find(known);
            held.map_or(self.header.signs[upper as usize - 'A' as usize], |h| h.2)
        });
        self.accidentals.push((upper, octave, sign));
        let pitch = 60 + 12 * octave + i32::from(natural) + i32::from(sign);
        // A fiddle's bottom string up to third position or so.
        match u8::try_from(pitch) {
            Ok(p @ 55..=93) => Ok(p),
            _ => Err((place, "note out of the fiddle's range: G, to a'".into())),
        }
    }

    /// Length after a note: `3`, `/`, `//`, `3/2`; triplets and broken rhythm come on top.
    fn length(&mut self, place: Place) -> Result<u32, Fault> {
        let (mut up, mut down) = (self.digits()?.unwrap_or(1), 1);
        if self.eat('/') {
            down = self.digits()?.unwrap_or(2);
            while self.eat('/') {
                down = (down * 2).min(1024);
            }
        }
        if self.triplet > 0 {
            self.triplet -= 1;
            (up, down) = (up * 2, down * 3);
        }
        if let Some((halves, _)) = self.broken.take() {
            (up, down) = (up * halves, down * 2);
        }
        let ticks = self.header.unit * up;
        if !ticks.is_multiple_of(down) || ticks / down > WHOLE * 2 {
            return Err((place, "note length too fine or too long".into()));
        }
        Ok(ticks / down)
    }

    /// `A>B`: the first is dotted and the second halved; `<` the other way round (section 4.4).
    fn broken(&mut self, c: char) -> Result<(), Fault> {
        let place = self.place();
        self.at += 1;
        let (first, second) = if c == '>' { (3, 1) } else { (1, 3) };
        match self.bar.items.last_mut() {
            Some((_, Item::Note { ticks, .. })) if self.broken.is_none() => {
                let was = *ticks;
                *ticks = was * first / 2;
                self.bar.ticks = self.bar.ticks - was + *ticks;
                self.broken = Some((second, place));
                Ok(())
            }
            _ => Err((place, format!("'{c}' must stand between two notes"))),
        }
    }

    fn bar_line(&mut self) -> Result<(), Fault> {
        let place = self.place();
        if let Some((_, at)) = self.broken {
            return Err((at, "broken rhythm across a bar line".into()));
        }
        if self.triplet > 0 {
            return Err((place, "bar line inside a triplet".into()));
        }
        let start = self.at;
        while let Some('|' | ':' | ']' | '[') = self.peek() {
            let ends_here = self.peek() == Some('[') && self.at > start;
            if ends_here {
                break;
            }
            self.at += 1;
        }
        let sign: String = self.chars[start..self.at].iter().collect();
        let (repeats, opens, ends_part) = match sign.as_str() {
            "|" => (false, false, false),
            "||" | "|]" | "[|" => (false, false, true),
            "|:" => (false, true, true),
            ":|" | ":|]" => (true, false, true),
            "::" | ":|:" | ":||:" => (true, true, true),
            _ => {
                return Err((
                    place,
                    format!("bar line '{sign}': use | || |] |: :| or :|:"),
                ));
            }
        };
        self.close(place, repeats, ends_part)?;
        self.bar.opens |= opens;
        if self.peek().is_some_and(|c| c.is_ascii_digit()) {
            self.ending(place)?;
        }
        Ok(())
    }

    /// Ends the bar; a bar line with no notes before it belongs to the bar line before.
    fn close(&mut self, place: Place, repeats: bool, ends_part: bool) -> Result<(), Fault> {
        self.accidentals.clear();
        if self.bar.items.is_empty() {
            match self.bars.last_mut() {
                Some(last) => {
                    last.repeats |= repeats;
                    last.ends_part |= ends_part;
                }
                None if repeats => return Err((place, "':|' with nothing to repeat".into())),
                None => {}
            }
            if ends_part {
                self.bar.ending = None;
            }
            return Ok(());
        }
        let next = Bar::new(self.place());
        let mut bar = std::mem::replace(&mut self.bar, next);
        bar.repeats = repeats;
        bar.ends_part = ends_part;
        // An ending may last several bars: it stops where the part does.
        self.bar.ending = bar.ending.filter(|_| !ends_part);
        self.bars.push(bar);
        Ok(())
    }

    fn ending(&mut self, place: Place) -> Result<(), Fault> {
        match self.peek() {
            Some(c @ ('1' | '2')) => {
                self.at += 1;
                self.bar.ending = Some(if c == '1' { 1 } else { 2 });
                if let Some(last) = self.bars.last_mut().filter(|_| c == '2') {
                    last.ends_part = true;
                }
                Ok(())
            }
            _ => Err((place, "expected an ending, [1 or [2".into())),
        }
    }
}
