//! One taxon of the demo club worked out beside the truth that it was drawn from, and one that its records cannot answer.

use analysis::answer::{
    self, Audience, ConditionLine, Outcome, POWER, PlanQuestion, Ratio, Stamp, SurvivalAnswer, TaxonQuestion,
};
use analysis::club::Club;
use analysis::exposure::Factor;
use analysis::refusal::Part;
use analysis::simulation::{Design, TaxonDesign};
use analysis::vocabulary::{ParameterCode, TaxonSlug};
use analysis::wording::comparison::two_digits;

/// The lines to print.
pub(super) fn lines(records: &Club, design: &Design, stamp: &Stamp) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(plan) = design.taxa.iter().max_by_key(|plan| plan.specimens) {
        answered(&mut lines, records, plan, stamp);
    }
    if let Some(plan) = design.taxa.iter().min_by_key(|plan| plan.specimens) {
        unanswered(&mut lines, records, plan.taxon, stamp);
    }
    lines
}

fn of(taxon: TaxonSlug) -> TaxonQuestion {
    TaxonQuestion { taxon, outcome: Outcome::Death, since: None }
}

/// What was put in for the conditions that act in the simulated club.
fn truth(plan: &TaxonDesign) -> Vec<(Factor, f64)> {
    let nitrate = ParameterCode::parse("nitrate").map(|code| (Factor::Level(code), plan.nitrate_ratio));
    nitrate.into_iter().chain([(Factor::Origin, plan.wild_ratio), (Factor::Feeding, 1.0 / plan.fed_ratio)]).collect()
}

fn answered(lines: &mut Vec<String>, records: &Club, plan: &TaxonDesign, stamp: &Stamp) {
    let name = plan.taxon.get().name;
    lines.push(format!("\n{name} worked out, beside what was put in"));
    let called = answer::family(records, Outcome::Death, Audience::Curator);
    let answer = answer::conditions(records, &of(plan.taxon), Audience::Curator, stamp, Some(&called));
    let Part::Given(result) = &answer.result else {
        lines.push("  not answered".to_owned());
        return;
    };
    lines.push(format!("  {}", result.sentence));
    for (factor, ratio) in truth(plan) {
        if let Some(line) = result.conditions.iter().find(|line| line.condition == factor.code()) {
            lines.push(format!(
                "  corals {}, against those {}:",
                line.contrast.level_label, line.contrast.reference_label
            ));
            lines.push(format!("    put in {}; {}", two_digits(ratio), found(line)));
        }
    }
    let hazard = answer::hazard(records, &of(plan.taxon), Audience::Curator, stamp);
    if let Part::Given(result) = &hazard.result {
        lines.push(format!("  {}", result.sentence));
        lines.push(format!("    put in: {} times the rate in the first 30 days", two_digits(plan.arrival)));
    }
}

fn found(line: &ConditionLine) -> String {
    let ratio = |ratio: Option<&Ratio>| match ratio {
        Some(ratio) => match ratio.lower.zip(ratio.upper) {
            Some((lower, upper)) => {
                format!("{} ({} to {})", two_digits(ratio.hazard_ratio), two_digits(lower), two_digits(upper))
            }
            None => two_digits(ratio.hazard_ratio),
        },
        None => "refused".to_owned(),
    };
    let all = line.hazard_ratio.zip(line.std_error).map(|(hazard_ratio, std_error)| Ratio {
        hazard_ratio,
        std_error,
        lower: line.lower,
        upper: line.upper,
    });
    let q = line.q.given().map_or("none".to_owned(), |q| two_digits(*q));
    format!(
        "all corals {}, within keepers {}, others held {}, q {q}",
        ratio(all.as_ref()),
        ratio(line.within_keeper.given()),
        ratio(line.adjusted.given().map(|adjusted| &adjusted.ratio)),
    )
}

fn unanswered(lines: &mut Vec<String>, records: &Club, taxon: TaxonSlug, stamp: &Stamp) {
    lines.push(format!("\n{}, which these records cannot answer", taxon.get().name));
    let plain: SurvivalAnswer = answer::survival(records, &of(taxon).plain(), Audience::Curator, stamp);
    for step in &plain.taxon.fallback {
        lines.push(format!("  {}: {}", step.taxon, step.refused.message));
    }
    match &plain.result {
        Part::Given(_) => lines.push(format!("  answered by: {}", plain.taxon.name)),
        Part::Refused { refused } => lines.push(format!("  no wider kind answers: {}", refused.message)),
    }
    let casebook = answer::casebook(records, &of(taxon), Audience::Curator, stamp);
    if let Part::Given(result) = &casebook.result {
        lines.extend(result.losses.iter().map(|line| format!("  {}", line.sentence)));
    }
    let nitrate = ParameterCode::parse("nitrate").map_or(Factor::Feeding, Factor::Level);
    let question = PlanQuestion { of: of(taxon), condition: nitrate, hazard_ratio: 2.0, power: POWER };
    match answer::plan(records, &question, Audience::Curator, stamp).result {
        Part::Given(plan) => lines.push(format!("  {}", plan.sentence)),
        Part::Refused { refused } => lines.push(format!("  no plan: {}", refused.message)),
    }
}
