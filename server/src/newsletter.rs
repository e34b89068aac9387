//! An issue of the newsletter, assembled: for each taxon whose figures stand a paragraph, a table and a picture, what the
//! records say of what is taught, and what cannot be told yet with what to record. Figures are always those of the public
//! column of the disclosure rules, whoever asks: what is printed is public.

use analysis::answer::{self, Audience, By, Outcome, Question, SurvivalAnswer, TaxonQuestion, UNDIVIDED, listed};
use analysis::evidence::verdict::Verdict;
use analysis::refusal::Part;
use analysis::vocabulary::{TaxonSlug, catalogue};
use analysis::wording::comparison::two_digits;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::answer::{Snapshot, taught};
use crate::chart::{self, Size, Source};
use crate::problem::{Fault, Kind, Problem};
use crate::query::hint;

pub mod correction; // what was printed and stands no longer
pub mod frozen; // issues as they were printed
pub mod page; // as Markdown and as a page to print

pub use correction::Correction;

/// What an issue is made of.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    /// The club's name.
    pub club: Option<String>,
    /// Only what has changed since.
    pub since: Option<Since>,
    /// Taxa and claims chosen, in this order; empty = all.
    pub items: Vec<String>,
}

/// Since when something has changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Since {
    /// A day: what stands from a release of that day or later.
    Day(NaiveDate),
    /// A release: what stands from a later one.
    Release(i64),
}

impl std::fmt::Display for Since {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Since::Day(day) => write!(f, "{day}"),
            Since::Release(number) => write!(f, "{number}"),
        }
    }
}

impl Since {
    /// A day as 2025-03-04, or the number of a release.
    ///
    /// # Errors
    /// What would be taken.
    pub fn parse(text: &str) -> Result<Self, String> {
        let day = || NaiveDate::parse_from_str(text, "%Y-%m-%d").ok().filter(|_| text.len() == 10).map(Since::Day);
        let number = || text.parse().ok().filter(|number| (1..=1_000_000_000).contains(number)).map(Since::Release);
        day().or_else(number).ok_or_else(|| {
            format!("'{text}' is neither a day nor a release; write it as 2025-03-04, or as the number of a release, 6")
        })
    }

    /// Whether figures that stand from a release are newer.
    fn is_before(self, of: &Snapshot) -> bool {
        match self {
            Since::Day(day) => of.raised_at.date_naive() >= day,
            Since::Release(number) => of.edition > number,
        }
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
    /// Only what has changed since this day, or since the release of this number; `null` = everything.
    #[schema(example = "2025-01-01")]
    pub since: Option<String>,
    /// Taxa with figures.
    pub taxa: Vec<Item>,
    /// What is taught and has been looked at with enough records.
    pub claims: Vec<Claim>,
    /// Taxa and things taught of which nothing can be told yet.
    pub cannot_tell: Vec<Untold>,
    /// Taxa with figures that have not changed.
    #[schema(example = 3)]
    pub unchanged: usize,
    /// What the last printed issue says and what stands no longer.
    pub corrections: Vec<Correction>,
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
    /// The picture itself.
    #[serde(skip)]
    #[schema(ignore)]
    pub drawn: String,
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
    /// What they say, in one of five words.
    #[schema(example = "cannot tell yet")]
    pub verdict: String,
    /// What was compared.
    pub table: Vec<Line>,
}

/// What cannot be told, and what to record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Untold {
    /// Its name in addresses: of a taxon, or the stable name of something taught.
    #[schema(example = "heliofungia-actiniformis")]
    pub item: String,
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
    /// [`Kind::InvalidQuery`] where an item is neither a taxon nor something taught; the database refused.
    pub fn of(snapshot: &Snapshot, wanted: &Wanted) -> Result<Self, Problem> {
        let said = taught::claims(snapshot, Audience::Public)?;
        wanted.are_known(said.claims.iter().map(|claim| claim.claim.as_str()))?;
        Self::assembled(snapshot, wanted, &said, true)
    }

    /// What stands of some items, without pictures; what is taught no more is not there.
    fn standing(snapshot: &Snapshot, items: Vec<String>) -> Result<Self, Problem> {
        let said = taught::claims(snapshot, Audience::Public)?;
        Self::assembled(snapshot, &Wanted { items, ..Wanted::default() }, &said, false)
    }

