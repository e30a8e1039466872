//! The words that are built in.
//!
//! One Ogg Vorbis stream holds them all, one after the other with silence
//! between; an index says where each begins. `fixtures/voice/make_bank.py`
//! makes both and says with which voice.

use std::collections::{BTreeMap, HashMap};
use std::io::Cursor;
use std::ops::Range;
use std::sync::LazyLock;

use serde::Deserialize;
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatReader, TrackType};
use symphonia::core::io::MediaSourceStream;

use super::words::normal;

static SOUND: &[u8] = include_bytes!("../../../fixtures/voice/bank.ogg");
static INDEX: &str = include_str!("../../../fixtures/voice/bank.json");

/// What the index says.
#[derive(Debug, Deserialize)]
struct Index {
    /// Samples a second.
    rate: u32,
    /// Words, not yet normal, with the first sample and how many there are.
    said: BTreeMap<String, (u64, u64)>,
}

/// The index by normal words.
static BANK: LazyLock<(u32, HashMap<String, Range<u64>>)> = LazyLock::new(|| {
    let index: Index = serde_json::from_str(INDEX).unwrap_or(Index {
        rate: 0,
        said: BTreeMap::new(),
    });
    let range = |(words, (from, len)): (String, (u64, u64))| (normal(&words), from..from + len);
    (index.rate, index.said.into_iter().map(range).collect())
});

/// Samples a second of all that is built in.
pub(super) fn rate() -> u32 {
    BANK.0
}

/// Whether `words`, which are normal, are built in.
pub(super) fn has(words: &str) -> bool {
    BANK.1.contains_key(words)
}

/// The sound of those of `wanted`, which are normal, that are built in.
pub(super) fn fetch<'a>(wanted: impl IntoIterator<Item = &'a str>) -> HashMap<String, Vec<f32>> {
    let mut found: Vec<(&str, Range<u64>)> = wanted
        .into_iter()
        .filter_map(|words| Some((words, BANK.1.get(words)?.clone())))
        .collect();
    found.sort_by_key(|(_, range)| range.start);
    found.dedup();
    let ranges: Vec<Range<u64>> = found.iter().map(|(_, range)| range.clone()).collect();
    let sounds = decode(&ranges).unwrap_or_default();
    let words = found.iter().map(|(words, _)| (*words).to_owned());
    words.zip(sounds).collect()
}

/// The samples of each of `ranges`, which are in order and apart. Only what is
/// asked for is decoded: the packets between are passed over.
fn decode(ranges: &[Range<u64>]) -> Option<Vec<Vec<f32>>> {
    let stream = MediaSourceStream::new(Box::new(Cursor::new(SOUND)), Default::default());
    let mut format = symphonia::default::get_probe()
        .probe(&Hint::new(), stream, Default::default(), Default::default())
        .ok()?;
    let (track, mut decoder) = decoder(&*format)?;
    let mut sounds: Vec<Vec<f32>> = ranges
        .iter()
        .map(|range| Vec::with_capacity((range.end - range.start) as usize))
        .collect();
    let mut at = 0;
    let mut piece = Vec::new();
    // A packet's sound overlaps with the one before, which has to be decoded
    // too: it waits here until it is known whether it is needed.
    let mut before = None;
    let mut decoded_before = false;
    while at < ranges.len() {
        let Ok(Some(packet)) = format.next_packet() else {
            break;
        };
        if packet.track_id != track {
            continue;
        }
        let from = u64::try_from(packet.pts.get()).unwrap_or(0);
        let until = from + packet.dur.get();
        while ranges.get(at).is_some_and(|range| range.end <= from) {
            at += 1;
        }
        let needed = ranges.get(at).is_some_and(|range| range.start < until);
        if !needed {
            before = Some(packet);
            decoded_before = false;
            continue;
        }
        if !decoded_before && let Some(before) = before.take() {
            decoder.reset();
            let _ = decoder.decode(&before);
        }
        decoded_before = true;
        let sound = decoder.decode(&packet).ok()?;
        sound.copy_to_vec_interleaved(&mut piece);
        // The last of them may end within this packet, and the next begin.
        for (range, sound) in ranges[at..].iter().zip(&mut sounds[at..]) {
            if range.start >= until {
                break;
            }
            let first = range.start.saturating_sub(from) as usize;
            let last = (range.end - from).min(piece.len() as u64) as usize;
            sound.extend(piece.get(first..last).unwrap_or_default());
        }
    }
    Some(sounds)
}

