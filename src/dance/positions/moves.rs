//! What each movement does to the four of a group.

use super::super::card::Formation;
use super::super::figures::{Facing, Figure, Movement, Reading, Way, Who};
use super::super::roles::Role;
use super::set::{CORNERS, Column, Face, Four, Shape, Standing};

/// Corners of a group, clockwise.
const UPPER_LEFT: usize = 0;
const UPPER_RIGHT: usize = 1;
const LOWER_RIGHT: usize = 2;
const LOWER_LEFT: usize = 3;
/// The two on each side, upper one first.
const SIDES: [(usize, usize); 2] = [(UPPER_LEFT, LOWER_LEFT), (UPPER_RIGHT, LOWER_RIGHT)];
/// The two across from each other, left one first.
const ROWS: [(usize, usize); 2] = [(UPPER_LEFT, UPPER_RIGHT), (LOWER_LEFT, LOWER_RIGHT)];

/// A figure as it is to be danced.
pub(super) struct Step<'a> {
    pub(super) reading: &'a Reading<'a>,
    pub(super) beats: u32,
    /// Where the card says to face at the end.
    pub(super) facing: Option<Facing>,
    pub(super) formation: Formation,
    /// Of each of the four, whether their couple goes down the hall.
    pub(super) ones: [bool; 4],
}

type Moved = Result<(Four, Shape), String>;

