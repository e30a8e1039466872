//! How well what the engine said of a recording fits what was played, for one
//! recording and for many.
//!
//! Beat measures are defined in [`measures`](super::measures). A clap is *right*
//! when a phrase truly begins within [`HIT_WINDOW`] of it.

use super::measures::{
    Continuity, HIT_WINDOW, WrongLocks, continuity, f_measure, matches, quantile, wrong_locks,
};
use crate::event::{Event, NOTICE};
use crate::sound::band::Truth;

/// Figures of one recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// Beat F-measure, 0 to 1.
    pub f: f64,
    /// Continuity of the beats.
    pub continuity: Continuity,
    /// Shares of beats in typical wrong places.
    pub wrong: WrongLocks,
    /// Announced minus true time of each matched beat, seconds.
    pub errors: Vec<f64>,
    /// Windows of eight beats: with a tempo within 2 %, within 4 %, all.
    pub tempo: [usize; 3],
    /// Phrases played.
    pub phrases: usize,
    /// Phrases that had their clap.
    pub phrases_right: usize,
    /// Claps where no phrase began.
    pub false_claps: usize,
    /// Those of them before the band's last beat is over: the others come when
    /// the band has stopped without a word.
    pub false_while_playing: usize,
    /// Right claps that named another part than was played, while the form was not
    /// doubted.
    pub wrong_parts: usize,
    /// Right claps while the form was doubted, so that their part has no name.
    pub unnamed_parts: usize,
    /// Beats played before the form was first doubted.
    pub beats_to_doubt: Option<usize>,
    /// Whether the first clap of all was right.
    pub first_clap_right: bool,
    /// Seconds from the music's start to the first right clap.
    pub first_right: Option<f64>,
    /// Beats played before the first right clap.
    pub beats_to_phrase: Option<usize>,
    /// Beats played before the first right clap that named its part.
    pub beats_to_part: Option<usize>,
    /// Beats and phrases announced later than promised.
    pub late_notice: usize,
    /// Notice given by each lead-in whose "one" was the tune's first beat, seconds.
    pub led_in: Vec<f64>,
    /// Lead-ins where no tune began.
    pub false_lead_ins: usize,
    /// Length of the sound, seconds.
    pub seconds: f64,
}

impl Figures {
    /// The figures of `events`, said of `seconds` of sound in which `truth` was
    /// played.
    pub fn of(truth: &Truth, events: &[Event], seconds: f64) -> Self {
        let mut beats = Vec::new();
        let mut claps = Vec::new();
        let mut late_notice = 0;
        let (mut doubted, mut first_doubt) = (false, None);
        let (mut led_in, mut false_lead_ins) = (Vec::new(), 0);
        // A tune joined in its middle has no lead-in.
        let tune_begins = truth.beats.first().filter(|_| !truth.lead_in.is_empty());
        for event in events {
            match event {
                Event::Beat(b) => beats.push(b.time),
                Event::Phrase(p) => {
                    claps.push((p.time, (!doubted).then_some(p.part.name())));
                }
                Event::Form(form) => {
                    doubted = form.other.is_some();
                    first_doubt = first_doubt.or(doubted.then_some(form.time));
                }
                Event::LeadIn(l) => {
                    match tune_begins.is_some_and(|b| (b - l.one).abs() <= HIT_WINDOW) {
                        true => led_in.push(l.one - l.announced),
                        false => false_lead_ins += 1,
                    }
                    continue;
                }
            }
            if event.time() - event.announced() < NOTICE - 1e-9 {
                late_notice += 1;
            }
        }
        let clap_times: Vec<f64> = claps.iter().map(|c| c.0).collect();
        let is_right = |t: f64| truth.phrases.iter().any(|p| (p - t).abs() <= HIT_WINDOW);
        let part_at = |t: f64| {
            let near = truth.parts.iter().rev().find(|p| p.t <= t + HIT_WINDOW);
            near.map(|p| p.name.as_str())
        };
        let named = |t: f64, part: Option<&str>| part.is_some() && part_at(t) == part;
        let first_beat = truth.lead_in.first().or(truth.beats.first());
        let music_starts = first_beat.copied().unwrap_or(0.0);
        let beats_until = |t: f64| truth.beats.iter().filter(|&&b| b < t - HIT_WINDOW).count();
        let mut right = claps.iter().filter(|c| is_right(c.0));
        let first_right = right.clone().next().map(|c| c.0);
        let unnamed_parts = right.clone().filter(|c| c.1.is_none()).count();
        let not_so_named = right.clone().filter(|c| !named(c.0, c.1)).count();
        let first_part = right.find(|c| named(c.0, c.1)).map(|c| c.0);
        Figures {
            f: f_measure(&truth.beats, &beats, HIT_WINDOW),
            continuity: continuity(&truth.beats, &beats),
            wrong: wrong_locks(&truth.beats, &beats),
            errors: matches(&truth.beats, &beats, HIT_WINDOW)
                .iter()
                .map(|(t, a)| a - t)
                .collect(),
            tempo: tempo_windows(&truth.beats, &beats),
            phrases: truth.phrases.len(),
            phrases_right: matches(&truth.phrases, &clap_times, HIT_WINDOW).len(),
            false_claps: clap_times.iter().filter(|&&t| !is_right(t)).count(),
            false_while_playing: clap_times
                .iter()
                .filter(|&&t| !is_right(t) && truth.beats.last().is_some_and(|end| t < end + 0.2))
                .count(),
            wrong_parts: not_so_named - unnamed_parts,
            unnamed_parts,
            beats_to_doubt: first_doubt.map(beats_until),
            first_clap_right: clap_times.first().is_some_and(|&t| is_right(t)),
            first_right: first_right.map(|t| t - music_starts),
            beats_to_phrase: first_right.map(beats_until),
            beats_to_part: first_part.map(beats_until),
            late_notice,
            led_in,
            false_lead_ins,
            seconds,
        }
    }

