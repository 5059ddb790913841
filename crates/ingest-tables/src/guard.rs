//! Libraries that panic on damaged files, held to a message.

use std::any::Any;
use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};

thread_local! {
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// Runs what a library does with a file on this thread; what it says when it panics is the error. Nothing that
/// the work changed may be used after that.
pub(crate) fn guarded<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    let before = GUARDED.replace(true);
    let done = catch_unwind(AssertUnwindSafe(work));
    GUARDED.set(before);
    done.map_err(|payload| said(payload.as_ref()))
}

fn said(payload: &(dyn Any + Send)) -> String {
    let text = payload.downcast_ref::<String>().map(String::as_str);
    text.or_else(|| payload.downcast_ref::<&str>().copied()).unwrap_or("damaged").to_owned()
}

/// Keeps panics that become messages from being printed beside them; for programs, once, at their start.
pub fn quiet_guarded_panics() {
    let before = take_hook();
    set_hook(Box::new(move |info| {
        if !GUARDED.get() {
            before(info);
        }
    }));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[allow(clippy::panic, reason = "what is caught")]
    fn a_panic_becomes_its_words() {
        assert_eq!(guarded(|| 3), Ok(3));
        assert_eq!(guarded(|| -> u8 { panic!("out of bounds") }), Err("out of bounds".to_owned()));
        assert_eq!(guarded(|| -> u8 { panic!("at {}", 7) }), Err("at 7".to_owned()));
        assert!(!GUARDED.get());
    }
}
