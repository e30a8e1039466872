//! Keeping the place in the tune from one phrase to the next.

use crate::event::{Beat, Phrase};
use crate::phrase::{Form, PHRASE_BEATS, Place};

/// Beats in a phrase, for places that may lie before the tune's first beat.
const PHRASE: i64 = PHRASE_BEATS as i64;

/// Beats after which a place is still counted on from the latest one that was heard.
const MISSED: i64 = 4;

/// How near two announced times must be to mean the same beat, in seconds.
/// Beats lie at least 0.4 s apart (150 steps per minute).
pub(super) const SAME: f64 = 0.1;

/// Knows which beat of the tune each beat event is.
///
/// A beat carries only the dancers' count; the part and the time through come
/// with the phrase event that stands beside each "one". Between phrases the
/// seat counts on, and follows the counts when they are moved by a few beats.
#[derive(Debug, Clone)]
pub struct Seat {
    form: Form,
    /// The latest beat, counted from the tune's first; negative in a lead-in.
    beat: Option<i64>,
    time: f64,
    /// A phrase announced before its beat.
    coming: Option<(f64, i64)>,
    /// Whether the latest "one" came with its phrase.
    confirmed: bool,
}

impl Seat {
    /// A seat that knows no place yet.
    pub fn new(form: Form) -> Self {
        Seat {
            form,
            beat: None,
            time: f64::NEG_INFINITY,
            coming: None,
            confirmed: false,
        }
    }

    /// Forgets the place, as when a tune starts anew.
    pub fn clear(&mut self) {
        *self = Seat::new(self.form);
    }

    /// Takes the next beat; tells its place if that is known.
    pub fn beat(&mut self, beat: &Beat) -> Option<Place> {
        let since = since(self.time, beat);
        self.time = beat.time;
        let Some(count) = beat.count.filter(|c| (1..=8).contains(c)) else {
            self.beat = None;
            self.confirmed = false;
            return None;
        };
        let count = i64::from(count) - 1;
        match self.coming.take() {
            Some((time, at)) if (time - beat.time).abs() < SAME => {
                self.beat = Some(at + count);
                self.confirmed = true;
            }
            _ => {
                let moved = self.beat.map(|last| nearest(last + since, count));
                // Four beats may have been put on or taken off: only the next
                // phrase can tell. And that of a "one" may follow its beat.
                let clear = moved
                    .zip(self.beat)
                    .is_some_and(|(n, l)| n - l != since + 4);
                self.beat = moved;
                self.confirmed &= clear && count != 0;
            }
        }
        self.place()
    }

    /// Takes a phrase; tells the place of its first beat.
    pub fn phrase(&mut self, phrase: &Phrase) -> Place {
        let form = i64::from(self.form.beats());
        let at = i64::from(phrase.time_through.max(1) - 1) * form
            + (i64::from(phrase.phrase) * PHRASE) % form;
        if (phrase.time - self.time).abs() < SAME {
            self.beat = Some(at);
            self.confirmed = true;
        } else {
            self.coming = Some((phrase.time, at));
        }
        self.form.place(at.unsigned_abs())
    }

    /// Place of the latest beat.
    pub fn place(&self) -> Option<Place> {
        let beat = u64::try_from(self.beat?).ok()?;
        Some(self.form.place(beat))
    }

    /// Whether the program was sure of the phrase at the latest "one".
    pub fn confirmed(&self) -> bool {
        self.confirmed && self.beat.is_some()
    }

    /// The latest beat's number from the tune's first, while it is known.
    pub(super) fn number(&self) -> Option<i64> {
        self.beat
    }

    /// The form the seat counts in.
    pub fn form(&self) -> Form {
        self.form
    }
}

/// Beats from `time` to this one: more than one where some were missed. (If there are many,
/// it may be the band that paused, and goes on where it stopped: the next phrase tells.)
fn since(time: f64, beat: &Beat) -> i64 {
    let beats = (beat.time - time) * beat.steps_per_minute / 60.0;
    match beats.round() as i64 {
        few @ 1..=MISSED => few,
        _ => 1,
    }
}

