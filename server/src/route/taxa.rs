//! Corals and kin: names as the catalogue has them, with the counts of the records as far as the caller may see them.

use std::collections::BTreeMap;

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{Audience, ON_RECORD, TaxonCensus};
use analysis::club::SEVERAL;
use analysis::disclosure;
use analysis::vocabulary::{NameMatch, Rank, Taxon, TaxonSlug, catalogue, resolve_name};
use serde::Serialize;
use serde_json::{Value, json};
use utoipa::{IntoParams, ToSchema};

use crate::access::Caller;
use crate::answer::{ByTaxon, Snapshot};
use crate::app::State;
use crate::problem::Problem;
use crate::problems;
use crate::query::{Asked, Fields, Query, hint};
use crate::represent::{self, Cell, Form, Made, Sheet};
use crate::route::representation::Representation;
use crate::route::shape::{CensusCounts, Part};
use crate::route::statistics;
use crate::route::survival::AnswerProblems;

problems!(
    /// What a list of taxa can meet.
    TaxaProblems: NotPublished, NotAcceptable
);

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct TaxaQuery {
    /// Only taxa of a rank: `species`, `genus`, `group`.
    #[param(value_type = Option<String>, example = "genus")]
    rank: Option<Rank>,
    /// Only taxa of a group, by its slug.
    #[param(value_type = Option<String>, example = "lps")]
    group: Option<TaxonSlug>,
    /// Only taxa that a name can mean: accepted, older or trade names, or a part of one.
    #[param(example = "flowerpot")]
    q: Option<String>,
    /// `json`, `csv` or `parquet`; wins over `Accept`.
    #[param(example = "json")]
    format: Option<String>,
    /// `excel` for semicolons and decimal commas; implies `format=csv`.
    #[param(example = "excel")]
    csv: Option<String>,
}

/// What `rank` takes.
pub const RANKS: [Rank; 3] = [Rank::Species, Rank::Genus, Rank::Group];

impl Asked for TaxaQuery {
    fn read(fields: &mut Fields) -> Self {
        let rank = fields
            .word("rank", &RANKS.map(Rank::as_str))
            .and_then(|word| RANKS.into_iter().find(|rank| rank.as_str() == word));
        let group = fields.value("group", |text| {
            let groups = catalogue().groups();
            groups.iter().map(|group| group.slug).find(|slug| slug.as_str() == text).ok_or_else(|| {
                format!("'group={text}' is no group; {}", hint(text, groups.iter().map(|group| group.slug.as_str())))
            })
        });
        let q = fields.text("q");
        let Representation { format, csv } = Representation::of(fields);
        TaxaQuery { rank, group, q, format, csv }
    }
}

/// A species, a genus or a group.
#[derive(Serialize, ToSchema)]
pub struct TaxonShown {
    /// Name in addresses.
    #[schema(example = "goniopora")]
    slug: &'static str,
    /// Accepted name.
    #[schema(example = "Goniopora")]
    name: &'static str,
    /// `species`, `genus`, `group`.
    #[schema(example = "genus")]
    rank: &'static str,
    /// Slug of its genus, for a species.
    genus: Option<&'static str>,
    /// Slug of its group.
    #[schema(example = "flowerpots")]
    group: &'static str,
    /// Names it went by.
    older_names: Vec<&'static str>,
    /// Trade names that can mean it.
    trade_names: Vec<TradeNameShown>,
    /// Slugs of those it is easily taken for.
    look_alikes: Vec<&'static str>,
    /// How hard it stings: `weak`, `medium`, `strong`, `chemical`; from memory.
    sting: &'static str,
    /// It may hold palytoxin: handle it with gloves and eye protection, never boil or scrub it dry.
    may_hold_palytoxin: bool,
    /// What the records hold of it, as far as the caller may see it.
    #[schema(value_type = Part<CensusCounts>)]
    records: Value,
}

/// A trade name.
#[derive(Serialize, ToSchema)]
pub struct TradeNameShown {
    /// The name.
    #[schema(example = "flowerpot")]
    name: &'static str,
    /// Others carry it too.
    ambiguous: bool,
}

/// Taxa with what the records hold of them.
#[derive(Serialize, ToSchema)]
pub struct TaxonList {
    /// State of the records.
    #[schema(example = 41)]
    edition: i64,
    /// Groups first, then genera with their species.
    taxa: Vec<TaxonShown>,
}

