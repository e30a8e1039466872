//! A card on paper: A6 to hold, A4 for the music stand and for notes.

use maud::{Markup, html};

use super::super::page::document;
use super::about;
use super::drawing::{ACROSS, drawing};
use crate::dance::{Card, FigureAt, Figures, Once};
use crate::phrase::Part;

/// The paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Size {
    /// 105 × 148 mm: the figures, and the drawing on the back.
    A6,
    /// 210 × 297 mm: calls, cautions and the drawing as well.
    #[default]
    A4,
}

/// Looks of both papers: black on white.
const STYLE: &str = "
*{box-sizing:border-box}
html{background:#ddd}
body{margin:0 auto;background:#fff;color:#000;line-height:1.3}
h1{line-height:1.1;margin:0}
header{border-bottom:.6mm solid #000;padding-bottom:1.2mm}
header p{margin:.6mm 0 0}
table{width:100%;border-collapse:collapse}
td,th{vertical-align:top;text-align:left;padding:.5mm 0}
tbody{border-bottom:.25mm solid #000;break-inside:avoid}
tbody tr:first-child td,tbody tr:first-child th{padding-top:1.1mm}
tbody tr:last-child td{padding-bottom:1.1mm}
td.beats{text-align:right;padding-right:2mm;font-variant-numeric:tabular-nums}
td.figure b{display:block}
.call{font-style:italic}
.note{display:block}
.once{margin:1.2mm 0 0}
ul{margin:1mm 0 0;padding-left:4mm}
h2{margin:4mm 0 1mm;font-size:1.1em}
svg{display:block;width:100%;height:auto}
@media print{html{background:#fff}}
";

const A6: &str = "
@page{size:105mm 148mm;margin:0}
body{width:105mm}
main,.back{padding:6mm 6mm 5mm;height:148mm;overflow:hidden;background:#fff}
main+.back{break-before:page}
.back svg{max-height:126mm}
body{font-size:8.2pt}
h1{font-size:14pt}
th{width:8mm;font-size:10.5pt}
td.beats{width:7mm}
.note,.once,header p{font-size:7.2pt}
";

const A4: &str = "
@page{size:A4;margin:0}
body{width:210mm;padding:12mm 16mm 8mm;font-size:10.5pt}
h1{font-size:22pt}
th{width:14mm;font-size:14pt}
td.beats{width:11mm}
td.said{width:62mm;padding-left:4mm}
.note,.once,header p{font-size:9pt}
ul{font-size:8pt;columns:2;column-gap:8mm}
li{break-inside:avoid}
.back{break-inside:avoid}
.back svg{max-height:106mm}
.figures{break-inside:avoid}
";

/// The whole page. `figures` is the list that cautions and positions are from.
pub fn page(card: &Card, figures: &Figures, size: Size) -> String {
    let (own, across) = match size {
        Size::A6 => (A6, 4),
        Size::A4 => (A4, ACROSS),
    };
    let drawing = drawing(card, figures, across);
    let page = document(
        card.title(),
        &[STYLE, own],
        "",
        html! {
            main {
                (header(card))
                (once("Before the lead-in", "The first time begins with", card.intro()))
                (parts(card, size))
                (once("After the music", "The last time ends with", card.ending()))
                @if size == Size::A4 {
                    (cautions(card, figures))
                }
            }
            @if let Some(drawing) = drawing {
                section.back {
                    h2 { @if size == Size::A6 { (card.title()) ": where the dancers are" } @else { "Where the dancers are" } }
                    (drawing)
                }
            }
        },
    );
    page.into_string()
}

fn header(card: &Card) -> Markup {
    html! {
        header {
            h1 { (card.title()) }
            p {
                @if let Some(author) = card.author() { "by " (author) " · " }
                (about(card).join(" · "))
            }
            @for note in card.notes() { p { (note) } }
        }
    }
}

fn once(say: &str, dance: &str, once: &Once) -> Markup {
    html! {
        @if let Some(figure) = &once.figure {
            p.once { b { (dance) ":" } " " (figure.name) " " span.call { "“" (figure.call) "”" } }
        }
        @if !once.say.is_empty() {
            p.once { b { (say) ":" } " " (once.say.join(" / ")) }
        }
    }
}

fn parts(card: &Card, size: Size) -> Markup {
    let mut parts: Vec<(Part, Vec<&FigureAt>)> = Vec::new();
    for figure in card.figures() {
        match parts.last_mut() {
            Some((part, figures)) if *part == figure.part => figures.push(figure),
            _ => parts.push((figure.part, vec![figure])),
        }
    }
    html! {
        table.figures {
            @for (part, figures) in parts {
                tbody {
                    @for (index, figure) in figures.iter().enumerate() {
                        tr {
                            @if index == 0 { th rowspan=(figures.len()) scope="rowgroup" { (part) } }
                            td.beats { (figure.beats) }
                            td.figure {
                                b { (figure.name) }
                                @if let Some(note) = &figure.note { span.note { (note) } }
                            }
                            @if size == Size::A4 {
                                td.said { span.call { "“" (figure.call) "”" } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What to say of figures in which people get hurt, each once.
fn cautions(card: &Card, figures: &Figures) -> Markup {
    let mut seen: Vec<&str> = Vec::new();
    let mut list: Vec<(String, String)> = Vec::new();
    for figure in card.figures() {
        let Some(reading) = figures.read(&figure.name, card.roles()) else {
            continue;
        };
        let known = reading.figure;
        if let Some(caution) = known.caution.as_deref().filter(|c| !seen.contains(c)) {
            seen.push(caution);
            let translate =
                |text: &str| crate::dance::Roles::default().translate(text, card.roles());
            list.push((translate(&known.name), translate(caution)));
        }
    }
    html! {
        @if !list.is_empty() {
            h2 { "Take care" }
            ul {
                @for (name, caution) in list { li { b { (name) } ": " (caution) } }
            }
        }
    }
}
