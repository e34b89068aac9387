//! The casebook: one line a loss, where figures cannot be given or beside them.
//!
//! Curators see days; members, where the taxon's block passes, ages in months and no days; the public nothing. No line
//! names a keeper or a tank, and only a coral's own keeper sees its name.

use super::based::{Based, TaxonQuestion};
use super::held::ON_RECORD;
use super::question::{Audience, By, Outcome, Question, Stamp};
use super::round;
use super::shape::{CasebookLine, CasebookResult, LastTest, TaxonAnswer};
use super::survival::records::{Records, Span};
use crate::club::{Club, Ending, Reading, Specimen};
use crate::disclosure::cells::tally;
use crate::disclosure::tree::{chain, counted_once};
use crate::disclosure::{block_minimum, passes, suppressed};
use crate::exposure::{Band, MONTH_DAYS, Scale, Test};
use crate::follow_up::tank_event::tank_events;
use crate::follow_up::{Population, Run, day_number, follow_up};
use crate::refusal::Refusal;
use crate::vocabulary::{Fate, ParameterCode, TaxonSlug, ZeroPolicy, catalogue};
use crate::wording;

/// Stable id of the method.
const METHOD_ID: &str = "casebook-1";
/// Days before a loss of which incidents are told.
const INCIDENT_DAYS: f64 = 60.0;
/// Days before a loss of which tests are told.
const TEST_DAYS: f64 = 180.0;

/// The single losses of the taxon asked, itself and no other.
pub fn casebook(
    club: &Club,
    question: &TaxonQuestion,
    audience: Audience,
    stamp: &Stamp,
) -> TaxonAnswer<CasebookResult> {
    let based = Based::new(club, question, ON_RECORD, audience, stamp);
    let population = Population::of(club, question.taxon, question.since);
    let told = block_minimum(audience).is_none() || is_of_blocks(club, question, audience);
    let result = if told { result(club, &population, audience) } else { Err(suppressed(audience)) };
    let mut answer = based.answer("casebook", METHOD_ID, result, Vec::new());
    answer.taxon.answered = question.taxon.as_str().to_owned();
    answer.taxon.name = question.taxon.get().name.to_owned();
    answer.taxon.rank = question.taxon.get().rank.as_str().to_owned();
    answer.taxon.without.clear();
    round::casebook(&mut answer, audience);
    answer
}

fn result(club: &Club, population: &Population, audience: Audience) -> Result<CasebookResult, Refusal> {
    let whole = tally(counted_once(club, population.members.iter().copied()).iter());
    if audience == Audience::Public || !passes(&whole, audience) || !wider_passes(club, population, audience) {
        return Err(suppressed(audience));
    }
    let followed = follow_up(club, population, Run::Main);
    let many: Vec<u32> = tank_events(club, &followed)
        .iter()
        .flat_map(|event| event.lost.iter().filter_map(|&at| followed.follows.get(at)).map(|follow| follow.specimen))
        .collect();
    let mut losses: Vec<CasebookLine> = Vec::new();
    let mut living = 0;
    for &id in &population.members {
        let Some(specimen) = club.specimens.get(id as usize).filter(|specimen| !specimen.held) else { continue };
        match specimen.ending.as_ref().filter(|ending| is_loss(ending)) {
            Some(ending) => losses.push(line(club, population.taxon, specimen, ending, many.contains(&id), audience)),
            None => living += u64::from(specimen.ending.is_none()),
        }
    }
    losses.sort_by(|a, b| {
        let age = |line: &CasebookLine| line.age_months.unwrap_or(f64::INFINITY);
        age(a).total_cmp(&age(b)).then_with(|| a.sentence.cmp(&b.sentence))
    });
    let sentence = wording::casebook::read(losses.len());
    Ok(CasebookResult { losses, living, sentence })
}

/// A species' lines could be taken from its genus': what is left of the wider taxon passes too.
fn wider_passes(club: &Club, population: &Population, audience: Audience) -> bool {
    population.taxon.ancestors().into_iter().all(|wider| {
        let wider = Population::of(club, wider, None);
        let left = wider.members.iter().copied().filter(|id| population.members.binary_search(id).is_err());
        let left = tally(counted_once(club, left).iter());
        left.specimens == 0 || passes(&left, audience)
    })
}

