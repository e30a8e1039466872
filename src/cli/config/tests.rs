//! What `config.toml` and the environment may say, and what is said of slips.

use std::collections::BTreeSet;
use std::path::Path;

use clap::{Command, CommandFactory};
use proptest::prelude::*;
use unicode_width::UnicodeWidthStr;

use super::keys::{ALL, Defaults, Key, Kind};
use super::layers::{Layers, Origin};
use super::{TEMPLATE, fuzz, table};
use crate::cli::Cli;
use crate::sound::device::Choice;

/// Defaults from a file's text and variables.
fn layers(text: &str, variables: &[(&str, &str)]) -> Layers {
    let mut layers = fuzz::read(text);
    layers.environment(|name| {
        let set = variables.iter().find(|(variable, _)| *variable == name);
        set.map(|(_, value)| (*value).to_owned())
    });
    layers
}

/// The one thing wrong with a file, in its first line.
#[track_caller]
fn wrong(text: &str) -> String {
    let error = layers(text, &[]).wrong_file.expect("a slip");
    assert_eq!(error.troubles().len(), 1, "{error}");
    error
        .to_string()
        .lines()
        .next()
        .unwrap_or_default()
        .to_owned()
}

#[test]
fn without_file_and_environment_everything_is_as_the_program_has_it() {
    let none = layers("", &[]);
    assert_eq!(none.defaults, Defaults::default());
    assert!(none.told.is_empty() && none.wrong_file.is_none());
    for line in table(&none).lines() {
        assert!(line.ends_with("  default"), "{line}");
    }
}

