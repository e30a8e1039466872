//! What the machine's engine has spoken before, kept as files.

use std::fs::{self, File};
use std::hash::Hasher;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use fnv::FnvHasher;

use super::machine::Engine;
use super::words::normal;
use crate::sound::file::load_mono;
use crate::sound::write::{Depth, WavOut, WriteError};

/// Most that the files may take together, bytes: some thousand calls.
const LARGEST: u64 = 64 << 20;

/// A folder of rendered words. Only files that it named itself are touched.
#[derive(Debug, Clone)]
pub(super) struct Cache {
    folder: PathBuf,
    largest: u64,
}

impl Cache {
    pub(super) fn new(folder: PathBuf) -> Self {
        Cache {
            folder,
            largest: LARGEST,
        }
    }

    /// The usual folder: the user's own for caches.
    pub(super) fn usual() -> Option<PathBuf> {
        let folders = directories::ProjectDirs::from("", "", "eightclap")?;
        Some(folders.cache_dir().join("voice"))
    }

    /// What was kept of `words`: samples a second, and mono samples. A file
    /// that cannot be read is thrown away.
    pub(super) fn get(&self, engine: Engine, words: &str) -> Option<(u32, Vec<f32>)> {
        let path = self.path(engine, words);
        if !path.exists() {
            return None;
        }
        match load_mono(&path) {
            Ok((rate, sound)) if !sound.is_empty() => {
                // Those used last stay longest. A folder that may not be
                // written is still one to read from.
                let _ = File::options()
                    .append(true)
                    .open(&path)
                    .and_then(|file| file.set_modified(SystemTime::now()));
                Some((rate, sound))
            }
            _ => {
                let _ = fs::remove_file(&path);
                None
            }
        }
    }

    /// Keeps what was spoken, and drops what was not used for longest if there
    /// is too much.
    ///
    /// # Errors
    /// If the folder cannot be written; nothing is lost but time.
    pub(super) fn put(
        &self,
        engine: Engine,
        words: &str,
        rate: u32,
        sound: &[f32],
    ) -> Result<(), WriteError> {
        // If it cannot be made, writing says why.
        let _ = fs::create_dir_all(&self.folder);
        let mut out = WavOut::create(self.path(engine, words), rate, 1, Depth::Int16)?;
        out.write(sound)?;
        out.finish()?;
        self.shrink();
        Ok(())
    }

    /// The file of some words. The text itself would do for most, but not for
    /// long ones or other alphabets on every disk.
    fn path(&self, engine: Engine, words: &str) -> PathBuf {
        // FNV-1a (Fowler, Noll and Vo; RFC 9923): the same on every machine.
        let mut hash = FnvHasher::default();
        hash.write(engine.settings().as_bytes());
        hash.write_u8(0);
        hash.write(normal(words).as_bytes());
        self.folder
            .join(format!("{}-{:016x}.wav", engine.name(), hash.finish()))
    }

    fn shrink(&self) {
        let Ok(entries) = fs::read_dir(&self.folder) else {
            return;
        };
        let mut files: Vec<(SystemTime, u64, PathBuf)> = entries
            .filter_map(Result::ok)
            .filter(|entry| is_ours(&entry.path()))
            .filter_map(|entry| {
                let meta = entry.metadata().ok()?;
                Some((meta.modified().ok()?, meta.len(), entry.path()))
            })
            .collect();
        let mut total: u64 = files.iter().map(|(_, len, _)| len).sum();
        files.sort();
        for (_, len, path) in files {
            if total <= self.largest {
                break;
            }
            if fs::remove_file(&path).is_ok() {
                total -= len;
            }
        }
    }
}

fn is_ours(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let Some(stem) = name.strip_suffix(".wav") else {
        return false;
    };
    Engine::ALL.iter().any(|engine| {
        stem.strip_prefix(engine.name())
            .and_then(|rest| rest.strip_prefix('-'))
            .is_some_and(|hash| hash.len() == 16 && hash.bytes().all(|b| b.is_ascii_hexdigit()))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    const ENGINE: Engine = Engine::EspeakNg;

    fn cache(largest: u64) -> (tempfile::TempDir, Cache) {
        let folder = tempfile::tempdir().unwrap();
        let mut cache = Cache::new(folder.path().join("eightclap/voice"));
        cache.largest = largest;
        (folder, cache)
    }

    fn names(cache: &Cache) -> usize {
        fs::read_dir(&cache.folder).unwrap().count()
    }

    #[test]
    fn what_is_kept_comes_back_for_the_same_words_and_engine() {
        let (_folder, cache) = cache(LARGEST);
        assert!(cache.get(ENGINE, "swing").is_none());
        cache.put(ENGINE, "Swing!", 22_050, &[0.25, -0.5]).unwrap();
        assert_eq!(cache.get(ENGINE, "swing"), Some((22_050, vec![0.25, -0.5])));
        assert!(cache.get(Engine::Say, "swing").is_none());
        assert!(cache.get(ENGINE, "swings").is_none());
    }

    #[test]
    fn a_broken_file_is_thrown_away_and_written_anew() {
        let (_folder, cache) = cache(LARGEST);
        cache.put(ENGINE, "swing", 22_050, &[0.25; 500]).unwrap();
        let path = cache.path(ENGINE, "swing");
        for broken in [&b"RIFF"[..], b"", b"no sound at all, only some words"] {
            fs::write(&path, broken).unwrap();
            assert!(cache.get(ENGINE, "swing").is_none());
            assert!(!path.exists());
        }
        cache.put(ENGINE, "swing", 22_050, &[0.25; 500]).unwrap();
        assert_eq!(cache.get(ENGINE, "swing").unwrap().1.len(), 500);
    }

    #[test]
    fn what_was_not_used_for_longest_goes_first_and_strangers_stay() {
        // 44 bytes of header and 2 a sample: three files of 1044 and no more.
        let (_folder, cache) = cache(3_200);
        for (n, words) in ["one", "two", "three"].into_iter().enumerate() {
            cache.put(ENGINE, words, 8_000, &[0.1; 500]).unwrap();
            let old = SystemTime::now() - Duration::from_secs(100 - 10 * n as u64);
            let path = cache.path(ENGINE, words);
            let file = File::options().append(true).open(path).unwrap();
            file.set_modified(old).unwrap();
        }
        let stranger = cache.folder.join("swing.wav");
        fs::write(&stranger, [0; 5_000]).unwrap();
        // "one" is the oldest, but has just been used.
        assert!(cache.get(ENGINE, "one").is_some());
        cache.put(ENGINE, "four", 8_000, &[0.1; 500]).unwrap();
        assert!(stranger.exists());
        assert_eq!(names(&cache), 4);
        assert!(cache.get(ENGINE, "two").is_none());
        for words in ["one", "three", "four"] {
            assert!(cache.get(ENGINE, words).is_some(), "{words}");
        }
    }

    #[test]
    fn a_folder_that_cannot_be_made_is_an_error_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("file");
        fs::write(&file, "x").unwrap();
        let cache = Cache::new(file.join("voice"));
        assert!(cache.put(ENGINE, "swing", 8_000, &[0.1; 5]).is_err());
        assert!(cache.get(ENGINE, "swing").is_none());
    }
}
