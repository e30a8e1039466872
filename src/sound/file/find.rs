//! Turning a list of files and folders into a list of files.

use super::FileError;
use std::path::{Path, PathBuf};

/// The extensions by which sound files are found in folders. (A file that is
/// named outright may have any.)
pub const EXTENSIONS: [&str; 9] = [
    "wav", "flac", "mp3", "ogg", "oga", "m4a", "aac", "aif", "aiff",
];

/// How deep folders are searched: a stop for folders that contain themselves.
const DEEPEST: usize = 32;

/// Lists the files named by `paths`: a file stands for itself, whatever its
/// name; a folder for all sound files in it and below it, in alphabetical
/// order. Hidden files and folders are passed over.
///
/// # Errors
/// [`FileError::NothingIn`] for a folder without a sound file; otherwise as
/// for opening a file.
pub fn find<P: AsRef<Path>>(paths: &[P]) -> Result<Vec<PathBuf>, FileError> {
    let mut found = Vec::new();
    for path in paths {
        let path = path.as_ref();
        let meta = std::fs::metadata(path).map_err(|e| FileError::io(path, e))?;
        if !meta.is_dir() {
            found.push(path.to_path_buf());
            continue;
        }
        let before = found.len();
        search(path, DEEPEST, &mut found)?;
        if found.len() == before {
            return Err(FileError::NothingIn {
                path: path.to_path_buf(),
            });
        }
    }
    Ok(found)
}

fn search(folder: &Path, deeper: usize, found: &mut Vec<PathBuf>) -> Result<(), FileError> {
    let fail = |e| FileError::io(folder, e);
    let mut entries = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(fail)? {
        let entry = entry.map_err(fail)?;
        if !entry.file_name().to_string_lossy().starts_with('.') {
            entries.push(entry.path());
        }
    }
    entries.sort();
    for path in entries {
        // A dangling link has no metadata; it is no sound file either.
        let Ok(meta) = std::fs::metadata(&path) else {
            continue;
        };
        if meta.is_dir() {
            let linked = std::fs::symlink_metadata(&path).is_ok_and(|m| m.is_symlink());
            if deeper > 0 && !linked {
                search(&path, deeper - 1, found)?;
            }
        } else if has_sound_extension(&path) {
            found.push(path);
        }
    }
    Ok(())
}

fn has_sound_extension(path: &Path) -> bool {
    path.extension()
        .and_then(|e| e.to_str())
        .is_some_and(|e| EXTENSIONS.iter().any(|known| e.eq_ignore_ascii_case(known)))
}
