//! `programme` and `lesson`: what they write, print, refuse and advise.

use super::*;

/// A file of `text` in a folder of its own.
fn file(name: &str, text: &str) -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, text).unwrap();
    let path = path.display().to_string();
    (folder, path)
}

#[test]
fn a_new_programme_is_written_once_and_has_nothing_wrong_with_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("ours.toml").display().to_string();
    let said = run(["programme", "new", &path]).well();
    assert!(
        said.out
            .contains(&format!("eightclap programme check {path}"))
    );
    let said = run(["programme", "check", "--strict", &path]).well();
    assert_eq!(
        said.out,
        format!("{path}: 4 items, 42 minutes, nothing to advise\n")
    );
    let said = run(["programme", "new", &path]);
    assert_eq!(said.code, 1);
    assert!(
        said.err.contains("there is a file of that name already"),
        "{}",
        said.err
    );
}

#[test]
fn advice_is_printed_with_its_place_and_fails_only_if_strict() {
    let text = "title = \"T\"\n\n[[item]]\ndance = \"lanterns-on-the-weir\"\ntimes = 9\nwalk = 5\n";
    let (_folder, path) = file("evening.toml", text);
    let said = run(["programme", "check", &path]).well();
    let first = said.out.lines().next().unwrap();
    assert_eq!(
        first,
        format!(
            "{path}:4:9: the evening opens with a dance for \"some experience\": begin with one that newcomers can do at once"
        )
    );
    assert!(said.out.contains("1 piece of advice"), "{}", said.out);
    let strict = run(["programme", "check", "--strict", &path]);
    assert_eq!((strict.code, strict.out), (1, said.out));
    let wrong = run(["programme", "check", "regular-evening", "nowhere.toml"]);
    assert_eq!(wrong.code, 1);
    assert!(
        wrong
            .err
            .contains("nowhere.toml: there is no such programme"),
        "{}",
        wrong.err
    );
    assert!(
        wrong.out.contains("regular-evening: 9 items"),
        "{}",
        wrong.out
    );
}

#[test]
fn the_caller_and_the_band_see_what_each_needs() {
    let caller = run(["programme", "show", "regular-evening"]).well().out;
    for words in [
        "Third Saturday at the Net Loft",
        "The Net Loft, Staithe Street",
        " 1  19:30  Gravel and Clover ",
        "Soup and notices",
        "swinging: ",
        "ends 21:",
    ] {
        assert!(caller.contains(words), "no {words} in\n{caller}");
    }
    let band = run(["programme", "show", "regular-evening", "--for", "band"])
        .well()
        .out;
    assert!(
        band.contains("steps/min") && band.contains("march, reel"),
        "{band}"
    );
    assert!(!band.contains("walk"), "{band}");
}

#[test]
fn pages_stand_for_themselves_and_escape_what_people_write() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string("fixtures/programmes/regular-evening.toml").unwrap();
    let programme = folder.path().join("p.toml");
    std::fs::write(
        &programme,
        text.replace("Soup and notices", "<b>Soup & rolls</b>"),
    )
    .unwrap();
    let programme = programme.display().to_string();
    for reader in ["caller", "band"] {
        let out = folder.path().join(format!("{reader}.html"));
        let path = out.display().to_string();
        run([
            "programme",
            "show",
            &programme,
            "--for",
            reader,
            "--html",
            &path,
        ])
        .well();
        let page = std::fs::read_to_string(&out).unwrap();
        assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>"));
        assert!(
            page.contains("&lt;b&gt;Soup &amp; rolls&lt;/b&gt;"),
            "{reader}"
        );
        assert!(
            !page.contains("http") && !page.contains("<script"),
            "{reader}"
        );
        let note = page.contains("Guests who came late");
        assert_eq!(note, reader == "caller", "notes are the caller's own");
    }
}

#[test]
fn an_evening_without_a_microphone_says_so() {
    let said = run(["programme", "run", "regular-evening", "--line"]);
    assert_eq!(said.code, 1);
    assert!(said.err.contains("cannot listen"), "{}", said.err);
    let said = run(["programme", "run", "regular-evening", "--from", "99"]);
    assert_eq!(said.code, 1);
    assert!(
        said.err.contains("has 9 items: --from cannot be 99"),
        "{}",
        said.err
    );
}

#[test]
fn schemas_are_printed_whole() {
    for command in ["programme", "lesson"] {
        let said = run([command, "schema"]).well();
        let schema: serde_json::Value = serde_json::from_str(&said.out).unwrap();
        assert!(
            schema["$schema"].as_str().unwrap().contains("2020-12"),
            "{command}"
        );
    }
}

#[test]
fn the_lesson_is_printed_written_and_made_ones_own() {
    let said = run(["lesson", "show", "--roles", "gent/lady"]).well().out;
    assert!(
        said.contains("2. Clap on one of each eight (4 min)"),
        "{said}"
    );
    assert!(said.contains("Gents have their lady on their"), "{said}");
    assert!(
        said.lines().all(|line| line.chars().count() <= 80),
        "{said}"
    );

    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mine.toml");
    let name = path.display().to_string();
    run(["lesson", "new", &name]).well();
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, text.replace("Giving weight", "Leaning")).unwrap();
    let page = folder.path().join("mine.html");
    run([
        "lesson",
        "show",
        &name,
        "--html",
        &page.display().to_string(),
    ])
    .well();
    let page = std::fs::read_to_string(page).unwrap();
    assert!(page.contains("Leaning") && !page.contains("<script"));

    std::fs::write(&path, text.replace("minutes = 5", "minutes = 500")).unwrap();
    let said = run(["lesson", "show", &name]);
    assert_eq!(said.code, 1);
    assert!(
        said.err
            .contains("\"minutes\" cannot be 500; expected 0 to 60"),
        "{}",
        said.err
    );
}

#[test]
fn a_lesson_in_plain_lines_takes_its_keys_from_lines() {
    let output = eightclap()
        .args(["lesson", "run", "--line"])
        .write_stdin("n\nb\nx\n\nq\n")
        .output()
        .unwrap();
    let out = String::from_utf8(output.stdout).unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert!(output.status.success(), "{out}{err}");
    assert_eq!(
        out.matches("1. Hear the four lead-in beats").count(),
        2,
        "{out}"
    );
    assert_eq!(
        out.matches("2. Clap on one of each eight").count(),
        2,
        "{out}"
    );
    assert!(err.contains("drills without feedback: "), "{err}");
    assert!(err.contains("\"x\" is not known here"), "{err}");
}

#[test]
fn a_drill_without_devices_runs_in_silence_to_its_end() {
    let text = "title = \"T\"\n[[step]]\ntitle = \"Clap\"\nminutes = 1\nsay = \"Clap.\"\n[step.drill]\ntune = \"boots-on-the-fender\"\nsteps_per_minute = 130\nphrases = 1\n";
    let (_folder, path) = file("one.toml", text);
    let output = eightclap()
        .args(["lesson", "--line", &path])
        .write_stdin("d\n")
        .output()
        .unwrap();
    let out = String::from_utf8(output.stdout).unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert!(output.status.success(), "{out}{err}");
    assert!(out.ends_with("the drill is over\n"), "{out}");
    assert!(err.contains("flashes only, nothing sounds: "), "{err}");
}
