//! A dance, figure by figure and time by time.

use super::super::card::{Card, FigureAt};
use super::super::figures::{Figures, Movement, Way, Who};
use super::super::once::Ends;
use super::super::roles::Role;
use super::super::words::Formation;
use super::four;
use super::moves::{self, Step};
use super::set::{Column, Dancer, Place, Set, Shape, Standing};

/// Where the following ended, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stop {
    /// The figure that could not be followed, from 0.
    pub figure: usize,
    /// Why, as a half sentence.
    pub why: String,
}

/// What one time through did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// Everybody stands as the dance begins, so many couples further on.
    MovedOn(u32),
    /// They do not stand as the dance begins; why, as a half sentence.
    Astray(String),
}

/// One time through, as far as it could be followed.
#[derive(Debug, Clone)]
pub struct Followed {
    /// As the time through begins.
    pub start: Set,
    /// After each figure, up to the one that stopped it.
    pub after: Vec<Set>,
    /// Where it stopped, if it did.
    pub stopped: Option<Stop>,
    /// What came out, if it did not stop.
    pub outcome: Option<Outcome>,
    /// As the next time through begins, if all is well.
    pub next: Option<Set>,
}

/// Follows one time through with `couples` couples. Nothing for formations that
/// are no duple longways sets.
pub fn follow(card: &Card, figures: &Figures, couples: usize) -> Option<Followed> {
    Some(once(card, figures, Set::new(card.formation(), couples)?))
}

/// Why several times through could not be followed to their end.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("time {time}: {why}")]
pub struct Failure {
    /// Which time through, from 1.
    pub time: usize,
    /// Why, as a half sentence.
    pub why: String,
    /// They were followed, and do not stand as the dance begins; else what they
    /// do cannot be known.
    pub astray: bool,
}

/// How the set stands as each of the first `times` times through begins, and as
/// the one after them would.
///
/// # Errors
/// If a time through cannot be followed, or leads astray.
pub fn times(
    card: &Card,
    figures: &Figures,
    couples: usize,
    times: usize,
) -> Result<Vec<Set>, Failure> {
    let failed = |time, why: String, astray| Failure { time, why, astray };
    let start = Set::new(card.formation(), couples)
        .ok_or_else(|| failed(1, "only duple longways sets are followed".into(), false))?;
    let mut starts = vec![start];
    for time in 1..=times {
        let followed = once(card, figures, starts[time - 1].clone());
        match (followed.next, followed.stopped, followed.outcome) {
            (Some(next), ..) => starts.push(next),
            (_, Some(stop), _) => {
                let name = &card.figures()[stop.figure].name;
                return Err(failed(time, format!("\"{name}\": {}", stop.why), false));
            }
            (_, _, Some(Outcome::Astray(why))) => return Err(failed(time, why, true)),
            _ => return Err(failed(time, "it leads nowhere".into(), false)),
        }
    }
    Ok(starts)
}

fn once(card: &Card, figures: &Figures, start: Set) -> Followed {
    let mut followed = Followed {
        start: start.clone(),
        after: Vec::new(),
        stopped: None,
        outcome: None,
        next: None,
    };
    let mut set = start;
    for (index, figure) in card.figures().iter().enumerate() {
        match danced(&set, figure, card, figures) {
            Ok(after) => {
                followed.after.push(after.clone());
                set = after;
            }
            Err(why) => {
                followed.stopped = Some(Stop { figure: index, why });
                return followed;
            }
        }
    }
    match settled(&followed.start, set) {
        Ok((couples, next)) => {
            followed.outcome = Some(Outcome::MovedOn(couples));
            followed.next = Some(next);
        }
        Err(why) => followed.outcome = Some(Outcome::Astray(why)),
    }
    followed
}

/// The set after a figure, or why that cannot be known.
fn danced(set: &Set, figure: &FigureAt, card: &Card, figures: &Figures) -> Result<Set, String> {
    let reading = figures.read(&figure.name, card.roles());
    let onward = reading.as_ref().is_some_and(|r| r.onward);
    let facing = match figure.ends {
        Some(Ends::WhereBegun) => return led(set.clone(), onward),
        Some(Ends::Places(four)) => {
            let mut after = placed(set, four)?;
            after.shape = Shape::Corners;
            return led(after, onward);
        }
        Some(Ends::Facing(facing)) => Some(facing),
        None => reading.as_ref().and_then(|r| r.facing),
    };
    let reading = reading.ok_or("it is no figure that is known here")?;
    if !reading.rest.is_empty() {
        return Err(format!(
            "\"{}\" in its name is not understood",
            reading.rest.join(" ")
        ));
    }
    let movement = reading
        .figure
        .moves
        .ok_or("where it ends cannot be known from its name")?;
    if matches!(movement, Movement::SlideLeft | Movement::SlideRight) {
        let all = matches!(reading.who, None | Some(Who::Couples | Who::All));
        return match set.formation == Formation::Becket && set.shape == Shape::Corners && all {
            true => slid(set, movement),
            false => Err("couples slide on only in a becket set".into()),
        };
    }
    if onward && (movement != Movement::PassThrough || reading.way == Some(Way::Across)) {
        return Err("how it leads to the next is not followed".into());
    }
    let mut after = set.clone();
    let mut danced = false;
    for group in &mut after.groups {
        let Some(four) = group.four() else { continue };
        let step = Step {
            reading: &reading,
            beats: figure.beats,
            facing,
            formation: set.formation,
            ones: four.map(|s| set.is_one(s.dancer)),
        };
        let (mut four, shape) = step.apply(movement, four, set.shape)?;
        if let Some(facing) = facing
            && movement != Movement::Swing
            && shape == Shape::Corners
        {
            four = four::facing(four, facing);
        }
        group.places = four.map(Some);
        after.shape = shape;
        danced = true;
    }
    if !danced {
        return Err("there are no four to dance it".into());
    }
    led(after, onward)
}

