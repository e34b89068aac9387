//! What another range would change: worked out on the records as they are, nothing saved.

use analysis::answer::{
    Audience, By, Given, Held, Outcome, Piece, Question, Records, SurvivalAnswer, TaxonQuestion, listed, survival,
};
use analysis::club::{Club, ClubBand};
use analysis::exposure::Band;
use analysis::follow_up::Population;
use analysis::vocabulary::{ParameterCode, TaxonSlug, water_in_band};
use serde::Serialize;
use utoipa::ToSchema;

use crate::answer::Snapshot;

/// What a range would change.
#[derive(Serialize, ToSchema)]
pub struct BandPreviewed {
    /// Edges that are no step of the parameter's ladder: answers by steps and answers by the band cannot be told from one
    /// another's there, and a part between two steps must pass by itself.
    edges_off_ladder: Vec<EdgeOffLadder>,
    /// Taxa with records enough for which another range would be in force.
    taxa: Vec<TaxonMoved>,
    /// Answers on survival that would say something else to curators, over these taxa and all outcomes.
    #[schema(example = 6)]
    answers: u64,
}

/// An edge between two steps.
#[derive(Serialize, ToSchema)]
pub struct EdgeOffLadder {
    /// `lower` or `upper`.
    #[schema(example = "upper")]
    edge: &'static str,
    /// The edge in the parameter's own unit.
    #[schema(example = 12.0)]
    value: f64,
    /// The nearest step below; `null` = there is none.
    #[schema(example = 10.0)]
    below: Option<f64>,
    /// The nearest step above.
    #[schema(example = 15.0)]
    above: Option<f64>,
}

/// What would change for one taxon.
#[derive(Serialize, ToSchema)]
pub struct TaxonMoved {
    /// Slug.
    #[schema(example = "goniopora")]
    taxon: String,
    /// Accepted name.
    #[schema(example = "Goniopora")]
    name: String,
    /// The range in force, as taught; `null` = none is.
    #[schema(example = "5–15 mg/L")]
    before: Option<String>,
    /// The range that would be.
    #[schema(example = "5 to 12 mg/L")]
    after: Option<String>,
    /// The levels that each reader sees: those that may not be shown apart are one.
    readers: Vec<LevelsOfReader>,
    /// Answers on survival that would say something else to curators.
    #[schema(example = 3)]
    answers: u64,
    /// Whether a release would tell members and the public the new figures by this parameter at once; otherwise those by the
    /// old range stand until the days that levels have in common are those of enough members.
    #[schema(example = true)]
    follows: bool,
}

/// The levels that a reader sees.
#[derive(Serialize, ToSchema)]
pub struct LevelsOfReader {
    /// `curator`, `member` or `public`.
    #[schema(example = "member")]
    reader: String,
    /// Now; empty where nothing is shown.
    before: Vec<LevelCounted>,
    /// Then.
    after: Vec<LevelCounted>,
}

/// A level with what is in it.
#[derive(Serialize, PartialEq, ToSchema)]
pub struct LevelCounted {
    /// Code.
    #[schema(example = "within")]
    level: String,
    /// In words.
    #[schema(example = "5 to 15 mg/L, both included")]
    label: String,
    /// Corals with time in it.
    #[schema(example = 14)]
    specimens: u64,
    /// Losses in it.
    #[schema(example = 4)]
    deaths: u64,
    /// Coral-days in it.
    #[schema(example = 5210.0)]
    specimen_days: f64,
}

/// What a range would change.
pub fn preview(snapshot: &Snapshot, new: &ClubBand) -> BandPreviewed {
    let before = snapshot.club.as_ref();
    let mut after = before.clone();
    after.bands.retain(|band| (band.taxon, band.parameter) != (new.taxon, new.parameter));
    after.bands.push(new.clone());
    let key = |club: &Club, taxon| Band::taught(club, taxon, new.parameter).map(|band| band.key());
    let moved = |taxon: &TaxonSlug| taxon.is_within(new.taxon) && key(before, *taxon) != key(&after, *taxon);
    let taxa: Vec<TaxonMoved> = listed(before)
        .into_iter()
        .filter(moved)
        .map(|taxon| Previewing { snapshot, before, after: &after, taxon, parameter: new.parameter }.taxon())
        .collect();
    BandPreviewed { edges_off_ladder: off_ladder(new), answers: taxa.iter().map(|of| of.answers).sum(), taxa }
}

