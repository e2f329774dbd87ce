//! Ctrl-C: the first one ends the work in good order, a second one at once.

use std::sync::atomic::{AtomicBool, Ordering};

use crate::exit::Exit;

static ASKED: AtomicBool = AtomicBool::new(false);

/// Begins to listen; gives what is set once somebody asks to stop. Where the system does not let us listen, it ends the program as ever,
/// and the next run takes away what was left.
pub(crate) fn listen() -> &'static AtomicBool {
    let _ = ctrlc::set_handler(|| {
        if ASKED.swap(true, Ordering::SeqCst) {
            end_at_once();
        }
    });
    &ASKED
}

#[expect(clippy::exit, reason = "the second Ctrl-C: whoever presses it does not want to wait for anything")]
fn end_at_once() -> ! {
    std::process::exit(Exit::Interrupted.code().into())
}
