//! Recordings, read a block at a time in constant memory.
//!
//! WAV files are read by `hound`; everything else (MP3, FLAC, OGG Vorbis,
//! M4A/AAC, AIFF and the rarer kinds of WAV) by `symphonia`. The choice falls
//! on the file's first bytes, so a wrong extension does no harm.

mod error;
mod find;
mod kind;
mod packed;
mod priming;
mod shield;
mod track;
mod wav;

pub use error::FileError;
pub use find::{EXTENSIONS, find};
pub use kind::Kind;

use std::fs::File;
use std::io::{ErrorKind, Read, Seek};
use std::path::{Path, PathBuf};

/// The sample rates accepted, in hertz. Outside them a header is taken for
/// damage: no recorder or player works there.
pub const RATES: std::ops::RangeInclusive<u32> = 4_000..=768_000;

/// The most channels accepted in one recording.
pub const MAX_CHANNELS: usize = 32;

/// Frames asked of a decoder at a time.
const BLOCK: usize = 4096;

/// A sound file, opened and ready to be read from its start.
///
/// ```no_run
/// use eightclap::sound::file::Recording;
/// # fn main() -> Result<(), eightclap::sound::file::FileError> {
/// let mut tune = Recording::open("reel.mp3")?;
/// let mut block = Vec::new();
/// while tune.read_mono(&mut block)? > 0 {
///     // `block` holds the next samples at `tune.sample_rate()`.
/// }
/// if let Some(warning) = tune.warning() {
///     eprintln!("{warning}");
/// }
/// # Ok(())
/// # }
/// ```
pub struct Recording {
    path: PathBuf,
    kind: Kind,
    decoder: Decoder,
    layout: Layout,
    heard: u64,
    repaired: u64,
    block: Vec<f32>,
}

/// What a header says of the sound behind it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Layout {
    rate: u32,
    channels: usize,
    frames: Option<u64>,
}

enum Decoder {
    Wav(wav::Wav),
    Packed(Box<packed::Packed>),
}

/// What went wrong on the way without stopping the sound.
#[derive(Debug, Default)]
struct Trouble {
    /// Pieces that could not be decoded; silence of the same length stands in.
    damaged: u64,
    /// Why the sound ended before its time.
    cut: Option<String>,
}

impl Recording {
    /// Opens a recording and decodes its first piece.
    ///
    /// # Errors
    /// A [`FileError`] that names the file and the remedy: no such file, a
    /// folder, no permission, empty, not sound, no samples in it, damaged past
    /// use, or of a kind that cannot be decoded.
    pub fn open(path: impl AsRef<Path>) -> Result<Self, FileError> {
        let path = path.as_ref();
        let (mut file, len) = open_regular(path)?;
        let kind = Kind::of(&mut file).map_err(|e| FileError::io(path, e))?;
        file.rewind().map_err(|e| FileError::io(path, e))?;

        if kind == Kind::Wav
            && let Some((wav, layout)) = wav::Wav::open(path, &file, len)?
        {
            return Ok(Self::new(path, kind, Decoder::Wav(wav), layout));
        }
        file.rewind().map_err(|e| FileError::io(path, e))?;
        let (packed, layout) = packed::Packed::open(path, file, kind)?;
        let decoder = Decoder::Packed(Box::new(packed));
        Ok(Self::new(path, kind, decoder, layout))
    }

    fn new(path: &Path, kind: Kind, decoder: Decoder, layout: Layout) -> Self {
        Recording {
            path: path.to_path_buf(),
            kind,
            decoder,
            layout,
            heard: 0,
            repaired: 0,
            block: Vec::new(),
        }
    }

    /// The file this was opened from.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The kind of file, by its content.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// Frames a second.
    pub fn sample_rate(&self) -> u32 {
        self.layout.rate
    }

    /// Samples in a frame.
    pub fn channels(&self) -> usize {
        self.layout.channels
    }

    /// How many frames the header promises, where it says so. For an MP3
    /// without a length in it this is an estimate from its size.
    pub fn frames(&self) -> Option<u64> {
        self.layout.frames
    }

    /// Length in seconds by [`frames`](Self::frames), where that is known.
    pub fn seconds(&self) -> Option<f64> {
        self.frames()
            .map(|n| n as f64 / f64::from(self.sample_rate()))
    }

    /// Frames read so far.
    pub fn position(&self) -> u64 {
        self.heard
    }

    /// Replaces `out` with the next frames, interleaved, and returns how many
    /// frames that is: some thousands at most, 0 at the end.
    ///
    /// Samples that are not numbers become silence and are counted in
    /// [`repaired`](Self::repaired). A piece that cannot be decoded becomes
    /// silence of its length, so that everything after it keeps its time.
    ///
    /// # Errors
    /// [`FileError::Io`] if the disk fails.
    pub fn read(&mut self, out: &mut Vec<f32>) -> Result<usize, FileError> {
        out.clear();
        match &mut self.decoder {
            Decoder::Wav(wav) => wav.read(&self.path, BLOCK, out)?,
            Decoder::Packed(packed) => packed.read(&self.path, out)?,
        }
        for sample in out.iter_mut() {
            if !sample.is_finite() {
                *sample = 0.0;
                self.repaired += 1;
            }
        }
        let frames = out.len() / self.layout.channels;
        self.heard += frames as u64;
        Ok(frames)
    }

