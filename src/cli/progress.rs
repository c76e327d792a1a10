//! Progress on a terminal, and the interrupt that stops a run.

use super::interrupt;
use super::message::note;
use crate::record::PartError;
use crate::trial::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar with rate and time left, shown only on a terminal.
#[derive(Debug)]
pub struct Bar {
    bar: ProgressBar,
}

impl Bar {
    /// A bar that also listens for the interrupt.
    pub fn new(quiet: bool) -> Self {
        interrupt::tell();
        let target = if quiet { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr() };
        let bar = ProgressBar::with_draw_target(None, target);
        let template = "{bar:30} {human_pos} of {human_len} trials, {per_sec}, {eta} left";
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        Self { bar }
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
        interrupt::heard()
    }

    fn made_again(&self, why: &PartError) {
        self.bar.suspend(|| note(&format!("{why}; its trials are simulated again")));
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
        interrupt::end_at_once();
    }
}
