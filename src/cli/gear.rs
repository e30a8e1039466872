//! The options that choose devices, and lines of standard input as keys: what several
//! commands share.

use std::io;

use clap::Args;
use crossbeam_channel::{Receiver, unbounded};

use crate::dance::Roles;
use crate::sound::device::Choice;

use super::config::Defaults;
use super::tell;

/// Where to hear.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Devices")]
pub(super) struct EarArgs {
    /// The microphone or mixer's line: a number from `eightclap devices`, or part of a
    /// name [config: devices.in]
    #[arg(long = "in", value_name = "DEVICE", value_parser = choice)]
    input: Option<Choice>,

    /// The one channel to hear, from 1, such as the mixer's; without it the mean of all
    /// [config: devices.channel]
    #[arg(long, value_name = "N", value_parser = channel)]
    channel: Option<u16>,

    /// The device where none was named.
    #[arg(skip)]
    usual: Option<Choice>,
}

impl EarArgs {
    /// Takes defaults for what was not given.
    pub(super) fn fill(&mut self, defaults: &Defaults) {
        self.usual.clone_from(&defaults.input);
        self.channel = self.channel.or(defaults.channel);
    }

    /// The device, the usual one if none was named.
    pub(super) fn device(&self) -> Choice {
        let named = self.input.as_ref().or(self.usual.as_ref());
        named.cloned().unwrap_or_default()
    }

    /// Whether a device was named on the command line: then no other way will do.
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

    #[command(flatten)]
    pub(super) out: OutArgs,
}

impl DeviceArgs {
    /// Takes defaults for what was not given.
    pub(super) fn fill(&mut self, defaults: &Defaults) {
        self.ear.fill(defaults);
        self.out.fill(defaults);
    }
}

/// Where to sound.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Devices")]
pub(super) struct OutArgs {
    /// The loudspeaker or headphones: a number from `eightclap devices`, or part of a
    /// name [config: devices.out]
    #[arg(long = "out", value_name = "DEVICE", value_parser = choice)]
    output: Option<Choice>,
}

impl OutArgs {
    /// Takes a default for what was not given.
    pub(super) fn fill(&mut self, defaults: &Defaults) {
        self.output = self.output.take().or_else(|| defaults.output.clone());
    }

    /// Where to sound, the usual device if none was named.
    pub(super) fn device(&self) -> Choice {
        self.output.clone().unwrap_or_default()
    }
}

/// Whether the screen may flash.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Screen")]
pub(super) struct FlashArgs {
    /// With flashes, at most twice in any second: what is usual [config: screen.flash]
    #[arg(long, overrides_with = "no_flash")]
    flash: bool,

    /// Without flashes (the f key turns them on); what they tell still shows
    #[arg(long)]
    no_flash: bool,
}

impl FlashArgs {
    /// Takes a default for what was not given.
    pub(super) fn fill(&mut self, defaults: &Defaults) {
        self.no_flash |= !self.flash && defaults.flash == Some(false);
    }

    /// Whether it may.
    pub(super) fn wanted(&self) -> bool {
        !self.no_flash
    }
}

/// Words for the roles.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct RoleArgs {
    /// Your words for the two roles, such as gent/lady, or man/woman/men/women
    /// [config: words.roles]
    #[arg(long, value_name = "A/B", value_parser = Roles::parse)]
    pub(super) roles: Option<Roles>,
}

impl RoleArgs {
    /// Takes a default for what was not given.
    pub(super) fn fill(&mut self, defaults: &Defaults) {
        self.roles = self.roles.take().or_else(|| defaults.roles.clone());
    }
}

/// Takes a device's number or a part of its name.
pub(super) fn choice(text: &str) -> Result<Choice, String> {
    match text.trim() {
        "" => Err("give a device's number or a part of its name".into()),
        text if text.parse::<i64>().is_ok_and(|number| number < 0) => {
            Err("devices are numbered from 0".into())
        }
        text => Ok(text.parse().unwrap_or_default()),
    }
}

/// Takes a whole number from `LOW` to `HIGH`.
pub(super) fn whole<const LOW: u32, const HIGH: u32>(text: &str) -> Result<u32, String> {
    let number = text.trim().parse().ok();
    let within = number.filter(|number| (LOW..=HIGH).contains(number));
    within.ok_or_else(|| format!("give a whole number from {LOW} to {HIGH}"))
}

/// Takes the number of a device's channel.
pub(super) fn channel(text: &str) -> Result<u16, String> {
    match text.trim().parse() {
        Ok(channel @ 1..=1024) => Ok(channel),
        _ => Err("give a channel from 1 to 1024".into()),
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
