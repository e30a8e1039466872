//! WAV through `hound`, with lengths taken from the file rather than believed.

use super::{FileError, Kind, Layout, Trouble, check_layout, read_up_to};
use hound::{SampleFormat, WavReader, WavSpec};
use std::fs::File;
use std::io::{BufReader, Chain, Cursor, ErrorKind, Read, Seek};
use std::path::Path;

type Source = Chain<Cursor<Vec<u8>>, BufReader<File>>;

/// A WAV file being read.
pub(super) struct Wav {
    reader: WavReader<Source>,
    format: SampleFormat,
    /// What one step of an integer sample is worth.
    step: f32,
    channels: usize,
    frames_left: u64,
    trouble: Trouble,
}

impl Wav {
    /// Opens a WAV file if it is one of the kinds that `hound` reads, and
    /// returns `None` for any other.
    pub(super) fn open(
        path: &Path,
        file: &File,
        len: u64,
    ) -> Result<Option<(Wav, Layout)>, FileError> {
        let fail = |e| FileError::io(path, e);
        let mut source = BufReader::with_capacity(64 * 1024, file.try_clone().map_err(fail)?);
        if hound::read_wave_header(&mut source).is_err() {
            return Ok(None);
        }
        let Some((format, claimed)) = find_data(&mut source).map_err(fail)? else {
            return Ok(None);
        };
        let channels = usize::from(format.channels());
        check_layout(path, format.rate(), channels)?;
        let start = source.stream_position().map_err(fail)?;
        let there = len.saturating_sub(start);
        let block = u64::from(format.block().max(1));
        let (bytes, cut) = usable(claimed, there, block, &mut source).map_err(fail)?;
        let frames = bytes / block;
        // Asked before the length, so that what is too wide for `hound` goes
        // on to the other decoder with its length unjudged.
        let header = Cursor::new(format.header(bytes as u32));
        let Ok(reader) = WavReader::new(header.chain(source)) else {
            return Ok(None);
        };
        let spec = reader.spec();
        if !readable(&spec, format.block() / format.channels()) {
            return Ok(None);
        }
        if frames == 0 {
            let (path, kind) = (path.to_path_buf(), Kind::Wav.to_string());
            return Err(match claimed {
                0 => FileError::NoSamples { path, kind },
                _ => FileError::Damaged {
                    path,
                    kind,
                    why: "it ends before its first sample".to_string(),
                },
            });
        }
        let layout = Layout {
            rate: spec.sample_rate,
            channels,
            frames: Some(frames),
        };
        let wav = Wav {
            reader,
            format: spec.sample_format,
            step: 1.0 / (1u64 << (spec.bits_per_sample - 1)) as f32,
            channels,
            frames_left: frames,
            trouble: Trouble { damaged: 0, cut },
        };
        Ok(Some((wav, layout)))
    }

    /// Appends up to `frames` frames to `out`, which must be empty.
    pub(super) fn read(
        &mut self,
        path: &Path,
        frames: usize,
        out: &mut Vec<f32>,
    ) -> Result<(), FileError> {
        let frames = self.frames_left.min(frames as u64);
        let wanted = frames as usize * self.channels;
        let mut failed = None;
        match self.format {
            SampleFormat::Float => {
                take(
                    self.reader.samples::<f32>(),
                    wanted,
                    |s| s,
                    out,
                    &mut failed,
                );
            }
            SampleFormat::Int => {
                let step = self.step;
                let scale = |s: i32| s as f32 * step;
                take(
                    self.reader.samples::<i32>(),
                    wanted,
                    scale,
                    out,
                    &mut failed,
                );
            }
        }
        out.truncate(out.len() / self.channels * self.channels);
        self.frames_left -= frames;
        match failed {
            None => {}
            Some(hound::Error::IoError(e)) if e.kind() != ErrorKind::Other => {
                return Err(FileError::io(path, e));
            }
            // The file shrank while it was being read.
            Some(_) => {
                self.frames_left = 0;
                self.trouble.cut = Some("the file ends before its time".to_string());
            }
        }
        Ok(())
    }

    pub(super) fn trouble(&self) -> &Trouble {
        &self.trouble
    }
}

fn take<S>(
    samples: impl Iterator<Item = hound::Result<S>>,
    wanted: usize,
    scale: impl Fn(S) -> f32,
    out: &mut Vec<f32>,
    failed: &mut Option<hound::Error>,
) {
    out.reserve(wanted);
    for sample in samples.take(wanted) {
        match sample {
            Ok(s) => out.push(scale(s)),
            Err(e) => {
                *failed = Some(e);
                return;
            }
        }
    }
}

