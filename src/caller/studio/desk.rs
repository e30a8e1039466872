//! The thread between the loudspeaker and the microphone.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::time::Duration;

use crossbeam_channel::Sender;
use hound::{SampleFormat, WavSpec, WavWriter};
use ringbuf::traits::{Consumer, Producer};

use super::{Shared, StudioError, Told, Wanted};
use crate::caller::ear::{Ear, Method};
use crate::caller::prompt::Prompt;
use crate::sound::device::{Clapper, Direction, Input, Intake, Order, Outlet};
use crate::sound::resample::Resampler;
use crate::sound::timeline::TimeLine;

/// Time between two looks at the devices.
const REST: Duration = Duration::from_millis(4);
/// Seconds of playback ordered ahead, and in one order.
const AHEAD: f64 = 3.0;
const PIECE: f64 = 0.5;
/// Seconds in which the devices' clocks settle before the playback starts.
const SETTLE: f64 = 1.5;
/// Further than this, seconds, what was played is put right beside what is heard; less
/// is left to the filter, which a jump would confuse.
const OFF: f64 = 0.015;
/// Seconds by which the playback is given to the ear sooner than the stamps say: they
/// are not exact, and a filter cannot hear what is still to come.
const SOONER: f64 = 0.020;
/// Level of the playback.
const LEVEL: f32 = 0.7;
/// Seconds after the playback in which prompts may still be told.
const AFTER: f64 = 1.5;

/// The microphone and what hears through it.
struct Mic {
    input: Input,
    intake: Intake,
    line: TimeLine,
    ear: Ear,
    /// Samples given to the ear.
    heard: u64,
    /// The output frame that was played at sample 0, by the mapping in use.
    zero: Option<f64>,
    keep: Option<WavWriter<std::io::BufWriter<std::fs::File>>>,
    scratch: (Vec<f32>, Vec<f32>, Vec<Prompt>),
}

/// Everything that the thread looks after.
pub(super) struct Desk {
    line: TimeLine,
    /// `None` once the playback is at its end.
    resampler: Option<Resampler>,
    mic: Option<Mic>,
    output: Clapper,
    outlet: Outlet,
    wanted: Wanted,
    shared: Arc<Shared>,
    tell: Sender<Told>,
    /// All that was ordered, at the output's rate.
    played: Vec<f32>,
    /// Clips in use: never freed in the device's callback.
    clips: Vec<Arc<[f32]>>,
    ordered: usize,
    /// The output frame at which the playback starts.
    start: Option<f64>,
    round_trip: f64,
    softened: Option<f32>,
}

impl Desk {
    pub(super) fn new(
        output: Clapper,
        outlet: Outlet,
        wanted: Wanted,
        shared: Arc<Shared>,
        tell: Sender<Told>,
    ) -> Result<Self, StudioError> {
        let rate = outlet.rate;
        Ok(Desk {
            line: TimeLine::new(rate),
            resampler: Some(Resampler::new(wanted.playback.0, rate, 1)?),
            mic: None,
            output,
            outlet,
            wanted,
            shared,
            tell,
            played: Vec::new(),
            clips: Vec::new(),
            ordered: 0,
            start: None,
            round_trip: 0.0,
            softened: None,
        })
    }

    /// Plays and listens until it is over or somebody says stop.
    pub(super) fn run(mut self) {
        let mut over = false;
        while !self.shared.stop.load(Relaxed) && !over {
            std::thread::sleep(REST);
            match self.look() {
                Ok(done) => over = done,
                Err(why) => {
                    let _ = self
                        .tell
                        .send(Told::Lost(Direction::Out, format!("{why:#}")));
                    over = true;
                }
            }
        }
        // What was said last is told too.
        if let Some(mut mic) = self.mic.take() {
            let mut prompts = Vec::new();
            let done = mic.ear.end(&mut prompts);
            debug_assert!(done.is_ok());
            self.softened = mic.ear.softened();
            self.pass_on(&mic, &prompts);
            if let Some(keep) = mic.keep.take() {
                let _ = keep.finalize();
            }
        }
        let _ = self.tell.send(Told::Over(self.softened));
    }

