//! The records of a club as plain values: what every answer starts from.
//!
//! Built by the caller (from a database, a simulation or a test); never changed here. Ids are positions in
//! the vectors of [`Club`], so that no answer depends on a database's numbering. Days are local calendar days.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::vocabulary::{CauseGroup, ClaimOutcome, Fate, Origin, OriginBasis, ParameterCode, TaxonSlug};

mod readings; // water tests in their order
mod stands; // what a release tells from its own records

pub use readings::{NotPacked, Places, Readings, Unpacked};
pub use stands::{SEVERAL, Stands};

/// Position of a keeper in [`Club::keepers`].
pub type KeeperId = u32;
/// Position of a tank in [`Club::tanks`].
pub type TankId = u32;

/// Everything the club has recorded, folded.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct Club {
    /// Members who log.
    pub keepers: Vec<Keeper>,
    /// Their tanks.
    pub tanks: Vec<Tank>,
    /// Water tests.
    pub readings: Readings,
    /// Corals and kin, in a stable order (keeper, then label).
    pub specimens: Vec<Specimen>,
    /// Feeding, water changes, carbon and the like, as habits with a rate.
    pub routines: Vec<Routine>,
    /// Single feedings, changes of water and of carbon, as logged.
    pub events: Vec<CareEvent>,
    /// Power cuts, overdoses, moves, new fish, pests: what happened to a tank, as logged.
    pub incidents: Vec<Incident>,
    /// The club's own taught bands, which override the catalogue's: (taxon or group, parameter, band).
    pub bands: Vec<ClubBand>,
    /// What the club itself teaches beside the catalogue's claims.
    #[serde(default)]
    pub claims: Vec<ClubClaim>,
    /// Nothing of it may be told: a member withdrew, and too few others have changed since for the difference to hide
    /// whose records are gone. It holds no records then.
    #[serde(default)]
    pub withheld: bool,
    /// What of a release is told from these records.
    #[serde(skip)]
    pub stands: Stands,
}

impl Club {
    /// The same without its water tests, which are many.
    pub fn without_readings(&self) -> Club {
        Club {
            keepers: self.keepers.clone(),
            tanks: self.tanks.clone(),
            readings: Readings::default(),
            specimens: self.specimens.clone(),
            routines: self.routines.clone(),
            events: self.events.clone(),
            incidents: self.incidents.clone(),
            bands: self.bands.clone(),
            claims: self.claims.clone(),
            withheld: self.withheld,
            stands: self.stands.clone(),
        }
    }
}

/// One member.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct Keeper {
    /// Year since when this member keeps reefs.
    pub keeping_since: Option<i32>,
}

/// One tank.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct Tank {
    /// Owner.
    pub keeper: KeeperId,
    /// First day with water.
    pub started: Option<NaiveDate>,
    /// Stated volume in litres.
    pub litres: Option<f64>,
    /// Last day.
    pub closed: Option<NaiveDate>,
}

/// One water test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Where.
    pub tank: TankId,
    /// What.
    pub parameter: ParameterCode,
    /// Local calendar day.
    pub on: NaiveDate,
    /// The value in the catalogue's unit; `None` for an interval.
    pub value: Option<f64>,
    /// Lower end of what the written value can mean; `-inf` is never used, 0 is.
    pub lower: f64,
    /// Upper end; `f64::INFINITY` for "over range".
    #[serde(with = "open_ended")]
    pub upper: f64,
    /// `true` if the value is exact as written (`=`), `false` for `<`, `>` and intervals.
    pub exact: bool,
    /// A plain 0 was written.
    pub zero_reported: bool,
    /// The instrument's smallest value it can show, if known.
    pub limit: Option<f64>,
    /// The instrument's smallest step, if known.
    pub step: Option<f64>,
    /// Which log of the keeper it comes from; readings of one log may be averaged, others not.
    pub log: u32,
}

/// A closed or open interval of days.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Days {
    /// Earliest possible day; `None` = open ("before 2020").
    pub earliest: Option<NaiveDate>,
    /// Latest possible day.
    pub latest: NaiveDate,
}

