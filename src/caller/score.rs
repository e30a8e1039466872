//! How good the timing of prompts was, figure by figure.
//!
//! A prompt is judged by its *lead*: the beats from its end to the figure's first beat.
//! A caller's prompt has to be over when the figure begins, and not so early that it is
//! forgotten (common practice). The borders are [`Limits`].

use serde::{Deserialize, Serialize};

use super::grid::Grid;
use super::prompt::Prompt;
use crate::cue::Fading;
use crate::dance::Card;

/// Where the verdicts change. All of them are a matter of taste and may be moved.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// Beats after the figure's first beat from which a prompt is late.
    pub late: f64,
    /// Most beats ahead that are good.
    pub good: f64,
    /// Beats ahead beyond which a prompt is early.
    pub early: f64,
    /// Beats that the figure before needs to get going: a prompt that starts sooner
    /// speaks over it.
    pub over: f64,
    /// Syllables a second beyond which a prompt is hasty. Talk among friends has 4 to 6
    /// (from memory); above 7 a hall with echo makes soup of it (common practice).
    pub hasty: f64,
    /// Times through in which every figure is to be prompted; silence after them is
    /// fading, and wanted.
    pub full: u32,
    /// Times through after them that are planned with short prompts; then silence.
    #[serde(default = "short")]
    pub short: u32,
}

/// As in sessions that were kept before there was a choice.
fn short() -> u32 {
    Limits::default().short
}

impl Limits {
    /// What is planned to be said at which time through.
    pub fn plan(&self) -> Fading {
        Fading {
            full: self.full,
            short: self.short,
            times: None,
        }
    }
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            late: 0.0,
            good: 1.0,
            early: 2.0,
            over: 1.0,
            hasty: 7.0,
            full: 2,
            short: 2,
        }
    }
}

/// What is to be said of a figure's prompt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Over in the beat before the figure.
    Good,
    /// Over a little sooner: no harm done.
    Ahead,
    /// Over so soon that it is forgotten.
    Early,
    /// Still going on, or not yet begun, when the figure began.
    Late,
    /// There was none.
    Missed,
    /// There was none, and none was needed any more.
    Faded,
}

impl Verdict {
    /// The word for it.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Good => "good",
            Verdict::Ahead => "a little ahead",
            Verdict::Early => "early",
            Verdict::Late => "late",
            Verdict::Missed => "missed",
            Verdict::Faded => "faded",
        }
    }
}

/// A prompt at its place in the dance. Beats are counted from the tune's first.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Spoken {
    /// When it began, seconds and beats.
    pub start: f64,
    /// See [`start`](Self::start).
    pub start_beat: f64,
    /// When it ended, seconds and beats.
    pub end: f64,
    /// See [`end`](Self::end).
    pub end_beat: f64,
    /// The beat of its last syllable that carries weight.
    pub stress_beat: f64,
    /// Syllables heard; 0 if it was tapped.
    pub syllables: u32,
    /// Syllables a second; `None` if it was tapped.
    pub pace: Option<f64>,
    /// Beats from its end to the figure's first beat; negative if that had passed.
    pub lead: f64,
    /// The same in milliseconds.
    pub lead_ms: f64,
    /// How sure it is that it was heard right, 0 to 1.
    pub sure: f32,
}

/// A figure in one time through, and its prompt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scored {
    /// Which figure of the card, from 0.
    pub figure: usize,
    /// Its name.
    pub name: String,
    /// Which time through, from 1.
    pub time_through: u32,
    /// Its first beat, from the tune's first.
    pub beat: i64,
    /// The verdict.
    pub verdict: Verdict,
    /// Its prompt.
    pub spoken: Option<Spoken>,
    /// How often it was prompted once more.
    pub again: u32,
    /// The prompt began while the figure before was getting going.
    pub spoke_over: bool,
    /// It was spoken too fast.
    pub hasty: bool,
}

