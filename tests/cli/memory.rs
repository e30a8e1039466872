//! Memory does not grow with the length of a recording.

#![cfg(target_os = "linux")]

use super::*;
use std::process::Stdio;

/// Writes `minutes` of the band, over and over, as a 16-bit mono WAV file.
fn long(path: &Path, rate: u32, minutes: u32) {
    let once = tune(rate, 1);
    let mut writer = hound::WavWriter::create(path, plain(rate)).unwrap();
    let frames = minutes * 60 * rate;
    for sample in once.iter().cycle().take(frames as usize) {
        writer.write_sample((sample * 32_767.0) as i16).unwrap();
    }
    writer.finalize().unwrap();
}

/// Runs a command and gives its peak resident memory in MB and its seconds.
fn peak(call: &[&OsStr]) -> (f64, f64) {
    let start = std::time::Instant::now();
    let mut child = program().args(call).stdout(Stdio::null()).spawn().unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut most = 0.0f64;
    loop {
        let text = std::fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find(|l| l.starts_with("VmHWM:"));
        let kib = line.and_then(|l| l.split_whitespace().nth(1)?.parse::<f64>().ok());
        most = most.max(kib.unwrap_or(0.0) * 1024.0 / 1e6);
        if let Some(done) = child.try_wait().unwrap() {
            assert!(done.success(), "{call:?}");
            assert!(most > 0.0, "{call:?} was over too soon to be measured");
            return (most, start.elapsed().as_secs_f64());
        }
        std::thread::sleep(Duration::from_millis(10));
    }
}

#[test]
fn a_long_recording_takes_no_more_memory_than_a_short_one() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("long.wav");
    let mut peaks = Vec::new();
    for minutes in [2, 15] {
        long(&path, 8_000, minutes);
        let (mb, seconds) = peak(&[OsStr::new("track"), OsStr::new("--json"), path.as_os_str()]);
        println!("{minutes} minutes at 8 kHz: {mb:.1} MB, {seconds:.1} s");
        peaks.push(mb);
    }
    assert!(peaks[1] < 100.0, "{peaks:?} MB");
    assert!(peaks[1] - peaks[0] < 4.0, "it grows: {peaks:?} MB");
}

/// Takes some minutes and 1.3 GB of disk:
/// `cargo test --test cli -- --ignored --nocapture`.
#[test]
#[ignore = "long"]
fn two_hours_take_less_than_100_mb() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("evening.wav");
    long(&path, 44_100, 120);
    let out = folder.path().join("out.wav");
    for call in [
        &[OsStr::new("track"), path.as_os_str()][..],
        &[
            OsStr::new("practise"),
            path.as_os_str(),
            OsStr::new("--write"),
            out.as_os_str(),
        ],
    ] {
        let (mb, seconds) = peak(call);
        println!(
            "two hours at 44.1 kHz, {}: {mb:.1} MB at most, {seconds:.1} s ({:.0} × real time)",
            call[0].display(),
            7200.0 / seconds
        );
        assert!(mb < 100.0, "{mb} MB");
    }
}
