//! The ranges that the club teaches: rows that are dated and signed. The latest that stands is in force; where none does,
//! the catalogue's is.

use analysis::club::ClubBand;
use analysis::vocabulary::{AcceptedUnit, Parameter, ParameterCode, TaxonSlug, catalogue};
use chrono::{DateTime, NaiveDate, Utc};
use diesel::prelude::*;
use migrations::schema::{club_band, release};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::signed::{self, Signature};
use crate::access::{Scope, scope};
use crate::answer::current_edition;
use crate::problem::{Fault, Kind, Problem};
use crate::query::hint;

/// A range to be taught.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BandRequest {
    /// Species, genus or group that it is taught for.
    #[schema(example = "goniopora")]
    taxon: String,
    /// Code of what is measured.
    #[schema(example = "nitrate")]
    parameter: String,
    /// Lower edge, inside the band, in `unit`.
    #[schema(example = 5.0)]
    lower: f64,
    /// Upper edge, inside the band, in `unit`.
    #[schema(example = 12.0)]
    upper: f64,
    /// Unit that it is taught in; left out = the parameter's own.
    #[schema(example = "mg/L")]
    unit: Option<String>,
    /// What a number in the unit is expressed as or what the instrument is marked at, where that matters.
    #[schema(example = "NO3")]
    unit_basis: Option<String>,
    /// As it is taught, for print; left out = the edges.
    #[schema(max_length = 200, example = "5 to 12 mg/L, tested weekly")]
    as_taught: Option<String>,
    /// Since when it is taught; left out = today. Never a day to come.
    #[schema(example = "2025-06-01")]
    since: Option<NaiveDate>,
    /// Who answers for it, as it is printed.
    #[schema(min_length = 1, max_length = 120, example = "husbandry group")]
    signed_by: String,
    /// Why.
    #[schema(max_length = 1000, example = "agreed at the June meeting")]
    note: Option<String>,
}

/// A range that can be taught.
#[derive(Debug, Clone, PartialEq)]
pub struct NewBand {
    /// As answers take it.
    pub band: ClubBand,
    signed_by: String,
    note: Option<String>,
}

/// A range that the club teaches or taught.
#[derive(Serialize, ToSchema)]
pub struct ClubBandShown {
    /// Number.
    #[schema(example = 2)]
    pub id: i64,
    /// Slug of the species, genus or group.
    #[schema(example = "goniopora")]
    taxon: String,
    /// Code of what is measured.
    #[schema(example = "nitrate")]
    parameter: String,
    /// Lower edge, inside the band.
    #[schema(example = 5.0)]
    lower: f64,
    /// Upper edge, inside the band.
    #[schema(example = 12.0)]
    upper: f64,
    /// Unit of both.
    #[schema(example = "mg/L")]
    unit: String,
    /// What a number in it is expressed as or marked at.
    unit_basis: Option<String>,
    /// As taught.
    #[schema(example = "5 to 12 mg/L, tested weekly")]
    as_taught: String,
    /// Taught since.
    #[schema(example = "2025-06-01")]
    since: NaiveDate,
    /// Who answers for it.
    #[schema(example = "husbandry group")]
    signed_by: String,
    /// Why.
    note: Option<String>,
    /// When it was entered.
    created_at: DateTime<Utc>,
    /// When it was withdrawn; `null` = it stands.
    withdrawn_at: Option<DateTime<Utc>>,
    /// Whether answers about the records as they are take it.
    in_force: bool,
}

/// A range as a parameter shows it.
#[derive(Clone, Serialize, ToSchema)]
pub struct TaughtShown {
    /// Slug of the species, genus or group.
    #[schema(example = "goniopora")]
    taxon: String,
    /// Code of what is measured.
    #[schema(example = "nitrate")]
    parameter: String,
    /// Lower edge, inside the band.
    #[schema(example = 5.0)]
    lower: f64,
    /// Upper edge, inside the band.
    #[schema(example = 15.0)]
    upper: f64,
    /// Unit of both.
    #[schema(example = "mg/L")]
    unit: String,
    /// What a number in it is expressed as or marked at.
    unit_basis: Option<String>,
    /// As taught.
    #[schema(example = "5–15 mg/L")]
    as_taught: String,
    /// `club`, or `catalogue`: the range that the club starts with.
    #[schema(example = "catalogue")]
    taught_by: &'static str,
    /// Since when the club teaches it; `null` = it is the catalogue's.
    since: Option<NaiveDate>,
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = club_band)]
struct Row {
    id: i64,
    taxon: String,
    parameter: String,
    lower: f64,
    upper: f64,
    unit: String,
    unit_basis: Option<String>,
    as_taught: String,
    since_day: NaiveDate,
    signed_by: String,
    note: Option<String>,
    created_at: DateTime<Utc>,
    withdrawn_at: Option<DateTime<Utc>>,
}