/// All figures that were danced, in order, and what was said beside them.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Score {
    /// The figures.
    pub figures: Vec<Scored>,
    /// Prompts that belong to no figure: start and end, seconds.
    pub strays: Vec<(f64, f64)>,
    /// Beats in a time through.
    pub form: u32,
}

/// The lead that a prompt is taken to aim at, beats, when it is matched to a figure.
const AIM: f64 = 0.5;
/// The widest leads at which a prompt may still belong to a figure.
const EARLIEST: f64 = 7.0;
const LATEST: f64 = -4.0;
/// What a figure without a prompt costs in matching, and a prompt without a figure, in
/// beats of a wrong lead.
const NO_PROMPT: f64 = 2.5;
const NO_FIGURE: f64 = 3.0;
/// Two pieces of one prompt lie no further apart than this, seconds.
const PAUSE: f64 = 0.8;

/// Beats after a figure's first that make it one that is danced, and after a later time
/// through's first that make it one: a band that has stopped is counted on for a while.
const BEGUN: i64 = 3;
const GONE_ON: i64 = 7;

/// A figure that is danced, and its first beat.
struct Target {
    figure: usize,
    time_through: u32,
    beat: i64,
}

/// Scores `prompts` (in order) against the figures of `card` that begin while `grid`
/// has beats, and no later than `until` seconds.
pub fn score(card: &Card, grid: &Grid, prompts: &[Prompt], until: f64, limits: &Limits) -> Score {
    let form = card.form().beats();
    let last = grid.last().min(grid.beat_at(until).floor() as i64);
    let targets: Vec<Target> = (1..)
        .map(|time| (time, i64::from(time - 1) * i64::from(form)))
        .take_while(|(time, begin)| begin + if *time > 1 { GONE_ON } else { 0 } <= last)
        .flat_map(|(time_through, begin)| {
            let figures = card.figures().iter().enumerate();
            figures.map(move |(figure, at)| Target {
                figure,
                time_through,
                beat: begin + i64::from(at.start_beat),
            })
        })
        .filter(|target| target.beat + BEGUN <= last)
        .collect();
    let ends: Vec<f64> = prompts.iter().map(|p| grid.beat_at(p.end)).collect();
    let own = pair(&targets, &ends);

    // What is left is a piece of a prompt, said again, or about something else.
    let mut pieces: Vec<Vec<usize>> = own.iter().map(|p| p.iter().copied().collect()).collect();
    let mut again = vec![0; targets.len()];
    let mut strays = Vec::new();
    let mut taken = vec![false; prompts.len()];
    own.iter().flatten().for_each(|p| taken[*p] = true);
    for n in (0..prompts.len())
        .rev()
        .filter(|n| !taken[*n])
        .collect::<Vec<_>>()
    {
        let next = pieces.iter().position(|of| of.first() == Some(&(n + 1)));
        if let Some(next) = next.filter(|_| prompts[n + 1].start - prompts[n].end < PAUSE) {
            pieces[next].insert(0, n);
            continue;
        }
        let near = targets.iter().position(|t| {
            let lead = t.beat as f64 - ends[n];
            (LATEST / 2.0..=EARLIEST).contains(&lead)
        });
        match near.filter(|near| own[*near].is_some()) {
            Some(near) => again[near] += 1,
            None => strays.insert(0, (prompts[n].start, prompts[n].end)),
        }
    }
    let mut figures: Vec<Scored> = Vec::new();
    for (n, target) in targets.iter().enumerate() {
        let (first, last) = (pieces[n].first(), pieces[n].last());
        let spoken = first.zip(last).map(|(first, last)| {
            let syllables = pieces[n].iter().map(|p| prompts[*p].syllables).sum();
            let whole = Prompt {
                start: prompts[*first].start,
                syllables,
                ..prompts[*last]
            };
            spoken(&whole, target.beat, grid)
        });
        let before = n
            .checked_sub(1)
            .map(|n| targets[n].beat as f64 + limits.over);
        figures.push(Scored {
            figure: target.figure,
            name: card.figures()[target.figure].name.clone(),
            time_through: target.time_through,
            beat: target.beat,
            verdict: verdict(spoken.as_ref(), limits),
            again: again[n],
            spoke_over: spoken
                .zip(before)
                .is_some_and(|(s, b)| s.start_beat < b && s.syllables > 0),
            hasty: spoken.is_some_and(|s| s.pace.is_some_and(|p| p > limits.hasty)),
            spoken,
        });
    }
    fade(&mut figures, limits);
    Score {
        figures,
        strays,
        form,
    }
}

