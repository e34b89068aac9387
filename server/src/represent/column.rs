//! What the columns of tables hold and mean: for answers one list, for records what the OpenAPI document says of them.

use utoipa::PartialSchema;
use utoipa::openapi::schema::{KnownFormat, Schema, SchemaFormat, SchemaType, Type};
use utoipa::openapi::{Object, RefOr};

use crate::problem::Problem;

/// The kind of values of a column; any of them may be absent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// Text.
    Text,
    /// Numbers with a fraction.
    Number,
    /// Counts and numbers of rows.
    Whole,
    /// Calendar days.
    Day,
    /// Yes or no.
    Truth,
}

impl Holds {
    /// Its type in Table Schema (Data Package, version 2).
    pub const fn word(self) -> &'static str {
        match self {
            Holds::Text => "string",
            Holds::Number => "number",
            Holds::Whole => "integer",
            Holds::Day => "date",
            Holds::Truth => "boolean",
        }
    }
}

/// A column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its name, as in CSV.
    pub name: String,
    /// What it holds.
    pub holds: Holds,
    /// The unit of its numbers (UCUM where it has a code), where it is the same in all rows.
    pub unit: Option<String>,
    /// What it means, in a sentence.
    pub meaning: String,
}

impl Column {
    /// A column of an answer, or of a list of the vocabulary.
    ///
    /// # Errors
    /// Nothing is said of a column of this name: a fault of this program.
    pub fn of_answers(name: &str) -> Result<Self, Problem> {
        let known = ANSWERS.iter().find(|(known, ..)| *known == name);
        let (_, holds, unit, meaning) =
            known.ok_or_else(|| Problem::internal(&format!("nothing is said of column {name}")))?;
        Ok(Column {
            name: name.to_owned(),
            holds: *holds,
            unit: (!unit.is_empty()).then(|| (*unit).to_owned()),
            meaning: (*meaning).to_owned(),
        })
    }

    /// The columns of a list of records, from the documented structure of a row.
    pub fn of_record<R: PartialSchema>() -> Vec<Self> {
        let RefOr::T(Schema::Object(row)) = R::schema() else { return Vec::new() };
        row.properties
            .iter()
            .map(|(name, schema)| {
                let (holds, meaning) = match schema {
                    RefOr::T(Schema::Object(of)) => (held(of), of.description.clone()),
                    RefOr::T(Schema::Array(of)) => (Holds::Text, of.description.clone()),
                    _ => (Holds::Text, None),
                };
                let unit = UNITS.iter().find(|(ending, _)| name.ends_with(ending)).map(|(_, unit)| (*unit).to_owned());
                Column { name: name.clone(), holds, unit, meaning: meaning.unwrap_or_default() }
            })
            .collect()
    }
}

/// What a property holds; one that may be `null` names two types.
fn held(of: &Object) -> Holds {
    let types = match &of.schema_type {
        SchemaType::Type(one) => std::slice::from_ref(one),
        SchemaType::Array(several) => several.as_slice(),
        SchemaType::AnyValue => &[],
    };
    match types.iter().find(|of| **of != Type::Null) {
        Some(Type::Number) => Holds::Number,
        Some(Type::Integer) => Holds::Whole,
        Some(Type::Boolean) => Holds::Truth,
        _ if of.format == Some(SchemaFormat::KnownFormat(KnownFormat::Date)) => Holds::Day,
        _ => Holds::Text,
    }
}

/// Units by the ending of a record's column.
const UNITS: &[(&str, &str)] = &[("litres", "L"), ("_mm", "mm"), ("_minutes", "min"), ("_days", "d")];

use Holds::{Number, Text, Truth, Whole};

const RATE: &str = "losses per 100 coral-months";

