//! When to flash which figure.

use std::sync::Arc;

use super::fading::over;
use super::once::danced;
use super::seat::{SAME, Seat};
use crate::dance::{Card, FigureAt};
use crate::event::{Beat, Event, LeadIn};
use crate::phrase::{Form, Place};

/// Least time between a flash and the beat it is for, in seconds: with less
/// there is nothing to be seen before the figure starts.
const LEAST_NOTICE: f64 = 0.06;

/// A start that comes round again within this many beats is the same start,
/// put back by a move of the count. (The count moves by four at most.)
const SAME_START_BEATS: f64 = 6.0;

/// Word of the cue that stands before each phrase when there is no card.
const ONE: &str = "one";

/// What to flash, and when.
#[derive(Debug, Clone, PartialEq)]
pub struct Cue {
    /// When to flash it: the beat ahead of the figure, seconds.
    pub flash_at: f64,
    /// Predicted time of the figure's first beat, seconds.
    pub for_beat_time: f64,
    /// The figure; `None` without a card, when the cue is for a "one".
    pub figure: Option<FigureAt>,
    /// The words to show.
    pub call: String,
    /// First beat of the figure within the time through, from 0.
    pub beat_in_dance: u32,
    /// The time through that the figure belongs to, from 1.
    pub time_through: u32,
}

/// Turns the engine's events into cues, one beat ahead of each figure.
///
/// Feed it every event in order. While the phrase is not known it says nothing.
#[derive(Debug, Clone)]
pub struct Scheduler {
    card: Option<Arc<Card>>,
    /// Times through in all, if that is known.
    times: Option<u32>,
    seat: Seat,
    /// Latest beat and its period, seconds.
    beat: Option<(f64, f64)>,
    /// The latest starts that were flashed: beat from the tune's first, time.
    flashed: [Option<(i64, f64)>; 4],
}

impl Scheduler {
    /// Cues for the figures of `card`.
    pub fn with_card(card: Arc<Card>) -> Self {
        Self::new(card.form(), Some(card))
    }

    /// Cues for "one" only, in a tune of this form.
    pub fn without_card(form: Form) -> Self {
        Self::new(form, None)
    }

    fn new(form: Form, card: Option<Arc<Card>>) -> Self {
        Scheduler {
            card,
            times: None,
            seat: Seat::new(form),
            beat: None,
            flashed: [None; 4],
        }
    }

    /// Whether this is a phrase after the last time through, if that is known: the band
    /// has stopped then, or is about to.
    pub fn over(&self, event: &Event) -> bool {
        let Event::Phrase(phrase) = event else {
            return false;
        };
        over(phrase.time_through, self.times)
    }

    /// The dance is to be so many times through; `None` if nobody knows.
    pub fn set_times(&mut self, times: Option<u32>) {
        self.times = times;
    }

    /// Takes the next event; hands back the cue that it makes due, if any.
    pub fn push(&mut self, event: &Event) -> Option<Cue> {
        match event {
            Event::LeadIn(lead_in) => self.lead_in(lead_in),
            Event::Beat(beat) => self.on_beat(beat),
            // The dance goes on in its own form, whatever the tune's.
            Event::Form(_) => None,
            Event::Phrase(phrase) => {
                self.seat.phrase(phrase);
                // If its beat came first, the next beat could not be told yet.
                let (time, period) = self.beat?;
                ((phrase.time - time).abs() < SAME)
                    .then(|| self.ahead_of_next(time, period))
                    .flatten()
            }
        }
    }

    fn lead_in(&mut self, lead_in: &LeadIn) -> Option<Cue> {
        self.seat.clear();
        self.flashed = [None; 4];
        let period = (lead_in.one - lead_in.time) / 4.0;
        let flash_at = (lead_in.one - period).max(lead_in.announced);
        if !(period > 0.0 && lead_in.one - flash_at >= LEAST_NOTICE) {
            return None;
        }
        self.cue(0, flash_at, lead_in.one, period)
    }

    fn on_beat(&mut self, beat: &Beat) -> Option<Cue> {
        let period = 60.0 / beat.steps_per_minute;
        let period = (period.is_finite() && period > 0.0).then_some(period)?;
        self.seat.beat(beat);
        self.beat = Some((beat.time, period));
        self.ahead_of_next(beat.time, period)
    }

    /// The cue for a figure that starts on the beat after the latest one.
    fn ahead_of_next(&mut self, time: f64, period: f64) -> Option<Cue> {
        if !self.seat.confirmed() {
            return None;
        }
        let next = self.seat.number()? + 1;
        self.cue(next, time, time + period, period)
    }

    /// The cue for the figure starting on beat `number` of the tune, unless
    /// none does, the dance is over by then, or it was given before.
    fn cue(&mut self, number: i64, flash_at: f64, start: f64, period: f64) -> Option<Cue> {
        let place: Place = self.seat.form().place(u64::try_from(number).ok()?);
        let through = place.time_through;
        if over(through, self.times) {
            return None;
        }
        let figure = match &self.card {
            Some(card) => {
                let usual = card.starting_at(place.beat)?;
                Some(danced(card, usual, through, self.times).into_owned())
            }
            None => {
                if !place.is_one() {
                    return None;
                }
                None
            }
        };
        let again =
            |(n, t): (i64, f64)| n == number && (start - t).abs() < SAME_START_BEATS * period;
        if self.flashed.iter().flatten().any(|seen| again(*seen)) {
            return None;
        }
        self.flashed.rotate_right(1);
        self.flashed[0] = Some((number, start));
        Some(Cue {
            flash_at,
            for_beat_time: start,
            call: figure
                .as_ref()
                .map_or_else(|| ONE.to_owned(), |f| f.call.clone()),
            figure,
            beat_in_dance: place.beat,
            time_through: place.time_through,
        })
    }
}
