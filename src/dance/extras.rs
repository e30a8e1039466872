//! Keys of a card that most cards do without: role words, what happens once,
//! where a figure ends.

use toml::de::DeValue;

use super::keys::ONCE;
use super::once::{ENDS, Ends, Once, OnceFigure};
use super::read::{Block, Reader};
use super::roles::Roles;

/// The words for the two roles; the usual ones if the card says nothing.
pub(super) fn roles(reader: &mut Reader, top: &Block) -> Roles {
    let expected = "a list of two words such as [\"lark\", \"robin\"]";
    let Some(items) = reader.items(top, "roles", expected) else {
        return Roles::default();
    };
    let span = top.table.get("roles").map_or(0..0, |v| v.span());
    let words: Option<Vec<&str>> = items.iter().map(|w| w.get_ref().as_str()).collect();
    let Some(words) = words else {
        reader.wrong(span, format!("\"roles\" must be {expected}"));
        return Roles::default();
    };
    Roles::from_words(&words).unwrap_or_else(|error| {
        reader.wrong(span, format!("\"roles\": {error}"));
        Roles::default()
    })
}

/// The table `key`, an introduction or an ending.
pub(super) fn once(reader: &mut Reader, top: &Block, key: &str) -> Once {
    let Some(value) = top.table.get(key) else {
        return Once::default();
    };
    let DeValue::Table(table) = value.get_ref() else {
        reader.other_kind(key, value, &format!("a table headed [{key}]"));
        return Once::default();
    };
    let block = Block {
        table,
        what: format!("[{key}]"),
        span: value.span(),
    };
    reader.refuse_unknown(&block, &ONCE);
    let say = reader.lines(&block, "say");
    let name = reader.words(&block, "figure", None);
    // Words for a figure without the figure itself are a slip.
    let lonely = ["call", "short", "note"]
        .into_iter()
        .find(|k| name.is_none() && table.contains_key(*k) && !table.contains_key("figure"));
    if let Some(lonely) = lonely {
        let span = table.get(lonely).map_or(value.span(), |v| v.span());
        let message = format!("\"{lonely}\" in [{key}] needs the figure's name, figure = \"…\"");
        reader.wrong(span, message);
    }
    let at = |key: &str| table.get(key).map_or(value.span(), |v| v.span());
    let figure = name.and_then(|name| {
        Some(OnceFigure {
            name,
            call: reader.words(&block, "call", Some("the words for it, call = \"…\""))?,
            short: reader.words(&block, "short", None),
            note: reader.words(&block, "note", None),
            spans: [at("figure"), at("call")],
        })
    });
    Once { say, figure }
}

/// Where a figure ends, if its block says so.
pub(super) fn ends(reader: &mut Reader, block: &Block, roles: &Roles) -> Option<Ends> {
    let text = reader.words(block, "ends", None)?;
    let ends = Ends::parse(&text, roles);
    if ends.is_none() {
        let span = block.table.get("ends").map_or(0..0, |v| v.span());
        let message = format!("\"ends\" cannot be \"{text}\"; expected {ENDS}");
        reader.wrong(span, message);
    }
    ends
}
