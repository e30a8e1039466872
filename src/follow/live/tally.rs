//! What is counted while following.

/// Measured delays that are kept.
pub(super) const DELAYS: usize = 100_000;

/// What is counted while following.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// Seconds of sound heard.
    pub seconds: f64,
    /// Times that sound was found missing between two blocks, and how much.
    pub holes: u64,
    /// Seconds of it in all.
    pub missing: f64,
    /// Seconds from the sound that decided an event until the event was out.
    pub delays: Vec<f64>,
}

impl Tally {
    /// Counts a delay, seconds.
    pub(super) fn delayed(&mut self, seconds: f64) {
        if self.delays.len() < DELAYS {
            self.delays.push(seconds);
        }
    }

    /// Median and 95th percentile of the delays, seconds; `None` without any.
    pub fn delay(&self) -> Option<(f64, f64)> {
        let mut sorted = self.delays.clone();
        sorted.sort_by(f64::total_cmp);
        let within = |percent: usize| sorted.get(sorted.len() * percent / 100).copied();
        Some((within(50)?, within(95)?))
    }
}
