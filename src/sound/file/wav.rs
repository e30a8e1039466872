//! WAV whose header `hound` reads, with lengths taken from the file rather than believed.
//!
//! Samples are taken out of whole blocks of bytes here: `hound` gives them one by one,
//! which took as long as hearing them (DEVELOPERS.md).

use super::{FileError, Kind, Layout, Trouble, check_layout, read_up_to};
use hound::{SampleFormat, WavReader, WavSpec};
use std::fs::File;
use std::io::{BufReader, Cursor, Read, Seek};
use std::path::Path;

/// A WAV file being read.
pub(super) struct Wav {
    /// It stands where the next sample begins.
    source: BufReader<File>,
    width: Width,
    bytes: Vec<u8>,
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
        let Ok(reader) = WavReader::new(header.chain(&mut source)) else {
            return Ok(None);
        };
        let spec = reader.spec();
        let Some(width) = Width::of(&spec, format.block() / format.channels()) else {
            return Ok(None);
        };
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
            source,
            width,
            bytes: Vec::new(),
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
        let frame = self.width.bytes() * self.channels;
        self.bytes.resize(frames as usize * frame, 0);
        let read =
            read_up_to(&mut self.source, &mut self.bytes).map_err(|e| FileError::io(path, e))?;
        self.width.samples(&self.bytes[..read / frame * frame], out);
        self.frames_left -= frames;
        if read < self.bytes.len() {
            // The file shrank while it was being read.
            self.frames_left = 0;
            self.trouble.cut = Some("the file ends before its time".to_string());
        }
        Ok(())
    }

    pub(super) fn trouble(&self) -> &Trouble {
        &self.trouble
    }
}

/// How a sample stands in a file, in little-endian bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Width {
    /// Eight bits, unsigned, 128 for silence.
    Byte,
    Int16,
    Int24,
    /// 24 bits in four bytes, of which the last does not count.
    Int24In32,
    Int32,
    Float32,
}

impl Width {
    /// The widths that `hound` tells apart (hound 3.5.1, `Sample::read`), in samples of
    /// so many `bytes`; none for any other.
    fn of(spec: &WavSpec, bytes: u16) -> Option<Self> {
        match (spec.sample_format, bytes, spec.bits_per_sample) {
            (SampleFormat::Int, 1, 8) => Some(Width::Byte),
            (SampleFormat::Int, 2, 16) => Some(Width::Int16),
            (SampleFormat::Int, 3, 24) => Some(Width::Int24),
            (SampleFormat::Int, 4, 24) => Some(Width::Int24In32),
            (SampleFormat::Int, 4, 32) => Some(Width::Int32),
            (SampleFormat::Float, 4, 32) => Some(Width::Float32),
            _ => None,
        }
    }

    fn bytes(self) -> usize {
        match self {
            Width::Byte => 1,
            Width::Int16 => 2,
            Width::Int24 => 3,
            Width::Int24In32 | Width::Int32 | Width::Float32 => 4,
        }
    }

    /// Appends the samples in `bytes` to `out`, full scale 1.
    fn samples(self, bytes: &[u8], out: &mut Vec<f32>) {
        fn each<const N: usize>(bytes: &[u8], out: &mut Vec<f32>, sample: impl Fn([u8; N]) -> f32) {
            out.extend(bytes.as_chunks::<N>().0.iter().map(|bytes| sample(*bytes)));
        }
        /// A sample of 24 bits, from the upper three bytes of an integer.
        fn of_24(upper: i32) -> f32 {
            (upper >> 8) as f32 / (1 << 23) as f32
        }
        match self {
            Width::Byte => each(bytes, out, |[b]| (f32::from(b) - 128.0) / 128.0),
            Width::Int16 => each(bytes, out, |b| {
                f32::from(i16::from_le_bytes(b)) / f32::from(1u16 << 15)
            }),
            Width::Int24 => each(bytes, out, |[a, b, c]| {
                of_24(i32::from_le_bytes([0, a, b, c]))
            }),
            Width::Int24In32 => each(bytes, out, |[a, b, c, _]| {
                of_24(i32::from_le_bytes([0, a, b, c]))
            }),
            Width::Int32 => each(bytes, out, |b| {
                i32::from_le_bytes(b) as f32 / (1u32 << 31) as f32
            }),
            Width::Float32 => each(bytes, out, f32::from_le_bytes),
        }
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

#[cfg(test)]
mod tests {
    use super::*;
    use hound::{Sample, WavSpecEx, WavWriter};

    /// `samples` as `hound` writes them, read by `hound` and from its bytes.
    fn read<S: Sample + Copy>(
        samples: &[S],
        bits: u16,
        bytes_per_sample: u16,
        sample_format: SampleFormat,
        full: f32,
        value: impl Fn(S) -> f32,
    ) -> (Vec<f32>, Vec<f32>) {
        let spec = WavSpec {
            channels: 1,
            sample_rate: 8_000,
            bits_per_sample: bits,
            sample_format,
        };
        let mut file = Vec::new();
        let with_width = WavSpecEx {
            spec,
            bytes_per_sample,
        };
        let mut writer =
            WavWriter::new_with_spec_ex(Cursor::new(&mut file), with_width).expect("a format");
        for sample in samples {
            writer.write_sample(*sample).expect("a sample");
        }
        writer.finalize().expect("an end");
        let mut reader = WavReader::new(&file[..]).expect("a header");
        let theirs = reader.samples().map(|s| value(s.expect("a sample")) / full);
        let theirs = theirs.collect();
        let mut ours = Vec::new();
        let data = &file[file.len() - samples.len() * usize::from(bytes_per_sample)..];
        let width = Width::of(&spec, bytes_per_sample).expect("a width");
        width.samples(data, &mut ours);
        (ours, theirs)
    }

    #[test]
    fn samples_of_every_width_are_those_that_hound_gives_one_by_one() {
        for (bits, bytes) in [(8, 1), (16, 2), (24, 3), (24, 4), (32, 4)] {
            let most = ((1u64 << (bits - 1)) - 1) as i32;
            let samples = [0, 1, -1, most / 3, -most / 5, most, -most, -most - 1];
            let full = (1u64 << (bits - 1)) as f32;
            let (ours, theirs) = read(&samples, bits, bytes, SampleFormat::Int, full, |s: i32| {
                s as f32
            });
            assert_eq!(ours, theirs, "{bits} bits in {bytes} bytes");
        }
        let samples = [0.0, -0.0, 1.0, -0.25, 1e-30, 3.5];
        let (ours, theirs) = read(&samples, 32, 4, SampleFormat::Float, 1.0, |s: f32| s);
        assert_eq!(ours, theirs);
    }
}
