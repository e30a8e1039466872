//! Keeping the system's sound library off the screen.
//!
//! On Linux the ALSA library and its plugins write complaints straight to
//! standard error, from whichever thread they run on, whenever a device is
//! missing or fails: dozens of lines over a full-screen display or between a
//! command's own. They come from C code and from threads that are not ours, so
//! the one thing that catches them all is to point standard error elsewhere
//! for that time. `rustix` offers that as a safe call; a helper process with
//! its own standard error would be the alternative, but could not hold the
//! stream that plays.
//!
//! What the program itself has to say meanwhile goes through [`tell`], so that
//! nothing of it is lost.

use std::io::{self, Write};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Most lines that are kept while a display is up.
const KEPT: usize = 100;

/// Who wants quiet, and what waits for its end.
struct State {
    /// All that hold standard error off.
    holders: usize,
    /// Those of them that are full-screen displays.
    displays: usize,
    /// What standard error was before.
    #[cfg(target_os = "linux")]
    before: Option<std::os::fd::OwnedFd>,
    later: Vec<String>,
}

static STATE: Mutex<State> = Mutex::new(State {
    holders: 0,
    displays: 0,
    #[cfg(target_os = "linux")]
    before: None,
    later: Vec::new(),
});

fn state() -> MutexGuard<'static, State> {
    STATE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// While one of these lives, standard error goes nowhere (on Linux; elsewhere
/// the sound libraries are quiet and it stays).
///
/// Hold it around device calls and for as long as a full-screen display is up;
/// several may live at once. If the redirection fails, it does without: noise is
/// better than no sound.
#[derive(Debug)]
#[must_use = "standard error comes back when this is dropped"]
pub struct Quiet {
    display: bool,
}

impl Quiet {
    /// Turns standard error off, for a device call.
    pub fn begin() -> Self {
        Self::hold(false)
    }

    /// Turns it off for a full-screen display: what is [told](tell) waits until all
    /// displays are over.
    pub fn display() -> Self {
        Self::hold(true)
    }

    fn hold(display: bool) -> Self {
        let mut state = state();
        state.holders += 1;
        state.displays += usize::from(display);
        #[cfg(target_os = "linux")]
        if state.holders == 1 {
            state.before = linux::turn_off();
        }
        Quiet { display }
    }
}

impl Drop for Quiet {
    fn drop(&mut self) {
        let mut state = state();
        state.holders -= 1;
        state.displays -= usize::from(self.display);
        #[cfg(target_os = "linux")]
        if state.holders == 0
            && let Some(before) = state.before.take()
        {
            let _ = rustix::stdio::dup2_stderr(&before);
        }
        if state.displays == 0 {
            for line in std::mem::take(&mut state.later) {
                let _ = state.write(&line);
            }
        }
    }
}

impl State {
    /// Writes a line to where standard error leads when nothing holds it off.
    fn write(&self, line: &str) -> io::Result<()> {
        #[cfg(target_os = "linux")]
        if let Some(before) = &self.before {
            return writeln!(std::fs::File::from(before.try_clone()?), "{line}");
        }
        writeln!(io::stderr(), "{line}")
    }
}

/// Writes a line to standard error, though it may be held off; while a display is up,
/// after that. If nobody can read it, that is no reason to stop (`eprintln!` would
/// panic).
pub fn tell(line: &str) {
    let mut state = state();
    match state.displays {
        0 => {
            let _ = state.write(line);
        }
        _ if state.later.len() < KEPT => state.later.push(line.to_owned()),
        _ => {}
    }
}

#[cfg(target_os = "linux")]
mod linux {
    use std::fs::OpenOptions;
    use std::io::Write;
    use std::os::fd::{AsFd, OwnedFd};

    /// Points standard error at nothing and returns what it was.
    pub(super) fn turn_off() -> Option<OwnedFd> {
        let mut stderr = std::io::stderr();
        let _ = stderr.flush();
        let before = stderr.as_fd().try_clone_to_owned().ok()?;
        let nothing = OpenOptions::new().write(true).open("/dev/null").ok()?;
        rustix::stdio::dup2_stderr(&nothing).ok()?;
        Some(before)
    }
}
