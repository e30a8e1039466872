//! What devices there are.

use super::DeviceError;
use crate::sound::quiet::Quiet;
use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{SupportedStreamConfig, SupportedStreamConfigRange};
use std::collections::{BTreeMap, BTreeSet};

/// The sound devices of this machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Devices {
    /// The sound system they belong to, such as "ALSA".
    pub host: String,
    /// Devices that can record.
    pub inputs: Vec<Device>,
    /// Devices that can play.
    pub outputs: Vec<Device>,
}

/// One device, in one direction.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// Its name for people.
    pub name: String,
    /// Its name for the system, unique and lasting.
    pub id: String,
    /// Whether it is the one used when none is chosen.
    pub is_default: bool,
    /// The rate it prefers, hertz.
    pub rate: u32,
    /// The channels it prefers.
    pub channels: u16,
    /// The sample format it prefers, such as "f32".
    pub format: String,
    /// What else it can do.
    pub ranges: Vec<Range>,
}

/// A range of rates that a device takes with some channel counts and formats.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Range {
    /// The fewest channels.
    pub fewest: u16,
    /// The most channels.
    pub most: u16,
    /// The lowest rate, hertz.
    pub lowest: u32,
    /// The highest rate, hertz.
    pub highest: u32,
    /// The sample formats, such as "i16".
    pub formats: Vec<String>,
}

/// Lists the devices of the default sound system. Devices that cannot be
/// opened now are left out.
///
/// # Errors
/// [`DeviceError::None`] if nothing can record or play.
pub fn list() -> Result<Devices, DeviceError> {
    let _quiet = Quiet::begin();
    let host = cpal::default_host();
    let id_of =
        |device: Option<cpal::Device>| device.and_then(|d| d.id().ok()).map(|i| i.to_string());
    let default_in = id_of(host.default_input_device());
    let default_out = id_of(host.default_output_device());
    let mut found = Devices {
        host: host.id().name().to_string(),
        inputs: Vec::new(),
        outputs: Vec::new(),
    };
    for device in host.devices()? {
        let Ok(id) = device.id().map(|i| i.to_string()) else {
            continue;
        };
        if leads_nowhere(&id) {
            continue;
        }
        let name = device
            .description()
            .map_or_else(|_| id.clone(), |d| d.name().to_string());
        let describe = |config: SupportedStreamConfig, is_default, ranges| Device {
            name: name.clone(),
            id: id.clone(),
            is_default,
            rate: config.sample_rate(),
            channels: config.channels(),
            format: config.sample_format().to_string(),
            ranges,
        };
        if let Ok(config) = device.default_input_config() {
            let ranges = device.supported_input_configs().map(ranges);
            let is_default = default_in.as_ref() == Some(&id);
            found
                .inputs
                .push(describe(config, is_default, ranges.unwrap_or_default()));
        }
        if let Ok(config) = device.default_output_config() {
            let ranges = device.supported_output_configs().map(ranges);
            let is_default = default_out.as_ref() == Some(&id);
            found
                .outputs
                .push(describe(config, is_default, ranges.unwrap_or_default()));
        }
    }
    if found.inputs.is_empty() && found.outputs.is_empty() {
        return Err(DeviceError::None);
    }
    // The default first; the rest in the system's order.
    found.inputs.sort_by_key(|d| !d.is_default);
    found.outputs.sort_by_key(|d| !d.is_default);
    Ok(found)
}

/// ALSA's `null` opens on every machine, takes all sound and plays none; the
/// others are converters that lead back to the default.
fn leads_nowhere(id: &str) -> bool {
    matches!(
        id.strip_prefix("alsa:"),
        Some("null" | "lavrate" | "samplerate" | "speexrate" | "speex" | "upmix" | "vdownmix")
    )
}

/// Merges a device's many entries, one a channel count and format, into the
/// few ranges that a person can read.
fn ranges(configs: impl Iterator<Item = SupportedStreamConfigRange>) -> Vec<Range> {
    let mut rates: BTreeMap<(u16, u32, u32), BTreeSet<String>> = BTreeMap::new();
    for c in configs {
        let key = (c.channels(), c.min_sample_rate(), c.max_sample_rate());
        let formats = rates.entry(key).or_default();
        formats.insert(c.sample_format().to_string());
    }
    let mut merged: Vec<Range> = Vec::new();
    for ((channels, lowest, highest), formats) in rates {
        let formats: Vec<String> = formats.into_iter().collect();
        let joins = |r: &&mut Range| {
            r.most + 1 == channels
                && (r.lowest, r.highest) == (lowest, highest)
                && r.formats == formats
        };
        match merged.iter_mut().find(joins) {
            Some(range) => range.most = channels,
            None => merged.push(Range {
                fewest: channels,
                most: channels,
                lowest,
                highest,
                formats,
            }),
        }
    }
    merged
}

#[cfg(test)]
mod tests {
    use super::*;
    use cpal::{SampleFormat, SupportedBufferSize};

    #[test]
    fn many_entries_become_few_ranges() {
        let entry = |channels, lowest, highest, format| {
            let buffer = SupportedBufferSize::Unknown;
            SupportedStreamConfigRange::new(channels, lowest, highest, buffer, format)
        };
        let mut all = Vec::new();
        for channels in [3, 1, 2, 8] {
            for format in [SampleFormat::I16, SampleFormat::F32] {
                all.push(entry(channels, 8_000, 48_000, format));
            }
        }
        all.push(entry(2, 96_000, 96_000, SampleFormat::I16));
        let said: Vec<String> = ranges(all.into_iter())
            .iter()
            .map(|r| {
                let formats = r.formats.join("/");
                format!(
                    "{}-{} {}-{} {formats}",
                    r.fewest, r.most, r.lowest, r.highest
                )
            })
            .collect();
        assert_eq!(
            said,
            [
                "1-3 8000-48000 f32/i16",
                "2-2 96000-96000 i16",
                "8-8 8000-48000 f32/i16"
            ]
        );
    }
}
