//! An issue of the newsletter, assembled: for each taxon whose figures stand a paragraph, a table and a picture, what the
//! records say of what is taught, and what cannot be told yet with what to record. Figures are always those of the public
//! column of the disclosure rules, whoever asks: what is printed is public.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{self, Audience, By, Outcome, Question, SurvivalAnswer, TaxonQuestion, UNDIVIDED, listed};
use analysis::club::SEVERAL;
use analysis::evidence::verdict::Verdict;
use analysis::refusal::Part;
use analysis::wording::comparison::two_digits;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::access::Caller;
use crate::answer::Snapshot;
use crate::app::State;
use crate::chart::{self, Size, Source};
use crate::problem::Problem;
use crate::problems;
use crate::query::{Asked, Fields, Query};
use crate::represent::{self, Form};
use crate::route::representation::Documents;
use crate::route::{claims, statistics};

mod page; // as Markdown and as a page to print

/// Parameters of an issue.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct NewsletterQuery {
    /// Only what has changed since this day, by the day of the release whose figures stand.
    #[param(example = "2025-01-01")]
    since: Option<NaiveDate>,
    /// `json`, `md` for Markdown or `html` for a page that prints; wins over `Accept`, so that a link can carry it.
    #[param(example = "html")]
    format: Option<String>,
}

impl Asked for NewsletterQuery {
    fn read(fields: &mut Fields) -> Self {
        let since = fields.day("since");
        let Documents { format } = Documents::read(fields);
        NewsletterQuery { since, format }
    }
}

/// An issue.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Issue {
    /// The release that is current.
    #[schema(example = 7)]
    pub release: i64,
    /// Its day.
    pub made_on: NaiveDate,
    /// The club, where it has a name.
    #[schema(example = "Tarn Quay Reef Circle")]
    pub club: Option<String>,
    /// Only what has changed since this day; `null` = everything.
    pub since: Option<NaiveDate>,
    /// Taxa with figures.
    pub taxa: Vec<Item>,
    /// What is taught and has been looked at with enough records.
    pub claims: Vec<Claim>,
    /// Taxa and things taught of which nothing can be told yet.
    pub cannot_tell: Vec<Untold>,
    /// Taxa with figures that have not changed.
    #[schema(example = 3)]
    pub unchanged: usize,
    /// What is to be printed beside all of it.
    pub cautions: Vec<String>,
    /// How to cite it.
    pub citation: String,
}

/// A taxon with its figures.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Item {
    /// Its name in addresses.
    #[schema(example = "goniopora")]
    pub taxon: String,
    /// Its name.
    #[schema(example = "Goniopora")]
    pub name: String,
    /// The release whose figures stand.
    #[schema(example = 6)]
    pub release: i64,
    /// Its day.
    pub made_on: NaiveDate,
    /// The figures in words.
    pub paragraph: String,
    /// The figures as lines of a table.
    pub table: Vec<Line>,
    /// Address of the picture; `&size=slide` for a slide, `format=png` for dots.
    #[schema(example = "/api/v1/taxa/goniopora/survival?format=svg")]
    pub picture: String,
    #[serde(skip)]
    #[schema(ignore)]
    drawn: String,
}

/// A line of a table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Line {
    /// What it is.
    #[schema(example = "Alive after a year")]
    pub what: String,
    /// The figure as printed.
    #[schema(example = "58 % (44 % to 70 %)")]
    pub figure: String,
}

/// Something taught, and what the records say of it for a taxon.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Claim {
    /// Its stable name.
    #[schema(example = "near_sea_salt")]
    pub claim: String,
    /// Taxon.
    #[schema(example = "goniopora")]
    pub taxon: String,
    /// What is taught and what the records say.
    pub paragraph: String,
    /// What was compared.
    pub table: Vec<Line>,
}

/// What cannot be told, and what to record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Untold {
    /// Taxon or thing taught.
    #[schema(example = "Heliofungia actiniformis")]
    pub name: String,
    /// Why.
    pub reason: String,
}

const CAUTIONS: [&str; 4] = [
    "These figures show what went together among members who chose their water and their corals; they are no effects.",
    "Never change water, dose or buy corals on the strength of a record.",
    "Counts are rounded to the nearest 5 and other figures to two digits, so that no keeper can be singled out.",
    "For sick animals ask a vet with aquatic practice; local rules and licensed practice go before anything printed here.",
];

