//! The thread that listens: takes what was heard, follows it, orders claps.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::time::Duration;

use crossbeam_channel::{Receiver, Sender};
use ringbuf::traits::{Consumer, Producer};

use super::live::Live;
use super::nap::{Nap, sleepless};
use super::plan::{Step, What};
use super::session::{Ask, Ended, Shared, Told, Wanted};
use super::speech::{Speech, clip};
use crate::cue::voice::Repertoire;
use crate::hear::features::RateError;
use crate::sound::device::{Direction, Intake, Order, Outlet, Report};

/// How long the listener rests between two looks: a small share of what one
/// callback of the microphone holds.
const REST: Duration = Duration::from_millis(2);

/// Claps whose order is remembered, to tell how much time was left.
const REMEMBERED: usize = 64;

/// Devices that come and go.
pub(super) enum Gear {
    Input(Intake),
    NoInput,
    Output(Outlet, Clips),
    NoOutput,
    /// For the devices given last, seconds.
    RoundTrip(f64),
}

/// What is played, at the loudspeaker's rate.
pub(super) struct Clips {
    pub(super) clap: Arc<[f32]>,
    pub(super) tick: Arc<[f32]>,
    /// The words of calls, if there is a voice.
    pub(super) voice: Option<Arc<Repertoire>>,
}

/// The state of the listening thread.
pub(super) struct Listener {
    live: Live,
    shared: Arc<Shared>,
    tell: Sender<Told>,
    asked: Receiver<Ask>,
    gear: Receiver<Gear>,
    intake: Option<Intake>,
    outlet: Option<(Outlet, Clips)>,
    clap_gain: f32,
    tick_gain: f32,
    voice_gain: f32,
    /// What the last report said of each clap that is not over.
    reports: HashMap<u64, Report>,
    ended: Ended,
    nap: Nap,
}

impl Listener {
    pub(super) fn new(
        rate: u32,
        wanted: &Wanted,
        shared: Arc<Shared>,
        tell: Sender<Told>,
        asked: Receiver<Ask>,
        gear: Receiver<Gear>,
    ) -> Result<Self, RateError> {
        let mut live = Live::new(rate, wanted.settings, wanted.card.clone())?;
        live.set_claps(wanted.claps);
        live.set_ticks(wanted.ticks);
        Ok(Listener {
            live,
            nap: Nap::new(sleepless(), shared.now()),
            shared,
            tell,
            asked,
            gear,
            intake: None,
            outlet: None,
            clap_gain: wanted.clap_gain,
            tick_gain: wanted.tick_gain,
            voice_gain: 1.0,
            reports: HashMap::new(),
            ended: Ended::default(),
        })
    }

    /// Listens until it is told to stop.
    pub(super) fn run(mut self) -> Ended {
        while !self.shared.stop.load(Relaxed) {
            self.look();
            std::thread::sleep(REST);
        }
        self.let_go_of_intake();
        self.let_go_of_outlet();
        self.ended.tally = self.live.tally().clone();
        self.ended.cpu = cpu();
        self.ended
    }

    fn look(&mut self) {
        self.notice_sleep();
        while let Ok(gear) = self.gear.try_recv() {
            self.swap(gear);
        }
        while let Ok(ask) = self.asked.try_recv() {
            match ask {
                Ask::One(time) => self.live.say_one(time),
                Ask::Move(beats) => self.live.move_count(beats),
                Ask::Claps(on) => self.live.set_claps(on),
                Ask::Ticks(on) => self.live.set_ticks(on),
                Ask::Voice(on) => self.live.set_voice(on),
                Ask::Times(times) => self.live.set_times(times),
                Ask::Introduce => self.live.introduce(self.shared.now()),
                Ask::Call(calling) => {
                    self.live.call(&calling);
                    self.voice_gain = calling.gain;
                    if let Some((outlet, clips)) = &mut self.outlet {
                        let voice = Some(calling.repertoire);
                        clips.voice = voice.filter(|voice| voice.rate() == outlet.rate);
                    }
                }
                Ask::Dance(card) => {
                    if let Err(error) = self.live.dance(card) {
                        let why = Told::Lost(Direction::In, error.to_string());
                        let _ = self.tell.send(why);
                    }
                }
            }
        }
        if let Some(intake) = &mut self.intake {
            for stamp in intake.stamps.pop_iter() {
                self.live.heard_at(stamp);
            }
            intake.take(|samples| self.live.push(samples, self.shared.now()));
        }
        let now = self.shared.now();
        self.live.tick(now);
        self.clap();
        if let Some(sound) = self.live.sound_at(now) {
            self.shared.set_ahead(sound - now);
        }
        let (events, cues) = self.live.take_events();
        for event in events {
            let _ = self.tell.send(Told::Event(event));
        }
        for cue in cues {
            let _ = self.tell.send(Told::Cue(cue));
        }
    }

