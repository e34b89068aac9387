//! The members of a record's body: what each may hold, checked all at once, and their schema.

use std::collections::BTreeSet;

use analysis::vocabulary::{ParameterCode, TaxonSlug, catalogue};
use chrono::{NaiveDate, NaiveTime};
use importer::fold::key::folded;
use serde_json::{Map, Value, json};
use utoipa::openapi::schema::{ArrayBuilder, KnownFormat, ObjectBuilder, Schema, SchemaFormat, SchemaType, Type};
use utoipa::openapi::{RefOr, schema};

use crate::problem::Fault;
use crate::query::hint;

/// What a member may hold.
#[derive(Clone, Copy)]
pub enum What {
    /// Text of so many characters at most.
    Text(usize),
    /// A number within bounds, both included.
    Number(f64, f64),
    /// A whole number within bounds, both included.
    Whole(i64, i64),
    /// A day, not in the future.
    Day,
    /// A time of day.
    Time,
    /// Yes or no.
    Flag,
    /// One of the words.
    Word(fn() -> Vec<&'static str>),
    /// Some of the words.
    Words(fn() -> Vec<&'static str>),
    /// A tank of the keeper, by name.
    Tank,
    /// A coral of the keeper, by label.
    Specimen,
}

/// A member of a record's body.
#[derive(Clone, Copy)]
pub struct Field {
    /// Name, as in lists.
    pub name: &'static str,
    /// What it means.
    pub about: &'static str,
    /// What it may hold.
    pub what: What,
    /// A new record needs it.
    pub needed: bool,
    /// As JSON.
    pub example: &'static str,
}

/// What a keeper's records can refer to.
#[derive(Debug, Default)]
pub struct Known {
    /// Names and other spellings of tanks, each with the name.
    pub tanks: Vec<(String, String)>,
    /// Labels.
    pub specimens: Vec<String>,
    /// The last day that is not in the future.
    pub today: NaiveDate,
}

/// Codes of all taxa.
pub fn taxa() -> Vec<&'static str> {
    catalogue().taxa().iter().map(|row| row.slug.as_str()).collect()
}

/// Codes of all parameters.
pub fn parameters() -> Vec<&'static str> {
    catalogue().parameters().iter().map(|row| row.code.as_str()).collect()
}

