//! Which device is meant by a number or a part of a name.

use super::DeviceError;
use super::list::{Device, list};
use cpal::traits::{DeviceTrait, HostTrait};
use std::convert::Infallible;
use std::str::FromStr;

/// Recording or playing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Direction {
    /// Into the program.
    In,
    /// Out of it.
    Out,
}

/// Which device a person asked for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Choice {
    /// The one that the system uses when nobody says otherwise.
    #[default]
    Default,
    /// By its number in [`list`].
    Index(usize),
    /// By its name, a part of it, or its name for the system.
    Name(String),
}

impl FromStr for Choice {
    type Err = Infallible;

    fn from_str(text: &str) -> Result<Self, Infallible> {
        Ok(match text.trim().parse() {
            Ok(index) => Choice::Index(index),
            Err(_) => Choice::Name(text.trim().to_owned()),
        })
    }
}

/// An opened choice: the device and what it is called.
pub(super) struct Chosen {
    pub(super) device: cpal::Device,
    pub(super) name: String,
    pub(super) id: String,
}

/// Finds the device. Hold a [`Quiet`](crate::sound::quiet::Quiet) meanwhile.
pub(super) fn find(choice: &Choice, direction: Direction) -> Result<Chosen, DeviceError> {
    let host = cpal::default_host();
    let device = match choice {
        Choice::Default => match direction {
            Direction::In => host.default_input_device(),
            Direction::Out => host.default_output_device(),
        },
        _ => {
            let all = list()?;
            let listed = match direction {
                Direction::In => &all.inputs,
                Direction::Out => &all.outputs,
            };
            let id = pick(listed, choice)?.id.parse()?;
            host.device_by_id(&id)
        }
    };
    let device = device.ok_or(DeviceError::None)?;
    let id = device
        .id()
        .map_or_else(|_| String::new(), |i| i.to_string());
    let name = device
        .description()
        .map_or_else(|_| "default device".to_owned(), |d| d.name().to_owned());
    Ok(Chosen { device, name, id })
}

/// The one device among `listed` that `choice` means.
fn pick<'a>(listed: &'a [Device], choice: &Choice) -> Result<&'a Device, DeviceError> {
    let unknown = |wanted: &str| DeviceError::Unknown(wanted.to_owned(), names(listed.iter()));
    let wanted = match choice {
        Choice::Default => return listed.first().ok_or(DeviceError::None),
        Choice::Index(n) => return listed.get(*n).ok_or_else(|| unknown(&n.to_string())),
        Choice::Name(name) => name,
    };
    let lower = wanted.to_lowercase();
    let whole = listed
        .iter()
        .filter(|d| d.name.to_lowercase() == lower || d.id.to_lowercase() == lower);
    let part = listed
        .iter()
        .filter(|d| d.name.to_lowercase().contains(&lower) || d.id.to_lowercase().contains(&lower));
    let whole: Vec<&Device> = whole.collect();
    let found = match whole.is_empty() {
        true => part.collect(),
        false => whole,
    };
    match found.as_slice() {
        [] => Err(unknown(wanted)),
        [one] => Ok(one),
        several => Err(DeviceError::Several(
            wanted.clone(),
            names(several.iter().copied()),
        )),
    }
}

fn names<'a>(devices: impl Iterator<Item = &'a Device>) -> String {
    let names: Vec<String> = devices.map(|d| format!("\"{}\"", d.name)).collect();
    match names.is_empty() {
        true => "none".to_owned(),
        false => names.join(", "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn device(name: &str, id: &str) -> Device {
        Device {
            name: name.into(),
            id: id.into(),
            is_default: false,
            rate: 48_000,
            channels: 2,
            format: "f32".into(),
            ranges: Vec::new(),
        }
    }

    fn choice(text: &str) -> Choice {
        text.parse().unwrap()
    }

    #[test]
    fn a_number_or_a_part_of_a_name_finds_one_device() {
        let all = [
            device("Stage box", "alsa:hw:1"),
            device("Stage box USB", "alsa:hw:2"),
            device("Laptop", "alsa:hw:0"),
        ];
        let found = |text: &str| pick(&all, &choice(text)).map(|d| d.id.as_str());
        assert_eq!(found("2"), Ok("alsa:hw:0"));
        assert_eq!(found("lap"), Ok("alsa:hw:0"));
        assert_eq!(found("hw:2"), Ok("alsa:hw:2"));
        assert_eq!(found("stage box"), Ok("alsa:hw:1"), "the whole name wins");
        assert_eq!(
            found("stage"),
            Err(DeviceError::Several(
                "stage".into(),
                "\"Stage box\", \"Stage box USB\"".into()
            ))
        );
        let unknown = found("7").unwrap_err().to_string();
        assert!(
            unknown.contains("\"7\"") && unknown.contains("\"Laptop\""),
            "{unknown}"
        );
        assert!(pick(&[], &Choice::Default).is_err());
    }
}
