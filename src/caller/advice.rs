//! What a score says in sum, and what to do about it, in plain words.

use serde::{Deserialize, Serialize};

use super::score::{Limits, Score, Scored, Spoken, Verdict};
use crate::cue::Wording;
use crate::dance::Card;
use crate::phrase::PHRASE_BEATS;

/// The lead that is advised, beats: over in the middle of the beat before.
const AIM: f64 = 0.5;
/// Beats ahead of a figure within which the end of a call may be that of its own.
const NEAR: f64 = 3.5;

/// A group of prompts in sum: those of a figure, a time through, or a session.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Sum {
    /// Figures that were to be prompted: all but those that had faded.
    pub wanted: u32,
    /// Prompts given.
    pub given: u32,
    /// Good ones, and those a little ahead.
    pub good: u32,
    /// Late ones.
    pub late: u32,
    /// Early ones.
    pub early: u32,
    /// Missed figures.
    pub missed: u32,
    /// Figures that were left out on purpose.
    pub faded: u32,
    /// Mean and standard deviation of the lead, beats.
    pub lead: f64,
    /// See [`lead`](Self::lead).
    pub spread: f64,
    /// Mean lead, milliseconds.
    pub lead_ms: f64,
    /// Mean length, beats and seconds, and syllables.
    pub beats: f64,
    /// See [`beats`](Self::beats).
    pub seconds: f64,
    /// See [`beats`](Self::beats).
    pub syllables: f64,
    /// Mean pace, syllables a second; 0 if none was heard.
    pub pace: f64,
}

impl Sum {
    /// The sum of some figures.
    pub fn of<'a>(figures: impl IntoIterator<Item = &'a Scored>) -> Self {
        let figures: Vec<&Scored> = figures.into_iter().collect();
        let count =
            |is: fn(Verdict) -> bool| figures.iter().filter(|f| is(f.verdict)).count() as u32;
        let spoken: Vec<&Spoken> = figures.iter().filter_map(|f| f.spoken.as_ref()).collect();
        let mean = |value: &dyn Fn(&Spoken) -> f64| {
            // (An empty sum is -0.)
            0.0 + spoken.iter().map(|s| value(s)).sum::<f64>() / spoken.len().max(1) as f64
        };
        let lead = mean(&|s| s.lead);
        let paces: Vec<f64> = spoken.iter().filter_map(|s| s.pace).collect();
        Sum {
            wanted: count(|v| v != Verdict::Faded),
            given: spoken.len() as u32,
            good: count(|v| matches!(v, Verdict::Good | Verdict::Ahead)),
            late: count(|v| v == Verdict::Late),
            early: count(|v| v == Verdict::Early),
            missed: count(|v| v == Verdict::Missed),
            faded: count(|v| v == Verdict::Faded),
            lead,
            spread: mean(&|s| (s.lead - lead).powi(2)).sqrt(),
            lead_ms: mean(&|s| s.lead_ms),
            beats: mean(&|s| s.end_beat - s.start_beat),
            seconds: mean(&|s| s.end - s.start),
            syllables: mean(&|s| f64::from(s.syllables)),
            pace: 0.0 + paces.iter().sum::<f64>() / paces.len().max(1) as f64,
        }
    }

    /// Share of the wanted prompts that were good, 0 to 1.
    pub fn share(&self) -> f64 {
        f64::from(self.good) / f64::from(self.wanted.max(1))
    }
}

impl Score {
    /// The whole in sum.
    pub fn whole(&self) -> Sum {
        Sum::of(&self.figures)
    }

    /// Each figure of the dance in sum, in order.
    pub fn by_figure(&self) -> Vec<(usize, Sum)> {
        let most = self.figures.iter().map(|f| f.figure + 1).max().unwrap_or(0);
        let of = |n| self.figures.iter().filter(move |f| f.figure == n);
        (0..most).map(|n| (n, Sum::of(of(n)))).collect()
    }

