//! Where a played tune goes: an output, or silence in real time.

use crate::sound::clock::{Silent, Sink};
use crate::sound::device::{Choice, Output};
use crate::sound::peak::Limited;
use crate::sound::resample::Resampler;

/// A sink with what it needs to take sound at the source's rate.
pub(super) struct Speaker {
    sink: Box<dyn Sink>,
    resampler: Resampler,
    /// After the resampler, which may raise peaks.
    limited: Limited,
    channels: usize,
    /// Frames at the sink's rate, on their way through the limiter.
    converted: Vec<f32>,
    /// Frames that the sink had no room for yet.
    waiting: Vec<f32>,
    /// Seconds played by sinks before this one.
    before: f64,
    ended: bool,
}

impl Speaker {
    /// The output for frames of `channels` samples at `rate` a second; in silence, and
    /// why, if it cannot be used.
    pub(super) fn open(
        output: &Choice,
        rate: u32,
        channels: usize,
    ) -> anyhow::Result<(Self, Option<String>)> {
        let (sink, why): (Box<dyn Sink>, _) = match Output::open(output, rate, channels) {
            Ok(output) => (Box::new(output), None),
            Err(error) => (
                Box::new(Silent::new(rate, channels)),
                Some(error.to_string()),
            ),
        };
        Ok((Speaker::on(sink, rate, channels)?, why))
    }

    fn on(sink: Box<dyn Sink>, rate: u32, channels: usize) -> anyhow::Result<Self> {
        Ok(Speaker {
            resampler: Resampler::new(rate, sink.rate(), channels)?,
            limited: Limited::new(sink.rate(), channels),
            sink,
            channels,
            converted: Vec::new(),
            waiting: Vec::new(),
            before: 0.0,
            ended: false,
        })
    }

    /// Whether more sound is wanted now.
    pub(super) fn has_room(&mut self) -> bool {
        self.flush();
        self.waiting.is_empty() && self.sink.free() > 0
    }

    /// Takes the next frames of the source.
    pub(super) fn play(&mut self, frames: &[f32]) -> anyhow::Result<()> {
        self.resampler.push(frames, &mut self.converted)?;
        self.limit();
        self.flush();
        Ok(())
    }

    /// Says that no more is coming.
    pub(super) fn end(&mut self) -> anyhow::Result<()> {
        self.resampler.finish(&mut self.converted)?;
        self.limit();
        self.limited.finish(&mut self.waiting);
        self.ended = true;
        self.flush();
        Ok(())
    }

    fn limit(&mut self) {
        self.limited.push(&self.converted, &mut self.waiting);
        self.converted.clear();
    }

    fn flush(&mut self) {
        let taken = self.sink.write(&self.waiting);
        self.waiting.drain(..taken * self.channels);
        if self.ended && self.waiting.is_empty() {
            self.sink.end();
        }
    }

    /// Whether everything has been heard.
    pub(super) fn drained(&mut self) -> bool {
        self.flush();
        self.waiting.is_empty() && self.sink.drained()
    }

    /// Seconds of the source heard by now.
    pub(super) fn position(&self) -> f64 {
        self.before + self.sink.position()
    }

