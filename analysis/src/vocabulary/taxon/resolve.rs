//! A written name to a taxon, or to the question that settles it.
//!
//! A scientific name settles, at the rank it has; a trade name beside it may say more, and is asked about where the two
//! cannot both be right. Letters are compared last, and only where one name is near.

use std::collections::{HashMap, HashSet};

mod letters; // misspellings, short forms, ranked candidates
mod scientific; // scientific names within a text
mod trade; // trade names within a text

pub use letters::{kind_words, rank_names};

use super::Candidate;
use crate::vocabulary::text::words;
use crate::vocabulary::{TaxonSlug, catalogue};

/// What a written name can mean.
#[derive(Debug, Clone, PartialEq)]
pub enum NameMatch {
    /// The accepted name of a species or genus. A species that the catalogue does not hold gives its genus.
    Accepted {
        /// It.
        taxon: TaxonSlug,
    },
    /// A name it went by, followed.
    Older {
        /// What it is called now.
        taxon: TaxonSlug,
        /// The older name.
        was: &'static str,
    },
    /// A trade name that only one kind carries.
    Trade {
        /// It, at the rank the name can bear.
        taxon: TaxonSlug,
    },
    /// A trade name of several kinds: a question.
    Ambiguous {
        /// The name.
        name: &'static str,
        /// The kinds, each with the character to look for.
        candidates: Vec<Candidate>,
        /// What is certain while the question is open.
        common: Option<TaxonSlug>,
    },
    /// The one name within two letters.
    Spelling {
        /// It.
        taxon: TaxonSlug,
        /// As it is spelt.
        written: &'static str,
        /// Letters between.
        distance: usize,
    },
    /// Several taxa are named or nearly so: a question.
    Near(Vec<TaxonSlug>),
    /// Nothing fits.
    Unknown,
}

impl NameMatch {
    /// The taxon, where no question is needed.
    pub fn taxon(&self) -> Option<TaxonSlug> {
        match self {
            NameMatch::Accepted { taxon }
            | NameMatch::Older { taxon, .. }
            | NameMatch::Trade { taxon }
            | NameMatch::Spelling { taxon, .. } => Some(*taxon),
            NameMatch::Ambiguous { .. } | NameMatch::Near(_) | NameMatch::Unknown => None,
        }
    }

    /// `true` if a scientific name was written, in its present or an older form.
    pub fn is_scientific(&self) -> bool {
        matches!(self, NameMatch::Accepted { .. } | NameMatch::Older { .. })
    }
}

/// Index of all names.
#[derive(Debug, Default)]
pub(super) struct Names {
    /// Folded scientific name → accepted or older.
    scientific: HashMap<String, Scientific>,
    /// Genus words that stand in a text: accepted genera, older genera and genera of older species names.
    genera: HashMap<String, Option<TaxonSlug>>,
    /// Folded trade name → position in the list of trade names.
    trade: HashMap<String, usize>,
    longest_trade: usize,
    unclear_alone: Vec<String>,
    /// Rows of trade names that are everyday words too ("sun", "grape").
    everyday: HashSet<usize>,
    /// Words beside a name that name no kind: colours, sizes, "frag".
    remarks: HashSet<String>,
}

#[derive(Debug, Clone, Copy)]
struct Scientific {
    taxon: TaxonSlug,
    older: bool,
    name: &'static str,
}

impl Names {
    pub(super) fn add_accepted(&mut self, name: &'static str, taxon: TaxonSlug) -> Result<(), String> {
        self.add(name, taxon, false)
    }

    pub(super) fn add_older(&mut self, name: &'static str, taxon: TaxonSlug) -> Result<(), String> {
        let first = words(name).swap_remove(0);
        // A genus of older names only ("Scolymia") is known, though alone it names no taxon.
        self.genera.entry(first).or_insert(None);
        self.add(name, taxon, true)
    }

    fn add(&mut self, name: &'static str, taxon: TaxonSlug, older: bool) -> Result<(), String> {
        let key = words(name).join(" ");
        if older && !key.contains(' ') {
            self.genera.insert(key.clone(), Some(taxon));
        }
        match self.scientific.insert(key, Scientific { taxon, older, name }) {
            Some(other) if other.taxon != taxon => Err(format!("`{name}` names {} and {taxon}", other.taxon)),
            _ => Ok(()),
        }
    }

    pub(super) fn add_genus(&mut self, name: &str, genus: TaxonSlug, unclear_alone: bool) {
        let key = words(name).join(" ");
        if unclear_alone {
            self.unclear_alone.push(key.clone());
        }
        self.genera.insert(key, Some(genus));
    }

    pub(super) fn add_trade(&mut self, word: &str, row: usize) -> Result<(), String> {
        let words = words(word);
        self.longest_trade = self.longest_trade.max(words.len());
        match self.trade.insert(words.join(" "), row) {
            Some(other) if other != row => Err(format!("trade name `{word}` stands twice")),
            _ => Ok(()),
        }
    }

