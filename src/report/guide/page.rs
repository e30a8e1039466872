//! The guide as a manual page.

use roff::{Inline, Roff, bold, italic, roman};

use super::{Block, Kind, TOPICS, Voice};

/// The whole guide as the manual page `eightclap-guide(7)`, in roff.
pub fn page(version: &str) -> String {
    let mut roff = Roff::new();
    let source = format!("eightclap {version}");
    roff.control("TH", ["eightclap-guide", "7", "", &source, "eightclap"]);
    roff.control("SH", ["NAME"]);
    roff.text([roman("eightclap-guide - a short manual for dance callers")]);
    for block in TOPICS.iter().flat_map(|topic| topic.blocks()) {
        match block.kind {
            Kind::Heading => {
                let title: String = block.pieces.iter().map(|p| p.words.as_str()).collect();
                // A quotation mark would end the heading.
                let title = title.to_uppercase().replace('"', "\\(dq");
                roff.control("SH", [title.as_str()]);
                continue;
            }
            Kind::Paragraph => roff.control("PP", []),
            Kind::Item(Some(n)) => roff.control("IP", [format!("{n}.").as_str(), "4"]),
            Kind::Item(None) => roff.control("IP", ["\\(bu", "4"]),
        };
        roff.text(inlines(&block));
    }
    roff.control("SH", ["SEE ALSO"]);
    roff.text([bold("eightclap"), roman("(1)")]);
    roff.render()
}

fn inlines(block: &Block) -> Vec<Inline> {
    let inline = |piece: &super::Piece| match piece.voice {
        Voice::Plain => roman(piece.words.as_str()),
        Voice::Word => italic(piece.words.as_str()),
        Voice::Strong | Voice::Code => bold(piece.words.as_str()),
    };
    block.pieces.iter().map(inline).collect()
}
