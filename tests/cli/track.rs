//! `track`: what the engine hears, for people and for programs.

use super::*;
use eightclap::event::NOTICE;
use std::ffi::OsString;

#[test]
fn every_json_line_has_its_fields_and_comes_ahead_of_its_time() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tune.wav");
    write_wav(&path, &tune(22_050, 2), plain(22_050));
    let call = [OsStr::new("track"), OsStr::new("--json"), path.as_os_str()];
    let said = run(call).well();
    let events = json(&said.out);
    assert!(times(&events, "beat").len() > 100);
    assert!(times(&events, "phrase").len() > 8);
    let mut before = 0.0;
    let mut last_beat = 0.0;
    for event in &events {
        let number = |field: &str| event[field].as_f64().unwrap_or_else(|| panic!("{event}"));
        let fields: Vec<&str> = event
            .as_object()
            .unwrap()
            .keys()
            .map(|k| k.as_str())
            .collect();
        let (time, announced) = (number("time"), number("announced"));
        assert!(announced >= before, "{event} after {before}");
        before = announced;
        let sorted = |mut names: Vec<&'static str>| {
            names.sort_unstable();
            names
        };
        match event["event"].as_str().unwrap() {
            "beat" => {
                let names = vec![
                    "event",
                    "time",
                    "announced",
                    "count",
                    "steps_per_minute",
                    "sure",
                ];
                assert_eq!(fields, sorted(names));
                assert!(time - announced >= NOTICE - 1e-9, "{event}");
                assert!(time > last_beat, "{event}");
                last_beat = time;
                assert!(
                    (80.0..150.0).contains(&number("steps_per_minute")),
                    "{event}"
                );
                assert!((0.0..=1.0).contains(&number("sure")), "{event}");
                let count = &event["count"];
                assert!(
                    count.is_null() || (1..=8).contains(&count.as_u64().unwrap()),
                    "{event}"
                );
            }
            "phrase" => {
                let names = vec!["event", "time", "announced", "part", "time_through", "sure"];
                assert_eq!(fields, sorted(names));
                assert!(time - announced >= NOTICE - 1e-9, "{event}");
                assert!((0.0..=1.0).contains(&number("sure")), "{event}");
                assert!(["A1", "A2", "B1", "B2"].contains(&event["part"].as_str().unwrap()));
                assert!(event["time_through"].as_u64().unwrap() >= 1, "{event}");
            }
            "lead_in" => {
                assert_eq!(fields, sorted(vec!["event", "time", "announced", "one"]));
                assert!(number("one") > time, "{event}");
            }
            other => panic!("an event called {other}"),
        }
    }
    // Nothing depends on the run.
    assert_eq!(run(call).well().out, said.out);
    // A phrase for people is a phrase for programs.
    let table = run([OsStr::new("track"), path.as_os_str()]).well().out;
    let phrases = table.lines().filter(|l| l.contains(" phrase ")).count();
    assert_eq!(phrases, times(&events, "phrase").len(), "{table}");
    let lines: Vec<&str> = table.lines().collect();
    assert_eq!(lines[0], path.display().to_string());
    let summary = format!("{phrases} phrases from ");
    assert!(lines.last().unwrap().contains(&summary), "{table}");
}

#[test]
fn a_folder_is_told_in_order_and_a_bad_file_stops_nothing() {
    let folder = tempfile::tempdir().unwrap();
    // The first takes longest, so that order is not that of being done.
    let names = ["a.wav", "b.wav", "c/d.wav", "e.wav"];
    std::fs::create_dir(folder.path().join("c")).unwrap();
    for (name, seconds) in names.iter().zip([30, 0, 4, 4]) {
        let path = folder.path().join(name);
        match seconds {
            0 => std::fs::write(&path, "no sound at all").unwrap(),
            _ => {
                let mut sound = tune(8_000, 1);
                sound.truncate(seconds * 8_000);
                write_wav(&path, &sound, plain(8_000));
            }
        }
    }
    let said = run([OsStr::new("track"), folder.path().as_os_str()]);
    assert_eq!(said.code, 1, "{said:?}");
    let full = |name: &str| folder.path().join(name).display().to_string();
    let told: Vec<String> = said
        .out
        .lines()
        .filter(|l| l.starts_with(&folder.path().display().to_string()))
        .map(String::from)
        .collect();
    assert_eq!(told, [full("a.wav"), full("c/d.wav"), full("e.wav")]);
    assert_eq!(
        said.err,
        format!(
            "eightclap: {}: this is not a sound file; use WAV, MP3, FLAC, OGG, M4A, AAC or AIFF\n",
            full("b.wav")
        )
    );

    // In JSON each line says whose it is; a file that is missing stops nothing.
    let gone = folder.path().join("gone.wav");
    let call = [
        OsString::from("track"),
        "--json".into(),
        full("e.wav").into(),
        gone.clone().into(),
        full("a.wav").into(),
    ];
    let said = run(call);
    assert_eq!(said.code, 1);
    let mut files: Vec<String> = json(&said.out)
        .iter()
        .map(|e| {
            e["file"]
                .as_str()
                .unwrap_or_else(|| panic!("{e}"))
                .to_owned()
        })
        .collect();
    files.dedup();
    assert_eq!(files, [full("e.wav"), full("a.wav")]);
    let missing = format!("eightclap: {}: there is no such file", gone.display());
    assert!(said.err.starts_with(&missing), "{said:?}");
    assert_eq!(said.err.lines().count(), 1, "{said:?}");
}