    /// Whether at least nine phrases in ten had their clap.
    pub fn most_phrases(&self) -> bool {
        10 * self.phrases_right >= 9 * self.phrases
    }
}

/// Tempo over every eight announced beats against the true one there.
fn tempo_windows(truth: &[f64], beats: &[f64]) -> [usize; 3] {
    let mut counts = [0; 3];
    for window in beats.windows(9) {
        let at = truth.partition_point(|&t| t < window[0] - 0.2);
        let Some(&[first, .., last]) = truth.get(at..at + 9) else {
            continue;
        };
        let error = ((last - first) / (window[8] - window[0]) - 1.0).abs();
        counts[0] += usize::from(error <= 0.02);
        counts[1] += usize::from(error <= 0.04);
        counts[2] += 1;
    }
    counts
}

/// Figures of many recordings. Shares are 0 to 1; what cannot be said is NaN.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// Recordings.
    pub items: usize,
    /// Mean beat F-measure.
    pub f: f64,
    /// Mean continuity at the correct level.
    pub cml_t: f64,
    /// Mean continuity at any allowed level.
    pub aml_t: f64,
    /// Median size of the beat error, seconds.
    pub error_median: f64,
    /// Its 95th percentile, seconds.
    pub error_p95: f64,
    /// Windows of eight beats with a tempo within 2 %.
    pub tempo_2: f64,
    /// Windows of eight beats with a tempo within 4 %.
    pub tempo_4: f64,
    /// Phrases that had their clap.
    pub phrases: f64,
    /// Recordings whose first clap was right.
    pub first_clap: f64,
    /// Recordings in which nine phrases in ten had their clap.
    pub most_phrases: f64,
    /// Right claps that named another part than was played, while the form was not
    /// doubted.
    pub wrong_parts: f64,
    /// Right claps while the form was doubted.
    pub unnamed_parts: f64,
    /// Recordings whose form was doubted at any time.
    pub doubted: f64,
    /// Median beats played before that.
    pub beats_to_doubt: f64,
    /// Mean share of beats half a beat off.
    pub half_off: f64,
    /// Mean share of beats a third of a beat off.
    pub third_off: f64,
    /// Mean share of beats at half or double tempo.
    pub wrong_level: f64,
    /// Claps a minute where no phrase began.
    pub false_a_minute: f64,
    /// The same, without claps after the band's last beat.
    pub false_while_playing: f64,
    /// Median seconds from the music's start to the first right clap.
    pub first_right: f64,
}