impl Step<'_> {
    fn figure(&self) -> &Figure {
        self.reading.figure
    }

    /// Moves a group.
    pub(super) fn apply(&self, movement: Movement, four: Four, shape: Shape) -> Moved {
        use Movement as M;
        if shape == Shape::Line {
            return match movement {
                M::Stay => Ok((four, shape)),
                M::LineCouples => Ok((wheel(four), shape)),
                M::LineAlone => Ok((about(four), shape)),
                M::BendLine => bend(four),
                _ => Err(
                    "the four stand in a line, and it does not say that the line is bent".into(),
                ),
            };
        }
        let corners = |four: Four| Ok((four, Shape::Corners));
        match movement {
            M::Stay => corners(four),
            M::RingStay => corners(inwards(four)),
            M::LinesStay => corners(across(four)),
            M::Clockwise | M::Anticlockwise => {
                self.everybody()?;
                if self.reading.hand {
                    return Err("it names a hand that this figure does not use".into());
                }
                let places = usize::from(self.quarters()?) % 4;
                let places = if movement == M::Clockwise {
                    places
                } else {
                    4 - places
                };
                corners(inwards(turned(four, places)))
            }
            M::SpinRight | M::SpinLeft => {
                self.everybody()?;
                if self.reading.quarters.is_some_and(|q| q != 1) {
                    return Err("a spin goes one place".into());
                }
                let places = if movement == M::SpinRight { 3 } else { 1 };
                corners(inwards(turned(four, places)))
            }
            M::TurnPair => {
                let quarters = self.quarters()?;
                if quarters % 2 == 1 {
                    return Err("so far round it ends between places".into());
                }
                self.with_pairs(four, |four, a, b| {
                    if quarters % 4 == 2 {
                        swap(four, a, b);
                    }
                    face_each_other(four, a, b);
                })
            }
            M::SwapPair => self.with_pairs(four, |four, a, b| {
                swap(four, a, b);
                four[a].face = None;
                four[b].face = None;
            }),
            M::SwapSide => self.roll_away(four),
            M::Twirl => self.twirl(four),
            M::Swing => self.swing(four),
            M::Chain | M::ChainBack => self.chain(four, movement == M::ChainBack),
            M::CouplesCross => {
                self.not_along()?;
                couples_face_across(&four)?;
                if let Some(who @ (Who::Partners | Who::Neighbours)) = self.reading.who {
                    for pair in pairs(who, &four, self.ones)? {
                        if !SIDES.contains(&pair) {
                            return Err("these are not side by side on one side".into());
                        }
                    }
                }
                corners(across(turned(four, 2)))
            }
            M::HalfTurn | M::HeyHome => {
                self.not_along()?;
                if SIDES
                    .iter()
                    .any(|(a, b)| four[*a].dancer.role == four[*b].dancer.role)
                {
                    return Err("a hey across needs both roles on each side".into());
                }
                let places = if movement == M::HalfTurn { 2 } else { 0 };
                corners(across(turned(four, places)))
            }
            M::PassThrough => self.pass_through(four),
            M::CrossTrail => {
                self.everybody()?;
                corners(turned(four, 2).map(|s| Standing { face: None, ..s }))
            }
            M::LineDown => Ok((line(four), Shape::Line)),
            M::LineDownCouples => Ok((wheel(line(four)), Shape::Line)),
            M::LineDownAlone => Ok((about(line(four)), Shape::Line)),
            M::LineAlone => corners(about(four)),
            M::LineCouples | M::BendLine => Err("the four do not stand in a line".into()),
            M::SlideLeft | M::SlideRight => Err("couples slide only in a becket set".into()),
        }
    }

    /// How far round, as said or as usual.
    fn quarters(&self) -> Result<u8, String> {
        if let Some(said) = self.reading.quarters {
            return Ok(said);
        }
        let usual = self.figure().beats.contains(&self.beats);
        self.figure()
            .turn
            .filter(|_| usual)
            .ok_or_else(|| "it does not say how far round".into())
    }

    fn everybody(&self) -> Result<(), String> {
        match self.reading.who {
            None | Some(Who::All | Who::Couples) => Ok(()),
            Some(_) => Err("it is danced by all, not by some".into()),
        }
    }

    fn not_along(&self) -> Result<(), String> {
        match self.reading.way {
            Some(Way::Along) => Err("along the set it is not followed, only across".into()),
            _ => Ok(()),
        }
    }

    fn with_pairs(&self, mut four: Four, dance: impl Fn(&mut Four, usize, usize)) -> Moved {
        let who = self.reading.who.ok_or("it does not say who")?;
        for (a, b) in pairs(who, &four, self.ones)? {
            dance(&mut four, a, b);
        }
        Ok((four, Shape::Corners))
    }

    fn swing(&self, mut four: Four) -> Moved {
        let who = self.reading.who.ok_or("it does not say who")?;
        for (a, b) in pairs(who, &four, self.ones)? {
            let (first, second) = match (four[a].dancer.role, four[b].dancer.role) {
                (Role::First, Role::Second) => (four[a], four[b]),
                (Role::Second, Role::First) => (four[b], four[a]),
                _ => {
                    return Err(
                        "two of one role swing: it does not say who ends on the left".into(),
                    );
                }
            };
            let facing = self.facing.unwrap_or(Facing::Across);
            if SIDES.contains(&(a, b)) {
                let column = CORNERS[a].1;
                let face = match facing {
                    Facing::Across => column.across(),
                    Facing::Up => Face::Up,
                    Facing::Down => Face::Down,
                    Facing::In => Face::In,
                };
                (four[a], four[b]) = super::set::beside(column, first, second);
                (four[a].face, four[b].face) = (Some(face), Some(face));
            } else if ROWS.contains(&(a, b)) {
                let (left, right, face) = match facing {
                    Facing::Up => (first, second, Face::Up),
                    Facing::Down => (second, first, Face::Down),
                    Facing::Across | Facing::In => {
                        return Err("they swing in the middle: add ends = \"facing up\" or ends = \"facing down\"".into());
                    }
                };
                (four[a], four[b]) = (left, right);
                (four[a].face, four[b].face) = (Some(face), Some(face));
            } else {
                return Err("they do not stand beside or across from each other".into());
            }
        }
        Ok((four, Shape::Corners))
    }

    fn chain(&self, mut four: Four, back: bool) -> Moved {
        self.not_along()?;
        if self.reading.who != Some(Who::Role(Role::Second)) {
            return Err("only a chain of those on the right is followed".into());
        }
        couples_face_across(&four)?;
        if !back {
            swap(&mut four, LOWER_LEFT, UPPER_RIGHT);
            if let Some(to) = self.reading.to {
                let meant = pairs(to, &four, self.ones)?;
                if !SIDES.iter().all(|side| meant.contains(side)) {
                    return Err("it leads to others than it says".into());
                }
            }
        }
        Ok((across(four), Shape::Corners))
    }

    fn roll_away(&self, mut four: Four) -> Moved {
        let chosen = match self.reading.who {
            Some(who @ (Who::Partners | Who::Neighbours)) => pairs(who, &four, self.ones)?,
            Some(Who::Role(_)) => SIDES.to_vec(),
            _ => return Err("it does not say who".into()),
        };
        for (a, b) in chosen {
            if !SIDES.contains(&(a, b)) || four[a].dancer.role == four[b].dancer.role {
                return Err("these are not side by side on one side".into());
            }
            swap(&mut four, a, b);
            (four[a].face, four[b].face) = (four[b].face, four[a].face);
        }
        Ok((four, Shape::Corners))
    }

    fn twirl(&self, mut four: Four) -> Moved {
        let chosen = match self.reading.who {
            Some(who @ (Who::Partners | Who::Neighbours)) => pairs(who, &four, self.ones)?,
            None | Some(Who::Couples | Who::All) => {
                // Side by side are those who face the same way.
                let side = four[UPPER_LEFT].face == four[LOWER_LEFT].face;
                if side { SIDES.to_vec() } else { ROWS.to_vec() }
            }
            _ => return Err("it is danced by couples".into()),
        };
        for (a, b) in chosen {
            let first_at_a = four[a].dancer.role == Role::First;
            let pair = (SIDES.contains(&(a, b)), ROWS.contains(&(a, b)));
            let face = four[a].face.filter(|_| four[a].face == four[b].face);
            let left_at_a = match (face, pair) {
                (Some(Face::Right), (true, _)) | (Some(Face::Up), (_, true)) => true,
                (Some(Face::Left), (true, _)) | (Some(Face::Down), (_, true)) => false,
                _ => return Err("they do not stand side by side, facing one way".into()),
            };
            if four[a].dancer.role == four[b].dancer.role || first_at_a != left_at_a {
                return Err("it needs a couple side by side, with its usual left and right".into());
            }
            swap(&mut four, a, b);
            for slot in [a, b] {
                four[slot].face = face.map(Face::reversed);
            }
        }
        Ok((four, Shape::Corners))
    }

    fn pass_through(&self, mut four: Four) -> Moved {
        self.everybody()?;
        let towards = |rows: &[(usize, usize)], a: Face, b: Face| {
            rows.iter()
                .all(|(i, j)| four[*i].face == Some(a) && four[*j].face == Some(b))
        };
        let way = match self.reading.way {
            Some(way) => way,
            None if self.reading.onward && self.formation != Formation::Becket => Way::Along,
            None if towards(&ROWS, Face::Right, Face::Left) => Way::Across,
            None if towards(&SIDES, Face::Down, Face::Up) => Way::Along,
            None => {
                return Err("it does not say whether across or along the set".into());
            }
        };
        let (lines, first, second) = match way {
            Way::Across => (ROWS, Face::Left, Face::Right),
            Way::Along => (SIDES, Face::Up, Face::Down),
        };
        for (a, b) in lines {
            swap(&mut four, a, b);
            (four[a].face, four[b].face) = (Some(first), Some(second));
        }
        Ok((four, Shape::Corners))
    }
}

