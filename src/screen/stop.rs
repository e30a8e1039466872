//! Ctrl-C and other requests from outside to stop.
//!
//! Left to itself the system would end the program at once: half a file would
//! stay behind, or the terminal would stay taken over.

use std::io;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Weak};
#[cfg(unix)]
use std::time::Duration;

/// Time that a program has to end by itself after a signal.
#[cfg(unix)]
const PATIENCE: Duration = Duration::from_secs(2);

/// Whether somebody has asked to stop.
#[derive(Debug, Clone, Default)]
pub struct Stop(Arc<AtomicBool>);

impl Stop {
    /// Listens for INT, TERM and HUP from now on. A second signal ends the
    /// program even if it no longer listens.
    ///
    /// # Errors
    /// If one of them cannot be listened for: it does what it always did.
    pub fn listen(&self) -> io::Result<()> {
        #[cfg(unix)]
        {
            use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
            use signal_hook::flag;
            let mut all = Ok(());
            for signal in [SIGINT, SIGTERM, SIGHUP] {
                let one = flag::register_conditional_default(signal, self.0.clone())
                    .and_then(|_| flag::register(signal, self.0.clone()));
                all = all.and(one.map(|_| ()));
            }
            all
        }
        // Elsewhere they do what they always did.
        #[cfg(not(unix))]
        Ok(())
    }

    /// Ends the program some time after a signal if `in_use` is then still held,
    /// with `before` done first: whoever waits for a key of a terminal that has
    /// gone away may never look at [`Self::asked`] again (crossterm 0.29 reads on
    /// and on at the end of its input).
    ///
    /// # Errors
    /// If the signals cannot be listened for, or no thread can be had.
    pub fn insist(in_use: Weak<()>, before: fn()) -> io::Result<()> {
        #[cfg(unix)]
        {
            use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
            let mut signals = signal_hook::iterator::Signals::new([SIGINT, SIGTERM, SIGHUP])?;
            std::thread::Builder::new()
                .name("signals".to_owned())
                .spawn(move || {
                    for _ in signals.forever() {
                        std::thread::sleep(PATIENCE);
                        if in_use.upgrade().is_some() {
                            before();
                            std::process::exit(1);
                        }
                    }
                })?;
        }
        #[cfg(not(unix))]
        let _ = (in_use, before);
        Ok(())
    }

    /// Leaves Ctrl-C to another program that has the terminal, such as a pager: ending
    /// first would spoil the terminal for it.
    pub fn leave_interrupts() {
        #[cfg(unix)]
        {
            use signal_hook::{consts::SIGINT, flag};
            // Where that is not possible, Ctrl-C does what it always did.
            let _ = flag::register(SIGINT, Stop::default().0);
        }
    }

    /// Whether it is time to stop.
    pub fn asked(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