/// Whether what is on record is a union of blocks of years of purchase, tied to wider taxa as answers on survival are: lines
/// since one year could be taken from those since the next, and those of all species from their genus'.
fn is_of_blocks(club: &Club, question: &TaxonQuestion, audience: Audience) -> bool {
    let population = Population::of(club, question.taxon, None);
    let nodes = chain(club, &population);
    let widest = nodes.first().map_or(question.taxon, |node| node.taxon);
    let everyone = Population::of(club, widest, None);
    let spans = counted_once(club, everyone.members.iter().copied()).into_iter().map(|entry| Span {
        specimen: entry.specimen,
        keeper: entry.keeper,
        tank: entry.tank,
        from: 0.0,
        to: entry.days,
        day0: 0.0,
        end: None,
        other: false,
    });
    let records = Records::of_spans(club, &population, nodes, By::None, spans.collect());
    // Whatever the outcome asked, it is the corals that are told of.
    let question = Question { outcome: Outcome::Death, ..question.plain() };
    records.is_ok_and(|records| records.partition(&question, audience).is_some())
}

fn is_loss(ending: &Ending) -> bool {
    match ending.fate {
        Fate::Died | Fate::Missing | Fate::ArrivedDead => true,
        Fate::TankClosed => ending.all_died,
        _ => false,
    }
}

fn line(
    club: &Club,
    taxon: TaxonSlug,
    specimen: &Specimen,
    ending: &Ending,
    one_of_many: bool,
    audience: Audience,
) -> CasebookLine {
    let exact = matches!(audience, Audience::Curator | Audience::Keeper);
    let day = day_number(ending.latest);
    let middle = (day_number(ending.earliest) + day) / 2.0;
    let age = specimen.acquired.map(|days| {
        let bought =
            days.earliest.map_or(day_number(days.latest), |first| (day_number(first) + day_number(days.latest)) / 2.0);
        ((middle - bought) / MONTH_DAYS).max(0.0)
    });
    let tank = specimen
        .stays
        .iter()
        .rev()
        .find(|stay| day_number(stay.from) <= day)
        .or(specimen.stays.first())
        .map(|stay| stay.tank);
    let mut incidents: Vec<String> = club
        .incidents
        .iter()
        .filter(|incident| Some(incident.tank) == tank)
        .filter(|incident| (0.0..=INCIDENT_DAYS).contains(&(day - day_number(incident.from))))
        .map(|incident| incident.kind.clone())
        .collect();
    incidents.sort();
    incidents.dedup();
    let last_condition = specimen
        .sightings
        .iter()
        .filter(|sighting| day_number(sighting.on) < day)
        .filter_map(|sighting| Some((sighting.on, sighting.condition?)))
        .max()
        .map(|(_, condition)| condition);
    let mut line = CasebookLine {
        specimen: (audience == Audience::Keeper).then(|| specimen.key.clone()),
        name: specimen.identifications.last().map_or("", |name| name.taxon.get().name).to_owned(),
        age_months: age.map(|age| if exact { age } else { age.round() }),
        on: exact.then_some(ending.latest),
        fate: ending.fate.as_str().to_owned(),
        cause_group: ending.cause_group.as_str().to_owned(),
        cause: ending.cause.clone(),
        origin: specimen.origin.map(|origin| origin.as_str().to_owned()),
        last_condition,
        last_tests: tank.map_or_else(Vec::new, |tank| last_tests(club, taxon, tank, day, exact)),
        incidents,
        one_of_many,
        sentence: String::new(),
    };
    line.sentence = wording::casebook::line(&line);
    line
}

/// The last test of each parameter before a day; members see how old it was in weeks.
fn last_tests(club: &Club, taxon: TaxonSlug, tank: u32, day: f64, exact: bool) -> Vec<LastTest> {
    let mut last: std::collections::BTreeMap<ParameterCode, &Reading> = std::collections::BTreeMap::new();
    for reading in club.readings.of_tank(tank) {
        let before = day - day_number(reading.on);
        if (0.0..=TEST_DAYS).contains(&before)
            && last.get(&reading.parameter).is_none_or(|known| known.on <= reading.on)
        {
            last.insert(reading.parameter, reading);
        }
    }
    let order = |code: &ParameterCode| catalogue().parameters().iter().position(|row| row.code == *code);
    let mut tests: Vec<(ParameterCode, &Reading)> = last.into_iter().collect();
    tests.sort_by_key(|(code, _)| order(code));
    tests
        .into_iter()
        .map(|(code, reading)| {
            let row = code.get();
            let test = Test::of(reading, row.zero == ZeroPolicy::Limit);
            let band = Band::taught(club, taxon, code).and_then(|band| Scale::Taught(band).level(&test));
            let days = day - day_number(reading.on);
            LastTest {
                parameter: row.code.as_str(),
                value: reading.value,
                unit: row.unit.get().printed,
                qualifier: match (reading.exact, reading.value) {
                    (true, _) => "=",
                    (false, None) => "interval",
                    (false, Some(_)) if reading.upper.is_infinite() => ">",
                    (false, Some(_)) => "<",
                },
                days_before: if exact { days } else { (days / 7.0).round() * 7.0 },
                band: band.map(|level| ["below", "within", "above"][usize::from(level.min(2))]),
            }
        })
        .collect()
}
