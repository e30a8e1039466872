//! What a programme may say, and what is said of slips.

use super::*;
use crate::dance::Role;
use crate::dance::programme::parse::{ITEM, TOP};

#[test]
fn mistakes_are_told_with_their_place_and_a_remedy() {
    let ring = dance(RING, "times = 8");
    for (head, items, wanted) in [
        ("", "", "1:1: the programme has no items"),
        (
            "start = \"7pm\"",
            &*ring,
            "2:9: \"start\" must be a time of day such as \"19:30\"",
        ),
        (
            "floor = \"all\"",
            &ring,
            "2:9: \"all\" is no floor that is known here",
        ),
        (
            "hal = \"x\"",
            &ring,
            "2:1: unknown key \"hal\" in the programme; did you mean \"hall\"?",
        ),
        (
            "times = 8",
            &ring,
            "2:1: \"times\" belongs to an item: put it below [[item]]",
        ),
        (
            "",
            "[[item]]\ndance = \"the-tin-ketle-ring\"\ntimes = 3",
            "4:9: \"the-tin-ketle-ring\" is neither a card's file beside the programme nor a bundled dance; did you mean \"the-tin-kettle-ring\"?",
        ),
        (
            "",
            "[[item]]\nbreak = \"Tea\"",
            "4:9: \"break\" does not say how long",
        ),
        (
            "",
            "[[item]]\nminutes = 3",
            "3:1: an item has no \"dance\", \"break\" or \"other\"",
        ),
        (
            "",
            "[[item]]\nbreak = \"Tea\"\nother = \"x\"\nminutes = 3",
            "5:9: an item is one thing: leave out \"other\" or \"break\"",
        ),
        (
            "",
            "[[item]]\nbreak = \"Tea\"\nminutes = 3\nwalk = 2",
            "6:8: \"walk\" is for dances with a card",
        ),
        (
            "",
            &dance(RING, "times = 0"),
            "5:9: \"times\" cannot be 0; expected 1 to 64",
        ),
        (
            "",
            &dance(RING, "times = 3\nminutes = 4"),
            "6:11: a dance has \"times\" (times through) or \"minutes\", not both",
        ),
        ("", &dance(RING, ""), "4:9: the dance does not say how long"),
        (
            "",
            &dance(RING, "minutes = -1"),
            "5:11: \"minutes\" cannot be -1; expected minutes from 0 to 240",
        ),
        (
            "",
            &dance(RING, "times = 3\nsteps_per_minute = 300"),
            "6:20: 300 steps per minute cannot be danced",
        ),
        (
            "",
            "[[item]]\ndance = [1]\ntimes = 3",
            "4:9: \"dance\" must be words in quotation marks",
        ),
        (
            "",
            "[item]\ndance = \"x\"",
            "3:1: \"item\" must be a list of items",
        ),
        ("", "item = 3", "3:8: \"item\" must be a list of items"),
        ("", "item = []", "3:8: \"item\" is empty"),
        ("", "[[item", "this is not TOML"),
    ] {
        let found = first(of(head, items));
        assert!(found.contains(wanted), "{found}\nfor {wanted}");
    }
}

#[test]
fn a_card_beside_the_programme_is_found_and_its_mistakes_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    write(
        "mine.toml",
        &card(LANTERNS).replace("Lanterns on the Weir", "Mine"),
    );
    write("bad.toml", "title = \"Bad\"");
    let text = format!("title = \"T\"\n{}", dance("mine.toml", "times = 3"));
    write("good.toml", &text);
    let programme = Programme::load(folder.path().join("good.toml")).unwrap();
    assert_eq!(programme.items()[0].title(), "Mine");

    write("evening.toml", &text.replace("mine", "bad"));
    let found = first(Programme::load(folder.path().join("evening.toml")));
    assert!(
        found.starts_with("3:9: this dance's card cannot be used: "),
        "{found}"
    );
    assert!(found.contains("bad.toml:1:1: "), "{found}");

    write("evening.toml", &text.replace("mine", "lost"));
    let found = first(Programme::load(folder.path().join("evening.toml")));
    assert!(
        found.contains("lost.toml: there is no such dance card"),
        "{found}"
    );
    let error = Programme::load(folder.path().join("none.toml")).unwrap_err();
    assert!(
        error.to_string().contains("there is no such programme"),
        "{error}"
    );
}

#[test]
fn cards_speak_the_programmes_words_for_the_roles() {
    let items = dance(LANTERNS, "times = 1\nnotes = \"tell the gents\"");
    let programme = of("roles = [\"gent\", \"lady\"]", &items).unwrap();
    let card = &programme.items()[0].dance().unwrap().card;
    assert!(
        card.figures()
            .iter()
            .any(|f| f.name.starts_with("ladies do-si-do"))
    );
    let programme = programme.with_roles(&Roles::parse("port/star").unwrap());
    assert_eq!(programme.roles().one(Role::First), "port");
    assert_eq!(programme.items()[0].notes, ["tell the ports"]);
}

#[test]
fn words_for_tunes_that_look_like_slips_are_asked_about() {
    let with = |tunes: &str| of("", &dance(RING, &format!("times = 3\ntunes = {tunes}"))).unwrap();
    for good in [
        "\"jig\"",
        "[\"Jigs\", \"marches\", \"waltzes\"]",
        "\"something from the hills\"",
    ] {
        assert!(with(good).warnings().is_empty(), "{good}");
    }
    let slip = with("[\"jig\", \"horpnipe\"]");
    assert!(
        slip.warnings()[0]
            .message
            .contains("did you mean \"hornpipe\"?")
    );
}

#[test]
fn bundled_programmes_and_the_template_have_nothing_wrong_with_them() {
    for (name, text) in bundled().iter().chain(&[("template", TEMPLATE)]) {
        let programme = Programme::parse(text, name, None).unwrap_or_else(|e| panic!("{e}"));
        assert!(programme.warnings().is_empty());
        assert_eq!(advice(&programme), [""; 0], "{name}");
    }
}

#[test]
fn the_schema_and_the_parser_know_the_same_keys_and_files() {
    let schema: serde_json::Value = serde_json::from_str(SCHEMA).unwrap();
    let keys = |at: &serde_json::Value| -> Vec<String> {
        at["properties"]
            .as_object()
            .unwrap()
            .keys()
            .cloned()
            .collect()
    };
    let sorted = |keys: &[&str]| {
        let mut keys: Vec<String> = keys.iter().map(|k| k.to_string()).collect();
        keys.sort();
        keys
    };
    let mut found = keys(&schema);
    found.sort();
    assert_eq!(found, sorted(&TOP));
    let mut found = keys(&schema["$defs"]["item"]);
    found.sort();
    assert_eq!(found, sorted(&ITEM));

    let validator = jsonschema::validator_for(&schema).unwrap();
    let valid = |text: &str| {
        let value: toml::Value = toml::from_str(text).unwrap();
        validator.is_valid(&serde_json::to_value(value).unwrap())
    };
    for (name, text) in bundled().iter().chain(&[("template", TEMPLATE)]) {
        assert!(valid(text), "{name}");
        assert!(!valid(&text.replace("times =", "time =")), "{name}");
        assert!(!valid(&text.replace("break =", "brake =")), "{name}");
        assert!(!valid(&text.replace("19:30", "half past seven")), "{name}");
    }
}
