//! `voice`: who speaks, and words as files.

use super::*;
use eightclap::sound::file::load_mono;

/// `voice` with folders of its own, so that nothing of the user's is heard.
fn voice(folder: &Path, args: &[&str]) -> Said {
    let call = &mut eightclap();
    call.env("HOME", folder)
        .env("XDG_DATA_HOME", folder.join("data"))
        .env("XDG_CACHE_HOME", folder.join("cache"));
    said(call.arg("voice").args(args))
}

const CARD: &str = r#"
title = "Round and Back"
formation = "circle mixer"
form = ["A1"]
[[A1]]
figure = "circle left"
beats = 8
call = "circle left"
[[A1]]
figure = "circle right"
beats = 8
call = "and back through the puddles"
"#;

#[test]
fn words_are_written_as_they_are_built_in() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("swing.wav");
    let file = path.display().to_string();
    let said = voice(
        folder.path(),
        &["say", "Swing", "your", "partner!", "--write", &file],
    )
    .well();
    assert!(said.out.contains("built in"), "{said:?}");
    let (rate, sound) = load_mono(&path).unwrap();
    let seconds = sound.len() as f64 / f64::from(rate);
    assert!((0.5..2.0).contains(&seconds), "{seconds}");
    let peak = sound.iter().fold(0.0f32, |m, s| m.max(s.abs()));
    assert!((0.1..0.701).contains(&peak), "{peak}");
}

#[test]
fn words_that_nobody_speaks_are_an_error_with_the_remedy() {
    let folder = tempfile::tempdir().unwrap();
    let said = voice(
        folder.path(),
        &["say", "through the puddles", "--engine", "none"],
    );
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.err.contains("the speech engine is off"), "{said:?}");
    let said = voice(folder.path(), &["say", "?!"]);
    assert_eq!(said.code, 1, "{said:?}");
    // An engine of another system.
    let other = if cfg!(windows) {
        "say"
    } else {
        "system-speech"
    };
    let said = voice(folder.path(), &["say", "puddles", "--engine", other]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.err.contains("is not on this machine"), "{said:?}");
}

#[test]
fn a_card_is_listed_call_by_call() {
    let folder = tempfile::tempdir().unwrap();
    let card = folder.path().join("card.toml");
    std::fs::write(&card, CARD).unwrap();
    let own = folder.path().join("own");
    std::fs::create_dir(&own).unwrap();
    let recorded = own.join("one.wav");
    let buzz: Vec<f32> = (0..8_000)
        .map(|n| 0.3 * ((n % 60) as f32 / 30.0 - 1.0))
        .collect();
    write_wav(&recorded, &buzz, plain(16_000));
    let (card, own) = (card.display().to_string(), own.display().to_string());
    let args = [
        "list",
        "--card",
        &card,
        "--recordings",
        &own,
        "--engine",
        "none",
    ];
    let said = voice(folder.path(), &args).well();
    let line = |words: &str| {
        let found = said
            .out
            .lines()
            .find(|l| l.ends_with(&format!("  {words}")));
        found.unwrap_or_else(|| panic!("{said:?}")).to_owned()
    };
    assert!(
        line("one").starts_with("own        0.5 s"),
        "{}",
        line("one")
    );
    assert!(line("circle left").starts_with("built in "));
    assert!(line("and back through the puddles").starts_with("nobody "));
    assert!(
        said.out.contains("1 own, 14 built in, 1 nobody"),
        "{said:?}"
    );
    assert!(said.out.contains("not spoken, only flashed"), "{said:?}");
}

#[test]
fn a_folder_or_card_that_is_not_there_is_named() {
    let folder = tempfile::tempdir().unwrap();
    for option in ["--recordings", "--card"] {
        let said = voice(folder.path(), &["list", option, "no/such/thing"]);
        assert_eq!(said.code, 1, "{said:?}");
        assert!(said.err.contains("no/such/thing"), "{said:?}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn without_devices_it_says_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let said = voice(folder.path(), &["record"]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.err.contains("arecord -l"), "{said:?}");
    let said = voice(folder.path(), &["say", "one"]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.err.contains("--write OUT.wav"), "{said:?}");
}
