//! From TOML to a card: which keys there are, and whether the beats add up.

use std::ops::Range;

use super::card::{Card, FigureAt};
use super::extras;
use super::keys::{FIGURE, TOP, USUAL};
use super::once::Ends;
use super::read::{Block, Reader, offer};
use super::roles::Roles;
use super::source::CardError;
use crate::phrase::{Form, Part};
use crate::phrase::{PART_BEATS, PHRASE_BEATS};

/// Shortest and longest figure, in beats. Figures of 4, 8, 12 and 16 beats are
/// common practice; the bounds leave room for what is rare.
const FIGURE_BEATS: Range<i64> = 2..33;
/// Tempi a card may ask for. 108 to 124 is common practice.
pub(super) const TEMPI: std::ops::RangeInclusive<f64> = 80.0..=150.0;

/// A figure before its start is known.
struct Listed {
    name: Option<String>,
    beats: Option<u32>,
    call: Option<String>,
    short: Option<String>,
    note: Option<String>,
    /// Whether it crosses the start of a phrase on purpose.
    crosses: bool,
    ends: Option<Ends>,
    /// Its length, where sums are pointed at.
    span: Range<usize>,
    /// Its name and call, where advice is pointed at.
    spans: [Range<usize>; 2],
}

/// Reads a whole card; see [`Card::parse`].
pub(super) fn card(text: &str, name: &str) -> Result<Card, CardError> {
    let (mut reader, document) = Reader::open(text, name)?;
    let top = Block {
        table: document.get_ref(),
        what: "the card".into(),
        span: 0..0,
    };

    let parts = form_parts(&mut reader, &top);
    let known: Vec<&str> = TOP
        .into_iter()
        .chain(parts.iter().map(|p| p.name()))
        .collect();
    refuse_unknown_top(&mut reader, &top, &known);
    let title = reader.words(&top, "title", Some("a line such as title = \"…\""));
    let author = reader.words(&top, "author", None);
    let formation = reader.one_of(&top, Some("a line such as formation = \"duple improper\""));
    let difficulty = reader.one_of(&top, None);
    let tune = reader.one_of(&top, None).unwrap_or_default();
    let steps_per_minute = tempo(&mut reader, &top);
    let progression = reader.one_of(&top, None);
    let roles = extras::roles(&mut reader, &top);
    let notes = reader.lines(&top, "notes");
    let intro = extras::once(&mut reader, &top, "intro");
    let ending = extras::once(&mut reader, &top, "ending");
    let figures = figures(&mut reader, &top, &parts, &roles);

    let form = Form::new(parts.len() as u32 * PART_BEATS);
    match (title, formation, form) {
        (Some(title), Some(formation), Ok(form)) if reader.is_content() && !figures.is_empty() => {
            Ok(Card {
                title,
                author,
                formation,
                difficulty,
                tune,
                steps_per_minute,
                form,
                progression,
                roles,
                notes,
                intro,
                ending,
                figures,
                warnings: reader.warnings,
                title_span: top.table.get("title").map_or(0..0, |v| v.span()),
                name: name.into(),
                text: text.into(),
            })
        }
        _ => {
            let source = reader.source;
            let mut troubles = reader.into_troubles();
            if troubles.is_empty() {
                let message = "the card has no figures; add a part such as [[A1]]";
                troubles.push(source.trouble(0..0, message));
            }
            Err(CardError::Wrong(troubles))
        }
    }
}

/// The parts of the form, A1 A2 B1 B2 unless the card says otherwise.
///
/// Empty after a trouble: what the figures should fill is then unknown.
fn form_parts(reader: &mut Reader, top: &Block) -> Vec<Part> {
    let expected = "a list of parts such as [\"A1\", \"A2\", \"B1\", \"B2\"]";
    let Some(items) = reader.items(top, "form", expected) else {
        return match top.table.contains_key("form") {
            true => Vec::new(),
            false => USUAL.iter().filter_map(|n| Part::from_name(n)).collect(),
        };
    };
    let mut parts: Vec<Part> = Vec::new();
    for item in items {
        let next = u8::try_from(parts.len()).ok().and_then(Part::from_index);
        let named = item.get_ref().as_str().and_then(Part::from_name);
        match (named, next) {
            (Some(part), Some(next)) if part == next => parts.push(part),
            (_, Some(next)) => {
                reader.wrong(
                    item.span(),
                    format!("\"form\" needs \"{next}\" here: parts go A1, A2, B1, B2, C1 … in order, none left out"),
                );
                return Vec::new();
            }
            (_, None) => {
                reader.wrong(item.span(), "\"form\" has more than eight parts");
                return Vec::new();
            }
        }
    }
    if parts.is_empty() {
        let span = top.table.get("form").map_or(0..0, |v| v.span());
        reader.wrong(span, format!("\"form\" is empty; give {expected}"));
    }
    parts
}

