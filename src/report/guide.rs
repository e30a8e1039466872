//! The guide: a short manual for callers, as text for a terminal and as a manual page.
//!
//! Its topics are Markdown files with one heading, paragraphs and flat lists.

mod page;
mod text;

pub use page::page;
pub use text::{Emphasis, contents, text};

use pulldown_cmark::{Event, Parser, Tag, TagEnd};

/// A topic of the guide.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Topic {
    /// Its name on the command line.
    pub name: &'static str,
    /// Its Markdown.
    source: &'static str,
}

macro_rules! topics {
    ($($name:literal),* $(,)?) => {
        &[$(Topic {
            name: $name,
            source: include_str!(concat!("../../fixtures/guide/", $name, ".md")),
        }),*]
    };
}

/// All topics, in the order in which they are read best.
pub const TOPICS: &[Topic] = topics![
    "first-evening",
    "lead-in",
    "practising",
    "rehearsing",
    "cards",
    "programmes",
    "devices",
    "not-sure",
    "cautions",
    "privacy",
];

impl Topic {
    /// The topic of that name.
    pub fn named(name: &str) -> Option<Topic> {
        TOPICS.iter().copied().find(|topic| topic.name == name)
    }

    /// Its heading, in plain words.
    pub fn title(self) -> String {
        let blocks = self.blocks();
        let heading = blocks.into_iter().find(|b| b.kind == Kind::Heading);
        let pieces = heading.into_iter().flat_map(|block| block.pieces);
        pieces.map(|piece| piece.words).collect()
    }

    fn blocks(self) -> Vec<Block> {
        blocks(self.source)
    }
}

/// What a block is.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Kind {
    Heading,
    Paragraph,
    /// An item of a list, with its number if it has one.
    Item(Option<u64>),
}

/// How words are meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Voice {
    Plain,
    /// A word of the trade, or one that the screen shows.
    Word,
    Strong,
    /// Something to type.
    Code,
}

/// Some words of a block.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Piece {
    words: String,
    voice: Voice,
}

/// A heading, a paragraph, or an item of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Block {
    kind: Kind,
    pieces: Vec<Piece>,
}

/// The blocks of a Markdown text, in order. What the guide does not use (tables,
/// pictures, quotations) is left as its words.
fn blocks(source: &str) -> Vec<Block> {
    let mut all: Vec<Block> = Vec::new();
    let mut voice = Voice::Plain;
    let mut number = None;
    for event in Parser::new(source) {
        let words = match event {
            Event::Start(Tag::Heading { .. }) => {
                all.push(block(Kind::Heading));
                continue;
            }
            Event::Start(Tag::Paragraph) => {
                all.push(block(Kind::Paragraph));
                continue;
            }
            Event::Start(Tag::List(first)) => {
                number = first;
                continue;
            }
            Event::Start(Tag::Item) => {
                all.push(block(Kind::Item(number)));
                number = number.map(|n| n + 1);
                continue;
            }
            Event::Start(Tag::Emphasis) => {
                voice = Voice::Word;
                continue;
            }
            Event::Start(Tag::Strong) => {
                voice = Voice::Strong;
                continue;
            }
            Event::End(TagEnd::Emphasis | TagEnd::Strong) => {
                voice = Voice::Plain;
                continue;
            }
            Event::Text(text) => (text.into_string(), voice),
            Event::Code(text) => (text.into_string(), Voice::Code),
            Event::SoftBreak | Event::HardBreak => (" ".to_owned(), voice),
            _ => continue,
        };
        if let Some(last) = all.last_mut() {
            let (words, voice) = words;
            last.pieces.push(Piece { words, voice });
        }
    }
    all
}

fn block(kind: Kind) -> Block {
    Block {
        kind,
        pieces: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_topic_has_one_heading_and_words_below_it() {
        for topic in TOPICS {
            let blocks = topic.blocks();
            assert_eq!(blocks[0].kind, Kind::Heading, "{}", topic.name);
            let headings = blocks.iter().filter(|b| b.kind == Kind::Heading);
            assert_eq!(headings.count(), 1, "{}", topic.name);
            assert!(blocks.len() > 3, "{}", topic.name);
            assert!(
                blocks.iter().all(|b| !b.pieces.is_empty()),
                "{}",
                topic.name
            );
            assert_eq!(Topic::named(topic.name), Some(*topic));
        }
    }

    #[test]
    fn blocks_keep_their_words_and_how_they_are_meant() {
        let all = blocks("# A\n\nSay *one*,\n`q` **now**.\n\n3. x\n4. y\n\n- z\n");
        let kinds: Vec<&Kind> = all.iter().map(|b| &b.kind).collect();
        let item = |n| Kind::Item(n);
        let expected = [
            &Kind::Heading,
            &Kind::Paragraph,
            &item(Some(3)),
            &item(Some(4)),
            &item(None),
        ];
        assert_eq!(kinds, expected);
        let words: Vec<(&str, Voice)> = all[1]
            .pieces
            .iter()
            .map(|p| (p.words.as_str(), p.voice))
            .collect();
        let expected = [
            ("Say ", Voice::Plain),
            ("one", Voice::Word),
            (",", Voice::Plain),
            (" ", Voice::Plain),
            ("q", Voice::Code),
            (" ", Voice::Plain),
            ("now", Voice::Strong),
            (".", Voice::Plain),
        ];
        assert_eq!(words, expected);
    }
}
