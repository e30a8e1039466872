//! Going on without hearing: the last beats, continued for a while.

use crate::event::{Beat, Event, NOTICE, Phrase};
use crate::phrase::{Form, PHRASE_BEATS};

/// Beats that are counted on without hearing any.
const BEATS: u32 = 16;
/// Beats within which a phrase is still clapped: the error of the tempo adds up.
const CLAPPED: u32 = 8;
/// How much less sure each of them is than the one before.
const FADING: f32 = 0.93;

/// Continues the beats that were heard last.
#[derive(Debug, Clone)]
pub struct Coast {
    form: Form,
    beat: Option<Beat>,
    phrase: Option<Phrase>,
    given: u32,
}

impl Coast {
    /// Nothing to continue yet, in a tune of this form.
    pub fn new(form: Form) -> Self {
        Coast {
            form,
            beat: None,
            phrase: None,
            given: 0,
        }
    }

    /// Takes what the engine says.
    pub fn event(&mut self, event: &Event) {
        match event {
            Event::LeadIn(_) => self.phrase = None,
            Event::Form(_) => {}
            Event::Beat(beat) => {
                self.beat = Some(*beat);
                self.given = 0;
            }
            Event::Phrase(phrase) => self.phrase = Some(*phrase),
        }
    }

    /// When the beat heard or given last is.
    pub fn last(&self) -> Option<f64> {
        self.beat.map(|beat| beat.time)
    }

    /// Seconds a beat, if the last beat is at most `beats` before `now`.
    pub fn playing(&self, now: f64, beats: f64) -> Option<f64> {
        let last = self.beat?;
        let period = 60.0 / last.steps_per_minute;
        (period > 0.0 && now - last.time <= beats * period).then_some(period)
    }

    /// Appends the beats and phrases to be announced by `now`, seconds of
    /// sound, for want of hearing them.
    pub fn go_on(&mut self, now: f64, events: &mut Vec<Event>) {
        while let Some(last) = self.beat
            && self.given < BEATS
        {
            let period = 60.0 / last.steps_per_minute;
            let time = last.time + period;
            if !period.is_finite() || period <= 0.0 || time - NOTICE > now {
                return;
            }
            self.given += 1;
            let beat = Beat {
                time,
                announced: now.min(time),
                count: last.count.map(|c| c % PHRASE_BEATS as u8 + 1),
                steps_per_minute: last.steps_per_minute,
                sure: last.sure * FADING,
            };
            self.beat = Some(beat);
            // One that is long past is of no use to anybody.
            if time > now - period {
                events.push(Event::Beat(beat));
            }
            if beat.count == Some(1)
                && let Some(next) = self.next_phrase(&beat)
            {
                self.phrase = Some(next);
                if self.given <= CLAPPED && time > now {
                    events.push(Event::Phrase(next));
                }
            }
        }
    }

    fn next_phrase(&self, beat: &Beat) -> Option<Phrase> {
        let last = self.phrase?;
        let through = u64::from(last.time_through.max(1) - 1) * u64::from(self.form.beats());
        let number = through + u64::from((last.phrase + 1) * PHRASE_BEATS);
        let place = self.form.place(number);
        Some(Phrase {
            time: beat.time,
            announced: beat.announced,
            part: place.part(),
            phrase: place.phrase(),
            time_through: place.time_through,
            sure: last.sure * FADING,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard() -> Coast {
        let mut coast = Coast::new(Form::default());
        let place = Form::default().place(56);
        coast.event(&Event::Phrase(Phrase {
            time: 10.0,
            announced: 9.93,
            part: place.part(),
            phrase: place.phrase(),
            time_through: 1,
            sure: 0.9,
        }));
        coast.event(&Event::Beat(Beat {
            time: 12.0,
            announced: 11.93,
            count: Some(5),
            steps_per_minute: 120.0,
            sure: 0.9,
        }));
        coast
    }

    #[test]
    fn beats_go_on_in_time_and_count_and_come_to_an_end() {
        let mut coast = heard();
        let mut events = Vec::new();
        let mut now = 12.3;
        while now < 30.0 {
            let from = events.len();
            coast.go_on(now, &mut events);
            for event in &events[from..] {
                assert!(event.time() - now > 0.03, "announced ahead");
            }
            now += 0.01;
        }
        let beats: Vec<(f64, Option<u8>)> = events
            .iter()
            .filter_map(|e| match e {
                Event::Beat(b) => Some((b.time, b.count)),
                _ => None,
            })
            .collect();
        assert_eq!(beats.len(), 16);
        assert_eq!(beats[0], (12.5, Some(6)));
        assert_eq!(beats[3], (14.0, Some(1)));
        let phrases: Vec<(f64, u32, u32)> = events
            .iter()
            .filter_map(|e| match e {
                Event::Phrase(p) => Some((p.time, p.phrase, p.time_through)),
                _ => None,
            })
            .collect();
        assert_eq!(phrases, [(14.0, 0, 2)], "the second is too far to clap");
    }

    #[test]
    fn nothing_is_made_of_nothing_and_the_past_is_left_out() {
        let mut events = Vec::new();
        Coast::new(Form::default()).go_on(100.0, &mut events);
        assert_eq!(events, []);
        let mut coast = heard();
        coast.go_on(14.7, &mut events);
        // 12.5 to 14 are over; 14.5 still shows.
        let times: Vec<f64> = events.iter().map(Event::time).collect();
        assert_eq!(times, [14.5]);
        assert_eq!(coast.last(), Some(14.5));
    }
}