impl Row {
    fn shown(self, in_force: &[i64]) -> ClubBandShown {
        ClubBandShown {
            in_force: in_force.contains(&self.id),
            id: self.id,
            taxon: self.taxon,
            parameter: self.parameter,
            lower: self.lower,
            upper: self.upper,
            unit: self.unit,
            unit_basis: self.unit_basis,
            as_taught: self.as_taught,
            since: self.since_day,
            signed_by: self.signed_by,
            note: self.note,
            created_at: self.created_at,
            withdrawn_at: self.withdrawn_at,
        }
    }

    fn band(&self) -> Option<ClubBand> {
        Some(ClubBand {
            taxon: TaxonSlug::parse(&self.taxon)?,
            parameter: ParameterCode::parse(&self.parameter)?,
            lower: self.lower,
            upper: self.upper,
            unit: self.unit.clone(),
            unit_basis: self.unit_basis.clone(),
            as_taught: self.as_taught.clone(),
            since: self.since_day,
        })
    }
}

/// The rows that stand, the one in force last of each taxon and parameter; `at`: as they stood then.
fn standing(connection: &mut PgConnection, at: Option<DateTime<Utc>>) -> QueryResult<Vec<Row>> {
    let rows: Vec<Row> = club_band::table
        .order((club_band::taxon, club_band::parameter, club_band::since_day, club_band::id))
        .select(Row::as_select())
        .load(connection)?;
    let stood = |row: &Row| match at {
        None => row.withdrawn_at.is_none(),
        Some(at) => row.created_at <= at && row.withdrawn_at.is_none_or(|gone| gone > at),
    };
    Ok(rows.into_iter().filter(stood).collect())
}

/// One row a taxon and parameter: the latest.
fn latest(rows: Vec<Row>) -> Vec<Row> {
    let mut latest: Vec<Row> = Vec::new();
    for row in rows {
        let same = |last: &Row| (&last.taxon, &last.parameter) == (&row.taxon, &row.parameter);
        if latest.last().is_some_and(same) {
            latest.pop();
        }
        latest.push(row);
    }
    latest
}

/// The club's own bands that are in force.
///
/// # Errors
/// The database refused.
pub fn in_force(connection: &mut PgConnection) -> QueryResult<Vec<ClubBand>> {
    Ok(latest(standing(connection, None)?).iter().filter_map(Row::band).collect())
}

/// Which bands a reader may know of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AsOf {
    /// Those in force.
    Now,
    /// Those that were when the current release was made.
    Release,
    /// The catalogue's alone.
    Catalogue,
}

/// What is taught of a parameter: each taxon's range in force, the club's own in place of the catalogue's; and a time since
/// which nothing of it has changed.
///
/// # Errors
/// The database refused.
pub fn of_parameter(
    connection: &mut PgConnection,
    parameter: ParameterCode,
    as_of: AsOf,
) -> QueryResult<(Vec<TaughtShown>, DateTime<Utc>)> {
    let latest_release = release::table.order(release::number.desc()).select(release::made_at);
    let made_at: Option<DateTime<Utc>> = latest_release.first(connection).optional()?;
    let raised_at = current_edition(connection)?.raised_at;
    let own = match (as_of, made_at) {
        (AsOf::Now, _) => standing(connection, None)?,
        (AsOf::Release, Some(at)) => standing(connection, Some(at))?,
        (AsOf::Release, None) | (AsOf::Catalogue, _) => Vec::new(),
    };
    let own: Vec<ClubBand> = latest(own).iter().filter_map(Row::band).filter(|of| of.parameter == parameter).collect();
    let mut taught: Vec<TaughtShown> = own.into_iter().map(of_club).collect();
    for band in starting(Some(parameter)) {
        if !taught.iter().any(|own| own.taxon == band.taxon) {
            taught.push(band);
        }
    }
    taught.sort_by(|one, other| one.taxon.cmp(&other.taxon));
    Ok((taught, raised_at.max(made_at.unwrap_or(raised_at))))
}