impl Summary {
    /// Sums up; `None` if there is nothing to.
    pub fn of(all: &[&Figures]) -> Option<Self> {
        if all.is_empty() {
            return None;
        }
        let n = all.len() as f64;
        let mean = |f: &dyn Fn(&Figures) -> f64| all.iter().map(|i| f(i)).sum::<f64>() / n;
        let total = |f: &dyn Fn(&Figures) -> usize| all.iter().map(|i| f(i)).sum::<usize>() as f64;
        let share = |f: &dyn Fn(&Figures) -> bool| total(&|i| usize::from(f(i))) / n;
        let sizes = |i: &&Figures| i.errors.iter().map(|e| e.abs()).collect::<Vec<_>>();
        let errors: Vec<f64> = all.iter().flat_map(sizes).collect();
        let first: Vec<f64> = all.iter().filter_map(|i| i.first_right).collect();
        let doubts: Vec<f64> = all
            .iter()
            .filter_map(|i| i.beats_to_doubt)
            .map(|beats| beats as f64)
            .collect();
        let windows = total(&|i| i.tempo[2]).max(1.0);
        let right = total(&|i| i.phrases_right);
        let minutes = all.iter().map(|i| i.seconds / 60.0).sum::<f64>();
        Some(Summary {
            items: all.len(),
            f: mean(&|i| i.f),
            cml_t: mean(&|i| i.continuity.cml_t),
            aml_t: mean(&|i| i.continuity.aml_t),
            error_median: quantile(&errors, 0.5).unwrap_or(f64::NAN),
            error_p95: quantile(&errors, 0.95).unwrap_or(f64::NAN),
            tempo_2: total(&|i| i.tempo[0]) / windows,
            tempo_4: total(&|i| i.tempo[1]) / windows,
            phrases: right / total(&|i| i.phrases).max(1.0),
            first_clap: share(&|i| i.first_clap_right),
            most_phrases: share(&Figures::most_phrases),
            wrong_parts: total(&|i| i.wrong_parts) / right.max(1.0),
            unnamed_parts: total(&|i| i.unnamed_parts) / right.max(1.0),
            doubted: doubts.len() as f64 / n,
            beats_to_doubt: quantile(&doubts, 0.5).unwrap_or(f64::NAN),
            half_off: mean(&|i| i.wrong.half_off),
            third_off: mean(&|i| i.wrong.third_off),
            wrong_level: mean(&|i| i.wrong.wrong_level),
            false_a_minute: total(&|i| i.false_claps) / minutes.max(1e-9),
            false_while_playing: total(&|i| i.false_while_playing) / minutes.max(1e-9),
            first_right: quantile(&first, 0.5).unwrap_or(f64::NAN),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{Beat, Phrase};
    use crate::phrase::Form;
    use crate::sound::band::PartStart;

    /// Two parts at 120 beats a minute, the first beat at 1 s.
    fn truth() -> Truth {
        let beats: Vec<f64> = (0..32).map(|k| 1.0 + 0.5 * f64::from(k)).collect();
        let part = |t, name: &str| PartStart {
            t,
            name: name.to_owned(),
        };
        Truth {
            phrases: beats.iter().copied().step_by(8).collect(),
            parts: vec![part(1.0, "A1"), part(9.0, "A2")],
            beats,
            ..Truth::default()
        }
    }

    fn beat(time: f64) -> Event {
        Event::Beat(Beat {
            time,
            announced: time - 0.07,
            count: None,
            steps_per_minute: 120.0,
            sure: 1.0,
        })
    }

    fn clap(time: f64, beat: u64) -> Event {
        let place = Form::default().place(beat);
        Event::Phrase(Phrase {
            time,
            announced: time - 0.07,
            part: place.part(),
            phrase: place.phrase(),
            time_through: 1,
            sure: 1.0,
        })
    }

    #[test]
    fn all_right_is_all_right() {
        let truth = truth();
        let mut events: Vec<Event> = truth.beats.iter().map(|&t| beat(t + 0.01)).collect();
        events.extend((0u64..).zip(&truth.phrases).map(|(k, &t)| clap(t, 8 * k)));
        let figures = Figures::of(&truth, &events, 60.0);
        assert_eq!((figures.f, figures.tempo), (1.0, [24, 24, 24]));
        assert_eq!((figures.phrases, figures.phrases_right), (4, 4));
        assert_eq!((figures.false_claps, figures.wrong_parts), (0, 0));
        assert_eq!(figures.first_right, Some(0.0));
        assert!(figures.first_clap_right && figures.most_phrases());
        assert_eq!(figures.late_notice, 0);
        let summary = Summary::of(&[&figures]).expect("one recording");
        assert!((summary.error_p95 - 0.01).abs() < 1e-9);
        assert_eq!((summary.phrases, summary.false_a_minute), (1.0, 0.0));
    }

    #[test]
    fn wrong_claps_and_wrong_names_are_told_apart() {
        // A clap two beats late, a right one with the wrong name, one with its own,
        // and one after the band has stopped.
        let events = [clap(2.0, 0), clap(5.0, 24), clap(9.0, 16), clap(17.0, 0)];
        let figures = Figures::of(&truth(), &events, 30.0);
        assert_eq!((figures.phrases_right, figures.false_claps), (2, 2));
        assert_eq!(figures.false_while_playing, 1);
        assert_eq!(figures.wrong_parts, 1);
        assert!(!figures.first_clap_right && !figures.most_phrases());
        assert_eq!(figures.first_right, Some(4.0));
        assert_eq!(figures.beats_to_phrase, Some(8));
        assert_eq!(figures.beats_to_part, Some(16));
        let summary = Summary::of(&[&figures, &figures]).expect("two recordings");
        assert_eq!((summary.wrong_parts, summary.false_a_minute), (0.5, 4.0));
        assert_eq!(summary.false_while_playing, 2.0);
        assert_eq!((summary.first_clap, summary.phrases), (0.0, 0.5));
    }

    #[test]
    fn late_news_is_counted() {
        let mut late = clap(1.0, 0);
        if let Event::Phrase(phrase) = &mut late {
            phrase.announced = 0.95;
        }
        assert_eq!(Figures::of(&truth(), &[late], 1.0).late_notice, 1);
        assert!(Summary::of(&[]).is_none());
    }
}