/// Unknown keys of the card; a part outside the form gets its own words.
fn refuse_unknown_top(reader: &mut Reader, top: &Block, known: &[&str]) {
    for key in top.table.keys() {
        let name = key.get_ref().as_ref();
        if known.contains(&name) {
            continue;
        }
        let message = match Part::from_name(name) {
            // The form could not be read, so any part may belong to it.
            Some(_) if known.len() == TOP.len() => continue,
            Some(part) if known.contains(&part.name()) => {
                format!("parts are written in capitals: [[{part}]]")
            }
            Some(part) => format!(
                "{part} is no part of this dance's form; add it to \"form\", for instance form = [\"A1\", \"A2\", \"B1\", \"B2\", \"C1\"]"
            ),
            None if FIGURE.contains(&name) => {
                format!("\"{name}\" belongs to a figure: put it below a part such as [[A1]]")
            }
            None => format!(
                "unknown key \"{}\" in the card{}",
                name.escape_debug(),
                offer(name, known)
            ),
        };
        reader.wrong(key.span(), message);
    }
}

fn tempo(reader: &mut Reader, top: &Block) -> Option<f64> {
    let (tempo, span) = reader.number(top, "steps_per_minute")?;
    if TEMPI.contains(&tempo) {
        return Some(tempo);
    }
    reader.wrong(
        span,
        format!(
            "{tempo} steps per minute cannot be danced; expected {} to {}, usual are 108 to 124",
            TEMPI.start(),
            TEMPI.end()
        ),
    );
    None
}

/// All figures at their places. What it returns is whole only if no trouble
/// was found.
fn figures(reader: &mut Reader, top: &Block, parts: &[Part], roles: &Roles) -> Vec<FigureAt> {
    let mut placed = Vec::new();
    // Beats that a figure longer than a part takes from the parts after it.
    let mut carried = 0;
    let mut missing = Vec::new();
    for (at, part) in parts.iter().enumerate() {
        let start = at as u32 * PART_BEATS;
        let more = (parts.len() - at - 1) as u32 * PART_BEATS;
        let listed = listed(reader, top, *part, roles);
        let (key, listed) = match listed {
            Some(found) => found,
            None if carried >= PART_BEATS => {
                carried -= PART_BEATS;
                continue;
            }
            None => {
                if !top.table.contains_key(part.name()) {
                    missing.push(part.name());
                }
                carried = 0;
                continue;
            }
        };
        let sum: Option<u32> = listed.iter().map(|f| f.beats).sum();
        let Some(sum) = sum else {
            // A beat count that could not be read was already reported.
            carried = 0;
            continue;
        };
        let longest = listed.last().and_then(|f| f.beats).unwrap_or(0);
        let sum = sum + carried;
        let over = sum.saturating_sub(PART_BEATS);
        let runs_on = longest > PART_BEATS && over < longest && over <= more;
        if sum != PART_BEATS && !(sum > PART_BEATS && (runs_on || listed.is_empty())) {
            reader.wrong(key, wrong_sum(*part, sum, carried, &listed));
            carried = 0;
            continue;
        }
        place(reader, &mut placed, listed, *part, start + carried);
        carried = over;
    }
    if let [first, ..] = missing[..] {
        let (parts, are) = match missing.len() {
            1 => ("part", "is"),
            _ => ("parts", "are"),
        };
        reader.lacking(
            0..0,
            format!(
                "{parts} {} {are} missing; add blocks headed [[{first}]] with 16 beats of figures, or say which parts there are, as in form = [\"A1\", \"A2\"]",
                missing.join(", ")
            ),
        );
    }
    placed
}

fn wrong_sum(part: Part, sum: u32, carried: u32, listed: &[Listed]) -> String {
    let mut terms: Vec<String> = Vec::new();
    if carried > 0 {
        terms.push(format!("{carried} running on from the part before"));
    }
    terms.extend(listed.iter().filter_map(|f| f.beats).map(|b| b.to_string()));
    let difference = if sum < PART_BEATS {
        format!("{} too few", PART_BEATS - sum)
    } else {
        format!("{} too many", sum - PART_BEATS)
    };
    let sum = match terms.len() {
        0 | 1 => sum.to_string(),
        _ => format!("{} = {sum}", terms.join(" + ")),
    };
    format!("part {part} has {sum} beats, {difference}; a part is {PART_BEATS} beats")
}