/// Name, kind, unit and meaning of every column that an answer can have.
const ANSWERS: &[(&str, Holds, &str, &str)] = &[
    ("signed_by", Text, "", "Who answers for it"),
    ("keeper", Text, "", "Handle of the member"),
    ("about", Text, "", "What is missing"),
    ("lifts", Whole, "", "Lacking answers that the question would help"),
    ("question", Text, "", "What to ask, in words"),
    ("corals", Text, "", "Labels of the corals it is about"),
    ("last_test", Holds::Day, "", "Day of the last test"),
    ("upload", Whole, "", "Number of the upload that asks"),
    ("key", Text, "", "Key of the upload's question"),
    ("edition", Whole, "", "State of the records: number of the release, or of the edition for curators"),
    ("taxon_asked", Text, "", "Taxon asked, by its name in addresses"),
    ("taxon_answered", Text, "", "Taxon the figures are of: a wider one where the one asked cannot be answered"),
    ("by", Text, "", "What corals or their days are split by"),
    ("given", Text, "", "Condition that had to hold"),
    ("outcome", Text, "", "What ends the follow-up"),
    ("since", Whole, "", "First year of purchase counted"),
    ("method", Text, "", "Stable name of the method"),
    ("group", Text, "", "Group: of a split in answers, of the vocabulary in lists of taxa"),
    ("label", Text, "", "The group in words"),
    ("specimens", Whole, "", "Corals"),
    ("keepers", Whole, "", "Keepers"),
    ("tanks", Whole, "", "Tanks"),
    ("deaths", Whole, "", "Deaths"),
    ("living", Whole, "", "Alive as far as known"),
    ("grade", Text, "", "How firm the figure is: none, thin, moderate, strong"),
    ("time_days", Number, "d", "Days since purchase"),
    ("at_risk", Whole, "", "Corals at risk just before this time"),
    ("events", Whole, "", "Losses"),
    ("censored", Whole, "", "Corals whose follow-up ended without a loss"),
    ("survival", Number, "1", "Share alive"),
    ("std_error", Number, "", "Standard error of the figure, of the logarithm for ratios"),
    ("lower", Number, "", "Lower 95 % limit; of a taught band its lower end, in the unit of its row"),
    ("upper", Number, "", "Upper 95 % limit; of a taught band its upper end, in the unit of its row"),
    ("refused", Text, "", "Why there is no figure: a stable code"),
    ("message", Text, "", "Why there is no figure, and what is lacking, in words"),
    ("measure", Text, "", "What was measured"),
    ("slope_per_month", Number, "1/mo", "Slope of the logarithm of size"),
    ("df", Number, "", "Degrees of freedom"),
    ("ratio_per_month", Number, "1", "Size after a month by size before"),
    ("condition", Text, "", "Stable name of the condition"),
    ("name", Text, "", "Name in words"),
    ("level", Text, "", "Corals compared"),
    ("reference", Text, "", "Corals they are compared with"),
    ("hazard_ratio", Number, "1", "Hazard ratio, all corals together"),
    ("within_keeper", Number, "1", "Hazard ratio, compared within one keeper's tanks only"),
    ("within_keeper_lower", Number, "1", "Its lower 95 % limit"),
    ("within_keeper_upper", Number, "1", "Its upper 95 % limit"),
    ("adjusted", Number, "1", "Hazard ratio with other conditions held"),
    ("adjusted_lower", Number, "1", "Its lower 95 % limit"),
    ("adjusted_upper", Number, "1", "Its upper 95 % limit"),
    ("shrunken", Number, "1", "Hazard ratio drawn towards those of other kinds"),
    ("growth_ratio_per_month", Number, "1", "Growth a month, as a ratio of ratios"),
    ("growth_q", Number, "1", "q value of growth over the list of the release"),
    ("p", Number, "1", "p value"),
    ("q", Number, "1", "q value over the list of the release"),
    ("specimen_days", Number, "d", "Days of corals under observation"),
    ("reference_events", Whole, "", "Losses of the corals compared with"),
    ("reference_specimen_days", Number, "d", "Days of the corals compared with"),
    ("parameter", Text, "", "Stable name of what is measured"),
    ("taught", Text, "", "The band as taught"),
    ("unit", Text, "", "Unit"),
    ("claim", Text, "", "What the records say of what is taught, or its stable name"),
    ("sentence", Text, "", "The figures in words"),
    ("seen_lower", Number, "", "Lower end of the range with fewest losses so far, in the unit of its row"),
    ("seen_upper", Number, "", "Upper end of the range with fewest losses so far, in the unit of its row"),
    ("stability", Number, "1", "Share of draws in which the range was found again"),
    ("from_day", Number, "d", "First day since purchase"),
    ("to_day", Number, "d", "Last day since purchase"),
    ("rate", Number, RATE, "Losses per 100 coral-months"),
    ("clustered_lower", Number, RATE, "Lower 95 % limit that allows for tanks"),
    ("clustered_upper", Number, RATE, "Upper 95 % limit that allows for tanks"),
    ("kind", Text, "", "Kind of the row"),
    ("from_day_before", Number, "d", "First day of the window, before the loss"),
    ("to_day_before", Number, "d", "Last day of the window, before the loss"),
    ("difference", Number, "", "Losses less their controls, in the unit of the condition"),
    ("odds_ratio", Number, "1", "Odds ratio"),
    ("odds_ratio_lower", Number, "1", "Its lower 95 % limit"),
    ("odds_ratio_upper", Number, "1", "Its upper 95 % limit"),
    ("cases", Whole, "", "Losses with data"),
    ("controls", Whole, "", "Controls with data"),
    ("age_months", Number, "mo", "Months since purchase"),
    ("on", Text, "", "Day of the loss, where it may be shown"),
    ("fate", Text, "", "What became of it"),
    ("cause_group", Text, "", "Group of the primary cause"),
    ("cause", Text, "", "Primary cause"),
    ("origin", Text, "", "Where it came from"),
    ("last_condition", Text, "", "Condition at the last look"),
    ("one_of_many", Truth, "", "One of several losses of one event"),
    ("count", Whole, "", "How many"),
    ("specimen_years", Number, "a", "Years of corals"),
    ("wording", Text, "", "What is taught, as taught"),
    ("taxon", Text, "", "Taxon, by its name in addresses"),
    ("verdict", Text, "", "One of the five words"),
    ("slug", Text, "", "Name in addresses"),
    ("rank", Text, "", "Rank"),
    ("genus", Text, "", "Genus"),
    ("code", Text, "", "Stable name"),
    ("what", Text, "", "What it is"),
    ("ucum", Text, "", "Unit by UCUM"),
    ("usual_lower", Number, "", "Below this a value is asked about, in the unit of its row"),
    ("usual_upper", Number, "", "Above this a value is asked about, in the unit of its row"),
    ("possible_lower", Number, "", "No value lies below, in the unit of its row"),
    ("possible_upper", Number, "", "No value lies above, in the unit of its row"),
    ("step", Number, "", "Usual smallest step of a kit, in the unit of its row"),
    ("limit", Number, "", "Usual detection limit of a kit, in the unit of its row"),
    ("carry_days", Whole, "d", "Days a test speaks when no newer one came"),
    ("zero", Text, "", "What a written zero means"),
    ("ladder", Text, "", "Steps that bands may be cut at, in the unit of its row"),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_column_is_said_once() {
        let mut names: Vec<&str> = ANSWERS.iter().map(|(name, ..)| *name).collect();
        names.sort_unstable();
        assert!(names.windows(2).all(|pair| pair[0] != pair[1]), "{names:?}");
        assert!(Column::of_answers("nothing").is_err());
    }

    #[test]
    fn the_columns_of_a_record_are_what_is_documented() {
        #[derive(utoipa::ToSchema)]
        #[allow(dead_code, reason = "only its documentation is read")]
        struct Row {
            /// Number of the row.
            id: i64,
            /// Volume.
            litres: Option<f64>,
            /// A day.
            on_day: Option<chrono::NaiveDate>,
            /// Words.
            flags: Vec<String>,
            /// Yes or no.
            held: bool,
        }
        let columns = Column::of_record::<Row>();
        let holds: Vec<Holds> = columns.iter().map(|column| column.holds).collect();
        assert_eq!(holds, [Whole, Number, Holds::Day, Text, Truth]);
        assert_eq!((columns[1].unit.as_deref(), columns[1].meaning.as_str()), (Some("L"), "Volume."));
    }
}
