//! `eightclap devices`: what can play and record here.

use std::io::{self, Write};

use crate::sound::device::{Device, DeviceError, Devices, list};

/// Arguments of `devices`.
#[derive(Debug, clap::Args)]
pub(super) struct DevicesArgs {}

/// Prints the list. That there is nothing to list is an answer too: the exit
/// code says only whether the question could be answered.
pub(super) fn run(_args: &DevicesArgs) -> anyhow::Result<()> {
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
