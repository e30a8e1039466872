//! Whether words fit before a beat, how many beats ahead, and how fast.

use super::voice::PACES;

/// Seconds between the end of a call and the beat that it is for, as foreseen: a
/// breath. It takes up what the band's tempo changes meanwhile.
pub const BREATH: f64 = 0.12;

/// How words are spoken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fit {
    /// Beats ahead at which they begin.
    pub(super) beats: u32,
    /// One of [`PACES`].
    pub(super) pace: f64,
}

/// The latest beat, and the most natural pace, at which words of `seconds` are over a
/// [`BREATH`] before their beat; beats are `period` seconds long, and they begin at
/// most `room` beats ahead, and at least `lead` where there is room for that.
pub(super) fn fit(seconds: f64, period: f64, room: u32, lead: u32) -> Option<Fit> {
    PACES.into_iter().find_map(|pace| {
        let needed = (seconds / pace + BREATH) / period;
        // What is a hair above a whole number is that number.
        let needed = (needed - 1e-6).ceil().max(1.0);
        let fits = needed <= f64::from(room);
        fits.then(|| Fit {
            beats: (needed as u32).max(lead.min(room)),
            pace,
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn words_begin_on_the_latest_beat_and_hurry_only_if_they_must() {
        let found =
            |seconds, room, lead| fit(seconds, 0.5, room, lead).map(|fit| (fit.beats, fit.pace));
        assert_eq!(found(0.38, 8, 1), Some((1, 1.0)));
        assert_eq!(found(0.39, 8, 1), Some((2, 1.0)));
        assert_eq!(found(0.39, 1, 1), Some((1, 1.08)));
        assert_eq!(found(0.38, 8, 3), Some((3, 1.0)));
        assert_eq!(found(0.38, 2, 3), Some((2, 1.0)));
        assert_eq!(found(2.34, 4, 1), Some((4, 1.25)));
        assert_eq!(found(2.36, 4, 1), None);
        assert_eq!(found(0.1, 0, 1), None);
    }

    proptest! {
        #[test]
        fn what_fits_is_over_in_time_and_never_a_beat_too_early(
            seconds in 0.05..6.0f64, period in 0.4..0.7f64, room in 0u32..9, lead in 1u32..5,
        ) {
            let over = |beats: u32, pace: f64| f64::from(beats) * period - seconds / pace;
            match fit(seconds, period, room, lead) {
                Some(found) => {
                    prop_assert!(over(found.beats, found.pace) >= BREATH - 1e-5);
                    prop_assert!((1..=room).contains(&found.beats));
                    prop_assert!(found.beats >= lead.min(room));
                    if found.beats > lead {
                        prop_assert!(over(found.beats - 1, found.pace) < BREATH);
                    }
                    if found.pace > 1.0 {
                        prop_assert!(over(room, 1.0) < BREATH);
                    }
                }
                None => prop_assert!(over(room, 1.25) < BREATH),
            }
        }
    }
}