fn of_club(band: ClubBand) -> TaughtShown {
    TaughtShown {
        taxon: band.taxon.as_str().to_owned(),
        parameter: band.parameter.as_str().to_owned(),
        lower: band.lower,
        upper: band.upper,
        unit: band.unit,
        unit_basis: band.unit_basis,
        as_taught: band.as_taught,
        taught_by: "club",
        since: Some(band.since),
    }
}

/// The catalogue's ranges, of one parameter or of all; light is that of a settled coral.
pub fn starting(parameter: Option<ParameterCode>) -> Vec<TaughtShown> {
    let bands = catalogue().settled_bands().filter(|band| parameter.is_none_or(|code| band.parameter == code));
    let shown = bands.map(|band| TaughtShown {
        taxon: band.taxon.as_str().to_owned(),
        parameter: band.parameter.as_str().to_owned(),
        lower: band.lower,
        upper: band.upper,
        unit: band.unit.as_str().to_owned(),
        unit_basis: band.reference.map(str::to_owned),
        as_taught: band.as_taught.to_owned(),
        taught_by: "catalogue",
        since: None,
    });
    shown.collect()
}

/// The club's rows after a place, at most so many, in the order in which they were entered: those withdrawn too.
///
/// # Errors
/// The database refused.
pub fn list(
    connection: &mut PgConnection,
    desk: &Scope,
    after: i64,
    limit: i64,
) -> Result<Vec<ClubBandShown>, Problem> {
    desk.administers()?;
    let rows: Vec<Row> = club_band::table
        .filter(club_band::id.gt(after))
        .order(club_band::id)
        .limit(limit)
        .select(Row::as_select())
        .load(connection)?;
    let in_force: Vec<i64> = latest(standing(connection, None)?).iter().map(|row| row.id).collect();
    Ok(rows.into_iter().map(|row| row.shown(&in_force)).collect())
}

/// Teaches a range from now on.
///
/// # Errors
/// The database refused.
pub fn teach(connection: &mut PgConnection, desk: &Scope, new: &NewBand, by: &str) -> Result<ClubBandShown, Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        let NewBand { band, signed_by, note } = new;
        let id: i64 = diesel::insert_into(club_band::table)
            .values((
                club_band::taxon.eq(band.taxon.as_str()),
                club_band::parameter.eq(band.parameter.as_str()),
                club_band::lower.eq(band.lower),
                club_band::upper.eq(band.upper),
                club_band::unit.eq(&band.unit),
                club_band::unit_basis.eq(&band.unit_basis),
                club_band::as_taught.eq(&band.as_taught),
                club_band::since_day.eq(band.since),
                club_band::signed_by.eq(signed_by),
                club_band::note.eq(note),
            ))
            .returning(club_band::id)
            .get_result(connection)?;
        scope::note(connection, by, "teach band", &format!("band {id}"))?;
        let shown = one(connection, id)?;
        signed::raise_edition(connection)?;
        Ok(shown)
    })
}

/// Withdraws a range: the one before it is in force again, or the catalogue's. Again, it changes nothing.
///
/// # Errors
/// [`Kind::UnknownBand`].
pub fn withdraw(connection: &mut PgConnection, desk: &Scope, id: i64, by: &str) -> Result<ClubBandShown, Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        let standing = club_band::table.find(id).filter(club_band::withdrawn_at.is_null());
        let gone = (club_band::withdrawn_at.eq(Utc::now()), club_band::withdrawn_by.eq(by));
        let changed = diesel::update(standing).set(gone).execute(connection)?;
        let shown = one(connection, id)?;
        if changed > 0 {
            scope::note(connection, by, "withdraw band", &format!("band {id}"))?;
            signed::raise_edition(connection)?;
        }
        Ok(shown)
    })
}

fn one(connection: &mut PgConnection, id: i64) -> Result<ClubBandShown, Problem> {
    let row: Option<Row> = club_band::table.find(id).select(Row::as_select()).first(connection).optional()?;
    let row = row.ok_or_else(|| Problem::new(Kind::UnknownBand, format!("The club has no band {id}.")))?;
    let in_force: Vec<i64> = latest(standing(connection, None)?).iter().map(|row| row.id).collect();
    Ok(row.shown(&in_force))
}

