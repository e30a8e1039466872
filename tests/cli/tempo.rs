//! `tempo`: of recordings, of taps, and its log.

use super::make::fixture;
use super::*;
use eightclap::sound::band::signals;
use std::io::Write;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

fn call<'a>(args: &'a [&'a str], paths: &[&'a Path]) -> Vec<&'a OsStr> {
    let words = args.iter().map(OsStr::new);
    let paths = paths.iter().map(|p| p.as_os_str());
    std::iter::once(OsStr::new("tempo"))
        .chain(words)
        .chain(paths)
        .collect()
}

#[test]
fn a_metronome_is_read_for_people_programs_and_the_log() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clicks.wav");
    let log = folder.path().join("clicks.csv");
    let clicks = signals::metronome(117.0, 70, 0.5, 22_050);
    write_wav(&path, &clicks.samples, plain(22_050));

    let said = run(call(&["--want", "112..116"], &[&path])).well().out;
    assert!(said.starts_with(&format!("{}\n", path.display())), "{said}");
    for words in [
        "beats 1 to 64",
        "70 beats, 117.00 ± 0.0",
        "steady: drift",
        "wanted 112–116: a little slower (by 1); within the window at 0 % of the beats",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(said.contains("▄▄") || said.contains("▅▅"), "{said}");

    let mut csv = call(&["--json", "--want", "112..120", "--csv"], &[&log, &path]);
    let said = run(&csv).well().out;
    let lines = json(&said);
    let (summary, beats) = lines.split_last().unwrap();
    assert_eq!(summary["event"], "tempo");
    assert_eq!(summary["beats"], 70);
    let whole = summary["steps_per_minute"].as_f64().unwrap();
    assert!((whole - 117.0).abs() <= 0.1, "{summary}");
    assert!(summary["drift"].as_f64().unwrap().abs() < 0.2, "{summary}");
    let last = &beats[69];
    assert_eq!(
        (&last["heard_by"], &last["advice"]),
        (&"pulse".into(), &"good".into())
    );
    assert!(beats[0]["over_8_beats"].is_null() && beats[0]["advice"].is_null());

    // The log says the same, a row a beat.
    let rows = std::fs::read_to_string(&log).unwrap();
    let mut rows = rows.lines();
    assert_eq!(rows.next(), Some("seconds,now,over_8_beats,over_64_beats"));
    let rows: Vec<Vec<&str>> = rows.map(|row| row.split(',').collect()).collect();
    assert_eq!(rows.len(), 70);
    for (row, due) in rows.iter().zip(&clicks.beats) {
        assert_eq!(row.len(), 4);
        assert!(
            (row[0].parse::<f64>().unwrap() - due).abs() < 0.005,
            "{row:?}"
        );
    }
    for tempo in &rows[69][1..] {
        let tempo: f64 = tempo.parse().unwrap();
        assert!((tempo - 117.0).abs() <= 0.1, "{tempo}");
    }
    assert_eq!(rows[0][1..], ["", "", ""]);

    // A second run replaces the log.
    csv.remove(1);
    run(&csv).well();
    assert_eq!(std::fs::read_to_string(&log).unwrap().lines().count(), 71);
}

#[test]
fn a_dance_tune_is_told_by_time_through() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tune.wav");
    write_wav(&path, &tune(22_050, 2), plain(22_050));
    let said = run(call(&[], &[&path])).well().out;
    let row = |name: &str| -> Vec<String> {
        let line = said.lines().find(|l| l.starts_with(name));
        let line = line.unwrap_or_else(|| panic!("{name}: {said}"));
        line.split_whitespace().map(String::from).collect()
    };
    for name in ["time 1 ", "time 2 "] {
        let row = row(name);
        let beats: u32 = row[3].parse().unwrap();
        assert!((63..=66).contains(&beats), "{said}");
        assert!(
            (row[4].parse::<f64>().unwrap() - 114.0).abs() < 3.0,
            "{said}"
        );
    }
    assert!(!said.contains("wanted"), "{said}");
}

#[test]
fn without_a_beat_it_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("silence.wav");
    write_wav(&path, &signals::silence(6.0, 8_000), plain(8_000));
    let said = run(call(&["--want", "112..120"], &[&path])).well().out;
    assert!(said.contains("no steady beat was heard"), "{said}");
    let said = run(call(&["--json"], &[&path])).well().out;
    assert!(json(&said)[0]["steps_per_minute"].is_null(), "{said}");
    assert!(
        run(call(&[], &[&fixture("clicks.mp3")]))
            .well()
            .out
            .contains("clicks.mp3")
    );
}

