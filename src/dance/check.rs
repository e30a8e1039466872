//! What a caller should know of a card before the evening: calls that have no
//! room, figures nobody knows, too little swinging or too much, dizzy heads,
//! tired shoulders, newcomers out of their depth, and couples who do not
//! progress.

mod calls;
mod strain;

#[cfg(test)]
mod tests;

pub use calls::{CallAt, NEAR_BEATS};

use super::card::{Card, FigureAt};
use super::figures::{self, Figures, Movement, Reading, Who};
use super::positions::{self, Followed, Outcome};
use super::roles::{Role, Roles};
use super::source::Trouble;
use super::words::{Difficulty, Formation, Progression};

/// Tempo taken where a card names none, in steps per minute (common practice).
pub const USUAL_STEPS: f64 = 116.0;

/// Share of a contra that is spent swinging: a quarter to a half is common
/// practice.
const SWINGING: std::ops::RangeInclusive<f64> = 0.25..=0.5;

/// Couples in the line whose middle tells whether a dance progresses.
const LINE: usize = 10;
/// Couples in a short line, danced until all are home, to see what happens at
/// the ends.
const SHORT_LINE: usize = 6;

/// What a finding is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A figure lies oddly across phrases.
    Phrase,
    /// A figure's name is not known.
    UnknownFigure,
    /// A figure is much shorter or longer than it usually is.
    Length,
    /// A call does not fit before its figure.
    LongCall,
    /// A role's word that the card does not use.
    RoleWord,
    /// One role dances more than the other.
    RolesUnbalanced,
    /// Too little swinging, or too much.
    Swinging,
    /// Dizzy figures in a row.
    Dizzy,
    /// Figures that load shoulders in a row.
    Shoulders,
    /// Too hard for those the card is for.
    TooHard,
    /// Couples do not progress as the card says.
    Progression,
}

/// Something to think about, and where in the card.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// What it is about.
    pub kind: Kind,
    /// Where, and what is to be said.
    pub trouble: Trouble,
}

/// All that was found in a card.
#[derive(Debug, Clone)]
pub struct Report {
    /// What to think about, in the order of the card.
    pub findings: Vec<Finding>,
    /// Beats of one time through spent swinging.
    pub swinging: u32,
    /// Beats in which each role dances, first role first.
    pub active: [u32; 2],
    /// Who can dance it, by its figures.
    pub fit_for: Difficulty,
    /// The calls with their lengths and room.
    pub calls: Vec<CallAt>,
    /// Where the dancers go; nothing for formations that are not followed.
    pub followed: Option<Followed>,
}

/// A figure of the card and what its words mean.
struct Known<'a> {
    at: &'a FigureAt,
    reading: Option<Reading<'a>>,
}

impl Known<'_> {
    fn is(&self, mark: impl Fn(&figures::Figure) -> bool) -> bool {
        self.reading.as_ref().is_some_and(|r| mark(r.figure))
    }

    /// Beats less those of a balance before it.
    fn moving_beats(&self) -> u32 {
        let still = self.reading.as_ref().map_or(0, |r| r.figure.still);
        self.at.beats.saturating_sub(still)
    }
}

/// Checks `card`. `seconds` says how long the voice takes for words; where it
/// does not know, syllables are counted.
pub fn check(card: &Card, figures: &Figures, seconds: &dyn Fn(&str) -> Option<f64>) -> Report {
    let known: Vec<Known> = card
        .figures()
        .iter()
        .map(|at| Known {
            at,
            reading: figures.read(&at.name, card.roles()),
        })
        .collect();
    let mut report = Report {
        findings: card
            .warnings()
            .iter()
            .map(|trouble| Finding {
                kind: Kind::Phrase,
                trouble: trouble.clone(),
            })
            .collect(),
        swinging: 0,
        active: [0; 2],
        fit_for: strain::fit_for(&known),
        calls: calls::of(card, seconds),
        followed: positions::follow(card, figures, LINE),
    };
    let mut findings = Vec::new();
    for figure in &known {
        name(card, figures, figure, &mut findings);
        strain::too_hard(card, figure, &mut findings);
    }
    once(card, figures, &mut findings);
    calls::too_long(card, &report.calls, &mut findings);
    calls::once_too_long(card, seconds, &mut findings);
    swinging(card, &known, &mut report.swinging, &mut findings);
    roles(card, &known, &mut report.active, &mut findings);
    strain::in_a_row(card, &known, &mut findings);
    strain::too_many(card, &known, &mut findings);
    progression(card, figures, report.followed.as_ref(), &mut findings);
    report.findings.append(&mut findings);
    report
        .findings
        .sort_by_key(|f| (f.trouble.line, f.trouble.column));
    report
}

/// Something about a figure's name.
fn about_name(card: &Card, figure: &FigureAt, kind: Kind, message: String) -> Finding {
    let trouble = card.trouble(figure.spans[0].clone(), message);
    Finding { kind, trouble }
}

/// Words of the list of figures in the card's words for the roles.
fn own_words(card: &Card, text: &str) -> String {
    Roles::default().translate(text, card.roles())
}

/// Something about the card as a whole.
fn about_card(card: &Card, kind: Kind, message: String) -> Finding {
    let trouble = card.trouble(card.title_span.clone(), message);
    Finding { kind, trouble }
}

