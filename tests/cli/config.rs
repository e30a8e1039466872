//! `config`, and that commands do as it says unless they are told otherwise.

use super::*;

/// The program with a file of defaults of its own.
fn with(config: &Path, variables: &[(&str, &str)], args: &[&str]) -> Said {
    let mut command = eightclap();
    command.env("EIGHTCLAP_CONFIG", config);
    for (name, value) in variables {
        command.env(name, value);
    }
    said(command.args(args))
}

const CARD: &str = r#"
title = "Round and Back"
formation = "circle mixer"
form = ["A1"]
[[A1]]
figure = "larks to the centre and back"
beats = 8
call = "larks to the centre"
[[A1]]
figure = "circle left"
beats = 8
call = "circle left"
"#;

#[test]
fn a_file_is_begun_once_and_shown_with_where_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("of/my/own.toml");
    let path = config.display().to_string();
    assert_eq!(
        with(&config, &[], &["config", "path"]).well().out,
        format!("{path}\n")
    );
    let said = with(&config, &[], &["config", "new"]).well();
    assert!(
        said.out.starts_with(&format!("written: {path}; ")),
        "{said:?}"
    );
    std::fs::write(&config, "[levels]\nclap = 0.25\n").unwrap();
    with(&config, &[], &["config", "init"])
        .refuses(&config, "there is a file of that name already");
    let said = with(
        &config,
        &[("EIGHTCLAP_WANT", "108..116")],
        &["config", "show"],
    )
    .well();
    assert!(
        said.out.starts_with(&format!("file: {path}\n\n")),
        "{said:?}"
    );
    let row = |key: &str| {
        let line = said
            .out
            .lines()
            .find(|line| line.starts_with(key))
            .expect("a row");
        line.split_whitespace()
            .skip(1)
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert_eq!(row("levels.clap"), "0.25 file, line 2");
    assert_eq!(
        row("tempo.want"),
        "108..116, where no card says environment, EIGHTCLAP_WANT"
    );
    assert_eq!(row("levels.tick"), "1 default");
}

#[test]
fn the_usual_file_is_in_the_folder_for_settings() {
    let folder = tempfile::tempdir().unwrap();
    let call = &mut eightclap();
    call.env_remove("EIGHTCLAP_CONFIG")
        .env("HOME", folder.path())
        .env("XDG_CONFIG_HOME", folder.path().join("settings"));
    let path = said(call.args(["config", "path"])).well().out;
    assert!(
        path.starts_with(&folder.path().display().to_string()),
        "{path}"
    );
    assert!(path.trim_end().ends_with("config.toml"), "{path}");
}

#[test]
fn the_command_line_goes_before_the_environment_and_that_before_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("config.toml");
    let card = folder.path().join("card.toml");
    std::fs::write(&card, CARD).unwrap();
    let card = card.display().to_string();
    let called = |variables: &[(&str, &str)], more: &[&str]| {
        let args = [&["card", "calls", &card], more].concat();
        let out = with(&config, variables, &args).well().out;
        let found = ["larks", "gents", "leads"];
        found
            .into_iter()
            .find(|word| out.contains(word))
            .expect("a role")
    };
    std::fs::write(&config, "").unwrap();
    assert_eq!(called(&[], &[]), "larks");
    std::fs::write(&config, "[words]\nroles = [\"gent\", \"lady\"]\n").unwrap();
    assert_eq!(called(&[], &[]), "gents");
    let environment = [("EIGHTCLAP_ROLES", "lead/follow")];
    assert_eq!(called(&environment, &[]), "leads");
    assert_eq!(called(&environment, &["--roles", "lark/robin"]), "larks");
}

/// How loud the written demo is where a file of defaults says so.
fn demo(config: &Path, more: &[&str]) -> Vec<i16> {
    let out = config.with_file_name("demo.wav");
    let path = out.display().to_string();
    let args = [
        &["demo", "--times", "1", "--no-voice", "--write", &path],
        more,
    ]
    .concat();
    with(config, &[], &args).well();
    samples(&out)
}

#[test]
fn a_level_in_the_file_is_heard() {
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("config.toml");
    std::fs::write(&config, "[levels]\nclap = 0\n").unwrap();
    let silent = demo(&config, &[]);
    assert_eq!(silent, demo(&config, &["--no-claps"]));
    assert_ne!(silent, demo(&config, &["--clap-level", "1"]));
}

#[test]
fn a_broken_file_stops_what_needs_it_with_its_place_and_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("config.toml");
    std::fs::write(&config, "[levels]\ntick = 0.5\nclap = \"loud\"\n").unwrap();
    let path = config.display();
    let slip = format!("eightclap: {path}:3:8: \"clap\" must be a number");
    for call in [
        &["demo", "--write", "x.wav"][..],
        &["practise", "x.wav"],
        &["listen"],
        &["rehearse"],
        &["tempo", "--tap"],
        &["lesson", "show"],
        &["programme", "show", "regular-evening"],
        &["voice", "list"],
        &["devices", "measure"],
    ] {
        let said = with(&config, &[], call);
        assert_eq!(
            (said.code, said.out.as_str()),
            (1, ""),
            "{call:?}: {said:?}"
        );
        assert!(said.err.starts_with(&slip), "{call:?}: {said:?}");
    }
    let said = with(&config, &[], &["config", "show"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(
        said.out.contains("file, line 2") && said.err.contains(&slip),
        "{said:?}"
    );
    with(&config, &[], &["config", "path"]).well();
    with(&config, &[], &["listen", "--help"]).well();
    with(&config, &[], &["guide", "--list"]).well();
    with(&config, &[], &["devices"]);
}

#[test]
fn a_file_that_is_named_and_missing_is_missed() {
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("gone.toml");
    with(&config, &[], &["voice", "list"]).refuses(&config, "EIGHTCLAP_CONFIG names it");
    let said = with(
        &config,
        &[("EIGHTCLAP_FLASH", "perhaps")],
        &["config", "show"],
    );
    assert_eq!(said.code, 0, "{said:?}");
    assert!(
        said.err
            .contains("EIGHTCLAP_FLASH is \"perhaps\": write true or false"),
        "{said:?}"
    );
}

#[test]
fn folders_of_recordings_in_the_file_are_looked_into() {
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("config.toml");
    std::fs::write(&config, "[voice]\nrecordings = \"calls\"\n").unwrap();
    let calls = folder.path().join("calls");
    let said = with(&config, &[], &["voice", "list"]);
    said.refuses(&calls, "this folder of recordings cannot be read");
    std::fs::create_dir(&calls).unwrap();
    write_wav(
        &calls.join("last time.wav"),
        &tune(16_000, 1)[..16_000],
        plain(16_000),
    );
    let said = with(&config, &[], &["voice", "list", "--engine", "none"]).well();
    assert!(said.out.contains(" 1 own"), "{said:?}");
}
