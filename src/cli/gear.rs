//! The options that choose devices, and lines of standard input as keys: what several
//! commands share.

use std::io;

use clap::Args;
use crossbeam_channel::{Receiver, unbounded};

use crate::sound::device::Choice;

use super::tell;

/// Where to hear.
#[derive(Debug, Clone, Args)]
pub(super) struct EarArgs {
    /// The microphone or mixer's line: a number from `eightclap devices`, or part of a name
    #[arg(long = "in", value_name = "DEVICE", value_parser = choice)]
    input: Option<Choice>,

    /// The one channel to hear, from 1, such as the mixer's; without it the mean of all
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    channel: Option<u16>,
}

impl EarArgs {
    /// The device, the usual one if none was named.
    pub(super) fn device(&self) -> Choice {
        self.input.clone().unwrap_or_default()
    }

    /// Whether a device was named.
    pub(super) fn is_named(&self) -> bool {
        self.input.is_some()
    }

    /// The channel, from 1.
    pub(super) fn channel(&self) -> Option<usize> {
        self.channel.map(usize::from)
    }
}

/// Where to hear and where to sound.
#[derive(Debug, Clone, Args)]
pub(super) struct DeviceArgs {
    #[command(flatten)]
    pub(super) ear: EarArgs,

    /// The loudspeaker or headphones: a number from `eightclap devices`, or part of a name
    #[arg(long = "out", value_name = "DEVICE", value_parser = choice)]
    output: Option<Choice>,
}

impl DeviceArgs {
    /// Where to sound, the usual device if none was named.
    pub(super) fn output(&self) -> Choice {
        self.output.clone().unwrap_or_default()
    }
}

/// Takes a device's number or a part of its name.
fn choice(text: &str) -> Result<Choice, String> {
    match text.trim() {
        "" => Err("give a device's number or a part of its name".into()),
        text => Ok(text.parse().unwrap_or_default()),
    }
}

/// Lines of standard input as `read` takes them, without blanks around them. What it does
/// not know is told, with the `known`.
pub(super) fn keys<T: Send + 'static>(
    known: &'static str,
    read: fn(&str) -> Option<T>,
) -> Receiver<T> {
    lines_as(move |line| {
        let key = read(line);
        if key.is_none() {
            tell(format_args!("\"{line}\" is not known here: {known}"));
        }
        key
    })
}

/// What `read` makes of lines of standard input, without blanks around them. Reading
/// blocks and cannot be stopped: its thread ends with the program.
pub(super) fn lines_as<T: Send + 'static>(
    read: impl Fn(&str) -> Option<T> + Send + 'static,
) -> Receiver<T> {
    let (send, lines) = unbounded();
    std::thread::spawn(move || {
        for line in io::stdin().lines().map_while(Result::ok) {
            if let Some(read) = read(line.trim())
                && send.send(read).is_err()
            {
                return;
            }
        }
    });
    lines
}
