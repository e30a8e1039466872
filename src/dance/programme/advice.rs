//! What looks unwise in an evening, with reasons.
//!
//! Nothing here is a law: the bounds are common practice among callers where
//! that is said, and our own choice elsewhere. Each piece of advice points at the
//! item that it is about.

use std::collections::{BTreeMap, BTreeSet};

use super::{Dance, Floor, Item, Programme, What};
use crate::dance::source::Trouble;
use crate::dance::{Card, Difficulty, Figures, Formation};

/// Minutes of dancing after which everybody wants a break. (Our own choice;
/// evenings of three hours commonly have one in the middle.)
const WITHOUT_BREAK: f64 = 90.0;
/// Minutes of music after which one dance is long: for the band's hands too.
const LONG: f64 = 14.0;
/// Minutes left before closing that could hold another dance.
const IDLE: f64 = 15.0;
/// Dances in a row of one formation, and of one kind of tune, that are noticed.
const FORMATIONS: usize = 5;
const TUNES: usize = 3;
/// Figures besides the commonest that neighbouring dances may share.
const SHARED: usize = 2;
/// Most of a dance, and of an evening, that is spent swinging. (Common practice:
/// a quarter to a half of a dance.)
const SWINGING: f64 = 0.5;
/// Least of an evening where people swing at all.
const STILL: f64 = 0.1;

/// What an evening is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Variety {
    /// For each dance in order, the share of its beats spent swinging, 0 to 1.
    pub swinging: Vec<f64>,
    /// The same for all beats danced.
    pub swinging_in_all: f64,
    /// Dances by formation, in the order in which those first come.
    pub formations: Vec<(Formation, usize)>,
    /// Items by the first kind of tune wanted.
    pub tunes: BTreeMap<String, usize>,
    /// Different known figures.
    pub figures: usize,
}

/// The share of a dance's beats spent swinging, 0 to 1.
fn swinging(card: &Card) -> f64 {
    let beats: u32 = card
        .figures()
        .iter()
        .filter(|figure| {
            let known = Figures::builtin().read(&figure.name, card.roles());
            known.is_some_and(|known| known.figure.swinging)
        })
        .map(|figure| figure.beats)
        .sum();
    f64::from(beats) / f64::from(card.form().beats())
}

/// The known figures of a dance, in order.
fn figures(card: &Card) -> Vec<&'static str> {
    let known = card.figures().iter().filter_map(|figure| {
        let known = Figures::builtin().read(&figure.name, card.roles())?;
        Some(known.figure.name.as_str())
    });
    known.collect()
}

/// Figures that are in most dances and tire nobody: a swing, and what everybody
/// can do at once.
fn is_staple(name: &str) -> bool {
    let figure = Figures::builtin().named(name);
    figure.is_some_and(|figure| figure.swinging || figure.hard == 0)
}

impl Programme {
    /// The dances with their items, in order.
    fn dances(&self) -> impl Iterator<Item = (usize, &Item, &Dance)> {
        let items = self.items.iter().enumerate();
        items.filter_map(|(at, item)| Some((at, item, item.dance()?)))
    }

    /// Runs of dances with nothing but each other for neighbours.
    fn runs(&self) -> Vec<Vec<(&Item, &Dance)>> {
        let mut runs = vec![Vec::new()];
        for item in &self.items {
            match &item.what {
                What::Dance(dance) => {
                    if let Some(run) = runs.last_mut() {
                        run.push((item, dance));
                    }
                }
                _ => runs.push(Vec::new()),
            }
        }
        runs
    }

    /// What the evening is made of.
    pub fn variety(&self) -> Variety {
        let mut formations: Vec<(Formation, usize)> = Vec::new();
        let mut names = BTreeSet::new();
        let (mut beats, mut swung) = (0.0, 0.0);
        let mut shares = Vec::new();
        for (_, _, dance) in self.dances() {
            let formation = dance.card.formation();
            match formations.iter_mut().find(|(known, _)| *known == formation) {
                Some((_, count)) => *count += 1,
                None => formations.push((formation, 1)),
            }
            names.extend(figures(&dance.card));
            let share = swinging(&dance.card);
            let danced = f64::from(dance.times * dance.card.form().beats());
            beats += danced;
            swung += share * danced;
            shares.push(share);
        }
        let mut tunes = BTreeMap::new();
        for item in &self.items {
            if let Some(tune) = item.tunes.first() {
                *tunes.entry(tune.clone()).or_insert(0) += 1;
            }
        }
        Variety {
            swinging: shares,
            swinging_in_all: if beats > 0.0 { swung / beats } else { 0.0 },
            formations,
            tunes,
            figures: names.len(),
        }
    }

