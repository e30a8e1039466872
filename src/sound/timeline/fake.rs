//! A device for tests: it counts as real ones do, without hardware.

use super::Stamp;
use rand::RngExt;
use rand_pcg::Pcg32;
use rand_pcg::rand_core::SeedableRng;

/// A device whose samples come evenly and whose stamps do not.
pub(crate) struct Device {
    rng: Pcg32,
    /// Samples a second in truth.
    pub(crate) rate: f64,
    pub(crate) block: u64,
    pub(crate) count: u64,
    /// When sample 0 would have been, had none been lost.
    zero: f64,
    /// Slow part of the stamps' wandering, seconds.
    wander: f64,
    /// Stamps are wild until then.
    wild_until: f64,
}

impl Device {
    pub(crate) fn new(seed: u64, nominal: f64, ppm: f64, block: u64) -> Self {
        Device {
            rng: Pcg32::seed_from_u64(seed),
            rate: nominal * (1.0 + 1e-6 * ppm),
            block,
            count: 0,
            zero: 3.0,
            wander: 0.0,
            wild_until: 0.0,
        }
    }

    pub(crate) fn true_time(&self, count: f64) -> f64 {
        self.zero + count / self.rate
    }

    pub(crate) fn true_count(&self, time: f64) -> f64 {
        (time - self.zero) * self.rate
    }

    /// The next callback's stamp, as seen on a sound server and worse: up to
    /// 18 ms off, a part of it swinging slowly, a part lasting for some
    /// callbacks, now and then much later, and wild after a hole.
    pub(crate) fn next(&mut self) -> Stamp {
        let truth = self.true_time(self.count as f64);
        self.wander = 0.9 * self.wander + self.rng.random_range(-0.0015..0.0015);
        let swing = 0.004 * (truth / 31.0 * std::f64::consts::TAU).sin();
        let mut off = swing + self.wander + self.rng.random_range(-0.009..0.009);
        if self.rng.random_range(0.0..1.0) < 0.01 {
            off += self.rng.random_range(0.03..0.08);
        }
        if truth < self.wild_until {
            off += self.rng.random_range(-0.03..0.05);
        }
        let stamp = Stamp {
            count: self.count,
            at: truth + off,
        };
        self.count += self.block;
        stamp
    }

    /// Counts from 0 at `time`.
    pub(crate) fn begin(&mut self, time: f64) {
        self.zero = time;
    }

    /// Loses `seconds` of sound.
    pub(crate) fn hole(&mut self, seconds: f64) {
        self.wild_until = self.true_time(self.count as f64) + 0.3;
        self.zero += seconds;
    }
}
