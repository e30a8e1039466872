//! What a dance asks of its dancers: heads, shoulders, and newcomers' memories.

use super::super::card::Card;
use super::super::words::Difficulty;
use super::{Finding, Kind, Known, about_card, about_name, own_words};

/// Most beats of dizzy figures in a row. (Our own judgement: a swing of sixteen
/// beats is usual, longer stretches are not.)
const DIZZY_BEATS: u32 = 16;
/// Most beats of figures in a row that load shoulders (our own judgement).
const SHOULDER_BEATS: u32 = 24;
/// Most different figures that newcomers keep in mind (our own judgement).
const NEWCOMERS_FIGURES: usize = 9;
/// Figures for regulars that a mixed floor can learn in one walk-through (our
/// own judgement).
const NEW_TO_SOME: usize = 1;

/// Hardest figure, on the list's scale of 0 to 3, for a floor.
fn hardest(difficulty: Difficulty) -> u8 {
    match difficulty {
        Difficulty::Newcomers => 1,
        Difficulty::SomeExperience => 2,
        Difficulty::Experienced => 3,
    }
}

fn different(known: &[Known], mark: impl Fn(&super::figures::Figure) -> bool) -> usize {
    let names: std::collections::BTreeSet<&str> = known
        .iter()
        .filter_map(|f| f.reading.as_ref())
        .filter(|r| mark(r.figure))
        .map(|r| r.figure.name.as_str())
        .collect();
    names.len()
}

/// Who can dance it after one walk-through, as far as its figures are known.
pub(super) fn fit_for(known: &[Known]) -> Difficulty {
    let later = different(known, |f| f.hard == 3);
    let walked = different(known, |f| f.hard == 2);
    let all = different(known, |_| true);
    match (later, walked) {
        (0, 0) if all <= NEWCOMERS_FIGURES => Difficulty::Newcomers,
        (..=NEW_TO_SOME, _) => Difficulty::SomeExperience,
        _ => Difficulty::Experienced,
    }
}

/// A figure that the card's floor has to be taught at length.
pub(super) fn too_hard(card: &Card, figure: &Known, findings: &mut Vec<Finding>) {
    let (Some(wanted), Some(reading)) = (card.difficulty(), &figure.reading) else {
        return;
    };
    let hard = reading.figure.hard;
    // One figure for regulars is what a mixed floor comes for.
    let allowed = match wanted {
        Difficulty::SomeExperience => 3,
        _ => hardest(wanted),
    };
    if hard > allowed {
        let name = own_words(card, &reading.figure.name);
        let needs = if hard == 2 {
            "a walk-through of its own"
        } else {
            "dancers who know it"
        };
        let message = format!("\"{name}\" needs {needs}, and the card is for {wanted}");
        findings.push(about_name(card, figure.at, Kind::TooHard, message));
    }
}

/// More to remember than the card's floor can.
pub(super) fn too_many(card: &Card, known: &[Known], findings: &mut Vec<Finding>) {
    let all = different(known, |_| true);
    let later = different(known, |f| f.hard == 3);
    let message = match card.difficulty() {
        Some(Difficulty::Newcomers) if all > NEWCOMERS_FIGURES => format!(
            "{all} different figures are many to remember for newcomers; up to {NEWCOMERS_FIGURES} go well"
        ),
        Some(Difficulty::SomeExperience) if later > NEW_TO_SOME => format!(
            "{later} figures need dancers who know them; for a floor with some experience choose one"
        ),
        _ => return,
    };
    findings.push(about_card(card, Kind::TooHard, message));
}

/// Dizzy figures in a row, and figures in a row that load shoulders; the last
/// figure of a dance is followed by its first.
pub(super) fn in_a_row(card: &Card, known: &[Known], findings: &mut Vec<Finding>) {
    for (last, beats) in rows(known, |f| f.dizzy) {
        if beats > DIZZY_BEATS {
            let message = format!(
                "{beats} beats of turning without a rest end here: dizzy people fall; put something calm between"
            );
            findings.push(about_name(card, known[last].at, Kind::Dizzy, message));
        }
    }
    for (last, beats) in rows(known, |f| f.shoulders) {
        if beats > SHOULDER_BEATS {
            let message = format!(
                "{beats} beats of hanging on to each other without a rest end here: spare shoulders; put something without arms between"
            );
            findings.push(about_name(card, known[last].at, Kind::Shoulders, message));
        }
    }
}

/// Rows of marked figures, round the end of the dance too: the last figure of
/// each, and its beats.
fn rows(known: &[Known], mark: impl Fn(&super::figures::Figure) -> bool) -> Vec<(usize, u32)> {
    let count = known.len();
    let marked = |index: usize| known[index % count].is(&mark);
    let start = (0..count).find(|i| !marked(*i)).map_or(0, |i| i + 1);
    let mut rows = Vec::new();
    let mut beats = 0;
    for index in start..start + count {
        if !marked(index) {
            beats = 0;
            continue;
        }
        // A balance before it is a rest from turning, as is any other figure.
        if known[index % count].moving_beats() < known[index % count].at.beats {
            beats = 0;
        }
        beats += known[index % count].moving_beats();
        if index + 1 == start + count || !marked(index + 1) {
            rows.push((index % count, beats));
        }
    }
    rows
}