/// Who of the four dances with whom, lower corner number first where that is
/// the upper or left one.
fn pairs(who: Who, four: &Four, ones: [bool; 4]) -> Result<Vec<(usize, usize)>, String> {
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
fn couples_face_across(four: &Four) -> Result<(), String> {
    for (a, b) in SIDES {
        let column = CORNERS[a].1;
        let (upper, lower) = super::set::beside(column, Role::First, Role::Second);
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
fn turned(four: Four, places: usize) -> Four {
    let mut to = four;
    for (slot, standing) in four.into_iter().enumerate() {
        to[(slot + places) % 4] = standing;
    }
    to
}

fn inwards(four: Four) -> Four {
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
fn swap(four: &mut Four, a: usize, b: usize) {
    four.swap(a, b);
}

fn face_each_other(four: &mut Four, a: usize, b: usize) {
    let faces = match (a, b) {
        pair if ROWS.contains(&pair) => (Face::Right, Face::Left),
        pair if SIDES.contains(&pair) => (Face::Down, Face::Up),
        _ => (Face::In, Face::In),
    };
    (four[a].face, four[b].face) = (Some(faces.0), Some(faces.1));
}

/// The ring opens at the bottom, and all face down: left to right.
fn line(four: Four) -> Four {
    [LOWER_LEFT, UPPER_LEFT, UPPER_RIGHT, LOWER_RIGHT].map(|slot| Standing {
        face: Some(Face::Down),
        ..four[slot]
    })
}

/// Both pairs of a line wheel about.
fn wheel([a, b, c, d]: Four) -> Four {
    about([b, a, d, c])
}

/// All turn on the spot.
fn about(four: Four) -> Four {
    four.map(|s| Standing {
        face: s.face.map(Face::reversed),
        ..s
    })
}

/// A line becomes a ring: its ends go forward.
fn bend([a, b, c, d]: Four) -> Moved {
    let four = match a.face {
        Some(Face::Up) => [a, d, c, b],
        Some(Face::Down) => [b, c, d, a],
        _ => return Err("it does not say which way the line faces".into()),
    };
    Ok((inwards(four), Shape::Corners))
}

/// The side that slides up and the one that slides down, when couples slide.
pub(super) fn slide(movement: Movement, column: Column) -> i32 {
    let left = movement == Movement::SlideLeft;
    // Facing across, left is up the hall on the left side.
    match (left, column) {
        (true, Column::Left) | (false, Column::Right) => -1,
        _ => 1,
    }
}
