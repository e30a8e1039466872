//! Calling aloud, live.

use super::super::speech::{Calling, Speech};
use super::Live;
use crate::cue::Call;

impl Live {
    /// Calls the dance that is on aloud from now on.
    pub fn call(&mut self, calling: &Calling) {
        self.scheduler.set_times(calling.manner.fading.times);
        self.call_next(Some(calling));
    }

    /// Another dance is called from now on, or (`None`) nothing is.
    pub(super) fn call_next(&mut self, calling: Option<&Calling>) {
        let now = self.sound();
        match (&mut self.speech, calling) {
            (Some(speech), _) => speech.next_dance(calling, now),
            (None, Some(calling)) => self.speech = Some(Speech::new(calling)),
            (None, None) => {}
        }
    }

    /// Whether calls are heard; without a voice there are none.
    pub fn set_voice(&mut self, on: bool) {
        let now = self.sound();
        if let Some(speech) = &mut self.speech {
            speech.set_on(on, now);
        }
    }

    /// The dance is to be so many times through; `None` if nobody knows.
    pub fn set_times(&mut self, times: Option<u32>) {
        let now = self.sound();
        self.scheduler.set_times(times);
        if let Some(speech) = &mut self.speech {
            speech.set_times(times, now);
        }
    }

    /// Speaks the introductions from `now` of the common time on, until the band begins.
    pub fn introduce(&mut self, now: f64) {
        let now = self.sound_at(now).unwrap_or_else(|| self.sound());
        if let Some(speech) = &mut self.speech {
            speech.introduce(now);
        }
    }

    /// The call that a step with this number is for, if it is one.
    pub fn called(&self, id: u64) -> Option<&Call> {
        self.speech.as_ref()?.call(id)
    }
}
