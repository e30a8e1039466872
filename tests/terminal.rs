//! The program in a real terminal: keys in, picture out, and the terminal given back
//! whatever happens. `tmux` is the terminal; without it these tests say so and pass.

#[cfg(target_os = "linux")]
#[allow(dead_code, reason = "shared with other tests")]
mod rig;

use std::path::PathBuf;
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use eightclap::screen::Screen;

/// How long anything may take on a busy machine.
const PATIENCE: Duration = Duration::from_secs(20);
/// What stands on the terminal before the program takes it over.
const BEFORE: &str = "what-stood-here-before";

/// A terminal with a shell in it, ended when dropped.
struct Terminal {
    server: String,
    folder: tempfile::TempDir,
}

impl Terminal {
    /// A terminal of so many cells; `None` if there can be none.
    fn open(width: u16, height: u16) -> Option<Self> {
        if Command::new("tmux").arg("-V").output().is_err() {
            eprintln!("skipped: tmux is not installed (Debian: apt-get install tmux)");
            return None;
        }
        let folder = tempfile::tempdir().expect("a folder");
        let terminal = Terminal {
            server: folder.path().join("tmux").display().to_string(),
            folder,
        };
        let (width, height) = (width.to_string(), height.to_string());
        // No sound device is in reach, and the shell is a plain one.
        let shell = format!(
            "env -u NO_COLOR RUST_BACKTRACE=0 ALSA_CONFIG_PATH=/dev/null EIGHTCLAP_CONFIG= PS1='$ ' LC_ALL=C.UTF-8 ENV= sh -c 'echo {BEFORE}; exec sh -i'"
        );
        let opened = terminal.tmux(&["new-session", "-d", "-x", &width, "-y", &height, &shell]);
        assert!(opened.status.success(), "{opened:?}");
        terminal.until("the shell", |screen| screen.ends_with('$'));
        Some(terminal)
    }

    fn tmux(&self, args: &[&str]) -> Output {
        Command::new("tmux")
            .args(["-u", "-f", "/dev/null", "-S", &self.server])
            .args(args)
            .env_remove("TMUX")
            .output()
            .expect("tmux")
    }

    fn ask(&self, args: &[&str]) -> String {
        String::from_utf8_lossy(&self.tmux(args).stdout)
            .trim_end()
            .into()
    }

    /// Where a program started by [`Terminal::start`] leaves its process number.
    fn pid_file(&self) -> PathBuf {
        self.folder.path().join("pid")
    }

    /// Runs a program in the terminal's shell.
    fn start(&self, program: &str, args: &str) {
        let pid = self.pid_file();
        let line = format!("sh -c 'echo $$ >{}; exec {program} {args}'", pid.display());
        self.press(&["-l", &line]);
        self.press(&["Enter"]);
    }

    fn press(&self, keys: &[&str]) {
        let mut args = vec!["send-keys"];
        args.extend(keys);
        assert!(self.tmux(&args).status.success());
    }

    fn screen(&self) -> String {
        self.ask(&["capture-pane", "-p"])
    }

    /// Waits until the screen is as wanted, and hands it back.
    #[track_caller]
    fn until(&self, what: &str, wanted: impl Fn(&str) -> bool) -> String {
        let start = Instant::now();
        loop {
            let screen = self.screen();
            if wanted(&screen) {
                // It may have been caught while it was drawn.
                std::thread::sleep(Duration::from_millis(10));
                let whole = self.screen();
                if wanted(&whole) {
                    return whole;
                }
            }
            assert!(start.elapsed() < PATIENCE, "no {what} in\n{screen}");
            std::thread::sleep(Duration::from_millis(30));
        }
    }

    #[track_caller]
    fn shows(&self, words: &str) -> String {
        self.until(words, |screen| screen.contains(words))
    }

