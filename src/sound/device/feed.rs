//! The output callback's work: from the ring to the device's own frames.

use super::pace::{Pace, Shared};
use super::stream::PIECE;
use cpal::{FromSample, Sample};
use ringbuf::HeapCons;
use ringbuf::traits::{Consumer, Observer};
use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::time::{Duration, Instant};

/// Most channels that come through the ring.
pub(super) const MOST_CHANNELS: usize = 2;

/// The callback's state.
pub(super) struct Feed {
    ring: HeapCons<f32>,
    shared: Arc<Shared>,
    pace: Pace,
    /// Channels in the ring: 1 or 2.
    from: usize,
    /// Channels of the device.
    to: usize,
    /// Whether sound has come at all, and whether it is missing now.
    begun: bool,
    dry: bool,
    /// Frames of silence since the last sound.
    pause: u64,
}

impl Feed {
    pub(super) fn new(
        ring: HeapCons<f32>,
        shared: Arc<Shared>,
        rate: u32,
        from: usize,
        to: usize,
    ) -> Self {
        Feed {
            ring,
            shared,
            pace: Pace::new(rate),
            from,
            to: to.max(1),
            begun: false,
            dry: false,
            pause: 0,
        }
    }

    /// Fills one of the device's buffers, the first frame of which will be
    /// heard after `delay`.
    pub(super) fn fill<T>(&mut self, out: &mut [T], delay: Duration)
    where
        T: Sample + FromSample<f32>,
    {
        let now = Instant::now();
        self.shared.watch.alive(now);
        let wanted = out.len() / self.to;
        self.pace.callback(&self.shared, now, delay, wanted);

        let there = (self.ring.occupied_len() / self.from).min(wanted);
        let (sound, silence) = out.split_at_mut(there * self.to);
        let mut scratch = [0.0f32; PIECE * MOST_CHANNELS];
        for piece in sound.chunks_mut(PIECE * self.to) {
            let frames = piece.len() / self.to;
            let scratch = &mut scratch[..frames * self.from];
            self.ring.pop_slice(scratch);
            spread(scratch, self.from, piece, self.to);
        }
        silence.fill(T::EQUILIBRIUM);

        // Silence counts once sound follows it. Until then the position rests
        // at the end of what there was.
        if there > 0 {
            self.shared.silent.fetch_add(self.pause, Relaxed);
            self.pause = 0;
        }
        self.pause += (wanted - there) as u64;
        self.shared.taken.fetch_add(there as u64, Relaxed);
        let was_dry = std::mem::replace(&mut self.dry, there < wanted);
        if self.begun && self.dry && !was_dry && !self.shared.ended.load(Relaxed) {
            self.shared.underruns.fetch_add(1, Relaxed);
        }
        self.begun |= there > 0;
    }
}

/// Lays frames of one or two channels out for a device of `to` channels: mono
/// in the first two, stereo in the first two, and stereo mixed for a single
/// loudspeaker.
pub(super) fn spread<T>(frames: &[f32], from: usize, out: &mut [T], to: usize)
where
    T: Sample + FromSample<f32>,
{
    for (frame, out) in frames.chunks_exact(from).zip(out.chunks_exact_mut(to)) {
        let (left, right) = (frame[0], frame[from - 1]);
        for (n, sample) in out.iter_mut().enumerate() {
            *sample = match n {
                0 if to == 1 => T::from_sample(0.5 * (left + right)),
                0 => T::from_sample(left),
                1 => T::from_sample(right),
                _ => T::EQUILIBRIUM,
            };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ringbuf::HeapRb;
    use ringbuf::traits::{Producer, Split};

    fn feed(samples: &[f32], from: usize, to: usize) -> (Feed, Arc<Shared>) {
        let (feed, shared, _) = refillable(samples, from, to);
        (feed, shared)
    }

    fn refillable(
        samples: &[f32],
        from: usize,
        to: usize,
    ) -> (Feed, Arc<Shared>, ringbuf::HeapProd<f32>) {
        let (mut push, pop) = HeapRb::new(samples.len().max(1)).split();
        push.push_slice(samples);
        let shared = Arc::new(Shared::new());
        let feed = Feed::new(pop, shared.clone(), 48_000, from, to);
        (feed, shared, push)
    }

    #[test]
    fn every_layout_reaches_the_loudspeakers() {
        let stereo = [0.5, -0.5, 0.25, 0.75];
        let fill = |samples: &[f32], from, to| {
            let (mut feed, _) = feed(samples, from, to);
            let mut out = vec![9.0f32; 2 * to];
            feed.fill(&mut out, Duration::ZERO);
            out
        };
        assert_eq!(fill(&stereo, 2, 2), stereo);
        assert_eq!(fill(&stereo, 2, 1), [0.0, 0.5]);
        assert_eq!(fill(&stereo, 2, 3), [0.5, -0.5, 0.0, 0.25, 0.75, 0.0]);
        assert_eq!(fill(&[0.5, -0.5], 1, 2), [0.5, 0.5, -0.5, -0.5]);
        assert_eq!(fill(&[0.5, -0.5], 1, 1), [0.5, -0.5]);
    }

    #[test]
    fn integer_devices_get_their_own_numbers() {
        let (mut signed, _) = feed(&[0.5, -1.0], 1, 1);
        let mut out = [7i16; 3];
        signed.fill(&mut out, Duration::ZERO);
        assert_eq!(out, [16384, -32768, 0]);
        let (mut unsigned, _) = feed(&[0.5], 1, 1);
        let mut out = [7u8; 2];
        unsigned.fill(&mut out, Duration::ZERO);
        assert_eq!(out, [192, 128]);
    }

    #[test]
    fn running_dry_is_counted_once_and_not_at_the_end() {
        let (mut feed, shared, mut push) = refillable(&[0.1; 1_000], 1, 2);
        let mut out = vec![0.0f32; 2 * 600];
        feed.fill(&mut out, Duration::ZERO);
        assert_eq!(shared.underruns.load(Relaxed), 0);
        for _ in 0..3 {
            feed.fill(&mut out, Duration::ZERO);
        }
        assert_eq!(shared.underruns.load(Relaxed), 1);
        assert_eq!(shared.taken.load(Relaxed), 1_000);
        assert_eq!(shared.silent.load(Relaxed), 0, "no sound has followed");
        push.push_slice(&[0.1; 600]);
        feed.fill(&mut out, Duration::ZERO);
        assert_eq!(shared.silent.load(Relaxed), 1_400);
        shared.ended.store(true, Relaxed);
        feed.fill(&mut out, Duration::ZERO);
        assert_eq!(shared.underruns.load(Relaxed), 1);
    }
}
