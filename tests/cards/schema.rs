//! The schema says the same as the parser, as far as a schema can.

use eightclap::dance::{CARD_SCHEMA, Card, LANTERNS_ON_THE_WEIR, NEW_CARD, bundled};
use serde_json::Value;

fn validator() -> jsonschema::Validator {
    let schema: Value = serde_json::from_str(CARD_SCHEMA).expect("JSON");
    assert!(jsonschema::meta::is_valid(&schema));
    jsonschema::draft202012::new(&schema).expect("a schema")
}

fn is_valid(text: &str) -> bool {
    let card: Value = toml::from_str(text).unwrap_or_else(|e| panic!("{e}"));
    validator().is_valid(&card)
}

#[test]
fn good_cards_pass() {
    for (name, text) in bundled() {
        assert!(is_valid(text), "{name}");
    }
    assert!(is_valid(NEW_CARD));
}

#[test]
fn what_the_parser_refuses_the_schema_refuses() {
    for (from, to) in [
        ("beats = 12", "beat = 12"),
        ("beats = 12", "beats = 33"),
        ("beats = 12", "beats = 1"),
        ("beats = 12", "beats = \"12\""),
        ("beats = 12", "beats = 12\nends = \"somewhere\""),
        ("beats = 12", "beats = 12\nends = \"L1 R1\""),
        ("beats = 12", "beats = 12\ncrosses = 1"),
        ("author =", "autor ="),
        ("title =", "figure ="),
        ("\"Odile Farrant\"", "3"),
        ("\"Odile Farrant\"", "\" \""),
        ("\"reel\"", "\"real\""),
        ("\"duple improper\"", "\"improper duple\""),
        ("= 116", "= 11.6"),
        ("= 116", "= 116\nprogression = \"twice\""),
        ("= 116", "= 116\nroles = [\"lark\"]"),
        (
            "= 116",
            "= 116\nroles = [\"a\", \"b\", \"c\", \"d\", \"e\"]",
        ),
        ("= 116", "= 116\nroles = [\"lark\", \"r o\"]"),
        ("= 116", "= 116\nform = []"),
        ("= 116", "= 116\nform = [\"A1\", \"A1\"]"),
        ("= 116", "= 116\nform = [\"E1\"]"),
        ("= 116", "= 116\nnotes = 3"),
        ("= 116", "= 116\n[intro]\ncall = \"x\""),
        ("= 116", "= 116\n[ending]\nfigure = \"x\""),
        ("= 116", "= 116\n[ending]\nbeats = 8"),
        ("call = \"and swing\"\n", ""),
        ("figure = \"neighbours swing\"\n", ""),
        ("formation = \"duple improper\"\n", ""),
        ("[[A1]]", "[[A9]]"),
        ("[[A2]]", "[[a2]]"),
    ] {
        assert!(LANTERNS_ON_THE_WEIR.contains(from), "{from}");
        let text = LANTERNS_ON_THE_WEIR.replacen(from, to, 1);
        assert!(Card::parse(&text, "x").is_err(), "{to} is read");
        assert!(!is_valid(&text), "{to} passes");
    }
}

#[test]
fn what_the_parser_reads_the_schema_passes() {
    for (from, to) in [
        ("beats = 12", "beats = 12\nends = \"where they began\""),
        (
            "beats = 12",
            "beats = 12\nends = \"L2 R2 / R1 L1\"\ncrosses = true",
        ),
        (
            "= 116",
            "= 116.5\nprogression = \"none\"\nroles = [\"man\", \"woman\", \"men\", \"women\"]",
        ),
        (
            "= 116",
            "= 116\nnotes = \"one\"\n[intro]\nsay = [\"a\", \"b\"]\nfigure = \"bow\"\ncall = \"bow\"\nnote = \"x\"",
        ),
    ] {
        let text = LANTERNS_ON_THE_WEIR.replacen(from, to, 1);
        Card::parse(&text, "x").unwrap_or_else(|e| panic!("{e}"));
        assert!(is_valid(&text), "{to}");
    }
}
