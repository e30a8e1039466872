//! The voice that calls: from words to sound, before the music.
//!
//! Words are looked for in the caller's own recordings, then in the bank in the
//! program, then the machine's speech engine speaks them. What nobody speaks is
//! left to the flash. Whatever speaks, a clip begins and ends with the speech,
//! is about as loud as every other, and can be had up to a quarter faster.
//!
//! ```
//! use eightclap::cue::voice::{Choice, Settings, Voice};
//!
//! let voice = Voice::new(Settings {
//!     engine: Choice::None,
//!     ..Settings::default()
//! })?;
//! let said = voice.prepare(["one", "two"], 48_000);
//! assert!(said.seconds("One!").is_some_and(|seconds| seconds < 1.0));
//! # Ok::<(), eightclap::cue::voice::VoiceError>(())
//! ```

mod bank;
mod cache;
mod guide;
mod machine;
mod own;
mod pace;
mod polish;
mod render;
mod take;
mod texts;
mod utterance;
mod words;

pub use guide::{Guide, Next, Wish};
pub use machine::{Choice, Engine};
pub use own::file_name;
pub use polish::PEAK;
pub use render::EngineError;
pub use take::{Take, Verdict};
pub use texts::{SIGNALS, of_card, of_figures};
pub use utterance::{Clip, Missing, PACES, Repertoire, Source, Utterance};
pub use words::normal;

use std::collections::{HashMap, HashSet};
use std::path::PathBuf;
use std::sync::OnceLock;

use rayon::prelude::*;

use crate::sound::file::load_mono;
use crate::sound::resample::ResampleError;
use cache::Cache;
use own::Own;

/// Who may speak.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// The caller's own recordings.
    pub folder: Option<PathBuf>,
    /// The machine's speech engine.
    pub engine: Choice,
    /// Where to keep what the engine has spoken; without it, nowhere.
    pub cache: Option<PathBuf>,
}

impl Settings {
    /// The best engine, the usual cache, and this folder of recordings; without one
    /// the usual folder, if it is there.
    pub fn usual(folder: Option<PathBuf>) -> Self {
        let usual = || Self::usual_folder().filter(|folder| folder.is_dir());
        Settings {
            folder: folder.or_else(usual),
            engine: Choice::Best,
            cache: Cache::usual(),
        }
    }

    /// Where `eightclap voice record` puts recordings if it is told no other
    /// place: the user's own folder for data.
    pub fn usual_folder() -> Option<PathBuf> {
        let folders = directories::ProjectDirs::from("", "", "eightclap")?;
        Some(folders.data_dir().join("voice"))
    }
}

/// Why there is no voice.
#[derive(Debug, thiserror::Error)]
pub enum VoiceError {
    /// The folder of recordings cannot be read.
    #[error(
        "{}: this folder of recordings cannot be read ({why}); name one that is there, or make one with `eightclap voice record`",
        .folder.display()
    )]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// Why.
        why: std::io::Error,
    },
}

/// Whoever speaks the calls.
#[derive(Debug)]
pub struct Voice {
    own: Own,
    cache: Option<Cache>,
    choice: Choice,
    /// The engine that works here, found out at the first need of it.
    engine: OnceLock<Result<Engine, String>>,
}

impl Voice {
    /// A voice of these sources.
    ///
    /// # Errors
    /// If there is a folder of recordings and it cannot be read.
    pub fn new(settings: Settings) -> Result<Self, VoiceError> {
        let own = match settings.folder {
            Some(folder) => Own::read(&folder).map_err(|why| VoiceError::Folder { folder, why })?,
            None => Own::default(),
        };
        Ok(Voice {
            own,
            cache: settings.cache.map(Cache::new),
            choice: settings.engine,
            engine: OnceLock::new(),
        })
    }

    /// Who would speak `words`, without making a sound; `None` if nobody. Of a
    /// recording that turns out to hold nothing the next source takes over only
    /// in [`prepare`](Self::prepare).
    pub fn source(&self, words: &str) -> Option<Source> {
        let words = normal(words);
        if self.own.file(&words).is_some() {
            Some(Source::Own)
        } else if bank::has(&words) {
            Some(Source::BuiltIn)
        } else {
            self.engine().ok().map(|_| Source::Engine)
        }
    }

