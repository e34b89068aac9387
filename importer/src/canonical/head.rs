//! A laboratory's report goes on below a header that is written again: "Trace elements" over the next list has no tank
//! and no day of its own, the head of the report speaks for it. A list that names a tank or a day, or has the same tests
//! once more, is another sample and says so itself.

use std::collections::{BTreeMap, BTreeSet};

use analysis::vocabulary::HeaderRole;
use analysis::vocabulary::text::fold;

use crate::canonical::View;
use crate::dialect::guess::Look;
use crate::grid::Raw;
use crate::layout::row::look_of;
use crate::layout::{Kind, Table};

/// Names of tests beyond which a list is no part of a report.
const MOST_TESTS: usize = 500;

/// A title that says nothing but what its list is called.
fn is_bare(table: &Table) -> bool {
    table.titles.iter().all(|title| match &title.raw {
        Raw::Text(text) => {
            look_of(&title.raw) == Look::Word
                && !text.contains(':')
                && !text.bytes().any(|byte| byte.is_ascii_digit())
                && !text.split_whitespace().any(|word| {
                    analysis::vocabulary::header_roles(word).first() == Some(&HeaderRole::Tank)
                        || crate::canonical::report_day::is_sampling(word)
                })
        }
        _ => false,
    })
}

/// The names of the tests of a list; `None` if there are too many.
fn tests(view: &View) -> Option<BTreeSet<String>> {
    let column =
        [HeaderRole::Parameter, HeaderRole::What, HeaderRole::Kind].into_iter().find_map(|role| view.column(role))?;
    let mut tests = BTreeSet::new();
    for row in &view.table.rows {
        tests.extend(view.text(row, column).map(|name| fold(&name)));
        if tests.len() > MOST_TESTS {
            return None;
        }
    }
    Some(tests)
}

/// Gives each list that goes on with a report the report's first table.
pub(crate) fn link(views: &mut [View]) {
    let is_list = |view: &View| view.table.kind == Kind::Long && !view.table.turned;
    let mut lists: BTreeMap<u16, usize> = BTreeMap::new();
    for view in views.iter().filter(|view| is_list(view)) {
        *lists.entry(view.sheet).or_default() += 1;
    }
    let mut reports = BTreeMap::new();
    for view in views.iter_mut().filter(|view| is_list(view) && lists.get(&view.sheet).is_some_and(|count| *count > 1))
    {
        let Some(own) = tests(view) else {
            reports.remove(&view.sheet);
            continue;
        };
        match reports.get_mut(&view.sheet) {
            Some((head, known)) if is_bare(view.table) && own.is_disjoint(known) => {
                view.head = Some(*head);
                known.extend(own);
            }
            _ => drop(reports.insert(view.sheet, (view.table, own))),
        }
    }
}