    /// Each time through in sum, in order, from 1.
    pub fn by_time(&self) -> Vec<(u32, Sum)> {
        let most = self
            .figures
            .iter()
            .map(|f| f.time_through)
            .max()
            .unwrap_or(0);
        let of = |n| self.figures.iter().filter(move |f| f.time_through == n);
        (1..=most).map(|n| (n, Sum::of(of(n)))).collect()
    }
}

/// How much was said in a time through beside the first, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Said {
    /// Nothing.
    Silent,
    /// Less than 0.4 of it.
    FewWords,
    /// Less than 0.8 of it.
    Shorter,
    /// As much.
    Full,
}

impl Said {
    /// The word for it.
    pub fn name(self) -> &'static str {
        match self {
            Said::Silent => "silent",
            Said::FewWords => "few words",
            Said::Shorter => "shorter",
            Said::Full => "full",
        }
    }

    /// Whether that is no more than was planned.
    pub fn within(self, planned: Wording) -> bool {
        self <= match planned {
            Wording::Full => Said::Full,
            Wording::Short => Said::Shorter,
            Wording::Silent => Said::Silent,
        }
    }
}

/// The word for what is planned.
pub fn planned(wording: Wording) -> &'static str {
    match wording {
        Wording::Full => "full",
        Wording::Short => "short",
        Wording::Silent => "silent",
    }
}

/// How much was said in a time through, beside the first.
pub fn fading(first: &Sum, this: &Sum) -> Said {
    // Taps have no length: then their number tells.
    let said = |sum: &Sum| f64::from(sum.given) * sum.seconds.max(1e-3);
    let share = match said(first) > 0.0 {
        true => said(this) / said(first),
        false => 0.0,
    };
    match share {
        s if s <= 0.0 => Said::Silent,
        s if s < 0.4 => Said::FewWords,
        s if s < 0.8 => Said::Shorter,
        _ => Said::Full,
    }
}

/// A beat's number as the dancers count it.
fn count(beat: f64) -> i64 {
    (beat.floor() as i64).rem_euclid(i64::from(PHRASE_BEATS)) + 1
}

/// What is advised: where it starts, or, if only its end was tapped, where it ends.
fn start_or_end(sum: &Sum) -> &'static str {
    match sum.seconds > 0.0 {
        true => "start it",
        false => "be done with it",
    }
}

fn beats(beats: f64) -> String {
    match (10.0 * beats).round() as i64 {
        10 => "1 beat".to_owned(),
        _ => format!("{beats:.1} beats"),
    }
}

fn times(n: u32) -> String {
    match n {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        n => format!("{n} times"),
    }
}

/// How often the prompt of figure `n` came late because it ran on into the next one's,
/// which then seems to be missing.
fn ran_on(figures: &[Scored], n: usize) -> u32 {
    let pairs = figures.windows(2).filter(|pair| {
        let late = pair[0].figure == n && pair[0].verdict == Verdict::Late;
        let both = pair[0].spoken.is_some_and(|s| {
            // It began in time for the one and ended in time for the other.
            let left = pair[1].beat as f64 - s.end_beat;
            s.start_beat < pair[0].beat as f64 - AIM && (0.0..NEAR).contains(&left)
        });
        late && both && pair[1].spoken.is_none()
    });
    pairs.count() as u32
}

