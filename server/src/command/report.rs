//! `strandline report TAXON`: what the club's records say of a taxon, as Markdown, a printable page, JSON or the curve.

use analysis::answer::Audience;
use analysis::vocabulary::{ParameterCode, TaxonSlug, catalogue};
use clap::{Args, ValueEnum};

use crate::access::Scope;
use crate::chart::{self, Size, Source};
use crate::config::Config;
use crate::route::{CONDITIONS, Report};

use super::database;
use super::failure::Failure;
use super::output::{put, put_text};

/// Arguments of `strandline report`.
#[derive(Args)]
pub struct ReportArgs {
    /// The taxon: a slug such as goniopora or acropora-millepora
    taxon: String,
    /// Form of the report
    #[arg(long, value_enum, default_value_t = Form::Md)]
    format: Form,
    /// Conditions to compare inside the taught band with outside
    #[arg(long, value_delimiter = ',', default_values = CONDITIONS)]
    by: Vec<String>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    Md,
    Html,
    Json,
    Svg,
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
    let club = crate::answer::club_name(&mut *database.connection()?)?;
    database.close()?;
    let wrong = |problem: crate::problem::Problem| Failure::place(format!("{problem}, report: report this"));
    let report = Report::of(&snapshot, Audience::Curator, taxon, &conditions).map_err(wrong)?;
    let source = Source { club, day: snapshot.raised_at.date_naive() };
    match args.format {
        Form::Md => put_text(&report.markdown())?,
        Form::Html => put_text(&report.page(&source))?,
        Form::Svg => put_text(&chart::survival(&report.survival, &source, Size::Column))?,
        Form::Json => put(serde_json::to_string(&report)
            .map_err(|error| Failure::place(format!("cannot print ({error}), report: report this")))?)?,
    }
    Ok(0)
}

fn unknown_taxon(asked: &str) -> Failure {
    let nearest = catalogue()
        .taxa()
        .iter()
        .map(|taxon| taxon.slug.as_str())
        .max_by(|a, b| strsim::jaro_winkler(a, asked).total_cmp(&strsim::jaro_winkler(b, asked)));
    Failure::usage(format!("no taxon is called that, {asked}: did you mean {}?", nearest.unwrap_or("goniopora")))
}
