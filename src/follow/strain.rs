//! Longer buffers for a machine that cannot keep up with short ones.
//!
//! Each dropout of the loudspeaker shifts what sounds next; a longer buffer
//! only means that a clap stands where the beat before it put it.

use crate::sound::device::{LONGEST, SHORTEST};

/// Seconds in which dropouts are counted, and how many are too many.
const WINDOW: f64 = 20.0;
const TOO_MANY: u64 = 4;

/// Seconds after opening in which dropouts are usual.
const START: f64 = 3.0;

/// Judges the dropouts of a loudspeaker.
#[derive(Debug, Clone)]
pub(super) struct Strain {
    buffer: f64,
    /// Dropouts since the device was opened, when they were counted last.
    from: u64,
    /// When counting began.
    since: f64,
}

impl Default for Strain {
    fn default() -> Self {
        Strain {
            buffer: SHORTEST,
            from: 0,
            since: 0.0,
        }
    }
}

impl Strain {
    /// Seconds of sound to ask for at a time.
    pub(super) fn buffer(&self) -> f64 {
        self.buffer
    }

    /// The device was opened at `now`, seconds.
    pub(super) fn opened(&mut self, now: f64) {
        (self.from, self.since) = (0, now + START);
    }

    /// Whether the device, with `dropouts` since it was opened, should be opened
    /// anew with a longer buffer.
    pub(super) fn too_much(&mut self, dropouts: u64, now: f64) -> bool {
        if now < self.since || now > self.since + WINDOW {
            self.from = dropouts;
            self.since = self.since.max(now);
            return false;
        }
        let strained = dropouts.saturating_sub(self.from) >= TOO_MANY && self.buffer < LONGEST;
        if strained {
            self.buffer = (2.0 * self.buffer).min(LONGEST);
        }
        strained
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// When a device with dropouts at these times is opened anew.
    fn opened_anew(dropouts: &[f64]) -> Vec<f64> {
        let mut strain = Strain::default();
        strain.opened(0.0);
        let (mut anew, mut opened) = (Vec::new(), 0.0);
        for step in 0..1_200 {
            let now = 0.1 * f64::from(step);
            let so_far = dropouts.iter().filter(|d| (opened..=now).contains(*d));
            if strain.too_much(so_far.count() as u64, now) {
                anew.push(strain.buffer());
                opened = now + 0.001;
                strain.opened(now);
            }
        }
        anew
    }

    #[test]
    fn many_dropouts_lengthen_the_buffer_up_to_a_limit() {
        let steady: Vec<f64> = (0..120).map(f64::from).collect();
        assert_eq!(opened_anew(&steady), [0.040, 0.080]);
    }

    #[test]
    fn a_bad_start_and_a_dropout_now_and_then_are_borne() {
        assert!(opened_anew(&[0.1, 0.2, 0.3, 0.5, 1.0, 2.5]).is_empty());
        let seldom: Vec<f64> = (0..20).map(|n| 8.0 * f64::from(n)).collect();
        assert!(opened_anew(&seldom).is_empty());
    }
}
