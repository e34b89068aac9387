//! `strandline report TAXON`: what the club's records say of a taxon, as Markdown, a printable page or JSON.

use analysis::answer::{
    self, Audience, BandsResult, By, CasebookResult, ConditionsResult, GrowthAnswer, GrowthQuestion, HazardResult,
    LeadUpResult, Outcome, POWER, PlanQuestion, PlanResult, Question, SurvivalAnswer, TaxonAnswer, TaxonQuestion,
};
use analysis::exposure::Factor;
use analysis::vocabulary::{ParameterCode, TaxonSlug, catalogue};
use clap::{Args, ValueEnum};
use serde::Serialize;

use crate::access::Scope;
use crate::config::Config;

use super::database;
use super::failure::Failure;
use super::output::{put, put_text};

mod markdown; // as Markdown
mod page; // as a page to print

/// Arguments of `strandline report`.
#[derive(Args)]
pub struct ReportArgs {
    /// The taxon: a slug such as goniopora or acropora-millepora
    taxon: String,
    /// Form of the report
    #[arg(long, value_enum, default_value_t = Form::Md)]
    format: Form,
    /// Conditions to compare inside the taught band with outside
    #[arg(long, value_delimiter = ',', default_value = "nitrate,phosphate,alkalinity,temperature,salinity")]
    by: Vec<String>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    Md,
    Html,
    Json,
}

/// The answers a report is made of. Curators' figures: not for passing on as they stand.
#[derive(Serialize)]
struct Report {
    survival: SurvivalAnswer,
    conditions: Vec<SurvivalAnswer>,
    feeding: SurvivalAnswer,
    growth: GrowthAnswer,
    hazard: TaxonAnswer<HazardResult>,
    associations: TaxonAnswer<ConditionsResult>,
    bands: TaxonAnswer<BandsResult>,
    lead_up: TaxonAnswer<LeadUpResult>,
    plan: TaxonAnswer<PlanResult>,
    casebook: TaxonAnswer<CasebookResult>,
    cautions: Vec<&'static str>,
}

/// Prints the report.
pub fn run(config: &Config, args: &ReportArgs) -> Result<u8, Failure> {
    let taxon = TaxonSlug::parse(&args.taxon).ok_or_else(|| unknown_taxon(&args.taxon))?;
    let conditions = args
        .by
        .iter()
        .map(|code| {
            ParameterCode::parse(code).ok_or_else(|| {
                Failure::usage(format!("no parameter is called that, --by {code}: see /api/v1/parameters"))
            })
        })
        .collect::<Result<Vec<_>, _>>()?;
    let database = database::open(config)?;
    let snapshot = crate::answer::club(&mut *database.connection()?, &Scope::of_operator())?;
    database.close()?;
    let stamp = snapshot.stamp();
    let asked = |by| {
        let question =
            Question { taxon, outcome: Outcome::Death, by, edges: None, given: None, horizon_days: 365.0, since: None };
        answer::survival(&snapshot.club, &question, Audience::Curator, &stamp)
    };
    let growth = GrowthQuestion { taxon, by: By::None, edges: None, since: None };
    let of = TaxonQuestion { taxon, outcome: Outcome::Death, since: None };
    let (club, reader) = (&snapshot.club, Audience::Curator);
    // The first condition asked about stands for what to record: the plan of another is one question to the API away.
    let first = conditions.first().copied().or_else(|| ParameterCode::parse("nitrate"));
    let condition = first.map_or(Factor::Feeding, Factor::Level);
    let plan = PlanQuestion { of, condition, hazard_ratio: 2.0, power: POWER };
    let report = Report {
        hazard: answer::hazard(club, &of, reader, &stamp),
        associations: answer::conditions(club, &of, reader, &stamp, None),
        bands: answer::bands(club, &of, reader, &stamp, None, None),
        lead_up: answer::lead_up(club, &of, reader, &stamp),
        plan: answer::plan(club, &plan, reader, &stamp),
        casebook: answer::casebook(club, &of, reader, &stamp),
        survival: asked(By::None),
        conditions: conditions.into_iter().map(|code| asked(By::Parameter(code))).collect(),
        feeding: asked(By::Feeding),
        growth: answer::growth(&snapshot.club, &growth, Audience::Curator, &stamp),
        cautions: CAUTIONS.to_vec(),
    };
    match args.format {
        Form::Md => put_text(&markdown::markdown(&report))?,
        Form::Html => put_text(&page::page(&report.survival.taxon.name, &markdown::markdown(&report)))?,
        Form::Json => put(serde_json::to_string(&report)
            .map_err(|error| Failure::place(format!("cannot print ({error}), report: report this")))?)?,
    }
    Ok(0)
}

const CAUTIONS: [&str; 3] = [
    "Members chose their water, their corals and what they wrote down; what went together need not be cause and effect.",
    "Never change water, dose or buy corals to fill a gap in the records.",
    "For sick animals ask a vet with aquatic practice; local rules and licensed practice go before anything printed here.",
];

fn unknown_taxon(asked: &str) -> Failure {
    let nearest = catalogue()
        .taxa()
        .iter()
        .map(|taxon| taxon.slug.as_str())
        .max_by(|a, b| strsim::jaro_winkler(a, asked).total_cmp(&strsim::jaro_winkler(b, asked)));
    Failure::usage(format!("no taxon is called that, {asked}: did you mean {}?", nearest.unwrap_or("goniopora")))
}
