//! Ctrl-C and other requests from outside to stop.
//!
//! Left to itself the system would end the program at once: half a file would
//! stay behind, or the terminal would stay taken over.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

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
        let mut all = Ok(());
        #[cfg(unix)]
        {
            use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
            use signal_hook::flag;
            for signal in [SIGINT, SIGTERM, SIGHUP] {
                let one = flag::register_conditional_default(signal, self.0.clone())
                    .and_then(|_| flag::register(signal, self.0.clone()));
                all = all.and(one.map(|_| ()));
            }
        }
        all
    }

    /// Whether it is time to stop.
    pub fn asked(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
