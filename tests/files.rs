//! Reading recordings: every kind that is promised, and everything that can be
//! wrong with one.

#[path = "files/broken.rs"]
mod broken;
#[path = "files/make.rs"]
mod make;

use eightclap::sound::file::{Kind, Recording};
use make::*;

#[test]
fn every_wav_that_hound_reads_is_read_to_the_sample() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tone.wav");
    use hound::SampleFormat::{Float, Int};
    for (bits_per_sample, sample_format) in [(8, Int), (16, Int), (24, Int), (32, Int), (32, Float)]
    {
        for channels in 1..=8 {
            let spec = hound::WavSpec {
                channels,
                sample_rate: 44_100,
                bits_per_sample,
                sample_format,
            };
            write_tone(&path, spec, 0.2);
            let (sound, recording) = read_all(&path).unwrap();
            let what = format!("{bits_per_sample} bits, {channels} channels");
            assert_eq!(recording.kind(), Kind::Wav);
            assert_eq!(recording.channels(), usize::from(channels));
            assert_eq!(recording.frames(), Some(8_820), "{what}");
            assert_eq!(sound.len(), 8_820, "{what}");
            assert_eq!(recording.warning(), None);
            let worst = sound
                .iter()
                .enumerate()
                .map(|(n, s)| {
                    let t = n as f64 / 44_100.0;
                    (f64::from(*s) - 0.5 * (std::f64::consts::TAU * 440.0 * t).sin()).abs()
                })
                .fold(0.0, f64::max);
            let step = 1.01 / (1u64 << (bits_per_sample - 1)) as f64;
            assert!(worst <= step.max(1e-6), "{what}: off by {worst}");
        }
    }
}

#[test]
fn every_usual_rate_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tone.wav");
    for sample_rate in [
        8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 96_000, 192_000,
    ] {
        let spec = hound::WavSpec {
            channels: 2,
            sample_rate,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        write_tone(&path, spec, 0.5);
        let (sound, recording) = read_all(&path).unwrap();
        assert_eq!(recording.sample_rate(), sample_rate);
        assert!((recording.seconds().unwrap() - 0.5).abs() < 1e-4);
        assert!((tone(&sound, sample_rate, 440.0) - 0.5).abs() < 0.01);
    }
}

#[test]
fn other_kinds_of_wav_go_to_the_other_decoder() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("other.wav");
    // 64-bit floats.
    let data: Vec<u8> = (0..1_000)
        .flat_map(|n| (f64::from(n) / 2_000.0).to_le_bytes())
        .collect();
    std::fs::write(&path, wav_bytes(3, 1, 48_000, 64, None, &data)).unwrap();
    let (sound, _) = read_all(&path).unwrap();
    assert_eq!(sound.len(), 1_000);
    assert!((sound[500] - 0.25).abs() < 1e-6);
    // A-law: 0xd5 is the smallest step above zero (ITU-T G.711).
    std::fs::write(&path, wav_bytes(6, 1, 8_000, 8, None, &[0xd5; 800])).unwrap();
    let (sound, recording) = read_all(&path).unwrap();
    assert_eq!((sound.len(), recording.sample_rate()), (800, 8_000));
    assert!(sound.iter().all(|s| s.abs() < 0.001));
}

#[test]
fn every_packed_kind_has_its_clicks_where_they_were_put() {
    for (name, tolerance) in KEPT {
        let (sound, recording) = read_all(&fixture(name)).unwrap();
        let rate = recording.sample_rate();
        let clicks = clicks_in(&sound, rate);
        println!(
            "{name}: {:?}, {} frames of {:?}, clicks at {clicks:.5?}",
            recording.kind(),
            sound.len(),
            recording.frames()
        );
        assert_eq!(clicks.len(), 3, "{name}: clicks at {clicks:?}");
        for (found, put) in clicks.iter().zip(CLICKS) {
            assert!((found - put).abs() <= tolerance, "{name}: click at {found}");
        }
        let gap = clicks[2] - clicks[0];
        assert!((gap - 1.0).abs() < 0.0005, "{name}: {gap} s between clicks");
        // The tone is checked between the clicks.
        let quiet = &sound[(0.4 * f64::from(rate)) as usize..(0.7 * f64::from(rate)) as usize];
        let level = tone(quiet, rate, 440.0);
        assert!((level - 0.1).abs() < 0.01, "{name}: tone at {level}");
        assert_eq!(recording.warning(), None, "{name}");
        if let Some(frames) = recording.frames() {
            let off = frames.abs_diff(sound.len() as u64);
            assert!(
                off <= u64::from(rate) / 10,
                "{name}: {frames} promised, {} came",
                sound.len()
            );
        }
    }
}

#[test]
fn a_wrong_extension_does_no_harm() {
    let folder = tempfile::tempdir().unwrap();
    let wrong = [
        ("clicks.mp3", "a.wav"),
        ("clicks.flac", "b.mp3"),
        ("clicks.ogg", "c.flac"),
        ("clicks.m4a", "d.ogg"),
        ("clicks.aiff", "e.m4a"),
        ("clicks.aac", "f"),
    ];
    for (from, to) in wrong {
        let path = folder.path().join(to);
        std::fs::copy(fixture(from), &path).unwrap();
        let (sound, recording) = read_all(&path).unwrap();
        assert_eq!(clicks_in(&sound, recording.sample_rate()).len(), 3, "{to}");
    }
}

#[test]
fn channels_are_kept_apart_and_mixed_when_asked() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("stereo.wav");
    let data: Vec<u8> = [0.5f32, -0.25, 0.25, 0.75]
        .iter()
        .flat_map(|s| s.to_le_bytes())
        .collect();
    std::fs::write(&path, wav_bytes(3, 2, 44_100, 32, None, &data)).unwrap();
    let mut recording = Recording::open(&path).unwrap();
    let mut block = Vec::new();
    assert_eq!(recording.read(&mut block).unwrap(), 2);
    assert_eq!(block, [0.5, -0.25, 0.25, 0.75]);
    assert_eq!(recording.position(), 2);
    assert_eq!(recording.read(&mut block).unwrap(), 0);
    let (mono, _) = read_all(&path).unwrap();
    assert_eq!(mono, [0.125, 0.5]);
}
