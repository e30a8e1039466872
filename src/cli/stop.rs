//! Ctrl-C and other requests to stop, for commands without a screen.
//!
//! Left to itself the system would end the program at once, and half a file
//! would stay behind.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Whether the caller has asked to stop.
#[derive(Debug, Clone, Default)]
pub(super) struct Stop(Arc<AtomicBool>);

impl Stop {
    /// Listens from now on. A second signal ends the program even if it is
    /// busy. Where listening is not possible, signals do what they always did.
    pub(super) fn listen() -> Self {
        let stop = Stop::default();
        #[cfg(unix)]
        {
            use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
            for signal in [SIGINT, SIGTERM, SIGHUP] {
                let _ = signal_hook::flag::register_conditional_default(signal, stop.0.clone());
                let _ = signal_hook::flag::register(signal, stop.0.clone());
            }
        }
        stop
    }

    /// Whether it is time to stop.
    pub(super) fn asked(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
