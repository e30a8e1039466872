//! Everything that can be wrong with a recording or a card.

use super::make::{fixture, wav_bytes};
use super::*;
use eightclap::dance::LANTERNS_ON_THE_WEIR;
use eightclap::follow::TUNE_LEVEL;
use eightclap::sound::band::signals;

/// The commands that read a recording, each on `path`; `out` is written to.
fn readers(path: &Path, out: &Path) -> [Vec<String>; 3] {
    let path = path.display().to_string();
    let out = out.display().to_string();
    [
        vec!["track".into(), path.clone()],
        vec!["track".into(), "--json".into(), path.clone()],
        vec!["practise".into(), path, "--write".into(), out],
    ]
}

#[test]
fn what_cannot_be_played_is_refused_in_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let noise: Vec<u8> = (0..90_000u64)
        .map(|n| (n.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 56) as u8)
        .collect();
    let text = "A1: balance, then swing\n".repeat(300);
    let m4a = std::fs::read(fixture("clicks.m4a")).unwrap();
    let data = [0u8; 4_000];
    let cases: [(&str, Vec<u8>, &str); 11] = [
        ("empty.wav", vec![], "empty (0 bytes)"),
        ("empty.mp3", vec![], "empty (0 bytes)"),
        ("words.wav", text.into(), "not a sound file"),
        ("rubbish.mp3", noise, "not a sound file"),
        (
            "header.wav",
            b"RIFF\x24\0\0\0WAVE".to_vec(),
            "damaged or cut short",
        ),
        (
            "none.wav",
            wav_bytes(1, 1, 44_100, 16, None, &[]),
            "0 samples",
        ),
        (
            "none-float.wav",
            wav_bytes(3, 2, 48_000, 32, None, &[]),
            "0 samples",
        ),
        ("cut.flac", b"fLaC".to_vec(), "damaged or cut short"),
        ("cut.m4a", m4a[..m4a.len() / 3].to_vec(), "M4A file"),
        (
            "rate.wav",
            wav_bytes(1, 1, 3_000_000_000, 16, None, &data),
            "its header claims",
        ),
        (
            "channels.wav",
            wav_bytes(1, 900, 44_100, 16, None, &data),
            "its header claims",
        ),
    ];
    for (name, bytes, because) in cases {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        for call in readers(&path, &folder.path().join("out.wav")) {
            let said = run(call);
            assert!(
                said.out.is_empty() || !said.out.contains("event"),
                "{said:?}"
            );
            said.refuses(&path, because);
        }
        std::fs::remove_file(&path).unwrap();
        assert_eq!(listing(folder.path()), [""; 0], "{name} left something");
    }
}

#[test]
fn folders_and_missing_files_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out.wav");
    let gone = folder.path().join("gone.wav");
    for call in readers(&gone, &out) {
        run(call).refuses(&gone, "there is no such file");
    }
    let bare = folder.path().join("bare");
    std::fs::create_dir(&bare).unwrap();
    let [_, json, practise] = readers(&bare, &out);
    run(json).refuses(&bare, "no sound file in this folder");
    run(practise).refuses(&bare, "this is a folder");
    assert_eq!(listing(folder.path()), ["bare"]);
}

#[cfg(unix)]
#[test]
fn a_forbidden_recording_or_card_is_called_so() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mine.wav");
    std::fs::write(&path, wav_bytes(1, 1, 8_000, 16, None, &[0; 800])).unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o000)).unwrap();
    if std::fs::File::open(&path).is_ok() {
        println!("skipped: this user (root?) may read every file");
        return;
    }
    for call in readers(&path, &folder.path().join("out.wav")) {
        run(call).refuses(&path, "reading it is not permitted");
    }
    let tune = fixture("clicks.flac");
    run([
        OsStr::new("practise"),
        tune.as_os_str(),
        OsStr::new("--card"),
        path.as_os_str(),
    ])
    .refuses(&path, "not permitted");
}

#[test]
fn silence_noise_and_what_is_not_a_number_are_played_without_claps() {
    let folder = tempfile::tempdir().unwrap();
    let rate = 22_050;
    let odd: Vec<f32> = [0.5, f32::NAN, f32::INFINITY, -0.5, f32::NEG_INFINITY, 1e30].to_vec();
    let cases = [
        ("silence.wav", signals::silence(20.0, rate), None),
        ("soft.wav", signals::white_noise(20.0, rate, 0.01, 1), None),
        ("loud.wav", signals::white_noise(20.0, rate, 0.9, 2), None),
        ("odd.wav", odd.repeat(40_000), Some("no number")),
        ("nan.wav", vec![f32::NAN; 200_000], Some("no number")),
    ];
    for (name, sound, warned) in cases {
        let path = folder.path().join(name);
        let spec = hound::WavSpec {
            bits_per_sample: 32,
            sample_format: hound::SampleFormat::Float,
            ..plain(rate)
        };
        write_wav(&path, &sound, spec);
        let out = folder.path().join("out.wav");
        for call in readers(&path, &out) {
            let said = run(&call);
            assert_eq!(said.code, 0, "{name}: {said:?}");
            assert!(!said.out.contains("\"phrase\""), "{name}: {said:?}");
            if call.len() != 3 {
                assert!(said.out.contains("nothing was clapped"), "{name}: {said:?}");
            }
            match warned {
                Some(words) => {
                    let start = format!("eightclap: {}: ", path.display());
                    assert!(said.err.starts_with(&start), "{said:?}");
                    assert!(said.err.contains(words), "{said:?}");
                    assert_eq!(said.err.lines().count(), 1);
                }
                None => assert_eq!(said.err, "", "{name}"),
            }
        }
        let written = samples(&out);
        assert_eq!(written.len(), sound.len(), "{name}");
        if name == "soft.wav" {
            for (heard, given) in written.iter().zip(&sound) {
                let due = given * TUNE_LEVEL * 32_768.0;
                assert!((f32::from(*heard) - due).abs() <= 1.0, "{heard} for {due}");
            }
        }
    }
}