/// One coral, clam or kin. The default one is nobody's, unnamed, with nothing written about it.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct Specimen {
    /// A name that is unique in the club and stable over re-imports: ties are broken by it.
    pub key: String,
    /// Owner.
    pub keeper: KeeperId,
    /// Dated names, oldest first. Empty = the name is held.
    pub identifications: Vec<Identification>,
    /// When the keeper got it; `None` = unknown.
    pub acquired: Option<Days>,
    /// Where it comes from, as written at purchase or within 30 days.
    pub origin: Option<Origin>,
    /// How that is known.
    pub origin_basis: Option<OriginBasis>,
    /// Own or member's cutting, shop, …: the kind only, never a name.
    pub source_kind: Option<String>,
    /// Form as recorded at purchase (flowerpots).
    pub form: Option<String>,
    /// How it looked when got, by the scores of [`Sighting::condition`]; `None` = not said.
    pub condition_when_got: Option<u8>,
    /// From what day its log would have shown its death, as answered by the keeper.
    pub complete_since: Option<NaiveDate>,
    /// First day of its log: the assumed `complete_since` where nothing was answered.
    pub log_first_day: Option<NaiveDate>,
    /// `true` if its log lists losses (it has one, or the keeper said so).
    pub losses_listed: bool,
    /// Tanks it lived in, by day; ordered, not overlapping.
    pub stays: Vec<Stay>,
    /// When it was seen, and how it looked.
    pub sightings: Vec<Sighting>,
    /// Its sizes.
    pub sizings: Vec<Sizing>,
    /// Days on which its keeper cared for it in particular.
    pub care_days: Vec<NaiveDate>,
    /// Days on which pieces of it were cut off to save them, whether or not it lived on.
    pub rescue_cuts: Vec<NaiveDate>,
    /// How it ended; `None` = alive as far as known.
    pub ending: Option<Ending>,
    /// A question about its fate, acquisition or name is open: out of every analysis.
    pub held: bool,
    /// For an unclear fate: the bounds of the day it would have died, for the run that counts held fates as deaths.
    pub held_fate: Option<Days>,
    /// It arrived dead: never at risk.
    pub arrived_dead: bool,
    /// Mother colony's key, for cuttings; clone-mates share it.
    pub lineage: Option<String>,
    /// Where it stands, dated; ordered.
    pub placements: Vec<Placement>,
}

/// A dated name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Identification {
    /// The name reached (species, genus or group).
    pub taxon: TaxonSlug,
    /// Day it was written; `None` = at purchase.
    pub on: Option<NaiveDate>,
    /// `true` for a guess.
    pub guessed: bool,
}

/// A stay in a tank: `[from, to)`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stay {
    /// Where.
    pub tank: TankId,
    /// First day.
    pub from: NaiveDate,
    /// Day it left; `None` = still there.
    pub to: Option<NaiveDate>,
}

/// Who stood before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum SightingSource {
    /// An open row of a register on its "as of" day.
    Register,
    /// "All seen alive today, except …".
    RollCall,
    /// A condition, a photo or a size.
    Look,
}

/// One look at a specimen.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Sighting {
    /// Day.
    pub on: NaiveDate,
    /// Source.
    pub source: SightingSource,
    /// 0 dead … 5 open and growing; `None` = alive, no score.
    pub condition: Option<u8>,
    /// Live tissue cover in %.
    pub tissue_cover: Option<f64>,
    /// How far the polyps were out, 0 to 3; `None` = not said.
    pub polyp_extension: Option<u8>,
}

/// One size.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sizing {
    /// Day.
    pub on: NaiveDate,
    /// Measure code: `max_diameter`, `height`, `branch_count`, `head_count`, `planar_area`, `shell_length`, `buoyant_weight`.
    pub measure: String,
    /// Basis code: `skeleton`, `base`, `heads`, `open_tissue`, `closed_tissue`, `not_said`.
    pub basis: String,
    /// Value in mm, mm2, g or 1.
    pub value: f64,
    /// A cut or breakage on or before this day starts a new segment: its number, from 0.
    pub segment: u32,
}