fn decoder(format: &dyn FormatReader) -> Option<(u32, Box<dyn AudioDecoder>)> {
    let track = format.default_track(TrackType::Audio)?;
    let parameters = track.codec_params.as_ref()?.audio()?;
    let decoder = symphonia::default::get_codecs()
        .make_audio_decoder(parameters, &AudioDecoderOptions::default())
        .ok()?;
    Some((track.id, decoder))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cue::voice::polish::PEAK;

    fn all() -> Vec<(&'static str, Range<u64>)> {
        let mut all: Vec<_> = BANK
            .1
            .iter()
            .map(|(w, r)| (w.as_str(), r.clone()))
            .collect();
        all.sort_by_key(|(_, range)| range.start);
        all
    }

    #[test]
    fn it_is_small_enough_for_the_program() {
        assert!(SOUND.len() + INDEX.len() <= 3_000_000);
    }

    #[test]
    fn every_entry_is_a_good_clip() {
        let sounds = fetch(BANK.1.keys().map(String::as_str));
        assert!(sounds.len() > 250, "{}", sounds.len());
        let mut levels = Vec::new();
        for (words, range) in all() {
            let sound = &sounds[words];
            assert_eq!(sound.len() as u64, range.end - range.start, "{words}");
            let peak = sound.iter().fold(0.0f32, |m, s| m.max(s.abs()));
            assert!((0.1..=PEAK + 0.02).contains(&peak), "{words}: {peak}");
            let seconds = sound.len() as f64 / f64::from(rate());
            let letters = words.len() as f64;
            assert!((0.15..4.0).contains(&seconds), "{words}: {seconds} s");
            assert!(seconds < 0.4 + 0.12 * letters, "{words}: {seconds} s");
            // Silence is what is 40 dB below the loudest sample.
            let heard = |s: &f32| s.abs() > 0.01 * peak;
            let silence = sound.iter().position(heard).unwrap_or(sound.len());
            let ms = 1e3 * silence as f64 / f64::from(rate());
            assert!(ms <= 20.0, "{words}: {ms} ms");
            // The loud parts alone: a call with pauses is no softer for them.
            let mut squares: Vec<f32> = sound
                .chunks(rate() as usize / 100)
                .map(|c| c.iter().map(|s| s * s).sum::<f32>() / c.len() as f32)
                .collect();
            squares.sort_by(f32::total_cmp);
            let loud = &squares[squares.len() / 2..];
            levels.push(10.0 * (loud.iter().sum::<f32>() / loud.len() as f32).log10());
        }
        levels.sort_by(f32::total_cmp);
        let (soft, loud) = (levels[0], levels[levels.len() - 1]);
        assert!(loud - soft < 6.0, "{soft} to {loud} dB");
    }

    #[test]
    fn a_few_entries_decode_as_they_do_among_all() {
        let sounds = fetch(BANK.1.keys().map(String::as_str));
        let words: Vec<&str> = all().into_iter().map(|(words, _)| words).collect();
        let few: Vec<&str> = words.iter().step_by(17).copied().collect();
        for (words, sound) in fetch(few.iter().rev().copied().chain(few.first().copied())) {
            assert!(sound == sounds[&words], "{words}");
        }
        for words in [words[0], words[words.len() - 1]] {
            assert!(fetch([words])[words] == sounds[words], "{words}");
        }
        assert!(fetch(["not in the bank"]).is_empty());
    }

    #[test]
    fn counts_and_signals_are_there() {
        for words in [
            "one",
            "two",
            "three",
            "four",
            "five",
            "six",
            "seven",
            "eight",
            "ready",
            "last time",
            "two more times",
            "one more time",
            "thank your partner",
            "four beats ready",
        ] {
            assert!(has(words), "{words}");
        }
    }
}
