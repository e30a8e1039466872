//! What the screen knows at a moment.

use std::collections::VecDeque;
use std::sync::Arc;

use crate::cue::{Cue, Seat};
use crate::dance::{Card, FigureAt};
use crate::event::{Beat, Event, LeadIn};
use crate::phrase::{Form, Place};

/// Least time between the starts of two flashes, in seconds. It keeps them
/// below three in any second (WCAG 2.2, success criterion 2.3.1).
const FLASH_APART: f64 = 0.51;

/// After this many silent beats the music is taken to have stopped.
const SILENT_BEATS: f64 = 2.5;

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
    /// Whether claps are on at the start.
    pub claps: bool,
    /// Whether the screen may flash.
    pub flash: bool,
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
    /// Whether the keys are shown.
    pub help: bool,
    /// Whether colours are used.
    pub colour: bool,
    /// Whether nothing is heard, for want of a sound device.
    pub silent: bool,
    /// Whether claps are held back for now.
    pub held: bool,
    /// How loud the microphone is: its peak, full scale 1, and whether it
    /// clips; `None` where none listens.
    pub level: Option<(f32, bool)>,
    /// A line for the caller: what went wrong, or what a key did.
    pub message: Option<String>,
    message_until: f64,
    card: Option<Arc<Card>>,
    seat: Seat,
    now: f64,
    due: VecDeque<(f64, Due)>,
    beat: Option<Beat>,
    phrase_sure: Option<f32>,
    lead_in: Option<LeadIn>,
    cue: Option<Cue>,
    lit_since: f64,
    lit: bool,
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
        State {
            tune: setup.tune,
            length: setup.length,
            claps: setup.claps,
            flash: setup.flash,
            help: false,
            colour: setup.colour,
            silent: false,
            held: false,
            level: None,
            message: None,
            message_until: f64::INFINITY,
            card: setup.card,
            seat: Seat::new(form),
            now: 0.0,
            due: VecDeque::new(),
            beat: None,
            phrase_sure: None,
            lead_in: None,
            cue: None,
            lit_since: f64::NEG_INFINITY,
            lit: false,
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

    /// Moves the clock to `now` (seconds of sound) and shows what is due.
    pub fn at(&mut self, now: f64) {
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
            }
            Due::Event(Event::Phrase(phrase)) => {
                self.seat.phrase(&phrase);
                self.phrase_sure = Some(phrase.sure);
                self.lead_in = None;
            }
            Due::Cue(cue) => {
                self.lit = cue.flash_at - self.lit_since >= FLASH_APART;
                if self.lit {
                    self.lit_since = cue.flash_at;
                }
                self.cue = Some(cue);
            }
        }
    }

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

    /// Tempo in steps per minute, once a beat is heard.
    pub fn steps_per_minute(&self) -> Option<f64> {
        Some(self.beat?.steps_per_minute).filter(|tempo| tempo.is_finite())
    }

    /// The present beat's place in the tune, while the program is sure of it.
    pub fn place(&self) -> Option<Place> {
        self.seat.confirmed().then(|| self.seat.place()).flatten()
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

    /// The figure being danced.
    pub fn figure_now(&self) -> Option<&FigureAt> {
        Some(self.card.as_ref()?.figure_at(self.place()?.beat))
    }

    /// The next figure, and beats until it starts.
    ///
    /// While the place is not known this is the first figure, without a count:
    /// that is the one to have ready when the tune starts.
    pub fn figure_next(&self) -> Option<(&FigureAt, Option<u32>)> {
        let card = self.card.as_ref()?;
        let Some(place) = self.place() else {
            return card.figures().first().map(|figure| (figure, None));
        };
        let figure = card.next_after(place.beat);
        let form = card.form().beats();
        let beats = (figure.start_beat + form - place.beat) % form;
        let beats = if beats == 0 { form } else { beats };
        Some((figure, Some(beats)))
    }

    /// The cue that is up, from its beat until the figure's first.
    pub fn present_cue(&self) -> Option<&Cue> {
        self.cue.as_ref()
    }

    /// Whether that cue is to be lit up.
    pub fn lit(&self) -> bool {
        self.flash && self.lit && self.cue.is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::Phrase;
    use crate::phrase::Part;

    fn state() -> State {
        let card = Card::parse(crate::dance::LANTERNS_ON_THE_WEIR, "card").unwrap();
        State::new(Setup {
            card: Some(Arc::new(card)),
            length: Some(100.0),
            flash: true,
            ..Setup::default()
        })
    }

    fn beat(time: f64, count: Option<u8>) -> Event {
        Event::Beat(Beat {
            time,
            announced: time - 0.08,
            count,
            steps_per_minute: 120.0,
            sure: 0.9,
        })
    }

    fn phrase(time: f64) -> Event {
        Event::Phrase(Phrase {
            time,
            announced: time - 0.08,
            part: Part::from_index(2).unwrap(),
            phrase: 4,
            time_through: 2,
            sure: 0.95,
        })
    }

    fn cue(flash_at: f64) -> Cue {
        Cue {
            flash_at,
            for_beat_time: flash_at + 0.2,
            figure: None,
            call: "one".into(),
            beat_in_dance: 0,
            time_through: 1,
        }
    }

    #[test]
    fn nothing_shows_before_its_time() {
        let mut state = state();
        state.update(&phrase(10.0));
        state.update(&beat(10.0, Some(1)));
        state.update(&beat(10.5, Some(2)));
        state.at(9.999);
        assert_eq!((state.count(), state.sure()), (None, None));
        assert_eq!(state.figure_next().unwrap().1, None);
        state.at(10.0);
        assert_eq!(state.count(), Some(1));
        assert_eq!(state.place().unwrap().time_through, 2);
        assert_eq!(
            state.figure_now().unwrap().name,
            "long lines forward and back"
        );
        let (next, beats) = state.figure_next().unwrap();
        assert_eq!((next.name.as_str(), beats), ("star by the right", Some(8)));
        state.at(10.7);
        assert_eq!(state.count(), Some(2));
        assert_eq!(state.figure_next().unwrap().1, Some(7));
        assert_eq!(state.progress(), Some(0.107));
    }

    #[test]
    fn when_the_music_stops_it_listens_again() {
        let mut state = state();
        state.update(&phrase(10.0));
        state.update(&beat(10.0, Some(1)));
        state.at(11.0);
        assert!(state.sure().is_some());
        state.at(11.3);
        assert!(!state.hears_beats());
        assert_eq!((state.count(), state.place()), (None, None));
    }

    #[test]
    fn a_lead_in_shows_until_the_tune_starts() {
        let mut state = state();
        state.update(&Event::LeadIn(LeadIn {
            time: 1.0,
            announced: 2.6,
            one: 3.0,
        }));
        state.at(2.5);
        assert!(state.lead_in().is_none());
        state.at(2.7);
        assert!(state.lead_in().is_some());
        state.at(3.0);
        assert!(state.lead_in().is_none());
    }

    #[test]
    fn a_cue_is_up_for_one_beat_and_lit_if_wanted() {
        let mut state = state();
        state.cue(cue(5.0));
        state.at(4.9);
        assert!(state.present_cue().is_none() && !state.lit());
        state.at(5.1);
        assert!(state.present_cue().is_some() && state.lit());
        state.flash = false;
        assert!(state.present_cue().is_some() && !state.lit());
        state.at(5.2);
        assert!(state.present_cue().is_none());
    }

    #[test]
    fn a_message_goes_after_its_time() {
        let mut state = state();
        state.at(3.0);
        state.say("this is one".into(), 2.0);
        state.at(4.9);
        assert_eq!(state.message.as_deref(), Some("this is one"));
        state.at(5.0);
        assert_eq!(state.message, None);
        state.message = Some("it stays".into());
        state.at(500.0);
        assert!(state.message.is_some());
    }

    #[test]
    fn flashes_stay_below_three_in_any_second() {
        for apart in [0.21, 0.25, 0.34, 0.4, 0.49, 0.6] {
            let mut state = state();
            for i in 0..100 {
                state.cue(cue(f64::from(i) * apart));
            }
            let mut starts = Vec::new();
            let mut before = false;
            for step in 0..4000 {
                let now = f64::from(step) * 0.005;
                state.at(now);
                if state.lit() && !before {
                    starts.push(now);
                }
                before = state.lit();
            }
            assert!(starts.len() > 10, "{apart}");
            for from in &starts {
                let within = starts.iter().filter(|s| (*from..from + 1.0).contains(s));
                assert!(within.count() < 3, "{apart} apart");
            }
        }
    }
}
