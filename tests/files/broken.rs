//! Files that are wrong in some way: each is played as far as it goes, or
//! refused in one clear line.

use super::make::*;
use eightclap::sound::file::{FileError, Recording, find};
use rand::{Rng, RngExt};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::SeedableRng;
use std::path::Path;
use std::sync::mpsc;
use std::time::Duration;

/// What opening or reading says, having checked that it is one line that
/// starts with the file's name.
fn complaint(path: &Path) -> String {
    let error = match read_all(path) {
        Err(error) => error,
        Ok((sound, _)) => panic!("{} gave {} frames", path.display(), sound.len()),
    };
    let text = error.to_string();
    assert!(text.starts_with(&format!("{}: ", path.display())), "{text}");
    assert!(!text.contains('\n'), "{text}");
    text
}

fn put(folder: &Path, name: &str, bytes: &[u8]) -> std::path::PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

#[test]
fn bad_files_are_refused_in_one_clear_line() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    let mut noise = vec![0u8; 200_000];
    Pcg32::seed_from_u64(5).fill_bytes(&mut noise);
    let text = "A1: circle left, swing your partner\n".repeat(500);
    let silent_header = wav_bytes(1, 1, 44_100, 16, None, &[]);
    let promise = wav_bytes(1, 1, 44_100, 16, Some(40_000), &[]);
    let whole = std::fs::read(fixture("clicks.m4a")).unwrap();
    let cases: [(&str, &[u8], &str); 12] = [
        ("empty.wav", b"", "the file is empty (0 bytes)"),
        ("empty.mp3", b"", "the file is empty (0 bytes)"),
        ("card.wav", text.as_bytes(), "this is not a sound file"),
        ("noise.mp3", &noise, "this is not a sound file"),
        ("one.flac", b"f", "this is not a sound file"),
        (
            "none.wav",
            &silent_header,
            "there is no sound in this WAV file (0 samples)",
        ),
        (
            "promise.wav",
            &promise,
            "damaged or cut short (it ends before its first sample)",
        ),
        (
            "riff.wav",
            b"RIFF\x24\0\0\0WAVE",
            "this WAV file is damaged or cut short",
        ),
        (
            "magic.flac",
            b"fLaC",
            "this FLAC file is damaged or cut short",
        ),
        (
            "magic.ogg",
            b"OggS\0\x02",
            "this OGG file is damaged or cut short",
        ),
        ("moov.m4a", &whole[..whole.len() / 3], "M4A file"),
        ("tag.mp3", b"ID3\x04\0\0\0\0\0\x04abcd", "MP3 file"),
    ];
    for (name, bytes, expected) in cases {
        let said = complaint(&put(dir, name, bytes));
        assert!(said.contains(expected), "{said}");
        assert!(
            said.contains(';') || said.contains("use WAV"),
            "a remedy in: {said}"
        );
    }
    let said = complaint(&dir.join("nowhere.wav"));
    assert!(said.contains("there is no such file"), "{said}");
    let said = complaint(dir);
    assert!(said.contains("this is a folder"), "{said}");
}

#[test]
fn absurd_headers_are_refused_and_cost_no_memory() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    let data = [0u8; 4_000];
    for (name, bytes) in [
        ("rate0.wav", wav_bytes(1, 1, 0, 16, None, &data)),
        ("fast.wav", wav_bytes(1, 1, 3_000_000_000, 16, None, &data)),
        ("many.wav", wav_bytes(1, 1_000, 44_100, 16, None, &data)),
        ("none.wav", wav_bytes(1, 0, 44_100, 16, None, &data)),
    ] {
        let said = complaint(&put(dir, name, &bytes));
        assert!(said.contains("its header claims"), "{said}");
    }
    // A chunk, and a table in an M4A file, that claim gigabytes.
    let mut chunk = wav_bytes(1, 1, 44_100, 16, None, &data);
    chunk.splice(12..12, *b"LIST\xf0\xff\xff\xff");
    complaint(&put(dir, "chunk.wav", &chunk));
    let mut m4a = std::fs::read(fixture("clicks.m4a")).unwrap();
    let at = m4a.windows(4).position(|w| w == b"stsz").unwrap();
    m4a[at + 12..at + 16].copy_from_slice(&[0x7f, 0xff, 0xff, 0xff]);
    let path = put(dir, "table.m4a", &m4a);
    let _ = read_all(&path);
}

