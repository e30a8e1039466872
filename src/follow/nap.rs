//! Noticing that the computer slept.
//!
//! The steady clock that everything here runs by stands still while a laptop
//! sleeps. Another clock, which does not, tells how long.

#[cfg(not(target_os = "linux"))]
use std::time::SystemTime;

/// Further apart than this, seconds, the two clocks have run while the computer slept.
const SLEPT: f64 = 2.0;

/// Compares the two clocks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Nap {
    /// What the clock that does not sleep was ahead at the last look, seconds.
    ahead: f64,
}

impl Nap {
    /// A first look: `sleepless` and `steady` are the clocks' readings, seconds.
    pub(super) fn new(sleepless: f64, steady: f64) -> Self {
        Nap {
            ahead: sleepless - steady,
        }
    }

    /// How many seconds the computer slept since the last look, if it did. Clocks that
    /// drift apart slowly, or a clock that is put back, are no sleep.
    pub(super) fn look(&mut self, sleepless: f64, steady: f64) -> Option<f64> {
        let ahead = sleepless - steady;
        let slept = ahead - self.ahead;
        self.ahead = ahead;
        (slept > SLEPT).then_some(slept)
    }
}

/// A clock that runs on while the computer sleeps, seconds from some moment: that
/// since the start, which nobody sets (CLOCK_BOOTTIME, clock_gettime(2)).
#[cfg(target_os = "linux")]
pub(super) fn sleepless() -> f64 {
    let time = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
    time.tv_sec as f64 + 1e-9 * time.tv_nsec as f64
}

/// A clock that runs on while the computer sleeps, seconds from some moment: the one
/// on the wall. (Where it is put forward by more than two seconds, that is taken for a
/// sleep: the program then listens anew, and no more.)
#[cfg(not(target_os = "linux"))]
pub(super) fn sleepless() -> f64 {
    SystemTime::now()
        .duration_since(SystemTime::UNIX_EPOCH)
        .map_or(0.0, |d| d.as_secs_f64())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sleep_is_told_once_and_with_its_length() {
        let mut nap = Nap::new(1_000.0, 5.0);
        assert_eq!(nap.look(1_001.0, 6.0), None);
        assert_eq!(nap.look(4_602.0, 7.0), Some(3_600.0));
        assert_eq!(nap.look(4_603.0, 8.0), None);
        assert_eq!(nap.look(4_613.0, 8.5), Some(9.5));
    }

    #[test]
    fn drift_a_busy_machine_and_a_clock_put_back_are_no_sleep() {
        let mut nap = Nap::new(0.0, 0.0);
        // 100 parts per million apart, looked at seldom.
        for look in 1..100 {
            let steady = 60.0 * f64::from(look);
            assert_eq!(nap.look(steady * 1.0001, steady), None);
        }
        let mut nap = Nap::new(50.0, 10.0);
        assert_eq!(nap.look(20.0, 11.0), None);
        assert_eq!(nap.look(21.0, 12.0), None);
    }

    #[test]
    fn the_sleepless_clock_goes_on() {
        let before = sleepless();
        std::thread::sleep(std::time::Duration::from_millis(20));
        assert!((0.02..10.0).contains(&(sleepless() - before)));
    }
}
