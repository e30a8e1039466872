//! A card's free words for a figure, split into who, what and how far.

use super::super::roles::{Role, Roles};
use super::{Figure, Figures};

/// Who dances a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    /// Those who dance as a couple.
    Partners,
    /// Those of the two couples who are no partners and of different roles.
    Neighbours,
    /// The two of one role.
    Role(Role),
    /// The couple that goes down the hall (or leads).
    Ones,
    /// The couple that goes up the hall.
    Twos,
    /// Each couple as one.
    Couples,
    /// Everybody.
    All,
    /// The one beside you who is not your partner, in a square or ring.
    Corners,
    /// The one across.
    Opposites,
    /// Couples nearest to and furthest from the band.
    Heads,
    /// Couples on the side walls.
    Sides,
    /// Somebody outside the four.
    Shadows,
}

/// Along which line people pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// From one long side to the other.
    Across,
    /// Up and down the hall.
    Along,
}

/// Which way dancers face.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Facing {
    /// To the other side.
    Across,
    /// To the band.
    Up,
    /// Away from the band.
    Down,
    /// Into the ring.
    In,
}

/// What a card's words for a figure mean.
#[derive(Debug, Clone)]
pub struct Reading<'f> {
    /// The figure.
    pub figure: &'f Figure,
    /// Who does it, if the words say so.
    pub who: Option<Who>,
    /// To whom it leads, as in "to your neighbour".
    pub to: Option<Who>,
    /// How far round, in quarter turns or places, if the words say so.
    pub quarters: Option<u8>,
    /// A hand or shoulder was named.
    pub hand: bool,
    /// Across or along, if the words say so.
    pub way: Option<Way>,
    /// Where to face at the end, if the words say so.
    pub facing: Option<Facing>,
    /// It leads to the next dancers.
    pub onward: bool,
    /// Words that were not understood.
    pub rest: Vec<String>,
}

/// What a run of words adds to a reading.
#[derive(Clone, Copy)]
enum Sense {
    Who(Who),
    To(Who),
    Quarters(u8),
    Hand,
    Way(Way),
    Facing(Facing),
    Onward,
    Nothing,
}

use Sense::{Facing as F, Hand, Nothing, Onward, Quarters as Q, To, Way as W, Who as Is};

const LARKS: Who = Who::Role(Role::First);
const ROBINS: Who = Who::Role(Role::Second);

