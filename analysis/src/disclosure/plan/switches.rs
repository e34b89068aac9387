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
    /// A block holds enough keepers, tanks and specimens, and no keeper too much of it.
    Minimum,
    /// The public's blocks are unions of the members'.
    Public,
    /// The blocks of a part of the time are unions of those of the whole.
    Layers,
    /// Blocks are unions of those of wider taxa.
    Wider,
    /// What a taught band and the ladder have in common passes.
    Across,
    /// Levels that edges ask for are unions of whole rows.
    Edges,
    /// What is left of a count of a wider taxon passes or is nothing.
    Parts,
    /// A later release tells what nobody or three members changed.
    Enough,
    /// Blocks of two releases fit.
    Fits,
    /// At each age of a curve, blocks are of nobody or of keepers enough.
    Ages,
    /// How many ended leaves open how many are in two blocks.
    Alike,
    /// What nobody changed is told in a later release only if it was told before.
    Told,
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
