//! Where sound goes and what time it is there.
//!
//! A loop that plays a tune asks one question of the outside world: how much
//! of what I wrote has been heard by now? [`Sink`] asks it. A sound card
//! answers it from its own crystal, [`Silent`] from the computer's clock, and
//! [`Manual`] from a test, so that the loop is the same with and without a
//! card.

use std::cell::Cell;
use std::rc::Rc;
use std::time::{Duration, Instant};

/// Seconds of sound that a sink takes ahead of what is heard. Short enough for
/// a key press to mean the beat that is heard, long enough for a busy laptop.
pub const AHEAD: f64 = 0.3;

/// Something that plays frames in its own time.
pub trait Sink {
    /// Frames a second.
    fn rate(&self) -> u32;

    /// Samples in each frame given to [`write`](Self::write).
    fn channels(&self) -> usize;

    /// Takes as many whole frames of `frames` as there is room for, without
    /// waiting, and returns how many frames that was.
    fn write(&mut self, frames: &[f32]) -> usize;

    /// How many frames [`write`](Self::write) would take now.
    fn free(&self) -> usize;

    /// Frames taken so far.
    fn written(&self) -> u64;

    /// Seconds of the written sound that have been heard by now. It never
    /// runs backwards, stands still while there is nothing to play, and never
    /// passes what was written.
    fn position(&self) -> f64;

    /// Says that no more is coming, so that running dry is no fault.
    fn end(&mut self) {}

    /// How often the sink ran dry before the end.
    fn underruns(&self) -> u64 {
        0
    }

    /// Why the sink has stopped for good, if it has: one line with a remedy.
    fn lost(&self) -> Option<String> {
        None
    }

    /// Whether all that was written has been heard.
    fn drained(&self) -> bool {
        self.position() * f64::from(self.rate()) >= self.written() as f64 - 0.5
    }
}

/// Plays to nobody, in real time: for machines without a sound card.
#[derive(Debug)]
pub struct Silent {
    rate: u32,
    channels: usize,
    written: u64,
    /// When frame 0 was "heard": moved on by every pause for want of sound.
    zero: Option<Instant>,
    underruns: u64,
    ended: bool,
}

impl Silent {
    /// A silent sink; its clock starts at the first write.
    pub fn new(rate: u32, channels: usize) -> Self {
        Silent {
            rate: rate.max(1),
            channels: channels.max(1),
            written: 0,
            zero: None,
            underruns: 0,
            ended: false,
        }
    }

    fn seconds_written(&self) -> f64 {
        self.written as f64 / f64::from(self.rate)
    }

    fn elapsed(&self) -> f64 {
        self.zero.map_or(0.0, |zero| zero.elapsed().as_secs_f64())
    }
}

impl Sink for Silent {
    fn rate(&self) -> u32 {
        self.rate
    }

    fn channels(&self) -> usize {
        self.channels
    }

    fn write(&mut self, frames: &[f32]) -> usize {
        let zero = *self.zero.get_or_insert_with(Instant::now);
        let behind = zero.elapsed().as_secs_f64() - self.seconds_written();
        if behind > 0.0 && self.written > 0 {
            // The clock stood still meanwhile, as a card's would.
            self.zero = Some(zero + Duration::from_secs_f64(behind));
            self.underruns += u64::from(!self.ended);
        }
        let n = (frames.len() / self.channels).min(self.free());
        self.written += n as u64;
        n
    }

    fn free(&self) -> usize {
        let room = (AHEAD * f64::from(self.rate)) as u64;
        let heard = (self.position() * f64::from(self.rate)) as u64;
        (heard + room).saturating_sub(self.written) as usize
    }

    fn written(&self) -> u64 {
        self.written
    }

    fn position(&self) -> f64 {
        self.elapsed().min(self.seconds_written())
    }

    fn end(&mut self) {
        self.ended = true;
    }