#[test]
fn what_cannot_be_read_or_written_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let gone = folder.path().join("gone.wav");
    let log = folder.path().join("evening.csv");
    std::fs::write(&log, "an older log").unwrap();
    run(call(&["--csv"], &[&log, &gone])).refuses(&gone, "there is no such file");
    assert_eq!(std::fs::read(&log).unwrap(), b"an older log");

    let tune = fixture("clicks.flac");
    let nowhere = folder.path().join("no/evening.csv");
    run(call(&["--csv"], &[&nowhere, &tune])).refuses(&nowhere, "folder does not exist");
    run(call(&["--csv"], &[folder.path(), &tune])).refuses(folder.path(), "this is a folder");
    let copy = folder.path().join("copy.flac");
    std::fs::copy(&tune, &copy).unwrap();
    run(call(&["--csv"], &[&copy, &copy])).refuses(&copy, "the recording itself");
    assert_eq!(std::fs::read(&copy).unwrap(), std::fs::read(&tune).unwrap());
}

/// The program listening to taps, with `args` besides.
fn tapping(args: &[&OsStr]) -> Child {
    program()
        .arg("tempo")
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("a run")
}

/// Sends a line every `period`.
fn tap(child: &mut Child, taps: u32, period: Duration) {
    let start = Instant::now();
    let pipe = child.stdin.as_mut().expect("a pipe");
    for k in 0..taps {
        std::thread::sleep((start + k * period).saturating_duration_since(Instant::now()));
        pipe.write_all(b"tap\n").expect("a reader");
    }
}

#[test]
fn lines_from_a_pipe_are_taps() {
    let mut child = tapping(&["--tap", "--want", "150..170"].map(OsStr::new));
    tap(&mut child, 18, Duration::from_millis(300));
    drop(child.stdin.take());
    let output = child.wait_with_output().unwrap();
    let out = String::from_utf8(output.stdout).unwrap();
    assert_eq!(
        (output.status.code(), output.stderr.len()),
        (Some(0), 0),
        "{out}"
    );
    let summary = out
        .lines()
        .find(|l| l.contains("18 beats, "))
        .unwrap_or_else(|| panic!("{out}"));
    let words: Vec<&str> = summary.split_whitespace().collect();
    let tempo: f64 = words[3].parse().unwrap();
    assert!((tempo - 200.0).abs() < 5.0, "{out}");
    // Two lines on the way, after 8 and 16 beats.
    assert_eq!(out.matches("slower, please (by ").count(), 3, "{out}");

    // Nobody tapped.
    let mut child = tapping(&[OsStr::new("--tap")]);
    drop(child.stdin.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&output.stdout).contains("no steady beat"));
}

#[cfg(unix)]
#[test]
fn an_interrupt_loses_no_beat() {
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("evening.csv");
    let mut child = tapping(&[OsStr::new("--tap"), OsStr::new("--csv"), log.as_os_str()]);
    tap(&mut child, 7, Duration::from_millis(400));
    std::thread::sleep(Duration::from_millis(300));
    assert_eq!(std::fs::read_to_string(&log).unwrap().lines().count(), 8);
    let interrupt = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status();
    assert!(interrupt.unwrap().success());
    let output = child.wait_with_output().unwrap();
    let out = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{out}");
    assert!(out.contains("7 beats, 1"), "{out}");
    assert_eq!(std::fs::read_to_string(&log).unwrap().lines().count(), 8);
}

#[cfg(target_os = "linux")]
#[test]
fn without_a_microphone_it_offers_taps_and_keeps_the_older_log() {
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("evening.csv");
    std::fs::write(&log, "an older log").unwrap();
    // No sound system: ALSA has nothing to open.
    let output = program()
        .args(["tempo", "--csv"])
        .arg(&log)
        .env("ALSA_CONFIG_PATH", "/dev/null")
        .stdin(Stdio::null())
        .output()
        .expect("a run");
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(1), "{err}");
    assert_eq!(err.lines().count(), 1, "{err}");
    for words in ["no microphone", "arecord -l", "eightclap tempo --tap"] {
        assert!(err.contains(words), "{words}: {err}");
    }
    assert_eq!(std::fs::read(&log).unwrap(), b"an older log");
}
