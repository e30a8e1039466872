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

/// While one of these lives, standard error goes nowhere (on Linux; elsewhere
/// the sound libraries are quiet and this does nothing).
///
/// Hold it around device calls and for as long as a full-screen display is up;
/// several may live at once. What is to be read meanwhile goes through [`tell`]. If the
/// redirection fails, it does without: noise is better than no sound.
#[derive(Debug)]
#[must_use = "standard error comes back when this is dropped"]
pub struct Quiet {
    #[cfg(target_os = "linux")]
    _held: linux::Held,
}

impl Quiet {
    /// Turns standard error off.
    pub fn begin() -> Self {
        Quiet {
            #[cfg(target_os = "linux")]
            _held: linux::Held::new(),
        }
    }
}

/// Writes a line to standard error, to where it leads when nothing holds it off. If
/// nobody can read it, that is no reason to stop (`eprintln!` would panic).
pub fn tell(line: &str) {
    #[cfg(target_os = "linux")]
    let _ = linux::tell(line);
    #[cfg(not(target_os = "linux"))]
    let _ = std::io::Write::write_fmt(&mut std::io::stderr(), format_args!("{line}\n"));
}

#[cfg(target_os = "linux")]
mod linux {
    use std::fs::{File, OpenOptions};
    use std::io::{self, Write};
    use std::os::fd::{AsFd, OwnedFd};
    use std::sync::{Mutex, MutexGuard, PoisonError};

    /// How many hold standard error off, and what it was before.
    struct State {
        holders: usize,
        before: Option<OwnedFd>,
    }

    static STATE: Mutex<State> = Mutex::new(State {
        holders: 0,
        before: None,
    });

    fn state() -> MutexGuard<'static, State> {
        STATE.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn tell(line: &str) -> io::Result<()> {
        // Nobody turns standard error off or on meanwhile.
        let state = state();
        match &state.before {
            Some(before) => writeln!(File::from(before.try_clone()?), "{line}"),
            None => writeln!(io::stderr(), "{line}"),
        }
    }

    #[derive(Debug)]
    pub(super) struct Held(());

    impl Held {
        pub(super) fn new() -> Self {
            let mut state = state();
            state.holders += 1;
            if state.holders == 1 {
                state.before = turn_off();
            }
            Held(())
        }
    }

    impl Drop for Held {
        fn drop(&mut self) {
            let mut state = state();
            state.holders -= 1;
            if state.holders == 0
                && let Some(before) = state.before.take()
            {
                let _ = rustix::stdio::dup2_stderr(&before);
            }
        }
    }

    /// Points standard error at nothing and returns what it was.
    fn turn_off() -> Option<OwnedFd> {
        let mut stderr = std::io::stderr();
        let _ = stderr.flush();
        let before = stderr.as_fd().try_clone_to_owned().ok()?;
        let nothing = OpenOptions::new().write(true).open("/dev/null").ok()?;
        rustix::stdio::dup2_stderr(&nothing).ok()?;
        Some(before)
    }
}
