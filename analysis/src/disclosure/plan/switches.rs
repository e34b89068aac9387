//! Rules switched off for one thread: a test of a rule must fail without it.

use std::cell::Cell;

/// A rule that can be switched off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Rule {
    /// Levels and years of purchase are cut together.
    Years,
    /// What is left of a wider taxon passes or is nothing.
    Tree,
    /// What a condition that had to hold leaves out passes or is nothing.
    Given,
    /// What another outcome leaves out of death passes or is nothing.
    Outcome,
}

thread_local! {
    static OFF: Cell<Option<Rule>> = const { Cell::new(None) };
}

/// Whether a rule is switched off.
pub(crate) fn is_off(rule: Rule) -> bool {
    OFF.get() == Some(rule)
}

/// What comes of something without a rule.
pub(crate) fn without<T>(rule: Option<Rule>, run: impl FnOnce() -> T) -> T {
    OFF.set(rule);
    let result = run();
    OFF.set(None);
    result
}