impl Issue {
    /// The issue of a release.
    ///
    /// # Errors
    /// The database refused.
    pub fn of(snapshot: &Snapshot, club: Option<String>, since: Option<NaiveDate>) -> Result<Self, Problem> {
        let (reader, made_on) = (Audience::Public, snapshot.raised_at.date_naive());
        let is_new = |of: &Snapshot| since.is_none_or(|since| of.raised_at.date_naive() >= since);
        let standing = snapshot.by_taxon(UNDIVIDED)?;
        let (mut taxa, mut cannot_tell, mut unchanged) = (Vec::new(), Vec::new(), 0);
        for taxon in listed(&snapshot.club) {
            let of = standing.of(taxon);
            let question = Question {
                by: By::None,
                horizon_days: 365.0,
                ..TaxonQuestion { taxon, outcome: Outcome::Death, since: None }.plain()
            };
            let answer = answer::survival(&of.club, &question, reader, &of.stamp());
            let source = Source { club: club.clone(), day: of.raised_at.date_naive() };
            match told(&answer) {
                Ok(_) if !is_new(of) => unchanged += 1,
                Ok((paragraph, table)) => taxa.push(Item {
                    taxon: taxon.to_string(),
                    name: answer.taxon.name.clone(),
                    release: of.edition,
                    made_on: source.day,
                    paragraph,
                    table,
                    picture: format!("/api/v1/taxa/{taxon}/survival?format=svg"),
                    drawn: chart::survival(&answer, &source, Size::Column),
                }),
                Err(reason) => cannot_tell.push(Untold { name: taxon.get().name.to_owned(), reason }),
            }
        }
        let taught = claims::answer(snapshot, reader)?;
        let mut said = Vec::new();
        for claim in &taught.claims {
            let mut told = 0;
            for of in &claim.taxa {
                if matches!(of.verdict, Verdict::CannotTellYet | Verdict::NeverLookedAt) {
                    continue;
                }
                told += 1;
                said.push(Claim {
                    claim: claim.claim.clone(),
                    taxon: of.taxon.clone(),
                    paragraph: format!(
                        "We teach: \u{201c}{}\u{201d} Of {} the records say: {}.",
                        claim.wording, of.name, of.verdict_in_words
                    ),
                    table: of.looked_at.iter().map(compared).collect(),
                });
            }
            if told == 0 {
                let reason = "These records cannot tell yet, for any kind of coral on record.".to_owned();
                cannot_tell.push(Untold { name: format!("What we teach: {}", claim.wording), reason });
            }
        }
        let named = club.as_deref().unwrap_or("A reef club");
        Ok(Issue {
            release: snapshot.edition,
            made_on,
            citation: format!("{named}: newsletter from release {}, {made_on}.", snapshot.edition),
            club,
            since,
            taxa,
            claims: said,
            cannot_tell,
            unchanged,
            cautions: CAUTIONS.map(str::to_owned).to_vec(),
        })
    }
}

/// The figures of a taxon in words and lines, or why there are none.
fn told(answer: &SurvivalAnswer) -> Result<(String, Vec<Line>), String> {
    if let Some(step) = answer.taxon.fallback.first() {
        return Err(step.refused.message.clone());
    }
    let result = match &answer.result {
        Part::Refused { refused } => return Err(refused.message.clone()),
        Part::Given(result) => result,
    };
    let group = result.groups.first().ok_or_else(|| "Nothing on record.".to_owned())?;
    let sentence = match &group.sentence {
        Part::Refused { refused } => return Err(refused.message.clone()),
        Part::Given(sentence) => sentence,
    };
    let of = &group.evidence;
    let behind = format!("This rests on {} corals in {} tanks of {} keepers.", of.specimens, of.tanks, of.keepers);
    let line = |what: &str, figure: String| Line { what: what.to_owned(), figure };
    let mut table = vec![
        line("Corals", of.specimens.to_string()),
        line("Keepers", of.keepers.to_string()),
        line("Tanks", of.tanks.to_string()),
        line("Deaths", of.deaths.to_string()),
    ];
    let percent = |share: f64| format!("{} %", two_digits(100.0 * share));
    if let Part::Given(point) = &group.at_horizon {
        let limits = point
            .lower
            .zip(point.upper)
            .map_or(String::new(), |(lower, upper)| format!(" ({} to {})", percent(lower), percent(upper)));
        table.push(line("Alive after a year", percent(point.survival) + &limits));
    }
    if let Part::Given(rate) = &group.rates {
        let figure =
            format!("{} ({} to {})", two_digits(rate.per_100_months), two_digits(rate.lower), two_digits(rate.upper));
        table.push(line("Losses per 100 coral-months", figure));
    }
    Ok((format!("{sentence} {behind}"), table))
}

fn compared(test: &answer::ClaimTest) -> Line {
    let figure = match (test.hazard_ratio, test.lower.zip(test.upper)) {
        (Some(ratio), Some((lower, upper))) => {
            format!("hazard ratio {} ({} to {})", two_digits(ratio), two_digits(lower), two_digits(upper))
        }
        (Some(ratio), None) => format!("hazard ratio {}", two_digits(ratio)),
        (None, _) => test.refused.as_ref().map_or("no figure".to_owned(), |refused| refused.message.clone()),
    };
    Line { what: format!("Corals {}, beside corals {}", test.level_label, test.reference_label), figure }
}

problems!(
    /// What an issue can meet.
    NewsletterProblems: NotPublished, NotAcceptable
);

/// Assemble an issue of the newsletter
///
/// A paragraph, a table and a picture for each taxon whose figures stand in the current release, what the records say of
/// what is taught, and what cannot be told yet. Figures are rounded as for the public, whoever asks. As a page it prints,
/// with its pictures in it and nothing loaded from outside.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(NewsletterQuery),
    responses(
        (status = 200, description = "The issue", content((Issue = "application/json"), (String = "text/markdown"), (String = "text/html"))),
        (status = 304, description = "The caller holds this issue already"),
        NewsletterProblems
    )
)]
#[get("/newsletter")]
pub async fn get_newsletter(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<NewsletterQuery>,
) -> Result<HttpResponse, Problem> {
    let NewsletterQuery { since, format } = query.0;
    let form = Documents { format }.form(&request)?;
    let club = statistics::club_facts(&state).await?.0;
    let named = club.as_deref().map(represent::encode).unwrap_or_default();
    let asked = statistics::Question {
        canonical: format!("newsletter?since={}&club={named}", since.map(|day| day.to_string()).unwrap_or_default()),
        form,
        stem: "newsletter".to_owned(),
        taxon: None,
        made_of: SEVERAL,
    };
    statistics::of_release(&request, &state, caller, asked, move |snapshot, _| {
        let issue = Issue::of(snapshot, club, since)?;
        match form {
            Form::Markdown => Ok(page::markdown(&issue, false).into_bytes()),
            Form::Html => Ok(page::page(&issue).into_bytes()),
            _ => represent::json_bytes(&issue),
        }
    })
    .await
}