    fn assembled(
        snapshot: &Snapshot,
        wanted: &Wanted,
        said: &answer::ClaimsAnswer,
        draws: bool,
    ) -> Result<Self, Problem> {
        let made_on = snapshot.raised_at.date_naive();
        let named = wanted.club.as_deref().unwrap_or("A reef club");
        let mut issue = Issue {
            release: snapshot.edition,
            made_on,
            citation: format!("{named}: newsletter from release {}, {made_on}.", snapshot.edition),
            club: wanted.club.clone(),
            since: wanted.since.map(|since| since.to_string()),
            taxa: Vec::new(),
            claims: Vec::new(),
            cannot_tell: Vec::new(),
            unchanged: 0,
            corrections: Vec::new(),
            cautions: CAUTIONS.map(str::to_owned).to_vec(),
        };
        issue.tell_taxa(snapshot, wanted, draws)?;
        issue.tell_claims(said, wanted);
        // As they were chosen; what was not chosen is not there.
        let place = |item: &str| wanted.items.iter().position(|chosen| chosen == item);
        issue.taxa.sort_by_key(|of| place(&of.taxon));
        issue.claims.sort_by_key(|of| place(&of.claim));
        issue.cannot_tell.sort_by_key(|of| place(&of.item));
        Ok(issue)
    }

    fn tell_taxa(&mut self, snapshot: &Snapshot, wanted: &Wanted, draws: bool) -> Result<(), Problem> {
        let standing = snapshot.by_taxon(UNDIVIDED)?;
        let on_record = listed(&snapshot.club);
        for taxon in on_record.iter().copied().filter(|taxon| wanted.has(taxon.as_str())) {
            let of = standing.of(taxon);
            let question = Question {
                by: By::None,
                horizon_days: 365.0,
                ..TaxonQuestion { taxon, outcome: Outcome::Death, since: None }.plain()
            };
            let answer = answer::survival(&of.club, &question, Audience::Public, &of.stamp());
            let source = Source { club: wanted.club.clone(), day: of.raised_at.date_naive() };
            match told(&answer) {
                Ok(_) if wanted.since.is_some_and(|since| !since.is_before(of)) => self.unchanged += 1,
                Ok((paragraph, table)) => self.taxa.push(Item {
                    taxon: taxon.to_string(),
                    name: answer.taxon.name.clone(),
                    release: of.edition,
                    made_on: source.day,
                    paragraph,
                    table,
                    picture: format!("/api/v1/taxa/{taxon}/survival?format=svg"),
                    drawn: if draws { chart::survival(&answer, &source, Size::Column) } else { String::new() },
                }),
                Err(reason) => {
                    self.cannot_tell.push(Untold { item: taxon.to_string(), name: taxon.get().name.to_owned(), reason })
                }
            }
        }
        // Chosen, and nothing is on record.
        let chosen = wanted.items.iter().filter_map(|item| TaxonSlug::parse(item));
        for taxon in chosen.filter(|taxon| !on_record.contains(taxon)) {
            let reason = "These records cannot tell yet: nothing that may be told is on record.".to_owned();
            let (item, name) = (taxon.to_string(), taxon.get().name.to_owned());
            self.cannot_tell.push(Untold { item, name, reason });
        }
        Ok(())
    }

    fn tell_claims(&mut self, taught: &answer::ClaimsAnswer, wanted: &Wanted) {
        for claim in taught.claims.iter().filter(|claim| wanted.has(&claim.claim)) {
            let mut told = 0;
            for of in &claim.taxa {
                if matches!(of.verdict, Verdict::CannotTellYet | Verdict::NeverLookedAt) {
                    continue;
                }
                told += 1;
                self.claims.push(Claim {
                    claim: claim.claim.clone(),
                    taxon: of.taxon.clone(),
                    paragraph: format!(
                        "We teach: \u{201c}{}\u{201d} Of {} the records say: {}.",
                        claim.wording, of.name, of.verdict_in_words
                    ),
                    verdict: of.verdict_in_words.clone(),
                    table: of.looked_at.iter().map(compared).collect(),
                });
            }
            if told == 0 {
                let reason = "These records cannot tell yet, for any kind of coral on record.".to_owned();
                let name = format!("What we teach: {}", claim.wording);
                self.cannot_tell.push(Untold { item: claim.claim.clone(), name, reason });
            }
        }
    }
}

impl Wanted {
    fn has(&self, item: &str) -> bool {
        self.items.is_empty() || self.items.iter().any(|chosen| chosen == item)
    }

    fn are_known<'a>(&self, claims: impl Iterator<Item = &'a str>) -> Result<(), Problem> {
        let taxa = catalogue().taxa().iter().map(|taxon| taxon.slug.as_str());
        let known: Vec<&str> = taxa.chain(claims).collect();
        let unknown = self.items.iter().filter(|item| !known.contains(&item.as_str()));
        let fault = |item: &String| {
            let detail =
                format!("'{item}' is neither a taxon nor something taught; {}", hint(item, known.iter().copied()));
            Fault::parameter("items", "unknown", detail)
        };
        let faults: Vec<Fault> = unknown.map(fault).collect();
        if faults.is_empty() { Ok(()) } else { Err(Problem::of_faults(Kind::InvalidQuery, faults)) }
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
