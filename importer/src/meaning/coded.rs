//! Columns of the ready-made sheet, by their codes.

use analysis::vocabulary::{HeaderRole, ParameterCode};

use super::{Meaning, Quantity, quantities};

/// A column of the ready-made sheet: tests and sizes read as any wide table and diary, the others by their codes.
pub(super) fn meaning(tab: &str, code: &str, header: &str) -> Meaning {
    let role = match code {
        "test_day" | "size_day" => Some(HeaderRole::Date),
        "test_time" => Some(HeaderRole::Time),
        "test_tank" => Some(HeaderRole::Tank),
        "test_remark" => Some(HeaderRole::Remark),
        "size_label" => Some(HeaderRole::Label),
        "size_measure" => Some(HeaderRole::What),
        "size_on" => Some(HeaderRole::Basis),
        "size_value" => Some(HeaderRole::Value),
        "size_unit" => Some(HeaderRole::Unit),
        _ => None,
    };
    if let Some(role) = role {
        return Meaning::Role(role);
    }
    match ParameterCode::parse(code).filter(|_| tab == "tests") {
        Some(parameter) => {
            let title = header.rsplit_once('[').map_or(header, |(title, _)| title).trim();
            let told = quantities(title).into_iter().find(|quantity| quantity.parameter == parameter);
            Meaning::Quantity(told.unwrap_or(Quantity {
                parameter,
                basis: None,
                unit: None,
                limit: None,
                other_tank: false,
            }))
        }
        None => Meaning::Coded(code.to_owned()),
    }
}
