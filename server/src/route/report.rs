//! Everything the records say of one taxon, for one reader: the answers side by side, as a text to read and as a page to
//! print. The command prints it for curators, the API for everybody by the rules of each answer.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{
    self, Audience, BandsResult, By, CasebookResult, ConditionsResult, GrowthAnswer, GrowthQuestion, HazardResult,
    LeadUpResult, ON_RECORD, Outcome, POWER, PlanQuestion, PlanResult, Question, SurvivalAnswer, TaxonAnswer,
    TaxonQuestion, UNDIVIDED, code_of_split,
};
use analysis::club::SEVERAL;
use analysis::exposure::Factor;
use analysis::vocabulary::{ParameterCode, TaxonSlug};
use serde::Serialize;

use crate::access::Caller;
use crate::answer::Snapshot;
use crate::app::State;
use crate::chart::{self, Size, Source};
use crate::problem::Problem;
use crate::query::Query;
use crate::represent::{self, Form};
use crate::route::representation::Documents;
use crate::route::shape;
use crate::route::survival::AnswerProblems;
use crate::route::{bands, conditions, statistics};

mod markdown; // as Markdown

/// Conditions compared where none are named.
pub const CONDITIONS: [&str; 5] = ["nitrate", "phosphate", "alkalinity", "temperature", "salinity"];

/// The answers a report is made of.
#[derive(Serialize)]
pub struct Report {
    /// All corals together.
    pub survival: SurvivalAnswer,
    /// Inside and outside the taught band of each condition asked for.
    pub conditions: Vec<SurvivalAnswer>,
    /// Fed or not, by water.
    pub feeding: SurvivalAnswer,
    /// How fast they grew.
    pub growth: GrowthAnswer,
    /// When they are lost.
    pub hazard: TaxonAnswer<HazardResult>,
    /// Conditions side by side.
    pub associations: TaxonAnswer<ConditionsResult>,
    /// What is taught beside what was seen.
    pub bands: TaxonAnswer<BandsResult>,
    /// The weeks before losses.
    pub lead_up: TaxonAnswer<LeadUpResult>,
    /// What to record to know.
    pub plan: TaxonAnswer<PlanResult>,
    /// Single losses.
    pub casebook: TaxonAnswer<CasebookResult>,
    /// What is to be read beside all of it.
    pub cautions: Vec<&'static str>,
}

const CAUTIONS: [&str; 3] = [
    "Members chose their water, their corals and what they wrote down; what went together need not be cause and effect.",
    "Never change water, dose or buy corals to fill a gap in the records.",
    "For sick animals ask a vet with aquatic practice; local rules and licensed practice go before anything printed here.",
];

impl Report {
    /// The report of a taxon; each answer comes from the records that stand for it.
    ///
    /// # Errors
    /// The database refused.
    pub fn of(snapshot: &Snapshot, reader: Audience, taxon: TaxonSlug, by: &[ParameterCode]) -> Result<Self, Problem> {
        let standing = |made_of: &str| Ok::<_, Problem>(snapshot.by_taxon(made_of)?.of(taxon).clone());
        let of = TaxonQuestion { taxon, outcome: Outcome::Death, since: None };
        let survival = |by: By| {
            let from = standing(code_of_split(by))?;
            let question = Question { by, horizon_days: 365.0, ..of.plain() };
            Ok::<_, Problem>(answer::survival(&from.club, &question, reader, &from.stamp()))
        };
        let (undivided, several, on_record) = (standing(UNDIVIDED)?, standing(SEVERAL)?, standing(ON_RECORD)?);
        // The first condition asked about stands for what to record: the plan of another is one question to the API away.
        let condition = by.first().copied().map_or(Factor::Feeding, Factor::Level);
        let plan = PlanQuestion { of, condition, hazard_ratio: 2.0, power: POWER };
        let growth = GrowthQuestion { taxon, by: By::None, edges: None, since: None };
        let (club, stamp) = (&several.club, several.stamp());
        Ok(Report {
            hazard: answer::hazard(&undivided.club, &of, reader, &undivided.stamp()),
            associations: conditions::answer(&several, &of, reader)?,
            bands: bands::answer(&several, &of, reader)?,
            lead_up: answer::lead_up(club, &of, reader, &stamp),
            plan: answer::plan(club, &plan, reader, &stamp),
            casebook: answer::casebook(&on_record.club, &of, reader, &on_record.stamp()),
            survival: survival(By::None)?,
            conditions: by.iter().map(|code| survival(By::Parameter(*code))).collect::<Result<_, _>>()?,
            feeding: survival(By::Feeding)?,
            growth: answer::growth(club, &growth, reader, &stamp),
            cautions: CAUTIONS.to_vec(),
        })
    }

