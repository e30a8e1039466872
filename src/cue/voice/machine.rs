//! The machine's speech engines: how each is asked to write words to a file.
//!
//! Everything that differs from system to system is here, as plain data that
//! can be looked at on any of them. No text passes through a shell.

use std::ffi::OsString;
use std::path::Path;

/// A program that turns text into speech.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Engine {
    /// espeak-ng, for Linux above all, but there is one for every system.
    EspeakNg,
    /// `say`, part of macOS.
    Say,
    /// System.Speech, part of Windows, through its PowerShell.
    SystemSpeech,
}

/// Which engine to use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Choice {
    /// The first of this system's that is there.
    #[default]
    Best,
    /// This one.
    This(Engine),
    /// None: what is not recorded and not built in stays unspoken.
    None,
}

/// A program, what it is told, and what it finds in its environment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Order {
    pub program: &'static str,
    pub arguments: Vec<OsString>,
    pub environment: Vec<(&'static str, OsString)>,
    /// What it reads from standard input.
    pub input: String,
}

/// How fast the engines speak, words a minute: unhurried, so that a quarter
/// more is still clear.
const WORDS_PER_MINUTE: u32 = 165;

/// PowerShell's words. The text and the file come from the environment, so that
/// nothing in them can be taken for a command.
const POWERSHELL: &str = "Add-Type -AssemblyName System.Speech; \
    $s = New-Object System.Speech.Synthesis.SpeechSynthesizer; \
    $s.SetOutputToWaveFile($env:EIGHTCLAP_WAV); \
    $s.Speak($env:EIGHTCLAP_WORDS); \
    $s.Dispose()";

impl Engine {
    /// All of them.
    pub const ALL: [Engine; 3] = [Engine::EspeakNg, Engine::Say, Engine::SystemSpeech];

    /// Those to try on this system, the most natural first.
    pub fn here() -> &'static [Engine] {
        if cfg!(target_os = "macos") {
            &[Engine::Say, Engine::EspeakNg]
        } else if cfg!(windows) {
            &[Engine::SystemSpeech, Engine::EspeakNg]
        } else {
            &[Engine::EspeakNg]
        }
    }

    /// Its name for people and on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Engine::EspeakNg => "espeak-ng",
            Engine::Say => "say",
            Engine::SystemSpeech => "system-speech",
        }
    }

    /// Where to get it: half a sentence.
    pub fn remedy(self) -> &'static str {
        match self {
            Engine::EspeakNg if cfg!(target_os = "macos") => {
                "install it with `brew install espeak-ng`"
            }
            Engine::EspeakNg if cfg!(windows) => "install it with `winget install eSpeak-NG`",
            Engine::EspeakNg => {
                "install it with `sudo apt-get install espeak-ng` (or your system's own packages)"
            }
            Engine::Say => "it comes with macOS; elsewhere install espeak-ng",
            Engine::SystemSpeech => "it comes with Windows; elsewhere install espeak-ng",
        }
    }

    /// All that decides how the same words sound: part of what they are kept
    /// under.
    pub(super) fn settings(self) -> String {
        format!("{} en {WORDS_PER_MINUTE} 1", self.name())
    }

    /// What makes it write `words` to the WAV file `to`.
    pub(super) fn order(self, words: &str, to: &Path) -> Order {
        let words = plain(words);
        match self {
            // https://github.com/espeak-ng/espeak-ng/blob/master/src/espeak-ng.1.ronn
            Engine::EspeakNg => Order {
                program: "espeak-ng",
                arguments: vec![
                    "-v".into(),
                    "en-us".into(),
                    "-s".into(),
                    WORDS_PER_MINUTE.to_string().into(),
                    "-w".into(),
                    to.into(),
                    "--".into(),
                    words.into(),
                ],
                environment: Vec::new(),
                input: String::new(),
            },
            // `man say`: without words it reads standard input.
            Engine::Say => Order {
                program: "say",
                arguments: vec![
                    "-r".into(),
                    WORDS_PER_MINUTE.to_string().into(),
                    "--file-format=WAVE".into(),
                    "--data-format=LEI16@22050".into(),
                    "-o".into(),
                    to.into(),
                ],
                environment: Vec::new(),
                input: words,
            },
            // SpeechSynthesizer.SetOutputToWaveFile, .NET's documentation.
            Engine::SystemSpeech => Order {
                program: "powershell",
                arguments: ["-NoProfile", "-NonInteractive", "-Command", POWERSHELL]
                    .map(OsString::from)
                    .into(),
                environment: vec![
                    ("EIGHTCLAP_WAV", to.into()),
                    ("EIGHTCLAP_WORDS", words.into()),
                ],
                input: String::new(),
            },
        }
    }
}

