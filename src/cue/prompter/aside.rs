//! What is said beside the dance: introductions before the music, thanks after it.

use super::Prompter;
use crate::cue::call::{Call, Saying, Subject};
use crate::cue::script::{Line, PAUSE};

/// Beats after the last one of a dance on which the dancers are thanked.
const THANKED_AFTER: f64 = 2.0;

impl Prompter {
    /// Appends the card's introductions, from `from` on (seconds of sound): they are
    /// spoken until the band begins.
    pub fn introduce(&mut self, from: f64, sayings: &mut Vec<Saying>) {
        let lines = self.script.introductions.clone();
        self.say_aside(Subject::Introduction, &lines, from, sayings);
    }

    /// After the last beat of the last time through comes what is said then: planned on
    /// that beat, for the band may stop and no more be heard.
    pub(super) fn thank(&mut self, sayings: &mut Vec<Saying>) {
        let (Some(times), Some(stand)) = (self.manner.fading.times, self.stand) else {
            return;
        };
        let last = i64::from(times) * i64::from(self.script.form().beats()) - 1;
        match stand.number {
            Some(number) if number < last && self.seat.confirmed() => {
                self.drop_aside(sayings);
                self.thanked = false;
            }
            Some(number) if number == last && !self.thanked => {
                self.thanked = true;
                let from = stand.time + THANKED_AFTER * stand.period;
                let lines = self.script.farewells.clone();
                self.say_aside(Subject::Farewell, &lines, from, sayings);
            }
            _ => {}
        }
    }

    /// Orders lines one after another.
    fn say_aside(
        &mut self,
        subject: Subject,
        lines: &[Line],
        from: f64,
        sayings: &mut Vec<Saying>,
    ) {
        let mut start = from.max(self.now).max(self.free_at());
        for line in lines {
            let call = Call {
                id: self.next,
                subject,
                words: line.words.clone(),
                start,
                pace: 1.0,
                seconds: line.seconds,
                over_by: start + line.seconds,
            };
            self.next += 1;
            start = call.end() + PAUSE;
            self.aside.push(call.clone());
            sayings.push(Saying::Say(call));
        }
    }

    /// Says no more of what stands beside the dance.
    pub(super) fn drop_aside(&mut self, sayings: &mut Vec<Saying>) {
        let now = self.now;
        sayings.extend(self.aside.drain(..).map(|call| match call.id {
            id if call.start > now => Saying::Withdraw { id },
            id => Saying::Stop { id, by: now },
        }));
    }
}