#[test]
fn talk_is_played_to_its_end() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("talk.wav");
    let sound = signals::babble(20.0, 22_050, 0.05, 3);
    write_wav(&path, &sound, plain(22_050));
    let out = folder.path().join("out.wav");
    for call in readers(&path, &out) {
        run(call).well();
    }
    assert_eq!(samples(&out).len(), sound.len());
}

/// Runs all readers on half a minute of music and gives the JSON lines.
fn music(path: &Path, out: &Path) -> String {
    let [table, json_lines, practise] = readers(path, out);
    run(table).well();
    run(practise).well();
    let said = run(json_lines).well();
    let beats = times(&json(&said.out), "beat").len();
    assert!(
        (20..50).contains(&beats),
        "{beats} beats in {}",
        path.display()
    );
    said.out
}

#[test]
fn every_rate_depth_and_number_of_channels_is_followed() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tune.wav");
    let out = folder.path().join("out.wav");
    use hound::SampleFormat::{Float, Int};
    for rate in [8_000, 192_000] {
        let mut sound = tune(rate, 1);
        sound.truncate(20 * rate as usize);
        write_wav(&path, &sound, plain(rate));
        music(&path, &out);
        let reader = hound::WavReader::open(&out).unwrap();
        assert_eq!(reader.spec().sample_rate, rate);
        assert_eq!(reader.duration() as usize, sound.len());
    }
    let rate = 16_000;
    let mut sound = tune(rate, 1);
    sound.truncate(20 * rate as usize);
    for (bits_per_sample, sample_format) in [(24, Int), (32, Float)] {
        let mut first = None;
        for channels in 1..=8 {
            let spec = hound::WavSpec {
                channels,
                sample_rate: rate,
                bits_per_sample,
                sample_format,
            };
            write_wav(&path, &sound, spec);
            let heard = music(&path, &out);
            let spec = hound::WavReader::open(&out).unwrap().spec();
            assert_eq!(spec.channels, if channels == 2 { 2 } else { 1 });
            // The average of equal channels is off by the rounding of sums.
            let heard = times(&json(&heard), "beat");
            let first = first.get_or_insert_with(|| heard.clone());
            assert_eq!(heard.len(), first.len(), "{channels} channels");
            for (a, b) in heard.iter().zip(first.iter()) {
                assert!((a - b).abs() < 0.005, "{channels} channels: {a}, {b}");
            }
        }
    }
}

#[test]
fn a_wrong_extension_and_a_cut_end_do_no_harm() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out.wav");
    let mut sound = tune(16_000, 1);
    sound.truncate(20 * 16_000);
    let path = folder.path().join("really-a-wav.mp3");
    write_wav(&path, &sound, plain(16_000));
    let whole = music(&path, &out);

    let bytes = std::fs::read(&path).unwrap();
    let cut = folder.path().join("cut.wav");
    std::fs::write(&cut, &bytes[..bytes.len() / 2 + 1]).unwrap();
    for call in readers(&cut, &out) {
        let said = run(&call);
        assert_eq!(said.code, 0, "{said:?}");
        let start = format!("eightclap: {}: the file is cut short", cut.display());
        assert!(said.err.starts_with(&start), "{said:?}");
        if call.len() == 3 {
            assert!(
                whole.starts_with(&said.out),
                "later sound changed earlier events"
            );
            assert!(said.out.lines().count() > 8, "{said:?}");
        }
    }
}

#[test]
fn a_card_that_cannot_be_danced_is_refused_with_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let tune = fixture("clicks.flac");
    let out = folder.path().join("out.wav");
    let practise = |card: &Path| {
        run([
            OsStr::new("practise"),
            tune.as_os_str(),
            OsStr::new("--card"),
            card.as_os_str(),
            OsStr::new("--write"),
            out.as_os_str(),
        ])
    };
    let card = folder.path().join("my.toml");
    std::fs::write(&card, LANTERNS_ON_THE_WEIR).unwrap();
    practise(&card).well();
    std::fs::remove_file(&out).unwrap();

    for (from, to, because) in [
        ("beats = 12", "beats = 13", "13"),
        ("beats = 12", "beats = 8", "A1"),
        ("beats = 12", "beats = \"twelve\"", "number"),
        ("title", "titel", "title"),
    ] {
        assert!(LANTERNS_ON_THE_WEIR.contains(from), "{from}");
        std::fs::write(&card, LANTERNS_ON_THE_WEIR.replacen(from, to, 1)).unwrap();
        let said = practise(&card);
        println!("{}", said.err);
        assert_eq!(said.code, 1, "{said:?}");
        let start = format!("eightclap: {}:", card.display());
        assert!(said.err.starts_with(&start), "{said:?}");
        assert!(said.err.contains(because), "{because}? {said:?}");
        assert_eq!(said.out, "");
    }
    for (name, bytes, because) in [
        ("empty.toml", &b""[..], "has no \"title\""),
        ("tune.toml", &[0xff, 0xfe, 0, 1][..], "not UTF-8"),
    ] {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        let said = practise(&path);
        println!("{}", said.err);
        assert_eq!(said.code, 1, "{said:?}");
        assert!(
            said.err.contains(name) && said.err.contains(because),
            "{said:?}"
        );
    }
    let gone = folder.path().join("gone.toml");
    practise(&gone).refuses(&gone, "no such dance card");
    practise(folder.path()).refuses(folder.path(), "folder");
    assert!(!out.exists());
}
