//! A dance card to read from: on the terminal, on paper, and as a drawing of
//! where the dancers go.

mod drawing;
mod page;
mod text;

#[cfg(test)]
mod tests;

pub use drawing::svg;
pub use page::{Size, page};
pub use text::{calls, stand};

use crate::dance::Card;

/// What stands below a title: formation, tune, tempo, difficulty.
fn about(card: &Card) -> Vec<String> {
    let steps = card
        .steps_per_minute()
        .map(|steps| format!("{steps} steps per minute"));
    let tune = Some(card.tune())
        .filter(|tune| *tune != crate::dance::TuneKind::Any)
        .map(|tune| tune.to_string());
    let difficulty = card.difficulty().map(|d| format!("for {}", floor(d)));
    let form = card.form().beats();
    let form = (form != 64).then(|| format!("{form} beats"));
    std::iter::once(card.formation().to_string())
        .chain(tune)
        .chain(form)
        .chain(steps)
        .chain(difficulty)
        .collect()
}

/// Who a difficulty is for, after "for".
fn floor(difficulty: crate::dance::Difficulty) -> &'static str {
    use crate::dance::Difficulty as D;
    match difficulty {
        D::Newcomers => "newcomers",
        D::SomeExperience => "floors with some experience",
        D::Experienced => "experienced floors",
    }
}