/// Whether `hound` decodes samples of `bytes` bytes (hound 3.5.1,
/// `Sample::read`).
fn readable(spec: &WavSpec, bytes: u16) -> bool {
    let widths = (bytes, spec.bits_per_sample);
    match spec.sample_format {
        SampleFormat::Int => matches!(widths, (1, 8) | (2, 16) | (3, 24) | (4, 24) | (4, 32)),
        SampleFormat::Float => widths == (4, 32),
    }
}

/// The content of a `fmt ` chunk, for `hound` to read again.
struct Format(Vec<u8>);

impl Format {
    fn u16_at(&self, at: usize) -> u16 {
        u16::from_le_bytes([self.0[at], self.0[at + 1]])
    }

    fn channels(&self) -> u16 {
        self.u16_at(2)
    }

    fn rate(&self) -> u32 {
        u32::from(self.u16_at(4)) | u32::from(self.u16_at(6)) << 16
    }

    /// Bytes in a frame.
    fn block(&self) -> u16 {
        self.u16_at(12)
    }

    /// A WAV header with this format and `bytes` of sound to follow: put in
    /// place of the file's own, it lets `hound` read files whose stated length
    /// is wrong.
    fn header(&self, bytes: u32) -> Vec<u8> {
        let mut header = Vec::with_capacity(28 + self.0.len());
        header.extend_from_slice(b"RIFF\0\0\0\0WAVEfmt ");
        header.extend_from_slice(&(self.0.len() as u32).to_le_bytes());
        header.extend_from_slice(&self.0);
        header.extend_from_slice(b"data");
        header.extend_from_slice(&bytes.to_le_bytes());
        header
    }
}

/// Walks the chunks up to the sound, which begins where the reader then
/// stands, and returns its format and stated length in bytes. `None` if there
/// is no such chunk or no format that makes sense.
fn find_data(source: &mut BufReader<File>) -> std::io::Result<Option<(Format, u32)>> {
    // The longest that `hound` reads is WAVE_FORMAT_EXTENSIBLE with 40 bytes.
    const FORMATS: std::ops::RangeInclusive<u32> = 16..=40;
    let mut format = None;
    loop {
        let mut head = [0u8; 8];
        if read_up_to(source, &mut head)? < head.len() {
            return Ok(None);
        }
        let len = u32::from_le_bytes([head[4], head[5], head[6], head[7]]);
        match &head[..4] {
            b"data" => return Ok(format.map(|format| (format, len))),
            b"fmt " if FORMATS.contains(&len) => {
                let mut bytes = vec![0; len as usize];
                if read_up_to(source, &mut bytes)? < bytes.len() {
                    return Ok(None);
                }
                format = Some(Format(bytes));
            }
            b"fmt " => return Ok(None),
            // Chunks are padded to an even length.
            _ => source.seek_relative(i64::from(len) + i64::from(len & 1))?,
        }
    }
}

/// How many bytes of sound to read, whole frames only, and what is wrong with
/// the length in the header.
///
/// Recorders that were switched off mid-way leave a length of 0 behind, and
/// programs that write to a pipe leave the greatest there is: both mean "to
/// the end of the file".
fn usable(
    claimed: u32,
    there: u64,
    block: u64,
    source: &mut BufReader<File>,
) -> std::io::Result<(u64, Option<String>)> {
    use std::io::BufRead;
    let most = u64::from(u32::MAX) / block * block;
    let whole = |bytes: u64| (bytes / block * block).min(most);
    if claimed == 0 {
        let next = source.fill_buf()?;
        let chunk_follows =
            next.len() < 8 || next[..4].iter().all(|b| b.is_ascii_graphic() || *b == b' ');
        if chunk_follows {
            return Ok((0, None));
        }
        let why = "its header was never finished; all that was recorded is played";
        return Ok((whole(there), Some(why.to_string())));
    }
    if claimed >= u32::MAX - 0xffff || u64::from(claimed) <= there {
        return Ok((whole(there.min(u64::from(claimed))), None));
    }
    let share = there as f64 / f64::from(claimed) * 100.0;
    let why = format!("the file is cut short; the {share:.0} % of it that is there is played");
    Ok((whole(there), Some(why)))
}
