//! Records compared by what they say.

use importer::record::Record;
use serde_json::Value;

/// A record without its place and the cell's own words.
pub fn core(record: &Record) -> Value {
    let mut value = serde_json::to_value(record).unwrap();
    for name in ["written", "cells", "line", "row", "column", "sheet", "flags", "rate", "confidence"] {
        value.as_object_mut().unwrap().remove(name);
    }
    value
}

/// Equal, numbers within a share of each other.
pub fn alike(one: &Value, other: &Value, slack: f64) -> bool {
    match (one, other) {
        (Value::Object(one), Value::Object(other)) => {
            one.len() == other.len()
                && one.iter().all(|(name, value)| other.get(name).is_some_and(|own| alike(value, own, slack)))
        }
        (Value::Number(one), Value::Number(other)) => {
            let (one, other) = (one.as_f64().unwrap(), other.as_f64().unwrap());
            (one - other).abs() <= slack * one.abs().max(other.abs()) + 1e-12
        }
        _ => one == other,
    }
}

/// Records of the first that have no like among the second.
pub fn without_like(records: &[Record], among: &[Record], slack: f64) -> Vec<Value> {
    let mut others: Vec<Value> = among.iter().map(core).collect();
    records
        .iter()
        .map(core)
        .filter(|record| match others.iter().position(|other| alike(record, other, slack)) {
            Some(at) => {
                others.swap_remove(at);
                false
            }
            None => true,
        })
        .collect()
}