    /// What looks unwise, in the order of the items.
    pub fn advice(&self) -> Vec<Trouble> {
        let mut advice = Vec::new();
        self.advise_on_time(&mut advice);
        self.advise_on_difficulty(&mut advice);
        self.advise_on_repeats(&mut advice);
        self.advise_on_monotony(&mut advice);
        self.advise_on_swinging(&mut advice);
        advice.sort_by_key(|trouble| (trouble.line, trouble.column));
        advice
    }

    fn about(&self, item: &Item, message: String) -> Trouble {
        self.trouble(item.span.clone(), message)
    }

    fn advise_on_time(&self, advice: &mut Vec<Trouble>) {
        if let (Some(spare), Some(end), Some(over)) =
            (self.spare(), self.end, self.clock(self.minutes()))
        {
            let message = match spare {
                s if s < -0.5 => Some(format!(
                    "the evening lasts until {over}, {:.0} minutes past {end}: leave a dance out, or dance some fewer times through",
                    -s
                )),
                s if s > IDLE => Some(format!(
                    "the last item ends at {over}, {s:.0} minutes before {end}: there is room for another"
                )),
                _ => None,
            };
            advice.extend(message.map(|m| self.trouble(self.end_span.clone(), m)));
        }
        let mut since_break = 0.0;
        let mut told = false;
        for (item, slot) in self.items.iter().zip(self.slots()) {
            if let What::Break(..) = item.what {
                (since_break, told) = (0.0, false);
                continue;
            }
            since_break += slot.minutes();
            if since_break > WITHOUT_BREAK && !told {
                told = true;
                advice.push(self.about(item, format!(
                    "{since_break:.0} minutes without a break by the end of this: put a break before it, for the band and the water jug"
                )));
            }
            if let What::Dance(dance) = &item.what
                && slot.music > LONG
            {
                advice.push(self.about(item, format!(
                    "{:.0} minutes of music ({} times through) are long for one dance: longer than {LONG:.0} tires band and hall",
                    slot.music, dance.times
                )));
            }
        }
    }

    fn advise_on_difficulty(&self, advice: &mut Vec<Trouble>) {
        if self.floor == Floor::Experienced {
            return;
        }
        let dances: Vec<_> = self.dances().collect();
        let all = dances.len();
        let mut reached = Difficulty::Newcomers;
        let mut after_break = false;
        let mut before: Option<usize> = None;
        for (place, (at, item, dance)) in dances.iter().enumerate() {
            after_break |= before.is_some_and(|before| {
                let between = &self.items[before + 1..*at];
                between.iter().any(|i| matches!(i.what, What::Break(..)))
            });
            before = Some(*at);
            let Some(difficulty) = dance.card.difficulty() else {
                advice.push(self.about(item, format!(
                    "the card of \"{}\" does not say how hard it is: add a line such as difficulty = \"newcomers\"",
                    dance.card.title()
                )));
                continue;
            };
            let (level, steepest) = (rank(difficulty), rank(reached));
            let early = place * 3 < all;
            let message = if place == 0 && level > 0 {
                Some(format!(
                    "the evening opens with a dance for \"{difficulty}\": begin with one that newcomers can do at once"
                ))
            } else if self.floor == Floor::Newcomers && level == 2 {
                Some("a dance for \"experienced\" on a floor of newcomers: keep it for another evening".to_owned())
            } else if self.floor == Floor::Newcomers && early && level > 0 {
                Some(format!(
                    "a dance for \"{difficulty}\" in the first third of a newcomers' evening: let them find their feet first"
                ))
            } else if early && level == 2 {
                Some("a dance for \"experienced\" in the first third, while newcomers are still arriving: put it later".to_owned())
            } else if level > steepest + 1 {
                Some(format!(
                    "from \"{reached}\" straight to \"{difficulty}\": put one for \"some experience\" between"
                ))
            } else if after_break && level == 2 {
                Some("right after the break people have cooled down: ease them in with a simpler dance".to_owned())
            } else if place + 1 == all && all > 3 && level == 2 {
                Some("the hardest kind comes last, when everybody is tired: end with one that lets all go home happy".to_owned())
            } else {
                None
            };
            advice.extend(message.map(|m| self.about(item, m)));
            after_break = false;
            if level > steepest {
                reached = difficulty;
            }
            let needs = self.floor == Floor::Newcomers || level > 0;
            if dance.walk == 0.0 && needs {
                advice.push(self.about(item, "no minutes for walking it through: newcomers need to have done it once before the music; add walk = 4".to_owned()));
            }
        }
    }

