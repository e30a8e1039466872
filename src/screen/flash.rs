//! What may light up, and when: never more than three flashes in any second.
//!
//! WCAG 2.2, success criterion 2.3.1 (<https://www.w3.org/TR/WCAG22/#three-flashes-or-below-threshold>),
//! allows three flashes in any one-second period. Two is all that is used here, so
//! that a picture shown a little late, or a terminal that draws in its own time,
//! does not make a fourth. Everything that lights up a large part of the screen is a
//! [`Lamp`], and all lamps share one [`Limiter`]: whatever the beats do, however
//! the count is moved and whichever keys are pressed, their sum stays within it.
//!
//! What changes on every beat besides is far from a flash: of the strip one cell in
//! eight goes on and another off, at most two and a half times a second, and the
//! large count changes its shape.

/// Flashes that may begin within [`WINDOW`] of one another.
const MOST: usize = 2;
/// That window, seconds: a second, and some for pictures that come late.
const WINDOW: f64 = 1.1;

/// Permits flashes, few enough in any second.
#[derive(Debug, Clone)]
pub(super) struct Limiter {
    /// When the latest ones began, oldest first.
    begun: [f64; MOST],
}

impl Default for Limiter {
    fn default() -> Self {
        Limiter {
            begun: [f64::NEG_INFINITY; MOST],
        }
    }
}

impl Limiter {
    /// Whether a flash may begin at `now` (seconds of a clock that never goes
    /// back); if so, it counts as begun.
    pub(super) fn begin(&mut self, now: f64) -> bool {
        // A clock that went back, or says nothing, permits nothing.
        let apart = now - self.begun[0];
        let allowed = apart > WINDOW && now >= self.begun[MOST - 1];
        if allowed {
            self.begun.rotate_left(1);
            self.begun[MOST - 1] = now;
        }
        allowed
    }
}

/// Something that can be lit.
#[derive(Debug, Clone, Default)]
pub(super) struct Lamp {
    wanted: bool,
    lit: bool,
}

impl Lamp {
    /// Says whether light is wanted at `now`. One that was not permitted when it
    /// began stays dark until it ends: lit late it would be out of time.
    pub(super) fn at(&mut self, now: f64, wanted: bool, limiter: &mut Limiter) {
        if wanted != self.wanted {
            self.lit = wanted && limiter.begin(now);
        }
        self.wanted = wanted;
    }

    pub(super) fn lit(&self) -> bool {
        self.lit
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::collection::vec;
    use proptest::prelude::*;

    /// The most flashes that begin within any one second.
    fn most_in_a_second(begun: &[f64]) -> usize {
        let within = |from: f64| {
            let second = from..=from + 1.0;
            begun.iter().filter(|b| second.contains(*b)).count()
        };
        begun.iter().map(|from| within(*from)).max().unwrap_or(0)
    }

    #[test]
    fn two_close_together_are_permitted_and_the_third_is_not() {
        let mut limiter = Limiter::default();
        let given = [0.0, 0.4, 0.8, 1.05, 1.2, 1.3, 1.6].map(|now| limiter.begin(now));
        assert_eq!(given, [true, true, false, false, true, false, true]);
        assert!(!limiter.begin(1.0), "back in time");
        assert!(!limiter.begin(f64::NAN));
        assert!(limiter.begin(9.0));
    }

    #[test]
    fn a_lamp_that_was_refused_stays_dark_until_it_is_wanted_anew() {
        let mut limiter = Limiter::default();
        assert!(limiter.begin(0.0) && limiter.begin(0.1));
        let mut lamp = Lamp::default();
        for now in [0.5, 1.0, 1.5, 2.0] {
            lamp.at(now, true, &mut limiter);
            assert!(!lamp.lit(), "{now}");
        }
        lamp.at(2.1, false, &mut limiter);
        lamp.at(2.2, true, &mut limiter);
        assert!(lamp.lit());
    }

    proptest! {
        #[test]
        fn any_lamps_together_stay_within_three_a_second(
            steps in vec((0.0..0.3_f64, any::<[bool; 3]>()), 1..400),
        ) {
            let mut limiter = Limiter::default();
            let mut lamps = [Lamp::default(), Lamp::default(), Lamp::default()];
            let (mut now, mut begun) = (0.0, Vec::new());
            for (wait, wanted) in steps {
                now += wait;
                for (lamp, wanted) in lamps.iter_mut().zip(wanted) {
                    let before = lamp.lit();
                    lamp.at(now, wanted, &mut limiter);
                    prop_assert!(!lamp.lit() || wanted);
                    if lamp.lit() && !before {
                        begun.push(now);
                    }
                }
            }
            prop_assert!(most_in_a_second(&begun) <= 3);
        }
    }
}
