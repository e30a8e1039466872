//! The silence that an AAC encoder puts before the sound.
//!
//! An encoder primes its filters with some 20 to 50 ms that no player is meant
//! to play. In an M4A file the edit list says how many frames that is; the
//! demuxer does not read it, and without it every beat would be reported late
//! by so much.

use super::read_up_to;
use std::fs::File;
use std::io::{self, Seek, SeekFrom};

/// More priming than this is taken for an edit of another kind: 0.2 s at
/// 48 kHz. The usual values are 1024, 2048 and 2112 frames.
const MOST: u64 = 9_600;

/// Boxes looked at before giving up.
const MOST_BOXES: u32 = 10_000;

/// How many frames to drop from the start of an M4A file: the media time of
/// its first track's first edit (ISO/IEC 14496-12, 8.6.6), in frames. 0 where
/// it does not say. Leaves the file at its start.
pub(super) fn m4a(file: &mut File) -> io::Result<u64> {
    let len = file.seek(SeekFrom::End(0))?;
    let mut budget = MOST_BOXES;
    let mut range = (0, len);
    for name in [b"moov", b"trak", b"edts", b"elst"] {
        match find(file, range, name, &mut budget)? {
            Some(inner) => range = inner,
            None => {
                file.rewind()?;
                return Ok(0);
            }
        }
    }
    file.seek(SeekFrom::Start(range.0))?;
    let mut bytes = [0u8; 8 + 16];
    let n = read_up_to(file, &mut bytes)?;
    file.rewind()?;
    Ok(first_edit(&bytes[..n]).filter(|n| *n <= MOST).unwrap_or(0))
}

/// The media time of the first edit in the content of an `elst` box.
fn first_edit(bytes: &[u8]) -> Option<u64> {
    let version = *bytes.first()?;
    let media_time = if version == 1 {
        i64::from_be_bytes(bytes.get(16..24)?.try_into().ok()?)
    } else {
        i64::from(i32::from_be_bytes(bytes.get(12..16)?.try_into().ok()?))
    };
    u64::try_from(media_time).ok()
}

/// Finds the first box called `name` in a range of the file and returns the
/// range of its content.
fn find(
    file: &mut File,
    (mut at, end): (u64, u64),
    name: &[u8; 4],
    budget: &mut u32,
) -> io::Result<Option<(u64, u64)>> {
    while at + 8 <= end && *budget > 0 {
        *budget -= 1;
        file.seek(SeekFrom::Start(at))?;
        let mut head = [0u8; 16];
        let n = read_up_to(file, &mut head)?;
        if n < 8 {
            return Ok(None);
        }
        let short = u32::from_be_bytes([head[0], head[1], head[2], head[3]]);
        let (header, size) = match short {
            0 => (8, end - at),
            1 if n == 16 => {
                let mut long = [0u8; 8];
                long.copy_from_slice(&head[8..16]);
                (16, u64::from_be_bytes(long))
            }
            _ => (8, u64::from(short)),
        };
        if size < header {
            return Ok(None);
        }
        let next = at.saturating_add(size).min(end);
        if &head[4..8] == name {
            return Ok(Some(((at + header).min(next), next)));
        }
        at = next;
    }
    Ok(None)
}