    /// Goes on in silence if the device has stopped; then says why.
    ///
    /// What the device had taken but never played is "played" in silence first,
    /// so that the count on the screen neither jumps nor lags.
    pub(super) fn replace_if_lost(&mut self) -> Option<String> {
        let reason = self.sink.lost()?;
        let rate = self.sink.rate();
        let heard = self.sink.position();
        let unheard = self.sink.written() as f64 - heard * f64::from(rate);
        let unheard = unheard.max(0.0).round() as usize * self.channels;
        self.waiting
            .splice(0..0, std::iter::repeat_n(0.0, unheard))
            .for_each(drop);
        self.before += heard;
        self.sink = Box::new(Silent::new(rate, self.channels));
        self.flush();
        Some(reason)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::band::signals::white_noise;
    use crate::sound::clock::{Hand, Manual};
    use crate::sound::peak::true_peak;
    use std::cell::{Cell, RefCell};
    use std::rc::Rc;

    /// A sink that can be broken by hand.
    struct Fragile {
        sink: Manual,
        broken: Rc<Cell<bool>>,
    }

    impl Sink for Fragile {
        fn rate(&self) -> u32 {
            self.sink.rate()
        }
        fn channels(&self) -> usize {
            self.sink.channels()
        }
        fn write(&mut self, frames: &[f32]) -> usize {
            self.sink.write(frames)
        }
        fn free(&self) -> usize {
            self.sink.free()
        }
        fn written(&self) -> u64 {
            self.sink.written()
        }
        fn position(&self) -> f64 {
            self.sink.position()
        }
        fn lost(&self) -> Option<String> {
            self.broken.get().then(|| "it broke".into())
        }
    }

    fn fragile() -> (Speaker, Hand, Rc<Cell<bool>>) {
        let (sink, hand) = Manual::new(8_000, 2);
        let broken = Rc::new(Cell::new(false));
        let sink = Fragile {
            sink,
            broken: broken.clone(),
        };
        let speaker = Speaker::on(Box::new(sink), 8_000, 2).unwrap();
        (speaker, hand, broken)
    }

    /// A device that takes everything at once, and keeps it.
    struct Tape {
        rate: u32,
        heard: Rc<RefCell<Vec<f32>>>,
    }

    impl Sink for Tape {
        fn rate(&self) -> u32 {
            self.rate
        }
        fn channels(&self) -> usize {
            2
        }
        fn write(&mut self, frames: &[f32]) -> usize {
            self.heard.borrow_mut().extend(frames);
            frames.len() / 2
        }
        fn free(&self) -> usize {
            1
        }
        fn written(&self) -> u64 {
            self.heard.borrow().len() as u64 / 2
        }
        fn position(&self) -> f64 {
            0.0
        }
    }

    #[test]
    fn what_leaves_is_below_full_scale_by_a_decibel_at_any_rate_and_whole() {
        for (from, to) in [
            (44_100, 44_100),
            (44_100, 48_000),
            (48_000, 22_050),
            (8_000, 96_000),
        ] {
            let heard = Rc::new(RefCell::new(Vec::new()));
            let tape = Tape {
                rate: to,
                heard: heard.clone(),
            };
            let mut speaker = Speaker::on(Box::new(tape), from, 2).unwrap();
            let loud = white_noise(2.0, from, 1.0, 5);
            let loud: Vec<f32> = loud.iter().map(|x| x.signum()).collect();
            for block in loud.chunks(2 * 500) {
                speaker.play(block).unwrap();
            }
            speaker.end().unwrap();
            let heard = heard.borrow();
            let frames = (loud.len() / 2) as u64 * u64::from(to) / u64::from(from);
            assert!(
                (heard.len() as u64 / 2).abs_diff(frames) <= 2,
                "{from} to {to}"
            );
            let peak = true_peak(&heard, 2, to);
            println!("{from} to {to} Hz: {peak:.2} dBTP");
            assert!((-3.0..=-1.0).contains(&peak), "{from} to {to}: {peak}");
        }
    }

    #[test]
    fn a_device_that_stops_is_followed_by_silence_without_a_jump() {
        let (mut speaker, hand, broken) = fragile();
        let mut given = 0;
        while speaker.has_room() {
            speaker.play(&[0.1; 2 * 100]).unwrap();
            given += 100;
        }
        assert!((2_400..2_600).contains(&given), "{given}");
        hand.advance(0.2);
        assert_eq!(speaker.replace_if_lost(), None);
        broken.set(true);
        assert_eq!(speaker.replace_if_lost().as_deref(), Some("it broke"));
        let at = speaker.position();
        assert!((0.2..0.25).contains(&at), "{at}");
        assert_eq!(speaker.replace_if_lost(), None, "told once");
        // The rest takes its time and ends exactly where the sound ends.
        let start = std::time::Instant::now();
        speaker.end().unwrap();
        while !speaker.drained() {
            assert!(start.elapsed().as_secs() < 5);
            std::thread::sleep(std::time::Duration::from_millis(2));
        }
        let end = f64::from(given) / 8_000.0;
        let at = speaker.position();
        assert!((at - end).abs() < 0.001, "{at} of {end}");
        let took = start.elapsed().as_secs_f64();
        assert!(took > end - 0.26, "{took}");
    }
}
