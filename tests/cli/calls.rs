//! Calls, right and wrong, and what becomes of a reader that goes away.

use super::make::fixture;
use super::*;
use std::process::Stdio;

#[test]
fn wrong_calls_end_with_two_and_say_what_is_right() {
    for (call, because) in [
        (&["bogus"][..], "unrecognized subcommand"),
        (&["track"], "<TUNE>"),
        (&["track", "--bogus", "x.wav"], "--bogus"),
        (&["practise"], "<TUNE>"),
        (&["practise", "x.wav", "--card"], "--card"),
        (
            &["practise", "x.wav", "--form", "7"],
            "whole phrases of 8 beats",
        ),
        (
            &["practise", "x.wav", "--form", "ten"],
            "give a number of beats",
        ),
        (&["practise", "x.wav", "--clap-level", "9"], "0 to 4"),
        (&["practise", "x.wav", "--voice-level", "9"], "0 to 4"),
        (
            &["practise", "x.wav", "--lead", "5"],
            "give a whole number from 1 to 4",
        ),
        (
            &["listen", "--times", "0"],
            "give a whole number from 1 to 64",
        ),
        (
            &["practise", "x.wav", "--write", "out.mp3"],
            "call it out.wav",
        ),
        (&["demo", "--tune", "nope"], "kettle-on-the-landing"),
        (&["demo", "--steps", "NaN"], "90 to 140"),
        (&["demo", "--steps", "9999"], "90 to 140"),
        (
            &["demo", "--times", "0"],
            "give a whole number from 1 to 64",
        ),
        (
            &["tempo", "x.wav", "--want", "120..112"],
            "the slower tempo comes first: 112..120",
        ),
        (&["tempo", "x.wav", "--want", "abc"], "such as 112..120"),
        (&["tempo", "x.wav", "--want", "5..9"], "from 30 to 240"),
        (&["tempo", "--tap", "x.wav"], "--tap"),
        (&["listen", "--in", " "], "a device's number or a part"),
        (
            &["listen", "--channel", "0"],
            "give a channel from 1 to 1024",
        ),
        (&["listen", "--seconds", "0"], "above 0"),
        (&["devices", "measure", "--channel", "x"], "--channel"),
    ] {
        let said = run(call);
        assert_eq!(
            (said.code, said.out.as_str()),
            (2, ""),
            "{call:?}: {said:?}"
        );
        assert!(said.err.contains(because), "{call:?}: {said:?}");
    }
}

#[test]
fn help_tells_every_command_and_option() {
    let said = run(["--help"]).well();
    for command in ["listen", "practise", "track", "demo", "tempo", "devices"] {
        assert!(
            said.out.contains(&format!("\n  {command} ")),
            "{}",
            said.out
        );
        let own = run([command, "--help"]).well();
        assert!(own.out.contains(&format!("Usage: eightclap {command}")));
        // Every option has words beside or below it.
        for line in own.out.lines().filter(|l| l.trim_start().starts_with("--")) {
            assert!(line.trim().contains("  "), "{line}");
        }
    }
    assert_eq!(
        run(["--version"]).well().out,
        format!("eightclap {}\n", env!("CARGO_PKG_VERSION"))
    );
}

#[test]
fn without_a_device_the_list_says_what_to_do() {
    let said = run(["devices"]);
    assert_eq!((said.code, said.err.as_str()), (0, ""), "{said:?}");
    if cfg!(target_os = "linux") {
        assert!(
            said.out.starts_with("no sound device was found; "),
            "{said:?}"
        );
        assert!(said.out.contains("plug one in"), "{said:?}");
        assert!(said.out.contains("demo --write"), "{said:?}");
    }
}

#[test]
fn without_a_device_nothing_can_be_heard_or_measured() {
    for (call, because) in [
        (&["listen"][..], "eightclap: cannot listen: "),
        (
            &["listen", "--line", "--in", "3"],
            "eightclap: cannot listen: ",
        ),
        (&["devices", "measure"], "eightclap: cannot listen: "),
    ] {
        let said = run(call);
        assert_eq!((said.code, said.out.as_str()), (1, ""), "{said:?}");
        assert!(said.err.starts_with(because), "{said:?}");
        assert_eq!(said.err.lines().count(), 1, "{said:?}");
        if cfg!(target_os = "linux") {
            let none = said
                .err
                .matches("no microphone or other sound input")
                .count();
            assert_eq!(none, 1, "{said:?}");
        }
    }
}

#[test]
fn without_a_device_a_tune_is_played_in_silence_and_real_time() {
    let start = std::time::Instant::now();
    let tune = fixture("clicks.flac");
    let said = run([OsStr::new("practise"), tune.as_os_str()]);
    let took = start.elapsed().as_secs_f64();
    assert_eq!(said.code, 0, "{said:?}");
    assert!(
        said.out.starts_with(&format!("{}\n", tune.display())),
        "{said:?}"
    );
    assert!(said.out.ends_with("so nothing was clapped\n"), "{said:?}");
    assert!(took > 1.3, "1.5 s of sound in {took} s");
    if cfg!(target_os = "linux") {
        assert!(
            said.err
                .starts_with("eightclap: going on in silence: no sound device was found; "),
            "{said:?}"
        );
        assert_eq!(said.err.lines().count(), 1, "{said:?}");
    }
}

/// Runs the program with nobody reading what it prints.
fn unread(call: &[&OsStr]) -> (Option<i32>, String) {
    let mut child = program()
        .args(call)
        .env("ALSA_CONFIG_PATH", "/dev/null")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("a run");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("an end");
    (
        output.status.code(),
        String::from_utf8_lossy(&output.stderr).into(),
    )
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["a.wav", "b.wav", "c.wav"] {
        let mut sound = tune(8_000, 1);
        sound.truncate(12 * 8_000);
        write_wav(&folder.path().join(name), &sound, plain(8_000));
    }
    let (a, out) = (folder.path().join("a.wav"), folder.path().join("out.wav"));
    let fine = (Some(0), String::new());
    let os = OsStr::new;
    assert_eq!(unread(&[os("track"), a.as_os_str()]), fine);
    assert_eq!(unread(&[os("track"), os("--json"), a.as_os_str()]), fine);
    assert_eq!(unread(&[os("track"), folder.path().as_os_str()]), fine);
    assert_eq!(unread(&[os("devices")]), fine);
    assert_eq!(unread(&[os("--help")]).0, Some(0));
    // A file was asked for: that it be made does not hang on a reader.
    let practise = [
        os("practise"),
        a.as_os_str(),
        os("--write"),
        out.as_os_str(),
    ];
    assert_eq!(unread(&practise), fine);
    assert_eq!(samples(&out).len(), 12 * 8_000);
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_under_its_words_is_no_panic() {
    for call in [
        &["track", "gone.wav"][..],
        &["track", "gone.wav", "also.wav"],
    ] {
        let full = std::fs::OpenOptions::new().write(true).open("/dev/full");
        let status = program()
            .args(call)
            .stderr(full.expect("/dev/full"))
            .status()
            .expect("a run");
        assert_eq!(status.code(), Some(1), "{call:?}");
    }
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full");
    let output = program()
        .args([OsStr::new("track"), fixture("clicks.flac").as_os_str()])
        .stdout(full.expect("/dev/full"))
        .stderr(Stdio::piped())
        .output()
        .expect("a run");
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        err.contains("No space left") && !err.contains("panicked"),
        "{err}"
    );
}
