//! From the text of `config.toml` and the variables of the environment to defaults, each
//! with where it came from. No file is read here and no variable asked for.

use std::collections::BTreeMap;
use std::fmt;
use std::ops::Range;
use std::path::{Path, PathBuf};

use toml::Spanned;
use toml::de::DeValue;

use crate::dance::CardError;
use crate::dance::read::{Block, Reader, offer};

use super::keys::{ALL, About, Defaults, Key, Kind};

/// Where a value came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Origin {
    /// The file, and its line.
    File(usize),
    /// A variable of the environment.
    Environment(&'static str),
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Origin::File(line) => write!(f, "file, line {line}"),
            Origin::Environment(variable) => write!(f, "environment, {variable}"),
        }
    }
}

/// A variable that holds what nothing can be done with.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{variable} is \"{}\": {remedy}; or unset it", .value.escape_debug())]
pub(super) struct WrongVariable {
    pub(super) variable: &'static str,
    value: String,
    remedy: String,
}

/// The text of a file, what it is called, and whose home `~/` is.
#[derive(Debug, Clone, Copy)]
pub(super) struct Text<'a> {
    pub(super) path: &'a Path,
    pub(super) text: &'a str,
    pub(super) home: Option<&'a Path>,
}

/// Defaults, with what was said of each and where; and what is wrong.
#[derive(Debug, Default)]
pub(super) struct Layers {
    pub(super) defaults: Defaults,
    /// What is told of a key that somebody set.
    pub(super) told: BTreeMap<Key, (String, Origin)>,
    /// What is wrong with the file; what is right in it counts all the same.
    pub(super) wrong_file: Option<CardError>,
    pub(super) wrong_variables: Vec<WrongVariable>,
}

impl Layers {
    /// Takes what the file says.
    pub(super) fn file(&mut self, file: Text) {
        let name = file.path.display().to_string();
        let (mut reader, document) = match Reader::open(file.text, &name) {
            Ok(opened) => opened,
            Err(error) => return self.wrong_file = Some(error),
        };
        let top = Block {
            table: document.get_ref(),
            what: "this file".into(),
            span: 0..0,
        };
        refuse_unknown(&mut reader, &top, &tables(), None);
        for table in tables() {
            self.table(&mut reader, &top, table, file);
        }
        if !reader.is_content() {
            self.wrong_file = Some(CardError::Wrong(reader.into_troubles()));
        }
    }

    fn table(&mut self, reader: &mut Reader, top: &Block, table: &'static str, file: Text) {
        let Some(value) = top.table.get(table) else {
            return;
        };
        let Some(inside) = value.get_ref().as_table() else {
            let expected = format!("a table: write [{table}], and its keys below");
            return reader.other_kind(table, value, &expected);
        };
        let block = Block {
            table: inside,
            what: format!("[{table}]"),
            span: value.span(),
        };
        let of: Vec<&About> = ALL.iter().filter(|about| about.table == table).collect();
        let names: Vec<&str> = of.iter().map(|about| about.name).collect();
        refuse_unknown(reader, &block, &names, Some(table));
        for about in of {
            let Some((text, span)) = read(reader, &block, about) else {
                continue;
            };
            let text = match about.kind {
                Kind::Folder => place(&text, file).display().to_string(),
                _ => text,
            };
            match self.defaults.set(about.key, &text) {
                Ok(()) => {
                    let line = 1 + file.text[..span.start].matches('\n').count();
                    self.told.insert(about.key, (text, Origin::File(line)));
                }
                Err(remedy) => reader.wrong(span, format!("\"{}\": {remedy}", about.name)),
            }
        }
    }

    /// Takes what the environment says: it goes before the file. What is empty says
    /// nothing.
    pub(super) fn environment(&mut self, variable: impl Fn(&str) -> Option<String>) {
        for about in &ALL {
            let Some(text) = variable(about.variable).filter(|text| !text.is_empty()) else {
                continue;
            };
            match self.defaults.set(about.key, &text) {
                Ok(()) => {
                    let text = match about.kind {
                        Kind::Flag => self.defaults.flag(about.key).to_string(),
                        _ => text,
                    };
                    let origin = Origin::Environment(about.variable);
                    self.told.insert(about.key, (text, origin));
                }
                Err(remedy) => self.wrong_variables.push(WrongVariable {
                    variable: about.variable,
                    value: text,
                    remedy,
                }),
            }
        }
    }
}

/// The tables, each once.
pub(super) fn tables() -> Vec<&'static str> {
    let mut tables: Vec<&str> = ALL.iter().map(|about| about.table).collect();
    tables.dedup();
    tables
}

/// A trouble for every key that is not known here, with where it is, if it is known
/// elsewhere.
fn refuse_unknown(reader: &mut Reader, block: &Block, known: &[&str], table: Option<&str>) {
    for key in block.table.keys() {
        let name: &str = key.get_ref();
        if known.contains(&name) {
            continue;
        }
        let elsewhere = ALL.iter().find(|about| {
            Some(about.table) != table && (about.name == name || about.options.contains(&name))
        });
        let here = offer(name, known);
        let hint = match elsewhere {
            Some(about) if here.is_empty() => {
                format!("; write {} = … below [{}]", about.name, about.table)
            }
            _ if here.is_empty() => format!("; known here: {}", known.join(", ")),
            _ => here,
        };
        let (what, name) = (&block.what, name.escape_debug());
        reader.wrong(
            key.span(),
            format!("unknown key \"{name}\" in {what}{hint}"),
        );
    }
}

/// The value of a key as it would be written on the command line, and where it stands.
fn read(reader: &mut Reader, block: &Block, about: &About) -> Option<(String, Range<usize>)> {
    let name = about.name;
    let value: &Spanned<DeValue> = block.table.get(name)?;
    let span = value.span();
    let text = match (about.kind, value.get_ref()) {
        (Kind::Device, DeValue::Integer(_)) | (Kind::Whole, _) => {
            reader.whole(block, name, "")?.0.to_string()
        }
        (Kind::Device, DeValue::String(_)) | (Kind::Words | Kind::Folder, _) => {
            reader.words(block, name, None)?
        }
        (Kind::Device, _) => {
            reader.other_kind(
                name,
                value,
                "part of a device's name in quotation marks, or its number",
            );
            return None;
        }
        (Kind::Number, _) => reader.number(block, name)?.0.to_string(),
        (Kind::Flag, _) => reader.flag(block, name)?.to_string(),
        (Kind::List, DeValue::Array(items)) if items.is_empty() => {
            reader.wrong(span, format!("\"{name}\" is empty; write some words"));
            return None;
        }
        (Kind::List, _) => {
            let lines = reader.lines(block, name);
            (!lines.is_empty()).then(|| lines.join("/"))?
        }
    };
    Some((text, span))
}

/// A folder that the file names: from its own folder on, or from home.
fn place(text: &str, file: Text) -> PathBuf {
    match (text.strip_prefix("~/"), file.home) {
        (Some(rest), Some(home)) => home.join(rest),
        _ => file.path.parent().unwrap_or(Path::new("")).join(text),
    }
}
