//! What the view asks of the state.

use std::borrow::Cow;

use super::{InputLevel, State};
use crate::cue::{Cue, Fading, Signal, danced, over};
use crate::dance::{Card, FigureAt};
use crate::event::LeadIn;
use crate::phrase::{Form, Part, Place};
use crate::report::tempo::{Advice, Adviser, Want};

impl State {
    /// The clock, seconds of sound.
    pub fn now(&self) -> f64 {
        self.now
    }

    /// How far through the recording, 0 to 1; `None` if it has no known end.
    pub fn progress(&self) -> Option<f64> {
        let length = self.length.filter(|l| l.is_finite() && *l > 0.0)?;
        Some((self.now / length).clamp(0.0, 1.0))
    }

    /// The dance card, if there is one.
    pub fn card(&self) -> Option<&Card> {
        self.card.as_deref()
    }

    /// The tune's form.
    pub fn form(&self) -> Form {
        self.seat.form()
    }

    /// Whether beats are being heard.
    pub fn hears_beats(&self) -> bool {
        self.beat.is_some()
    }

    /// The dancers' count, 1 to 8; `None` while the phrase is not known.
    pub fn count(&self) -> Option<u8> {
        self.beat?.count.filter(|count| (1..=8).contains(count))
    }

    /// Tempo in steps per minute, once a beat is heard: over eight beats, before
    /// that as the engine says.
    pub fn steps_per_minute(&self) -> Option<f64> {
        let engine = self.beat?.steps_per_minute;
        Some(self.tempo.unwrap_or(engine)).filter(|tempo| tempo.is_finite())
    }

    /// Sets the wanted steps per minute.
    pub fn wants(&mut self, want: Want) {
        let mut adviser = Adviser::new(want);
        if let Some(tempo) = self.tempo {
            adviser.push(tempo);
        }
        self.adviser = Some(adviser);
    }

    /// The wanted steps per minute.
    pub fn want(&self) -> Option<Want> {
        self.adviser.as_ref().map(Adviser::want)
    }

    /// What to tell the band about its tempo, and in words with the amount; `None`
    /// without a window, and before eight beats are heard.
    pub fn advice(&self) -> Option<(Advice, String)> {
        self.beat?;
        let adviser = self.adviser.as_ref()?;
        Some((adviser.advice()?, adviser.say(self.tempo?)))
    }

    /// How loud the microphone is; `None` where none listens.
    pub fn level(&self) -> Option<InputLevel> {
        self.level
    }

    /// The present beat's place in the tune, while the program is sure of it.
    pub fn place(&self) -> Option<Place> {
        self.seat.confirmed().then(|| self.seat.place()).flatten()
    }

    /// What the band is to be told now of the end.
    pub fn signal(&self) -> Option<Signal> {
        let place = self.place()?;
        let fading = Fading {
            times: self.times,
            ..Fading::default()
        };
        fading.signal(place.beat, place.time_through, self.form().beats())
    }

    /// The part being played, or danced: `None` while it is not known, and where the
    /// tune seems to have another form than was told and no dance says where it is.
    pub fn part(&self) -> Option<Part> {
        let sure = self.other_form.is_none() || self.card.is_some();
        self.place().filter(|_| sure).map(Place::part)
    }

    /// The form that the tune seems to have, if that is not the one told.
    pub fn other_form(&self) -> Option<Form> {
        self.other_form
    }

    /// How sure the program is of the phrase, 0 to 1; `None` while listening.
    pub fn sure(&self) -> Option<f32> {
        self.place()?;
        self.phrase_sure
    }

    /// The lead-in, from when it is heard until the tune's first beat.
    pub fn lead_in(&self) -> Option<&LeadIn> {
        self.lead_in.as_ref()
    }

    /// The figure being danced; `None` where none is any more.
    pub fn figure_now(&self) -> Option<Cow<'_, FigureAt>> {
        let (card, place) = (self.card.as_ref()?, self.place()?);
        let usual = card.figure_at(place.beat);
        let goes_on = !self.over_after(place.time_through);
        goes_on.then(|| danced(card, usual, place.time_through, self.times))
    }

    /// The next figure, and beats until it starts; `None` where no more is danced.
    ///
    /// While the place is not known, or the dance is over, this is the first figure,
    /// without a count: that is the one to have ready when the tune starts.
    pub fn figure_next(&self) -> Option<(Cow<'_, FigureAt>, Option<u32>)> {
        let card = self.card.as_ref()?;
        let place = self.place();
        let Some(place) = place.filter(|place| !self.over_after(place.time_through)) else {
            let first = card.figures().first()?;
            return Some((danced(card, first, 1, self.times), None));
        };
        let usual = card.next_after(place.beat);
        let form = card.form().beats();
        let beats = (usual.start_beat + form - place.beat) % form;
        let beats = if beats == 0 { form } else { beats };
        let through = place.time_through + u32::from(place.beat + beats >= form);
        (!self.over_after(through)).then(|| {
            let figure = danced(card, usual, through, self.times);
            (figure, Some(beats))
        })
    }

    /// Beats until the dance is over, from its last figure on (without a card, from its
    /// last phrase on).
    pub fn ends_in(&self) -> Option<u32> {
        let place = self.place()?;
        if self.over_after(place.time_through) {
            return None;
        }
        let left = self.form().beats().checked_sub(place.beat)?;
        let last = match &self.card {
            Some(card) => card.next_after(place.beat).start_beat <= place.beat,
            None => left <= 8,
        };
        (last && self.over_after(place.time_through + 1)).then_some(left)
    }

    /// Whether this time through is not danced any more.
    fn over_after(&self, time_through: u32) -> bool {
        over(time_through, self.times)
    }

    /// The cue that is up, from its beat until the figure's first.
    pub fn present_cue(&self) -> Option<&Cue> {
        self.cue.as_ref()
    }

    /// Whether that cue is to be lit up.
    pub fn lit(&self) -> bool {
        self.flash && self.cue_lamp.lit()
    }

    /// Whether the count is to be lit up, because it is "one".
    pub fn one_lit(&self) -> bool {
        self.flash && self.one_lamp.lit()
    }
}
