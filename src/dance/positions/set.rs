//! A longways set: who stands where, and who dances with whom.

use std::collections::BTreeMap;

use super::super::roles::Role;
use super::super::words::Formation;

/// One dancer: which couple, numbered from 1 at the band as the dance begins,
/// and which role.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Dancer {
    /// The couple, from 1.
    pub couple: u16,
    /// The role.
    pub role: Role,
}

/// Which way somebody faces, seen from above with the band at the top.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Face {
    /// To the band.
    Up,
    /// Away from it.
    Down,
    /// To the left.
    Left,
    /// To the right.
    Right,
    /// To the middle of the four.
    In,
}

impl Face {
    /// The other way; into the ring stays so.
    pub(super) fn reversed(self) -> Face {
        match self {
            Face::Up => Face::Down,
            Face::Down => Face::Up,
            Face::Left => Face::Right,
            Face::Right => Face::Left,
            Face::In => Face::In,
        }
    }
}

/// A dancer at a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing {
    /// Who.
    pub dancer: Dancer,
    /// Which way, if that is known.
    pub face: Option<Face>,
}

/// A side of the set, looking up the hall.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Column {
    /// The left side.
    Left,
    /// The right side.
    Right,
}

impl Column {
    /// Which way one faces from here to look across.
    pub(super) fn across(self) -> Face {
        match self {
            Column::Left => Face::Right,
            Column::Right => Face::Left,
        }
    }
}

/// A place: row from the band (0 is the first as the dance begins) and side.
pub type Place = (i32, Column);

/// Places of a group, clockwise from the upper left, as row and column.
pub(super) const CORNERS: [(i32, Column); 4] = [
    (0, Column::Left),
    (0, Column::Right),
    (1, Column::Right),
    (1, Column::Left),
];

/// How the four of a group stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// On the four corners; a group's list goes clockwise from the upper left.
    Corners,
    /// In a line of four; a group's list goes from left to right.
    Line,
}

/// Four dancers; see [`Shape`] for their order.
pub(super) type Four = [Standing; 4];

/// Two rows of the line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Group {
    /// Its upper row.
    pub(super) top: i32,
    /// Who stands in it; at the ends of a line places may be free.
    pub(super) places: [Option<Standing>; 4],
}

impl Group {
    /// The four, if nobody is missing.
    pub(super) fn four(&self) -> Option<Four> {
        let [Some(a), Some(b), Some(c), Some(d)] = self.places else {
            return None;
        };
        Some([a, b, c, d])
    }
}

/// A longways set of duple minor sets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Set {
    pub(super) formation: Formation,
    pub(super) groups: Vec<Group>,
    pub(super) shape: Shape,
    /// Of each couple, whether it goes down the hall.
    pub(super) ones: Vec<bool>,
}

/// The two of a couple, first role first.
fn couple(number: usize, first: Face, second: Face) -> [Standing; 2] {
    let dancer = |role, face| Standing {
        dancer: Dancer {
            couple: number as u16 + 1,
            role,
        },
        face: Some(face),
    };
    [dancer(Role::First, first), dancer(Role::Second, second)]
}

impl Set {
    /// `couples` (4 to 64) couples as the dance begins. Nothing for formations
    /// that are no duple longways sets.
    pub fn new(formation: Formation, couples: usize) -> Option<Set> {
        let couples = couples.clamp(4, 64);
        let mut at = BTreeMap::new();
        for n in 0..couples {
            let row = n as i32;
            let top = n % 2 == 0;
            match formation {
                Formation::DupleImproper => {
                    let face = if top { Face::Down } else { Face::Up };
                    let [first, second] = couple(n, face, face);
                    let (left, right) = if top {
                        (second, first)
                    } else {
                        (first, second)
                    };
                    at.insert((row, Column::Left), left);
                    at.insert((row, Column::Right), right);
                }
                Formation::DupleProper => {
                    let [first, second] = couple(n, Face::Right, Face::Left);
                    at.insert((row, Column::Left), first);
                    at.insert((row, Column::Right), second);
                }
                Formation::Becket => {
                    // Couples come in twos, right side first: those go down. One
                    // left over at the bottom is turned to the left below.
                    let row = row / 2 * 2;
                    let column = if top { Column::Right } else { Column::Left };
                    let face = column.across();
                    let [first, second] = couple(n, face, face);
                    let (upper, lower) = beside(column, first, second);
                    at.insert((row, column), upper);
                    at.insert((row + 1, column), lower);
                }
                _ => return None,
            }
        }
        let mut set = Set {
            formation,
            groups: Vec::new(),
            shape: Shape::Corners,
            ones: vec![false; couples],
        };
        set.cut(&at, 0);
        set.turn_ends();
        set.number();
        Some(set)
    }

    /// How many couples dance.
    pub fn couples(&self) -> usize {
        self.ones.len()
    }

    /// How the groups stand.
    pub fn shape(&self) -> Shape {
        self.shape
    }

    /// Everybody's place. In a line of four the outer two are at the upper row
    /// of their side, the inner two at the lower.
    pub fn standings(&self) -> BTreeMap<Place, Standing> {
        let mut all = BTreeMap::new();
        for group in &self.groups {
            let full = group.four().is_some();
            let order = match self.shape {
                // A line keeps its order when it is bent upwards.
                Shape::Line if full => [0, 3, 2, 1],
                _ => [0, 1, 2, 3],
            };
            for (slot, standing) in order.iter().zip(group.places) {
                let (row, column) = CORNERS[*slot];
                if let Some(standing) = standing {
                    all.insert((group.top + row, column), standing);
                }
            }
        }
        all
    }

