//! The checks of access, by name and place, so that a test can take out one after another and see that it is missed.
//!
//! In every ordinary build a check is its condition and nothing else. With the feature `access-mutation`, which no
//! program that serves is built with, a check notes that it was reached and holds whatever its condition says
//! if a test took it out.

/// A condition on which access rests: `check!("a name", condition)`.
#[cfg(not(feature = "access-mutation"))]
macro_rules! check {
    ($name:literal, $condition:expr) => {
        $crate::access::check::holds($condition)
    };
}

/// A condition as it is: a name of its own, so that what stands around a check reads as it is written.
#[cfg(not(feature = "access-mutation"))]
#[inline(always)]
pub(crate) const fn holds(condition: bool) -> bool {
    condition
}

/// A condition of a query on which access rests.
#[cfg(not(feature = "access-mutation"))]
macro_rules! check_row {
    ($name:literal, $condition:expr) => {
        $condition
    };
}

#[cfg(feature = "access-mutation")]
macro_rules! check {
    ($name:literal, $condition:expr) => {
        ($crate::access::check::mutation::at($name) != $crate::access::check::mutation::Mode::Kept) | $condition
    };
}

#[cfg(feature = "access-mutation")]
macro_rules! check_row {
    ($name:literal, $condition:expr) => {{
        use diesel::expression_methods::BoolExpressionMethods;
        let out = $crate::access::check::mutation::at($name) != $crate::access::check::mutation::Mode::Kept;
        $condition.or(diesel::IntoSql::into_sql::<diesel::sql_types::Bool>(out))
    }};
}

pub(crate) use {check, check_row};

/// What a test took out, and what was reached.
#[cfg(feature = "access-mutation")]
pub mod mutation {
    use std::collections::{BTreeMap, BTreeSet};
    use std::panic::Location;
    use std::sync::{Mutex, PoisonError};

    /// What is done to a check.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
    pub enum Mode {
        /// Nothing.
        Kept,
        /// It is gone: whoever comes passes, with everybody's records in reach.
        Deleted,
        /// It is gone, and who comes reaches what they would have reached without asking for a right: their own.
        Weakened,
    }

    static OUT: Mutex<BTreeMap<String, Mode>> = Mutex::new(BTreeMap::new());
    static REACHED: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());

    /// Takes checks out, by name or by place (`server/src/route/me.rs:7`); all others are as they are written.
    pub fn take_out(checks: &[(String, Mode)]) {
        *OUT.lock().unwrap_or_else(PoisonError::into_inner) = checks.iter().cloned().collect();
    }

    /// The checks reached since this was last asked.
    pub fn reached() -> BTreeSet<String> {
        std::mem::take(&mut *REACHED.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// A check of a name is reached.
    pub fn at(name: &str) -> Mode {
        REACHED.lock().unwrap_or_else(PoisonError::into_inner).insert(name.to_owned());
        OUT.lock().unwrap_or_else(PoisonError::into_inner).get(name).copied().unwrap_or(Mode::Kept)
    }

    /// The check that stands where the caller's caller stands is reached.
    #[track_caller]
    pub fn here() -> Mode {
        let place = Location::caller();
        at(&format!("{}:{}", place.file(), place.line()))
    }
}
