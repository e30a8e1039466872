//! The recording of a rehearsal, for those who want it.

use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use hound::{SampleFormat, WavSpec, WavWriter};

/// Writes what the microphone hears, so that a crash leaves a file that can be played.
pub(super) struct Keep {
    writer: WavWriter<BufWriter<File>>,
    path: PathBuf,
    rate: u32,
    written: u64,
}

impl Keep {
    /// Begins a mono WAV file of 16 bits at `rate` samples a second.
    ///
    /// # Errors
    /// If it cannot be written, in words.
    pub(super) fn begin(path: &Path, rate: u32) -> Result<Keep, String> {
        let spec = WavSpec {
            channels: 1,
            sample_rate: rate,
            bits_per_sample: 16,
            sample_format: SampleFormat::Int,
        };
        let writer = WavWriter::create(path, spec)
            .map_err(|why| format!("{}: {why}; nothing is recorded", path.display()))?;
        Ok(Keep {
            writer,
            path: path.to_owned(),
            rate,
            written: 0,
        })
    }

    /// Samples written.
    pub(super) fn written(&self) -> u64 {
        self.written
    }

    /// Samples a second.
    pub(super) fn rate(&self) -> u32 {
        self.rate
    }

    /// Appends samples, full scale ±1.
    ///
    /// # Errors
    /// If it cannot be written, in words; what was written before can be played.
    pub(super) fn write(&mut self, sound: &[f32]) -> Result<(), String> {
        let before = self.written / u64::from(self.rate);
        let whole = (self.written + sound.len() as u64) / u64::from(self.rate);
        let mut all = sound.iter();
        let written = all.try_for_each(|x| {
            let sample = (x.clamp(-1.0, 1.0) * 32_767.0) as i16;
            self.writer.write_sample(sample)
        });
        self.written += sound.len() as u64;
        // The header once a second: it says how long the file is.
        let flushed = match whole > before {
            true => self.writer.flush(),
            false => Ok(()),
        };
        written.and(flushed).map_err(|why| {
            let path = self.path.display();
            format!("{path}: the recording is kept no further: {why}; check the disk")
        })
    }

    /// Ends the file.
    pub(super) fn end(self) {
        // All but the last second is safe already, and nobody is left to be told.
        let _ = self.writer.finalize();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_recorded_can_be_played_although_nobody_ended_the_file() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("kept.wav");
        let mut keep = Keep::begin(&path, 8_000).expect("a file");
        for _ in 0..25 {
            keep.write(&[0.5; 800]).expect("room on the disk");
        }
        std::mem::forget(keep);
        let mut reader = hound::WavReader::open(&path).expect("a header");
        assert_eq!(
            reader.duration(),
            16_000,
            "two whole seconds of two and a half"
        );
        let loud = (0.5 * 32_767.0) as i16;
        assert!(
            reader
                .samples::<i16>()
                .all(|x| x.expect("a sample") == loud)
        );
    }

    #[test]
    fn a_folder_that_is_not_there_is_named() {
        let why = Keep::begin(Path::new("/nowhere/kept.wav"), 8_000).err();
        assert!(why.is_some_and(|w| w.contains("/nowhere/kept.wav")));
    }
}
