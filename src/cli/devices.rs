//! `eightclap devices`: what can play and record here.

use std::io::{self, Write};

use clap::{Args, Subcommand};

use crate::sound::device::{Device, DeviceError, Devices, Step, list, measure};
use crate::sound::roundtrip::RoundTrips;

use super::config::Defaults;
use super::gear::DeviceArgs;
use super::play::listen;

/// Arguments of `devices`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  eightclap devices           what can play and record
  eightclap devices measure   how late they are; kept for later
  eightclap config new        a file to keep your choice of them in")]
pub(super) struct DevicesArgs {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Measure how long a sound takes from a loudspeaker to a microphone, and keep it for `listen`
    #[command(after_help = "\
Examples:
  eightclap devices measure                         the usual pair
  eightclap devices measure --in USB --out Phones   another")]
    #[command(long_about = "\
Measure how long a sound takes from a loudspeaker to a microphone, and keep it for `listen`.

Quiet sweeps are played, from hardly audible up to clear, and looked for in what the \
microphone hears. Stand the microphone where it will hear the band, and be still for \
some twenty seconds. Take headphones off your ears first: lay them on the microphone.")]
    Measure(DeviceArgs),
}

/// Lists, or measures.
pub(super) fn run(args: DevicesArgs) -> anyhow::Result<()> {
    match args.what {
        None => show(),
        Some(What::Measure(mut args)) => {
            args.fill(&Defaults::load()?);
            measure_pair(&args)
        }
    }
}

fn measure_pair(args: &DeviceArgs) -> anyhow::Result<()> {
    let path = RoundTrips::path()?;
    // A file that cannot be used is told of before anybody waits.
    let mut trips = RoundTrips::load(&path)?;
    let stop = listen();
    let mut told = Ok(());
    let tell_step = |step: Step| {
        told = print_step(&step, &mut io::stdout().lock());
        told.is_ok() && !stop.asked()
    };
    let pair = measure(
        &args.ear.device(),
        args.ear.channel(),
        &args.out.device(),
        tell_step,
    );
    told?;
    let pair = pair?;
    trips.set(&pair.input, &pair.output, pair.measured.seconds);
    trips.save(&path)?;
    let measured = pair.measured;
    writeln!(
        io::stdout().lock(),
        "round trip {:.1} ms, within {:.1} ms over {} sweeps; kept in {}",
        1e3 * measured.seconds,
        1e3 * measured.spread,
        measured.sweeps,
        path.display()
    )?;
    Ok(())
}

fn print_step(step: &Step, out: &mut impl Write) -> io::Result<()> {
    match step {
        Step::Opened(input, output) => writeln!(
            out,
            "from \"{output}\" to \"{input}\": sweeps, from hardly audible on"
        ),
        Step::Sweep(gain, trip) => {
            let db = 20.0 * gain.log10();
            match trip {
                Some(seconds) => writeln!(out, "  sweep at {db:.0} dB: {:.1} ms", 1e3 * seconds),
                None => writeln!(out, "  sweep at {db:.0} dB: not clear"),
            }
        }
    }
}

/// Prints the list. That there is nothing to list is an answer too: the exit
/// code says only whether the question could be answered.
fn show() -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    let devices = match list() {
        Ok(devices) => devices,
        Err(none @ DeviceError::None) => {
            writeln!(out, "{none}")?;
            writeln!(
                out,
                "\nWithout a device the screen runs in real time without sound, and\n\
                 `eightclap demo --write demo.wav` makes a file to play elsewhere."
            )?;
            return Ok(());
        }
        Err(error) => return Err(error.into()),
    };
    print(&devices, &mut out)
}

fn print(devices: &Devices, out: &mut impl Write) -> anyhow::Result<()> {
    writeln!(out, "sound system: {}", devices.host)?;
    for (heading, listed, none) in [
        (
            "outputs (where claps and tunes play)",
            &devices.outputs,
            "none: plug in headphones or a loudspeaker, and check that it is not muted or taken",
        ),
        (
            "inputs (where the band is heard)",
            &devices.inputs,
            "none: plug in a microphone or a line from the mixer",
        ),
    ] {
        writeln!(out, "\n{heading}")?;
        if listed.is_empty() {
            writeln!(out, "  {none}")?;
        }
        for (index, device) in listed.iter().enumerate() {
            writeln!(out, "  {}", line(index, device))?;
        }
    }
    Ok(())
}

fn line(index: usize, device: &Device) -> String {
    let rates = match (
        device.ranges.iter().map(|r| r.lowest).min(),
        device.ranges.iter().map(|r| r.highest).max(),
    ) {
        (Some(low), Some(high)) if low < high => format!(", {low} to {high} Hz possible"),
        _ => String::new(),
    };
    let default = if device.is_default { " (default)" } else { "" };
    let channels = match device.channels {
        1 => "1 channel".to_string(),
        n => format!("{n} channels"),
    };
    format!(
        "{index}  {}{default}: {} Hz, {channels}, {}{rates}",
        device.name, device.rate, device.format
    )
}
