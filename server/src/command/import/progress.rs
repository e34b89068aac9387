//! A bar for each file at work and one for all of them, on a terminal; nothing where standard error is none.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use indicatif::{MultiProgress, ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Bars of an import.
pub struct Progress {
    bars: MultiProgress,
    all: ProgressBar,
    files: usize,
    read: AtomicUsize,
    done: AtomicUsize,
    /// Lines of one file stay together.
    printing: Mutex<()>,
}

/// What a file is at.
#[derive(Clone, Copy)]
pub enum Step {
    /// It is read.
    Read,
    /// It is committed, or put aside.
    Settle,
}

/// The bar of one file while it is at work; goes when it is dropped.
pub struct Bar<'p> {
    bar: ProgressBar,
    step: Step,
    progress: &'p Progress,
}

impl Progress {
    /// For so many files.
    pub fn new(files: usize) -> Self {
        let bars = MultiProgress::with_draw_target(ProgressDrawTarget::stderr());
        let all = bars.add(ProgressBar::new(files as u64 * 2));
        all.set_style(style("{bar:30} {msg}, {elapsed}"));
        let progress = Progress {
            bars,
            all,
            files,
            read: AtomicUsize::new(0),
            done: AtomicUsize::new(0),
            printing: Mutex::new(()),
        };
        progress.say();
        progress
    }

    fn say(&self) {
        let (read, done) = (self.read.load(Ordering::Relaxed), self.done.load(Ordering::Relaxed));
        self.all.set_message(format!("{} files: {read} read, {done} done", self.files));
    }

    /// A file comes to a step.
    pub fn begin(&self, file: &str, step: Step) -> Bar<'_> {
        let bar = self.bars.insert_before(&self.all, ProgressBar::new(2));
        bar.set_style(style("{bar:10} {msg:11} {prefix}"));
        bar.set_prefix(file.to_owned());
        let (before, what) = match step {
            Step::Read => (0, "reading"),
            Step::Settle => (1, "committing"),
        };
        bar.set_position(before);
        bar.set_message(what);
        Bar { bar, step, progress: self }
    }

    /// Prints lines to standard error, above the bars.
    pub fn print(&self, lines: &[String]) {
        if lines.is_empty() {
            return;
        }
        let _alone = self.printing.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        self.bars.suspend(|| lines.iter().for_each(|line| eprintln!("{line}")));
    }

    /// All is done.
    pub fn finish(&self) {
        self.all.finish_and_clear();
    }
}

impl Drop for Bar<'_> {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
        self.progress.bars.remove(&self.bar);
        let count = match self.step {
            Step::Read => &self.progress.read,
            Step::Settle => &self.progress.done,
        };
        count.fetch_add(1, Ordering::Relaxed);
        self.progress.all.inc(1);
        self.progress.say();
    }
}

fn style(template: &str) -> ProgressStyle {
    // A template that cannot be read is a slip of ours; a plain bar does as well.
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}