    /// Orders what claps are due and takes the loudspeaker's reports.
    fn clap(&mut self) {
        let Some((outlet, clips)) = &mut self.outlet else {
            return;
        };
        for stamp in outlet.stamps.pop_iter() {
            self.live.played_at(stamp);
        }
        for step in self.live.take_steps() {
            let order = match step {
                Step::Play { id, at } => {
                    let (clip, gain, early) = if Speech::is_call(id) {
                        let call = self.live.called(id).zip(clips.voice.as_ref());
                        let Some(clip) = call.and_then(|(call, voice)| clip(voice, call)) else {
                            continue;
                        };
                        (&clip.samples, self.voice_gain, clip.heard_from)
                    } else if What::of(id) == What::Tick {
                        (&clips.tick, self.tick_gain, 0.0)
                    } else {
                        (&clips.clap, self.clap_gain, 0.0)
                    };
                    let at = at - early * f64::from(outlet.rate);
                    Order::Play {
                        id,
                        at: at.round() as u64,
                        clip: clip.clone(),
                        gain,
                    }
                }
                Step::Withdraw { id } => {
                    self.reports.remove(&id);
                    Order::Withdraw { id }
                }
                Step::Stop { id, at } => Order::Stop {
                    id,
                    at: at.max(0.0).round() as u64,
                },
            };
            // Full only if the device has died, which its keeper sees.
            let _ = outlet.orders.try_push(order);
        }
        let mut late = 0;
        while let Some(report) = outlet.reports.try_pop() {
            if !report.taken {
                self.live.missed(report.id);
            }
            // Nobody misses a tick, and the flash says what a call would have.
            if Speech::is_call(report.id) || What::of(report.id) == What::Tick {
                continue;
            }
            if !report.taken {
                self.reports.remove(&report.id);
                late += 1;
                continue;
            }
            // Only the last order before it sounds tells what time was left.
            let before = self.reports.get(&report.id);
            if report.margin >= 0 || before.is_none() {
                self.reports.insert(report.id, report);
            }
        }
        if late > 0 {
            self.ended.late += late;
            let _ = self.tell.send(Told::Late(self.ended.late));
        }
        if self.reports.len() > REMEMBERED {
            self.count_claps();
        }
    }

    /// Adds the claps reported to what was counted.
    fn count_claps(&mut self) {
        let rate = self.outlet.as_ref().map_or(1.0, |(o, _)| f64::from(o.rate));
        for report in self.reports.drain().map(|(_, report)| report) {
            self.ended.claps += 1;
            self.ended.spare.push(report.margin as f64 / rate);
        }
    }

    fn swap(&mut self, gear: Gear) {
        match gear {
            Gear::Input(intake) => {
                self.let_go_of_intake();
                if let Err(error) = self.live.microphone(intake.rate) {
                    let why = Told::Lost(Direction::In, error.to_string());
                    let _ = self.tell.send(why);
                    return;
                }
                self.intake = Some(intake);
            }
            Gear::NoInput => {
                self.let_go_of_intake();
                self.live.microphone_lost();
            }
            Gear::Output(outlet, clips) => {
                self.let_go_of_outlet();
                self.live.loudspeaker(Some(outlet.rate));
                self.outlet = Some((outlet, clips));
            }
            Gear::NoOutput => {
                self.let_go_of_outlet();
                self.live.loudspeaker(None);
            }
            Gear::RoundTrip(seconds) => self.live.set_round_trip(seconds),
        }
    }

    fn let_go_of_intake(&mut self) {
        if let Some(intake) = self.intake.take() {
            self.ended.overruns += intake.overruns();
        }
    }

    fn let_go_of_outlet(&mut self) {
        self.count_claps();
        if let Some((outlet, _)) = self.outlet.take() {
            self.ended.underruns += outlet.underruns();
        }
    }

    fn notice_sleep(&mut self) {
        if let Some(slept) = self.nap.look(sleepless(), self.shared.now()) {
            self.live.slept(slept);
            let _ = self.tell.send(Told::Slept);
        }
    }
}

/// Processor time of this thread, seconds.
#[cfg(target_os = "linux")]
fn cpu() -> Option<f64> {
    let time = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    Some(time.tv_sec as f64 + 1e-9 * time.tv_nsec as f64)
}

#[cfg(not(target_os = "linux"))]
fn cpu() -> Option<f64> {
    None
}