/// One taxon with what the records hold of it.
#[derive(Serialize, ToSchema)]
pub struct TaxonOne {
    /// State of the records.
    #[schema(example = 41)]
    edition: i64,
    /// The taxon.
    #[serde(flatten)]
    taxon: TaxonShown,
}

/// Counts of every taxon, each from the release that stands for it.
struct Census {
    by_taxon: ByTaxon,
    /// By state of the records.
    counted: BTreeMap<i64, Vec<TaxonCensus>>,
}

impl Census {
    fn of(snapshot: &Snapshot, audience: Audience) -> Result<Census, Problem> {
        let by_taxon = snapshot.by_taxon(ON_RECORD)?;
        let counted = by_taxon.snapshots().map(|of| (of.edition, analysis::answer::census(&of.club, audience)));
        Ok(Census { counted: counted.collect(), by_taxon })
    }

    fn row(&self, taxon: TaxonSlug) -> Option<&TaxonCensus> {
        let of = self.by_taxon.of(taxon);
        let census = self.counted.get(&of.edition).filter(|_| !of.club.withheld)?;
        census.iter().find(|row| row.slug == taxon.as_str())
    }
}

fn shown(taxon: &'static Taxon, counted: Option<&TaxonCensus>, audience: Audience) -> TaxonShown {
    let counts = counted.map(|row| &row.counts);
    TaxonShown {
        slug: taxon.slug.as_str(),
        name: taxon.name,
        rank: taxon.rank.as_str(),
        genus: taxon.genus.filter(|genus| *genus != taxon.slug).map(TaxonSlug::as_str),
        group: taxon.group_slug.as_str(),
        older_names: taxon.older_names.clone(),
        trade_names: taxon
            .trade_names
            .iter()
            .map(|(name, ambiguous)| TradeNameShown { name, ambiguous: *ambiguous })
            .collect(),
        look_alikes: taxon.look_alikes.iter().map(|slug| slug.as_str()).collect(),
        sting: taxon.sting.as_str(),
        may_hold_palytoxin: taxon.toxin,
        records: counts.map_or_else(|| nothing(audience), |counts| serde_json::to_value(counts).unwrap_or_default()),
    }
}

/// A taxon without a record: for restricted audiences that must look like one with too few.
fn nothing(audience: Audience) -> Value {
    if disclosure::block_minimum(audience).is_some() {
        return json!({"refused": disclosure::suppressed(audience)});
    }
    json!({"specimens": 0, "keepers": 0, "deaths": 0, "living": 0, "mix": []})
}

/// Does a taxon answer to a name? Accepted, older and trade names count, and what the catalogue makes of a written name.
fn answers_to(taxon: &Taxon, q: &str, resolved: &[TaxonSlug]) -> bool {
    let q = q.to_lowercase();
    let holds = |name: &str| name.to_lowercase().contains(&q);
    resolved.contains(&taxon.slug)
        || holds(taxon.name)
        || holds(taxon.slug.as_str())
        || taxon.older_names.iter().any(|name| holds(name))
        || taxon.trade_names.iter().any(|(name, _)| holds(name))
}

fn resolved(q: &str) -> Vec<TaxonSlug> {
    match resolve_name(q) {
        NameMatch::Accepted { taxon, .. }
        | NameMatch::Older { taxon, .. }
        | NameMatch::Trade { taxon, .. }
        | NameMatch::Spelling { taxon, .. } => vec![taxon],
        NameMatch::Ambiguous { candidates, .. } => candidates.iter().map(|candidate| candidate.taxon).collect(),
        NameMatch::Near(near) => near,
        NameMatch::Unknown => Vec::new(),
    }
}

fn sheet(edition: i64, taxa: &[TaxonShown]) -> Sheet {
    let mut sheet = Sheet::new([
        "edition",
        "slug",
        "name",
        "rank",
        "genus",
        "group",
        "specimens",
        "keepers",
        "deaths",
        "living",
        "refused",
        "message",
    ]);
    sheet.about.push(("edition".to_owned(), edition.to_string()));
    for taxon in taxa {
        let mut row = vec![
            Cell::Whole(edition),
            Cell::Text(taxon.slug.into()),
            Cell::Text(taxon.name.into()),
            Cell::Text(taxon.rank.into()),
            Cell::text(taxon.genus),
            Cell::Text(taxon.group.into()),
        ];
        row.extend(["specimens", "keepers", "deaths", "living"].map(|name| Cell::json(&taxon.records[name])));
        row.extend(["code", "message"].map(|name| Cell::json(&taxon.records["refused"][name])));
        sheet.rows.push(row);
    }
    sheet
}