    /// Looks after everything once; tells whether it is over.
    fn look(&mut self) -> anyhow::Result<bool> {
        for stamp in self.outlet.stamps.pop_iter() {
            self.line.stamp(stamp);
        }
        while self.outlet.reports.try_pop().is_some() {}
        if self.output.lost() {
            anyhow::bail!(
                "\"{}\" has stopped; check its plug and the sound server, then start again",
                self.output.name()
            );
        }
        let now = self.shared.epoch.elapsed().as_secs_f64();
        let rate = f64::from(self.outlet.rate);
        if self.start.is_none() && now > SETTLE && self.line.settled() {
            self.start = self.line.count_at(now + 0.5).map(f64::round);
        }
        let mut heard = f64::NEG_INFINITY;
        if let (Some(start), Some(count)) = (self.start, self.line.count_at(now)) {
            heard = (count - start) / rate;
            self.shared.ahead.store((heard - now).to_bits(), Relaxed);
            self.order(heard)?;
        }
        self.hear()?;
        let end = self.played.len() as f64 / rate;
        Ok(self.resampler.is_none() && heard > end + AFTER)
    }

    /// Orders the playback that is due soon.
    fn order(&mut self, heard: f64) -> anyhow::Result<()> {
        let rate = f64::from(self.outlet.rate);
        let start = self.start.unwrap_or(0.0);
        while let Some(resampler) = &mut self.resampler
            && (self.played.len() as f64) < (heard + AHEAD) * rate
        {
            let mut frames = Vec::new();
            if (self.wanted.playback.1)(&mut frames)? == 0 {
                resampler.finish(&mut self.played)?;
                self.resampler = None;
            } else {
                frames.iter_mut().for_each(|x| *x *= LEVEL);
                resampler.push(&frames, &mut self.played)?;
            }
        }
        let piece = (PIECE * rate) as usize;
        while self.played.len() - self.ordered >= piece
            || (self.resampler.is_none() && self.ordered < self.played.len())
        {
            let end = (self.ordered + piece).min(self.played.len());
            let clip: Arc<[f32]> = self.played[self.ordered..end].into();
            let order = Order::Play {
                id: self.clips.len() as u64,
                at: start as u64 + self.ordered as u64,
                clip: clip.clone(),
                gain: 1.0,
            };
            if self.outlet.orders.try_push(order).is_err() {
                break;
            }
            self.clips.push(clip);
            self.ordered = end;
        }
        // Those long over may be let go of: only this thread holds them by then.
        let over = ((heard - 2.0) / PIECE).max(0.0) as usize;
        for clip in self
            .clips
            .iter_mut()
            .take(over)
            .rev()
            .take_while(|c| !c.is_empty())
        {
            *clip = Arc::from([]);
        }
        Ok(())
    }

    /// Opens the microphone, if one is wanted; says so if there is none.
    pub(super) fn open_microphone(&mut self) -> Result<(), StudioError> {
        if !self.wanted.microphone {
            return Ok(());
        }
        let opened = Input::open(&self.wanted.input, self.wanted.channel, self.shared.epoch);
        let (input, intake) = match opened {
            Ok(opened) => opened,
            Err(error) => {
                let _ = self.tell.send(Told::Lost(Direction::In, error.to_string()));
                return Ok(());
            }
        };
        let trip = self.wanted.round_trips.get(input.id(), self.output.id());
        self.round_trip = trip.unwrap_or(0.0);
        let known = match trip {
            Some(seconds) => format!("round trip {:.0} ms as measured", 1e3 * seconds),
            None => "round trip not measured (`eightclap devices measure`)".to_owned(),
        };
        let _ = self.tell.send(Told::Opened(
            Direction::In,
            format!("{}, {known}", input.in_words()),
        ));
        let spec = WavSpec {
            channels: 1,
            sample_rate: intake.rate,
            bits_per_sample: 16,
            sample_format: SampleFormat::Int,
        };
        let keep = match self.wanted.keep.take() {
            None => None,
            Some(path) => WavWriter::create(&path, spec)
                .inspect_err(|why| {
                    let why = format!("{}: {why}; nothing is recorded", path.display());
                    let _ = self.tell.send(Told::Lost(Direction::In, why));
                })
                .ok(),
        };
        self.mic = Some(Mic {
            line: TimeLine::new(intake.rate),
            ear: Ear::new(intake.rate, Method::default(), self.wanted.removal)?,
            input,
            intake,
            heard: 0,
            zero: None,
            keep,
            scratch: Default::default(),
        });
        Ok(())
    }

