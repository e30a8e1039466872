//! What the screen knows at a moment.

use std::collections::VecDeque;
use std::sync::Arc;

use super::flash::{Lamp, Limiter};
use super::keys::Hand;
use super::text::form_words;
use crate::cue::{Cue, Seat};
use crate::dance::Card;
use crate::event::{Beat, Event, LeadIn};
use crate::phrase::Form;
use crate::report::tempo::{Adviser, Meter, Want};

/// After this many silent beats the music is taken to have stopped.
const SILENT_BEATS: f64 = 2.5;

/// A card names one tempo; this far on either side of it is as wanted, steps per
/// minute. A band of people hardly keeps closer.
const BESIDE: f64 = 2.0;

/// Seconds for which it is said that the tune has another form than was told.
const FORM_SAID: f64 = 12.0;

/// Seconds for which the loudest moment of the microphone decides what is said of
/// it: between two strokes no band is too quiet.
const LEVEL_HELD: f64 = 2.0;

/// What is known before the music starts.
#[derive(Debug, Clone, Default)]
pub struct Setup {
    /// What is being followed: a recording's name, or a bundled tune's.
    pub tune: String,
    /// Its length in seconds, if it has one.
    pub length: Option<f64>,
    /// The dance, if there is one.
    pub card: Option<Arc<Card>>,
    /// The tune's form; a card's own form goes before it.
    pub form: Form,
    /// The wanted steps per minute; without it those of the card.
    pub want: Option<Want>,
    /// Whether claps are on at the start.
    pub claps: bool,
    /// Whether the screen may flash.
    pub flash: bool,
    /// Whether calls are spoken at the start; `None` if they cannot be.
    pub voice: Option<bool>,
    /// Times through, if that is known.
    pub times: Option<u32>,
    /// What the caller's keys are for.
    pub hand: Hand,
    /// Whether it may use colours; see [`super::colour_wanted`].
    pub colour: bool,
}

/// Everything that the screen shows, as plain data.
///
/// Events and cues come in ahead of their time, through [`State::update`] and
/// [`State::cue`]; [`State::at`] makes them show when they are due.
#[derive(Debug, Clone)]
pub struct State {
    /// What is being followed.
    pub tune: String,
    /// Its length in seconds.
    pub length: Option<f64>,
    /// Whether claps are on.
    pub claps: bool,
    /// Whether cues flash; without it they show all the same, unlit.
    pub flash: bool,
    /// Whether calls are spoken; `None` if they cannot be.
    pub voice: Option<bool>,
    /// Times through, if that is known.
    pub times: Option<u32>,
    /// What the caller's keys are for.
    pub hand: Hand,
    /// Whether the keys are shown.
    pub help: bool,
    /// Whether colours are used.
    pub colour: bool,
    /// Whether nothing is heard, for want of a sound device.
    pub silent: bool,
    /// Whether claps are held back for now.
    pub held: bool,
    /// Where the evening stands, in wordings from long to short; empty without a
    /// programme.
    pub evening: Vec<String>,
    /// A line for the caller: what went wrong, or what a key did.
    pub message: Option<String>,
    message_until: f64,
    card: Option<Arc<Card>>,
    /// The wanted steps per minute are the caller's own, not a card's.
    own_want: bool,
    /// The form of dances without a card.
    plain: Form,
    seat: Seat,
    now: f64,
    due: VecDeque<(f64, Due)>,
    beat: Option<Beat>,
    phrase_sure: Option<f32>,
    lead_in: Option<LeadIn>,
    /// The form that the tune seems to have, if it is not the one told.
    other_form: Option<Form>,
    cue: Option<Cue>,
    level: Option<InputLevel>,
    loudest_until: f64,
    meter: Meter,
    /// Over the last eight beats, steps per minute.
    tempo: Option<f64>,
    adviser: Option<Adviser>,
    limiter: Limiter,
    cue_lamp: Lamp,
    one_lamp: Lamp,
}

/// How loud the microphone is; full scale is 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InputLevel {
    /// The largest sample just now.
    pub peak: f32,
    /// The largest of the last seconds.
    pub loudest: f32,
    /// Whether samples were at full scale a moment ago.
    pub clips: bool,
}

/// Something that will show.
#[derive(Debug, Clone)]
enum Due {
    Event(Event),
    Cue(Cue),
}

impl State {
    /// The screen before anything is heard.
    pub fn new(setup: Setup) -> Self {
        let form = setup.card.as_ref().map_or(setup.form, |card| card.form());
        let want = setup.want.or_else(|| wanted_by(setup.card.as_deref()));
        State {
            tune: setup.tune,
            length: setup.length,
            claps: setup.claps,
            flash: setup.flash,
            voice: setup.voice,
            times: setup.times,
            hand: setup.hand,
            help: false,
            colour: setup.colour,
            silent: false,
            held: false,
            evening: Vec::new(),
            message: None,
            message_until: f64::INFINITY,
            card: setup.card,
            own_want: setup.want.is_some(),
            plain: setup.form,
            seat: Seat::new(form),
            now: 0.0,
            due: VecDeque::new(),
            beat: None,
            phrase_sure: None,
            lead_in: None,
            other_form: None,
            cue: None,
            level: None,
            loudest_until: f64::NEG_INFINITY,
            meter: Meter::default(),
            tempo: None,
            adviser: want.map(Adviser::new),
            limiter: Limiter::default(),
            cue_lamp: Lamp::default(),
            one_lamp: Lamp::default(),
        }
    }

