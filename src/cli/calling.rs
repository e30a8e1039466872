//! The options of everything that calls a dance aloud.

use std::path::PathBuf;
use std::sync::Arc;

use anyhow::{anyhow, bail};
use clap::Args;
use crossbeam_channel::{Receiver, TryRecvError, bounded};

use crate::cue::voice::{Settings, Voice};
use crate::cue::{Fading, Manner, Script};
use crate::dance::Card;
use crate::follow::Calling;

use super::config::Defaults;
use super::practise::level;
use super::tell;

/// How to call.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Calls")]
pub(super) struct CallArgs {
    /// Speak the calls of the card (while it plays, the v key turns them on and off)
    /// [config: voice.on]
    #[arg(long, overrides_with = "no_voice")]
    pub(super) voice: bool,

    /// Without the voice: calls are flashed only
    #[arg(long)]
    no_voice: bool,

    /// Loudness of the voice, 0 to 4; 1 is usual [config: levels.voice]
    #[arg(long, value_name = "LEVEL", value_parser = level)]
    voice_level: Option<f32>,

    /// Your own recordings of calls: a folder of WAV files named after their words
    /// [config: voice.recordings]
    #[arg(long, value_name = "FOLDER")]
    recordings: Option<PathBuf>,

    /// Least beats from the beginning of a call to its figure, 1 to 4
    #[arg(long, value_name = "BEATS", default_value_t = 1, value_parser = super::gear::whole::<1, 4>)]
    lead: u32,

    /// Times through with full calls
    #[arg(long, value_name = "N", default_value_t = Fading::default().full)]
    full: u32,

    /// Times through with short calls after that; then calls are silent
    #[arg(long, value_name = "N", default_value_t = Fading::default().short)]
    short: u32,

    /// Whether there is a voice from the start, where nothing was said of it here.
    #[arg(skip)]
    usually: Option<bool>,
}

impl Default for CallArgs {
    fn default() -> Self {
        let Fading { full, short, .. } = Fading::default();
        CallArgs {
            voice: false,
            no_voice: false,
            voice_level: None,
            recordings: None,
            lead: 1,
            full,
            short,
            usually: None,
        }
    }
}

impl CallArgs {
    /// Takes defaults for what was not given.
    pub(super) fn fill(&mut self, defaults: &Defaults) {
        self.voice_level = self.voice_level.or(defaults.voice_level);
        self.recordings = self
            .recordings
            .take()
            .or_else(|| defaults.recordings.clone());
        self.usually = defaults.voice;
    }

    /// Whether the voice is wanted from the start, where it is or is not `usually`.
    pub(super) fn wants_voice(&self, usually: bool) -> bool {
        self.voice || !self.no_voice && self.usually.unwrap_or(usually)
    }

    /// Who calls `card`, and how, in sound of `rate` frames a second: heard at once
    /// where `usually` and not told otherwise, else once it is asked for. The voice is
    /// made ready behind whatever is done meanwhile, which may take some seconds.
    pub(super) fn calling(
        &self,
        card: Option<&Arc<Card>>,
        rate: u32,
        usually: bool,
        times: Option<u32>,
    ) -> anyhow::Result<Option<Coming>> {
        let Some(card) = card else {
            if self.voice {
                bail!("--voice speaks the calls of a dance card; name one with --card");
            }
            return Ok(None);
        };
        if self.no_voice {
            return Ok(None);
        }
        let voice = Voice::new(Settings::usual(self.recordings.clone()))?;
        let manner = Manner {
            fading: Fading {
                full: self.full,
                short: self.short,
                times,
            },
            lead: self.lead,
        };
        let (on, card) = (self.wants_voice(usually), card.clone());
        let gain = self.voice_level.unwrap_or(1.0);
        let (give, ready) = bounded(1);
        std::thread::Builder::new()
            .name("voice".into())
            .spawn(move || {
                let words: Arc<[String]> = Script::words(&card).into();
                let repertoire = voice.prepare(words.iter().map(String::as_str), rate);
                let script = Script::new(&card, |words| repertoire.seconds(words));
                // Whoever wanted it may have quit meanwhile.
                let _ = give.send(Calling {
                    voice: Arc::new(voice),
                    repertoire: Arc::new(repertoire),
                    words,
                    script: Arc::new(script),
                    manner,
                    on,
                    gain,
                });
            })?;
        Ok(Some(Coming { on, ready }))
    }
}

/// A voice that is being made ready.
pub(super) struct Coming {
    on: bool,
    ready: Receiver<Calling>,
}

impl Coming {
    /// Whether it is to be heard at first.
    pub(super) fn on(&self) -> bool {
        self.on
    }

    /// The voice, once it is there; then what it cannot say is told.
    ///
    /// # Errors
    /// If it never will be there: a fault in the program.
    pub(super) fn take(&self) -> anyhow::Result<Option<Calling>> {
        match self.ready.try_recv() {
            Ok(calling) => Ok(Some(told(calling))),
            Err(TryRecvError::Empty) => Ok(None),
            Err(TryRecvError::Disconnected) => Err(lost()),
        }
    }

    /// The same, waiting for it.
    ///
    /// # Errors
    /// If it never will be there: a fault in the program.
    pub(super) fn wait(&self) -> anyhow::Result<Calling> {
        self.ready.recv().map(told).map_err(|_| lost())
    }
}

fn lost() -> anyhow::Error {
    anyhow!("the calls could not be made ready: a fault in the program; --no-voice does without")
}

/// Tells what a voice cannot say.
fn told(calling: Calling) -> Calling {
    for warning in calling.repertoire.warnings() {
        tell(warning);
    }
    let missing = calling.repertoire.missing();
    if calling.on
        && let Some(first) = missing.first()
    {
        tell(format_args!(
            "{} of {} calls cannot be spoken and are flashed only, such as \"{}\": {}",
            missing.len(),
            calling.words.len(),
            first.words,
            first.why
        ));
    }
    calling
}
