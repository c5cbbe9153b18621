//! Progress and warnings on stderr: a spinner for a person, plain lines for a log.

use indicatif::{ProgressBar, ProgressStyle};
use std::io::{self, IsTerminal, Write};
use std::time::Duration;

const SPIN: Duration = Duration::from_millis(120);

/// Tells what is being done.
pub(super) struct Talk {
    spinner: Option<ProgressBar>,
}

impl Talk {
    pub fn new() -> Self {
        let spinner = io::stderr().is_terminal().then(|| {
            let bar = ProgressBar::new_spinner();
            if let Ok(style) = ProgressStyle::with_template("{spinner} {msg}") {
                bar.set_style(style);
            }
            bar.enable_steady_tick(SPIN);
            bar
        });
        Talk { spinner }
    }

    /// What is being done now.
    pub fn step(&self, what: &str) {
        match &self.spinner {
            Some(bar) => bar.set_message(what.to_owned()),
            None => line(what),
        }
    }

    /// How far it has come: for a person only, a log has no use for it.
    pub fn progress(&self, what: &str) {
        if let Some(bar) = &self.spinner {
            bar.set_message(what.to_owned());
        }
    }

    /// What the person should know, whatever comes after.
    pub fn note(&self, what: &str) {
        match &self.spinner {
            Some(bar) => bar.suspend(|| line(what)),
            None => line(what),
        }
    }

    pub fn warn(&self, what: &str) {
        self.note(&format!("warning: {what}"));
    }
}

impl Drop for Talk {
    fn drop(&mut self) {
        if let Some(bar) = &self.spinner {
            bar.finish_and_clear();
        }
    }
}

/// Nobody is left to tell where stderr is closed.
fn line(text: &str) {
    let _ = writeln!(io::stderr(), "{text}");
}