    /// The report as Markdown.
    pub fn markdown(&self) -> String {
        markdown::markdown(self)
    }

    /// The report as a page, with its pictures in it.
    pub fn page(&self, source: &Source) -> String {
        let pictures = [
            chart::survival(&self.survival, source, Size::Column),
            chart::hazard(&self.hazard, source, Size::Column),
            chart::bands(&self.bands, source, Size::Column),
            chart::conditions(&self.associations, source, Size::Column),
        ];
        crate::represent::printed::page(&self.survival.taxon.name, &self.markdown(), &pictures)
    }
}

/// Everything the records say of a taxon.
#[derive(Debug, Clone, PartialEq, Serialize, serde::Deserialize, utoipa::ToSchema)]
pub struct ReportAnswer {
    /// All corals together.
    pub survival: shape::SurvivalAnswer,
    /// Inside and outside the taught bands of nitrate, phosphate, alkalinity, temperature and salinity.
    pub conditions: Vec<shape::SurvivalAnswer>,
    /// Fed or not, by water.
    pub feeding: shape::SurvivalAnswer,
    /// How fast they grew.
    pub growth: shape::GrowthAnswer,
    /// When they are lost.
    pub hazard: shape::HazardAnswer,
    /// Conditions side by side.
    pub associations: shape::ConditionsAnswer,
    /// What is taught beside what was seen.
    pub bands: shape::BandsAnswer,
    /// The weeks before losses.
    pub lead_up: shape::LeadUpAnswer,
    /// What to record to know.
    pub plan: shape::PlanAnswer,
    /// Single losses.
    pub casebook: shape::CasebookAnswer,
    /// What is to be read beside all of it.
    pub cautions: Vec<String>,
}

/// Get a report of a taxon
///
/// Every answer about a taxon side by side, each by its own rules for this reader: as JSON, as Markdown to work on, as a
/// page that prints, with its pictures in it and nothing loaded from outside. These are associations among keepers who
/// chose their water and their corals, not effects: do not change a tank on them alone.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(("slug" = String, Path, description = "Species, genus or group", example = "goniopora"), Documents),
    responses(
        (status = 200, description = "The report", content((ReportAnswer = "application/json"), (String = "text/markdown"), (String = "text/html"))),
        (status = 304, description = "The caller holds this report already"),
        AnswerProblems
    )
)]
#[get("/taxa/{slug}/report")]
pub async fn get_report(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    query: Query<Documents>,
) -> Result<HttpResponse, Problem> {
    let taxon = statistics::taxon(&path)?;
    let form = query.0.form(&request)?;
    let club = statistics::club_facts(&state).await?.0;
    let named = club.as_deref().map(represent::encode).unwrap_or_default();
    let asked = statistics::Question {
        canonical: format!("report?taxon={taxon}&club={named}"),
        form,
        stem: format!("{taxon}-report"),
        taxon: Some(taxon),
        made_of: SEVERAL,
    };
    statistics::answer(&request, &state, caller, asked, move |snapshot, audience| {
        let by: Vec<ParameterCode> = CONDITIONS.iter().filter_map(|code| ParameterCode::parse(code)).collect();
        let report = Report::of(snapshot, audience, taxon, &by)?;
        match form {
            Form::Markdown => Ok(report.markdown().into_bytes()),
            Form::Html => Ok(report.page(&Source { club, day: snapshot.raised_at.date_naive() }).into_bytes()),
            _ => represent::json_bytes(&report),
        }
    })
    .await
}
