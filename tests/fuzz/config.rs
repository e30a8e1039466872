//! What must hold of any text taken for `config.toml`: it is refused with file, place and
//! remedy, or everything that it says is shown, and can be said again in a file and in the
//! environment.
//!
//! The reader is private to the program, so this is a room of its own (see
//! `src/cli/config.rs`): its tests run it on spoilt files, the fuzz target on anything.

use std::path::Path;

use super::keys::{ALL, About, Kind};
use super::layers::{Layers, Origin, Text};
use super::table;

const FILE: &str = "/etc/of/me/config.toml";

/// What tells people how to go on: one of them is in every refusal but those of TOML.
const REMEDIES: [&str; 9] = [
    "comes first: ",
    "did you mean ",
    "give ",
    "known here: ",
    "leave room ",
    "must be ",
    "numbered from ",
    "use ",
    "write ",
];

/// What a file with this text says.
pub(super) fn read(text: &str) -> Layers {
    let mut layers = Layers::default();
    layers.file(Text {
        path: Path::new(FILE),
        text,
        home: Some(Path::new("/home/me")),
    });
    layers
}

/// Panics if `text` is neither read whole nor refused with file, place and remedy.
pub fn is_read_or_refused(text: &str) {
    let said = read(text);
    match &said.wrong_file {
        None => assert_eq!(keys(text), shown(&said), "every key counts"),
        Some(error) => {
            assert!(error.to_string().starts_with(&format!("{FILE}:")));
            assert!(!error.troubles().is_empty());
            let lines = text.split('\n').count();
            for trouble in error.troubles() {
                assert_eq!(trouble.name, FILE);
                assert!((1..=lines).contains(&trouble.line) && trouble.column >= 1);
                let message = &trouble.message;
                let remedy = REMEDIES.iter().any(|remedy| message.contains(remedy));
                let of_toml = message.starts_with("this is not TOML: ");
                assert!(remedy || of_toml, "no remedy: {message}");
            }
        }
    }
    // What is right counts though something else is wrong.
    is_shown(text, &said);
    is_said_again(&said);
}

/// Every key has its row, which tells the value and the line where it stands.
fn is_shown(text: &str, said: &Layers) {
    let table = table(said);
    assert_eq!(table.lines().count(), ALL.len());
    for (about, row) in ALL.iter().zip(table.lines()) {
        assert!(row.starts_with(&about.dotted()));
        match said.told.get(&about.key) {
            None => assert!(row.ends_with("  default")),
            Some((value, origin)) => {
                let Origin::File(line) = origin else {
                    panic!("nobody asked the environment");
                };
                assert!(row.contains(value) && row.ends_with(&format!("  file, line {line}")));
                let there = text.split('\n').nth(line - 1);
                assert!(there.is_some_and(|line| line.contains('=')), "{row}");
            }
        }
    }
}

/// What is told of each key says the same in another file, and as a variable.
fn is_said_again(said: &Layers) {
    let file: String = told(said)
        .map(|(about, value)| {
            let value = match about.kind {
                Kind::Whole | Kind::Flag => value.to_owned(),
                // As a float: TOML's whole numbers know no -0.
                Kind::Number => {
                    toml::Value::from(value.parse::<f64>().expect("a number")).to_string()
                }
                _ => toml::Value::from(value).to_string(),
            };
            format!("{} = {value}\n", about.dotted())
        })
        .collect();
    let again = read(&file);
    assert!(again.wrong_file.is_none(), "{file}{:?}", again.wrong_file);
    assert_eq!(again.defaults, said.defaults, "{file}");
    let values = |said: &Layers| told(said).map(|t| t.1.to_owned()).collect::<Vec<_>>();
    assert_eq!(values(&again), values(said), "{file}");

    let mut variables = Layers::default();
    variables.environment(|name| {
        let mut all = told(said);
        let found = all.find(|(about, _)| about.variable == name);
        found.map(|(_, value)| value.to_owned())
    });
    assert!(variables.wrong_variables.is_empty());
    assert_eq!(variables.defaults, said.defaults);
}

/// The keys that were set, with what is told of them.
fn told(said: &Layers) -> impl Iterator<Item = (&'static About, &str)> {
    ALL.iter().filter_map(|about| {
        let (value, _) = said.told.get(&about.key)?;
        Some((about, value.as_str()))
    })
}

fn shown(said: &Layers) -> Vec<String> {
    let mut all: Vec<String> = told(said).map(|(about, _)| about.dotted()).collect();
    all.sort();
    all
}

/// The keys in the tables of a text that is TOML, dotted and sorted.
pub(super) fn keys(text: &str) -> Vec<String> {
    let document = toml::de::DeTable::parse(text).expect("TOML");
    let mut all = Vec::new();
    for (table, value) in document.get_ref() {
        let inside = value.get_ref().as_table().expect("a table");
        all.extend(
            inside
                .keys()
                .map(|key| format!("{}.{}", table.get_ref(), key.get_ref())),
        );
    }
    all.sort();
    all
}