/// Unknown names, odd lengths, and role words of another pair.
fn name(card: &Card, figures: &Figures, figure: &Known, findings: &mut Vec<Finding>) {
    let at = figure.at;
    let words = [Some(&at.name), Some(&at.call), at.short.as_ref()];
    let strange = words.into_iter().flatten().find_map(|text| {
        let words = text.split(|c: char| !c.is_alphabetic());
        let mut small = words.map(str::to_lowercase);
        small.find(|word| figures::strange_role(word, card.roles()))
    });
    if let Some(word) = strange {
        let message = format!(
            "\"{word}\" is no role of this card, whose roles are {}; write roles = [\"…\", \"…\"] at its top, or use its words",
            card.roles()
        );
        findings.push(about_name(card, at, Kind::RoleWord, message));
        return;
    }
    let Some(reading) = &figure.reading else {
        let message = unknown(card, figures, &at.name);
        findings.push(about_name(card, at, Kind::UnknownFigure, message));
        return;
    };
    let slip = reading
        .rest
        .iter()
        .find_map(|word| Some((word, figures::like_word(word)?)));
    if let Some((word, like)) = slip {
        let message = format!("\"{word}\" is not understood; did you mean \"{like}\"?");
        findings.push(about_name(card, at, Kind::UnknownFigure, message));
    }
    let usual = &reading.figure.beats;
    let (Some(least), Some(most)) = (usual.iter().min(), usual.iter().max()) else {
        return;
    };
    if !(*least..=*most).contains(&at.beats) && reading.quarters.is_none() {
        let list: Vec<String> = usual.iter().map(u32::to_string).collect();
        let message = format!(
            "\"{}\" usually takes {} beats, here {}",
            own_words(card, &reading.figure.name),
            list.join(" or "),
            at.beats
        );
        findings.push(about_name(card, at, Kind::Length, message));
    }
}

/// Unknown names of figures that are danced once.
fn once(card: &Card, figures: &Figures, findings: &mut Vec<Finding>) {
    let both = [card.intro(), card.ending()];
    for figure in both.into_iter().filter_map(|once| once.figure.as_ref()) {
        if figures.read(&figure.name, card.roles()).is_none() {
            let message = unknown(card, figures, &figure.name);
            findings.push(Finding {
                kind: Kind::UnknownFigure,
                trouble: card.trouble(figure.spans[0].clone(), message),
            });
        }
    }
}

fn unknown(card: &Card, figures: &Figures, name: &str) -> String {
    let hint = figures
        .like(name, card.roles())
        .map_or_else(String::new, |like| {
            format!("; did you mean \"{}\"?", own_words(card, like))
        });
    format!("\"{name}\" is no figure that is known here{hint}")
}

/// The share of time spent swinging. It is judged in contras only; squares and
/// mixers go by other measures.
fn swinging(card: &Card, known: &[Known], beats: &mut u32, findings: &mut Vec<Finding>) {
    *beats = known
        .iter()
        .filter(|f| f.is(|figure| figure.swinging))
        .map(Known::moving_beats)
        .sum();
    let contra = card.formation().is_longways() || card.formation() == Formation::FourFacingFour;
    let share = f64::from(*beats) / f64::from(card.form().beats());
    if contra && !SWINGING.contains(&share) {
        let little = share < *SWINGING.start();
        let message = format!(
            "{beats} of {} beats are spent swinging, {:.0} %: {} than the quarter to half that contras usually have",
            card.form().beats(),
            share * 100.0,
            if little { "less" } else { "more" }
        );
        findings.push(about_card(card, Kind::Swinging, message));
    }
}

/// Beats in which each role dances, and whether one waits much more.
fn roles(card: &Card, known: &[Known], active: &mut [u32; 2], findings: &mut Vec<Finding>) {
    let all = [Role::First, Role::Second];
    *active = all.map(|role| {
        let dances = |f: &&Known| match &f.reading {
            Some(r) => {
                let only_named = matches!(
                    r.figure.moves,
                    Some(Movement::TurnPair | Movement::SwapPair)
                );
                !only_named || !matches!(r.who, Some(Who::Role(named)) if named != role)
            }
            None => true,
        };
        known.iter().filter(dances).map(|f| f.at.beats).sum()
    });
    let allowed = card.form().beats() / 8;
    if active[0].abs_diff(active[1]) > allowed {
        let (more, less) = if active[0] > active[1] {
            (0, 1)
        } else {
            (1, 0)
        };
        let message = format!(
            "{} dance {} beats and {} only {}: let the others do one of the figures in which they wait",
            card.roles().many(all[more]),
            active[more],
            card.roles().many(all[less]),
            active[less]
        );
        findings.push(about_card(card, Kind::RolesUnbalanced, message));
    }
}

/// Whether couples move on as the formation says.
fn progression(
    card: &Card,
    figures: &Figures,
    followed: Option<&Followed>,
    findings: &mut Vec<Finding>,
) {
    let Some(outcome) = followed.and_then(|f| f.outcome.as_ref()) else {
        return;
    };
    let wanted = match card.progression() {
        Progression::None => 0,
        Progression::Single => 1,
        Progression::Double => 2,
    };
    let how_far = |couples: u32| match couples {
        0 => "nobody has moved on".to_owned(),
        1 => "everybody has moved on by one couple".to_owned(),
        n => format!("everybody has moved on by {n} couples"),
    };
    let message = match outcome {
        Outcome::Astray(why) => Some(format!("after one time through {why}")),
        Outcome::MovedOn(couples) if *couples != wanted => Some(format!(
            "after one time through {}, but the card's progression is \"{}\"",
            how_far(*couples),
            card.progression()
        )),
        Outcome::MovedOn(_) => {
            let short = positions::times(card, figures, SHORT_LINE, 2 * SHORT_LINE);
            // What those at the ends do may be unknown; that is no fault.
            short.err().filter(|f| f.astray).map(|failure| {
                format!("in a line of {SHORT_LINE} couples it goes astray at the ends: {failure}")
            })
        }
    };
    if let (Some(message), Some(last)) = (message, card.figures().last()) {
        findings.push(about_name(card, last, Kind::Progression, message));
    }
}
