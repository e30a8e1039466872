//! What every stream of a device has in common, whichever way it goes.

use super::DeviceError;
use crate::sound::quiet::Quiet;
use cpal::{BufferSize, SampleFormat, StreamConfig, SupportedStreamConfig};

/// Frames that a callback handles at a time: a scratch on the stack, so that it
/// allocates nothing whatever the device asks for.
pub(super) const PIECE: usize = 256;

/// Stamps that wait at most to be taken.
pub(super) const STAMPS: usize = 1_024;

/// Calls `$start::<T>` with `T` the type of a sample of `$format`; a format that
/// cannot be converted is an error.
macro_rules! with_sample {
    ($format:expr, $start:ident($($arg:expr),*)) => {
        match $format {
            cpal::SampleFormat::I8 => $start::<i8>($($arg),*),
            cpal::SampleFormat::I16 => $start::<i16>($($arg),*),
            cpal::SampleFormat::I24 => $start::<cpal::I24>($($arg),*),
            cpal::SampleFormat::I32 => $start::<i32>($($arg),*),
            cpal::SampleFormat::I64 => $start::<i64>($($arg),*),
            cpal::SampleFormat::U8 => $start::<u8>($($arg),*),
            cpal::SampleFormat::U16 => $start::<u16>($($arg),*),
            cpal::SampleFormat::U32 => $start::<u32>($($arg),*),
            cpal::SampleFormat::U64 => $start::<u64>($($arg),*),
            cpal::SampleFormat::F32 => $start::<f32>($($arg),*),
            cpal::SampleFormat::F64 => $start::<f64>($($arg),*),
            other => Err(DeviceError::Format(other.to_string())),
        }
    };
}
pub(super) use with_sample;

/// Whether samples of this format can be converted.
pub(super) fn supported(format: SampleFormat) -> bool {
    // Such a format has a type, and a type has a size.
    fn size<T>() -> Result<usize, DeviceError> {
        Ok(size_of::<T>())
    }
    with_sample!(format, size()).is_ok()
}

/// Starts a stream that asks for `frames` frames at a time or, on a device that
/// will not have that, for as many as it likes.
pub(super) fn start_with<T>(
    config: &SupportedStreamConfig,
    frames: u32,
    start: impl Fn(StreamConfig) -> Result<T, DeviceError>,
) -> Result<T, DeviceError> {
    let with = |buffer_size| {
        start(StreamConfig {
            buffer_size,
            ..config.config()
        })
    };
    with(BufferSize::Fixed(frames)).or_else(|_| with(BufferSize::Default))
}

/// Ends its stream when dropped, with the sound library's own complaints kept
/// off the screen.
pub(super) struct Running(Option<cpal::Stream>);

impl From<cpal::Stream> for Running {
    fn from(stream: cpal::Stream) -> Self {
        Running(Some(stream))
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _quiet = Quiet::begin();
        self.0 = None;
    }
}
