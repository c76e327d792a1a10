//! What an interrupt (Ctrl-C, or the signal with which a scheduler ends a job) does.
//!
//! While trials run, the run is told and says how far it came. At any other time the process ends at once: every file
//! is written whole or not at all, so that nothing is lost but what was at hand.

use super::Ending;
use std::io::Write as _;
use std::sync::Once;
use std::sync::atomic::{AtomicBool, Ordering};

/// Whether a run wants to be told.
static TELL: AtomicBool = AtomicBool::new(false);

/// Whether it was interrupted.
static HEARD: AtomicBool = AtomicBool::new(false);

/// From now on an interrupt is told to whoever asks [`heard`].
pub fn tell() {
    listen();
    TELL.store(true, Ordering::SeqCst);
}

/// From now on an interrupt ends the process.
pub fn end_at_once() {
    listen();
    TELL.store(false, Ordering::SeqCst);
}

/// Whether there was an interrupt.
pub fn heard() -> bool {
    HEARD.load(Ordering::Relaxed)
}

fn listen() {
    static LISTEN: Once = Once::new();
    LISTEN.call_once(|| {
        // Without a handler an interrupt ends the process too, only without a word and with another status.
        let _ = ctrlc::set_handler(|| {
            HEARD.store(true, Ordering::Relaxed);
            if !TELL.load(Ordering::SeqCst) {
                let _ = writeln!(std::io::stderr(), "stopped; repeat the command to go on from here");
                std::process::exit(Ending::Unfinished as i32);
            }
        });
    });
}
