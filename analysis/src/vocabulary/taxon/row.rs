//! `catalogue/taxa.toml` to the types, checked.

use rustc_hash::FxHashMap;
use serde::Deserialize;

use super::resolve::Names;
use super::{Candidate, Form, Group, LookAlike, Rank, Reach, Sting, Taxa, Taxon, TradeName};
use crate::vocabulary::text::{keep, keep_all};
use crate::vocabulary::{CatalogueError, TaxonSlug};

const FILE: &str = "taxa.toml";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    remark_words: Vec<String>,
    group: Vec<GroupRow>,
    genus: Vec<GenusRow>,
    assembly: Vec<AssemblyRow>,
    trade_name: Vec<TradeRow>,
    look_alike: Vec<LookAlikeRow>,
    form: Vec<FormRow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct GroupRow {
    code: String,
    slug: String,
    name: String,
    #[serde(default)]
    by_genus: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct GenusRow {
    name: String,
    group: String,
    #[serde(default)]
    fleshy: bool,
    sting: Sting,
    #[serde(default)]
    reach: Reach,
    #[serde(default)]
    toxin: bool,
    tentacles: Option<u32>,
    #[serde(default)]
    older: Vec<String>,
    #[serde(default)]
    older_in_part: Vec<String>,
    #[serde(default)]
    confirmed: bool,
    /// The genus name alone is also a trade name of something else.
    #[serde(default)]
    bare_name_unclear: bool,
    note: Option<String>,
    #[serde(default)]
    species: Vec<SpeciesRow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SpeciesRow {
    epithet: String,
    #[serde(default)]
    older: Vec<String>,
    #[serde(default)]
    confirmed: bool,
    sting: Option<Sting>,
    note: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AssemblyRow {
    name: String,
    slug: String,
    group: String,
    sting: Sting,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TradeRow {
    words: Vec<String>,
    taxon: Option<String>,
    #[serde(default)]
    candidates: Vec<CandidateRow>,
    group: Option<String>,
    /// Its words are everyday words too.
    #[serde(default)]
    everyday: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CandidateRow {
    taxon: String,
    character: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LookAlikeRow {
    members: Vec<CandidateRow>,
    /// Even a scientific name is not enough without the character.
    #[serde(default)]
    name_not_enough: bool,
    #[serde(default, rename = "source")]
    _source: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FormRow {
    code: String,
    taxa: Vec<String>,
    looks_like: String,
    said: String,
    words: Vec<String>,
}

fn wrong(message: impl Into<String>) -> CatalogueError {
    CatalogueError::new(FILE, message)
}

fn slug_of(name: &str) -> &'static str {
    keep(name.to_lowercase().replace(' ', "-"))
}

impl Taxa {
    pub(in crate::vocabulary) fn read() -> Result<Self, CatalogueError> {
        let file: File = crate::vocabulary::parse(FILE, include_str!("../../../catalogue/taxa.toml"))?;
        let mut taxa = Taxa {
            all: Vec::new(),
            by_slug: FxHashMap::default(),
            groups: Vec::new(),
            trade_names: Vec::new(),
            look_alikes: Vec::new(),
            forms: Vec::new(),
            names: Names::default(),
        };
        for word in &file.remark_words {
            taxa.names.add_remark_word(word);
        }
        for row in file.group {
            taxa.add_group(row)?;
        }
        for row in file.genus {
            taxa.add_genus(row)?;
        }
        for row in file.assembly {
            let group = taxa.group(&row.group)?;
            let (code, group_slug) = (group.code, group.slug);
            taxa.add(Taxon { sting: row.sting, ..blank(keep(row.slug), keep(row.name), code, group_slug) })?;
        }
        for row in file.trade_name {
            taxa.add_trade_name(row)?;
        }
        for row in file.look_alike {
            let members = taxa.candidates(row.members)?;
            for member in &members {
                let others = members.iter().map(|other| other.taxon).filter(|other| *other != member.taxon);
                let taxon = &mut taxa.all[taxa.by_slug[member.taxon.as_str()]];
                for other in others {
                    if !taxon.look_alikes.contains(&other) {
                        taxon.look_alikes.push(other);
                    }
                }
            }
            taxa.look_alikes.push(LookAlike { members, name_not_enough: row.name_not_enough });
        }
        for row in file.form {
            let genera = row.taxa.iter().map(|slug| taxa.slug(slug)).collect::<Result<_, _>>()?;
            taxa.forms.push(Form {
                code: keep(row.code),
                taxa: genera,
                looks_like: keep(row.looks_like),
                said: keep(row.said),
                words: keep_all(row.words),
            });
        }
        Ok(taxa)
    }

    fn add_group(&mut self, row: GroupRow) -> Result<(), CatalogueError> {
        let (code, name) = (keep(row.code), keep(row.name));
        let slug = TaxonSlug::of_catalogue(keep(row.slug));
        self.groups.push(Group { code, slug, name, by_genus: row.by_genus });
        self.add(blank(slug.as_str(), name, code, slug))
    }

    fn add_genus(&mut self, row: GenusRow) -> Result<(), CatalogueError> {
        let group = self.group(&row.group)?;
        let (code, group_slug) = (group.code, group.slug);
        let genus_name = keep(row.name);
        let genus = TaxonSlug::of_catalogue(slug_of(genus_name));
        let shared = Taxon {
            genus: Some(genus),
            fleshy: row.fleshy,
            sting: row.sting,
            reach: row.reach,
            toxin: row.toxin,
            tentacles: row.tentacles,
            ..blank(genus.as_str(), genus_name, code, group_slug)
        };
        let mut older = keep_all(row.older);
        let in_part = keep_all(row.older_in_part);
        for name in older.iter().chain(&in_part) {
            self.names.add_older(name, genus).map_err(wrong)?;
        }
        older.extend(in_part);
        if !row.bare_name_unclear {
            self.names.add_accepted(genus_name, genus).map_err(wrong)?;
        }
        self.names.add_genus(genus_name, genus, row.bare_name_unclear);
        self.add(Taxon {
            rank: Rank::Genus,
            older_names: older,
            confirmed: row.confirmed,
            note: row.note.map(keep),
            ..shared.clone()
        })?;
        for species in row.species {
            let name = keep(format!("{genus_name} {}", species.epithet));
            let slug = TaxonSlug::of_catalogue(slug_of(name));
            let older = keep_all(species.older);
            self.names.add_accepted(name, slug).map_err(wrong)?;
            for older in &older {
                self.names.add_older(older, slug).map_err(wrong)?;
            }
            self.add(Taxon {
                slug,
                name,
                rank: Rank::Species,
                sting: species.sting.unwrap_or(shared.sting),
                older_names: older,
                confirmed: species.confirmed,
                note: species.note.map(keep),
                ..shared.clone()
            })?;
        }
        Ok(())
    }

    fn add_trade_name(&mut self, row: TradeRow) -> Result<(), CatalogueError> {
        let words = keep_all(row.words);
        let candidates = match (row.taxon, self.candidates(row.candidates)?) {
            (Some(taxon), none) if none.is_empty() => vec![Candidate { taxon: self.slug(&taxon)?, character: "" }],
            (None, several) if several.len() > 1 => several,
            _ => return Err(wrong(format!("{words:?} needs one taxon or several candidates"))),
        };
        let ambiguous = candidates.len() > 1;
        for candidate in &candidates {
            let taxon = &mut self.all[self.by_slug[candidate.taxon.as_str()]];
            taxon.trade_names.push((words[0], ambiguous));
        }
        for word in &words {
            self.names.add_trade(word, self.trade_names.len()).map_err(wrong)?;
        }
        if row.everyday {
            self.names.mark_everyday(self.trade_names.len());
        }
        let common = row.group.map(|slug| self.slug(&slug)).transpose()?;
        self.trade_names.push(TradeName { words, candidates, common });
        Ok(())
    }

    fn candidates(&self, rows: Vec<CandidateRow>) -> Result<Vec<Candidate>, CatalogueError> {
        rows.into_iter()
            .map(|row| Ok(Candidate { taxon: self.slug(&row.taxon)?, character: keep(row.character) }))
            .collect()
    }

    fn slug(&self, slug: &str) -> Result<TaxonSlug, CatalogueError> {
        let row = self.by_slug.get(slug).ok_or_else(|| wrong(format!("`{slug}` is no taxon")))?;
        Ok(self.all[*row].slug)
    }

    fn group(&self, code: &str) -> Result<&Group, CatalogueError> {
        self.groups.iter().find(|group| group.code == code).ok_or_else(|| wrong(format!("`{code}` is no group")))
    }

    fn add(&mut self, taxon: Taxon) -> Result<(), CatalogueError> {
        if self.by_slug.insert(taxon.slug.as_str(), self.all.len()).is_some() {
            return Err(wrong(format!("taxon `{}` stands twice", taxon.slug)));
        }
        self.all.push(taxon);
        Ok(())
    }
}

fn blank(slug: &'static str, name: &'static str, group: &'static str, group_slug: TaxonSlug) -> Taxon {
    Taxon {
        slug: TaxonSlug::of_catalogue(slug),
        name,
        rank: Rank::Group,
        genus: None,
        group,
        group_slug,
        fleshy: false,
        sting: Sting::Weak,
        reach: Reach::Usual,
        toxin: false,
        tentacles: None,
        older_names: Vec::new(),
        trade_names: Vec::new(),
        look_alikes: Vec::new(),
        confirmed: false,
        note: None,
    }
}
