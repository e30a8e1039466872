//! A last defence against decoders that panic on damaged files.
//!
//! The decoders are young and files are wild: a length field that overflows a
//! multiplication stops a debug build of them with a panic. Such a file is a
//! damaged file, not a broken program, so the panic is caught here, and its
//! message, which would tell a caller nothing, is kept off the screen.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    static INSIDE: Cell<bool> = const { Cell::new(false) };
}

static HOOK: Once = Once::new();

/// Runs `f` and returns what it returns, or `None` if it panics. What `f`
/// was working on must not be used again after that.
pub(super) fn guard<T>(f: impl FnOnce() -> T) -> Option<T> {
    HOOK.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if !INSIDE.get() {
                before(info);
            }
        }));
    });
    let outer = INSIDE.replace(true);
    let result = panic::catch_unwind(AssertUnwindSafe(f));
    INSIDE.set(outer);
    result.ok()
}

#[cfg(test)]
mod tests {
    use super::guard;

    #[test]
    fn a_panic_becomes_none_and_nothing_else_changes() {
        assert_eq!(guard(|| 3), Some(3));
        let none: Option<u32> = guard(|| panic!("a damaged file"));
        assert_eq!(none, None);
        assert_eq!(guard(|| 4), Some(4));
    }
}
