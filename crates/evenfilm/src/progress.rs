//! What is going on, on standard error: a bar on a terminal, plain lines elsewhere.

use std::io::{self, IsTerminal, Write};
use std::sync::atomic::{AtomicU64, Ordering};

use evenfilm_record::lot::Event;
use evenfilm_record::names::printable;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Steps of the bar that a field takes.
const STEPS: u64 = 1000;

/// The progress of one lot.
pub(crate) struct Progress {
    lot: String,
    fields: u64,
    done: AtomicU64,
    bar: Option<ProgressBar>,
}

impl Progress {
    /// Begins to show the progress of a lot.
    pub(crate) fn new(lot: &str, fields: usize) -> Self {
        let fields = fields as u64;
        let bar = io::stderr().is_terminal().then(|| {
            let bar = ProgressBar::with_draw_target(Some(fields * STEPS), ProgressDrawTarget::stderr());
            let style =
                ProgressStyle::with_template("{prefix}  {bar:32} {percent:>3} %  {msg}").unwrap_or_else(|_| ProgressStyle::default_bar());
            bar.with_style(style).with_prefix(printable(lot))
        });
        Self { lot: printable(lot), fields, done: AtomicU64::new(0), bar }
    }

    /// Shows an event; from any thread.
    pub(crate) fn show(&self, event: Event<'_>) {
        match (&self.bar, event) {
            (None, Event::Done { name, .. }) => self.line(self.done.fetch_add(1, Ordering::Relaxed) + 1, &printable(name)),
            (None, Event::Waits { name, .. }) => {
                self.line(self.done.load(Ordering::Relaxed), &format!("{} shows little film and waits for the others", printable(name)));
            }
            (Some(bar), Event::Begun { .. }) => bar.set_message("reading blank and dark"),
            (Some(bar), Event::Field { number, share }) => {
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of 1000")]
                bar.set_position(self.done.load(Ordering::Relaxed) * STEPS + (share.clamp(0.0, 1.0) * STEPS as f32) as u64);
                bar.set_message(format!("field {number} of {}", self.fields));
            }
            (Some(bar), Event::Done { .. }) => bar.set_position((self.done.fetch_add(1, Ordering::Relaxed) + 1) * STEPS),
            (Some(bar), Event::Chance { share }) => bar.set_message(format!("laying particles at random, {:.0} %", 100.0 * share)),
            (Some(bar), Event::Sealing) => bar.set_message("writing the record"),
            _ => {}
        }
    }

    fn line(&self, done: u64, what: &str) {
        let _ = writeln!(io::stderr(), "{}: {done} of {} fields: {what}", self.lot, self.fields);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}