/// Members that passed. Those that were not sent, or sent as `null`, are `None`.
#[derive(Debug)]
pub struct Values(Map<String, Value>, BTreeSet<&'static str>);

impl Values {
    /// Whether a member was said, though it may not have passed.
    pub fn is_said(&self, name: &str) -> bool {
        self.0.contains_key(name) || self.1.contains(name)
    }

    /// A text.
    pub fn text(&self, name: &str) -> Option<String> {
        self.0.get(name).and_then(Value::as_str).map(str::to_owned)
    }

    /// A number.
    pub fn number(&self, name: &str) -> Option<f64> {
        self.0.get(name).and_then(Value::as_f64)
    }

    /// A small whole number.
    pub fn whole(&self, name: &str) -> Option<i16> {
        self.0.get(name).and_then(Value::as_i64).and_then(|value| i16::try_from(value).ok())
    }

    /// A day.
    pub fn day(&self, name: &str) -> Option<NaiveDate> {
        self.0.get(name).and_then(Value::as_str).and_then(|text| text.parse().ok())
    }

    /// A time of day.
    pub fn time(&self, name: &str) -> Option<NaiveTime> {
        self.0.get(name).and_then(Value::as_str).and_then(time)
    }

    /// Yes or no.
    pub fn flag(&self, name: &str) -> Option<bool> {
        self.0.get(name).and_then(Value::as_bool)
    }

    /// A list of words.
    pub fn words(&self, name: &str) -> Vec<String> {
        let words = self.0.get(name).and_then(Value::as_array).into_iter().flatten();
        words.filter_map(Value::as_str).map(str::to_owned).collect()
    }

    /// A parameter.
    pub fn parameter(&self, name: &str) -> Option<ParameterCode> {
        ParameterCode::parse(&self.text(name)?)
    }

    /// A taxon.
    pub fn taxon(&self, name: &str) -> Option<TaxonSlug> {
        TaxonSlug::parse(&self.text(name)?)
    }
}

fn time(text: &str) -> Option<NaiveTime> {
    NaiveTime::parse_from_str(text, "%H:%M").or_else(|_| NaiveTime::parse_from_str(text, "%H:%M:%S")).ok()
}

/// Checks the members of a body, all of them, and gives them with the keeper's own spelling of tanks and corals. Names in
/// `sent` alone are checked against the list of members; `null` stands for "not said".
pub fn check(
    fields: &[Field],
    body: &Map<String, Value>,
    sent: &BTreeSet<String>,
    known: &Known,
    faults: &mut Vec<Fault>,
) -> Values {
    for name in sent.iter().filter(|name| fields.iter().all(|field| field.name != name.as_str())) {
        let detail = format!("'{name}' is not taken; {}", hint(name, fields.iter().map(|field| field.name)));
        faults.push(Fault::pointer(pointer(name), "unknown", detail));
    }
    let mut values = Map::new();
    let mut refused = BTreeSet::new();
    for field in fields {
        match body.get(field.name).filter(|value| !value.is_null()) {
            None if field.needed => {
                let detail = format!("'{}' is missing: {}", field.name, field.about.trim_end_matches('.'));
                faults.push(Fault::pointer(pointer(field.name), "missing", detail));
            }
            None => {}
            Some(value) => match field.what.take(value, known) {
                Ok(value) => {
                    values.insert(field.name.to_owned(), value);
                }
                Err(detail) => {
                    refused.insert(field.name);
                    faults.push(Fault::pointer(pointer(field.name), "invalid", format!("'{}' {detail}", field.name)));
                }
            },
        }
    }
    Values(values, refused)
}

/// Address of a member in the body (RFC 6901).
pub fn pointer(name: &str) -> String {
    format!("/{}", name.replace('~', "~0").replace('/', "~1"))
}

impl What {
    /// The value as it is kept, or what is wrong with it.
    fn take(self, value: &Value, known: &Known) -> Result<Value, String> {
        let text = || {
            let text = value.as_str().ok_or_else(|| format!("is {value}; write it as text in quotes"))?.trim();
            if text.is_empty() {
                return Err("is empty; leave it out instead".to_owned());
            }
            if text.chars().any(|letter| letter.is_control() && letter != '\n') {
                return Err("holds characters that cannot be shown; leave them out".to_owned());
            }
            Ok(text)
        };
        let word = |word: &str, words: Vec<&'static str>| match words.iter().find(|known| **known == word) {
            Some(known) => Ok(json!(known)),
            None => Err(format!("is '{word}', which is not taken; {}", hint(word, words.iter().copied()))),
        };
        match self {
            What::Text(most) => {
                let text = text()?;
                let length = text.chars().count();
                if length > most {
                    return Err(format!("has {length} characters; {most} are the most"));
                }
                Ok(json!(text))
            }
            What::Number(low, high) => {
                let number = value.as_f64().ok_or_else(|| format!("is {value}; write a number without quotes"))?;
                if !(low..=high).contains(&number) {
                    return Err(format!("is {number}; {}", bounds(low, high)));
                }
                Ok(json!(number))
            }
            What::Whole(low, high) => {
                let number =
                    value.as_i64().ok_or_else(|| format!("is {value}; write a whole number without quotes"))?;
                if !(low..=high).contains(&number) {
                    return Err(format!("is {number}; {}", bounds(low as f64, high as f64)));
                }
                Ok(json!(number))
            }
            What::Day => {
                let text = text()?;
                let Ok(day) = NaiveDate::parse_from_str(text, "%Y-%m-%d") else {
                    return Err(format!("is '{text}'; write a day as 2025-03-04"));
                };
                if day > known.today {
                    return Err(format!("is {day}, which is in the future; today is {}", known.today));
                }
                if day < FIRST {
                    return Err(format!("is {day}; days before {FIRST} are not taken"));
                }
                Ok(json!(day))
            }
            What::Time => {
                let text = text()?;
                time(text).map(|_| json!(text)).ok_or_else(|| format!("is '{text}'; write a time of day as 19:30"))
            }
            What::Flag => {
                value.as_bool().map(|_| value.clone()).ok_or_else(|| format!("is {value}; write true or false"))
            }
            What::Word(words) => word(text()?, words()),
            What::Words(words) => {
                let list = value.as_array().ok_or_else(|| format!("is {value}; write a list of words"))?;
                let mut taken: Vec<Value> = Vec::new();
                for one in list {
                    let one = one.as_str().ok_or_else(|| format!("holds {one}; write words in quotes"))?;
                    let one = word(one, words())?;
                    if !taken.contains(&one) {
                        taken.push(one);
                    }
                }
                Ok(json!(taken))
            }
            What::Tank => {
                let text = text()?;
                let found = known.tanks.iter().find(|(spelling, _)| folded(spelling) == folded(text));
                found.map(|(_, name)| json!(name)).ok_or_else(|| {
                    format!(
                        "is '{text}', which is no tank of this member; {}",
                        listed(text, known.tanks.iter().map(|row| row.1.as_str()), "make the tank first")
                    )
                })
            }
            What::Specimen => {
                let text = text()?;
                let found = known.specimens.iter().find(|label| folded(label) == folded(text));
                found.map(|label| json!(label)).ok_or_else(|| {
                    format!(
                        "is '{text}', which is no coral of this member; {}",
                        listed(text, known.specimens.iter().map(String::as_str), "record the coral first")
                    )
                })
            }
        }
    }

    fn schema(self, nullable: bool) -> (ObjectBuilder, Type) {
        let of = ObjectBuilder::new;
        match self {
            What::Text(most) => (of().min_length(Some(1)).max_length(Some(most)), Type::String),
            What::Number(low, high) => {
                let number = of().format(Some(SchemaFormat::KnownFormat(KnownFormat::Double)));
                let number = if low > -LARGEST { number.minimum(Some(low)) } else { number };
                (if high < LARGEST { number.maximum(Some(high)) } else { number }, Type::Number)
            }
            What::Whole(low, high) => {
                let whole = of().format(Some(SchemaFormat::KnownFormat(KnownFormat::Int32)));
                (whole.minimum(Some(low)).maximum(Some(high)), Type::Integer)
            }
            What::Day => (of().format(Some(SchemaFormat::KnownFormat(KnownFormat::Date))), Type::String),
            What::Time => {
                (of().pattern(Some("^[0-2][0-9]:[0-5][0-9](:[0-5][0-9])?$")).max_length(Some(8)), Type::String)
            }
            What::Flag => (of(), Type::Boolean),
            What::Word(words) if words().len() <= 16 => {
                let none = nullable.then_some(Value::Null);
                let words: Vec<Value> = words().into_iter().map(|word| json!(word)).chain(none).collect();
                (of().enum_values(Some(words)), Type::String)
            }
            What::Word(_) | What::Words(_) => (of().max_length(Some(80)), Type::String),
            What::Tank | What::Specimen => (of().min_length(Some(1)).max_length(Some(200)), Type::String),
        }
    }
}

