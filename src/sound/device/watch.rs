//! Whether a device still lives, from what its callbacks tell.

use cpal::ErrorKind;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering::Relaxed};
use std::time::{Duration, Instant};

/// With no callback for so long the device is gone: a dead sound server never
/// says so.
const LOST_AFTER: Duration = Duration::from_secs(1);

/// Errors between two callbacks that are harmless: starts bring up to 2,000.
const FLOOD: u64 = 2_500;

/// Beyond that each error waits so long, or they would fill a processor core
/// (some 15,000 come a second when the sound server dies).
const FLOOD_PAUSE: Duration = Duration::from_millis(5);

/// What a device's callbacks leave for its watcher. Nothing in it is locked.
#[derive(Debug)]
pub(super) struct Watch {
    /// The zero of all times here.
    epoch: Instant,
    /// When the last callback ran, nanoseconds since `epoch`.
    last: AtomicU64,
    /// Error reports since the last callback, and in all.
    errors_now: AtomicU64,
    errors: AtomicU64,
    /// Dropouts that the device reported.
    xruns: AtomicU64,
    /// The device said itself that it is gone.
    gone: AtomicBool,
}

impl Watch {
    pub(super) fn new(epoch: Instant) -> Self {
        Watch {
            epoch,
            last: AtomicU64::new(0),
            errors_now: AtomicU64::new(0),
            errors: AtomicU64::new(0),
            xruns: AtomicU64::new(0),
            gone: AtomicBool::new(false),
        }
    }

    pub(super) fn epoch(&self) -> Instant {
        self.epoch
    }

    /// Notes that a callback ran at `at`, or that the stream was started; returns
    /// how long after `epoch` that is.
    pub(super) fn alive(&self, at: Instant) -> Duration {
        let since = at.saturating_duration_since(self.epoch);
        self.last.store(since.as_nanos() as u64, Relaxed);
        self.errors_now.store(0, Relaxed);
        since
    }

    /// Takes note of an error report. It is counted, never printed; whether
    /// the device still runs is for [`lost`](Self::lost) to say, except where
    /// it says itself that it is gone.
    pub(super) fn note(&self, kind: ErrorKind) {
        self.errors.fetch_add(1, Relaxed);
        match kind {
            ErrorKind::DeviceNotAvailable | ErrorKind::StreamInvalidated => {
                self.gone.store(true, Relaxed);
            }
            ErrorKind::Xrun => {
                self.xruns.fetch_add(1, Relaxed);
            }
            _ => {}
        }
        if self.errors_now.fetch_add(1, Relaxed) > FLOOD {
            // No sound passes at this point, so nothing is held up.
            std::thread::sleep(FLOOD_PAUSE);
        }
    }

    pub(super) fn errors(&self) -> u64 {
        self.errors.load(Relaxed)
    }

    pub(super) fn xruns(&self) -> u64 {
        self.xruns.load(Relaxed)
    }

    /// Whether the device has stopped by `now`.
    pub(super) fn lost(&self, now: Instant) -> bool {
        let since = now.saturating_duration_since(self.epoch);
        let last = Duration::from_nanos(self.last.load(Relaxed));
        self.gone.load(Relaxed) || since.saturating_sub(last) > LOST_AFTER
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn silence_or_its_own_word_tells_that_a_device_is_gone() {
        let watch = Watch::new(Instant::now());
        let at = |s: f64| watch.epoch() + Duration::from_secs_f64(s);
        watch.alive(at(5.0));
        assert!(!watch.lost(at(5.9)));
        assert!(watch.lost(at(6.1)));
        watch.alive(at(7.0));
        watch.note(ErrorKind::BackendError);
        watch.note(ErrorKind::Xrun);
        assert!(!watch.lost(at(7.1)));
        assert_eq!((watch.errors(), watch.xruns()), (2, 1));
        watch.note(ErrorKind::DeviceNotAvailable);
        assert!(watch.lost(at(7.1)));
    }

    #[test]
    fn a_flood_of_errors_is_slowed_down() {
        let watch = Watch::new(Instant::now());
        let start = Instant::now();
        for _ in 0..FLOOD {
            watch.note(ErrorKind::BackendError);
        }
        let quick = start.elapsed();
        for _ in 0..20 {
            watch.note(ErrorKind::BackendError);
        }
        assert!(start.elapsed() - quick > 15 * FLOOD_PAUSE);
    }
}