/// The figures listed under `part`, and the span of its key.
fn listed(
    reader: &mut Reader,
    top: &Block,
    part: Part,
    roles: &Roles,
) -> Option<(Range<usize>, Vec<Listed>)> {
    let (key, _) = top.table.get_key_value(part.name())?;
    let expected = format!(
        "a list of figures; write each below a heading of its own in double brackets, [[{part}]]"
    );
    let items = reader.items(top, part.name(), &expected)?;
    let figures = items
        .iter()
        .map(|item| match item.get_ref().as_table() {
            Some(table) => figure(
                reader,
                &Block {
                    table,
                    what: format!("a figure of {part}"),
                    span: item.span(),
                },
                roles,
            ),
            None => {
                reader.wrong(item.span(), format!("part {part} must be {expected}"));
                Listed {
                    name: None,
                    beats: None,
                    call: None,
                    short: None,
                    note: None,
                    crosses: false,
                    ends: None,
                    span: item.span(),
                    spans: [item.span(), item.span()],
                }
            }
        })
        .collect();
    Some((key.span(), figures))
}

fn figure(reader: &mut Reader, block: &Block, roles: &Roles) -> Listed {
    reader.refuse_unknown(block, &FIGURE);
    let name = reader.words(block, "figure", Some("its name, figure = \"…\""));
    let call = reader.words(
        block,
        "call",
        Some("the words spoken ahead of it, call = \"…\""),
    );
    let beats = reader
        .whole(block, "beats", "its length, such as beats = 8")
        .and_then(|(beats, span)| {
            if FIGURE_BEATS.contains(&beats) {
                return u32::try_from(beats).ok();
            }
            reader.wrong(
                span,
                format!("a figure cannot have a length of {beats}; expected 2 to 32 beats, usual are 4, 8, 12 and 16"),
            );
            None
        });
    let at = |key: &str| {
        let value = block.table.get(key);
        value.map_or(block.span.clone(), |v| v.span())
    };
    Listed {
        name,
        beats,
        call,
        short: reader.words(block, "short", None),
        note: reader.words(block, "note", None),
        crosses: reader.flag(block, "crosses").unwrap_or(false),
        ends: extras::ends(reader, block, roles),
        span: at("beats"),
        spans: [at("figure"), at("call")],
    }
}

/// Gives the figures of a part their first beats.
fn place(
    reader: &mut Reader,
    placed: &mut Vec<FigureAt>,
    listed: Vec<Listed>,
    part: Part,
    mut start_beat: u32,
) {
    for figure in listed {
        let (Some(name), Some(beats), Some(call)) = (figure.name, figure.beats, figure.call) else {
            continue;
        };
        if figure.crosses && !crosses(start_beat, beats) {
            reader.doubtful(
                figure.span.clone(),
                format!("\"{name}\" does not cross the start of a phrase: leave out \"crosses\", or check the beats before it"),
            );
        }
        if crosses_oddly(start_beat, beats) && !figure.crosses {
            let count = start_beat % PHRASE_BEATS + 1;
            reader.doubtful(
                figure.span.clone(),
                format!("\"{name}\" starts on count {count} and lasts {beats} beats, across the start of a phrase: if that is meant, add crosses = true"),
            );
        }
        let line = reader.source.trouble(figure.spans[0].clone(), "").line;
        placed.push(FigureAt {
            start_beat,
            beats,
            part,
            name,
            call,
            short: figure.short,
            note: figure.note,
            crosses: figure.crosses,
            ends: figure.ends,
            spans: figure.spans,
            line,
        });
        start_beat += beats;
    }
}

/// Whether a figure lies across a phrase's start in an unusual way. Long
/// figures that begin or end with a phrase do so as a matter of course: twelve
/// beats of swing after four of balance (common practice).
fn crosses_oddly(start: u32, beats: u32) -> bool {
    let end = start + beats;
    let begins_or_ends = start.is_multiple_of(PHRASE_BEATS) || end.is_multiple_of(PHRASE_BEATS);
    crosses(start, beats) && !(begins_or_ends && beats >= 12)
}

/// Whether a figure is danced on both sides of a phrase's start.
fn crosses(start: u32, beats: u32) -> bool {
    start / PHRASE_BEATS != (start + beats - 1) / PHRASE_BEATS
}
