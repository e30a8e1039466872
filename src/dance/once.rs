//! What a card says or dances once only, and where a figure ends when its name
//! does not tell.

use std::fmt;
use std::ops::Range;

use super::figures::Facing;
use super::roles::{Role, Roles};

/// What happens once: before the dance begins, or when it ends.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Once {
    /// Lines to speak, in order: of an introduction before the lead-in, of an
    /// ending after the music has stopped.
    pub say: Vec<String>,
    /// A figure danced instead of another, on the same beats: of an introduction
    /// instead of the card's first figure the first time through, of an ending
    /// instead of the card's last figure the last time through.
    pub figure: Option<OnceFigure>,
}

/// A figure that is danced once, on the beats of the one it replaces.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OnceFigure {
    /// What the figure is called.
    pub name: String,
    /// The words spoken ahead of it.
    pub call: String,
    /// Fewer words for it.
    pub short: Option<String>,
    /// What to say while teaching it.
    pub note: Option<String>,
    /// Bytes of its name and of its call in the card.
    pub(super) spans: [Range<usize>; 2],
}

impl Once {
    /// Whether the card says nothing of it.
    pub fn is_empty(&self) -> bool {
        self.say.is_empty() && self.figure.is_none()
    }

    /// The same in the words that `word` makes of its own.
    pub(super) fn map(&self, word: impl Fn(&str) -> String) -> Once {
        Once {
            say: self.say.iter().map(|line| word(line)).collect(),
            figure: self.figure.as_ref().map(|f| OnceFigure {
                name: word(&f.name),
                call: word(&f.call),
                short: f.short.as_deref().map(&word),
                note: f.note.as_deref().map(&word),
                spans: f.spans.clone(),
            }),
        }
    }
}

/// One of the four dancers of two couples: the couple's number, 1 for the one
/// that goes down the hall and 2 for the one that goes up, and the role.
pub type OfFour = (u8, Role);

/// Where a figure ends, as the card says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ends {
    /// Those who did it face this way.
    Facing(Facing),
    /// Everybody is where they were when it began.
    WhereBegun,
    /// The four stand so: upper left, upper right, lower right, lower left of
    /// the set seen from above, the band at the top.
    Places([OfFour; 4]),
}

/// What [`Ends`] may be, for errors.
pub(super) const ENDS: &str = "\"facing across\", \"facing up\", \"facing down\", \"facing in\", \
     \"where they began\", or the four dancers as in \"L2 R2 / R1 L1\": the two nearer the band \
     first, each pair from left to right looking up the hall";

impl Ends {
    /// Reads the card's words.
    pub(super) fn parse(text: &str, roles: &Roles) -> Option<Self> {
        let small = text.to_lowercase();
        Some(match small.trim() {
            "facing across" => Ends::Facing(Facing::Across),
            "facing up" => Ends::Facing(Facing::Up),
            "facing down" => Ends::Facing(Facing::Down),
            "facing in" => Ends::Facing(Facing::In),
            "where they began" => Ends::WhereBegun,
            places => {
                let (upper, lower) = places.split_once('/')?;
                let pair = |row: &str| {
                    let mut dancers = row.split_whitespace().map(|d| dancer(d, roles));
                    let pair = [dancers.next()??, dancers.next()??];
                    dancers.next().is_none().then_some(pair)
                };
                let ([a, b], [d, c]) = (pair(upper)?, pair(lower)?);
                let four = [a, b, c, d];
                let differ = (1..4).all(|i| !four[..i].contains(&four[i]));
                return differ.then_some(Ends::Places(four));
            }
        })
    }
}

/// One dancer such as `l1` or, with roles of other letters, `g1`.
fn dancer(text: &str, roles: &Roles) -> Option<OfFour> {
    let couple = match text.chars().last()? {
        '1' => 1,
        '2' => 2,
        _ => return None,
    };
    let letters = &text[..text.len() - 1];
    let usual = Roles::default();
    [roles, &usual].into_iter().find_map(|roles| {
        [Role::First, Role::Second]
            .into_iter()
            .find(|r| roles.letters(*r).to_lowercase() == letters)
            .map(|role| (couple, role))
    })
}

impl fmt::Display for Ends {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = |(couple, role): OfFour| format!("{}{couple}", Roles::default().letters(role));
        match self {
            Ends::Facing(Facing::Across) => f.write_str("facing across"),
            Ends::Facing(Facing::Up) => f.write_str("facing up"),
            Ends::Facing(Facing::Down) => f.write_str("facing down"),
            Ends::Facing(Facing::In) => f.write_str("facing in"),
            Ends::WhereBegun => f.write_str("where they began"),
            Ends::Places([a, b, c, d]) => {
                write!(f, "{} {} / {} {}", name(*a), name(*b), name(*d), name(*c))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_read_as_they_are_shown() {
        let roles = Roles::parse("gent/lady").unwrap();
        let ends = Ends::parse("g2 l2 / R1 L1", &roles);
        // The card's own letters come first: l is the lady here, not the lark.
        assert_eq!(ends, None);
        let ends = Ends::parse("G2 L2 / L1 G1", &roles).unwrap();
        let (g, l) = (Role::First, Role::Second);
        assert_eq!(ends, Ends::Places([(2, g), (2, l), (1, g), (1, l)]));
        assert_eq!(ends.to_string(), "L2 R2 / R1 L1");
        assert_eq!(
            Ends::parse(&ends.to_string(), &Roles::default()),
            Some(ends)
        );
        for text in [
            "facing across",
            "Facing Up",
            "facing in",
            "where they began",
        ] {
            let ends = Ends::parse(text, &roles).unwrap();
            assert_eq!(ends.to_string(), text.to_lowercase());
        }
    }

    #[test]
    fn what_is_no_ending_is_none() {
        for bad in [
            "",
            "/",
            "L1 R1",
            "L1 R1 / L1 R2",
            "L1 R1 L2 / R2",
            "L1 R3 / L2 R2",
            "x",
            "é / é",
            "L1 / R1 L2 R2",
        ] {
            assert_eq!(Ends::parse(bad, &Roles::default()), None, "{bad}");
        }
    }
}