/// List taxa with what the records hold
///
/// Species, genera and groups of the catalogue, found by accepted, older and trade names, each with the counts of the
/// records as far as the caller may see them.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(TaxaQuery),
    responses(
        (status = 200, description = "The taxa", content((TaxonList = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"))),
        (status = 304, description = "The caller holds this answer already"),
        TaxaProblems
    )
)]
#[get("/taxa")]
pub async fn list_taxa(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<TaxaQuery>,
) -> Result<HttpResponse, Problem> {
    let TaxaQuery { rank, group, q, format, csv } = query.0;
    let form = Representation { format, csv }.form(&request, Made::Table)?;
    let canonical = format!(
        "taxa?rank={}&group={}&q={}",
        rank.map_or("", Rank::as_str),
        group.map_or("", TaxonSlug::as_str),
        q.as_deref().map(represent::encode).unwrap_or_default()
    );
    let asked = statistics::Question { canonical, form, stem: "taxa".to_owned(), taxon: None, made_of: SEVERAL };
    statistics::answer(&request, &state, caller, asked, move |snapshot, audience| {
        let census = Census::of(snapshot, audience)?;
        let meant = q.as_deref().map(resolved).unwrap_or_default();
        let taxa: Vec<TaxonShown> = catalogue()
            .taxa()
            .iter()
            .filter(|taxon| rank.is_none_or(|rank| taxon.rank == rank))
            .filter(|taxon| group.is_none_or(|group| taxon.group_slug == group))
            .filter(|taxon| q.as_deref().is_none_or(|q| answers_to(taxon, q, &meant)))
            .map(|taxon| shown(taxon, census.row(taxon.slug), audience))
            .collect();
        match form {
            Form::Json => represent::json_bytes(&TaxonList { edition: snapshot.edition, taxa }),
            form => sheet(snapshot.edition, &taxa).bytes(form),
        }
    })
    .await
}

/// Get one taxon with what the records hold
///
/// A species, genus or group by its slug.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(("slug" = String, Path, description = "Species, genus or group", example = "goniopora"), Representation),
    responses(
        (status = 200, description = "The taxon", content((TaxonOne = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"))),
        (status = 304, description = "The caller holds this answer already"),
        AnswerProblems
    )
)]
#[get("/taxa/{slug}")]
pub async fn get_taxon(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    query: Query<Representation>,
) -> Result<HttpResponse, Problem> {
    let slug = statistics::taxon(&path)?;
    let form = query.0.form(&request, Made::Table)?;
    let asked = statistics::Question {
        canonical: format!("taxon?slug={slug}"),
        form,
        stem: slug.to_string(),
        taxon: Some(slug),
        made_of: ON_RECORD,
    };
    statistics::answer(&request, &state, caller, asked, move |snapshot, audience| {
        let census = analysis::answer::census(&snapshot.club, audience);
        let row = census.iter().find(|row| row.slug == slug.as_str());
        let taxon = shown(slug.get(), row, audience);
        match form {
            Form::Json => represent::json_bytes(&TaxonOne { edition: snapshot.edition, taxon }),
            form => sheet(snapshot.edition, &[taxon]).bytes(form),
        }
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_taxon_is_found_by_the_names_it_goes_by() {
        let found = |q: &str| -> Vec<&str> {
            let meant = resolved(q);
            catalogue()
                .taxa()
                .iter()
                .filter(|taxon| answers_to(taxon, q, &meant))
                .map(|taxon| taxon.slug.as_str())
                .collect()
        };
        assert!(found("Goniopora").contains(&"goniopora"));
        assert!(found("flowerpot").len() > 1, "an ambiguous name finds all that carry it");
        assert!(found("gonipora").contains(&"goniopora"), "a slip of one letter is forgiven");
        assert!(found("bicycle").is_empty());
    }
}
