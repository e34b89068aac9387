//! A new record of each kind for the member whose tank is "Lagoon" and whose coral is "C02", another for each number.

use serde_json::{Value, json};

/// So many samples are about "C02" and "Lagoon", each on a day of its own.
const DAYS: usize = 900;

pub fn sample(list: &str, number: usize) -> Value {
    let (known, tank) = match number < DAYS {
        true => ("C02".to_owned(), "Lagoon".to_owned()),
        false => (format!("N{number}"), format!("Frag rack {number}")),
    };
    // A time of day for each number: 86 400 of them.
    let time = format!("{:02}:{:02}:{:02}", number / 3600 % 24, number / 60 % 60, number % 60);
    let day = chrono::NaiveDate::from_ymd_opt(2023, 1, 1).unwrap() + chrono::Days::new((number % DAYS) as u64);
    let coral = format!("N{number}");
    match list {
        "tanks" => json!({"name": format!("Frag rack {number}"), "litres": 60.0, "started": "2022-01-01"}),
        "specimens" => json!({
            "label": coral, "taxon": "goniopora", "origin": "captive_grown", "origin_basis": "member_cutting",
            "acquired_earliest": "2024-05-01", "acquired_latest": "2024-05-01", "tank": "Lagoon", "size_mm": 40.0
        }),
        "stays" => json!({"specimen": coral, "tank": "Lagoon", "from_day": "2024-08-01"}),
        "readings" => {
            json!({"tank": tank, "parameter": "nitrate", "taken_on": "2025-04-01", "taken_time": time, "value": 5.0})
        }
        "sizings" => {
            json!({"specimen": known, "measure": "max_diameter", "basis": "skeleton", "value": 6.2, "unit": "cm", "on_day": day})
        }
        "sightings" => json!({"specimen": known, "on_day": day, "status": "open"}),
        "endings" => json!({"specimen": coral, "fate": "died", "earliest": "2025-02-01", "latest": "2025-02-01"}),
        "routines" => json!({"tank": tank, "kind": "target_feed", "rate": "twice a week", "from_day": day}),
        "events" => {
            json!({"tank": tank, "kind": "water_change", "on_day": "2025-04-01", "on_time": time, "amount": 30.0, "unit": "L"})
        }
        "incidents" => json!({"tank": tank, "kind": "power_cut", "from_day": day, "to_day": day}),
        "placements" => json!({"specimen": known, "from_day": day, "height": "middle", "par": 90.0}),
        "instruments" => json!({"parameter": "nitrate", "name": format!("Tidepool N{number}"), "step": 1.0}),
        other => panic!("no sample of {other}"),
    }
}

/// The list and the body of what a sample of the number is about, where it needs a coral or a tank of its own.
pub fn before(list: &str, number: usize) -> Option<(&'static str, Value)> {
    match list {
        "stays" | "endings" => Some(("specimens", sample("specimens", number))),
        "sizings" | "sightings" | "placements" if number >= DAYS => Some(("specimens", sample("specimens", number))),
        "readings" | "events" | "routines" | "incidents" if number >= DAYS => Some(("tanks", sample("tanks", number))),
        _ => None,
    }
}

/// A change of a sample.
pub fn change(list: &str) -> Value {
    match list {
        "tanks" => json!({"litres": 80.0}),
        "specimens" => json!({"size_mm": 45.0}),
        "stays" => json!({"to_day": "2024-11-01"}),
        "readings" => json!({"value": 6.0}),
        "sizings" => json!({"value": 64.0}),
        "sightings" => json!({"polyp_extension": 2}),
        "endings" => json!({"cause": "heater"}),
        "routines" => json!({"rate": "daily"}),
        "events" => json!({"amount": 25.0}),
        "incidents" => json!({"to_day": null}),
        "placements" => json!({"par": 110.0}),
        "instruments" => json!({"limit_value": 0.5}),
        other => panic!("no change of {other}"),
    }
}
