//! The thread that opens devices, sees when they die, and opens them again.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::time::{Duration, Instant};

use crossbeam_channel::Sender;

use super::super::listener::{Clips, Gear};
use super::super::strain::Strain;
use super::{AGAIN, Shared, Told, Wanted, stopped};
use crate::cue::voice::Repertoire;
use crate::sound::clap;
use crate::sound::device::{Clapper, DeviceError, Direction, Input, Meter};

/// How often it looks after its devices.
const LOOK: Duration = Duration::from_millis(100);

/// Opens devices and looks after them.
pub(super) struct Keeper {
    pub(super) input: Option<Input>,
    pub(super) output: Option<Clapper>,
    /// Why there is no loudspeaker was told already.
    pub(super) output_told: bool,
    pub(super) strain: Strain,
    pub(super) wanted: Wanted,
    pub(super) shared: Arc<Shared>,
    pub(super) tell: Sender<Told>,
    pub(super) gear: Sender<Gear>,
    pub(super) meters: Sender<Arc<Meter>>,
    /// Lasting names of the devices in use.
    pub(super) devices: (String, String),
}

impl Keeper {
    pub(super) fn run(mut self) {
        let (mut next_in, mut next_out) = (Instant::now(), Instant::now());
        while !self.shared.stop.load(Relaxed) {
            std::thread::sleep(LOOK);
            let lost_in = self.input.take_if(|device| device.lost());
            let lost_out = self.output.take_if(|device| device.lost());
            // Here they are closed. Standard error is off meanwhile: told is
            // after it.
            let lost_in = lost_in.map(|device| device.name().to_owned());
            let lost_out = lost_out.map(|device| device.name().to_owned());
            if let Some(name) = lost_in {
                self.tell(Told::Lost(Direction::In, stopped(&name)));
                self.give(Gear::NoInput);
                next_in = Instant::now() + AGAIN;
            }
            if let Some(name) = lost_out {
                self.tell(Told::Lost(Direction::Out, stopped(&name)));
                self.give(Gear::NoOutput);
                self.output_told = true;
                next_out = Instant::now() + AGAIN;
            }
            let now = self.shared.now();
            if let Some(strained) = self
                .output
                .take_if(|device| self.strain.too_much(device.underruns(), now))
            {
                // It is opened anew at once, with longer buffers.
                drop(strained);
                self.give(Gear::NoOutput);
                next_out = Instant::now();
            }
            if self.input.is_none() && Instant::now() >= next_in {
                // Why not was told when it was lost.
                let _ = self.open_input();
                next_in = Instant::now() + AGAIN;
            } else if self.output.is_none() && Instant::now() >= next_out {
                self.open_output();
                next_out = Instant::now() + AGAIN;
            }
        }
    }

    pub(super) fn open_input(&mut self) -> Result<u32, DeviceError> {
        let (choice, channel) = (&self.wanted.input, self.wanted.channel);
        let (input, intake) = Input::open(choice, channel, self.shared.epoch)?;
        let rate = intake.rate;
        self.tell(Told::Opened(Direction::In, input.in_words()));
        self.devices.0 = input.id().to_owned();
        let _ = self.meters.send(intake.meter.clone());
        self.give(Gear::Input(intake));
        self.input = Some(input);
        self.give(Gear::RoundTrip(self.round_trip().unwrap_or(0.0)));
        Ok(rate)
    }

    pub(super) fn open_output(&mut self) {
        match Clapper::open(&self.wanted.output, self.strain.buffer(), self.shared.epoch) {
            Ok((output, outlet)) => {
                self.devices.1 = output.id().to_owned();
                let rate = outlet.rate;
                let round_trip = self.round_trip();
                let known = match round_trip {
                    Some(seconds) => format!("round trip {:.0} ms as measured", 1e3 * seconds),
                    None => "round trip not measured (`eightclap devices measure`)".to_owned(),
                };
                self.tell(Told::Opened(
                    Direction::Out,
                    format!("{}, {known}", output.in_words()),
                ));
                let clips = Clips {
                    clap: clap::group(rate),
                    tick: clap::tick(rate),
                    voice: self.voice_at(rate),
                };
                self.give(Gear::Output(outlet, clips));
                self.give(Gear::RoundTrip(round_trip.unwrap_or(0.0)));
                self.output = Some(output);
                self.output_told = false;
                self.strain.opened(self.shared.now());
            }
            Err(error) => {
                if !std::mem::replace(&mut self.output_told, true) {
                    self.tell(Told::Lost(Direction::Out, error.to_string()));
                }
            }
        }
    }

    /// The words of calls at `rate`.
    fn voice_at(&self, rate: u32) -> Option<Arc<Repertoire>> {
        self.shared.out_rate.store(rate, Relaxed);
        let calling = self.shared.calling()?;
        Some(calling.at_rate(rate))
    }

    fn round_trip(&self) -> Option<f64> {
        let (input, output) = &self.devices;
        self.wanted.round_trips.get(input, output)
    }

    fn tell(&self, told: Told) {
        let _ = self.tell.send(told);
    }

    fn give(&self, gear: Gear) {
        let _ = self.gear.send(gear);
    }
}