/// The beat nearest to `expected` whose count (from 0) is `count`.
fn nearest(expected: i64, count: i64) -> i64 {
    let off = (count - expected).rem_euclid(PHRASE);
    expected + if off > PHRASE / 2 { off - PHRASE } else { off }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Part;

    fn beat(time: f64, count: Option<u8>) -> Beat {
        Beat {
            time,
            announced: time - 0.08,
            count,
            steps_per_minute: 120.0,
            sure: 0.9,
        }
    }

    fn phrase(time: f64, phrase: u32, time_through: u32) -> Phrase {
        Phrase {
            time,
            announced: time - 0.08,
            part: Part::from_index((phrase / 2) as u8).unwrap(),
            phrase,
            time_through,
            sure: 0.9,
        }
    }

    #[test]
    fn the_order_of_phrase_and_beat_does_not_matter() {
        for phrase_first in [true, false] {
            let mut seat = Seat::new(Form::default());
            assert_eq!(seat.beat(&beat(0.5, Some(8))), None);
            if phrase_first {
                seat.phrase(&phrase(1.0, 3, 2));
                seat.beat(&beat(1.0, Some(1)));
            } else {
                seat.beat(&beat(1.0, Some(1)));
                seat.phrase(&phrase(1.0, 3, 2));
            }
            assert!(seat.confirmed());
            let place = seat.beat(&beat(1.5, Some(2))).unwrap();
            assert_eq!((place.beat, place.time_through), (25, 2));
        }
    }

    #[test]
    fn counts_that_were_moved_are_followed() {
        for shift in -4..=4_i64 {
            let mut seat = Seat::new(Form::default());
            seat.phrase(&phrase(0.0, 2, 1));
            for i in 0..5 {
                seat.beat(&beat(0.5 * i as f64, Some(i as u8 + 1)));
            }
            // The next would be the sixth beat of the phrase, number 21.
            let count = (5 + shift).rem_euclid(8) as u8 + 1;
            let place = seat.beat(&beat(2.5, Some(count))).unwrap();
            if shift.abs() < 4 {
                assert_eq!(i64::from(place.beat), 21 + shift);
            }
            assert_eq!(seat.confirmed(), (-3..=2).contains(&shift), "{shift}");
        }
    }

    #[test]
    fn counts_that_were_moved_while_beats_were_missed_are_followed() {
        // Two beats are missed after the phrase's second; the next would be its fifth.
        for shift in -3..=3_i64 {
            let mut seat = Seat::new(Form::default());
            seat.phrase(&phrase(0.0, 2, 1));
            for i in 0..2 {
                seat.beat(&beat(0.5 * i as f64, Some(i as u8 + 1)));
            }
            let count = (4 + shift).rem_euclid(8) as u8 + 1;
            let place = seat.beat(&beat(2.0, Some(count))).unwrap();
            assert_eq!(i64::from(place.beat), 20 + shift);
            assert!(seat.confirmed());
        }
    }

    #[test]
    fn after_a_long_pause_the_count_goes_on_where_it_stopped() {
        let mut seat = Seat::new(Form::default());
        seat.phrase(&phrase(0.0, 2, 1));
        seat.beat(&beat(0.0, Some(1)));
        assert_eq!(seat.beat(&beat(4.6, Some(2))).unwrap().beat, 17);
    }

    #[test]
    fn without_counts_there_is_no_place() {
        let mut seat = Seat::new(Form::default());
        seat.phrase(&phrase(0.0, 0, 1));
        assert!(seat.beat(&beat(0.0, Some(1))).is_some());
        assert_eq!(seat.beat(&beat(0.5, None)), None);
        assert_eq!(seat.beat(&beat(1.0, Some(3))), None);
        assert!(!seat.confirmed());
    }

    #[test]
    fn a_one_without_its_phrase_is_not_confirmed() {
        let mut seat = Seat::new(Form::default());
        seat.phrase(&phrase(0.0, 7, 1));
        for i in 0..9 {
            let place = seat.beat(&beat(0.5 * f64::from(i), Some((i % 8) as u8 + 1)));
            assert_eq!(seat.confirmed(), i < 8);
            assert_eq!(place.unwrap().beat, (56 + i as u32) % 64);
        }
        assert_eq!(seat.place().unwrap().time_through, 2);
    }
}
