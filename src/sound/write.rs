//! WAV files written whole or not at all.

use hound::{SampleFormat, WavSpec, WavWriter};
use std::fs::{File, OpenOptions};
use std::io::{self, BufWriter, ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// How samples are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Depth {
    /// 16-bit integers: every player takes them.
    Int16,
    /// 32-bit floats: nothing is rounded or clipped.
    Float32,
}

/// Why a WAV file could not be written. Each shows as one line that names the
/// file and the remedy.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The folder to write to does not exist.
    #[error("{}: its folder does not exist; make the folder first", .path.display())]
    NoFolder {
        /// The file to be written.
        path: PathBuf,
    },
    /// A folder stands where the file should go.
    #[error("{}: this is a folder; name a file to write, such as {}", .path.display(), .path.join("out.wav").display())]
    Folder {
        /// The folder.
        path: PathBuf,
    },
    /// The system forbids writing there.
    #[error("{}: writing there is not permitted; choose a folder of your own", .path.display())]
    Permission {
        /// The file to be written.
        path: PathBuf,
    },
    /// No room is left.
    #[error("{}: the disk is full; make room or write to another disk", .path.display())]
    Full {
        /// The file to be written.
        path: PathBuf,
    },
    /// What is there is something else than what is to be written, and would be lost.
    #[error("{}: another kind of file is there and would be lost; name another one", .path.display())]
    Other {
        /// The file.
        path: PathBuf,
    },
    /// A recording is there that this program did not make.
    #[error("{}: there is a recording that this program did not write, and it would be lost; name another file", .path.display())]
    Recording {
        /// The file.
        path: PathBuf,
    },
    /// A WAV file ends at 4 GiB.
    #[error("{}: a WAV file holds 4 GiB at most; write a shorter piece or 16-bit samples", .path.display())]
    TooLong {
        /// The file to be written.
        path: PathBuf,
    },
    /// Rate or channels that a WAV file does not hold.
    #[error("{}: a WAV file of {rate} Hz and {channels} channels cannot be written; use 1 to 32 channels and a rate of 1 to 768 kHz", .path.display())]
    Shape {
        /// The file to be written.
        path: PathBuf,
        /// The rate asked for, hertz.
        rate: u32,
        /// The channels asked for.
        channels: usize,
    },
    /// Anything else that the system said.
    #[error("{}: it cannot be written ({source}); check the disk it is on", .path.display())]
    Io {
        /// The file to be written.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// A WAV file in the making.
///
/// The sound goes to a temporary file beside the target, which takes the
/// target's name at [`finish`](Self::finish). Dropped before that, it is
/// removed, so a failed or stopped run leaves neither half a file nor the loss
/// of an older one.
pub struct WavOut {
    path: PathBuf,
    part: Part,
    /// The file once more, to wait until the disk has it.
    disk: Option<File>,
    signed: bool,
    writer: Option<WavWriter<BufWriter<File>>>,
    depth: Depth,
    channels: usize,
    frames: u64,
    clipped: u64,
    most: u64,
}

impl WavOut {
    /// Begins a file of `channels` samples a frame at `rate` frames a second.
    ///
    /// # Errors
    /// A [`WriteError`] that names the file and the remedy.
    pub fn create(
        path: impl AsRef<Path>,
        rate: u32,
        channels: usize,
        depth: Depth,
    ) -> Result<Self, WriteError> {
        let path = path.as_ref();
        let (bits_per_sample, sample_format) = match depth {
            Depth::Int16 => (16, SampleFormat::Int),
            Depth::Float32 => (32, SampleFormat::Float),
        };
        if !(1..=32).contains(&channels) || !(1_000..=768_000).contains(&rate) {
            let path = path.to_path_buf();
            return Err(WriteError::Shape {
                path,
                rate,
                channels,
            });
        }
        let spec = WavSpec {
            channels: channels as u16,
            sample_rate: rate,
            bits_per_sample,
            sample_format,
        };
        if path.is_dir() || path.file_name().is_none() {
            return Err(WriteError::Folder {
                path: path.to_path_buf(),
            });
        }
        let (part, file) = Part::create(path).map_err(|e| WriteError::io(path, e))?;
        let disk = Some(file.try_clone().map_err(|e| WriteError::io(path, e))?);
        let file = BufWriter::with_capacity(64 * 1024, file);
        let writer = WavWriter::new(file, spec).map_err(|e| WriteError::hound(path, e))?;
        Ok(WavOut {
            path: path.to_path_buf(),
            part,
            disk,
            signed: false,
            writer: Some(writer),
            depth,
            channels,
            frames: 0,
            clipped: 0,
            most: u64::from(u32::MAX - 1024) / (u64::from(bits_per_sample / 8) * channels as u64),
        })
    }

    /// As [`create`](Self::create), but the file is signed, and takes the place only of one
    /// that is: what this program computed it can compute again, a recording it cannot.
    ///
    /// # Errors
    /// As [`create`](Self::create); [`WriteError::Recording`].
    pub fn create_signed(
        path: impl AsRef<Path>,
        rate: u32,
        channels: usize,
        depth: Depth,
    ) -> Result<Self, WriteError> {
        let path = path.as_ref();
        if path.is_file() && !is_signed(path).map_err(|e| WriteError::io(path, e))? {
            let path = path.to_path_buf();
            return Err(WriteError::Recording { path });
        }
        let mut out = Self::create(path, rate, channels, depth)?;
        out.signed = true;
        Ok(out)
    }

    /// Appends whole interleaved frames. What is not a number is written as
    /// silence; 16-bit samples beyond ±1 are clipped and counted.
    ///
    /// # Errors
    /// [`WriteError::Full`], [`WriteError::TooLong`] or what the system says.
    pub fn write(&mut self, frames: &[f32]) -> Result<(), WriteError> {
        let Some(writer) = &mut self.writer else {
            return Ok(());
        };
        self.frames += (frames.len() / self.channels) as u64;
        if self.frames > self.most {
            let path = self.path.clone();
            return Err(WriteError::TooLong { path });
        }
        for &sample in frames {
            let sample = if sample.is_finite() { sample } else { 0.0 };
            let written = match self.depth {
                Depth::Float32 => writer.write_sample(sample),
                Depth::Int16 => {
                    self.clipped += u64::from(sample.abs() > 1.0);
                    let step = (sample * 32768.0).round().clamp(-32768.0, 32767.0);
                    writer.write_sample(step as i16)
                }
            };
            written.map_err(|e| WriteError::hound(&self.path, e))?;
        }
        Ok(())
    }

    /// Frames written so far.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// How many samples were beyond full scale and had to be clipped.
    pub fn clipped(&self) -> u64 {
        self.clipped
    }

    /// Completes the file and gives it its name, in place of any older one.
    ///
    /// # Errors
    /// As [`write`](Self::write); the temporary file is then removed.
    pub fn finish(mut self) -> Result<(), WriteError> {
        if let Some(writer) = self.writer.take() {
            writer
                .finalize()
                .map_err(|e| WriteError::hound(&self.path, e))?;
        }
        // Windows renames no file that is open.
        if let Some(mut disk) = self.disk.take() {
            let done = match self.signed {
                true => sign(&mut disk),
                false => Ok(()),
            };
            done.and_then(|()| disk.sync_all())
                .map_err(|e| WriteError::io(&self.path, e))?;
        }
        self.part
            .keep_as(&self.path)
            .map_err(|e| WriteError::io(&self.path, e))
    }
}

impl Drop for WavOut {
    fn drop(&mut self) {
        // Windows removes no file that is still open: close it before `part`
        // is dropped.
        self.writer = None;
        self.disk = None;
    }
}

/// A signature: the chunk of a WAV file that names the software it was made with (RIFF
/// "LIST INFO", item ISFT: Multimedia Programming Interface and Data Specifications 1.0,
/// IBM and Microsoft, 1991).
const SIGNATURE: &[u8; 30] = b"LIST\x16\0\0\0INFOISFT\x0a\0\0\0eightclap\0";

/// Adds the signature to a finished WAV file.
fn sign(file: &mut File) -> io::Result<()> {
    let end = file.seek(SeekFrom::End(0))?;
    // The chunk before may have an odd length.
    let pad = end % 2;
    file.write_all(&[0][..pad as usize])?;
    file.write_all(SIGNATURE)?;
    let whole = u32::try_from(end + pad + SIGNATURE.len() as u64 - 8);
    file.seek(SeekFrom::Start(4))?;
    file.write_all(&whole.map_err(io::Error::other)?.to_le_bytes())
}

/// Whether a file ends with the signature.
fn is_signed(path: &Path) -> io::Result<bool> {
    let mut file = File::open(path)?;
    let mut end = [0; SIGNATURE.len()];
    let there = file.seek(SeekFrom::End(0))? >= end.len() as u64;
    if there {
        file.seek(SeekFrom::End(-(end.len() as i64)))?;
        file.read_exact(&mut end)?;
    }
    Ok(there && end == *SIGNATURE)
}

/// Whether what is in the file `path` begins otherwise than `text`: then it is something
/// else, such as the card of which a page was to be made. Nothing is like anything.
pub fn is_other(path: &Path, text: &[u8]) -> bool {
    let (mut there, few) = ([0; 6], text.len().min(6));
    let read = File::open(path).and_then(|mut file| file.read(&mut there[..few]));
    path.is_file() && read.is_ok_and(|read| there[..read] != text[..read])
}

/// Writes a small file whole or not at all, in place of an older one of its kind.
///
/// # Errors
/// A [`WriteError`] that names the file and the remedy.
pub fn whole(path: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    if is_other(path, bytes) {
        let path = path.to_path_buf();
        return Err(WriteError::Other { path });
    }
    let failed = |e| WriteError::io(path, e);
    let (mut part, mut file) = Part::create(path).map_err(failed)?;
    let written = file.write_all(bytes).and_then(|()| file.sync_all());
    // Windows renames and removes no file that is open.
    drop(file);
    written.and_then(|()| part.keep_as(path)).map_err(failed)
}

/// A temporary file that is removed unless it is kept.
struct Part {
    path: Option<PathBuf>,
}

impl Part {
    fn create(target: &Path) -> io::Result<(Part, File)> {
        let name = target.file_name().unwrap_or_default().to_string_lossy();
        for n in 0..100 {
            let hidden = format!(".{name}.{}-{n}.part", std::process::id());
            let path = target.with_file_name(hidden);
            match OpenOptions::new().write(true).create_new(true).open(&path) {
                Ok(file) => return Ok((Part { path: Some(path) }, file)),
                Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
                Err(e) => return Err(e),
            }
        }
        Err(ErrorKind::AlreadyExists.into())
    }

    fn keep_as(&mut self, target: &Path) -> io::Result<()> {
        if let Some(path) = &self.path {
            std::fs::rename(path, target)?;
        }
        self.path = None;
        Ok(())
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        if let Some(path) = &self.path {
            let _ = std::fs::remove_file(path);
        }
    }
}

impl WriteError {
    fn io(path: &Path, source: io::Error) -> Self {
        let path = path.to_path_buf();
        match source.kind() {
            ErrorKind::NotFound | ErrorKind::NotADirectory => WriteError::NoFolder { path },
            ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
                WriteError::Permission { path }
            }
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => WriteError::Full { path },
            ErrorKind::IsADirectory => WriteError::Folder { path },
            ErrorKind::FileTooLarge => WriteError::TooLong { path },
            _ => WriteError::Io { path, source },
        }
    }

    fn hound(path: &Path, error: hound::Error) -> Self {
        match error {
            hound::Error::IoError(e) => WriteError::io(path, e),
            e => WriteError::Io {
                path: path.to_path_buf(),
                source: io::Error::other(e.to_string()),
            },
        }
    }
}

#[cfg(test)]
mod tests;