    /// The groups, upper row first: their upper row and who is in them, in the
    /// order that [`Shape`] gives (a group with free places: clockwise).
    pub fn groups(&self) -> impl Iterator<Item = (i32, &[Option<Standing>; 4])> {
        self.groups.iter().map(|g| (g.top, &g.places))
    }

    /// Where `dancer` stands.
    pub fn place_of(&self, dancer: Dancer) -> Option<Place> {
        let all = self.standings();
        all.into_iter()
            .find(|(_, s)| s.dancer == dancer)
            .map(|(place, _)| place)
    }

    /// Whether `dancer`'s couple goes down the hall.
    pub fn is_one(&self, dancer: Dancer) -> bool {
        let at = usize::from(dancer.couple).wrapping_sub(1);
        self.ones.get(at).copied().unwrap_or(false)
    }

    /// Cuts the line into groups whose upper rows are even or odd.
    pub(super) fn cut(&mut self, at: &BTreeMap<Place, Standing>, parity: i32) {
        let rows = at.keys().map(|(row, _)| *row);
        let (Some(first), Some(last)) = (rows.clone().min(), rows.max()) else {
            return;
        };
        let start = first - (first - parity).rem_euclid(2);
        self.groups = (start..=last)
            .step_by(2)
            .map(|top| Group {
                top,
                places: CORNERS.map(|(row, column)| at.get(&(top + row, column)).copied()),
            })
            .collect();
    }

    /// Whether upper rows are even (0) or odd (1).
    pub(super) fn parity(&self) -> i32 {
        self.groups.first().map_or(0, |g| g.top.rem_euclid(2))
    }

    /// Forms new groups one row further, and turns those at the ends round.
    /// False if two wait out who are no couple: what they do is then unknown.
    pub(super) fn lead_on(&mut self, at: &BTreeMap<Place, Standing>) -> bool {
        let parity = self.parity();
        self.cut(at, 1 - parity);
        if !self.turn_ends() {
            return false;
        }
        // Who came back in during a time through has a new number; nobody else.
        let before = self.ones.clone();
        self.number();
        for group in self.groups.iter().filter(|g| g.four().is_some()) {
            for standing in group.places.iter().flatten() {
                let couple = usize::from(standing.dancer.couple) - 1;
                self.ones[couple] = before[couple];
            }
        }
        true
    }

    /// Numbers the couples by where they stand, as a time through begins.
    pub(super) fn number(&mut self) {
        let last = self.groups.len().saturating_sub(1);
        for (index, group) in self.groups.iter().enumerate() {
            let waits = group.four().is_none();
            for (slot, standing) in group.places.iter().enumerate() {
                let Some(standing) = standing else { continue };
                let one = match (self.formation, waits) {
                    (Formation::Becket, _) => slot == 1 || slot == 2,
                    // Who waits at the top comes in as a one, whatever the row.
                    (_, true) => index != last,
                    (_, false) => slot < 2,
                };
                self.ones[usize::from(standing.dancer.couple) - 1] = one;
            }
        }
    }

    /// Those who wait out face back in, in the way of their formation: crossed
    /// over so that the first role is on the left again; in a proper set each
    /// stays on their side.
    fn turn_ends(&mut self) -> bool {
        let last = self.groups.len().saturating_sub(1);
        for index in [0, last] {
            let group = &mut self.groups[index];
            if group.four().is_some() {
                continue;
            }
            let here: Vec<(usize, Standing)> = (0..4)
                .filter_map(|slot| Some((slot, group.places[slot]?)))
                .collect();
            let [(a, one), (b, other)] = here[..] else {
                if here.is_empty() {
                    continue;
                }
                return false;
            };
            if one.dancer.couple != other.dancer.couple {
                return false;
            }
            let (first, second) = match one.dancer.role {
                Role::First => (one, other),
                Role::Second => (other, one),
            };
            let face = |standing: Standing, face| {
                Some(Standing {
                    face: Some(face),
                    ..standing
                })
            };
            group.places = [None; 4];
            let same_row = matches!((a, b), (0, 1) | (2, 3));
            match (same_row, self.formation) {
                (true, Formation::DupleProper) => {
                    let (left, right) = if a == 0 { (0, 1) } else { (3, 2) };
                    group.places[left] = face(first, Face::Right);
                    group.places[right] = face(second, Face::Left);
                }
                (true, _) => {
                    // In the upper row they came out at the bottom, and the
                    // other way about.
                    let (left, right) = if a == 0 { (0, 1) } else { (3, 2) };
                    let up = a == 0;
                    let (on_left, on_right) = if up { (first, second) } else { (second, first) };
                    let towards = if up { Face::Up } else { Face::Down };
                    group.places[left] = face(on_left, towards);
                    group.places[right] = face(on_right, towards);
                }
                (false, _) if (a, b) == (0, 3) || (a, b) == (1, 2) => {
                    // They go over to the other side.
                    let column = if a == 0 { Column::Right } else { Column::Left };
                    let (upper, lower) = beside(column, first, second);
                    let (up, low) = if column == Column::Right {
                        (1, 2)
                    } else {
                        (0, 3)
                    };
                    group.places[up] = face(upper, column.across());
                    group.places[low] = face(lower, column.across());
                }
                _ => return false,
            }
        }
        true
    }
}

/// Upper and lower of a couple on `column` facing across, first role on the left.
pub(super) fn beside<T>(column: Column, first: T, second: T) -> (T, T) {
    match column {
        Column::Left => (first, second),
        Column::Right => (second, first),
    }
}
