//! What can be wrong with a sound file, and what to do about it.

use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// Why a recording could not be opened or read. Each shows as one line that
/// names the file and the remedy.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// Nothing is there.
    #[error("{}: there is no such file; check its name and folder", .path.display())]
    Missing {
        /// The file asked for.
        path: PathBuf,
    },
    /// A folder stands where one file was asked for.
    #[error("{}: this is a folder; name one sound file in it", .path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
    },
    /// Neither a file nor a folder: a pipe, a socket, a device.
    #[error("{}: this is not a plain file; save the sound to a file first", .path.display())]
    NotAFile {
        /// What was asked for.
        path: PathBuf,
    },
    /// The system forbids reading it.
    #[error("{}: reading it is not permitted; give yourself read permission or copy it to a folder of your own", .path.display())]
    Permission {
        /// The file.
        path: PathBuf,
    },
    /// The file has no bytes.
    #[error("{}: the file is empty (0 bytes); copy or record it again", .path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// Its content is no sound that the program knows.
    #[error("{}: this is not a sound file; use WAV, MP3, FLAC, OGG, M4A, AAC or AIFF", .path.display())]
    NotSound {
        /// The file.
        path: PathBuf,
    },
    /// A whole header, and not one sample behind it.
    #[error("{}: there is no sound in this {kind} file (0 samples); record or export it again", .path.display())]
    NoSamples {
        /// The file.
        path: PathBuf,
        /// Its kind by content.
        kind: String,
    },
    /// A known container with something in it that cannot be decoded.
    #[error("{}: this kind of {kind} file cannot be read ({why}); convert it to WAV or FLAC", .path.display())]
    Unsupported {
        /// The file.
        path: PathBuf,
        /// Its kind by content.
        kind: String,
        /// What is not supported.
        why: String,
    },
    /// Broken past use.
    #[error("{}: this {kind} file is damaged or cut short ({why}); copy or export it again", .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Its kind by content.
        kind: String,
        /// What is wrong.
        why: String,
    },
    /// A header that says what no recording has.
    #[error("{}: its header claims {what}, so it must be damaged; export it again with 8000 to 192000 Hz and 1 to 8 channels", .path.display())]
    Absurd {
        /// The file.
        path: PathBuf,
        /// The claim.
        what: String,
    },
    /// A folder without a single sound file.
    #[error("{}: there is no sound file in this folder (looked for .{})", .path.display(), super::EXTENSIONS.join(", ."))]
    NothingIn {
        /// The folder.
        path: PathBuf,
    },
    /// The system could not read it.
    #[error("{}: it cannot be read ({source}); check the disk or drive it is on", .path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

impl FileError {
    /// The right variant for what the system said about `path`.
    pub(super) fn io(path: &Path, source: io::Error) -> Self {
        let path = path.to_path_buf();
        match source.kind() {
            ErrorKind::NotFound | ErrorKind::NotADirectory => FileError::Missing { path },
            ErrorKind::PermissionDenied => FileError::Permission { path },
            ErrorKind::IsADirectory => FileError::Folder { path },
            _ => FileError::Io { path, source },
        }
    }
}