#[test]
fn the_file_says_defaults() {
    let text = "\
[devices]
in = \"USB\"
out = 2
channel = 3
[levels]
clap = 0.5
tick = 1
[voice]
on = true
[words]
roles = [\"man\", \"woman\", \"men\", \"women\"]
[tempo]
want = \"108..116\"
[screen]
flash = false
";
    let said = layers(text, &[]);
    assert!(said.wrong_file.is_none(), "{:?}", said.wrong_file);
    let defaults = said.defaults;
    assert_eq!(defaults.input, Some(Choice::Name("USB".into())));
    assert_eq!(defaults.output, Some(Choice::Index(2)));
    assert_eq!(defaults.channel, Some(3));
    assert_eq!(
        (defaults.clap_level, defaults.tick_level),
        (Some(0.5), Some(1.0))
    );
    assert_eq!(defaults.voice_level, None);
    assert_eq!((defaults.voice, defaults.flash), (Some(true), Some(false)));
    let roles = defaults.roles.expect("roles");
    assert_eq!(roles.many(crate::dance::Role::Second), "women");
    assert_eq!(
        defaults.want.map(|want| (want.low(), want.high())),
        Some((108.0, 116.0))
    );
}

#[test]
fn the_environment_goes_before_the_file_and_an_empty_variable_says_nothing() {
    let text = "[levels]\nclap = 0.5\ntick = 0.5\n";
    let variables = [("EIGHTCLAP_CLAP_LEVEL", "2"), ("EIGHTCLAP_TICK_LEVEL", "")];
    let said = layers(text, &variables);
    assert_eq!(
        (said.defaults.clap_level, said.defaults.tick_level),
        (Some(2.0), Some(0.5))
    );
    let from = |key| said.told.get(&key).map(|(_, origin)| origin.clone());
    assert_eq!(
        from(Key::ClapLevel),
        Some(Origin::Environment("EIGHTCLAP_CLAP_LEVEL"))
    );
    assert_eq!(from(Key::TickLevel), Some(Origin::File(3)));
    let shown = table(&said);
    assert!(
        shown.contains("environment, EIGHTCLAP_CLAP_LEVEL\n"),
        "{shown}"
    );
    assert!(shown.contains("file, line 3\n"), "{shown}");
}

#[test]
fn folders_begin_at_the_file_or_at_home() {
    for (text, folder) in [
        ("calls", "/etc/of/me/calls"),
        ("~/calls", "/home/me/calls"),
        ("/srv/calls", "/srv/calls"),
    ] {
        let said = layers(&format!("[voice]\nrecordings = \"{text}\"\n"), &[]);
        assert_eq!(said.defaults.recordings.as_deref(), Some(Path::new(folder)));
    }
    // In the environment the shell has done that.
    let said = layers("", &[("EIGHTCLAP_RECORDINGS", "calls")]);
    assert_eq!(
        said.defaults.recordings.as_deref(),
        Some(Path::new("calls"))
    );
}

#[test]
fn slips_are_told_with_their_place_and_what_to_write() {
    let at = "/etc/of/me/config.toml";
    for (text, said) in [
        (
            "[devices]\nin = \"\"\n",
            ":2:6: \"in\" is empty; write some words",
        ),
        (
            "[levels]\nclap = 9\n",
            ":2:8: \"clap\": give a number from 0 to 4",
        ),
        (
            "[levels]\nclap = \"loud\"\n",
            ":2:8: \"clap\" must be a number, but this is TOML's string",
        ),
        (
            "[level]\nclap = 1\n",
            ":1:2: unknown key \"level\" in this file; did you mean \"levels\"?",
        ),
        (
            "[levels]\nclaps = 1\n",
            ":2:1: unknown key \"claps\" in [levels]; did you mean \"clap\"?",
        ),
        (
            "flash = false\n",
            ":1:1: unknown key \"flash\" in this file; write flash = … below [screen]",
        ),
        (
            "[devices]\nclap-level = 1\n",
            ":2:1: unknown key \"clap-level\" in [devices]; write clap = … below [levels]",
        ),
        (
            "[screen]\nxyzzy = 1\n",
            ":2:1: unknown key \"xyzzy\" in [screen]; known here: flash",
        ),
        (
            "screen = false\n",
            ":1:10: \"screen\" must be a table: write [screen], and its keys below, but this is TOML's boolean",
        ),
        (
            "[voice]\non = \"yes\"\n",
            ":2:6: \"on\" must be true or false, but this is TOML's string",
        ),
        (
            "[devices]\nout = true\n",
            ":2:7: \"out\" must be part of a device's name in quotation marks, or its number, but this is TOML's boolean",
        ),
        (
            "[devices]\nin = -1\n",
            ":2:6: \"in\": devices are numbered from 0",
        ),
        (
            "[devices]\nchannel = 0\n",
            ":2:11: \"channel\": give a channel from 1 to 1024",
        ),
        (
            "[tempo]\nwant = \"120..112\"\n",
            ":2:8: \"want\": the slower tempo comes first: 112..120",
        ),
        (
            "[words]\nroles = []\n",
            ":2:9: \"roles\" is empty; write some words",
        ),
        (
            "[words]\nroles = [\"left\", \"right\"]\n",
            ":2:9: \"roles\": \"left\" already means something else in calls; give two words such as \"lark/robin\" or \"gent/lady\"",
        ),
    ] {
        assert_eq!(wrong(text), format!("{at}{said}"), "{text}");
    }
    let syntax = wrong("[levels]\nclap = \n");
    assert!(syntax.starts_with(&format!("{at}:2:")), "{syntax}");
    assert!(syntax.contains("this is not TOML"), "{syntax}");
}

#[test]
fn all_slips_are_told_at_once_and_the_rest_still_counts() {
    let said = layers("[levels]\nclap = 9\ntick = 2\n[screen]\nflash = 1\n", &[]);
    assert_eq!(said.wrong_file.expect("slips").troubles().len(), 2);
    assert_eq!(said.defaults.tick_level, Some(2.0));
}

#[test]
fn a_variable_that_makes_no_sense_is_named_with_what_to_write() {
    let said = layers("", &[("EIGHTCLAP_FLASH", "maybe")]);
    let told: Vec<String> = said
        .wrong_variables
        .iter()
        .map(ToString::to_string)
        .collect();
    assert_eq!(
        told,
        ["EIGHTCLAP_FLASH is \"maybe\": write true or false; or unset it"]
    );
}

#[test]
fn the_template_explains_every_key_and_sets_none() {
    let fresh = layers(TEMPLATE, &[]);
    assert!(fresh.wrong_file.is_none() && fresh.told.is_empty());
    // Without the # before a key, all of them are set.
    let whole: Vec<&str> = TEMPLATE
        .lines()
        .map(|line| match line.strip_prefix("# ") {
            Some(key)
                if key
                    .split_once(" = ")
                    .is_some_and(|(name, _)| !name.contains(' ')) =>
            {
                key
            }
            _ => line,
        })
        .collect();
    let whole = whole.join("\n");
    let mut known: Vec<String> = ALL.iter().map(|about| about.dotted()).collect();
    known.sort();
    assert_eq!(fuzz::keys(&whole), known);
    let said = layers(&whole, &[]);
    assert!(said.wrong_file.is_none(), "{:?}", said.wrong_file);
    assert_eq!(said.told.len(), ALL.len());
}

#[test]
fn variables_are_named_after_options() {
    for about in &ALL {
        let option = about.options[0].to_uppercase().replace('-', "_");
        assert_eq!(about.variable, format!("EIGHTCLAP_{option}"));
        let both = about.options.len() == 2;
        assert_eq!(about.kind == Kind::Flag, both, "on and off: {}", about.name);
    }
}

/// Every command and every one below it, with its name.
fn commands(of: &Command, name: &str) -> Vec<(String, Command)> {
    let mut all = vec![(name.to_owned(), of.clone())];
    for command in of.get_subcommands() {
        all.extend(commands(command, &format!("{name} {}", command.get_name())));
    }
    all
}

#[test]
fn every_option_that_has_a_key_says_so_and_no_other() {
    let mut found = BTreeSet::new();
    for (name, command) in commands(&Cli::command(), "eightclap") {
        for option in command.get_arguments() {
            let Some(long) = option.get_long() else {
                continue;
            };
            // The voice that `rehearse` scores is a recording.
            let switch = !(long == "voice" && option.get_action().takes_values());
            let key = ALL.iter().find(|about| about.options[0] == long && switch);
            let help = option
                .get_help()
                .map(ToString::to_string)
                .unwrap_or_default();
            let tag = key.map(|about| format!("[config: {}]", about.dotted()));
            let said = help.rfind("[config:").map(|at| help[at..].to_owned());
            assert_eq!(said, tag, "{name} --{long}");
            found.extend(tag);
        }
    }
    assert_eq!(found.len(), ALL.len());
}

#[test]
fn examples_fit_an_old_terminal() {
    for (name, command) in commands(&Cli::command(), "eightclap") {
        let after = command
            .get_after_help()
            .map(ToString::to_string)
            .unwrap_or_default();
        // Other lines are wrapped.
        for line in after.lines().filter(|line| line.starts_with("  ")) {
            assert!(line.width() <= 80, "{name}: {line}");
        }
    }
}

/// What may stand behind a key: of the right kind, of another, out of range, no TOML.
fn value() -> impl Strategy<Value = String> {
    let usual = "\"USB\" \"2\" 2 -1 0 1024 99999999999999999999 0x10 0.5 4.0 1e-7 -0.0 +2 nan inf \
        true false \"\" [] [\"gent\",\"lady\"] [\"ox\",\"oxen\",3] \"baker/miller\" \"112..120\" \
        \"120..112\" \"~/calls\" \"/srv/calls\" \"~//\" {a=1} 1979-05-27 \"\\u0007\" \"\\u2028\" '";
    let usual: Vec<String> = usual.split_whitespace().map(str::to_owned).collect();
    prop_oneof![
        3 => prop::sample::select(usual),
        1 => any::<i64>().prop_map(|n| n.to_string()),
        1 => any::<f64>().prop_map(|n| n.to_string()),
        1 => "\\PC{0,8}".prop_map(|words| toml::Value::from(words).to_string()),
        1 => "[ -~\n]{0,6}",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn any_file_is_read_or_refused(
        values in prop::collection::vec(prop::option::weighted(0.4, value()), ALL.len()),
        slips in prop::collection::vec((any::<prop::sample::Index>(), "[\\[\\]{}=\"',.# \n\\PC]{1,3}"), 0..3),
    ) {
        let set = ALL.iter().zip(&values);
        let lines = set.filter_map(|(about, value)| Some((about.dotted(), value.as_ref()?)));
        let mut text: String = lines.map(|(key, value)| format!("{key} = {value}\n")).collect();
        // Each key alone, so that one that is no TOML does not hide the others; then all.
        for line in text.lines() {
            fuzz::is_read_or_refused(line);
        }
        fuzz::is_read_or_refused(&text);
        for (at, slip) in slips {
            let at = at.index(text.chars().count() + 1);
            let at = text.char_indices().nth(at).map_or(text.len(), |(at, _)| at);
            text.insert_str(at, &slip);
            fuzz::is_read_or_refused(&text);
        }
    }
}
