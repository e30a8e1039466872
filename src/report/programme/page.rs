//! Pages for print: A4, black on white, and nothing that needs another file.

use maud::{Markup, html};

use super::super::page::document;
use super::{Reader, about, clock, ending, minutes, times};
use crate::dance::programme::{Dance, Item, Programme, Slot, What};
use crate::dance::{Card, FigureAt};
use crate::phrase::Part;

/// Sizes in points and millimetres: it is for paper.
const STYLE: &str = "
@page { size: A4; margin: 12mm 15mm; }
* { box-sizing: border-box; }
body { font-size: 10.5pt; line-height: 1.32;
  color: #000; background: #fff; margin: 0 auto; max-width: 180mm; }
@media screen { body { padding: 14mm 0; } }
header { border-bottom: 2.5pt solid #000; padding-bottom: 2.5mm; margin-bottom: 3mm; }
h1 { font-size: 21pt; line-height: 1.1; margin: 0 0 1mm; }
header p { margin: 0; }
.item { display: grid; grid-template-columns: 8mm 15mm 1fr 33mm; column-gap: 3mm;
  padding: 2.1mm 0 1.9mm; border-bottom: .5pt solid #777; break-inside: avoid; }
.n { text-align: right; font-weight: 700; }
.at { font-variant-numeric: tabular-nums; text-align: right; }
.at b { font-size: 12pt; }
h2 { font-size: 12.5pt; margin: 0; line-height: 1.2; }
.item p { margin: .4mm 0 0; }
.facts { text-align: right; font-variant-numeric: tabular-nums; }
.facts b { font-size: 12pt; }
.figures { font-size: 8.6pt; line-height: 1.28; color: #222; }
.figures b { font-weight: 700; }
.note::before { content: '☞ '; }
.note { font-style: italic; }
.pause { background: #eee; border-bottom-color: #000; -webkit-print-color-adjust: exact; }
.pause h2 { font-weight: 400; text-transform: none; letter-spacing: .06em; }
footer { margin-top: 3mm; font-size: 9pt; display: flex; justify-content: space-between; gap: 6mm; }
.dense { font-size: 9.3pt; line-height: 1.25; }
.dense .figures { font-size: 7.8pt; line-height: 1.22; }
.dense .item { padding: 1.5mm 0 1.3mm; }
.dense h2, .dense .at b, .dense .facts b { font-size: 11pt; }
.band .item { grid-template-columns: 8mm 17mm 1fr 40mm 20mm; padding: 3mm 0 2.8mm; }
.band h2 { font-size: 15pt; }
.band .facts b { font-size: 15pt; }
.box { border: 1pt solid #000; width: 20mm; height: 11mm; font-size: 7pt; color: #444;
  padding: .5mm 1mm; text-align: left; }
";

/// Lines of a caller's sheet that fit on a page in its usual size.
const LINES: usize = 36;

/// About how many lines a caller's sheet has.
fn lines(programme: &Programme) -> usize {
    let items = programme.items().iter().map(|item| {
        let own = if item.dance().is_some() { 5 } else { 2 };
        own + item.notes.len()
    });
    items.sum::<usize>() + programme.notes().len()
}

/// The programme as a page of HTML that stands for itself.
pub fn page(programme: &Programme, reader: Reader) -> String {
    let (class, what) = match reader {
        // Two pages would part company on a music stand.
        Reader::Caller if lines(programme) > LINES => ("caller dense", "caller's sheet"),
        Reader::Caller => ("caller", "caller's sheet"),
        Reader::Band => ("band", "for the band"),
    };
    let items = programme.items().iter().zip(programme.slots());
    document(
        &format!("{} – {what}", programme.title()),
        &[STYLE],
        class,
        html! {
            header {
                h1 { (programme.title()) }
                p { (about(programme)) }
                @if reader == Reader::Caller {
                    @for note in programme.notes() { p .note { (note) } }
                }
            }
            main {
                @for (n, (item, slot)) in (1..).zip(items) {
                    @match reader {
                        Reader::Caller => (for_caller(programme, n, item, &slot)),
                        Reader::Band => (for_band(programme, n, item, &slot)),
                    }
                }
            }
            footer {
                span { (ending(programme)) }
                span { (what) }
            }
        },
    )
    .into_string()
}

fn pause(item: &Item) -> &'static str {
    match item.what {
        What::Break(..) => "item pause",
        _ => "item",
    }
}

fn for_caller(programme: &Programme, n: usize, item: &Item, slot: &Slot) -> Markup {
    let dance = item.dance();
    html! {
        section class=(pause(item)) {
            div .n { (n) }
            div .at { b { (clock(programme, slot.start)) } }
            div {
                h2 { (item.title()) }
                @if let Some(dance) = dance {
                    p { (kind(&dance.card)) }
                    p .figures { (figures(&dance.card)) }
                }
                @for note in &item.notes { p .note { (note) } }
            }
            div .facts {
                @if let Some(dance) = dance {
                    b { (dance.times) " ×" } br;
                    @if slot.walk > 0.0 { "walk " (minutes(slot.walk)) br; }
                    "music " (minutes(slot.music)) br;
                    (item.tunes_in_words()) br;
                    (steps(dance)) " steps/min"
                } @else {
                    b { (minutes(slot.music)) } br;
                    (item.tunes_in_words())
                }
            }
        }
    }
}

fn for_band(programme: &Programme, n: usize, item: &Item, slot: &Slot) -> Markup {
    html! {
        section class=(pause(item)) {
            div .n { (n) }
            div .at { b { (clock(programme, slot.end() - slot.music)) } }
            div {
                @match &item.what {
                    What::Break(title, _) => h2 { (title) },
                    _ => {
                        h2 { (item.tunes_in_words()) }
                        p { "for " (item.title()) }
                    }
                }
            }
            div .facts {
                @if let Some(dance) = item.dance() {
                    b { (steps(dance)) } " steps/min" br;
                    (times(dance)) br;
                }
                (minutes(slot.music))
            }
            div {
                // Room for the tunes' names, or for what was played in the end.
                @if !matches!(item.what, What::Break(..)) { div .box { "key / set" } }
            }
        }
    }
}

/// Steps per minute, whole.
fn steps(dance: &Dance) -> String {
    format!("{:.0}", dance.steps_per_minute)
}

/// Formation, difficulty and author.
fn kind(card: &Card) -> String {
    let mut words = vec![card.formation().to_string()];
    words.extend(card.difficulty().map(|d| format!("for {d}")));
    words.extend(card.author().map(|author| format!("by {author}")));
    words.join(" · ")
}

/// All figures in small print, part by part.
fn figures(card: &Card) -> Markup {
    let mut parts: Vec<(Part, Vec<&FigureAt>)> = Vec::new();
    for figure in card.figures() {
        match parts.last_mut() {
            Some((part, list)) if *part == figure.part => list.push(figure),
            _ => parts.push((figure.part, vec![figure])),
        }
    }
    html! {
        @for (part, figures) in &parts {
            b { (part) } " "
            @for (n, figure) in figures.iter().enumerate() {
                @if n > 0 { ", " }
                // Its beats stay beside the name.
                (figure.name) "\u{a0}" (figure.beats)
            }
            " "
        }
    }
}