/// Led on to the next, if that is so.
fn led(mut set: Set, onward: bool) -> Result<Set, String> {
    if !onward {
        return Ok(set);
    }
    let at = set.standings();
    match set.shape == Shape::Corners && set.lead_on(&at) {
        true => Ok(set),
        false => Err("at the ends two are left who are no couple".into()),
    }
}

/// Couples of a becket set one place along their line, with new ones opposite.
fn slid(set: &Set, movement: Movement) -> Result<Set, String> {
    let at = set
        .standings()
        .into_iter()
        .map(|((row, column), s)| ((row + moves::slide(movement, column), column), s))
        .map(|((row, column), s)| {
            let face = Some(column.across());
            ((row, column), Standing { face, ..s })
        })
        .collect();
    let mut after = set.clone();
    match after.lead_on(&at) {
        true => Ok(after),
        false => Err("those who slide together are no couple".into()),
    }
}

/// Everybody where the card says.
fn placed(set: &Set, wanted: [(u8, Role); 4]) -> Result<Set, String> {
    let mut after = set.clone();
    for group in &mut after.groups {
        let Some(four) = group.four() else { continue };
        let mut places = [None; 4];
        for (place, (couple, role)) in places.iter_mut().zip(wanted) {
            let found = four
                .iter()
                .find(|s| s.dancer.role == role && set.is_one(s.dancer) == (couple == 1));
            *place = found.map(|s| Standing { face: None, ..*s });
        }
        if places.contains(&None) {
            return Err("the four whom \"ends\" names are not those who dance together".into());
        }
        group.places = places;
    }
    Ok(after)
}

/// How far everybody moved on, and the set as the next time through begins.
fn settled(before: &Set, mut after: Set) -> Result<(u32, Set), String> {
    if after.shape == Shape::Line {
        return Err("they are still in a line of four".into());
    }
    let was = before.standings();
    let is = after.standings();
    let place = |at: &std::collections::BTreeMap<Place, Standing>, dancer: Dancer| {
        at.iter().find(|(_, s)| s.dancer == dancer).map(|(p, _)| *p)
    };
    let mut moved: Option<i32> = None;
    let waits = |dancer: Dancer| {
        after.groups().any(|(_, four)| {
            four.contains(&None) && four.iter().flatten().any(|s| s.dancer == dancer)
        })
    };
    for (_, four) in before.groups() {
        let [Some(_), Some(_), Some(_), Some(_)] = four else {
            continue;
        };
        for standing in four.iter().flatten() {
            let dancer = standing.dancer;
            // At the ends people wait and turn: they tell nothing.
            let turned = before.is_one(dancer) != after.is_one(dancer);
            if dancer.role == Role::Second || turned || waits(dancer) {
                continue;
            }
            let other = Dancer {
                role: Role::Second,
                ..dancer
            };
            let (Some(old), Some(a), Some(b)) =
                (place(&was, dancer), place(&is, dancer), place(&is, other))
            else {
                return Err("somebody is lost".into());
            };
            let one = before.is_one(dancer);
            let becket = before.formation == Formation::Becket;
            let together = match becket {
                true => a.1 == b.1 && (a.0 - b.0).abs() == 1,
                false => a.0 == b.0,
            };
            if !together {
                return Err("partners are not together".into());
            }
            if becket && a.1 != old.1 {
                return Err("couples are on the other side of the set".into());
            }
            let right_way = match before.formation {
                Formation::Becket => (a.0 < b.0) == (a.1 == Column::Left),
                Formation::DupleProper => a.1 == Column::Left,
                _ => (a.1 == Column::Right) == one,
            };
            if !right_way {
                return Err("partners have changed sides with each other".into());
            }
            let steps = if one { a.0 - old.0 } else { old.0 - a.0 };
            if *moved.get_or_insert(steps) != steps {
                return Err("some couples have moved further than others".into());
            }
        }
    }
    let moved = moved.ok_or("nobody danced")?;
    if moved < 0 && before.formation != Formation::Becket {
        return Err("the ones have moved up the hall, not down".into());
    }
    let wanted = (before.parity() + moved).rem_euclid(2);
    if after.parity() != wanted {
        if moved == 0 {
            return Err("new couples meet without having changed places".into());
        }
        // New fours are formed without a word, as the ones are below the twos.
        if !after.lead_on(&is) {
            return Err("at the ends two are left who are no couple".into());
        }
    }
    after.number();
    // However they faced last, they face as the dance begins.
    face_for_the_start(&mut after);
    Ok((moved.unsigned_abs(), after))
}

fn face_for_the_start(set: &mut Set) {
    use super::set::Face;
    let improper = set.formation == Formation::DupleImproper;
    for group in &mut set.groups {
        let Some(mut four) = group.four() else {
            continue;
        };
        if improper {
            for (slot, standing) in four.iter_mut().enumerate() {
                standing.face = Some(if slot < 2 { Face::Down } else { Face::Up });
            }
        } else {
            four = four::across(four);
        }
        group.places = four.map(Some);
    }
}
