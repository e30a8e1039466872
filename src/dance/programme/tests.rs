//! What a programme is read as, how long it takes, and what it is advised of.

mod counsel;
mod reading;
mod times;

use super::*;
use crate::dance::bundled as dances;

/// A programme of these items below a head that nothing is wrong with.
fn of(head: &str, items: &str) -> Result<Programme, CardError> {
    let text = format!("title = \"T\"\n{head}\n{items}");
    Programme::parse(&text, "p.toml", None)
}

fn dance(name: &str, more: &str) -> String {
    format!("[[item]]\ndance = \"{name}\"\n{more}\n")
}

const RING: &str = "the-tin-kettle-ring";
const LANTERNS: &str = "lanterns-on-the-weir";
const UMBRELLA: &str = "the-borrowed-umbrella";
const TEA: &str = "[[item]]\nbreak = \"Tea\"\nminutes = 15\n";

/// The text of a bundled card.
fn card(name: &str) -> &'static str {
    let found = dances().iter().find(|(bundled, _)| *bundled == name);
    found.expect("a bundled dance").1
}

/// The first trouble, as `line:column: message`.
fn first(programme: Result<Programme, CardError>) -> String {
    let error = programme.expect_err("this cannot be used");
    let trouble = error.troubles().first().expect("a place").clone();
    format!("{}:{}: {}", trouble.line, trouble.column, trouble.message)
}

fn advice(programme: &Programme) -> Vec<String> {
    let advice = programme.advice().into_iter();
    advice
        .map(|t| format!("{}: {}", t.line, t.message))
        .collect()
}