    /// Takes an event of the engine, to be shown at its time.
    pub fn update(&mut self, event: &Event) {
        let time = match event {
            // Its beats are over by the time it is known.
            Event::LeadIn(lead_in) => lead_in.announced,
            other => other.time(),
        };
        self.later(time, Due::Event(*event));
    }

    /// Takes a cue, to be shown at its time.
    pub fn cue(&mut self, cue: Cue) {
        self.later(cue.flash_at, Due::Cue(cue));
    }

    fn later(&mut self, time: f64, due: Due) {
        let at = self.due.partition_point(|(t, _)| *t <= time);
        self.due.insert(at, (time, due));
    }

    /// Shows `message` for so many seconds from now on.
    pub fn say(&mut self, message: String, seconds: f64) {
        self.message = Some(message);
        self.message_until = self.now + seconds;
    }

    /// Takes in how loud the microphone is: its largest sample, full scale 1, and
    /// whether it clipped a moment ago.
    pub fn hears(&mut self, peak: f32, clips: bool) {
        let held = self.level.map(|level| level.loudest);
        let loudest = match held {
            Some(loudest) if loudest > peak && self.now < self.loudest_until => loudest,
            _ => {
                self.loudest_until = self.now + LEVEL_HELD;
                peak
            }
        };
        self.level = Some(InputLevel {
            peak,
            loudest,
            clips,
        });
    }

    /// Another dance comes up, or (`None`) something without a card, called
    /// `tune`. Switches, clock and the present count stay.
    pub fn dance(&mut self, card: Option<Arc<Card>>, tune: String) {
        let form = card.as_ref().map_or(self.plain, |card| card.form());
        if form != self.seat.form() {
            self.seat = Seat::new(form);
            self.phrase_sure = None;
        }
        if !self.own_want {
            self.adviser = wanted_by(card.as_deref()).map(Adviser::new);
        }
        self.tune = tune;
        self.card = card;
        self.cue = None;
        self.due.retain(|(_, due)| matches!(due, Due::Event(_)));
    }

    /// Moves the clock to `now` (seconds of sound) and shows what is due, where
    /// sound runs as fast as time.
    pub fn at(&mut self, now: f64) {
        self.at_moment(now, now);
    }

    /// Moves the clock to `now` (seconds of sound) and shows what is due. `seen` is
    /// when it is seen (seconds of a clock that never goes back): a sound clock
    /// may stand still and jump, but flashes stay as rare.
    pub fn at_moment(&mut self, now: f64, seen: f64) {
        self.now = now;
        if now >= self.message_until {
            self.message = None;
            self.message_until = f64::INFINITY;
        }
        while self.due.front().is_some_and(|(time, _)| *time <= now) {
            let Some((_, due)) = self.due.pop_front() else {
                break;
            };
            self.show(due);
        }
        if self
            .cue
            .as_ref()
            .is_some_and(|cue| cue.for_beat_time <= now)
        {
            self.cue = None;
        }
        if self.lead_in.is_some_and(|lead_in| lead_in.one <= now) {
            self.lead_in = None;
        }
        let silent = self
            .beat
            .is_some_and(|beat| now - beat.time > SILENT_BEATS * 60.0 / beat.steps_per_minute);
        if silent {
            self.beat = None;
            self.phrase_sure = None;
            self.seat.clear();
        }
        let one = self.count() == Some(1);
        for (lamp, wanted) in [
            (&mut self.cue_lamp, self.cue.is_some()),
            (&mut self.one_lamp, one),
        ] {
            lamp.at(seen, wanted && self.flash, &mut self.limiter);
        }
    }

    fn show(&mut self, due: Due) {
        match due {
            Due::Event(Event::LeadIn(lead_in)) => {
                self.seat.clear();
                self.phrase_sure = None;
                self.lead_in = Some(lead_in);
            }
            Due::Event(Event::Beat(beat)) => {
                self.seat.beat(&beat);
                self.beat = Some(beat);
                self.meter.push(beat.time);
                self.tempo = self.meter.over(8);
                if let (Some(adviser), Some(tempo)) = (&mut self.adviser, self.tempo) {
                    adviser.push(tempo);
                }
            }
            Due::Event(Event::Phrase(phrase)) => {
                self.seat.phrase(&phrase);
                self.phrase_sure = Some(phrase.sure);
                self.lead_in = None;
            }
            Due::Event(Event::Form(form)) => {
                self.other_form = form.other;
                self.say(form_words(form.other, self.card.is_some()), FORM_SAID);
            }
            Due::Cue(cue) => self.cue = Some(cue),
        }
    }
}

/// The tempi about the one that a card names.
fn wanted_by(card: Option<&Card>) -> Option<Want> {
    let named = card?.steps_per_minute()?;
    Want::new(named - BESIDE, named + BESIDE).ok()
}

mod shown;
#[cfg(test)]
mod tests;
