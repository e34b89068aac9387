//! Corals and kin: accepted names, older names, trade names, look-alikes, forms, and the chain of fallback.
//!
//! A name is never taken for more than it says: an older name is followed, a trade name gives the rank it can
//! bear, and one that several kinds carry is a question with the character to look for.

use rustc_hash::FxHashMap;
use serde::{Deserialize, Serialize};

mod resolve; // a written name to a taxon
mod row; // from the file to the types
mod tentacles; // the count of tentacles that a text states

pub use resolve::{NameMatch, kind_words, rank_names, resolve_name, resolve_name_exactly, resolve_names};
pub use tentacles::tentacles_said;

use super::{TaxonSlug, catalogue};

/// How exact a name is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rank {
    /// A species.
    Species,
    /// A genus.
    Genus,
    /// A group of genera.
    Group,
}

impl Rank {
    /// As printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Rank::Species => "species",
            Rank::Genus => "genus",
            Rank::Group => "group",
        }
    }
}

/// How hard a kind stings its neighbours; from memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sting {
    /// Hardly.
    Weak,
    /// Some.
    Medium,
    /// Much.
    Strong,
    /// Through the water, no reach needed.
    Chemical,
}

impl Sting {
    /// As printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Sting::Weak => "weak",
            Sting::Medium => "medium",
            Sting::Strong => "strong",
            Sting::Chemical => "chemical",
        }
    }

    /// `true` for the classes that `stinging_corals` counts.
    pub const fn counts(self) -> bool {
        matches!(self, Sting::Medium | Sting::Strong)
    }
}

/// How far it reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reach {
    /// Within 15 cm.
    #[default]
    Usual,
    /// Long polyps.
    Long,
    /// Sweeper tentacles, to 25 cm.
    LongSweepers,
}

impl Reach {
    /// Centimetres within which a neighbour counts as within reach; common practice, no source.
    pub const fn centimetres(self) -> f64 {
        match self {
            Reach::LongSweepers => 25.0,
            Reach::Usual | Reach::Long => 15.0,
        }
    }
}

/// A species, a genus or a group.
#[derive(Debug, Clone, PartialEq)]
pub struct Taxon {
    /// In addresses.
    pub slug: TaxonSlug,
    /// Accepted name.
    pub name: &'static str,
    /// Species, genus or group.
    pub rank: Rank,
    /// Its genus, for species; itself, for a genus.
    pub genus: Option<TaxonSlug>,
    /// Group code: `SPS`, `LPS`, `FLO`, `NPS`, `SOFT`, `ZOA`, `MUSH`, `CLAM`, `OTHER`.
    pub group: &'static str,
    /// The group as a taxon.
    pub group_slug: TaxonSlug,
    /// Its width follows its mood: only the skeleton, base, heads or weight measure growth.
    pub fleshy: bool,
    /// How hard it stings.
    pub sting: Sting,
    /// How far it reaches.
    pub reach: Reach,
    /// It may hold palytoxin.
    pub toxin: bool,
    /// Tentacles a polyp, where that settles a name.
    pub tentacles: Option<u32>,
    /// Names it went by.
    pub older_names: Vec<&'static str>,
    /// Trade names that can mean it: (name, `true` if others carry it too).
    pub trade_names: Vec<(&'static str, bool)>,
    /// Taxa it is taken for, of any rank.
    pub look_alikes: Vec<TaxonSlug>,
    /// The move of the name was seen in a published source; otherwise it is from memory.
    pub confirmed: bool,
    /// A remark.
    pub note: Option<&'static str>,
}

/// A group of genera.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// `LPS`, …
    pub code: &'static str,
    /// As a taxon.
    pub slug: TaxonSlug,
    /// In words.
    pub name: &'static str,
    /// Answers are given by genus.
    pub by_genus: bool,
}

/// A trade name.
#[derive(Debug, Clone, PartialEq)]
pub struct TradeName {
    /// The ways it is written, the first for print.
    pub words: Vec<&'static str>,
    /// What it can mean; one candidate for a clear name.
    pub candidates: Vec<Candidate>,
    /// What is certain while the question is open, for an ambiguous name.
    pub common: Option<TaxonSlug>,
}

