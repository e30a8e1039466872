//! Why there is no sound, and what to do about it.

use cpal::ErrorKind;

/// Why a device could not be used. Each shows as one line with the remedy.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DeviceError {
    /// This machine has no sound device, or none that this user may use.
    #[error("no sound device was found; {}", remedy())]
    None,
    /// Nothing that records, or nothing that this user may use.
    #[error("no microphone or other sound input was found; {}", input_remedy())]
    NoInput,
    /// Another program holds it.
    #[error(
        "the sound device is in use by another program; close that program or choose another device in the system's sound settings"
    )]
    Busy,
    /// The system forbids its use.
    #[error(
        "the system does not let this program use the sound device; allow it in the system's privacy or sound settings{}",
        group()
    )]
    Permission,
    /// It plays in no format that the program knows.
    #[error(
        "the sound device offers no format that can be used ({0}); choose another device in the system's sound settings"
    )]
    Format(String),
    /// No device is called so: what was asked for, and what there is.
    #[error("no sound device is called \"{0}\"; there is: {1} (`eightclap devices` lists them)")]
    Unknown(String, String),
    /// Several devices are called so: what was asked for, and those.
    #[error(
        "several sound devices are called \"{0}\": {1}; give more of the name, or its number from `eightclap devices`"
    )]
    Several(String, String),
    /// The device has no such channel: its name, the channel, and how many it has.
    #[error("\"{0}\" has no channel {1}: it has {2}, counted from 1")]
    Channel(String, usize, usize),
    /// Anything else that the system said.
    #[error(
        "the sound device cannot be used ({0}); choose another device in the system's sound settings, or unplug it and plug it in again"
    )]
    Failed(String),
}

/// What to try when no device is found, by system.
fn remedy() -> &'static str {
    if cfg!(target_os = "linux") {
        "plug one in or start the sound server (PipeWire or PulseAudio), and check with `aplay -l`"
    } else {
        "plug one in and choose it in the system's sound settings"
    }
}

fn input_remedy() -> &'static str {
    if cfg!(target_os = "linux") {
        "plug one in or start the sound server (PipeWire or PulseAudio), and check with `arecord -l`"
    } else {
        "plug one in and choose it in the system's sound settings"
    }
}

impl DeviceError {
    /// The same where something was to be recorded.
    pub(super) fn of_input(self) -> Self {
        match self {
            DeviceError::None => DeviceError::NoInput,
            other => other,
        }
    }
}

fn group() -> &'static str {
    if cfg!(target_os = "linux") {
        ", or join the `audio` group"
    } else {
        ""
    }
}

impl From<cpal::Error> for DeviceError {
    fn from(error: cpal::Error) -> Self {
        match error.kind() {
            ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable => DeviceError::None,
            ErrorKind::DeviceBusy => DeviceError::Busy,
            ErrorKind::PermissionDenied => DeviceError::Permission,
            ErrorKind::UnsupportedConfig | ErrorKind::UnsupportedOperation => {
                DeviceError::Format(one_line(&error))
            }
            // A sound server that is configured but does not run.
            _ if error.to_string().contains("Connection refused") => DeviceError::None,
            _ => DeviceError::Failed(one_line(&error)),
        }
    }
}

/// The library's own words on one line, without the final full stop.
fn one_line(error: &cpal::Error) -> String {
    let text = error.to_string().replace(['\n', '\r'], " ");
    text.trim().trim_end_matches('.').to_string()
}
