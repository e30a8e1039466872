//! How loud the sound is that comes in.

use std::sync::atomic::{AtomicU32, AtomicU64, Ordering::Relaxed};

/// From here on a sample counts as clipped: full scale, less the rounding of
/// 16-bit converters.
const FULL: f32 = 0.999;

/// Seconds that one reading covers.
const SECONDS: f64 = 0.1;

/// How loud the last tenth of a second was; full scale is 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Level {
    /// Largest sample.
    pub peak: f32,
    /// Root of the mean square.
    pub rms: f32,
    /// Samples at full scale since the device was opened.
    pub clipped: u64,
}

/// Carries readings from the callback to whoever asks, without locks.
#[derive(Debug, Default)]
pub struct Meter {
    peak: AtomicU32,
    rms: AtomicU32,
    clipped: AtomicU64,
}

impl Meter {
    /// The newest reading.
    pub fn level(&self) -> Level {
        Level {
            peak: f32::from_bits(self.peak.load(Relaxed)),
            rms: f32::from_bits(self.rms.load(Relaxed)),
            clipped: self.clipped.load(Relaxed),
        }
    }
}

/// The callback's own side of a [`Meter`].
#[derive(Debug)]
pub(super) struct Needle {
    window: u32,
    seen: u32,
    peak: f32,
    square: f64,
}

impl Needle {
    pub(super) fn new(rate: u32) -> Self {
        Needle {
            window: ((SECONDS * f64::from(rate)) as u32).max(1),
            seen: 0,
            peak: 0.0,
            square: 0.0,
        }
    }

    /// Takes in samples and publishes a reading when a window is full.
    pub(super) fn see(&mut self, samples: &[f32], meter: &Meter) {
        for sample in samples {
            let size = sample.abs();
            self.peak = self.peak.max(size);
            self.square += f64::from(size * size);
            self.seen += 1;
            if size >= FULL {
                meter.clipped.fetch_add(1, Relaxed);
            }
            if self.seen == self.window {
                let rms = (self.square / f64::from(self.seen)).sqrt() as f32;
                meter.peak.store(self.peak.to_bits(), Relaxed);
                meter.rms.store(rms.to_bits(), Relaxed);
                (self.seen, self.peak, self.square) = (0, 0.0, 0.0);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_covers_a_tenth_of_a_second() {
        let meter = Meter::default();
        let mut needle = Needle::new(1_000);
        needle.see(&[0.5; 99], &meter);
        assert_eq!(meter.level(), Level::default(), "not full yet");
        needle.see(&[-0.5], &meter);
        assert_eq!((meter.level().peak, meter.level().rms), (0.5, 0.5));
        needle.see(&[1.0, -1.0, 0.0], &meter);
        needle.see(&[0.0; 97], &meter);
        let level = meter.level();
        assert_eq!((level.peak, level.clipped), (1.0, 2));
        assert!((level.rms - 0.02f32.sqrt()).abs() < 1e-6);
    }
}
