//! Labels of corals: those of the file's register, those the keeper has, and those nobody knows yet.

use std::collections::BTreeMap;

use analysis::vocabulary::{TaxonSlug, resolve_name};

use crate::canonical::Work;
use crate::cell::fold;
use crate::context::KnownSpecimen;
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::finding::Choice;
use crate::record::{Record, Specimen};

/// A coral that rows of a diary can name.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Coral {
    /// Its label.
    pub label: String,
    /// Its name, if settled.
    pub taxon: Option<TaxonSlug>,
    /// Its tank.
    pub tank: Option<String>,
    /// Alive as far as known.
    pub alive: bool,
}

/// A label as far as it is told.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum CoralOf {
    /// A coral.
    Known(Coral),
    /// Waits for the answer of a key.
    Held(String),
    /// Left out by an answer.
    Left,
}

/// Corals of the keeper and of the file.
#[derive(Debug, Default)]
pub(crate) struct Corals {
    known: BTreeMap<String, Coral>,
    aliases: BTreeMap<String, String>,
}

impl Corals {
    /// Corals that the keeper has.
    pub fn of(known: &[KnownSpecimen]) -> Self {
        let mut corals = Corals::default();
        for specimen in known {
            corals.add(Coral {
                label: specimen.label.clone(),
                taxon: specimen.taxon,
                tank: specimen.tank.clone(),
                alive: specimen.alive,
            });
        }
        corals
    }

    /// Adds a coral of the file; the file's own statement wins.
    pub fn add(&mut self, coral: Coral) {
        self.known.insert(fold::name(&coral.label), coral);
    }

    /// A coral by its label.
    pub fn find(&self, label: &str) -> Option<&Coral> {
        let folded = fold::name(label);
        self.known.get(self.aliases.get(&folded).unwrap_or(&folded))
    }

    /// All labels.
    pub fn labels(&self) -> impl Iterator<Item = &str> {
        self.known.values().map(|coral| coral.label.as_str())
    }

    /// Labels of the living.
    fn living(&self) -> Vec<&str> {
        self.known.values().filter(|coral| coral.alive).map(|coral| coral.label.as_str()).collect()
    }
}

/// The coral that a cell of a diary names.
pub(crate) fn named(work: &mut Work, written: &str, spot: Spot) -> CoralOf {
    if let Some(coral) = work.corals.find(written) {
        return CoralOf::Known(coral.clone());
    }
    let folded = fold::name(written);
    let settled = work.desk.ask("coral_unknown", &folded);
    match settled {
        Settled::LeaveOut => return CoralOf::Left,
        Settled::Choice("new", _) => return CoralOf::Known(new(work, written, spot)),
        Settled::Choice(choice, _) => {
            let label = settled.text().unwrap_or_else(|| choice.to_owned());
            if let Some(coral) = work.corals.find(&label).cloned() {
                work.corals.aliases.insert(folded, fold::name(&coral.label));
                return CoralOf::Known(coral);
            }
        }
        Settled::Open | Settled::DontKnow => {}
    }
    let mut choices = Vec::new();
    let living = work.corals.living();
    if !living.is_empty() {
        let label = living.iter().take(20).copied().collect::<Vec<_>>().join(", ");
        choices.push(Choice {
            code: "coral".to_owned(),
            label: format!("one of the keeper's: {label}"),
            needs: Some("text".to_owned()),
        });
    }
    choices.push(Choice { code: "new".to_owned(), label: "a new one".to_owned(), needs: None });
    let doubt = Doubt::of("coral_unknown")
        .about(folded)
        .at(spot, written)
        .fill("written", written)
        .fill("label", written)
        .fill("name", written)
        .cell(spot, "label")
        .choices(choices)
        .propose_nothing();
    let key = doubt.key();
    work.desk.raise(doubt);
    CoralOf::Held(key)
}

/// A coral that only a diary names.
fn new(work: &mut Work, written: &str, spot: Spot) -> Coral {
    let label = fold::plain(written);
    let taxon =
        resolve_name(&label).taxon().or_else(|| without_number(&label).and_then(|name| resolve_name(&name).taxon()));
    let place = work.place(&vec![(spot, "label")], None);
    work.records.push(Record::Specimen(Specimen {
        label: label.clone(),
        written: label.clone(),
        taxon,
        rank: taxon.map(|taxon| taxon.get().rank.as_str().to_owned()),
        confidence: taxon.map(|_| "guess".to_owned()),
        place,
        ..Specimen::default()
    }));
    let coral = Coral { label, taxon, tank: None, alive: true };
    work.corals.add(coral.clone());
    coral
}

/// "Goni 1" without its number.
pub(crate) fn without_number(label: &str) -> Option<String> {
    let name = label.trim_end_matches(|c: char| c.is_ascii_digit() || matches!(c, ' ' | '#' | '.' | '-'));
    (!name.is_empty() && name.len() < label.len()).then(|| name.to_owned())
}

/// "Goni" for Goniopora: a short form of four letters or more that only fleshy genera begin with.
fn begins_fleshy_genus(name: &str) -> bool {
    let short = analysis::vocabulary::text::fold(name);
    if short.len() < 4 {
        return false;
    }
    let mut genera = analysis::vocabulary::catalogue()
        .taxa()
        .iter()
        .filter(|taxon| {
            taxon.rank == analysis::vocabulary::Rank::Genus && taxon.name.to_lowercase().starts_with(&short)
        })
        .peekable();
    genera.peek().is_some() && genera.all(|genus| genus.fleshy)
}

/// Whether a coral's width follows its mood, as far as its name or its label shows.
pub(crate) fn fleshy(coral: Option<&Coral>, written: &str) -> bool {
    if let Some(taxon) = coral.and_then(|coral| coral.taxon) {
        return taxon.get().fleshy;
    }
    let names = [Some(written.to_owned()), without_number(written)];
    if names.iter().flatten().any(|name| begins_fleshy_genus(name)) {
        return true;
    }
    names.into_iter().flatten().any(|name| match resolve_name(&name) {
        analysis::vocabulary::NameMatch::Ambiguous { candidates, .. } => {
            candidates.iter().any(|candidate| candidate.taxon.get().fleshy)
        }
        found => found.taxon().is_some_and(|taxon| taxon.get().fleshy),
    })
}
