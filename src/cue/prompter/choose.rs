//! What to say next, from where the tune stands.

use super::{Prompter, SECOND_PRESS};
use crate::cue::Signal;
use crate::cue::call::Subject;
use crate::cue::fading::Wording;
use crate::cue::fit::{BREATH, fit};
use crate::cue::script::{Line, Prompt};
use crate::cue::voice::PACES;

/// A call without its number.
pub(super) struct Draft {
    pub(super) subject: Subject,
    pub(super) line: Line,
    pub(super) start: f64,
    pub(super) pace: f64,
    pub(super) over_by: f64,
}

impl Prompter {
    /// What to say on beat `number`, which falls at `time`, or on the one after it: what
    /// begins later is left to later beats. Beats are `period` seconds long.
    pub(super) fn draft(&self, number: i64, time: f64, period: f64) -> Option<Draft> {
        let at = |beat: i64| time + (beat - number) as f64 * period;
        self.next_figure(number, period, at)
            .or_else(|| self.next_signal(number, period, at))
    }

    /// The call of the first figure, when a lead-in tells that it starts at `one`: on
    /// the beat before, the lead-in's last.
    pub(super) fn draft_of_first(&self, one: f64, period: f64) -> Option<Draft> {
        let start = (one - period).max(self.now).max(self.free_at());
        let (number, prompt) = self.next_after(-1)?;
        if number != 0 {
            return None;
        }
        self.wordings(prompt, 1).find_map(|(line, short)| {
            let pace = PACES
                .into_iter()
                .find(|pace| start + line.seconds / pace + BREATH <= one)?;
            Some(Draft {
                subject: Subject::Figure { number, short },
                line: line.clone(),
                start,
                pace,
                over_by: one,
            })
        })
    }

    /// The first figure that starts after beat `number`, and the number of its first
    /// beat.
    pub(super) fn next_after(&self, number: i64) -> Option<(i64, &Prompt)> {
        self.script.next_after(number, self.manner.fading.times)
    }

    /// What may be said of a figure in this time through, from the most wanted to the
    /// least, and whether it is its short call.
    fn wordings<'a>(
        &self,
        prompt: &'a Prompt,
        time_through: u32,
    ) -> impl Iterator<Item = (&'a Line, bool)> + use<'a> {
        let full = prompt.full.as_ref().map(|line| (line, false));
        let short = prompt.short.as_ref().map(|line| (line, true));
        let wanted = match self.manner.fading.wording(time_through) {
            Wording::Full => [full, short],
            // A card need not have short calls.
            Wording::Short => [short.or(full), None],
            Wording::Silent => [None, None],
        };
        wanted.into_iter().flatten()
    }

    fn next_figure(&self, number: i64, period: f64, at: impl Fn(i64) -> f64) -> Option<Draft> {
        let (start, prompt) = self.next_after(number)?;
        let call = self.call_of(start, prompt, number, period, &at);
        if call.is_some() || start != number + 1 {
            return call;
        }
        // From its first beat on the one after it has its room.
        let (after, prompt) = self.next_after(start)?;
        self.call_of(after, prompt, start, period, &at)
            .filter(|draft| draft.start <= at(number + 1))
    }

    /// The call of the figure that starts on beat `start`, if it begins on beat `from`
    /// or the next.
    fn call_of(
        &self,
        start: i64,
        prompt: &Prompt,
        from: i64,
        period: f64,
        at: &impl Fn(i64) -> f64,
    ) -> Option<Draft> {
        if self.was_called(start, at(start), period) {
            return None;
        }
        let place = self.script.form().place(u64::try_from(start).ok()?);
        for (line, short) in self.wordings(prompt, place.time_through) {
            let Some(wanted) = fit(line.seconds, period, prompt.room, self.manner.lead) else {
                continue;
            };
            let first = (start - i64::from(wanted.beats)).max(from);
            let begins = (first..start).find_map(|beat| {
                // What is being said may leave less room than there was.
                let room = u32::try_from(start - beat).ok()?;
                let fits = fit(line.seconds, period, room, 1)?;
                (at(beat) >= self.free_at()).then_some((beat, fits.pace))
            });
            if let Some((beat, pace)) = begins {
                return (beat <= from + 1).then(|| Draft {
                    subject: Subject::Figure {
                        number: start,
                        short,
                    },
                    line: line.clone(),
                    start: at(beat),
                    pace,
                    over_by: at(start),
                });
            }
        }
        None
    }

    /// On which beat the call of the figure starting on `start` would begin; the figure's
    /// own first where nothing is said of it.
    fn begins_on(&self, start: i64, prompt: &Prompt, time: f64, period: f64) -> i64 {
        let through = u64::try_from(start).map(|start| self.script.form().place(start));
        let through = through.map_or(1, |place| place.time_through);
        if self.was_called(start, time, period) {
            return start;
        }
        self.wordings(prompt, through)
            .find_map(|(line, _)| fit(line.seconds, period, prompt.room, self.manner.lead))
            .map_or(start, |fit| start - i64::from(fit.beats))
    }

    /// What the band is to be told, in a pause between calls.
    fn next_signal(&self, number: i64, period: f64, at: impl Fn(i64) -> f64) -> Option<Draft> {
        let form = self.script.form();
        let times = self.manner.fading.times?;
        let free_at = self.free_at().max(self.pressed + SECOND_PRESS);
        (number..=number + 1).find_map(|beat| {
            let place = form.place(u64::try_from(beat).ok()?);
            let fading = &self.manner.fading;
            let signal = fading.signal(place.beat, place.time_through, form.beats())?;
            let subject = Subject::Signal(signal, times);
            if self.told.contains(&Some(subject)) || at(beat) < free_at {
                return None;
            }
            let line = match signal {
                Signal::TwoMore => self.script.two_more.as_ref()?,
                Signal::LastTime => self.script.last_time.as_ref()?,
            };
            let (start, prompt) = self.next_after(beat)?;
            let until = self.begins_on(start, prompt, at(start), period);
            let room = u32::try_from(until - beat).ok()?;
            let pace = fit(line.seconds, period, room, 1)?.pace;
            Some(Draft {
                subject,
                line: line.clone(),
                start: at(beat),
                pace,
                over_by: at(until),
            })
        })
    }
}
