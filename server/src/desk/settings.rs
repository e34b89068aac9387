//! Decisions of the club: what differs from the defaults, and the defaults.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use diesel::prelude::*;
use migrations::schema::club_setting;
use serde::Serialize;
use serde_json::{Value, json};
use utoipa::ToSchema;
use utoipa::openapi::schema::{AdditionalProperties, ObjectBuilder, SchemaType, Type};

use crate::access::{Scope, scope};
use crate::problem::{Fault, Problem};
use crate::query::hint;

/// A decision that a club can take.
struct Setting {
    key: &'static str,
    meaning: &'static str,
    default: fn() -> Value,
    /// What is taken, for the document.
    shape: fn(ObjectBuilder) -> ObjectBuilder,
    /// What would be taken instead.
    faults: fn(&Value) -> Option<&'static str>,
}

const SETTINGS: &[Setting] = &[
    Setting {
        key: "name",
        meaning: "The club's name, as pages and the newsletter print it.",
        default: || Value::Null,
        shape: |of| {
            of.schema_type(nullable(Type::String))
                .min_length(Some(1))
                .max_length(Some(120))
                .pattern(Some(r"^[^\s\u0000]([^\u0000]*[^\s\u0000])?$"))
        },
        faults: |value| {
            let fits = |name: &str| name.trim() == name && (1..=120).contains(&name.chars().count());
            (!value.as_str().is_some_and(fits)).then_some("give 1 to 120 characters without spaces at either end")
        },
    },
    Setting {
        key: "publish",
        meaning: "Whether everybody may read the club's answers, rounded and only where many keepers stand behind them.",
        default: || json!(false),
        shape: |of| of.schema_type(nullable(Type::Boolean)),
        faults: |value| (!value.is_boolean()).then_some("give true or false"),
    },
    Setting {
        key: "release_days",
        meaning: "Days between two releases, which members and the public read; 0 = one as soon as the records changed.",
        default: || json!(crate::release::DAYS),
        shape: |of| of.schema_type(nullable(Type::Integer)).minimum(Some(0)).maximum(Some(365)),
        faults: |value| {
            let fits = value.as_i64().is_some_and(|days| (0..=365).contains(&days));
            (!fits).then_some("give a whole number from 0 to 365")
        },
    },
];

fn nullable(kind: Type) -> SchemaType {
    SchemaType::from_iter([kind, Type::Null])
}

/// What a change may hold: every setting by its name, and `null` for its default.
pub fn shape() -> ObjectBuilder {
    SETTINGS.iter().fold(
        ObjectBuilder::new().additional_properties(Some(AdditionalProperties::FreeForm(false))),
        |of, setting| {
            of.property(setting.key, (setting.shape)(ObjectBuilder::new().description(Some(setting.meaning))))
        },
    )
}

/// A setting as it stands.
#[derive(Serialize, ToSchema)]
pub struct SettingShown {
    /// Its name.
    #[schema(example = "publish")]
    key: &'static str,
    /// What it decides.
    meaning: &'static str,
    /// Its value.
    #[schema(example = true)]
    value: Value,
    /// What holds where the club has decided nothing.
    #[schema(example = false)]
    default: Value,
    /// When it was decided; `null` = it is the default.
    set_at: Option<DateTime<Utc>>,
    /// Who decided it.
    #[schema(example = "token strand_3f9a1c")]
    set_by: Option<String>,
}

/// Every setting.
#[derive(Serialize, ToSchema)]
pub struct SettingList {
    /// By name.
    settings: Vec<SettingShown>,
}

/// Every setting.
///
/// # Errors
/// The database refused.
pub fn list(connection: &mut PgConnection, desk: &Scope) -> Result<SettingList, Problem> {
    desk.administers()?;
    all(connection)
}

fn all(connection: &mut PgConnection) -> Result<SettingList, Problem> {
    let rows: Vec<(String, Value, DateTime<Utc>, String)> = club_setting::table
        .select((club_setting::key, club_setting::value, club_setting::set_at, club_setting::set_by))
        .load(connection)?;
    let settings = SETTINGS.iter().map(|setting| {
        let own = rows.iter().find(|(key, ..)| key == setting.key);
        SettingShown {
            key: setting.key,
            meaning: setting.meaning,
            value: own.map_or_else(setting.default, |(_, value, ..)| value.clone()),
            default: (setting.default)(),
            set_at: own.map(|(_, _, at, _)| *at),
            set_by: own.map(|(.., by)| by.clone()),
        }
    });
    Ok(SettingList { settings: settings.collect() })
}

/// Every fault of a change.
pub fn faults(change: &BTreeMap<String, Value>) -> Vec<Fault> {
    change.iter().filter_map(|(key, value)| fault(key, value)).collect()
}

/// Takes new values together; `null` takes a setting back to its default.
///
/// # Errors
/// The database refused; nothing is changed then.
pub fn change(
    connection: &mut PgConnection,
    desk: &Scope,
    change: &BTreeMap<String, Value>,
    by: &str,
) -> Result<SettingList, Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        for (key, value) in change {
            write(connection, key, value, by)?;
        }
        all(connection)
    })
}

fn fault(key: &str, value: &Value) -> Option<Fault> {
    let at = format!("/{}", key.replace('~', "~0").replace('/', "~1"));
    let Some(setting) = SETTINGS.iter().find(|setting| setting.key == key) else {
        let known = SETTINGS.iter().map(|setting| setting.key);
        return Some(Fault::pointer(at, "unknown", format!("'{key}' is no setting; {}", hint(key, known))));
    };
    let remedy = if value.is_null() { None } else { (setting.faults)(value) };
    remedy.map(|remedy| Fault::pointer(at, "invalid", format!("{value} is not taken for '{key}': {remedy}")))
}

fn write(connection: &mut PgConnection, key: &str, value: &Value, by: &str) -> QueryResult<()> {
    if value.is_null() {
        diesel::delete(club_setting::table.find(key)).execute(connection)?;
    } else {
        let new = (club_setting::value.eq(value), club_setting::set_by.eq(by), club_setting::set_at.eq(Utc::now()));
        diesel::insert_into(club_setting::table)
            .values((club_setting::key.eq(key), new))
            .on_conflict(club_setting::key)
            .do_update()
            .set(new)
            .execute(connection)?;
    }
    scope::note(connection, by, "change setting", &format!("setting {key}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_default_but_no_name_is_a_value_that_is_taken() {
        for setting in SETTINGS.iter().filter(|setting| setting.key != "name") {
            assert_eq!((setting.faults)(&(setting.default)()), None, "{}", setting.key);
        }
        assert!(fault("name", &json!(" x")).is_some() && fault("name", &json!("Tidewater Reef Club")).is_none());
        assert!(fault("publish", &json!("yes")).is_some() && fault("publish", &Value::Null).is_none());
        assert!(fault("release_days", &json!(366)).is_some() && fault("release_days", &json!(1.5)).is_some());
        let unknown = fault("publsh", &json!(true)).expect("a fault");
        assert!(unknown.detail.ends_with("did you mean 'publish'?"), "{}", unknown.detail);
    }
}