#[test]
fn a_cut_file_plays_what_is_there_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("cut.wav");
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 44_100,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    write_tone(&path, spec, 1.0);
    let whole = std::fs::read(&path).unwrap();
    // In the middle of a sample.
    std::fs::write(&path, &whole[..whole.len() / 2 + 1]).unwrap();
    let (sound, recording) = read_all(&path).unwrap();
    assert!((22_000..22_100).contains(&sound.len()), "{}", sound.len());
    assert_eq!(recording.frames(), Some(sound.len() as u64));
    let warning = recording.warning().unwrap();
    assert!(
        warning.contains("cut.wav: the file is cut short; the 50 %"),
        "{warning}"
    );
    assert!((tone(&sound, 44_100, 440.0) - 0.5).abs() < 0.01);

    for name in ["clicks.flac", "clicks.mp3", "clicks.ogg", "clicks.aac"] {
        let whole = std::fs::read(fixture(name)).unwrap();
        let path = put(folder.path(), name, &whole[..whole.len() * 2 / 3]);
        let (sound, recording) = read_all(&path).unwrap();
        let seconds = sound.len() as f64 / f64::from(recording.sample_rate());
        assert!((0.4..1.3).contains(&seconds), "{name}: {seconds} s");
        let clicks = clicks_in(&sound, recording.sample_rate());
        assert!((clicks[0] - 0.25).abs() < 0.03, "{name}: {clicks:?}");
        if matches!(name, "clicks.flac" | "clicks.mp3") {
            let warning = recording.warning().unwrap();
            assert!(warning.contains("cut short"), "{warning}");
        }
    }
}

#[test]
fn a_recorder_switched_off_mid_way_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let data: Vec<u8> = (0..8_000u16).flat_map(u16::to_le_bytes).collect();
    for (claimed, warned) in [(0, true), (u32::MAX, false)] {
        let bytes = wav_bytes(1, 1, 8_000, 16, Some(claimed), &data);
        let path = put(folder.path(), "open.wav", &bytes);
        let (sound, recording) = read_all(&path).unwrap();
        assert_eq!(sound.len(), 8_000, "length stated as {claimed}");
        assert_eq!(recording.warning().is_some(), warned);
    }
}

#[test]
fn what_is_not_a_number_becomes_silence() {
    let folder = tempfile::tempdir().unwrap();
    let samples = [0.5, f32::NAN, f32::INFINITY, -0.5, f32::NEG_INFINITY, 0.25];
    let data: Vec<u8> = samples.iter().flat_map(|s| s.to_le_bytes()).collect();
    let path = put(
        folder.path(),
        "nan.wav",
        &wav_bytes(3, 1, 44_100, 32, None, &data),
    );
    let (sound, recording) = read_all(&path).unwrap();
    assert_eq!(sound, [0.5, 0.0, 0.0, -0.5, 0.0, 0.25]);
    assert_eq!(recording.repaired(), 3);
    let warning = recording.warning().unwrap();
    assert!(
        warning.ends_with("nan.wav: 3 samples are no number and played as silence"),
        "{warning}"
    );
}

#[test]
fn damage_inside_is_skipped_and_the_rest_keeps_its_time() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["clicks.mp3", "clicks.flac", "clicks.ogg", "clicks.aac"] {
        let mut bytes = std::fs::read(fixture(name)).unwrap();
        let at = bytes.len() * 45 / 100;
        for b in &mut bytes[at..at + 300] {
            *b = 0;
        }
        let path = put(folder.path(), name, &bytes);
        let (sound, recording) = read_all(&path).unwrap();
        let rate = recording.sample_rate();
        let seconds = sound.len() as f64 / f64::from(rate);
        println!(
            "{name}: {seconds:.3} s of {:?}, {:?}, {:?}",
            recording.frames(),
            clicks_in(&sound, rate),
            recording.warning()
        );
        assert!((0.9..1.6).contains(&seconds), "{name}: {seconds} s");
        let clicks = clicks_in(&sound, rate);
        assert!((clicks[0] - 0.25).abs() < 0.03, "{name}: {clicks:?}");
        if matches!(name, "clicks.flac" | "clicks.ogg") {
            assert!(
                (clicks[clicks.len() - 1] - 1.25).abs() < 0.001,
                "{name}: {clicks:?}"
            );
        }
        // A bare AAC stream has neither stamps nor a length to miss it by.
        if name != "clicks.aac" {
            let warning = recording.warning().unwrap();
            assert!(warning.contains("damaged"), "{warning}");
        }
    }
}

