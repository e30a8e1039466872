//! A wanted tempo, and what to tell the band.

use std::fmt;
use std::str::FromStr;

/// Steps per minute that can be asked for.
const RANGE: std::ops::RangeInclusive<f64> = 30.0..=240.0;
/// Beyond the window by more than this is more than "a little", steps per minute.
const LITTLE: f64 = 4.0;
/// How far past a border the tempo must be before the advice changes, steps per
/// minute: the tempo over 8 beats of a steady band wavers by about as much.
const STAY: f64 = 0.5;

/// A window of tempi, in steps per minute.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Want {
    low: f64,
    high: f64,
}

/// A window that cannot be used; says what to write instead.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WantError {
    /// Not two numbers.
    #[error("write the slowest and the fastest tempo with two dots between, such as 112..120")]
    Form,
    /// The slower tempo stands last.
    #[error("the slower tempo comes first: {high}..{low}")]
    Order {
        /// What stands first, as it was written.
        low: String,
        /// What stands last.
        high: String,
    },
    /// A window so narrow that no band stays in it.
    #[error(
        "the window is less than a step per minute wide; leave room for a band of people, such as 112..120"
    )]
    Narrow,
    /// No tempo for steps.
    #[error("{0} is no tempo for steps; give steps per minute from 30 to 240, such as 112..120")]
    Range(String),
}

impl Want {
    /// A window from `low` to `high` steps per minute.
    ///
    /// # Errors
    /// If they are not 30 to 240, in order, and a step per minute apart.
    pub fn new(low: f64, high: f64) -> Result<Self, WantError> {
        if let Some(odd) = [low, high].into_iter().find(|t| !RANGE.contains(t)) {
            return Err(WantError::Range(odd.to_string()));
        }
        if high < low {
            return Err(WantError::Order {
                low: low.to_string(),
                high: high.to_string(),
            });
        }
        if high - low < 1.0 {
            return Err(WantError::Narrow);
        }
        Ok(Want { low, high })
    }

    /// The slowest wanted tempo, steps per minute.
    pub fn low(self) -> f64 {
        self.low
    }

    /// The fastest.
    pub fn high(self) -> f64 {
        self.high
    }

    /// The middle of the window, steps per minute.
    pub fn middle(self) -> f64 {
        0.5 * (self.low + self.high)
    }

    /// How far `tempo` lies outside: above is positive, inside 0.
    fn outside(self, tempo: f64) -> f64 {
        (tempo - self.high).max(0.0) + (tempo - self.low).min(0.0)
    }
}

impl FromStr for Want {
    type Err = WantError;

    fn from_str(text: &str) -> Result<Self, WantError> {
        let (low, high) = text.split_once("..").ok_or(WantError::Form)?;
        let number = |text: &str| text.trim().parse::<f64>().map_err(|_| WantError::Form);
        Want::new(number(low)?, number(high)?)
    }
}

impl fmt::Display for Want {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}–{}", self.low, self.high)
    }
}

/// What to tell the band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Advice {
    /// Far too slow.
    Faster,
    /// Too slow.
    LittleFaster,
    /// In the window.
    Good,
    /// Too fast.
    LittleSlower,
    /// Far too fast.
    Slower,
}

impl Advice {
    /// The words to say.
    pub fn words(self) -> &'static str {
        match self {
            Advice::Faster => "faster, please",
            Advice::LittleFaster => "a little faster",
            Advice::Good => "good",
            Advice::LittleSlower => "a little slower",
            Advice::Slower => "slower, please",
        }
    }

    /// The same at a glance: which way to go, and how much.
    pub fn mark(self) -> &'static str {
        match self {
            Advice::Faster => "▲▲",
            Advice::LittleFaster => "▲",
            Advice::Good => "●",
            Advice::LittleSlower => "▼",
            Advice::Slower => "▼▼",
        }
    }

    /// From too slow to too fast.
    const ALL: [Advice; 5] = [
        Advice::Faster,
        Advice::LittleFaster,
        Advice::Good,
        Advice::LittleSlower,
        Advice::Slower,
    ];

    /// The slowest and fastest tempo for which this is the advice.
    fn holds(self, want: Want) -> (f64, f64) {
        match self {
            Advice::Faster => (f64::NEG_INFINITY, want.low - LITTLE),
            Advice::LittleFaster => (want.low - LITTLE, want.low),
            Advice::Good => (want.low, want.high),
            Advice::LittleSlower => (want.high, want.high + LITTLE),
            Advice::Slower => (want.high + LITTLE, f64::INFINITY),
        }
    }
}