fn off_ladder(new: &ClubBand) -> Vec<EdgeOffLadder> {
    let parameter = new.parameter.get();
    let edges = [("lower", new.lower), ("upper", new.upper)].into_iter().filter_map(|(edge, written)| {
        let value = parameter.convert(written, &new.unit, new.unit_basis.as_deref()).ok()?;
        let near = |step: f64| (step - value).abs() <= 1e-9 * step.abs();
        let steps = &parameter.ladder;
        (!steps.iter().any(|step| near(*step))).then(|| EdgeOffLadder {
            edge,
            value,
            below: steps.iter().copied().rfind(|step| *step < value),
            above: steps.iter().copied().find(|step| *step > value),
        })
    });
    if parameter.ladder.is_empty() { Vec::new() } else { edges.collect() }
}

struct Previewing<'a> {
    snapshot: &'a Snapshot,
    before: &'a Club,
    after: &'a Club,
    taxon: TaxonSlug,
    parameter: ParameterCode,
}

impl Previewing<'_> {
    fn taxon(&self) -> TaxonMoved {
        let band = |club| Band::taught(club, self.taxon, self.parameter).map(|band| band.as_taught);
        let readers = [Audience::Curator, Audience::Member, Audience::Public].map(|reader| {
            let levels = |club| levels(&self.answer(club, Outcome::Death, None, reader));
            LevelsOfReader {
                reader: reader.as_str().to_owned(),
                before: levels(self.before),
                after: levels(self.after),
            }
        });
        TaxonMoved {
            taxon: self.taxon.as_str().to_owned(),
            name: self.taxon.get().name.to_owned(),
            before: band(self.before),
            after: band(self.after),
            readers: readers.into(),
            answers: self.answers(),
            follows: self.follows(),
        }
    }

    fn answer(&self, club: &Club, outcome: Outcome, given: Option<Given>, reader: Audience) -> SurvivalAnswer {
        let plain = TaxonQuestion { taxon: self.taxon, outcome, since: None }.plain();
        let by = if given.is_some() { By::None } else { By::Parameter(self.parameter) };
        survival(club, &Question { by, given, ..plain }, reader, &self.snapshot.stamp())
    }

    /// Answers that would say something else.
    fn answers(&self) -> u64 {
        let of_water = water_in_band().contains(&self.parameter).then_some(Some(Given::WaterInBand));
        let mut others = 0;
        for outcome in Outcome::ALL.iter().copied() {
            for given in [Some(None), of_water].into_iter().flatten() {
                let of = |club| self.answer(club, outcome, given, Audience::Curator).result;
                others += u64::from(of(self.before) != of(self.after));
            }
        }
        others
    }

    /// Whether a release's figures by this parameter may follow those of one made before.
    fn follows(&self) -> bool {
        let piece = Piece::Split(By::Parameter(self.parameter));
        let held = |club: &Club, others: &[ClubBand]| {
            let records = Records::of(club, &Population::of(club, self.taxon, None)).beside(others);
            Held::of(&records, &piece, &|keeper| Some(keeper.to_string()))
        };
        held(self.after, &self.before.bands).may_follow(&held(self.before, &self.after.bands))
    }
}

/// The levels of an answer; none where it is refused.
fn levels(answer: &SurvivalAnswer) -> Vec<LevelCounted> {
    let groups = answer.result.given().map_or(&[] as &[_], |result| result.groups.as_slice());
    let counted = groups.iter().map(|group| LevelCounted {
        level: group.group.clone(),
        label: group.label.clone(),
        specimens: group.evidence.specimens,
        deaths: group.evidence.deaths,
        specimen_days: group.evidence.specimen_days,
    });
    counted.collect()
}
