//! Progress on a terminal, and the interrupt that stops a run.

use crate::trial::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// A bar with rate and time left, shown only on a terminal.
#[derive(Debug)]
pub struct Bar {
    bar: ProgressBar,
    stop: Arc<AtomicBool>,
}

impl Bar {
    /// A bar that also listens for the interrupt.
    pub fn new(quiet: bool) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let heard = Arc::clone(&stop);
        // Without a handler an interrupt ends the process at once, which loses at most the part at hand.
        let _ = ctrlc::set_handler(move || heard.store(true, Ordering::Relaxed));
        let target = if quiet { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr() };
        let bar = ProgressBar::with_draw_target(None, target);
        let template = "{bar:30} {human_pos} of {human_len} trials, {per_sec}, {eta} left";
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        Self { bar, stop }
    }
}

impl Progress for Bar {
    fn begin(&self, trials: u64) {
        self.bar.set_length(trials);
        self.bar.reset();
    }

    fn advance(&self, trials: u64) {
        self.bar.inc(trials);
    }

    fn interrupted(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