    /// The program has ended and the terminal is as it was before it.
    #[track_caller]
    fn is_given_back(&self) {
        let screen = self.until("prompt after the program", |screen| {
            screen.contains(BEFORE) && screen.lines().last().is_some_and(|l| l.trim_end() == "$")
        });
        let flags = self.ask(&["display", "-p", "#{alternate_on} #{cursor_flag}"]);
        assert_eq!(flags, "0 1", "another screen, or no cursor:\n{screen}");
        self.press(&["clear; stty -a", "Enter"]);
        let modes = self.shows("icanon");
        for mode in ["icanon", "echo", "isig", "icrnl", "opost"] {
            let on = modes
                .split_whitespace()
                .any(|word| word.trim_end_matches(';') == mode);
            assert!(on, "{mode} is off:\n{modes}");
        }
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        self.tmux(&["kill-server"]);
    }
}

fn program() -> &'static str {
    env!("CARGO_BIN_EXE_eightclap")
}

#[test]
fn keys_go_in_and_pictures_come_out() {
    let Some(terminal) = Terminal::open(80, 24) else {
        return;
    };
    terminal.start(program(), "demo");
    terminal.shows("Lanterns on the Weir");
    let screen = terminal.shows("no sound");
    assert!(screen.contains("going on in silence"), "{screen}");
    // The tune is heard, counted and held against the card.
    let screen = terminal.shows("NOW  beat");
    assert!(
        screen.contains("[A1]") && screen.contains("time through 1"),
        "{screen}"
    );
    assert!(
        screen.contains("steps per minute") && screen.contains('█'),
        "{screen}"
    );

    terminal.press(&["?"]);
    // A picture may be caught while it is drawn: its last row tells that it is whole.
    let help = terminal.shows("║ q ");
    for key in ["space", "→", "←", "+ -", "c ", "h ", "f ", "?", "q "] {
        assert!(help.contains(&format!("║ {key}")), "no {key} in\n{help}");
    }
    terminal.press(&["?"]);
    terminal.until("picture without keys", |screen| !screen.contains(" keys ═"));
    terminal.press(&["c"]);
    terminal.shows("claps off");
    terminal.press(&["c"]);
    terminal.shows("claps on");
    terminal.press(&["f"]);
    terminal.shows("flashing off");
    terminal.press(&["h"]);
    terminal.shows("claps held");
    terminal.press(&["+"]);
    terminal.shows("only 86 to 148 are counted");
    terminal.press(&["Space"]);
    terminal.shows("this is one");

    // Smaller and tiny, with nothing broken.
    for (width, height, words) in [
        ("40", "12", "? keys"),
        ("20", "2", "> "),
        ("100", "30", "flash off"),
    ] {
        terminal.tmux(&["resize-window", "-x", width, "-y", height]);
        terminal.shows(words);
    }
    terminal.press(&["q"]);
    // What was heard is told after the screen.
    terminal.shows("steps per minute");
    terminal.is_given_back();
}

#[test]
fn a_lesson_goes_step_by_step_with_drills_that_flash_without_a_loudspeaker() {
    let Some(terminal) = Terminal::open(90, 26) else {
        return;
    };
    terminal.start(program(), "lesson");
    let screen = terminal.shows("1 of 9   Hear the four lead-in beats");
    assert!(screen.contains("drills without feedback"), "{screen}");
    terminal.press(&["b"]);
    terminal.shows("this is the first step");
    terminal.press(&["n"]);
    terminal.shows("2 of 9   Clap on one of each eight");
    terminal.press(&["Space"]);
    terminal.shows("flashes only, nothing sounds");
    terminal.shows("lead-in");
    let screen = terminal.until("count", |screen| screen.contains('█'));
    for words in [
        "the room: ________________",
        "my clap: ▮▮▮▮▮▮▮▮",
        "no microphone",
    ] {
        assert!(screen.contains(words), "no {words} in\n{screen}");
    }
    terminal.press(&["Space"]);
    terminal.shows("stopped");
    for step in 3..=9 {
        terminal.press(&["n"]);
        terminal.shows(&format!("{step} of 9"));
    }
    terminal.press(&["n"]);
    terminal.shows("this was the last step");
    terminal.press(&["q"]);
    terminal.is_given_back();
}

