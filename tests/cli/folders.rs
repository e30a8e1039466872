//! Where the program writes: where it is told to, and in its own folders in the user's.

use super::*;
use std::collections::BTreeSet;
use std::path::PathBuf;

/// All files below a folder, from there.
fn below(folder: &Path) -> BTreeSet<PathBuf> {
    let mut all = BTreeSet::new();
    let mut open = vec![folder.to_owned()];
    while let Some(next) = open.pop() {
        for entry in std::fs::read_dir(next).expect("a folder") {
            let path = entry.expect("an entry").path();
            match path.is_dir() {
                true => open.push(path),
                false => {
                    let name = path.strip_prefix(folder).expect("below it").to_owned();
                    all.insert(name);
                }
            }
        }
    }
    all
}

#[test]
fn nothing_is_written_but_what_is_asked_for_and_the_programs_own_folders() {
    let root = tempfile::tempdir().unwrap();
    let [home, here, temporary, out, given] =
        ["home", "here", "tmp", "out", "given"].map(|name| root.path().join(name));
    for folder in [&home, &here, &temporary, &out, &given] {
        std::fs::create_dir(folder).unwrap();
    }
    let card = given.join("mine.toml");
    std::fs::copy("fixtures/cards/lanterns-on-the-weir.toml", &card).unwrap();
    let tune_file = given.join("tune.wav");
    write_wav(&tune_file, &tune(22_050, 1), plain(22_050));
    let before = below(&given);
    // Where nothing can be written, unless one is root: then it is seen all the same.
    let mut closed = std::fs::metadata(&here).unwrap().permissions();
    closed.set_readonly(true);
    std::fs::set_permissions(&here, closed).unwrap();

    let run = |call: &str| {
        let mut command = eightclap();
        for (name, value) in std::env::vars_os() {
            let text = name.to_string_lossy().into_owned();
            if text.starts_with("XDG_") || (text.starts_with("EIGHTCLAP_") && !value.is_empty()) {
                command.env_remove(name);
            }
        }
        let call = call.replace("CARD", &card.display().to_string());
        let call = call.replace("TUNE", &tune_file.display().to_string());
        let call = call.replace("OUT", &out.display().to_string());
        command
            .current_dir(&here)
            .env("HOME", &home)
            .env("TMPDIR", &temporary)
            .args(call.split(' '))
            .write_stdin("q\n");
        let done = command.output().expect("a run");
        let err = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(
            done.status.code().is_some_and(|code| code < 2),
            "{call}: {err}"
        );
        assert!(!err.contains("panicked"), "{call}: {err}");
    };
    for call in [
        "--help",
        "track TUNE",
        "track TUNE --json",
        "tempo TUNE --json",
        "card check CARD",
        "card show CARD",
        "card calls CARD",
        "card schema",
        "programme show regular-evening",
        "programme check regular-evening",
        "programme schema",
        "programme run regular-evening --line",
        "lesson show",
        "lesson schema",
        "lesson --line",
        "listen --line --card CARD",
        "voice list --card CARD",
        "voice say circle left",
        "devices",
        "devices measure",
        "progress",
    ] {
        run(call);
        assert!(below(&out).is_empty(), "{call}: {:?}", below(&out));
    }
    assert!(below(&home).is_empty(), "{:?}", below(&home));

    let written = [
        ("practise TUNE --card CARD --write OUT/a.wav", "a.wav"),
        ("voice say circle left --write OUT/b.wav", "b.wav"),
        ("card new OUT/c.toml", "c.toml"),
        ("card show CARD --html OUT/d.html", "d.html"),
        ("card show CARD --svg OUT/e.svg", "e.svg"),
        ("programme new OUT/f.toml", "f.toml"),
        ("programme show regular-evening --html OUT/g.html", "g.html"),
        ("lesson show --html OUT/h.html", "h.html"),
        ("tempo TUNE --csv OUT/i.csv", "i.csv"),
    ];
    for (call, _) in written {
        run(call);
    }
    let names: BTreeSet<PathBuf> = written.iter().map(|(_, name)| name.into()).collect();
    assert_eq!(below(&out), names);

    // A rehearsal is kept in the user's folder for data, and nowhere else.
    run("rehearse --card CARD --calls TUNE --steps 114 --one 2 --times 1 --html OUT/j.html");
    let kept = below(&home);
    assert_eq!(kept.len(), 1, "{kept:?}");
    let kept = kept.first().unwrap();
    assert!(kept.starts_with(".local/share/eightclap"), "{kept:?}");
    run("progress --delete all");
    assert!(below(&home).is_empty());
    assert_eq!(below(&given), before);
    assert!(below(&here).is_empty() && below(&temporary).is_empty());
}

#[test]
fn what_a_person_made_is_not_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let (tune_file, other, card) = (path("tune.wav"), path("other.wav"), path("mine.toml"));
    write_wav(&tune_file, &tune(8_000, 1), plain(8_000));
    write_wav(&other, &[0.1; 800], plain(8_000));
    std::fs::copy("fixtures/cards/lanterns-on-the-weir.toml", &card).unwrap();
    let bytes = |path: &Path| std::fs::read(path).unwrap();
    let before = [bytes(&other), bytes(&card)];
    let call = |words: &[&OsStr]| run(words.iter().copied());
    let practise = |out: &Path| {
        call(&[
            "practise".as_ref(),
            tune_file.as_ref(),
            "--write".as_ref(),
            out.as_ref(),
        ])
    };
    practise(&other).refuses(&other, "did not write");
    practise(&path("new.wav")).well();
    practise(&path("new.wav")).well();
    let show = |option: &str, out: &Path| {
        call(&[
            "card".as_ref(),
            "show".as_ref(),
            card.as_ref(),
            option.as_ref(),
            out.as_ref(),
        ])
    };
    show("--html", &other).refuses(&other, "another kind of file");
    show("--html", &path("page.html")).well();
    show("--html", &path("page.html")).well();
    show("--svg", &path("page.html")).refuses(&path("page.html"), "another kind of file");
    call(&[
        "tempo".as_ref(),
        tune_file.as_ref(),
        "--csv".as_ref(),
        card.as_ref(),
    ])
    .refuses(&card, "another kind of file");
    call(&["card".as_ref(), "new".as_ref(), card.as_ref()]).refuses(&card, "of that name already");
    assert_eq!([bytes(&other), bytes(&card)], before);
}