    fn advise_on_repeats(&self, advice: &mut Vec<Trouble>) {
        let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
        for (at, item, dance) in self.dances() {
            let title = dance.card.title();
            if let Some(first) = seen.insert(title, at) {
                advice.push(self.about(
                    item,
                    format!(
                        "\"{title}\" is danced twice: it was item {} already",
                        first + 1
                    ),
                ));
            }
        }
        for run in self.runs() {
            for pair in run.windows(2) {
                let [(_, one), (item, two)] = pair else {
                    continue;
                };
                if one.card.title() == two.card.title() {
                    continue;
                }
                let (before, here) = (figures(&one.card), figures(&two.card));
                let known: BTreeSet<_> = before.iter().filter(|name| !is_staple(name)).collect();
                let shared: BTreeSet<_> = here.iter().filter(|name| known.contains(name)).collect();
                if shared.len() > SHARED {
                    let list: Vec<&str> = shared.into_iter().copied().collect();
                    advice.push(self.about(item, format!(
                        "much of \"{}\" was just danced in \"{}\" ({}): put something else between",
                        two.card.title(),
                        one.card.title(),
                        list.join(", ")
                    )));
                }
                if let (Some(first), Some(again)) = (before.first(), here.first())
                    && first == again
                    && !is_staple(first)
                {
                    advice.push(self.about(item, format!(
                        "begins with \"{first}\", as the dance before did: people will mix them up"
                    )));
                }
            }
        }
    }

    fn advise_on_monotony(&self, advice: &mut Vec<Trouble>) {
        for run in self.runs() {
            let (mut same, mut alike) = (1, 1);
            for pair in run.windows(2) {
                let [(before, one), (item, two)] = pair else {
                    continue;
                };
                let formation = two.card.formation();
                same = if one.card.formation() == formation {
                    same + 1
                } else {
                    1
                };
                if same == FORMATIONS {
                    advice.push(self.about(item, format!(
                        "the {same}th dance in a row in the formation \"{formation}\": a circle or a square would mix the hall"
                    )));
                }
                let tune = item.tunes.first().filter(|tune| tune.as_str() != "any");
                alike = match (before.tunes.first(), tune) {
                    (Some(before), Some(tune)) if before == tune => alike + 1,
                    _ => 1,
                };
                if let (TUNES, Some(tune)) = (alike, tune) {
                    advice.push(self.about(
                        item,
                        format!(
                            "the {TUNES}rd {tune} in a row: ask the band for another kind of tune"
                        ),
                    ));
                }
            }
        }
    }

    fn advise_on_swinging(&self, advice: &mut Vec<Trouble>) {
        for run in self.runs() {
            for pair in run.windows(2) {
                let [(_, one), (item, two)] = pair else {
                    continue;
                };
                let (a, b) = (swinging(&one.card), swinging(&two.card));
                if a >= SWINGING && b >= SWINGING {
                    advice.push(self.about(item, format!(
                        "{:.0} % of this dance is swinging, and {:.0} % of the one before was: dizzy heads need a rest between",
                        100.0 * b,
                        100.0 * a
                    )));
                }
            }
        }
        let variety = self.variety();
        let share = variety.swinging_in_all;
        let percent = 100.0 * share;
        if variety.swinging.len() < 3 {
            return;
        }
        if share > SWINGING {
            advice.push(self.trouble(0..0, format!("{percent:.0} % of all the dancing is swinging: more than half is hard on heads and shoulders")));
        } else if share < STILL && self.floor != Floor::Newcomers {
            advice.push(self.trouble(0..0, format!("only {percent:.0} % of all the dancing is swinging: a quarter to a half of a dance is usual")));
        }
    }
}

/// How hard, 0 to 2.
fn rank(difficulty: Difficulty) -> u8 {
    match difficulty {
        Difficulty::Newcomers => 0,
        Difficulty::SomeExperience => 1,
        Difficulty::Experienced => 2,
    }
}
