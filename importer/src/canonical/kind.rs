//! Names of kinds, each weighed once: a list repeats the same few. The answers are those of the vocabulary, for as many
//! names as anybody keeps.

use std::cell::RefCell;
use std::collections::HashMap;

use analysis::vocabulary::{NameMatch, resolve_name, resolve_name_exactly, resolve_names};

/// Names of one file that are compared letter by letter; of more, only those that are written as they are known are
/// found. Nobody keeps so many kinds, and time stays bounded whatever a file holds.
const MOST: usize = 4096;

thread_local! {
    static KNOWN: RefCell<HashMap<(String, Option<String>), NameMatch>> = RefCell::new(HashMap::new());
}

/// Forgets the names of the file before.
pub(crate) fn begin() {
    KNOWN.with_borrow_mut(HashMap::clear);
}

fn remembered(
    key: (String, Option<String>),
    weigh: impl FnOnce() -> NameMatch,
    look_up: impl FnOnce() -> NameMatch,
) -> NameMatch {
    if let Some(found) = KNOWN.with_borrow(|known| known.get(&key).cloned()) {
        return found;
    }
    if KNOWN.with_borrow(|known| known.len() >= MOST) {
        return look_up();
    }
    let found = weigh();
    KNOWN.with_borrow_mut(|known| known.insert(key, found.clone()));
    found
}

fn exactly(text: &str) -> NameMatch {
    resolve_name_exactly(text).unwrap_or(NameMatch::Unknown)
}

/// As [`resolve_name`].
pub(crate) fn of(text: &str) -> NameMatch {
    remembered((text.to_owned(), None), || resolve_name(text), || exactly(text))
}

/// As [`resolve_names`].
pub(crate) fn of_both(name: &str, trade: &str) -> NameMatch {
    let both = || match exactly(name) {
        NameMatch::Unknown => exactly(trade),
        found => found,
    };
    remembered((name.to_owned(), Some(trade.to_owned())), || resolve_names(name, trade), both)
}
