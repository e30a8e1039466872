//! `practise --write` and `demo --write`: claps where they are said to be.

use super::*;
use eightclap::follow::TUNE_LEVEL;
use eightclap::sound::clap;

/// Where `with` begins to differ from `without`, in seconds; what differs within
/// one clap's length counts once.
fn claps_in(with: &[i16], without: &[i16], rate: u32) -> Vec<f64> {
    assert_eq!(with.len(), without.len());
    let (mut found, mut after) = (Vec::new(), 0);
    for (n, (a, b)) in with.iter().zip(without).enumerate() {
        // The very first samples of a clap are a few steps high.
        if n >= after && a.abs_diff(*b) > 3 {
            found.push(n as f64 / f64::from(rate));
            after = n + (f64::from(clap::SECONDS) * f64::from(rate)) as usize;
        }
    }
    found
}

/// The clock times at the starts of the phrase lines, seconds.
fn told(out: &str) -> Vec<f64> {
    out.lines()
        .filter(|line| line.contains(" phrase "))
        .map(|line| {
            let clock = line.split_whitespace().next().unwrap();
            let (minutes, seconds) = clock.split_once(':').unwrap();
            60.0 * minutes.parse::<f64>().unwrap() + seconds.parse::<f64>().unwrap()
        })
        .collect()
}

#[test]
fn a_recording_is_written_with_claps_at_its_phrases_and_nowhere_else() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tune.wav");
    let out = folder.path().join("out.wav");
    let rate = 22_050;
    write_wav(&path, &tune(rate, 2), plain(rate));
    let heard = run([OsStr::new("track"), OsStr::new("--json"), path.as_os_str()]).well();
    let phrases = times(&json(&heard.out), "phrase");
    assert!(phrases.len() > 8, "{phrases:?}");
    let practise = |more: &[&str]| {
        let mut call = vec![
            OsStr::new("practise"),
            path.as_os_str(),
            OsStr::new("--write"),
            out.as_os_str(),
        ];
        call.extend(more.iter().map(OsStr::new));
        let said = run(call).well();
        assert!(
            said.out.ends_with(&format!("written: {}\n", out.display())),
            "{said:?}"
        );
        // Neither a progress bar nor colours.
        assert!(!said.out.contains(['\u{1b}', '\r', '%']), "{said:?}");
        assert_eq!(listing(folder.path()), ["out.wav", "tune.wav"]);
        (said, samples(&out))
    };
    let (said, with) = practise(&[]);
    let (silent, without) = practise(&["--no-claps"]);
    let claps = claps_in(&with, &without, rate);
    assert_eq!(claps.len(), phrases.len(), "{claps:?}, {phrases:?}");
    for (clap, phrase) in claps.iter().zip(&phrases) {
        let late = clap - phrase;
        // The limiter turns the tune down a little ahead of a clap.
        assert!(
            (-0.003..0.001).contains(&late),
            "clap at {clap}, phrase at {phrase}"
        );
    }
    let clocks: Vec<f64> = phrases.iter().map(|t| t.floor()).collect();
    assert_eq!(told(&said.out), clocks);

    // Without claps the recording is copied, softer, and told as before.
    assert_eq!(silent.out, said.out);
    for (copied, given) in without.iter().zip(samples(&path)) {
        let due = f32::from(given) * TUNE_LEVEL;
        assert!(
            (f32::from(*copied) - due).abs() <= 0.6,
            "{copied} for {due}"
        );
    }
    let (_, unheard) = practise(&["--clap-level", "0"]);
    assert_eq!(unheard, without);
    let (_, louder) = practise(&["--clap-level", "1.2"]);
    assert_eq!(claps_in(&louder, &without, rate).len(), claps.len());
    assert_ne!(louder, with);

    // Ticks are on the beats, and only they are added.
    let (_, ticked) = practise(&["--no-claps", "--ticks", "--tick-level", "2"]);
    let beats = times(&json(&heard.out), "beat");
    let ticks = claps_in(&ticked, &without, rate);
    assert_eq!(ticks.len(), beats.len());
    for (tick, beat) in ticks.iter().zip(&beats) {
        let late = tick - beat;
        assert!((-0.0001..0.001).contains(&late), "{tick} for {beat}");
    }
}

