//! Names of kinds, each weighed once: a list repeats the same few. The answers are those of the vocabulary; nothing here
//! changes what a name means.

use std::cell::RefCell;
use std::collections::HashMap;

use analysis::vocabulary::{NameMatch, resolve_name, resolve_names};

/// Names that are remembered before all are forgotten: memory stays bounded whatever a file holds.
const MOST: usize = 4096;

thread_local! {
    static KNOWN: RefCell<HashMap<(String, Option<String>), NameMatch>> = RefCell::new(HashMap::new());
}

fn remembered(key: (String, Option<String>), weigh: impl FnOnce() -> NameMatch) -> NameMatch {
    if let Some(found) = KNOWN.with_borrow(|known| known.get(&key).cloned()) {
        return found;
    }
    let found = weigh();
    KNOWN.with_borrow_mut(|known| {
        if known.len() >= MOST {
            known.clear();
        }
        known.insert(key, found.clone());
    });
    found
}

/// As [`resolve_name`].
pub(crate) fn of(text: &str) -> NameMatch {
    remembered((text.to_owned(), None), || resolve_name(text))
}

/// As [`resolve_names`].
pub(crate) fn of_both(name: &str, trade: &str) -> NameMatch {
    remembered((name.to_owned(), Some(trade.to_owned())), || resolve_names(name, trade))
}
