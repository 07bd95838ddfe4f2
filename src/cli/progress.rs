//! Progress on a terminal: one line with the stage at work. Without a terminal there is none.

use crate::stages::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{IsTerminal, stderr};

/// A bar on standard error, or nothing.
pub struct Bar(Option<ProgressBar>);

impl Bar {
    /// A bar when standard error is a terminal and `shown`.
    #[must_use]
    pub fn new(shown: bool) -> Self {
        if !shown || !stderr().is_terminal() {
            return Self(None);
        }
        let bar = ProgressBar::with_draw_target(Some(100), ProgressDrawTarget::stderr());
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg:<12} {bar:30} {percent:>3} %  {elapsed}") {
            bar.set_style(style);
        }
        Self(Some(bar))
    }

    /// Takes the bar off the screen.
    pub fn finish(&self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}

impl Progress for Bar {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0..=100")]
    fn advance(&self, stage: &str, done_ratio: f64) {
        if let Some(bar) = &self.0 {
            bar.set_message(stage.to_owned());
            bar.set_position((done_ratio.clamp(0.0, 1.0) * 100.0) as u64);
        }
    }
}
