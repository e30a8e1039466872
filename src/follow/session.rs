//! Following live sound with devices: the threads, and what they tell.
//!
//! The sound library's threads move samples. The *keeper* opens devices, sees
//! when they die and opens them again. The *listener* takes what was heard,
//! runs [`Live`], and orders claps. Whoever started the session (the screen)
//! gets what they say over a channel and never holds them up.

use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering::Relaxed};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, unbounded};

use super::listener::Listener;
use super::live::Tally;
use super::speech::Calling;
use super::strain::Strain;
use crate::cue::Cue;
use crate::dance::Card;
use crate::engine::Settings;
use crate::event::Event;
use crate::hear::features::RateError;
use crate::sound::device::{Choice, DeviceError, Direction, Level, Meter};
use crate::sound::roundtrip::RoundTrips;

/// Time between two tries to open a device again.
pub(super) const AGAIN: Duration = Duration::from_secs(1);

mod keeper;

use keeper::Keeper;

/// What to follow, and how.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    /// Where the band is heard.
    pub input: Choice,
    /// The one channel of it that is heard, from 1; else the mean of all.
    pub channel: Option<usize>,
    /// Where claps sound.
    pub output: Choice,
    /// What the engine is told beforehand.
    pub settings: Settings,
    /// The dance, if there is one.
    pub card: Option<Arc<Card>>,
    /// Gain of the claps.
    pub clap_gain: f32,
    /// Whether claps are heard at first.
    pub claps: bool,
    /// Gain of the ticks.
    pub tick_gain: f32,
    /// Whether a soft tick is heard on every beat at first.
    pub ticks: bool,
    /// What was measured of pairs of devices.
    pub round_trips: RoundTrips,
}

/// What a session tells as it goes.
#[derive(Debug, Clone)]
pub enum Told {
    /// The engine has decided something.
    Event(Event),
    /// Something is to be flashed.
    Cue(Cue),
    /// A device is in use: its name, and what is to be known of it.
    Opened(Direction, String),
    /// A device cannot be used or has stopped: why, with the remedy.
    Lost(Direction, String),
    /// So many claps could not be given in time.
    Late(u64),
    /// The computer slept.
    Slept,
}

/// What was counted in a session.
#[derive(Debug, Clone, Default)]
pub struct Ended {
    /// What was heard, and how quickly it was followed.
    pub tally: Tally,
    /// Callbacks of the microphone whose sound was partly lost.
    pub overruns: u64,
    /// Times that the loudspeaker ran dry, as far as the system says so.
    pub underruns: u64,
    /// Claps that sounded, and those that could not in time.
    pub claps: u64,
    /// Claps that could not be given in time.
    pub late: u64,
    /// How long before its frame had to leave each clap was last ordered,
    /// seconds: what is left of the notice.
    pub spare: Vec<f64>,
    /// Seconds of processor time of the listener, where the system tells.
    pub cpu: Option<f64>,
}

