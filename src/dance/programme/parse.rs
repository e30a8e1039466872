//! From TOML to a programme.

use std::path::Path;
use std::sync::Arc;

use super::super::extras;
use super::super::read::{Block, Reader, nearest};
use super::super::{bundled as dances, parse::TEMPI};
use super::time::Clock;
use super::{Dance, Item, Programme, What};
use crate::dance::{Card, CardError, Roles, TuneKind};

/// Keys at the top of a programme.
pub(super) const TOP: [&str; 11] = [
    "title",
    "date",
    "hall",
    "band",
    "start",
    "end",
    "floor",
    "roles",
    "changeover",
    "notes",
    "item",
];
/// Keys of an item.
pub(super) const ITEM: [&str; 9] = [
    "dance",
    "break",
    "other",
    "times",
    "minutes",
    "walk",
    "steps_per_minute",
    "tunes",
    "notes",
];

/// Kinds of tunes that bands know by these words (common practice).
const TUNES: [&str; 9] = [
    "any", "reel", "jig", "march", "hornpipe", "waltz", "polka", "slip jig", "air",
];

/// Minutes for lining up and finding partners, if the programme does not say.
const CHANGEOVER: f64 = 2.0;
/// The tempo a dance is reckoned with that names none: in the middle of the
/// usual 108 to 124 (common practice).
const USUAL: f64 = 116.0;
/// Minutes that an item, or its walk-through, may take.
const MINUTES: std::ops::RangeInclusive<f64> = 0.0..=240.0;
/// Times through that anybody has danced.
const TIMES: std::ops::RangeInclusive<i64> = 1..=64;

/// Reads a whole programme; see [`Programme::parse`].
pub(super) fn programme(
    text: &str,
    name: &str,
    folder: Option<&Path>,
) -> Result<Programme, CardError> {
    let (mut reader, document) = Reader::open(text, name)?;
    let top = Block {
        table: document.get_ref(),
        what: "the programme".into(),
        span: 0..0,
    };
    refuse_unknown_top(&mut reader, &top);
    let title = reader.words(&top, "title", Some("a line such as title = \"…\""));
    let date = reader.words(&top, "date", None);
    let hall = reader.words(&top, "hall", None);
    let band = reader.words(&top, "band", None);
    let start = clock(&mut reader, &top, "start");
    let end = clock(&mut reader, &top, "end");
    let floor = reader.one_of(&top, None).unwrap_or_default();
    let roles = extras::roles(&mut reader, &top);
    let own_roles = top.table.contains_key("roles").then_some(&roles);
    let changeover = minutes(&mut reader, &top, "changeover").unwrap_or(CHANGEOVER);
    let notes = reader.lines(&top, "notes");
    let items = items(&mut reader, &top, own_roles, folder);
    let end_span = top.table.get("end").map_or(0..0, |end| end.span());
    match title {
        Some(title) if reader.is_content() && !items.is_empty() => Ok(Programme {
            title,
            date,
            hall,
            band,
            start,
            end,
            floor,
            roles,
            changeover,
            notes,
            items,
            warnings: reader.warnings,
            end_span,
            name: name.into(),
            text: text.into(),
        }),
        _ => Err(CardError::Wrong(reader.into_troubles())),
    }
}

/// Unknown keys; those of an item get their own words.
fn refuse_unknown_top(reader: &mut Reader, top: &Block) {
    for key in top.table.keys() {
        let name = key.get_ref().as_ref();
        if !TOP.contains(&name) && ITEM.contains(&name) {
            let message = format!("\"{name}\" belongs to an item: put it below [[item]]");
            reader.wrong(key.span(), message);
        }
    }
    let known: Vec<&str> = TOP.into_iter().chain(ITEM).collect();
    reader.refuse_unknown(top, &known);
}

fn clock(reader: &mut Reader, top: &Block, key: &str) -> Option<Clock> {
    let text = reader.words(top, key, None)?;
    let clock = Clock::parse(&text);
    if clock.is_none() {
        let span = top.table.get(key).map_or(0..0, |value| value.span());
        let message = format!("\"{key}\" must be a time of day such as \"19:30\"");
        reader.wrong(span, message);
    }
    clock
}

