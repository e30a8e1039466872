//! The keys of `config.toml`: their names, their options and variables, and what a value
//! of each may be. File, environment and command line are held to the same.

use std::path::PathBuf;

use crate::dance::Roles;
use crate::report::tempo::Want;
use crate::sound::device::Choice;

use super::super::gear::{channel, choice};
use super::super::practise::level;

/// A key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Key {
    In,
    Out,
    Channel,
    ClapLevel,
    TickLevel,
    VoiceLevel,
    Voice,
    Recordings,
    Roles,
    Want,
    Flash,
}

/// What TOML writes a value as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Words in quotation marks.
    Words,
    /// Words, or a list of them.
    List,
    /// A device: words, or its number.
    Device,
    /// A folder: from the file's own folder on, or from home with `~/`.
    Folder,
    Number,
    Whole,
    Flag,
}

/// What is said of a key.
#[derive(Debug)]
pub(super) struct About {
    pub(super) key: Key,
    /// The table it stands in, and its name there.
    pub(super) table: &'static str,
    pub(super) name: &'static str,
    pub(super) kind: Kind,
    /// The variable of the environment that goes before the file.
    pub(super) variable: &'static str,
    /// The options of the command line that go before both.
    pub(super) options: &'static [&'static str],
    /// What holds where nobody says anything, in words.
    pub(super) usual: &'static str,
}

const fn about(
    key: Key,
    (table, name): (&'static str, &'static str),
    kind: Kind,
    variable: &'static str,
    options: &'static [&'static str],
    usual: &'static str,
) -> About {
    About {
        key,
        table,
        name,
        kind,
        variable,
        options,
        usual,
    }
}

/// Every key, in the order in which it is shown. The variables are named after the
/// options.
#[rustfmt::skip]
pub(super) const ALL: [About; 11] = [
    about(Key::In, ("devices", "in"), Kind::Device, "EIGHTCLAP_IN", &["in"], "the system's own"),
    about(Key::Out, ("devices", "out"), Kind::Device, "EIGHTCLAP_OUT", &["out"], "the system's own"),
    about(Key::Channel, ("devices", "channel"), Kind::Whole, "EIGHTCLAP_CHANNEL", &["channel"], "the mean of all"),
    about(Key::ClapLevel, ("levels", "clap"), Kind::Number, "EIGHTCLAP_CLAP_LEVEL", &["clap-level"], "1"),
    about(Key::TickLevel, ("levels", "tick"), Kind::Number, "EIGHTCLAP_TICK_LEVEL", &["tick-level"], "1"),
    about(Key::VoiceLevel, ("levels", "voice"), Kind::Number, "EIGHTCLAP_VOICE_LEVEL", &["voice-level"], "1"),
    about(Key::Voice, ("voice", "on"), Kind::Flag, "EIGHTCLAP_VOICE", &["voice", "no-voice"], "on in practise and demo, off live"),
    about(Key::Recordings, ("voice", "recordings"), Kind::Folder, "EIGHTCLAP_RECORDINGS", &["recordings"], "a folder of your own"),
    about(Key::Roles, ("words", "roles"), Kind::List, "EIGHTCLAP_ROLES", &["roles"], "the card's own"),
    about(Key::Want, ("tempo", "want"), Kind::Words, "EIGHTCLAP_WANT", &["want"], "the card's own"),
    about(Key::Flash, ("screen", "flash"), Kind::Flag, "EIGHTCLAP_FLASH", &["flash", "no-flash"], "true"),
];

impl About {
    /// As in `levels.clap`.
    pub(super) fn dotted(&self) -> String {
        format!("{}.{}", self.table, self.name)
    }
}

/// What commands do where their command line says nothing. `None`: nobody says anything.
#[derive(Debug, Clone, Default, PartialEq)]
pub(in super::super) struct Defaults {
    pub(in super::super) input: Option<Choice>,
    pub(in super::super) output: Option<Choice>,
    pub(in super::super) channel: Option<u16>,
    pub(in super::super) clap_level: Option<f32>,
    pub(in super::super) tick_level: Option<f32>,
    pub(in super::super) voice_level: Option<f32>,
    pub(in super::super) voice: Option<bool>,
    pub(in super::super) recordings: Option<PathBuf>,
    pub(in super::super) roles: Option<Roles>,
    pub(in super::super) want: Option<Want>,
    pub(in super::super) flash: Option<bool>,
}

impl Defaults {
    /// Takes a value for `key`, written as on the command line.
    ///
    /// # Errors
    /// What to write instead.
    pub(super) fn set(&mut self, key: Key, text: &str) -> Result<(), String> {
        match key {
            Key::In => self.input = Some(choice(text)?),
            Key::Out => self.output = Some(choice(text)?),
            Key::Channel => self.channel = Some(channel(text)?),
            Key::ClapLevel => self.clap_level = Some(level(text)?),
            Key::TickLevel => self.tick_level = Some(level(text)?),
            Key::VoiceLevel => self.voice_level = Some(level(text)?),
            Key::Voice => self.voice = Some(flag(text)?),
            Key::Recordings => self.recordings = Some(PathBuf::from(text)),
            Key::Roles => self.roles = Some(Roles::parse(text).map_err(|e| e.to_string())?),
            Key::Want => {
                self.want = Some(
                    text.parse()
                        .map_err(|e: crate::report::tempo::WantError| e.to_string())?,
                )
            }
            Key::Flash => self.flash = Some(flag(text)?),
        }
        Ok(())
    }

    /// What is said of a key that is on or off.
    pub(super) fn flag(&self, key: Key) -> bool {
        let flag = match key {
            Key::Voice => self.voice,
            _ => self.flash,
        };
        flag.unwrap_or(true)
    }
}

/// Yes or no, as people write it in the environment.
fn flag(text: &str) -> Result<bool, String> {
    match text.trim().to_lowercase().as_str() {
        "true" | "yes" | "on" | "1" => Ok(true),
        "false" | "no" | "off" | "0" => Ok(false),
        _ => Err("write true or false".into()),
    }
}
