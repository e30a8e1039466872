//! Choosing a track of a packed file, its decoder, and the words of refusal.

use super::{FileError, Kind, check_layout, shield};
use std::path::Path;
use symphonia::core::codecs::CodecParameters;
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::{FormatReader, TrackType};

/// What stands for a panic in a decoder.
pub(super) const PANICKED: Error = Error::DecodeError(PANIC);
/// Its words.
pub(super) const PANIC: &str = "it makes no sense";

/// A track's number, its length in frames if stated, and its decoder.
pub(super) type Found = (u32, Option<u64>, Box<dyn AudioDecoder>);

/// Makes a decoder for the track to be heard.
pub(super) fn decoder_for(
    path: &Path,
    kind: Kind,
    format: &dyn FormatReader,
) -> Result<Found, FileError> {
    let unsupported = |why: &str| FileError::Unsupported {
        path: path.to_path_buf(),
        kind: kind.to_string(),
        why: why.to_string(),
    };
    let track = format
        .default_track(TrackType::Audio)
        .or_else(|| format.first_track(TrackType::Audio))
        .ok_or_else(|| unsupported("it holds no sound"))?;
    let Some(CodecParameters::Audio(params)) = &track.codec_params else {
        return Err(unsupported("its coding is not known"));
    };
    if let (Some(rate), Some(channels)) = (params.sample_rate, &params.channels) {
        check_layout(path, rate, channels.count())?;
    }
    let options = AudioDecoderOptions::default();
    let make = || symphonia::default::get_codecs().make_audio_decoder(params, &options);
    let decoder = shield::guard(make)
        .unwrap_or(Err(PANICKED))
        .map_err(|e| refuse(path, kind, e))?;
    Ok((track.id, track.num_frames, decoder))
}

/// Why a file was refused before any sound came out of it.
pub(super) fn refuse(path: &Path, kind: Kind, error: Error) -> FileError {
    let path = path.to_path_buf();
    if kind == Kind::Unknown {
        return FileError::NotSound { path };
    }
    let kind = kind.to_string();
    match error {
        Error::IoError(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => FileError::Damaged {
            path,
            kind,
            why: "it ends before its sound begins".to_string(),
        },
        Error::IoError(e) => FileError::io(&path, e),
        Error::Unsupported(why) => FileError::Unsupported {
            path,
            kind,
            why: why.to_string(),
        },
        e => FileError::Damaged {
            path,
            kind,
            why: e.to_string(),
        },
    }
}