#[cfg(unix)]
#[test]
fn a_forbidden_file_is_called_so() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let path = put(folder.path(), "mine.wav", &[0; 100]);
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o000)).unwrap();
    if std::fs::File::open(&path).is_ok() {
        println!("skipped: this user (root?) may read every file");
        return;
    }
    let said = complaint(&path);
    assert!(said.contains("reading it is not permitted"), "{said}");
}

#[test]
fn folders_are_searched_and_empty_ones_named() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    std::fs::create_dir_all(dir.join("b/c")).unwrap();
    for name in [
        "z.wav",
        "a.MP3",
        "b/c/k.flac",
        "b/j.oga",
        "notes.txt",
        ".hidden.wav",
    ] {
        put(dir, name, b"x");
    }
    let names = |found: Vec<std::path::PathBuf>| -> Vec<String> {
        let short = |p: &Path| {
            p.strip_prefix(dir)
                .unwrap()
                .to_string_lossy()
                .replace('\\', "/")
        };
        found.iter().map(|p| short(p)).collect()
    };
    let found = names(find(&[dir]).unwrap());
    assert_eq!(found, ["a.MP3", "b/c/k.flac", "b/j.oga", "z.wav"]);
    // Named outright, a file is taken whatever it is called.
    let found = names(find(&[dir.join("notes.txt"), dir.join("b")]).unwrap());
    assert_eq!(found, ["notes.txt", "b/c/k.flac", "b/j.oga"]);
    std::fs::create_dir(dir.join("bare")).unwrap();
    let error = find(&[dir.join("bare")]).unwrap_err();
    assert!(matches!(error, FileError::NothingIn { .. }));
    assert!(
        error
            .to_string()
            .contains("bare: there is no sound file in this folder")
    );
    assert!(matches!(
        find(&[dir.join("gone")]),
        Err(FileError::Missing { .. })
    ));
}

/// Opens and reads a file, in a thread so that a hang fails the test.
fn survives(path: &Path, what: &str) {
    let (done, wait) = mpsc::channel();
    let file = path.to_path_buf();
    let worker = std::thread::spawn(move || {
        let mut frames = 0u64;
        if let Ok(mut recording) = Recording::open(&file) {
            let mut block = Vec::new();
            while let Ok(n) = recording.read(&mut block) {
                frames += n as u64;
                let finite = block.iter().all(|s| s.is_finite());
                assert!(finite && block.len() == n * recording.channels());
                assert!(frames < 50_000_000, "sound without end");
                if n == 0 {
                    break;
                }
            }
            let _ = recording.warning();
        }
        let _ = done.send(());
    });
    match wait.recv_timeout(Duration::from_secs(30)) {
        Ok(()) => {}
        Err(mpsc::RecvTimeoutError::Timeout) => panic!("{what}: still reading after 30 s"),
        Err(mpsc::RecvTimeoutError::Disconnected) => {
            let why = worker.join().err();
            let why = why.and_then(|e| e.downcast_ref::<String>().cloned());
            panic!("{what}: panicked: {why:?}");
        }
    }
}

#[test]
fn no_damage_makes_it_panic_or_hang() {
    let folder = tempfile::tempdir().unwrap();
    let tone = folder.path().join("tone.wav");
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 8_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    write_tone(&tone, spec, 0.5);
    let mut originals = vec![tone];
    originals.extend(KEPT.iter().map(|(name, _)| fixture(name)));
    let rounds: u64 = std::env::var("EIGHTCLAP_DAMAGE_ROUNDS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(60);
    for original in originals {
        let whole = std::fs::read(&original).unwrap();
        let name = original.file_name().unwrap().to_string_lossy().into_owned();
        let path = folder.path().join(format!("damaged-{name}"));
        for seed in 0..rounds {
            let mut rng = Pcg32::seed_from_u64(seed);
            let mut bytes = whole.clone();
            if seed % 3 == 0 {
                bytes.truncate(rng.random_range(1..whole.len()));
            }
            // Headers come first, so damage there finds more.
            let reach = if seed % 2 == 0 { 600 } else { bytes.len() };
            for _ in 0..rng.random_range(1..12) {
                let at = rng.random_range(0..reach.min(bytes.len()));
                bytes[at] = rng.random();
            }
            std::fs::write(&path, &bytes).unwrap();
            survives(&path, &format!("{name}, seed {seed}"));
        }
    }
}
