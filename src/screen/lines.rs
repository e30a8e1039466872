//! One plain line a phrase, for when standard output is no terminal.

use std::sync::Arc;

use super::text::{clock, fit, form_words, sure_words};
use crate::cue::{danced, over};
use crate::dance::Card;
use crate::event::{Event, LeadIn, Phrase};
use crate::phrase::Part;

/// Longest name of a figure in a line, in columns.
const FIGURE: usize = 40;

/// Turns events into lines, and counts what the summary says.
#[derive(Debug, Clone, Default)]
pub struct Lines {
    card: Option<Arc<Card>>,
    /// Times through, if that is known.
    times: Option<u32>,
    tempo: Option<f64>,
    /// Whether the tune seems to have another form than was told.
    other_form: bool,
    summary: Summary,
}

/// What was heard, all in all.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Summary {
    /// Beats heard.
    pub beats: u64,
    /// Phrases that the program was sure enough to clap.
    pub phrases: u64,
    /// Time of the first phrase, seconds.
    pub first_phrase: Option<f64>,
    /// The furthest time through the tune.
    pub times_through: u32,
    /// Slowest and fastest tempo during those phrases, steps per minute.
    pub tempo: Option<(f64, f64)>,
    /// The mean of all beats' tempi, steps per minute.
    pub mean_tempo: Option<f64>,
}

impl Lines {
    /// Lines with the figures of `card`, if there is one.
    pub fn new(card: Option<Arc<Card>>) -> Self {
        Lines {
            card,
            ..Lines::default()
        }
    }

    /// Takes the next event; hands back a line (without its end) if it is
    /// worth one.
    pub fn push(&mut self, event: &Event) -> Option<String> {
        match event {
            Event::LeadIn(lead_in) => Some(lead_in_line(lead_in)),
            Event::Form(form) => {
                self.other_form = form.other.is_some();
                let words = form_words(form.other, self.card.is_some());
                Some(format!("{:>5}  {words}", clock(form.time)))
            }
            Event::Beat(beat) => {
                let tempo = beat.steps_per_minute;
                if tempo.is_finite() && tempo > 0.0 {
                    self.tempo = Some(tempo);
                    self.summary.add_beat(tempo);
                }
                None
            }
            Event::Phrase(phrase) => {
                self.summary.add_phrase(phrase, self.tempo);
                let card = self.card.as_deref();
                let doubtful = self.other_form && card.is_none();
                let part = (!doubtful).then_some(phrase.part);
                Some(phrase_line(phrase, part, self.tempo, card, self.times))
            }
        }
    }

    /// The dance is so many times through; `None` if nobody knows.
    pub fn set_times(&mut self, times: Option<u32>) {
        self.times = times;
    }

    /// Another dance comes up, or something without a card.
    pub fn dance(&mut self, card: Option<Arc<Card>>) {
        self.card = card;
    }

    /// What was heard up to now.
    pub fn summary(&self) -> &Summary {
        &self.summary
    }
}

impl Summary {
    fn add_beat(&mut self, tempo: f64) {
        self.beats += 1;
        let mean = self.mean_tempo.unwrap_or(tempo);
        self.mean_tempo = Some(mean + (tempo - mean) / self.beats as f64);
    }

    fn add_phrase(&mut self, phrase: &Phrase, tempo: Option<f64>) {
        self.phrases += 1;
        self.first_phrase.get_or_insert(phrase.time);
        self.times_through = self.times_through.max(phrase.time_through);
        if let Some(tempo) = tempo {
            let (least, most) = self.tempo.unwrap_or((tempo, tempo));
            self.tempo = Some((least.min(tempo), most.max(tempo)));
        }
    }

    /// The summary in one line; `wanted` is the card's tempo.
    pub fn line(&self, wanted: Option<f64>) -> String {
        let (Some(first), Some(mean)) = (self.first_phrase, self.mean_tempo) else {
            return match self.beats {
                0 => "heard no beat, so nothing was clapped".to_owned(),
                beats => format!(
                    "heard {} but no phrase, so nothing was clapped",
                    counted(beats, "beat", "beats")
                ),
            };
        };
        let mut line = format!(
            "{} from {}, {}, {}; {mean:.1} steps per minute",
            counted(self.phrases, "phrase", "phrases"),
            clock(first),
            counted(self.times_through.into(), "time through", "times through"),
            counted(self.beats, "beat", "beats"),
        );
        if let Some((least, most)) = self.tempo.filter(|_| self.phrases > 1) {
            line.push_str(&format!(" ({least:.1} to {most:.1})"));
        }
        if let Some(wanted) = wanted {
            line.push_str(&format!(", wanted {wanted:.0}"));
        }
        line
    }
}

fn counted(n: u64, one: &str, more: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { more })
}

/// The line for a lead-in.
pub fn lead_in_line(lead_in: &LeadIn) -> String {
    let period = (lead_in.one - lead_in.time) / 4.0;
    let tempo = if period > 0.0 { 60.0 / period } else { 0.0 };
    format!(
        "{:>5}  lead-in at {tempo:.0} steps per minute, the tune starts at {:.1} s",
        clock(lead_in.time),
        lead_in.one
    )
}