    pub(super) fn add_remark_word(&mut self, word: &str) {
        self.remarks.extend(words(word));
    }

    pub(super) fn mark_everyday(&mut self, row: usize) {
        self.everyday.insert(row);
    }

    fn scientific(&self, words: &[String]) -> Option<Scientific> {
        self.scientific.get(&words.join(" ")).copied()
    }

    /// A trade name in these very words, in the singular or plural, with or without "coral", in one word or two.
    fn trade(&self, words: &[String]) -> Option<usize> {
        let phrase = words.join(" ");
        let compact = if words.len() > 1 { words.concat() } else { String::new() };
        let shorter = CORAL.iter().find_map(|ending| phrase.strip_suffix(ending)).unwrap_or(&phrase);
        let singular = |phrase: &str| {
            ["s", "es", "n", "en"].iter().find_map(|ending| self.trade_row(phrase.strip_suffix(ending)?))
        };
        [phrase.as_str(), shorter, compact.as_str()]
            .into_iter()
            .find_map(|phrase| self.trade_row(phrase).or_else(|| singular(phrase)))
    }

    fn trade_row(&self, phrase: &str) -> Option<usize> {
        self.trade.get(phrase).copied()
    }

    /// Whether a word beside a name names no kind.
    fn is_remark(&self, word: &str) -> bool {
        self.remarks.contains(word) || word.chars().all(|letter| letter.is_ascii_digit())
    }
}

/// "Coral" behind a name.
const CORAL: [&str; 6] = [" coral", " corals", " koralle", " korallen", " koraal", " koralen"];

fn matched(found: Scientific) -> NameMatch {
    if found.older {
        NameMatch::Older { taxon: found.taxon, was: found.name }
    } else {
        NameMatch::Accepted { taxon: found.taxon }
    }
}

fn trade_match(row: usize) -> NameMatch {
    let trade = &catalogue().trade_names()[row];
    if trade.is_ambiguous() {
        NameMatch::Ambiguous { name: trade.words[0], candidates: trade.candidates.clone(), common: trade.common }
    } else {
        NameMatch::Trade { taxon: trade.candidates[0].taxon }
    }
}

/// The taxon of a written name. Scientific names settle, wherever in the text they stand; "sp.", authorities and
/// remarks after them are passed over; behind "cf." and "aff." only the genus is certain.
/// Compared without case, accents and punctuation.
pub fn resolve_name(text: &str) -> NameMatch {
    resolve_name_exactly(text).unwrap_or_else(|| letters::by_letters(&catalogue().taxa.names, text))
}

/// The taxon of a name as far as no letter has to be guessed; `None` where only nearness could tell.
pub fn resolve_name_exactly(text: &str) -> Option<NameMatch> {
    let names = &catalogue().taxa.names;
    let all = words(text);
    if all.is_empty() {
        return Some(NameMatch::Unknown);
    }
    if let Some(found) = names.scientific(&all) {
        return Some(matched(found));
    }
    if let Some(row) = names.trade(&all) {
        return Some(trade_match(row));
    }
    if let Some(said) = scientific::within(names, &all, text) {
        let rest: Vec<String> =
            all.iter().zip(&said.used).filter(|(_, used)| !**used).map(|(word, _)| word.clone()).collect();
        // "finger porites" is a trade name with a genus in it.
        if let Some(phrase @ NameMatch::Trade { .. }) = trade::within(names, &all)
            && said.name.taxon().is_some_and(|own| phrase.taxon().is_some_and(|taxon| taxon.is_within(own)))
        {
            return Some(trade::beside(said.name, &phrase, false));
        }
        return Some(match trade::within(names, &rest) {
            None => said.name,
            Some(trade) => {
                let bare: Vec<String> = rest.iter().filter(|word| !names.is_remark(word)).cloned().collect();
                trade::beside(said.name, &trade, names.trade(&bare).is_some())
            }
        });
    }
    trade::within(names, &all)
}

/// A name and a trade name written side by side. The scientific one settles, wherever it stands, unless a clear trade
/// name contradicts it; of two trade names that both say something, what both allow.
pub fn resolve_names(name: &str, trade_name: &str) -> NameMatch {
    let (first, second) = (resolve_name(name), resolve_name(trade_name));
    if first.is_scientific() || misspelt_scientific(&first) {
        return trade::beside(first, &second, true);
    }
    if second.is_scientific() || misspelt_scientific(&second) {
        return trade::beside(second, &first, true);
    }
    match (&first, &second) {
        (NameMatch::Unknown, _) => second,
        (_, NameMatch::Unknown) => first,
        _ => trade::both(first, second),
    }
}

fn misspelt_scientific(found: &NameMatch) -> bool {
    let NameMatch::Spelling { written, .. } = found else { return false };
    catalogue().taxa.names.scientific(&words(written)).is_some()
}
