//! Labels of a list that are nearly those of corals known already: asked about, never joined on nearness alone. In a list
//! another label is another coral as a rule, so only the same letters and digits count in one file, and a slip in a
//! word beside a coral of the keeper's that the list leaves out.

use std::collections::{BTreeMap, BTreeSet};

use analysis::vocabulary::TaxonSlug;
use chrono::NaiveDate;

use crate::canonical::coral_name::Written;
use crate::canonical::date_column::{self, DayOf};
use crate::canonical::register::{Columns, Summary};
use crate::canonical::{Cells, View, Work, near};
use crate::cell::fold;
use crate::doubt::desk::{Doubt, Settled, Spot};

/// What a label comes to.
pub(super) enum Label {
    /// A label of its own, or exactly a known one.
    Own,
    /// That of a known coral.
    As(String),
    /// A coral of the file once more.
    Again,
    /// Waits for an answer.
    Held,
    /// Left out.
    Left,
}

/// Corals of the keeper, as a list sees them.
pub(super) struct Known {
    /// Folded labels of all, with the day by which each had ended.
    all: BTreeMap<String, Option<NaiveDate>>,
    /// The living that the list does not name, by their labels without signs.
    absent: BTreeMap<String, (String, Option<TaxonSlug>)>,
}

impl Known {
    /// As a table sees them.
    pub fn of(work: &Work, view: &View, columns: &Columns) -> Self {
        let corals = &work.context.specimens;
        let all = corals.iter().map(|known| (fold::name(&known.label), known.ended)).collect();
        let Some(column) = columns.label else { return Known { all, absent: BTreeMap::new() } };
        let here: BTreeSet<String> =
            view.table.rows.iter().filter_map(|row| view.text(row, column)).map(|label| fold::name(&label)).collect();
        let absent = corals.iter().filter(|known| known.alive && !here.contains(&fold::name(&known.label)));
        let absent = absent.map(|known| (near::signless(&known.label), (known.label.clone(), known.taxon))).collect();
        Known { all, absent }
    }

    /// The one that a label is near, and whether all its letters and digits are the same.
    fn near(&self, label: &str, taxon: Option<TaxonSlug>) -> Option<(String, bool)> {
        if let Some((known, _)) = self.absent.get(&near::signless(label)) {
            return Some((known.clone(), true));
        }
        let fits = |own: Option<TaxonSlug>| match (own, taxon) {
            (Some(own), Some(taxon)) => own.is_within(taxon) || taxon.is_within(own),
            _ => taxon.is_none(),
        };
        let mut near = self.absent.values().filter(|(known, own)| fits(*own) && near::misspelt(label, known));
        near.next().map(|(known, _)| (known.clone(), false))
    }
}

/// Key of the question about labels that differ in signs and blanks: one answer for all of a file.
const SIGNS: &str = "signs and blanks";

/// When the coral of a row came and went.
pub(super) struct Span<'d> {
    pub acquired: &'d DayOf,
    pub ended: DayOf,
}

/// The label of a row whose label a coral of the keeper's had that ended before this one came: with the day, as for the
/// second coral of a label in one list. Days in the wrong order prove nothing.
fn used_again(known: &Known, label: &str, span: &Span) -> Option<String> {
    let ended = (*known.all.get(&fold::name(label))?)?;
    let DayOf::Known(date_column::Known { earliest: Some(got), .. }) = span.acquired else { return None };
    let in_order = match &span.ended {
        DayOf::Absent => true,
        DayOf::Known(gone) => gone.latest >= *got,
        _ => false,
    };
    (in_order && *got > ended).then(|| format!("{label} {got}"))
}

/// Settles a label as written.
#[allow(clippy::too_many_arguments)] // a row, and what is known of its label
pub(super) fn settle(
    work: &mut Work,
    label: &str,
    span: &Span,
    written: &Written,
    known: &Known,
    summary: &Summary,
    spot: Spot,
    row: Cells,
) -> Label {
    let folded = fold::name(label);
    if summary.labels.contains_key(&folded) {
        return Label::Own;
    }
    if let Some(dated) = used_again(known, label, span) {
        return Label::As(dated);
    }
    if known.all.contains_key(&folded) {
        return Label::Own;
    }
    let earlier = summary.signless.get(&near::signless(label)).cloned();
    let (other, same, again) = match earlier {
        Some(earlier) => (earlier, true, true),
        None => {
            let text = |part: &Option<(String, Spot)>| part.as_ref().map(|(text, _)| text.clone()).unwrap_or_default();
            let taxon = || crate::canonical::kind::of_both(&text(&written.name), &text(&written.trade)).taxon();
            match (!known.absent.is_empty()).then(|| known.near(label, taxon())).flatten() {
                Some((known, same)) => (known, same, false),
                None => return Label::Own,
            }
        }
    };
    let about = if same { SIGNS.to_owned() } else { format!("{folded} = {}", fold::name(&other)) };
    match work.desk.ask("label_twice", &about) {
        Settled::Choice("one", _) if again => Label::Again,
        Settled::Choice("one", _) => Label::As(other),
        Settled::Choice(..) => Label::Own,
        Settled::LeaveOut => Label::Left,
        Settled::Open | Settled::DontKnow => {
            let doubt = Doubt::of("label_twice")
                .about(about)
                .at(spot, label)
                .fill("label", format!("{label}\" and \"{other}"))
                .fill("written", label)
                .cells(row);
            work.desk.raise(doubt.propose_nothing());
            Label::Held
        }
    }
}