/// How it ended.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ending {
    /// What became of it.
    pub fate: Fate,
    /// Primary cause's group, for deaths.
    pub cause_group: CauseGroup,
    /// Primary cause's code.
    pub cause: Option<String>,
    /// Last day on which it cannot have happened yet (last seen alive); equals `latest` for a written day.
    pub earliest: NaiveDate,
    /// Day by which it had happened.
    pub latest: NaiveDate,
    /// A day written in a register or remark, not the bounds of two looks.
    pub written_day: bool,
    /// The day itself is under question; the bounds hold all readings of it.
    pub date_held: bool,
    /// It left in poor condition.
    pub poor_at_exit: bool,
    /// The tank was closed because everything in it died.
    pub all_died: bool,
}

/// Where it stands from a day on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Placement {
    /// First day.
    pub from: NaiveDate,
    /// Photon flux at the spot, umol/m2/s.
    pub par: Option<f64>,
    /// `still`, `swaying`, `thrashing`.
    pub flow: Option<String>,
    /// A stinging neighbour within reach.
    pub stinging_within_reach: Option<bool>,
}

/// A habit with a rate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Routine {
    /// Tank it applies to.
    pub tank: TankId,
    /// Specimen it applies to, as a position in [`Club::specimens`]; `None` = the whole tank.
    pub specimen: Option<u32>,
    /// Routine code: `target_feed`, `broadcast_feed`, `water_change`, `carbon`, `trace_dosing`, `lamp_setting`, `lamp_hours`.
    pub kind: String,
    /// Rate per week where it converts.
    pub per_week: Option<f64>,
    /// First day.
    pub from: NaiveDate,
    /// Last day, if ended.
    pub to: Option<NaiveDate>,
    /// Day it was last confirmed.
    pub confirmed: NaiveDate,
}

/// One feeding, one change of water or carbon.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CareEvent {
    /// Tank it was done to.
    pub tank: TankId,
    /// Specimen it was done to, as a position in [`Club::specimens`]; `None` = the whole tank.
    pub specimen: Option<u32>,
    /// Kind, by the codes of [`Routine::kind`].
    pub kind: String,
    /// Local calendar day.
    pub on: NaiveDate,
    /// Amount in the kind's unit (% of the volume for a change of water); `None` = not said.
    pub amount: Option<f64>,
}

/// Something that happened to a tank.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Incident {
    /// Tank.
    pub tank: TankId,
    /// Specimen it happened to alone, as a position in [`Club::specimens`]; `None` = the whole tank.
    pub specimen: Option<u32>,
    /// Kind: `power_cut`, `heater`, `overheating`, `leak`, `overdose`, `medicine`, `move`, `new_lamp`, `new_fish`,
    /// `new_invertebrate`, `pest_found`.
    pub kind: String,
    /// First day.
    pub from: NaiveDate,
    /// Last day; `None` = that day, or not said.
    pub to: Option<NaiveDate>,
}

/// A band of the club's own, dated and signed in its tables.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClubBand {
    /// Taxon or group slug.
    pub taxon: TaxonSlug,
    /// Parameter.
    pub parameter: ParameterCode,
    /// Lower edge in `unit`.
    pub lower: f64,
    /// Upper edge in `unit`.
    pub upper: f64,
    /// Unit it is taught in.
    pub unit: String,
    /// What a number in that unit is marked at or expressed as, where that matters: `25/25`.
    #[serde(default)]
    pub unit_basis: Option<String>,
    /// As taught, for print.
    pub as_taught: String,
    /// Taught since.
    pub since: NaiveDate,
}

/// Something that the club itself teaches, dated and signed in its tables.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClubClaim {
    /// Its number in those tables.
    pub id: i64,
    /// Code.
    pub code: String,
    /// As taught.
    pub wording: String,
    /// For whom.
    pub taxon: TaxonSlug,
    /// Code of a condition, or words that no condition says yet.
    pub condition: String,
    /// On what.
    pub outcome: ClaimOutcome,
    /// Fewer losses (or more growth) are taught to go with the condition; else more losses.
    pub fewer: bool,
    /// Taught since.
    pub since: NaiveDate,
    /// Who answers for it.
    pub signed_by: String,
    /// Why.
    pub note: Option<String>,
}

/// A number that may be infinite, which is kept as nothing.
mod open_ended {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub fn serialize<S: Serializer>(number: &f64, serializer: S) -> Result<S::Ok, S::Error> {
        number.is_finite().then_some(*number).serialize(serializer)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
        Ok(Option::<f64>::deserialize(deserializer)?.unwrap_or(f64::INFINITY))
    }
}