    fn underruns(&self) -> u64 {
        self.underruns
    }
}

/// The time of a [`Manual`] sink, moved on by hand.
#[derive(Debug, Clone, Default)]
pub struct Hand(Rc<Cell<f64>>);

impl Hand {
    /// Lets `seconds` pass.
    pub fn advance(&self, seconds: f64) {
        self.0.set(self.0.get() + seconds.max(0.0));
    }

    /// Seconds passed so far.
    pub fn now(&self) -> f64 {
        self.0.get()
    }
}

/// A sink whose time passes only when a test says so. It keeps what it was
/// given.
#[derive(Debug)]
pub struct Manual {
    rate: u32,
    channels: usize,
    hand: Hand,
    /// All samples written, interleaved.
    pub heard: Vec<f32>,
}

impl Manual {
    /// A sink at time 0, and the hand that moves its time.
    pub fn new(rate: u32, channels: usize) -> (Self, Hand) {
        let hand = Hand::default();
        let sink = Manual {
            rate: rate.max(1),
            channels: channels.max(1),
            hand: hand.clone(),
            heard: Vec::new(),
        };
        (sink, hand)
    }
}

impl Sink for Manual {
    fn rate(&self) -> u32 {
        self.rate
    }

    fn channels(&self) -> usize {
        self.channels
    }

    fn write(&mut self, frames: &[f32]) -> usize {
        let n = (frames.len() / self.channels).min(self.free());
        self.heard.extend_from_slice(&frames[..n * self.channels]);
        n
    }

    fn free(&self) -> usize {
        let room = (AHEAD * f64::from(self.rate)) as u64;
        let passed = (self.position() * f64::from(self.rate)) as u64;
        (passed + room).saturating_sub(self.written()) as usize
    }

    fn written(&self) -> u64 {
        (self.heard.len() / self.channels) as u64
    }

    fn position(&self) -> f64 {
        let written = self.written() as f64 / f64::from(self.rate);
        self.hand.now().min(written)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn silence_keeps_real_time() {
        let mut sink = Silent::new(8_000, 2);
        let tune = vec![0.0; 2 * 4_000];
        assert_eq!(sink.position(), 0.0);
        let start = Instant::now();
        let mut at = 0;
        let mut last = 0.0;
        while at < 4_000 {
            let n = sink.write(&tune[at * 2..]);
            at += n;
            assert!(sink.written() as f64 / 8_000.0 <= sink.position() + AHEAD + 0.01);
            assert!(sink.position() >= last);
            last = sink.position();
            std::thread::sleep(Duration::from_millis(5));
        }
        sink.end();
        while !sink.drained() {
            std::thread::sleep(Duration::from_millis(2));
        }
        let took = start.elapsed().as_secs_f64();
        assert!((0.49..1.5).contains(&took), "half a second took {took} s");
        assert_eq!(sink.position(), 0.5);
    }

    #[test]
    fn silence_waits_for_a_slow_writer() {
        let mut sink = Silent::new(1_000, 1);
        assert_eq!(sink.write(&[0.0; 20]), 20);
        std::thread::sleep(Duration::from_millis(60));
        assert_eq!(sink.position(), 0.02);
        assert_eq!(sink.write(&[0.0; 20]), 20);
        assert!(sink.position() < 0.04, "the pause did not count as heard");
        assert_eq!(sink.underruns(), 1);
    }

    #[test]
    fn the_hand_moves_the_manual_clock() {
        let (mut sink, hand) = Manual::new(1_000, 1);
        assert_eq!(sink.write(&[0.5; 2_000]), 300);
        assert_eq!(sink.free(), 0);
        hand.advance(0.1);
        assert_eq!(sink.position(), 0.1);
        assert_eq!(sink.free(), 100);
        hand.advance(5.0);
        assert_eq!(sink.position(), 0.3);
        assert!(sink.drained());
        assert_eq!(sink.heard.len(), 300);
    }
}