impl TradeName {
    /// `true` if the name alone is always a question.
    pub fn is_ambiguous(&self) -> bool {
        self.candidates.len() > 1
    }
}

/// One of the kinds that a name can mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Candidate {
    /// The kind.
    pub taxon: TaxonSlug,
    /// What to look for.
    pub character: &'static str,
}

/// Taxa that are easily taken for one another.
#[derive(Debug, Clone, PartialEq)]
pub struct LookAlike {
    /// Each with what tells it from the others.
    pub members: Vec<Candidate>,
    /// Even a scientific name is not enough without the character.
    pub name_not_enough: bool,
}

/// A form recorded at purchase, never turned into a species.
#[derive(Debug, Clone, PartialEq)]
pub struct Form {
    /// Code.
    pub code: &'static str,
    /// Genera it is asked for.
    pub taxa: Vec<TaxonSlug>,
    /// What it looks like.
    pub looks_like: &'static str,
    /// What is said of it, to be tested.
    pub said: &'static str,
    /// The ways it is written.
    pub words: Vec<&'static str>,
}

/// A wider set of corals that may answer where a taxon cannot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fallback {
    /// The genus of a species.
    Genus(TaxonSlug),
    /// The group, without the genera that are taken for this one.
    GroupWithout {
        /// The group.
        group: TaxonSlug,
        /// Genera left out.
        without: Vec<TaxonSlug>,
        /// Genera left in, this one included.
        genera: Vec<TaxonSlug>,
    },
}

impl TaxonSlug {
    /// The taxon's row.
    pub fn get(self) -> &'static Taxon {
        let taxa = &catalogue().taxa;
        &taxa.all[taxa.by_slug[self.as_str()]]
    }

    /// The taxon, its genus and its group, as far as they differ.
    pub fn ancestors(self) -> Vec<TaxonSlug> {
        let taxon = self.get();
        let mut chain = vec![self];
        for wider in [taxon.genus, Some(taxon.group_slug)].into_iter().flatten() {
            if !chain.contains(&wider) {
                chain.push(wider);
            }
        }
        chain
    }

    /// `true` if `self` is `wider` or lies inside it.
    pub fn is_within(self, wider: TaxonSlug) -> bool {
        self == wider || {
            let taxon = self.get();
            taxon.genus == Some(wider) || taxon.group_slug == wider
        }
    }

    /// Genera that any row of the look-alike table sets beside this taxon or its genus.
    pub fn look_alike_genera(self) -> Vec<TaxonSlug> {
        let own = self.get().genus;
        let mut genera: Vec<TaxonSlug> = catalogue()
            .look_alikes()
            .iter()
            .map(|row| row.members.iter().filter_map(|member| member.taxon.get().genus).collect::<Vec<_>>())
            .filter(|row| own.is_some_and(|own| row.contains(&own)))
            .flatten()
            .filter(|genus| Some(*genus) != own)
            .collect();
        genera.sort();
        genera.dedup();
        genera
    }

    /// What may answer where this taxon cannot, nearest first: the genus, then the group without look-alike
    /// genera. A step that would leave only the genus is skipped.
    pub fn fallback(self) -> Vec<Fallback> {
        let taxon = self.get();
        let mut steps = Vec::new();
        let Some(genus) = taxon.genus else { return steps };
        if taxon.rank == Rank::Species {
            steps.push(Fallback::Genus(genus));
        }
        let without = self.look_alike_genera();
        let genera: Vec<TaxonSlug> = catalogue()
            .taxa()
            .iter()
            .filter(|other| other.rank == Rank::Genus && other.group == taxon.group && !without.contains(&other.slug))
            .map(|other| other.slug)
            .collect();
        if genera.len() > 1 {
            steps.push(Fallback::GroupWithout { group: taxon.group_slug, without, genera });
        }
        steps
    }
}

#[derive(Debug)]
pub(super) struct Taxa {
    pub(super) all: Vec<Taxon>,
    pub(super) by_slug: FxHashMap<&'static str, usize>,
    pub(super) groups: Vec<Group>,
    pub(super) trade_names: Vec<TradeName>,
    pub(super) look_alikes: Vec<LookAlike>,
    pub(super) forms: Vec<Form>,
    names: resolve::Names,
}
