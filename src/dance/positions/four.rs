//! The four of a group: who pairs with whom, and the turns that movements are
//! made of.

use super::super::figures::{Facing, Who};
use super::super::roles::Role;
use super::set::{CORNERS, Face, Four, Shape, Standing, beside};

/// Corners of a group, clockwise.
pub(super) const UPPER_LEFT: usize = 0;
pub(super) const UPPER_RIGHT: usize = 1;
pub(super) const LOWER_RIGHT: usize = 2;
pub(super) const LOWER_LEFT: usize = 3;
/// The two on each side, upper one first.
pub(super) const SIDES: [(usize, usize); 2] =
    [(UPPER_LEFT, LOWER_LEFT), (UPPER_RIGHT, LOWER_RIGHT)];
/// The two across from each other, left one first.
pub(super) const ROWS: [(usize, usize); 2] = [(UPPER_LEFT, UPPER_RIGHT), (LOWER_LEFT, LOWER_RIGHT)];

/// Where the four are afterwards, or why that cannot be known.
pub(super) type Moved = Result<(Four, Shape), String>;

/// Who of the four dances with whom, lower corner number first where that is
/// the upper or left one.
pub(super) fn pairs(who: Who, four: &Four, ones: [bool; 4]) -> Result<Vec<(usize, usize)>, String> {
    let all = [(0, 1), (3, 2), (0, 3), (1, 2), (0, 2), (1, 3)];
    let dancer = |slot: usize| four[slot].dancer;
    let partners = |(a, b): &(usize, usize)| dancer(*a).couple == dancer(*b).couple;
    let found: Vec<(usize, usize)> = match who {
        Who::Partners => all.into_iter().filter(partners).collect(),
        Who::Neighbours => all
            .into_iter()
            .filter(|p| !partners(p) && dancer(p.0).role != dancer(p.1).role)
            .collect(),
        Who::Role(role) => all
            .into_iter()
            .filter(|(a, b)| dancer(*a).role == role && dancer(*b).role == role)
            .collect(),
        Who::Ones => all
            .into_iter()
            .filter(|p| partners(p) && ones[p.0])
            .collect(),
        Who::Twos => all
            .into_iter()
            .filter(|p| partners(p) && !ones[p.0])
            .collect(),
        _ => return Err("it does not say which two of the four dance together".into()),
    };
    let expected = match who {
        Who::Partners | Who::Neighbours => 2,
        _ => 1,
    };
    match found.len() == expected {
        true => Ok(found),
        false => Err("those who should dance together are not among the same four".into()),
    }
}

/// Those on each side are a lark and a robin, say, that face across with the
/// first role on the left, and nobody faces out.
pub(super) fn couples_face_across(four: &Four) -> Result<(), String> {
    for (a, b) in SIDES {
        let column = CORNERS[a].1;
        let (upper, lower) = beside(column, Role::First, Role::Second);
        if four[a].dancer.role != upper || four[b].dancer.role != lower {
            return Err("those side by side need their usual left and right, facing across".into());
        }
        let out = Some(column.across().reversed());
        if four[a].face == out || four[b].face == out {
            return Err("they face out of the set".into());
        }
    }
    Ok(())
}

/// Everybody `places` further, clockwise.
pub(super) fn turned(four: Four, places: usize) -> Four {
    let mut to = four;
    for (slot, standing) in four.into_iter().enumerate() {
        to[(slot + places) % 4] = standing;
    }
    to
}

pub(super) fn inwards(four: Four) -> Four {
    four.map(|s| Standing {
        face: Some(Face::In),
        ..s
    })
}

/// All face across.
pub(super) fn across(mut four: Four) -> Four {
    for (slot, standing) in four.iter_mut().enumerate() {
        standing.face = Some(CORNERS[slot].1.across());
    }
    four
}

/// All face as the card says.
pub(super) fn facing(four: Four, facing: Facing) -> Four {
    let all = |face| {
        four.map(|s| Standing {
            face: Some(face),
            ..s
        })
    };
    match facing {
        Facing::Across => across(four),
        Facing::Up => all(Face::Up),
        Facing::Down => all(Face::Down),
        Facing::In => inwards(four),
    }
}

/// Two change places.
pub(super) fn swap(four: &mut Four, a: usize, b: usize) {
    four.swap(a, b);
}

pub(super) fn face_each_other(four: &mut Four, a: usize, b: usize) {
    let faces = match (a, b) {
        pair if ROWS.contains(&pair) => (Face::Right, Face::Left),
        pair if SIDES.contains(&pair) => (Face::Down, Face::Up),
        _ => (Face::In, Face::In),
    };
    (four[a].face, four[b].face) = (Some(faces.0), Some(faces.1));
}

/// The ring opens at the bottom, and all face down: left to right.
pub(super) fn line(four: Four) -> Four {
    [LOWER_LEFT, UPPER_LEFT, UPPER_RIGHT, LOWER_RIGHT].map(|slot| Standing {
        face: Some(Face::Down),
        ..four[slot]
    })
}

/// Both pairs of a line wheel about.
pub(super) fn wheel([a, b, c, d]: Four) -> Four {
    about([b, a, d, c])
}

/// All turn on the spot.
pub(super) fn about(four: Four) -> Four {
    four.map(|s| Standing {
        face: s.face.map(Face::reversed),
        ..s
    })
}

/// A line becomes a ring: its ends go forward.
pub(super) fn bend([a, b, c, d]: Four) -> Moved {
    let four = match a.face {
        Some(Face::Up) => [a, d, c, b],
        Some(Face::Down) => [b, c, d, a],
        _ => return Err("it does not say which way the line faces".into()),
    };
    Ok((inwards(four), Shape::Corners))
}