impl BandRequest {
    /// What can be taught of it.
    ///
    /// # Errors
    /// Every fault of it at once.
    pub fn read(self, today: NaiveDate) -> Result<NewBand, Vec<Fault>> {
        let mut faults = Vec::new();
        let taxon = signed::taxon(&self.taxon, &mut faults);
        let parameter = ParameterCode::parse(&self.parameter);
        if parameter.is_none() {
            let known = catalogue().parameters().iter().map(|row| row.code.as_str());
            let detail = format!("'{}' is no parameter; {}", self.parameter, hint(&self.parameter, known));
            faults.push(Fault::pointer("/parameter", "unknown", detail));
        }
        if self.lower >= self.upper {
            let detail = format!("{} to {} is no range: give a lower edge below the upper one", self.lower, self.upper);
            faults.push(Fault::pointer("/lower", "invalid", detail));
        }
        let unit = parameter.and_then(|code| self.unit(code.get(), &mut faults));
        let as_taught = signed::text("/as_taught", self.as_taught.clone(), 200, &mut faults);
        let signature = Signature { since: self.since, signed_by: self.signed_by.clone(), note: self.note.clone() };
        let (since, signed_by, note) = signature.read(today, &mut faults);
        match (taxon, parameter, unit, since, signed_by) {
            (Some(taxon), Some(parameter), Some(accepted), Some(since), Some(signed_by)) if faults.is_empty() => {
                let printed = accepted.unit.get().printed;
                let edges = || format!("{} to {} {printed}", self.lower, self.upper);
                let band = ClubBand {
                    taxon,
                    parameter,
                    lower: self.lower,
                    upper: self.upper,
                    unit: accepted.unit.as_str().to_owned(),
                    unit_basis: basis(parameter.get(), accepted),
                    as_taught: as_taught.unwrap_or_else(edges),
                    since,
                };
                Ok(NewBand { band, signed_by, note })
            }
            _ => Err(faults),
        }
    }

    /// The unit, if both edges can be in it.
    fn unit(&self, parameter: &'static Parameter, faults: &mut Vec<Fault>) -> Option<&'static AcceptedUnit> {
        let written = self.unit.as_deref().unwrap_or(parameter.unit.as_str());
        let basis = self.unit_basis.as_deref();
        let accepted = match parameter.accepted(written, basis) {
            Ok(accepted) => accepted,
            Err(error) => {
                let units: Vec<&str> = parameter.accepts.iter().map(|row| row.unit.as_str()).collect();
                let detail = format!("{error}; {} is taught in {}", parameter.name, units.join(", "));
                faults.push(Fault::pointer("/unit", "invalid", detail));
                return None;
            }
        };
        let mut own = Vec::new();
        for (at, edge) in [("/lower", self.lower), ("/upper", self.upper)] {
            match parameter.convert(edge, accepted.unit.as_str(), accepted.basis) {
                Ok(value) if parameter.is_possible(value) => own.push(value),
                Ok(value) => {
                    let (low, high) = parameter.hard.unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
                    let unit = parameter.unit.get().printed;
                    let detail =
                        format!("{edge} {written} is {value} {unit}: {} lies from {low} to {high}", parameter.name);
                    faults.push(Fault::pointer(at, "invalid", detail));
                }
                Err(error) => faults.push(Fault::pointer(at, "invalid", error.to_string())),
            }
        }
        if let ([lower, upper], Some((low, high))) = (own.as_slice(), parameter.plausible)
            && (*upper < low || *lower > high)
        {
            let unit = parameter.unit.get().printed;
            let detail =
                format!("from {lower} to {upper} {unit} no tank is usual: {} is from {low} to {high}", parameter.name);
            faults.push(Fault::pointer("/upper", "invalid", detail));
        }
        Some(accepted)
    }
}

/// What a number of the unit is expressed as, where the unit alone would say another.
fn basis(parameter: &Parameter, accepted: &AcceptedUnit) -> Option<String> {
    let alone = parameter.accepted(accepted.unit.as_str(), None).ok();
    accepted.basis.filter(|_| alone.is_none_or(|row| row.basis != accepted.basis)).map(str::to_owned)
}