#[test]
fn the_demo_claps_where_it_says() {
    let folder = tempfile::tempdir().unwrap();
    let [with, without] = ["with.wav", "without.wav"].map(|name| folder.path().join(name));
    let demo = |path: &Path, more: &[&str]| {
        let mut call = vec![OsStr::new("demo"), OsStr::new("--write"), path.as_os_str()];
        call.extend(more.iter().map(OsStr::new));
        run(call).well().out
    };
    let said = demo(&with, &[]);
    let other = demo(&without, &["--no-claps"]);
    let words = |out: &str| out.lines().filter(|l| !l.starts_with("written")).count();
    assert_eq!(words(&said), words(&other));
    let rate = hound::WavReader::open(&with).unwrap().spec().sample_rate;
    let claps = claps_in(&samples(&with), &samples(&without), rate);
    let told = told(&said);
    // Three times through eight phrases, and none after the last time.
    assert!((16..=24).contains(&told.len()), "{said}");
    assert!(said.contains("3 times through"), "{said}");
    assert_eq!(claps.len(), told.len(), "{claps:?} for\n{said}");
    for (clap, clock) in claps.iter().zip(&told) {
        assert!(
            (*clock - 0.003..clock + 1.001).contains(clap),
            "{clap} at {clock}"
        );
    }
    // Each line of the dance names its figure.
    assert!(said.starts_with("Kettle on the Landing (reel), for \"Lanterns on the Weir\"\n"));
    assert!(said.contains("neighbours balance"), "{said}");
    // No clap is clipped away.
    assert!(samples(&with).iter().all(|s| s.unsigned_abs() < 32_700));
}

#[test]
fn what_would_be_lost_is_not_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tune.wav");
    write_wav(&path, &[0.1; 8_000], plain(8_000));
    let before = std::fs::read(&path).unwrap();
    let write = |to: &Path| {
        let call = [
            "practise".as_ref(),
            path.as_os_str(),
            "--write".as_ref(),
            to.as_os_str(),
        ];
        run::<&OsStr>(call)
    };
    write(&path).refuses(&path, "the recording itself");
    let round = folder.path().join(".").join("tune.wav");
    write(&round).refuses(&round, "the recording itself");
    assert_eq!(std::fs::read(&path).unwrap(), before);
    write(folder.path()).refuses(folder.path(), "this is a folder");
    let nowhere = folder.path().join("no").join("out.wav");
    write(&nowhere).refuses(&nowhere, "its folder does not exist");
    assert_eq!(listing(folder.path()), ["tune.wav"]);
}

#[cfg(target_os = "linux")]
#[test]
fn devices_are_no_files_to_write() {
    use std::os::unix::fs::FileTypeExt;
    let null = Path::new("/dev/null");
    run(["demo", "--write", "/dev/null"]).refuses(null, "not a plain file");
    assert!(null.metadata().unwrap().file_type().is_char_device());
}

#[cfg(unix)]
#[test]
fn a_run_that_is_stopped_leaves_nothing_behind() {
    use std::process::{Command, Stdio};
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out.wav");
    let child = program()
        .args(["demo", "--times", "64", "--write"])
        .arg(&out)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let start = std::time::Instant::now();
    while listing(folder.path()).is_empty() {
        assert!(
            start.elapsed() < Duration::from_secs(60),
            "nothing was begun"
        );
        std::thread::sleep(Duration::from_millis(5));
    }
    let pid = child.id().to_string();
    assert!(
        Command::new("kill")
            .args(["-TERM", &pid])
            .status()
            .unwrap()
            .success()
    );
    let output = child.wait_with_output().unwrap();
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{err}");
    assert!(err.contains("out.wav: stopped before its end"), "{err}");
    assert_eq!(listing(folder.path()), [""; 0]);
}