fn spoken(prompt: &Prompt, beat: i64, grid: &Grid) -> Spoken {
    let end_beat = grid.beat_at(prompt.end);
    let length = prompt.end - prompt.start;
    Spoken {
        start: prompt.start,
        start_beat: grid.beat_at(prompt.start),
        end: prompt.end,
        end_beat,
        stress_beat: grid.beat_at(prompt.stress),
        syllables: prompt.syllables,
        pace: (prompt.syllables > 0 && length > 0.0).then(|| f64::from(prompt.syllables) / length),
        lead: beat as f64 - end_beat,
        lead_ms: 1e3 * (grid.time_of(beat as f64) - prompt.end),
        sure: prompt.sure,
    }
}

fn verdict(spoken: Option<&Spoken>, limits: &Limits) -> Verdict {
    match spoken.map(|s| s.lead) {
        None => Verdict::Missed,
        Some(lead) if lead < -limits.late => Verdict::Late,
        Some(lead) if lead <= limits.good => Verdict::Good,
        Some(lead) if lead <= limits.early => Verdict::Ahead,
        Some(_) => Verdict::Early,
    }
}

/// A figure that is not prompted any more, from some time through after the full ones
/// to the end, is no figure that was missed.
fn fade(figures: &mut [Scored], limits: &Limits) {
    for n in 0..figures.len() {
        let (this, later) = figures[n..]
            .split_first_mut()
            .unwrap_or_else(|| unreachable!());
        let silent = later
            .iter()
            .all(|f| f.figure != this.figure || f.spoken.is_none());
        if this.verdict == Verdict::Missed && this.time_through > limits.full && silent {
            this.verdict = Verdict::Faded;
        }
    }
}

/// Which prompt belongs to which figure: in order, with the smallest sum of wrong leads,
/// of figures without prompts and of prompts without figures.
fn pair(targets: &[Target], ends: &[f64]) -> Vec<Option<usize>> {
    let cost = |t: usize, p: usize| {
        let lead = targets[t].beat as f64 - ends[p];
        let near = (LATEST..=EARLIEST).contains(&lead);
        // A late prompt is likelier than one that is early by as much.
        near.then(|| (lead - AIM).abs() * if lead < AIM { 0.8 } else { 1.0 })
    };
    let (rows, columns) = (targets.len() + 1, ends.len() + 1);
    let mut best = vec![f64::INFINITY; rows * columns];
    best[0] = 0.0;
    for t in 0..rows {
        for p in 0..columns {
            let mut least = best[t * columns + p];
            if t > 0 {
                least = least.min(best[(t - 1) * columns + p] + NO_PROMPT);
            }
            if p > 0 {
                least = least.min(best[t * columns + p - 1] + NO_FIGURE);
            }
            if t > 0
                && p > 0
                && let Some(cost) = cost(t - 1, p - 1)
            {
                least = least.min(best[(t - 1) * columns + p - 1] + cost);
            }
            best[t * columns + p] = least;
        }
    }
    let mut own = vec![None; targets.len()];
    let (mut t, mut p) = (targets.len(), ends.len());
    while t > 0 && p > 0 {
        let here = best[t * columns + p];
        let matched = cost(t - 1, p - 1).map(|c| best[(t - 1) * columns + p - 1] + c);
        if matched == Some(here) {
            (t, p) = (t - 1, p - 1);
            own[t] = Some(p);
        } else if best[(t - 1) * columns + p] + NO_PROMPT == here {
            t -= 1;
        } else {
            p -= 1;
        }
    }
    own
}
