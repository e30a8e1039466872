//! The guide, completions, and manual pages.

use super::*;

#[test]
fn the_guide_is_plain_text_where_nobody_looks() {
    let all = run(["guide"]).well().out;
    for line in run(["guide", "--list"]).well().out.lines() {
        let (topic, title) = line.trim().split_once("  ").expect("a topic and its title");
        let one = run(["guide", topic]).well().out;
        assert!(one.starts_with(&format!("{}\n=", title.trim())), "{one}");
        assert!(all.contains(&one), "{topic}");
        assert!(one.lines().all(|line| line.chars().count() <= 78), "{one}");
    }
    let slip = run(["guide", "caution"]);
    assert_eq!(slip.code, 2, "{slip:?}");
    assert!(slip.err.contains("'cautions'"), "{slip:?}");
}

#[test]
fn what_the_guide_says_to_type_can_be_typed() {
    let all = run(["guide"]).well().out.replace('\n', " ");
    let mut typed = 0;
    for code in all.split('`').skip(1).step_by(2) {
        let words: Vec<&str> = code.split_whitespace().collect();
        let Some((&"eightclap", words)) = words.split_first() else {
            continue;
        };
        // Commands and options are looked for in the help of the command itself.
        let depth = words
            .iter()
            .take_while(|w| w.chars().all(|c| c.is_ascii_lowercase()));
        let named: Vec<&str> = depth.copied().take(2).collect();
        let help = run(named.iter().chain([&"--help"])).well().out;
        for option in words.iter().filter(|word| word.starts_with("--")) {
            assert!(help.contains(*option), "{code}: {help}");
        }
        typed += 1;
    }
    assert!(typed > 20, "{typed}");
}

#[test]
fn every_shell_gets_completions_of_every_command() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let said = run(["completions", shell]).well();
        for word in ["rehearse", "clap-level", "guide"] {
            assert!(said.out.contains(word), "{shell}: no {word}");
        }
        // The others complete no topics.
        let values = ["bash", "zsh"].contains(&shell);
        assert_eq!(said.out.contains("first-evening"), values, "{shell}");
    }
}

#[test]
fn manual_pages_are_made_for_the_program_each_command_and_the_guide() {
    let folder = tempfile::tempdir().unwrap();
    let pages = folder.path().join("made/here");
    run([OsStr::new("man"), pages.as_os_str()]).well();
    let names = listing(&pages);
    let help = run(["--help"]).well().out;
    let commands = help.lines().skip_while(|line| *line != "Commands:").skip(1);
    let commands: Vec<&str> = commands
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.strip_prefix("  ")?.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert!(commands.len() > 10, "{commands:?}");
    for command in commands {
        let name = format!("eightclap-{command}.1");
        assert!(names.contains(&name), "{name}: {names:?}");
    }
    for name in &names {
        let page = std::fs::read_to_string(pages.join(name)).unwrap();
        assert!(page.contains(".SH NAME"), "{name}");
        assert!(page.contains(".SH \"SEE ALSO\""), "{name}");
    }
    let practise = std::fs::read_to_string(pages.join("eightclap-practise.1")).unwrap();
    assert!(practise.contains(".SH EXAMPLES\n.nf\n"), "{practise}");
    let guide = std::fs::read_to_string(pages.join("eightclap-guide.7")).unwrap();
    assert!(
        guide.contains("eightclap\\-guide") || guide.contains("eightclap-guide"),
        "{guide}"
    );
    assert!(
        guide.contains(".SH \"PRIVACY\"") || guide.contains(".SH PRIVACY"),
        "{guide}"
    );
}
