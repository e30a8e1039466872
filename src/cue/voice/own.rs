//! The caller's own recordings: a folder of sound files named after calls.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::words::normal;
use crate::sound::file::EXTENSIONS;

/// The recordings in a folder, by normal words. They are only ever read.
#[derive(Debug, Clone, Default)]
pub(super) struct Own {
    files: BTreeMap<String, PathBuf>,
}

impl Own {
    /// Looks which calls a folder holds: "swing your partner.wav", or with
    /// hyphens or underlines. Folders within it are not looked into.
    ///
    /// # Errors
    /// If it is no folder that can be read.
    pub(super) fn read(folder: &Path) -> std::io::Result<Self> {
        let mut files = BTreeMap::new();
        let mut paths: Vec<PathBuf> = std::fs::read_dir(folder)?
            .map(|entry| entry.map(|e| e.path()))
            .collect::<Result<_, _>>()?;
        // Of several files for the same call the one that the program itself
        // would write is taken, else the first by name: the same everywhere.
        paths.sort();
        for path in paths {
            let extension = path.extension().unwrap_or_default().to_ascii_lowercase();
            let sound = EXTENSIONS.iter().any(|known| extension == *known);
            let name = path.file_stem().unwrap_or_default().to_string_lossy();
            // A recording in the making is hidden.
            if sound && !name.starts_with('.') && path.is_file() {
                let words = normal(&name);
                if words.is_empty() {
                    continue;
                }
                if path.ends_with(file_name(&words)) {
                    files.insert(words, path);
                } else {
                    files.entry(words).or_insert(path);
                }
            }
        }
        Ok(Own { files })
    }

    /// The file for `words`, which are normal.
    pub(super) fn file(&self, words: &str) -> Option<&Path> {
        self.files.get(words).map(PathBuf::as_path)
    }
}

/// The file name for a recording of `words`, without its folder.
pub fn file_name(words: &str) -> String {
    // Longer names do not fit on every disk; nobody calls that much at once.
    let mut name = normal(words);
    while name.len() > 200 {
        name.pop();
    }
    format!("{}.wav", name.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_found_by_their_names() {
        let folder = tempfile::tempdir().unwrap();
        for name in [
            "Swing-your_partner.WAV",
            "do-si-do.flac",
            "notes.txt",
            ".swing.wav",
            "!.wav",
            "circle left.wav",
            "circle-left.wav",
            "Circle Left.wav",
        ] {
            std::fs::write(folder.path().join(name), "x").unwrap();
        }
        std::fs::create_dir(folder.path().join("star.wav")).unwrap();
        let own = Own::read(folder.path()).unwrap();
        let words: Vec<&str> = own.files.keys().map(String::as_str).collect();
        assert_eq!(words, ["circle left", "do si do", "swing your partner"]);
        assert!(
            own.file("circle left")
                .unwrap()
                .ends_with("circle left.wav")
        );
        assert_eq!(own.file("star"), None);
        assert!(Own::read(&folder.path().join("none")).is_err());
    }

    #[test]
    fn a_name_leads_back_to_its_words() {
        for words in ["Robins, do-si-do!", "neighbours' swing", "a/b\\c:d"] {
            let name = file_name(words);
            let stem = name.strip_suffix(".wav").unwrap();
            assert_eq!(normal(stem), normal(words));
            assert!(!name.contains(['/', '\\', ':']));
        }
        assert!(file_name(&"long ".repeat(90)).len() <= 204);
    }
}