    /// Like [`read`](Self::read), with each frame's channels averaged into one
    /// sample.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn read_mono(&mut self, out: &mut Vec<f32>) -> Result<usize, FileError> {
        let mut block = std::mem::take(&mut self.block);
        let read = self.read(&mut block);
        out.clear();
        mix_to_mono(&block, self.layout.channels, out);
        self.block = block;
        read
    }

    /// How many samples so far were not numbers and were played as silence.
    pub fn repaired(&self) -> u64 {
        self.repaired
    }

    /// What is wrong with the recording, as one line that names it, as far as
    /// it has been read; `None` while nothing is.
    pub fn warning(&self) -> Option<String> {
        let trouble = match &self.decoder {
            Decoder::Wav(wav) => wav.trouble(),
            Decoder::Packed(packed) => packed.trouble(),
        };
        let mut parts = Vec::new();
        if let Some(cut) = &trouble.cut {
            parts.push(cut.clone());
        }
        if trouble.damaged > 0 {
            parts.push(format!(
                "{} damaged {} played as silence",
                trouble.damaged,
                plural(trouble.damaged, "piece"),
            ));
        }
        if self.repaired > 0 {
            parts.push(format!(
                "{} {} no number and played as silence",
                self.repaired,
                if self.repaired == 1 {
                    "sample is"
                } else {
                    "samples are"
                },
            ));
        }
        if parts.is_empty() {
            return None;
        }
        Some(format!("{}: {}", self.path.display(), parts.join("; ")))
    }
}

impl std::fmt::Debug for Recording {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Recording")
            .field("path", &self.path)
            .field("kind", &self.kind)
            .field("layout", &self.layout)
            .field("heard", &self.heard)
            .finish_non_exhaustive()
    }
}

/// Reads a whole recording into memory: frames a second, and mono samples. For
/// tests and benches; the program itself reads piece by piece.
///
/// # Errors
/// As [`Recording::open`] and [`Recording::read`].
pub fn load_mono(path: impl AsRef<Path>) -> Result<(u32, Vec<f32>), FileError> {
    let mut recording = Recording::open(path)?;
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while recording.read_mono(&mut block)? > 0 {
        all.extend_from_slice(&block);
    }
    Ok((recording.sample_rate(), all))
}

/// Appends the average of each frame's `channels` samples to `out`. Samples
/// past the last whole frame are ignored.
pub fn mix_to_mono(frames: &[f32], channels: usize, out: &mut Vec<f32>) {
    match channels {
        0 => {}
        1 => out.extend_from_slice(frames),
        _ => {
            let share = 1.0 / channels as f32;
            out.extend(
                frames
                    .chunks_exact(channels)
                    .map(|frame| frame.iter().sum::<f32>() * share),
            );
        }
    }
}

fn plural(n: u64, word: &str) -> String {
    if n == 1 {
        word.to_string()
    } else {
        format!("{word}s")
    }
}

/// Opens a file for reading and checks that it is a file with something in it.
fn open_regular(path: &Path) -> Result<(File, u64), FileError> {
    let meta = std::fs::metadata(path).map_err(|e| FileError::io(path, e))?;
    let path_buf = || path.to_path_buf();
    if meta.is_dir() {
        return Err(FileError::Folder { path: path_buf() });
    }
    if !meta.is_file() {
        return Err(FileError::NotAFile { path: path_buf() });
    }
    let file = File::open(path).map_err(|e| FileError::io(path, e))?;
    if meta.len() == 0 {
        return Err(FileError::Empty { path: path_buf() });
    }
    Ok((file, meta.len()))
}

/// Fills `buf` as far as the file goes and returns how far that was.
fn read_up_to(from: &mut impl Read, buf: &mut [u8]) -> std::io::Result<usize> {
    let mut n = 0;
    while n < buf.len() {
        match from.read(&mut buf[n..]) {
            Ok(0) => break,
            Ok(k) => n += k,
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(n)
}

/// Refuses rates and channel counts that can only be damage.
fn check_layout(path: &Path, rate: u32, channels: usize) -> Result<(), FileError> {
    let what = if !RATES.contains(&rate) {
        format!("a sample rate of {rate} Hz")
    } else if channels == 0 || channels > MAX_CHANNELS {
        format!("{channels} channels")
    } else {
        return Ok(());
    };
    Err(FileError::Absurd {
        path: path.to_path_buf(),
        what,
    })
}