/// Runs of words that are understood. The longest run that fits is taken.
const SENSES: &[(&str, Sense)] = &[
    ("partners", Is(Who::Partners)),
    ("partner", Is(Who::Partners)),
    ("neighbours", Is(Who::Neighbours)),
    ("neighbour", Is(Who::Neighbours)),
    ("new neighbours", Is(Who::Neighbours)),
    ("new neighbour", Is(Who::Neighbours)),
    ("larks", Is(LARKS)),
    ("lark", Is(LARKS)),
    ("robins", Is(ROBINS)),
    ("robin", Is(ROBINS)),
    ("ones", Is(Who::Ones)),
    ("first couples", Is(Who::Ones)),
    ("twos", Is(Who::Twos)),
    ("second couples", Is(Who::Twos)),
    ("couples", Is(Who::Couples)),
    ("all", Is(Who::All)),
    ("everyone", Is(Who::All)),
    ("everybody", Is(Who::All)),
    ("all four", Is(Who::All)),
    ("hands four", Is(Who::All)),
    ("corners", Is(Who::Corners)),
    ("corner", Is(Who::Corners)),
    ("opposites", Is(Who::Opposites)),
    ("opposite", Is(Who::Opposites)),
    ("heads", Is(Who::Heads)),
    ("sides", Is(Who::Sides)),
    ("shadows", Is(Who::Shadows)),
    ("shadow", Is(Who::Shadows)),
    ("to your partner", To(Who::Partners)),
    ("to partners", To(Who::Partners)),
    ("to partner", To(Who::Partners)),
    ("to your neighbour", To(Who::Neighbours)),
    ("to neighbours", To(Who::Neighbours)),
    ("to neighbour", To(Who::Neighbours)),
    ("to the next", Onward),
    ("to the next couple", Onward),
    ("to the next neighbour", Onward),
    ("to the next neighbours", Onward),
    ("to next neighbours", Onward),
    ("to new neighbours", Onward),
    ("to your new neighbour", Onward),
    ("to a new neighbour", Onward),
    ("to a new couple", Onward),
    ("on to the next", Onward),
    ("on to the next couple", Onward),
    ("on to new neighbours", Onward),
    ("one place", Q(1)),
    ("a quarter", Q(1)),
    ("two places", Q(2)),
    ("half", Q(2)),
    ("half way", Q(2)),
    ("halfway", Q(2)),
    ("half way round", Q(2)),
    ("halfway round", Q(2)),
    ("three places", Q(3)),
    ("three quarters", Q(3)),
    ("3/4", Q(3)),
    ("¾", Q(3)),
    ("four places", Q(4)),
    ("all the way", Q(4)),
    ("all the way round", Q(4)),
    ("once", Q(4)),
    ("once and a quarter", Q(5)),
    ("1¼", Q(5)),
    ("1 1/4", Q(5)),
    ("once and a half", Q(6)),
    ("one and a half", Q(6)),
    ("1½", Q(6)),
    ("1 1/2", Q(6)),
    ("1 and 1/2", Q(6)),
    ("1.5", Q(6)),
    ("once and three quarters", Q(7)),
    ("1¾", Q(7)),
    ("1 3/4", Q(7)),
    ("twice", Q(8)),
    ("1 place", Q(1)),
    ("2 places", Q(2)),
    ("3 places", Q(3)),
    ("4 places", Q(4)),
    ("by the right", Hand),
    ("by the left", Hand),
    ("right hand", Hand),
    ("left hand", Hand),
    ("pass right", Hand),
    ("pass left", Hand),
    ("passing right", Hand),
    ("passing left", Hand),
    ("pass right shoulders", Hand),
    ("pass left shoulders", Hand),
    ("right shoulder", Hand),
    ("left shoulder", Hand),
    ("right shoulders", Hand),
    ("left shoulders", Hand),
    ("by the right hand", Hand),
    ("by the left hand", Hand),
    ("by the right shoulder", Hand),
    ("by the left shoulder", Hand),
    ("across", W(Way::Across)),
    ("across the set", W(Way::Across)),
    ("along", W(Way::Along)),
    ("along the set", W(Way::Along)),
    ("up and down", W(Way::Along)),
    ("up and down the hall", W(Way::Along)),
    ("up and down the set", W(Way::Along)),
    ("facing across", F(Facing::Across)),
    ("facing up", F(Facing::Up)),
    ("facing down", F(Facing::Down)),
    ("facing in", F(Facing::In)),
    ("end facing across", F(Facing::Across)),
    ("end facing up", F(Facing::Up)),
    ("end facing down", F(Facing::Down)),
    ("end facing in", F(Facing::In)),
    ("face across", F(Facing::Across)),
    ("face up", F(Facing::Up)),
    ("face down", F(Facing::Down)),
    ("face in", F(Facing::In)),
    ("on the side", Nothing),
    ("on your side", Nothing),
    ("round", Nothing),
    ("each other", Nothing),
    ("hands joined", Nothing),
    ("a", Nothing),
    ("again", Nothing),
    ("and", Nothing),
    ("begin", Nothing),
    ("by", Nothing),
    ("end", Nothing),
    ("go", Nothing),
    ("now", Nothing),
    ("start", Nothing),
    ("the", Nothing),
    ("then", Nothing),
    ("with", Nothing),
    ("your", Nothing),
    ("with your", Nothing),
];

/// The words of `text` in small letters, without marks and in one spelling.
pub(super) fn words(text: &str) -> Vec<String> {
    text.to_lowercase()
        .split(|c: char| c.is_whitespace() || "-–—,;:!?()\"".contains(c))
        .map(|word| word.trim_matches(|c: char| c == '.' || c == '\'' || c == '’'))
        .filter(|word| !word.is_empty())
        .map(|word| match word {
            "neighbor" => "neighbour".into(),
            "neighbors" => "neighbours".into(),
            "center" => "centre".into(),
            "thru" => "through".into(),
            "around" => "round".into(),
            "&" => "and".into(),
            word => word.to_owned(),
        })
        .collect()
}

/// Where `needle` begins in `hay`.
fn find(hay: &[String], needle: &[String]) -> Option<usize> {
    hay.windows(needle.len()).position(|w| w == needle)
}