#[test]
#[cfg(target_os = "linux")]
fn an_evening_goes_on_by_a_key_with_its_times_in_sight() {
    let (Some(terminal), Ok(card)) = (Terminal::open(120, 30), rig::Card::start()) else {
        eprintln!("skipped: the virtual sound card or tmux is missing");
        return;
    };
    let program = format!(
        "env -u ALSA_CONFIG_PATH VIRTUAL_CARD_DIR={} {} run {}",
        card.folder.path().display(),
        card.script.display(),
        program()
    );
    terminal.start(&program, "programme run regular-evening");
    let screen = terminal.shows("1 of 9");
    for words in [
        "Gravel and Clover",
        "left   11 times",
        "n: The Borrowed Umbrella",
        "claps on",
    ] {
        assert!(screen.contains(words), "no {words} in\n{screen}");
    }
    terminal.shows("n next item");
    terminal.press(&["n"]);
    terminal.shows("2 of 9: The Borrowed Umbrella – Show the turn as couples");
    terminal.shows("neighbours balance, and swing");
    // A waltz has no phrases of eight: nothing is clapped meanwhile.
    terminal.press(&["n"]);
    terminal.shows("Couple dance: a waltz");
    terminal.shows("claps held");
    terminal.press(&["n"]);
    terminal.shows("Lamps Along the Quay");
    terminal.shows("claps on");
    terminal.press(&["b"]);
    terminal.shows("n: Lamps Along the Quay");
    terminal.press(&["?"]);
    terminal.shows("║ n      on to the next item");
    terminal.press(&["q"]);
    terminal.is_given_back();
}

#[test]
fn control_c_and_a_signal_give_the_terminal_back() {
    let Some(terminal) = Terminal::open(80, 24) else {
        return;
    };
    terminal.start(program(), "demo --no-flash");
    terminal.shows("flash off");
    terminal.press(&["C-c"]);
    terminal.is_given_back();

    terminal.press(&[&format!("clear; echo {BEFORE}"), "Enter"]);
    terminal.start(program(), "demo --no-claps");
    terminal.shows("claps off");
    let pid = std::fs::read_to_string(terminal.pid_file()).expect("a process number");
    let sent = Command::new("kill").args(["-TERM", pid.trim()]).status();
    assert!(sent.is_ok_and(|status| status.success()));
    terminal.is_given_back();
}

#[test]
#[cfg(target_os = "linux")]
fn it_ends_when_the_terminal_goes_away() {
    let Some(terminal) = Terminal::open(80, 24) else {
        return;
    };
    terminal.start(program(), "demo");
    terminal.shows("Lanterns on the Weir");
    let pid = std::fs::read_to_string(terminal.pid_file()).expect("a process number");
    let process = PathBuf::from(format!("/proc/{}", pid.trim()));
    assert!(process.exists(), "{process:?}");
    assert!(terminal.tmux(&["kill-server"]).status.success());
    let begun = Instant::now();
    while process.exists() {
        assert!(begun.elapsed() < PATIENCE, "{process:?} is still there");
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn plain_lines_leave_the_terminal_alone() {
    let Some(terminal) = Terminal::open(120, 24) else {
        return;
    };
    terminal.start(program(), "demo --line");
    let screen = terminal.until("line of a phrase", |screen| screen.contains("A1 phrase 1"));
    let line = screen
        .lines()
        .find(|line| line.contains("A1 phrase 1"))
        .unwrap_or_default();
    for words in ["time 1", "steps per minute", "sure", "neighbours balance"] {
        assert!(line.contains(words), "no {words} in {line}");
    }
    assert_eq!(terminal.ask(&["display", "-p", "#{alternate_on}"]), "0");
    terminal.press(&["C-c"]);
    terminal.is_given_back();
}

#[test]
fn a_panic_gives_the_terminal_back_before_it_is_told() {
    let Some(terminal) = Terminal::open(80, 24) else {
        return;
    };
    let this = std::env::current_exe().expect("this test");
    terminal.start(
        &this.display().to_string(),
        "--ignored --exact --nocapture panics_on_the_screen",
    );
    terminal.shows("a bolt from the blue");
    terminal.is_given_back();
}

/// Run by the test above, in its terminal.
#[test]
#[ignore = "takes the terminal over and panics"]
fn panics_on_the_screen() {
    let mut screen = Screen::enter().expect("a terminal");
    screen
        .draw_with(|frame| frame.render_widget("taken over", frame.area()))
        .expect("drawn");
    std::thread::sleep(Duration::from_millis(300));
    panic!("a bolt from the blue");
}
