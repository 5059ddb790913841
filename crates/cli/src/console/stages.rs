//! What is being done now, for a person who waits, and how long each stage took.

use crate::timings::{Clock, Timings, Work};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::cell::RefCell;
use std::io::{self, IsTerminal};
use std::time::Duration;

/// Stage messages: a moving line on a terminal, nothing in a pipe.
pub struct Stages {
    bar: ProgressBar,
    clock: RefCell<Clock>,
}

impl Default for Stages {
    fn default() -> Self {
        Self::new()
    }
}

impl Stages {
    /// Starts quietly unless standard error is a terminal.
    #[must_use]
    pub fn new() -> Self {
        let bar = ProgressBar::new_spinner();
        if io::stderr().is_terminal() {
            if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} ({elapsed})") {
                bar.set_style(style);
            }
            bar.enable_steady_tick(Duration::from_millis(120));
        } else {
            bar.set_draw_target(ProgressDrawTarget::hidden());
        }
        Self { bar, clock: RefCell::new(Clock::start()) }
    }

    /// Starts a stage of `--timings`; messages after it belong to it.
    pub fn enter(&self, stage: &'static str) {
        self.clock.borrow_mut().enter(stage);
    }

    /// Names what is being done now.
    pub fn now(&self, stage: impl Into<String>) {
        self.bar.set_message(stage.into());
    }

    /// Clears the line.
    pub fn finish(&self) {
        self.bar.finish_and_clear();
    }

    /// The stages so far, the last one ended now.
    #[must_use]
    pub fn timings(&self, work: Work) -> Timings {
        self.clock.borrow_mut().read(work)
    }
}