/// What to do next time, the most needed first; praise if there is nothing.
pub fn advice(card: &Card, score: &Score, limits: &Limits) -> Vec<String> {
    let mut all: Vec<(f64, String)> = Vec::new();
    for (n, sum) in score.by_figure() {
        let Some(figure) = card.figures().get(n) else {
            continue;
        };
        let name = &figure.name;
        let of = || score.figures.iter().filter(|f| f.figure == n);
        // Where it should have started, on the mean, to be over in time.
        let start = f64::from(figure.start_beat) - AIM - sum.beats;
        let before = match n {
            0 => card.figures().last(),
            _ => card.figures().get(n - 1),
        };
        let room = before.map_or(8.0, |b| f64::from(b.beats)) - limits.over - AIM;
        let late = f64::from(sum.late) / f64::from(sum.given.max(1));
        let next = (n + 1) % card.figures().len().max(1);
        let ran_on = ran_on(&score.figures, n);
        if ran_on > 0 && 2 * ran_on >= sum.late {
            let next = card.figures().get(next).map_or("", |f| f.name.as_str());
            all.push((
                9.0,
                format!(
                    "\"{name}\" and \"{next}\" came in one breath {}: let a pause of half a second tell them apart",
                    times(ran_on)
                ),
            ));
        } else if sum.given > 0 && (sum.lead < -limits.late || late > 0.5) {
            let by = match sum.lead < 0.0 {
                true => format!("{} late on average", beats(-sum.lead)),
                false => format!("late {}", times(sum.late)),
            };
            let how = match sum.beats > room {
                true => format!(
                    "it takes {} and there is room for {}: use fewer words, and start it on {}",
                    beats(sum.beats),
                    beats(room),
                    count(start)
                ),
                false => format!("{} on {}", start_or_end(&sum), count(start)),
            };
            all.push((10.0 - sum.lead, format!("\"{name}\" came {by}: {how}")));
        } else if sum.late > 0 {
            all.push((4.0, format!("\"{name}\" was late {}", times(sum.late))));
        }
        if sum.given > 0 && sum.lead > limits.early {
            all.push((
                6.0 + sum.lead,
                format!(
                    "\"{name}\" was over {} ahead on average, soon enough to be forgotten: {} on {}",
                    beats(sum.lead),
                    start_or_end(&sum),
                    count(start)
                ),
            ));
        } else if sum.early > 0 {
            all.push((3.0, format!("\"{name}\" was early {}", times(sum.early))));
        }
        if sum.missed > 0 {
            let which: Vec<String> = of()
                .filter(|f| f.verdict == Verdict::Missed)
                .map(|f| f.time_through.to_string())
                .collect();
            let words = match which.len() {
                1 => "time",
                _ => "times",
            };
            all.push((
                8.0,
                format!(
                    "\"{name}\" was not prompted in {words} {}",
                    which.join(", ")
                ),
            ));
        }
        let again: u32 = of().map(|f| f.again).sum();
        if again > 0 {
            all.push((
                2.0,
                format!("\"{name}\" was said more than once: once is enough"),
            ));
        }
        let over = of().filter(|f| f.spoke_over).count() as u32;
        if over > 0 {
            let before = before.map_or("the figure before", |b| b.name.as_str());
            all.push((
                5.0,
                format!(
                    "\"{name}\" began {} while \"{before}\" was getting going: let it have {} first",
                    times(over),
                    beats(limits.over)
                ),
            ));
        }
        let hasty = of().filter(|f| f.hasty).count() as u32;
        if hasty > 0 {
            all.push((
                2.5,
                format!(
                    "\"{name}\" was spoken at {:.1} syllables a second: fewer words carry further",
                    sum.pace
                ),
            ));
        }
    }
    let times = score.by_time();
    let plan = limits.plan();
    let fuller = times.iter().find(|(time, sum)| {
        // Without a first time there is nothing to fade from.
        times[0].1.given > 0 && !fading(&times[0].1, sum).within(plan.wording(*time))
    });
    if let Some((time, sum)) = fuller {
        let (said, wanted) = (fading(&times[0].1, sum), plan.wording(*time));
        let why = match wanted {
            Wording::Silent => "the hall knows the dance by then: dare to be silent",
            _ => "fade to the words that cannot be spared",
        };
        all.push((
            1.0,
            format!(
                "time {time} was still {}, and {} was planned: {why}",
                said.name(),
                planned(wanted)
            ),
        ));
    }
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut told: Vec<String> = all.into_iter().map(|(_, text)| text).collect();
    let whole = score.whole();
    if whole.given == 0 {
        told =
            vec!["no prompt was heard: check the microphone, or tap the end of each call".into()];
    } else if told.is_empty() {
        told.push("every prompt was over in time and none too soon: well called".into());
    }
    told
}
