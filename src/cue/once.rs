//! The figures that a card dances once only, at their place in the dance.

use std::borrow::Cow;

use crate::dance::{Card, FigureAt, OnceFigure};

/// What is danced the first time through instead of the card's first figure.
pub(super) fn opening(card: &Card) -> Option<FigureAt> {
    Some(at(card.figures().first()?, card.intro().figure.as_ref()?))
}

/// What is danced the last time through instead of the card's last figure.
pub(super) fn closing(card: &Card) -> Option<FigureAt> {
    Some(at(card.figures().last()?, card.ending().figure.as_ref()?))
}

fn at(instead_of: &FigureAt, once: &OnceFigure) -> FigureAt {
    let mut figure = instead_of.clone();
    figure.name.clone_from(&once.name);
    figure.call.clone_from(&once.call);
    figure.short.clone_from(&once.short);
    figure.note.clone_from(&once.note);
    figure
}

/// What is danced in the place of `usual`, a figure of `card`, this time through (from 1)
/// if so many are danced in all: itself, or the one that the card has for once.
pub fn danced<'a>(
    card: &Card,
    usual: &'a FigureAt,
    time_through: u32,
    times: Option<u32>,
) -> Cow<'a, FigureAt> {
    let (first, last) = (card.figures().first(), card.figures().last());
    let once = if time_through == 1 && first == Some(usual) {
        opening(card)
    } else if times == Some(time_through) && last == Some(usual) {
        closing(card)
    } else {
        None
    };
    once.map_or(Cow::Borrowed(usual), Cow::Owned)
}