    /// Makes all of `texts` ready to be mixed at `rate` samples a second. It
    /// may take some seconds, above all where the machine's engine has to speak.
    pub fn prepare<'a>(&self, texts: impl IntoIterator<Item = &'a str>, rate: u32) -> Repertoire {
        let paces = &PACES;
        self.render(texts, &Want { rate, paces })
    }

    /// The same at natural pace alone, for who wants lengths, or one hearing: a
    /// good deal quicker.
    pub fn survey<'a>(&self, texts: impl IntoIterator<Item = &'a str>, rate: u32) -> Repertoire {
        let paces = &PACES[..1];
        self.render(texts, &Want { rate, paces })
    }

    fn render<'a>(&self, texts: impl IntoIterator<Item = &'a str>, want: &Want) -> Repertoire {
        let mut seen = HashSet::new();
        let wanted: Vec<(&str, String)> = texts
            .into_iter()
            .map(|text| (text, normal(text)))
            .filter(|(_, words)| !words.is_empty() && seen.insert(words.clone()))
            .collect();
        let built_in = bank::fetch(wanted.iter().map(|(_, words)| words.as_str()));
        let spoken: Vec<Spoken> = wanted
            .par_iter()
            .map(|(text, words)| self.speak(text, words, &built_in, want))
            .collect();

        let mut repertoire = Repertoire {
            rate: want.rate,
            ..Repertoire::default()
        };
        for ((text, words), spoken) in wanted.into_iter().zip(spoken) {
            repertoire.warnings.extend(spoken.warnings);
            match spoken.said {
                Ok((source, clips)) => {
                    let utterance = Utterance {
                        words: text.to_owned(),
                        source,
                        natural: clips.first().map_or(0.0, |clip| clip.over),
                        clips,
                    };
                    repertoire.said.insert(words, utterance);
                }
                Err(why) => repertoire.missing.push(Missing {
                    words: text.to_owned(),
                    why,
                }),
            }
        }
        repertoire
    }

    /// Words from the first source that has them.
    fn speak(
        &self,
        text: &str,
        words: &str,
        built_in: &HashMap<String, Vec<f32>>,
        want: &Want,
    ) -> Spoken {
        let mut warnings = Vec::new();
        if let Some(file) = self.own.file(words) {
            let recorded = load_mono(file).map_err(|error| error.to_string());
            let said = recorded.and_then(|(rate, sound)| {
                clips(&sound, rate, want).map_err(|why| format!("{}: {why}", file.display()))
            });
            match said {
                Ok(clips) => return Spoken::by(Source::Own, clips, warnings),
                Err(why) => warnings.push(format!("{why}; record it again, or take it away")),
            }
        }
        if let Some(sound) = built_in.get(words)
            && let Ok(clips) = clips(sound, bank::rate(), want)
        {
            return Spoken::by(Source::BuiltIn, clips, warnings);
        }
        let said = self.by_engine(text, &mut warnings);
        let said = said.and_then(|(rate, sound)| {
            clips(&sound, rate, want).map_err(|why| {
                format!("the speech engine speaks, but {why}; record the words with `eightclap voice record`")
            })
        });
        Spoken {
            said: said.map(|clips| (Source::Engine, clips)),
            warnings,
        }
    }

    /// What the machine's engine says, from the cache if it said it before.
    fn by_engine(&self, text: &str, warnings: &mut Vec<String>) -> Result<(u32, Vec<f32>), String> {
        // Words that were kept need no engine any more.
        let keeps = self.cache.as_ref();
        let kept = |cache: &Cache| self.engines().iter().find_map(|e| cache.get(*e, text));
        if let Some(kept) = keeps.and_then(kept) {
            return Ok(kept);
        }
        let engine = self.engine()?;
        let (rate, sound) = render::speak(engine, text).map_err(|e| e.to_string())?;
        if let Some(cache) = keeps
            && let Err(why) = cache.put(engine, text, rate, &sound)
        {
            warnings.push(format!("what the speech engine said is not kept: {why}"));
        }
        Ok((rate, sound))
    }

    /// The engines that may speak, the first of them first.
    fn engines(&self) -> &[Engine] {
        match &self.choice {
            Choice::Best => Engine::here(),
            Choice::This(engine) => std::slice::from_ref(engine),
            Choice::None => &[],
        }
    }

    /// The engine that works here, or why none does.
    fn engine(&self) -> Result<Engine, String> {
        let found = || {
            let mut why = Vec::new();
            for engine in self.engines() {
                match render::works(*engine) {
                    Ok(()) => return Ok(*engine),
                    Err(error) => why.push(error.to_string()),
                }
            }
            Err(match why.is_empty() {
                true => "the speech engine is off".to_owned(),
                false => why.join("; "),
            })
        };
        self.engine.get_or_init(found).clone()
    }
}

/// What clips are wanted.
struct Want<'a> {
    rate: u32,
    paces: &'a [f64],
}

/// What became of some words.
struct Spoken {
    said: Result<(Source, Vec<Clip>), String>,
    warnings: Vec<String>,
}

impl Spoken {
    fn by(source: Source, clips: Vec<Clip>, warnings: Vec<String>) -> Self {
        Spoken {
            said: Ok((source, clips)),
            warnings,
        }
    }
}

/// Why a recording gives no clips.
#[derive(Debug, thiserror::Error)]
enum NoClips {
    #[error("nothing is heard in it")]
    Silent,
    #[error(transparent)]
    Rate(#[from] ResampleError),
}

/// The clips of a recording of words made at `from` samples a second.
fn clips(sound: &[f32], from: u32, want: &Want) -> Result<Vec<Clip>, NoClips> {
    let polished = polish::polish(sound, from).ok_or(NoClips::Silent)?;
    Ok(pace::clips(&polished, from, want.rate, want.paces)?)
}

#[cfg(test)]
mod tests;
