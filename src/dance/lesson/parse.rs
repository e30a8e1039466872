//! From TOML to a lesson.

use super::super::extras;
use super::super::read::{Block, Reader, nearest};
use super::{Drill, Lesson, Step};
use crate::dance::CardError;
use crate::sound::band;

/// Keys at the top, of a step, and of its drill.
pub(super) const TOP: [&str; 4] = ["title", "roles", "rules", "step"];
pub(super) const STEP: [&str; 7] = [
    "title", "minutes", "say", "room", "watch", "caution", "drill",
];
pub(super) const DRILL: [&str; 5] = ["tune", "steps_per_minute", "phrases", "full", "fade"];

/// What a drill is played at if it does not say: gentle, below the usual 108 to
/// 124 (common practice with newcomers).
const GENTLE: f64 = 104.0;
/// What the house band can play and a room can follow.
const TEMPI: std::ops::RangeInclusive<f64> = 80.0..=130.0;
/// Minutes of a step.
const MINUTES: std::ops::RangeInclusive<f64> = 0.0..=60.0;
/// Phrases of a drill, and those if it does not say.
const MOST: i64 = 64;
const PHRASES: u32 = 8;
const FULL: u32 = 4;
const FADE: u32 = 4;

/// Reads a whole lesson; see [`Lesson::parse`].
pub(super) fn lesson(text: &str, name: &str) -> Result<Lesson, CardError> {
    let (mut reader, document) = Reader::open(text, name)?;
    let top = Block {
        table: document.get_ref(),
        what: "the lesson".into(),
        span: 0..0,
    };
    reader.refuse_unknown(&top, &TOP);
    let title = reader.words(&top, "title", Some("a line such as title = \"…\""));
    let roles = extras::roles(&mut reader, &top);
    let rules = reader.lines(&top, "rules");
    let expected = "a list of steps; write each below a heading of its own, [[step]]";
    let list = reader.items(&top, "step", expected);
    if list.is_none_or(<[_]>::is_empty) && reader.is_content() {
        let message =
            "the lesson has no steps; add blocks headed [[step]] with title, minutes and say";
        reader.lacking(0..0, message);
    }
    let mut steps = Vec::new();
    for value in list.unwrap_or_default() {
        match value.get_ref().as_table() {
            Some(table) => {
                let block = Block {
                    table,
                    what: "a step".into(),
                    span: value.span(),
                };
                steps.extend(step(&mut reader, &block));
            }
            None => reader.wrong(value.span(), format!("\"step\" must be {expected}")),
        }
    }
    match title {
        Some(title) if reader.is_content() => Ok(Lesson {
            title,
            roles,
            rules,
            steps,
        }),
        _ => Err(CardError::Wrong(reader.into_troubles())),
    }
}

fn step(reader: &mut Reader, block: &Block) -> Option<Step> {
    reader.refuse_unknown(block, &STEP);
    let title = reader.words(block, "title", Some("its name, title = \"…\""));
    if !block.table.contains_key("minutes") {
        let message = "a step has no \"minutes\"; add how long it takes, such as minutes = 3";
        reader.lacking(block.span.clone(), message);
    }
    let minutes = within(reader, block, "minutes", MINUTES);
    let say = reader.lines(block, "say");
    if !block.table.contains_key("say") {
        let message = "a step has no \"say\"; add what the caller says, say = [\"…\"]";
        reader.lacking(block.span.clone(), message);
    }
    Some(Step {
        room: reader.words(block, "room", None),
        watch: reader.words(block, "watch", None),
        caution: reader.lines(block, "caution"),
        drill: drill(reader, block),
        title: title?,
        minutes: minutes?,
        say,
    })
}

fn drill(reader: &mut Reader, step: &Block) -> Option<Drill> {
    let value = step.table.get("drill")?;
    let Some(table) = value.get_ref().as_table() else {
        reader.other_kind("drill", value, "a table headed [step.drill]");
        return None;
    };
    let block = Block {
        table,
        what: "a drill".into(),
        span: value.span(),
    };
    reader.refuse_unknown(&block, &DRILL);
    let names: Vec<&str> = band::tunes().iter().map(|tune| tune.name()).collect();
    let tune = reader.words(
        &block,
        "tune",
        Some("a tune of the house band, tune = \"…\""),
    );
    let steps_per_minute = within(reader, &block, "steps_per_minute", TEMPI);
    let phrases = count(reader, &block, "phrases", 1);
    let full = count(reader, &block, "full", 0);
    let fade = count(reader, &block, "fade", 0);
    let tune = tune?;
    let Some(found) = band::tune(&tune) else {
        let span = table.get("tune").map_or(value.span(), |tune| tune.span());
        let hint =
            nearest(&tune, &names).map_or(String::new(), |n| format!("; did you mean \"{n}\"?"));
        let message = format!(
            "the house band does not know \"{tune}\"{hint} It knows: {}",
            names.join(", ")
        );
        reader.wrong(span, message);
        return None;
    };
    Some(Drill {
        tune: found.name().to_owned(),
        steps_per_minute: steps_per_minute.unwrap_or(GENTLE),
        phrases: phrases.unwrap_or(PHRASES),
        full: full.unwrap_or(FULL),
        fade: fade.unwrap_or(FADE),
    })
}

/// A number under `key`, if it is there and in its range.
fn within(
    reader: &mut Reader,
    block: &Block,
    key: &str,
    range: std::ops::RangeInclusive<f64>,
) -> Option<f64> {
    let (number, span) = reader.number(block, key)?;
    if range.contains(&number) {
        return Some(number);
    }
    let (low, high) = range.into_inner();
    let message = format!("\"{key}\" cannot be {number}; expected {low} to {high}");
    reader.wrong(span, message);
    None
}

/// A whole number of phrases under `key`, if it is there.
fn count(reader: &mut Reader, block: &Block, key: &str, least: i64) -> Option<u32> {
    if !block.table.contains_key(key) {
        return None;
    }
    let (number, span) = reader.whole(block, key, "")?;
    let good = u32::try_from(number).ok();
    if good.is_none() || !(least..=MOST).contains(&number) {
        let message = format!("\"{key}\" cannot be {number}; expected {least} to {MOST} phrases");
        reader.wrong(span, message);
        return None;
    }
    good
}
