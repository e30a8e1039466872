//! Which words are said at which time through: calls are faded out.

use super::script::{LAST_TIME, TWO_MORE};

/// How much is said of a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wording {
    /// The whole call.
    Full,
    /// As few words as will do.
    Short,
    /// Nothing; the flash goes on.
    Silent,
}

/// What the band is told of the end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Signal {
    /// Two more times through.
    TwoMore,
    /// Once more.
    LastTime,
}

impl Signal {
    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Signal::TwoMore => TWO_MORE,
            Signal::LastTime => LAST_TIME,
        }
    }
}

/// Beats before the end of a time through in which the band is told what follows, and
/// beats of the next one in which that may be made up for: a part.
const TOLD_WITHIN: u32 = crate::phrase::PART_BEATS;

/// The plan of a dance: full calls, then short ones, then silence, and how many times
/// through it is danced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fading {
    /// Times through with full calls.
    pub full: u32,
    /// Times through with short calls after that.
    pub short: u32,
    /// Times through in all, if that is known.
    pub times: Option<u32>,
}

impl Default for Fading {
    /// Three times in full, two more in short. (Our own choice: with newcomers on the
    /// floor callers call the first times whole and are silent by the middle.)
    fn default() -> Self {
        Fading {
            full: 3,
            short: 2,
            times: None,
        }
    }
}

/// Whether the dance is over by this time through (from 1), if so many are danced in all.
pub fn over(time_through: u32, times: Option<u32>) -> bool {
    times.is_some_and(|times| time_through > times)
}

impl Fading {
    /// What is said of the figures of a time through, from 1.
    pub fn wording(&self, time_through: u32) -> Wording {
        if over(time_through, self.times) {
            Wording::Silent
        } else if time_through <= self.full {
            Wording::Full
        } else if time_through <= self.full.saturating_add(self.short) {
            Wording::Short
        } else {
            Wording::Silent
        }
    }

    /// What the band is to be told on this beat (from 0) of this time through (from
    /// 1), in a form of so many beats: in the last part before the last two times, and
    /// of the last; still in their first part.
    pub fn signal(&self, beat: u32, time_through: u32, form: u32) -> Option<Signal> {
        let left = self.times?.checked_sub(time_through)?;
        let ending = beat + TOLD_WITHIN >= form;
        let beginning = beat < TOLD_WITHIN;
        match left {
            2 if ending => Some(Signal::TwoMore),
            1 if ending => Some(Signal::LastTime),
            1 if beginning => Some(Signal::TwoMore),
            0 if beginning => Some(Signal::LastTime),
            _ => None,
        }
    }

    /// The number of times through that a press on the key for the end asks for, in
    /// this time through: first that the next is the last, then that two follow, then
    /// again what was planned before (`planned`).
    pub fn pressed(&self, time_through: u32, planned: Option<u32>) -> Option<u32> {
        match self.times {
            Some(times) if times == time_through + 1 => Some(time_through + 2),
            Some(times) if times == time_through + 2 => planned.filter(|planned| *planned > times),
            _ => Some(time_through + 1),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn calls_fade_from_full_to_short_to_silence() {
        use Wording::*;
        let plan = Fading {
            full: 2,
            short: 1,
            times: Some(5),
        };
        let all: Vec<Wording> = (1..=6).map(|time| plan.wording(time)).collect();
        assert_eq!(all, [Full, Full, Short, Silent, Silent, Silent]);
        let ever = Fading {
            full: u32::MAX,
            short: u32::MAX,
            times: Some(4),
        };
        assert_eq!((ever.wording(4), ever.wording(5)), (Full, Silent));
    }

    #[test]
    fn a_dance_is_over_after_its_last_time_through() {
        assert!(!over(1, Some(1)) && over(2, Some(1)));
        assert!(!over(u32::MAX, None), "nobody knows its end");
    }

    #[test]
    fn the_band_is_told_a_part_ahead_and_a_part_long_after() {
        let plan = Fading {
            times: Some(7),
            ..Fading::default()
        };
        let told = |beat, time| plan.signal(beat, time, 64);
        assert_eq!((told(47, 5), told(63, 4)), (None, None));
        let (two, last) = (Some(Signal::TwoMore), Some(Signal::LastTime));
        assert_eq!((told(48, 5), told(63, 5), told(15, 6)), (two, two, two));
        assert_eq!((told(16, 6), told(47, 6)), (None, None));
        assert_eq!((told(48, 6), told(0, 7), told(15, 7)), (last, last, last));
        assert_eq!((told(16, 7), told(63, 7), told(0, 8)), (None, None, None));
        assert_eq!(Fading::default().signal(60, 5, 64), None);
    }

    #[test]
    fn the_key_asks_for_one_more_then_two_then_neither() {
        let mut plan = Fading::default();
        let mut press = |time, planned| {
            plan.times = plan.pressed(time, planned);
            plan.times
        };
        assert_eq!(press(4, None), Some(5));
        assert_eq!(press(4, None), Some(6));
        assert_eq!(press(4, None), None);
        assert_eq!(press(4, Some(9)), Some(5));
        // In the last time itself it asks for one more.
        assert_eq!(press(5, Some(9)), Some(6));
        assert_eq!(press(5, Some(9)), Some(7));
        assert_eq!(press(5, Some(9)), Some(9));
    }
}
