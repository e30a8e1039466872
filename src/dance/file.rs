//! Reading a text file that people write by hand, with errors that help.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::Path;

use super::source::CardError;

/// Largest file that is read, in bytes: a written-out dance takes a few
/// thousand, so anything larger is some other kind of file.
const LARGEST: u64 = 1 << 20;

/// Files that come with the program: name and text.
pub(crate) type Bundled = &'static [(&'static str, &'static str)];

/// The text of the file at `path`, or of the one of that name in `bundled` where there is
/// none; `what` it should be, as in "dance card".
pub(crate) fn text(path: &Path, what: &str, bundled: Bundled) -> Result<String, CardError> {
    let own = bundled.iter().find(|(name, _)| Path::new(name) == path);
    if let Some((_, text)) = own.filter(|_| !path.exists()) {
        return Ok((*text).to_owned());
    }
    let name = path.display().to_string();
    let unreadable = |reason: String| CardError::Unreadable {
        name: name.clone(),
        reason,
    };
    if path.is_dir() {
        return Err(unreadable(format!(
            "is a folder; name one {what}, a .toml file in it"
        )));
    }
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(LARGEST + 1).read_to_end(&mut bytes))
        .map_err(|error| {
            unreadable(match error.kind() {
                ErrorKind::NotFound | ErrorKind::NotADirectory => {
                    let names: Vec<&str> = bundled.iter().map(|(name, _)| *name).collect();
                    let or = match names.is_empty() {
                        true => String::new(),
                        false => format!(", or take a bundled one: {}", names.join(", ")),
                    };
                    format!("there is no such {what}; check its name and folder{or}")
                }
                ErrorKind::PermissionDenied => format!(
                    "reading this {what} is not permitted; give yourself read permission \
                     or copy it to a folder of your own"
                ),
                _ => format!(
                    "this {what} cannot be read ({error}); check the disk or drive it is on"
                ),
            })
        })?;
    if bytes.len() as u64 > LARGEST {
        return Err(unreadable(format!(
            "is larger than 1 MiB, too large for a {what}; is it a recording?"
        )));
    }
    String::from_utf8(bytes).map_err(|error| {
        let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = good.iter().filter(|b| **b == b'\n').count() + 1;
        unreadable(format!(
            "line {line} is not UTF-8 text; save the {what} as plain UTF-8 text"
        ))
    })
}