    fn hear(&mut self) -> anyhow::Result<()> {
        if let Some(lost) = self.mic.take_if(|mic| mic.input.lost()) {
            let why = format!(
                "\"{}\" has stopped; check its plug and the sound server, and tap the ends of your calls meanwhile",
                lost.input.name()
            );
            self.softened = lost.ear.softened();
            drop(lost);
            let _ = self.tell.send(Told::Lost(Direction::In, why));
        }
        let Some(mut mic) = self.mic.take() else {
            return Ok(());
        };
        for stamp in mic.intake.stamps.pop_iter() {
            mic.line.stamp(stamp);
        }
        let (sound, played, prompts) = &mut mic.scratch;
        sound.clear();
        sound.extend(mic.intake.samples.pop_iter());
        played.clear();
        let ratio = f64::from(self.outlet.rate) / f64::from(mic.intake.rate);
        // The frame that was played at the microphone's first sample.
        let first = mic.line.time_of(mic.heard as f64).and_then(|time| {
            let frame = self.line.count_at(time - self.round_trip + SOONER)?;
            Some(frame - mic.heard as f64 * ratio)
        });
        if let Some(first) = first {
            let off = mic.zero.map_or(f64::INFINITY, |zero| (zero - first).abs());
            if off > OFF * f64::from(self.outlet.rate) {
                mic.zero = Some(first);
            }
        }
        let begin = mic.zero.zip(self.start).map(|(zero, start)| zero - start);
        played.extend((0..sound.len()).map(|n| {
            let frame = begin.map_or(-1.0, |b| b + (mic.heard + n as u64) as f64 * ratio);
            at(&self.played, frame)
        }));
        mic.heard += sound.len() as u64;
        if let Some(keep) = &mut mic.keep {
            let done = sound
                .iter()
                .try_for_each(|x| keep.write_sample((x.clamp(-1.0, 1.0) * 32_767.0) as i16));
            // So that a crash leaves a recording that can be played.
            let whole = mic.heard / u64::from(mic.intake.rate);
            let before = (mic.heard - sound.len() as u64) / u64::from(mic.intake.rate);
            let flushed = if whole > before { keep.flush() } else { Ok(()) };
            if let Err(why) = done.and(flushed) {
                mic.keep = None;
                let why = format!("the recording is kept no further: {why}; check the disk");
                let _ = self.tell.send(Told::Lost(Direction::In, why));
            }
        }
        prompts.clear();
        mic.ear.push(sound, played, prompts)?;
        let prompts = std::mem::take(prompts);
        self.pass_on(&mic, &prompts);
        self.mic = Some(mic);
        Ok(())
    }

    /// Tells prompts in seconds of the playback.
    fn pass_on(&self, mic: &Mic, prompts: &[Prompt]) {
        let Some(start) = self.start else { return };
        let rate = f64::from(self.outlet.rate);
        let of_playback = |seconds: f64| {
            let time = mic.line.time_of(seconds * f64::from(mic.intake.rate))?;
            Some((self.line.count_at(time - self.round_trip)? - start) / rate)
        };
        for prompt in prompts {
            let shifted = of_playback(prompt.end).map(|end| prompt.later(end - prompt.end));
            if let Some(prompt) = shifted {
                let _ = self.tell.send(Told::Prompt(prompt));
            }
        }
    }
}

/// The sample at a frame with fractions; silence beyond the ends.
fn at(sound: &[f32], frame: f64) -> f32 {
    if frame < 0.0 {
        return 0.0;
    }
    let (below, part) = (frame as usize, frame.fract() as f32);
    let (a, b) = (sound.get(below), sound.get(below + 1));
    let (a, b) = (a.copied().unwrap_or(0.0), b.copied().unwrap_or(0.0));
    a + part * (b - a)
}