/// Why nothing can be followed.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// The microphone cannot be used.
    #[error("cannot listen")]
    Input(#[from] DeviceError),
    /// It has a rate that the engine cannot hear at.
    #[error(transparent)]
    Rate(#[from] RateError),
    /// The system gives no more threads.
    #[error("cannot start listening; close some programs and try again")]
    Thread(#[from] std::io::Error),
    /// A thread has ended that should not.
    #[error("listening has stopped: a fault in the program")]
    Fault,
}

/// What the caller asks of the listener.
#[derive(Debug, Clone)]
pub(super) enum Ask {
    One(f64),
    Move(i32),
    Claps(bool),
    Ticks(bool),
    Voice(bool),
    Times(Option<u32>),
    Introduce,
    /// Who calls the dance that is on.
    Call(Calling),
    /// A card, or none.
    Dance(Option<Arc<Card>>),
}

/// Asks the listener for something.
#[derive(Debug, Clone)]
pub struct Caller(Sender<Ask>, Arc<Shared>);

impl Caller {
    /// "The beat nearest to `time`, seconds of sound, is a one."
    pub fn say_one(&self, time: f64) {
        self.ask(Ask::One(time));
    }

    /// Moves the count by so many beats.
    pub fn move_count(&self, beats: i32) {
        self.ask(Ask::Move(beats));
    }

    /// Turns claps on or off.
    pub fn set_claps(&self, on: bool) {
        self.ask(Ask::Claps(on));
    }

    /// Turns the ticks on every beat on or off.
    pub fn set_ticks(&self, on: bool) {
        self.ask(Ask::Ticks(on));
    }

    /// Turns calls on or off.
    pub fn set_voice(&self, on: bool) {
        self.ask(Ask::Voice(on));
    }

    /// The dance is to be so many times through; `None` if nobody knows.
    pub fn set_times(&self, times: Option<u32>) {
        self.ask(Ask::Times(times));
    }

    /// Speaks the introductions now, until the band begins.
    pub fn introduce(&self) {
        self.ask(Ask::Introduce);
    }

    /// The dance that is on is called from now on. May take a second, to make the voice
    /// ready for the loudspeaker.
    pub fn call(&self, calling: Calling) {
        let calling = match self.1.out_rate.load(Relaxed) {
            0 => calling,
            rate => Calling {
                repertoire: calling.at_rate(rate),
                ..calling
            },
        };
        self.1.set_calling(Some(calling.clone()));
        self.ask(Ask::Call(calling));
    }

    /// Another dance comes up, or something without a card. It is not called until
    /// [`call`](Self::call) says by whom.
    pub fn dance(&self, card: Option<Arc<Card>>) {
        self.1.set_calling(None);
        self.ask(Ask::Dance(card));
    }

    fn ask(&self, ask: Ask) {
        // A listener that is gone is found out by the screen's own loop.
        let _ = self.0.send(ask);
    }
}

/// What the threads share; each value stands for itself.
#[derive(Debug)]
pub(super) struct Shared {
    /// The zero of the common time.
    pub(super) epoch: Instant,
    /// Seconds of sound less seconds of common time, as bits of an f64.
    ahead: AtomicU64,
    pub(super) stop: AtomicBool,
    /// The loudspeaker's rate, hertz; 0 before there was one.
    out_rate: AtomicU32,
    /// Who calls the dance that is on, for loudspeakers that come later.
    calling: Mutex<Option<Calling>>,
}

impl Shared {
    pub(super) fn now(&self) -> f64 {
        self.epoch.elapsed().as_secs_f64()
    }

    fn set_calling(&self, calling: Option<Calling>) {
        *self.calling.lock().unwrap_or_else(PoisonError::into_inner) = calling;
    }

    fn calling(&self) -> Option<Calling> {
        let calling = self.calling.lock();
        calling.unwrap_or_else(PoisonError::into_inner).clone()
    }

    pub(super) fn set_ahead(&self, seconds: f64) {
        self.ahead.store(seconds.to_bits(), Relaxed);
    }
}

/// Live sound being followed, until this is dropped or [`end`](Self::end)ed.
pub struct Session {
    told: Receiver<Told>,
    asks: Sender<Ask>,
    shared: Arc<Shared>,
    meters: Receiver<Arc<Meter>>,
    meter: Option<Arc<Meter>>,
    listener: Option<JoinHandle<Ended>>,
    keeper: Option<JoinHandle<()>>,
}

impl Session {
    /// Opens the devices and starts to follow.
    ///
    /// Without a loudspeaker it goes on without claps, and says so.
    ///
    /// # Errors
    /// If the microphone cannot be used.
    pub fn start(wanted: Wanted) -> Result<Self, SessionError> {
        let (tell, told) = unbounded();
        let (asks, asked) = unbounded();
        let (swap, gear) = unbounded();
        let (meter_in, meters) = unbounded();
        let shared = Arc::new(Shared {
            epoch: Instant::now(),
            ahead: AtomicU64::new(0f64.to_bits()),
            stop: AtomicBool::new(false),
            out_rate: AtomicU32::new(0),
            calling: Mutex::new(None),
        });
        let mut keeper = Keeper {
            input: None,
            output: None,
            output_told: false,
            strain: Strain::default(),
            wanted: wanted.clone(),
            shared: shared.clone(),
            tell: tell.clone(),
            gear: swap,
            meters: meter_in,
            devices: (String::new(), String::new()),
        };
        let rate = keeper.open_input()?;
        keeper.open_output();
        let listener = Listener::new(rate, &wanted, shared.clone(), tell, asked, gear)?;
        let listener = std::thread::Builder::new()
            .name("listener".into())
            .spawn(move || listener.run())?;
        let keeper = std::thread::Builder::new()
            .name("keeper".into())
            .spawn(move || keeper.run())?;
        Ok(Session {
            told,
            asks,
            shared,
            meters,
            meter: None,
            listener: Some(listener),
            keeper: Some(keeper),
        })
    }

    /// What has been told since it was asked last.
    pub fn told(&self) -> impl Iterator<Item = Told> + '_ {
        self.told.try_iter()
    }

    /// A way to ask for things.
    pub fn caller(&self) -> Caller {
        Caller(self.asks.clone(), self.shared.clone())
    }

    /// Seconds of sound at the microphone by now.
    pub fn now(&self) -> f64 {
        let ahead = f64::from_bits(self.shared.ahead.load(Relaxed));
        (self.shared.now() + ahead).max(0.0)
    }

    /// How loud it is.
    pub fn level(&mut self) -> Level {
        if let Some(newest) = self.meters.try_iter().last() {
            self.meter = Some(newest);
        }
        self.meter.as_ref().map(|m| m.level()).unwrap_or_default()
    }

    /// Whether a thread has ended by itself, which none should.
    pub fn broken(&self) -> bool {
        self.listener.as_ref().is_none_or(JoinHandle::is_finished)
            || self.keeper.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Stops listening and tells what was counted.
    ///
    /// # Errors
    /// [`SessionError::Fault`] if the listener had broken down.
    pub fn end(mut self) -> Result<Ended, SessionError> {
        self.shared.stop.store(true, Relaxed);
        let listener = self.listener.take().ok_or(SessionError::Fault)?;
        listener.join().map_err(|_| SessionError::Fault)
        // Dropping the rest waits for the keeper to close the devices.
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        self.shared.stop.store(true, Relaxed);
        if let Some(listener) = self.listener.take() {
            let _ = listener.join();
        }
        if let Some(keeper) = self.keeper.take() {
            let _ = keeper.join();
        }
    }
}

/// That a device has stopped, and the remedy.
pub(super) fn stopped(name: &str) -> String {
    format!(
        "\"{name}\" has stopped; check its plug and the sound server: it is used again once it is back"
    )
}