/// No log is older.
const FIRST: NaiveDate = NaiveDate::from_ymd_opt(1950, 1, 1).unwrap();
/// Bounds from which on a number has none that is worth saying.
pub const LARGEST: f64 = 1e12;

fn bounds(low: f64, high: f64) -> String {
    if high >= LARGEST { format!("it must be {low} or more") } else { format!("it must lie between {low} and {high}") }
}

fn listed<'a>(text: &str, known: impl Iterator<Item = &'a str> + Clone, none: &str) -> String {
    if known.clone().next().is_none() { none.to_owned() } else { hint(text, known) }
}

/// The schema of a body: of a new record, or of a change, in which nothing is needed and `null` clears.
pub fn schema(about: &str, fields: &[Field], is_change: bool) -> RefOr<Schema> {
    let mut object = ObjectBuilder::new()
        .description(Some(about))
        .additional_properties(Some(schema::AdditionalProperties::FreeForm(false)));
    for field in fields {
        let example: Value = serde_json::from_str(field.example).unwrap_or_default();
        object = match field.what {
            What::Words(words) => {
                let item = ObjectBuilder::new().schema_type(Type::String).enum_values(Some(words()));
                let list = ArrayBuilder::new().items(item).max_items(Some(30));
                object.property(
                    field.name,
                    list.schema_type(of_type(Type::Array, true)).description(Some(field.about)).examples([example]),
                )
            }
            what => {
                let (member, plain) = what.schema(!field.needed);
                let member = member.schema_type(of_type(plain, !field.needed));
                object.property(field.name, member.description(Some(field.about)).examples([example]))
            }
        };
        if field.needed && !is_change {
            object = object.required(field.name);
        }
    }
    object.into()
}

fn of_type(plain: Type, nullable: bool) -> SchemaType {
    if nullable { SchemaType::Array(vec![plain, Type::Null]) } else { SchemaType::Type(plain) }
}
