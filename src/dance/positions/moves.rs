//! What each movement does to the four of a group.

use super::super::figures::{Facing, Figure, Movement, Reading, Way, Who};
use super::super::roles::Role;
use super::super::words::Formation;
use super::four::{
    LOWER_LEFT, Moved, ROWS, SIDES, UPPER_LEFT, UPPER_RIGHT, about, across, bend,
    couples_face_across, face_each_other, inwards, line, pairs, swap, turned, wheel,
};
use super::set::{CORNERS, Column, Face, Four, Shape, Standing, beside};

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
                (four[a], four[b]) = beside(column, first, second);
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

/// The side that slides up and the one that slides down, when couples slide.
pub(super) fn slide(movement: Movement, column: Column) -> i32 {
    let left = movement == Movement::SlideLeft;
    // Facing across, left is up the hall on the left side.
    match (left, column) {
        (true, Column::Left) | (false, Column::Right) => -1,
        _ => 1,
    }
}