/// Minutes under `key`, if they are there.
fn minutes(reader: &mut Reader, block: &Block, key: &str) -> Option<f64> {
    let (minutes, span) = reader.number(block, key)?;
    if MINUTES.contains(&minutes) {
        return Some(minutes);
    }
    let most = MINUTES.end();
    reader.wrong(
        span,
        format!("\"{key}\" cannot be {minutes}; expected minutes from 0 to {most}"),
    );
    None
}

fn items(
    reader: &mut Reader,
    top: &Block,
    roles: Option<&Roles>,
    folder: Option<&Path>,
) -> Vec<Item> {
    let expected = "a list of items; write each below a heading of its own, [[item]]";
    let Some(list) = reader.items(top, "item", expected) else {
        if !top.table.contains_key("item") {
            let message =
                "the programme has no items; add blocks headed [[item]] with dance = \"…\"";
            reader.lacking(0..0, message);
        }
        return Vec::new();
    };
    if list.is_empty() {
        let span = top.table.get("item").map_or(0..0, |value| value.span());
        reader.wrong(span, format!("\"item\" is empty; it must be {expected}"));
    }
    list.iter()
        .filter_map(|value| match value.get_ref().as_table() {
            Some(table) => {
                let block = Block {
                    table,
                    what: "an item".into(),
                    span: value.span(),
                };
                item(reader, &block, roles, folder)
            }
            None => {
                reader.wrong(value.span(), format!("\"item\" must be {expected}"));
                None
            }
        })
        .collect()
}

fn item(
    reader: &mut Reader,
    block: &Block,
    roles: Option<&Roles>,
    folder: Option<&Path>,
) -> Option<Item> {
    reader.refuse_unknown(block, &ITEM);
    let kinds = ["dance", "break", "other"];
    let mut given = kinds.into_iter().filter(|k| block.table.contains_key(*k));
    let (kind, second) = (given.next(), given.next());
    if let Some(second) = second {
        let span = block.table.get(second).map_or(0..0, |value| value.span());
        let message = format!(
            "an item is one thing: leave out \"{second}\" or \"{}\"",
            kind.unwrap_or_default()
        );
        reader.wrong(span, message);
        return None;
    }
    let Some(kind) = kind else {
        let message = "an item has no \"dance\", \"break\" or \"other\"; add a line such as dance = \"the-tin-kettle-ring\"";
        reader.lacking(block.span.clone(), message);
        return None;
    };
    let span = block.table.get(kind).map_or(0..0, |value| value.span());
    let name = reader.words(block, kind, Some("a name"));
    let length = minutes(reader, block, "minutes");
    let mut tunes = reader.lines(block, "tunes");
    let notes = reader.lines(block, "notes");
    let what = match kind {
        "dance" => {
            let card = name.and_then(|name| self::card(reader, &name, span.clone(), folder));
            let dance = dance(reader, block, card, length, roles);
            if let (true, Some(dance)) = (tunes.is_empty(), &dance)
                && dance.card.tune() != TuneKind::Any
            {
                tunes = vec![dance.card.tune().to_string()];
            }
            What::Dance(dance?)
        }
        kind => {
            refuse_of_dances(reader, block, kind);
            if length.is_none() && !block.table.contains_key("minutes") {
                let message = format!(
                    "\"{kind}\" does not say how long; add its minutes, such as minutes = 15"
                );
                reader.lacking(span.clone(), message);
            }
            match kind {
                "break" => What::Break(name?, length?),
                _ => What::Other(name?, length?),
            }
        }
    };
    doubt_tunes(reader, block, &tunes);
    Some(Item {
        what,
        tunes,
        notes,
        span,
    })
}

/// What only a dance can have.
fn refuse_of_dances(reader: &mut Reader, block: &Block, kind: &str) {
    for key in ["times", "walk", "steps_per_minute"] {
        if let Some(value) = block.table.get(key) {
            let message =
                format!("\"{key}\" is for dances with a card; leave it out beside \"{kind}\"");
            reader.wrong(value.span(), message);
        }
    }
}

