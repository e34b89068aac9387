//! Labels of corals: those of the file's register, those the keeper has, and those nobody knows yet.

use std::collections::BTreeMap;

use analysis::vocabulary::{NameMatch, TaxonSlug};

use crate::canonical::coral_name::Named;
use crate::canonical::near::{self, Said};
use crate::canonical::{Work, coral_name};
use crate::cell::fold;
use crate::context::KnownSpecimen;
use crate::doubt::desk::{Doubt, Settled, Spot, key_of};
use crate::finding::Choice;
use crate::record::{HeldFact, Record, Specimen};

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

    /// Kinds of all corals.
    pub fn taxa(&self) -> impl Iterator<Item = TaxonSlug> {
        self.known.values().filter_map(|coral| coral.taxon)
    }

    /// The living, those that fit a name as written first.
    fn ranked(&self, said: &Said) -> Vec<(Option<u32>, &Coral)> {
        let mut ranked: Vec<(Option<u32>, &Coral)> = self
            .known
            .values()
            .filter(|coral| coral.alive)
            .map(|coral| (near::coral(said, &coral.label, coral.taxon), coral))
            .collect();
        ranked.sort_by(|(a, left), (b, right)| (a.is_none(), a, &left.label).cmp(&(b.is_none(), b, &right.label)));
        ranked
    }
}

/// Corals that are offered one by one.
const MOST_OFFERED: usize = 6;
/// Codes of answers, which no coral's label may be taken for.
const CODES: [&str; 4] = ["coral", "new", "leave_out", "dont_know"];

/// Ways to say which coral is meant: those that fit, any other of the living, a new one. With the one that is proposed:
/// the same label but for signs and blanks, or the only living coral of the kind.
fn offered(work: &Work, written: &str) -> (Vec<Choice>, Option<String>) {
    let said = Said::of(written);
    let ranked = work.corals.ranked(&said);
    let fitting: Vec<(u32, &Coral)> =
        ranked.iter().filter_map(|(fit, coral)| Some(((*fit)?, *coral))).take(MOST_OFFERED).collect();
    let mut choices: Vec<Choice> = fitting
        .iter()
        .filter(|(_, coral)| !CODES.contains(&fold::name(&coral.label).as_str()))
        .map(|(_, coral)| Choice { code: coral.label.clone(), label: described(coral), needs: None })
        .collect();
    let of_kind = fitting.iter().filter(|(_, coral)| said.means(coral.taxon)).count();
    let proposed = match fitting.as_slice() {
        [(fit, coral), rest @ ..] if rest.iter().all(|(other, _)| other > fit) => {
            let numbered = *fit == 8;
            (*fit <= 1 || of_kind == 1 && said.means(coral.taxon) && !numbered).then(|| coral.label.clone())
        }
        _ => None,
    };
    if !ranked.is_empty() {
        let label = ranked.iter().take(20).map(|(_, coral)| coral.label.as_str()).collect::<Vec<_>>().join(", ");
        choices.push(Choice {
            code: "coral".to_owned(),
            label: format!("one of the keeper's: {label}"),
            needs: Some("text".to_owned()),
        });
    }
    choices.push(Choice { code: "new".to_owned(), label: "a new one".to_owned(), needs: None });
    (choices, proposed)
}

/// "Goni 1 (Goniopora, in Alder)".
fn described(coral: &Coral) -> String {
    let told: Vec<String> =
        [coral.taxon.map(|taxon| taxon.get().name.to_owned()), coral.tank.as_ref().map(|tank| format!("in {tank}"))]
            .into_iter()
            .flatten()
            .collect();
    if told.is_empty() { coral.label.clone() } else { format!("{} ({})", coral.label, told.join(", ")) }
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
        Settled::Choice("new", _) => return new(work, written, spot),
        Settled::Choice(choice, _) => {
            let label = settled.text().unwrap_or_else(|| choice.to_owned());
            if let Some(coral) = work.corals.find(&label).cloned() {
                work.corals.aliases.insert(folded, fold::name(&coral.label));
                return CoralOf::Known(coral);
            }
        }
        Settled::Open | Settled::DontKnow => {}
    }
    if work.desk.raised("coral_unknown", &folded) {
        let key = key_of("coral_unknown", Some(&folded));
        work.desk.wait(&key, [(spot, "label")]);
        return CoralOf::Held(key);
    }
    let (choices, proposed) = offered(work, written);
    let doubt = Doubt::of("coral_unknown")
        .about(folded)
        .at(spot, written)
        .fill("written", written)
        .fill("label", written)
        .fill("name", written)
        .cell(spot, "label")
        .choices(choices);
    let doubt = match proposed {
        Some(label) if !CODES.contains(&fold::name(&label).as_str()) => doubt.propose(label, None),
        _ => doubt.propose_nothing(),
    };
    let key = doubt.key();
    work.desk.raise(doubt);
    CoralOf::Held(key)
}

/// A coral that only a diary names. Its label may say its kind; one that several kinds bear is asked about.
fn new(work: &mut Work, written: &str, spot: Spot) -> CoralOf {
    let label = fold::plain(written);
    let found = match crate::canonical::kind::of(&label) {
        NameMatch::Unknown | NameMatch::Near(_) => without_number(&label).map(|name| crate::canonical::kind::of(&name)),
        found => Some(found),
    };
    let named = match found {
        None | Some(NameMatch::Unknown | NameMatch::Near(_)) => Named::default(),
        Some(found) => coral_name::taken_as(work, found, &label, spot),
    };
    if named.not_a_coral {
        return CoralOf::Left;
    }
    let taxon = named.taxon;
    let place = work.place(&vec![(spot, "label")], None);
    work.records.push(Record::Specimen(Specimen {
        label: label.clone(),
        written: label.clone(),
        taxon,
        rank: taxon.map(|taxon| taxon.get().rank.as_str().to_owned()),
        confidence: taxon.map(|_| "guess".to_owned()),
        held: named.held.iter().map(|_| HeldFact::Taxon).collect(),
        place,
        ..Specimen::default()
    }));
    let coral = Coral { label, taxon, tank: None, alive: true };
    work.corals.add(coral.clone());
    CoralOf::Known(coral)
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
    names.into_iter().flatten().any(|name| match crate::canonical::kind::of(&name) {
        analysis::vocabulary::NameMatch::Ambiguous { candidates, .. } => {
            candidates.iter().any(|candidate| candidate.taxon.get().fleshy)
        }
        found => found.taxon().is_some_and(|taxon| taxon.get().fleshy),
    })
}
