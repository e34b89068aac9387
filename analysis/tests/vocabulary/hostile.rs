//! Whatever stands in a cell, reading a word of it neither stops the program nor depends on what was read before.

use analysis::vocabulary::text::{compact, fold};
use analysis::vocabulary::*;
use proptest::prelude::*;

fn cell() -> impl Strategy<Value = String> {
    let words = prop::sample::select(vec![
        "Goniopora",
        "sp.",
        "flowerpot",
        "12",
        "tentacles",
        "dead",
        "lost",
        "saved",
        "3",
        "frags",
        "heater",
        "stuck",
        "NO3",
        "as",
        "N",
        "ppm",
        "mg/L",
        "SG",
        "25/25",
        "every",
        "2-3",
        "x/week",
        "1,5",
        "°C",
        "/",
        "%",
        "ä",
        "µ",
        "wild",
        "?",
        "~",
        "",
        "e\u{301}",
        "½",
        "İ",
        "ß",
        "９",
        "\u{200b}",
    ]);
    prop_oneof![any::<String>(), prop::collection::vec(words, 0..8).prop_map(|parts| parts.join(" ")), "[ -~]{0,40}",]
}

proptest! {
    #[test]
    fn no_text_stops_the_readers(text in cell()) {
        let name = resolve_name(&text);
        prop_assert_eq!(&name, &resolve_name(&text));
        if let NameMatch::Ambiguous { candidates, .. } = &name {
            prop_assert!(candidates.len() > 1);
        }
        prop_assert_eq!(find_fate(&text), find_fate(&text));
        prop_assert_eq!(find_unit(&text), find_unit(&text));
        for (code, _, unit) in find_parameter_by_word(&text) {
            prop_assert_eq!(ParameterCode::parse(code.as_str()), Some(code));
            if let Some(unit) = unit {
                prop_assert_eq!(UnitCode::parse(unit.as_str()), Some(unit));
            }
        }
        if let Some(rate) = find_routine_rate(&text) {
            prop_assert!(rate.low.is_finite() && 0.0 <= rate.low && rate.low <= rate.high, "{:?}", rate);
        }
        let _ = (find_cause(&text), find_origin(&text), find_origin_basis(&text), find_source_kind(&text), find_condition(&text));
        let _ = (find_incident(&text), find_measure(&text), find_size_basis(&text), find_routine(&text), tentacles_said(&text));
        let _ = (is_no_reading(&text), is_summary_word(&text), month_by_name(&text), yes_or_no(&text), resolve_names(&text, &text));
        let folded = fold(&text);
        prop_assert_eq!(fold(&folded), folded.clone());
        prop_assert_eq!(compact(&text), folded.replace(' ', ""));
    }

    #[test]
    fn every_conversion_turns_back(at in 0.001f64..0.999) {
        let water = Water { temperature: Some(25.0), salinity: Some(35.0) };
        for parameter in catalogue().parameters() {
            let Some((low, high)) = parameter.hard else { continue };
            let value = low + at * (high - low);
            for row in &parameter.accepts {
                let written = parameter.express_in(value, row.unit.as_str(), row.basis, water).unwrap();
                let back = parameter.convert_in(written, row.unit.as_str(), row.basis, water).unwrap();
                // A salinity is known from a gravity to about the twelfth decimal.
                prop_assert!((back - value).abs() <= 1e-9 * value.abs().max(1.0), "{} in {} {:?}: {value} came back {back}", parameter.code, row.unit, row.basis);
            }
        }
    }

    #[test]
    fn a_value_lies_on_one_step(x in -100.0f64..3000.0, y in -100.0f64..3000.0) {
        for parameter in catalogue().parameters() {
            let (a, b) = (parameter.ladder_step(x), parameter.ladder_step(y));
            prop_assert!(a <= parameter.ladder.len());
            prop_assert!(x > y || a <= b, "steps rise with the value");
        }
    }
}