/// Words for tunes that may be slips.
fn doubt_tunes(reader: &mut Reader, block: &Block, tunes: &[String]) {
    let Some(value) = block.table.get("tunes") else {
        return;
    };
    for tune in tunes {
        let small = tune.to_lowercase();
        let singular = ["s", "es"].map(|end| small.strip_suffix(end).unwrap_or(&small));
        if TUNES.contains(&small.as_str()) || singular.iter().any(|one| TUNES.contains(one)) {
            continue;
        }
        // Bands may be told anything; only what looks like a slip is asked about.
        if let Some(meant) = nearest(&small, &TUNES) {
            let message = format!("\"{tune}\" in \"tunes\": did you mean \"{meant}\"?");
            reader.doubtful(value.span(), message);
        }
    }
}

fn dance(
    reader: &mut Reader,
    block: &Block,
    card: Option<Card>,
    length: Option<f64>,
    roles: Option<&Roles>,
) -> Option<Dance> {
    let walk = minutes(reader, block, "walk").unwrap_or(0.0);
    let tempo = match reader.number(block, "steps_per_minute") {
        Some((tempo, span)) if !TEMPI.contains(&tempo) => {
            let message = format!(
                "{tempo} steps per minute cannot be danced; expected {} to {}",
                TEMPI.start(),
                TEMPI.end()
            );
            reader.wrong(span, message);
            None
        }
        given => given.map(|(tempo, _)| tempo),
    };
    let (times, minutes) = (block.table.get("times"), block.table.get("minutes"));
    let times = match (times, minutes) {
        (Some(_), Some(minutes)) => {
            let message = "a dance has \"times\" (times through) or \"minutes\", not both";
            reader.wrong(minutes.span(), message);
            None
        }
        (None, None) => {
            let message = "the dance does not say how long; add times = 8 (times through) or minutes = 7 (of music)";
            reader.lacking(block.table.get("dance")?.span(), message);
            None
        }
        (None, Some(_)) => None,
        (Some(_), None) => {
            let (times, span) = reader.whole(block, "times", "times = 8")?;
            let good = u32::try_from(times).ok().filter(|_| TIMES.contains(&times));
            if good.is_none() {
                let message = format!(
                    "\"times\" cannot be {times}; expected {} to {} times through",
                    TIMES.start(),
                    TIMES.end()
                );
                reader.wrong(span, message);
            }
            Some(good?)
        }
    };
    let card = card?;
    let card = roles.map_or_else(|| card.clone(), |roles| card.with_roles(roles));
    let steps_per_minute = tempo.or(card.steps_per_minute()).unwrap_or(USUAL);
    let times = match times {
        Some(times) => times,
        None => Dance::times_in(length?, card.form().beats(), steps_per_minute),
    };
    Some(Dance {
        card: Arc::new(card),
        times,
        walk,
        steps_per_minute,
    })
}

/// The card called `name`: a bundled dance, or a file.
fn card(
    reader: &mut Reader,
    name: &str,
    span: std::ops::Range<usize>,
    folder: Option<&Path>,
) -> Option<Card> {
    let read = match dances().iter().find(|(bundled, _)| *bundled == name) {
        Some((name, text)) => Card::parse(text, name),
        None => {
            let path = folder.map(|folder| folder.join(name));
            let names: Vec<&str> = dances().iter().map(|(name, _)| *name).collect();
            match path.filter(|path| looks_like_a_file(path)) {
                Some(path) => Card::load(path),
                None => {
                    let hint = nearest(name, &names)
                        .map_or(String::new(), |near| format!("; did you mean \"{near}\"?"));
                    let message = format!(
                        "\"{name}\" is neither a card's file beside the programme nor a bundled dance{hint} (bundled: {})",
                        names.join(", ")
                    );
                    reader.wrong(span, message);
                    return None;
                }
            }
        }
    };
    match read {
        Ok(card) => Some(card),
        Err(error) => {
            let text = error.to_string();
            let first = text.lines().next().unwrap_or_default();
            reader.wrong(span, format!("this dance's card cannot be used: {first}"));
            None
        }
    }
}

/// There is something, or its name says that a file is meant.
fn looks_like_a_file(path: &Path) -> bool {
    path.exists()
        || path
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("toml"))
}