/// The text without what an engine may take for something else than words:
/// brackets hold commands for some, control characters end lines.
fn plain(words: &str) -> String {
    let kept = |c: char| match c {
        '[' | ']' | '<' | '>' | '{' | '}' | '\\' => ' ',
        c if c.is_control() => ' ',
        c => c,
    };
    words.chars().map(kept).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(order: &Order) -> Vec<&str> {
        order
            .arguments
            .iter()
            .map(|a| a.to_str().unwrap())
            .collect()
    }

    #[test]
    fn every_engine_is_told_the_file_and_the_words() {
        let to = Path::new("/tmp/a b/out.wav");
        let espeak = Engine::EspeakNg.order("swing your partner", to);
        assert_eq!(espeak.program, "espeak-ng");
        assert_eq!(
            words(&espeak),
            [
                "-v",
                "en-us",
                "-s",
                "165",
                "-w",
                "/tmp/a b/out.wav",
                "--",
                "swing your partner"
            ]
        );

        let say = Engine::Say.order("swing your partner", to);
        assert_eq!(say.program, "say");
        assert_eq!(say.input, "swing your partner");
        assert_eq!(words(&say)[4..], ["-o", "/tmp/a b/out.wav"]);

        let windows = Engine::SystemSpeech.order("swing your partner", to);
        assert_eq!(windows.program, "powershell");
        assert_eq!(
            windows.environment,
            [
                ("EIGHTCLAP_WAV", "/tmp/a b/out.wav".into()),
                ("EIGHTCLAP_WORDS", "swing your partner".into())
            ]
        );
        assert!(words(&windows)[3].contains("SetOutputToWaveFile($env:EIGHTCLAP_WAV)"));
    }

    #[test]
    fn words_are_never_options_or_commands() {
        let to = Path::new("out.wav");
        for text in [
            "--help",
            "-v fr; rm -rf /",
            "$(reboot) `reboot` \"; reboot",
            "[[slnc 9999]] x",
            "a\nb\0c",
        ] {
            for engine in Engine::ALL {
                let order = engine.order(text, to);
                let said = plain(text);
                match engine {
                    Engine::EspeakNg => {
                        let all = words(&order);
                        assert_eq!(all[all.len() - 2..], ["--", said.as_str()]);
                    }
                    Engine::Say => {
                        assert_eq!(order.input, said);
                        assert!(!words(&order).contains(&said.as_str()));
                    }
                    Engine::SystemSpeech => {
                        assert_eq!(order.environment[1].1, said.as_str());
                        assert_eq!(words(&order)[3], POWERSHELL);
                    }
                }
                assert!(!said.contains(['[', '\n', '\0']), "{said:?}");
            }
        }
    }

    #[test]
    fn this_system_has_an_engine_with_a_remedy() {
        for engine in Engine::here() {
            assert!(!engine.remedy().is_empty());
        }
        let mut settings: Vec<String> = Engine::ALL.map(Engine::settings).into();
        settings.dedup();
        assert_eq!(settings.len(), 3);
    }
}