/// Gives advice that does not flicker: it changes only when the tempo is clearly
/// past a border.
#[derive(Debug, Clone)]
pub struct Adviser {
    want: Want,
    advice: Option<Advice>,
}

impl Adviser {
    /// An adviser for `want`.
    pub fn new(want: Want) -> Self {
        Adviser { want, advice: None }
    }

    /// The wanted window.
    pub fn want(&self) -> Want {
        self.want
    }

    /// The advice given last.
    pub fn advice(&self) -> Option<Advice> {
        self.advice
    }

    /// Takes in the tempo over 8 beats; gives the advice for it.
    pub fn push(&mut self, tempo: f64) -> Advice {
        // In a narrow window no more than a quarter of it on either side.
        let stay = STAY.min(0.25 * (self.want.high - self.want.low));
        let kept = self.advice.filter(|advice| {
            let (low, high) = advice.holds(self.want);
            (low - stay..=high + stay).contains(&tempo)
        });
        let plain = || {
            let faster = |a: &Advice| tempo <= a.holds(self.want).1;
            let found = Advice::ALL.into_iter().find(faster);
            // Exactly on the lower border it is good already.
            match found {
                Some(Advice::LittleFaster) if tempo >= self.want.low => Advice::Good,
                Some(advice) => advice,
                None => Advice::Slower,
            }
        };
        let advice = kept.unwrap_or_else(plain);
        self.advice = Some(advice);
        advice
    }

    /// The advice for `tempo` as a sentence, with the amount: "a little slower
    /// (by 3)".
    pub fn say(&self, tempo: f64) -> String {
        let Some(advice) = self.advice else {
            return format!("wanted: {}", self.want);
        };
        // Never "by 0": that would be no advice.
        let by = self.want.outside(tempo).abs().round().max(1.0);
        match advice {
            Advice::Good => format!("good, within {}", self.want),
            _ => format!("{} (by {by:.0})", advice.words()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn want() -> Want {
        "112..120".parse().unwrap()
    }

    #[test]
    fn windows_are_read_and_bad_ones_say_the_remedy() {
        assert_eq!(want(), Want::new(112.0, 120.0).unwrap());
        assert_eq!(" 96.5 .. 104".parse::<Want>().unwrap().low(), 96.5);
        for (text, remedy) in [
            ("120..112", "the slower tempo comes first: 112..120"),
            ("abc", "such as 112..120"),
            ("116", "such as 112..120"),
            ("112..", "such as 112..120"),
            ("..", "such as 112..120"),
            ("112..120..130", "such as 112..120"),
            ("116..116.5", "leave room"),
            ("NaN..120", "30 to 240"),
            ("0..120", "30 to 240"),
            ("112..1e9", "30 to 240"),
            ("-112..120", "30 to 240"),
        ] {
            let said = text.parse::<Want>().unwrap_err().to_string();
            assert!(said.contains(remedy), "{text}: {said}");
        }
    }

    #[test]
    fn advice_is_plain_and_says_by_how_much() {
        for (tempo, words) in [
            (100.0, "faster, please (by 12)"),
            (109.0, "a little faster (by 3)"),
            (111.9, "a little faster (by 1)"),
            (116.0, "good, within 112–120"),
            (123.2, "a little slower (by 3)"),
            (131.0, "slower, please (by 11)"),
        ] {
            let mut adviser = Adviser::new(want());
            adviser.push(tempo);
            assert_eq!(adviser.say(tempo), words);
        }
    }

    #[test]
    fn advice_does_not_flicker_at_any_border() {
        for border in [108.0, 112.0, 120.0, 124.0] {
            let mut adviser = Adviser::new(want());
            let mut changes = 0;
            let mut before = adviser.push(border + 0.3);
            for k in 0..100 {
                let waver = 0.4 * (f64::from(k) * 1.7).sin();
                let advice = adviser.push(border + waver);
                changes += u32::from(advice != before);
                before = advice;
            }
            assert!(changes <= 1, "{changes} changes at {border}");
        }
    }

    #[test]
    fn a_clear_change_is_said_at_once() {
        let mut adviser = Adviser::new(want());
        assert_eq!(adviser.push(116.0), Advice::Good);
        assert_eq!(adviser.push(120.4), Advice::Good);
        assert_eq!(adviser.push(120.6), Advice::LittleSlower);
        assert_eq!(adviser.push(119.7), Advice::LittleSlower);
        assert_eq!(adviser.push(119.4), Advice::Good);
        assert_eq!(adviser.push(126.0), Advice::Slower);
        assert_eq!(adviser.push(112.2), Advice::Good);
        assert_eq!(adviser.push(104.0), Advice::Faster);
        assert_eq!(adviser.push(119.9), Advice::Good);
    }
}