/// The line for a phrase: time, `part` if that is sure, which half of it, time through, tempo,
/// the figure danced from its first beat if the dance is `times` times through, and how
/// sure the program is.
pub fn phrase_line(
    phrase: &Phrase,
    part: Option<Part>,
    tempo: Option<f64>,
    card: Option<&Card>,
    times: Option<u32>,
) -> String {
    let beat = phrase.phrase.saturating_mul(8);
    let time = phrase.time_through;
    let danced_on = card.filter(|_| !over(time, times));
    let figure = danced_on.map_or_else(String::new, |card| {
        let figure = danced(card, card.figure_at(beat), time, times);
        match beat % card.form().beats() == figure.start_beat {
            true => figure.name.clone(),
            false => format!("… {}", figure.name),
        }
    });
    let tempo = tempo.map_or("    -".to_owned(), |tempo| format!("{tempo:5.1}"));
    let line = format!(
        "{:>5}  {} phrase {}  time {:<2}  {tempo} steps per minute  {:<12}  {}",
        clock(phrase.time),
        part.map_or("--", Part::name),
        phrase.phrase % 2 + 1,
        time,
        sure_words(Some(phrase.sure)),
        fit(&figure, FIGURE),
    );
    line.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dance::LANTERNS_ON_THE_WEIR;
    use crate::event::{Beat, FormHeard};
    use crate::phrase::Form;

    fn beat(time: f64, steps_per_minute: f64) -> Event {
        Event::Beat(Beat {
            time,
            announced: time - 0.08,
            count: None,
            steps_per_minute,
            sure: 0.9,
        })
    }

    fn phrase(time: f64, phrase: u32, time_through: u32, sure: f32) -> Event {
        Event::Phrase(Phrase {
            time,
            announced: time - 0.08,
            part: Part::from_index((phrase / 2) as u8).unwrap(),
            phrase,
            time_through,
            sure,
        })
    }

    #[test]
    fn lines_of_a_dance() {
        let card = Card::parse(LANTERNS_ON_THE_WEIR, "card").unwrap();
        let mut lines = Lines::new(Some(Arc::new(card)));
        let lead_in = Event::LeadIn(LeadIn {
            time: 1.0,
            announced: 2.8,
            one: 3.0,
        });
        assert_eq!(
            lines.push(&lead_in).unwrap(),
            " 0:01  lead-in at 120 steps per minute, the tune starts at 3.0 s"
        );
        assert_eq!(lines.push(&beat(2.5, 119.0)), None);
        assert_eq!(
            lines.push(&phrase(3.0, 0, 1, 0.97)).unwrap(),
            " 0:03  A1 phrase 1  time 1   119.0 steps per minute  sure          neighbours balance"
        );
        assert_eq!(lines.push(&beat(3.0, 121.0)), None);
        assert_eq!(
            lines.push(&phrase(65.0, 1, 12, 0.75)).unwrap(),
            " 1:05  A1 phrase 2  time 12  121.0 steps per minute  fairly sure   … neighbours swing"
        );
        assert_eq!(
            lines.summary().line(Some(116.0)),
            "2 phrases from 0:03, 12 times through, 2 beats; \
             120.0 steps per minute (119.0 to 121.0), wanted 116"
        );
    }

    #[test]
    fn parts_of_another_form_are_not_named_but_a_dance_goes_on() {
        let card = Card::parse(LANTERNS_ON_THE_WEIR, "card").unwrap();
        let heard = |beats: Option<u32>| {
            Event::Form(FormHeard {
                time: 61.0,
                announced: 60.9,
                other: beats.and_then(|beats| Form::new(beats).ok()),
            })
        };
        for (card, says, line) in [
            (None, "(--form 48?)", " 1:02  -- phrase 1  time 2"),
            (
                Some(Arc::new(card)),
                "its own form",
                " 1:02  B1 phrase 1  time 2",
            ),
        ] {
            let mut lines = Lines::new(card);
            let said = lines.push(&heard(Some(48))).unwrap();
            assert!(said.starts_with(" 1:01  the tune seems to come round every 48 beats"));
            assert!(said.ends_with(says), "{said}");
            let told = lines.push(&phrase(62.0, 4, 2, 0.9)).unwrap();
            assert!(told.starts_with(line), "{told}");
            assert_eq!(
                lines.push(&heard(None)).unwrap(),
                " 1:01  the tune comes round as told again"
            );
            let told = lines.push(&phrase(62.0, 4, 2, 0.9)).unwrap();
            assert!(told.starts_with(" 1:02  B1 phrase 1"), "{told}");
        }
    }

    #[test]
    fn without_card_tempo_or_phrase() {
        let mut lines = Lines::new(None);
        assert_eq!(
            lines.summary().line(None),
            "heard no beat, so nothing was clapped"
        );
        assert_eq!(
            lines.push(&phrase(3.0, 5, 1, 0.5)).unwrap(),
            " 0:03  B1 phrase 2  time 1       - steps per minute  not sure yet"
        );
        let mut lines = Lines::new(None);
        lines.push(&beat(1.0, 100.0));
        lines.push(&beat(1.6, f64::NAN));
        assert_eq!(
            lines.summary().line(None),
            "heard 1 beat but no phrase, so nothing was clapped"
        );
    }
}
