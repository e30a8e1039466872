//! What a file is, by its first bytes.

use super::read_up_to;
use std::fmt;
use std::io::{self, Read, Seek, SeekFrom};

/// A kind of sound file, told from its content and never from its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// RIFF/WAVE.
    Wav,
    /// AIFF or AIFF-C.
    Aiff,
    /// Native FLAC.
    Flac,
    /// An Ogg container (Vorbis or FLAC).
    Ogg,
    /// MPEG-4 audio (`.m4a`).
    M4a,
    /// MPEG audio layer III.
    Mp3,
    /// A bare AAC stream (ADTS).
    Aac,
    /// None of these at its first byte; perhaps a stream with junk before it.
    Unknown,
}

impl Kind {
    /// Looks at the start of `file`, skipping an ID3v2 tag, and leaves the
    /// reading position anywhere.
    pub(super) fn of(file: &mut (impl Read + Seek)) -> io::Result<Kind> {
        let mut head = [0u8; 12];
        let n = read_up_to(file, &mut head)?;
        if n < 10 || &head[..3] != b"ID3" {
            return Ok(Kind::of_bytes(&head[..n]));
        }
        // ID3v2.4.0 structure, 3.1: four bytes of seven bits give the length
        // after the ten-byte header.
        let len = head[6..10]
            .iter()
            .fold(0u64, |n, b| (n << 7) | u64::from(b & 0x7f));
        file.seek(SeekFrom::Start(10 + len))?;
        let n = read_up_to(file, &mut head)?;
        Ok(match Kind::of_bytes(&head[..n]) {
            // Padding after a tag, or an odd length in it: nearly always MP3.
            Kind::Unknown => Kind::Mp3,
            kind => kind,
        })
    }

    fn of_bytes(head: &[u8]) -> Kind {
        match head {
            [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'A', b'V', b'E'] => Kind::Wav,
            [
                b'F',
                b'O',
                b'R',
                b'M',
                _,
                _,
                _,
                _,
                b'A',
                b'I',
                b'F',
                b'F' | b'C',
            ] => Kind::Aiff,
            [b'f', b'L', b'a', b'C', ..] => Kind::Flac,
            [b'O', b'g', b'g', b'S', ..] => Kind::Ogg,
            [_, _, _, _, b'f', b't', b'y', b'p', ..] => Kind::M4a,
            // ISO/IEC 13818-7, 6.2: twelve ones, an ID bit, layer 00.
            [0xff, b, ..] if b & 0xf6 == 0xf0 => Kind::Aac,
            // ISO/IEC 11172-3, 2.4.1.3: eleven ones, then layer III = 01 and a
            // version, a bit rate and a sampling frequency that exist.
            [0xff, b, c, ..]
                if b & 0xe6 == 0xe2 && b & 0x18 != 0x08 && c & 0xf0 != 0xf0 && c & 0x0c != 0x0c =>
            {
                Kind::Mp3
            }
            _ => Kind::Unknown,
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Kind::Wav => "WAV",
            Kind::Aiff => "AIFF",
            Kind::Flac => "FLAC",
            Kind::Ogg => "OGG",
            Kind::M4a => "M4A",
            Kind::Mp3 => "MP3",
            Kind::Aac => "AAC",
            Kind::Unknown => "sound",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn kind(bytes: &[u8]) -> Kind {
        Kind::of(&mut Cursor::new(bytes)).unwrap()
    }

    #[test]
    fn knows_the_usual_first_bytes() {
        assert_eq!(kind(b"RIFF\0\0\0\0WAVEfmt "), Kind::Wav);
        assert_eq!(kind(b"FORM\0\0\0\0AIFC"), Kind::Aiff);
        assert_eq!(kind(b"fLaC\0\0\0\x22"), Kind::Flac);
        assert_eq!(kind(b"OggS\0\x02"), Kind::Ogg);
        assert_eq!(kind(b"\0\0\0\x1cftypM4A "), Kind::M4a);
        assert_eq!(kind(&[0xff, 0xfb, 0x90, 0x64]), Kind::Mp3);
        assert_eq!(kind(&[0xff, 0xf1, 0x50, 0x80]), Kind::Aac);
        assert_eq!(kind(b"A1: balance and swing"), Kind::Unknown);
        assert_eq!(kind(b""), Kind::Unknown);
    }

    #[test]
    fn looks_behind_a_tag() {
        let mut bytes = b"ID3\x04\0\0\0\0\0\x05hello".to_vec();
        bytes.extend_from_slice(b"fLaC\0\0\0\x22");
        assert_eq!(kind(&bytes), Kind::Flac);
    }
}
