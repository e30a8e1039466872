//! How far a device has played, from what its callbacks tell.
//!
//! A callback says that its first frame will be heard after some delay. The
//! frame count is exact, the delays are not: they wander by up to 18 ms, and
//! more after a dropout. So the frames are counted, and the delays only serve
//! to place frame 0 in time: a slow average, which a lasting jump (a dropout,
//! a device that stopped) moves at once.

use super::watch::Watch;
use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU64, Ordering::Relaxed};
use std::time::{Duration, Instant};

/// Weight of one callback in the average, once it has settled.
const SLOW: f64 = 0.03;

/// Further off than this, for [`PATIENCE`] callbacks on end, is a jump.
const JUMP: i64 = 40_000_000;

/// Callbacks that must agree on a jump.
const PATIENCE: u32 = 3;

/// What the callback thread tells the others. Nothing in it is ever locked.
pub(super) struct Shared {
    /// Whether the device lives; its epoch is the zero of all times here.
    pub(super) watch: Watch,
    /// When device frame 0 was or will be heard, nanoseconds since `epoch`.
    zero: AtomicI64,
    placed: AtomicBool,
    /// Frames of our sound handed to the device.
    pub(super) taken: AtomicU64,
    /// Frames of silence that lie before our last frame.
    pub(super) silent: AtomicU64,
    pub(super) underruns: AtomicU64,
    pub(super) ended: AtomicBool,
    /// The position given out last, as bits of an f64: it never falls.
    highest: AtomicU64,
}

impl Shared {
    pub(super) fn new() -> Self {
        Shared {
            watch: Watch::new(Instant::now()),
            zero: AtomicI64::new(0),
            placed: AtomicBool::new(false),
            taken: AtomicU64::new(0),
            silent: AtomicU64::new(0),
            underruns: AtomicU64::new(0),
            ended: AtomicBool::new(false),
            highest: AtomicU64::new(0),
        }
    }

    fn nanos(&self, at: Instant) -> i64 {
        at.saturating_duration_since(self.watch.epoch()).as_nanos() as i64
    }

    /// Frames of our sound heard by `now`, at `rate` frames a second.
    pub(super) fn heard(&self, now: Instant, rate: u32) -> f64 {
        let taken = self.taken.load(Relaxed) as f64;
        let mut frames = 0.0;
        if self.placed.load(Relaxed) {
            let since = (self.nanos(now) - self.zero.load(Relaxed)) as f64 * 1e-9;
            frames = since * f64::from(rate) - self.silent.load(Relaxed) as f64;
        }
        let frames = frames.clamp(0.0, taken);
        // Positive floats order like their bits.
        let before = self.highest.fetch_max(frames.to_bits(), Relaxed);
        frames.max(f64::from_bits(before))
    }
}

/// The callback's own side: works out `zero`.
pub(super) struct Pace {
    rate: f64,
    /// Frames handed to the device, ours and silence.
    frames: u64,
    seen: u32,
    zero: f64,
    off: u32,
}

impl Pace {
    pub(super) fn new(rate: u32) -> Self {
        Pace {
            rate: f64::from(rate),
            frames: 0,
            seen: 0,
            zero: 0.0,
            off: 0,
        }
    }

    /// A callback at `at` is about to hand over `frames` frames, the first of
    /// which is heard after `delay`.
    pub(super) fn callback(
        &mut self,
        shared: &Shared,
        at: Instant,
        delay: Duration,
        frames: usize,
    ) {
        let played = self.frames as f64 / self.rate * 1e9;
        let zero = shared.nanos(at) as f64 + delay.as_nanos() as f64 - played;
        self.frames += frames as u64;
        self.seen = self.seen.saturating_add(1);
        // The first callback reports no delay at all.
        if self.seen <= 2 {
            self.zero = zero;
        } else {
            let off = zero - self.zero;
            if off.abs() > JUMP as f64 {
                self.off += 1;
                if self.off >= PATIENCE {
                    self.zero = zero;
                    self.off = 0;
                }
            } else {
                self.off = 0;
                self.zero += off * SLOW.max(1.0 / f64::from(self.seen));
            }
        }
        shared.zero.store(self.zero as i64, Relaxed);
        shared.placed.store(true, Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs a device of 48 kHz whose reported delays wander, and returns the
    /// largest error of the position, seconds.
    fn worst(wander: impl Fn(u32) -> f64, from: u32) -> f64 {
        let shared = Shared::new();
        let mut pace = Pace::new(48_000);
        let block = 1_365usize;
        let (mut worst, mut last) = (0.0f64, 0.0f64);
        for n in 0..400u32 {
            let played = f64::from(n) * block as f64 / 48_000.0;
            // The device holds two blocks: frame 0 of this one is heard then.
            let truth = 0.1 + played + 0.057;
            let at = shared.watch.epoch() + Duration::from_secs_f64(0.1 + played);
            let delay = (0.057 + wander(n)).max(0.0);
            pace.callback(&shared, at, Duration::from_secs_f64(delay), block);
            shared.taken.fetch_add(block as u64, Relaxed);
            let now = shared.watch.epoch() + Duration::from_secs_f64(truth);
            let heard = shared.heard(now, 48_000) / 48_000.0;
            assert!(heard >= last, "ran backwards");
            last = heard;
            if n >= from {
                worst = worst.max((heard - played).abs());
            }
        }
        worst
    }

    #[test]
    fn steady_delays_give_the_exact_position() {
        assert!(worst(|_| 0.0, 1) < 1e-4);
    }

    #[test]
    fn wandering_delays_are_smoothed() {
        let wander = |n: u32| ((n * 7919) % 37) as f64 / 36.0 * 0.024 - 0.012;
        let worst = worst(wander, 40);
        assert!(worst < 0.005, "off by {worst} s");
    }

    #[test]
    fn the_first_report_of_no_delay_is_forgotten() {
        let worst = worst(|n| if n == 0 { -0.057 } else { 0.0 }, 5);
        assert!(worst < 0.001, "off by {worst} s");
    }

    #[test]
    fn silence_is_not_heard_as_sound() {
        let shared = Shared::new();
        let mut pace = Pace::new(1_000);
        let at = |s: f64| shared.watch.epoch() + Duration::from_secs_f64(s);
        pace.callback(&shared, at(0.0), Duration::ZERO, 100);
        shared.silent.fetch_add(100, Relaxed);
        assert_eq!(shared.heard(at(0.09), 1_000), 0.0);
        pace.callback(&shared, at(0.1), Duration::ZERO, 100);
        shared.taken.fetch_add(100, Relaxed);
        assert!((shared.heard(at(0.15), 1_000) - 50.0).abs() < 1.0);
        assert!((shared.heard(at(9.0), 1_000) - 100.0).abs() < 1e-6);
    }
}