/// What `text`, in the default role words, means.
pub(super) fn read<'f>(figures: &'f Figures, text: &str) -> Option<Reading<'f>> {
    let words = words(text);
    let (at, name, figure) = figures
        .names()
        .find_map(|(name, figure)| Some((find(&words, name)?, name, figure)))?;
    let mut reading = Reading {
        figure,
        who: None,
        to: None,
        quarters: None,
        hand: false,
        way: None,
        facing: None,
        onward: false,
        rest: Vec::new(),
    };
    take(&words[..at], &mut reading);
    take(&words[at + name.len()..], &mut reading);
    // "robins chain" names its dancers itself.
    if reading.who.is_none() {
        reading.who = name
            .iter()
            .find_map(|word| match sense(std::slice::from_ref(word)) {
                Some((Is(who), _)) => Some(who),
                _ => None,
            });
    }
    // As do names such as "slide left to the next".
    let next = ["to", "the", "next"].map(str::to_owned);
    reading.onward |= find(name, &next).is_some();
    Some(reading)
}

/// Takes the sense of `words` into `reading`; what has none is left over, and
/// so is what would say a thing twice.
fn take(mut words: &[String], reading: &mut Reading) {
    while let [first, others @ ..] = words {
        let Some((sense, length)) = sense(words) else {
            reading.rest.push(first.clone());
            words = others;
            continue;
        };
        let fresh = match sense {
            Is(who) => fill(&mut reading.who, who),
            To(who) => fill(&mut reading.to, who),
            Q(quarters) => fill(&mut reading.quarters, quarters),
            W(way) => fill(&mut reading.way, way),
            F(facing) => fill(&mut reading.facing, facing),
            Hand => !std::mem::replace(&mut reading.hand, true),
            Onward => !std::mem::replace(&mut reading.onward, true),
            Nothing => true,
        };
        if !fresh {
            reading.rest.extend_from_slice(&words[..length]);
        }
        words = &words[length..];
    }
}

fn fill<T>(place: &mut Option<T>, value: T) -> bool {
    let fresh = place.is_none();
    place.get_or_insert(value);
    fresh
}

/// The longest run at the start of `words` that has a sense, and its length.
fn sense(words: &[String]) -> Option<(Sense, usize)> {
    SENSES
        .iter()
        .filter_map(|(run, sense)| {
            let length = run.split(' ').count();
            let fits = words.len() >= length && run.split(' ').eq(words[..length].iter());
            fits.then_some((*sense, length))
        })
        .max_by_key(|(_, length)| *length)
}

/// `text` without the words that say who or how far, to look for a name like it.
pub(super) fn without_who(text: &str) -> String {
    let words = words(text);
    let mut kept: Vec<&str> = Vec::new();
    let mut rest = &words[..];
    while let [first, others @ ..] = rest {
        match sense(rest) {
            Some((Is(_) | To(_) | Q(_) | Onward, length)) => rest = &rest[length..],
            _ => {
                kept.push(first);
                rest = others;
            }
        }
    }
    kept.join(" ")
}

/// The word that says who or how far of which `word` is a slip of the pen: one
/// letter wrong, or two in a long word.
pub(in crate::dance) fn like_word(word: &str) -> Option<&'static str> {
    let allowed = match word.chars().count() {
        ..=3 => return None,
        4..=6 => 1,
        _ => 2,
    };
    SENSES
        .iter()
        .flat_map(|(run, _)| run.split(' '))
        .map(|known| (strsim::osa_distance(word, known), known))
        .filter(|(distance, _)| *distance <= allowed)
        .min_by_key(|(distance, _)| *distance)
        // A word that is known, but not here, is no slip.
        .filter(|(distance, _)| *distance > 0)
        .map(|(_, known)| known)
}

/// A word for one or several dancers of a role that this card does not use.
/// (Common practice: pairs of words in use.)
pub(in crate::dance) fn strange_role(word: &str, roles: &Roles) -> bool {
    const PAIRS: [&str; 12] = [
        "gent", "gents", "lady", "ladies", "man", "men", "woman", "women", "lark", "larks",
        "robin", "robins",
    ];
    PAIRS.contains(&word) && roles.named(word).is_none()
}
