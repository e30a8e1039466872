//! `eightclap card` as a caller uses it.

use ::eightclap::dance::{LANTERNS_ON_THE_WEIR, THE_TIN_KETTLE_RING};

use super::{eightclap, run, said};

/// A folder with cards of these names and texts.
fn folder(cards: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in cards {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

#[test]
fn a_new_card_is_written_once_and_is_good() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mine.toml");
    let path = path.to_str().unwrap();
    let said = run(["card", "new", path]).well();
    assert!(said.out.contains("eightclap card check"), "{said:?}");
    let said = run(["card", "check", "--strict", path]).well();
    assert!(said.out.contains("\"My dance\" good"), "{said:?}");
    std::fs::write(path, "my own words").unwrap();
    let said = run(["card", "new", path]);
    assert_eq!(said.code, 1);
    assert!(
        said.err
            .contains("mine.toml: there is a file of that name already"),
        "{said:?}"
    );
    assert_eq!(std::fs::read_to_string(path).unwrap(), "my own words");
    let nowhere = folder.path().join("no/mine.toml");
    let said = run(["card", "new", nowhere.to_str().unwrap()]);
    assert!(
        said.code == 1 && said.err.contains("make the folder first"),
        "{said:?}"
    );
}

#[test]
fn bundled_cards_pass_the_strict_check() {
    let cards = std::fs::read_dir("fixtures/cards").unwrap();
    let mut args = vec!["card".into(), "check".into(), "--strict".into()];
    args.extend(cards.map(|c| c.unwrap().path().into_os_string()));
    assert!(args.len() >= 9);
    let said = run(args).well();
    assert_eq!(said.out.matches("good\n").count(), 6, "{said:?}");
    assert_eq!(
        said.out.matches("moves on by one couple").count(),
        4,
        "{said:?}"
    );
}

#[test]
fn doubts_are_told_and_errors_fail() {
    let doubtful = LANTERNS_ON_THE_WEIR
        .replace("\"partners swing\"", "\"partners swign\"")
        .replace("\"star by the right\"", "\"contra corners\"");
    let wrong = LANTERNS_ON_THE_WEIR.replace("beats = 12", "beats = 16");
    let folder = folder(&[
        ("a.toml", &doubtful),
        ("b.toml", &wrong),
        ("c.toml", THE_TIN_KETTLE_RING),
    ]);
    let path = |name: &str| folder.path().join(name).into_os_string();
    let check = |names: &[&str], strict: bool| {
        let mut args = vec!["card".into(), "check".into()];
        args.extend(names.iter().map(|n| path(n)));
        if strict {
            args.push("--strict".into());
        }
        run(args)
    };
    let said = check(&["a.toml"], false).well();
    assert!(said.out.contains("a.toml:31:10: \"partners swign\" is no figure that is known here; did you mean \"swing\"?"), "{said:?}");
    assert!(
        said.out
            .contains("not followed from line 31 on: \"partners swign\""),
        "{said:?}"
    );
    let said = check(&["a.toml", "c.toml"], true);
    assert_eq!((said.code, said.err.as_str()), (1, ""), "{said:?}");
    assert!(
        said.out.contains("c.toml: \"The Tin Kettle Ring\" good"),
        "{said:?}"
    );
    let said = check(&["b.toml", "c.toml", "no.toml"], false);
    assert_eq!(said.code, 1);
    assert!(
        said.err
            .contains("b.toml:10:3: part A1 has 4 + 16 = 20 beats"),
        "{said:?}"
    );
    let none = "no.toml: there is no such dance card; check its name and folder, or take a bundled \
                one: gravel-and-clover,";
    assert!(said.err.contains(none), "{said:?}");
    assert!(said.out.contains("good"), "{said:?}");
    assert_eq!(run(["card", "check"]).code, 2);
}

#[test]
fn a_card_is_shown_in_the_callers_words() {
    let folder = folder(&[("a.toml", LANTERNS_ON_THE_WEIR)]);
    let card = folder.path().join("a.toml");
    let card = card.to_str().unwrap();
    let said = run(["card", "show", card, "--roles", "gent/lady"]).well();
    assert!(said.out.starts_with("LANTERNS ON THE WEIR"), "{said:?}");
    assert!(
        said.out
            .contains("A2   8  ladies do-si-do once and a half\n"),
        "{said:?}"
    );
    let said = run(["card", "calls", card, "--roles", "gent/lady"]).well();
    assert!(
        said.out
            .contains("ladies do-si-do, once and a half  [ladies do-si-do]"),
        "{said:?}"
    );
    assert_eq!(said.out.lines().count(), 10);
    let said = run(["card", "show", card, "--roles", "gent"]);
    assert!(
        said.code == 2 && said.err.contains("lark/robin"),
        "{said:?}"
    );
    let said = run(["card", "show", card, "--size", "a6"]);
    assert_eq!(said.code, 2);
}

#[test]
fn pages_and_drawings_are_files() {
    let folder = folder(&[
        ("a.toml", LANTERNS_ON_THE_WEIR),
        ("c.toml", THE_TIN_KETTLE_RING),
    ]);
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (card, html, svg) = (path("a.toml"), path("a.html"), path("a.svg"));
    let said = run([
        "card", "show", &card, "--html", &html, "--size", "a6", "--svg", &svg,
    ])
    .well();
    assert_eq!(said.out.lines().count(), 2);
    let page = std::fs::read_to_string(&html).unwrap();
    assert!(page.contains("105mm 148mm") && page.contains("<svg"));
    assert!(std::fs::read_to_string(&svg).unwrap().starts_with("<?xml"));
    let said = run(["card", "show", &path("c.toml"), "--svg", &path("c.svg")]);
    assert_eq!(said.code, 1);
    assert!(
        said.err
            .contains("c.toml: only duple longways sets are drawn"),
        "{said:?}"
    );
    // The card itself is never written over.
    let said = run(["card", "show", &card, "--html", &card]);
    assert!(
        said.code == 1 && said.err.contains("this is the card itself"),
        "{said:?}"
    );
    assert_eq!(
        std::fs::read_to_string(&card).unwrap(),
        LANTERNS_ON_THE_WEIR
    );
    let said = run([
        "card",
        "show",
        &card,
        "--html",
        folder.path().to_str().unwrap(),
    ]);
    assert!(
        said.code == 1 && said.err.contains("this is a folder"),
        "{said:?}"
    );
}

#[test]
fn the_schema_is_printed() {
    let said = run(["card", "schema"]).well();
    let schema: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(schema["title"], "Dance card");
}

#[test]
fn a_bundled_dance_is_found_by_its_name_and_a_file_of_that_name_goes_before_it() {
    let name = "the-tin-kettle-ring";
    for call in [
        &["card", "show", name][..],
        &["card", "calls", name],
        &["voice", "list", "--engine", "none", "--card", name],
    ] {
        let said = run(call.iter().copied()).well();
        assert!(said.out.to_lowercase().contains("circle left"), "{said:?}");
    }
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join(name), LANTERNS_ON_THE_WEIR).expect("a card");
    let own = said(
        eightclap()
            .current_dir(&folder)
            .args(["card", "show", name]),
    );
    let said = own.well();
    assert!(said.out.starts_with("LANTERNS ON THE WEIR"), "{said:?}");
}
