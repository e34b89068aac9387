//! Parameters, units and conversions.

use std::collections::HashMap;

use analysis::vocabulary::text::compact;
use analysis::vocabulary::*;

fn parameter(code: &str) -> &'static Parameter {
    ParameterCode::parse(code).unwrap_or_else(|| panic!("no parameter {code}")).get()
}

fn close(got: f64, want: f64, relative: f64) -> bool {
    (got - want).abs() <= relative * want.abs()
}

#[test]
fn the_compiled_in_files_agree() {
    let read = Catalogue::read().expect("the catalogue contradicts itself");
    assert_eq!(read.parameters().len(), 37);
    assert_eq!(read.parameters().iter().filter(|p| p.kind == ParameterKind::Trace).count(), 14);
    assert_eq!(read.parameters().iter().filter(|p| p.kind == ParameterKind::Routine).count(), 3);
}

#[test]
fn every_code_is_found_by_itself_and_by_nothing_else() {
    for p in catalogue().parameters() {
        assert_eq!(ParameterCode::parse(p.code.as_str()), Some(p.code));
        assert_eq!(p.code.get().code, p.code);
        let json = serde_json::to_string(&p.code).expect("a code is text");
        assert_eq!(serde_json::from_str::<ParameterCode>(&json).expect("and comes back"), p.code);
    }
    for unit in catalogue().units() {
        assert_eq!(UnitCode::parse(unit.code.as_str()), Some(unit.code));
        assert_eq!(find_unit(unit.code.as_str()).map(|m| m.unit), Some(unit.code), "{}", unit.code);
        for spelling in unit.spellings.iter().chain(&unit.exact) {
            assert_eq!(find_unit(spelling).map(|m| m.unit), Some(unit.code), "{spelling}");
        }
    }
    assert_eq!(ParameterCode::parse("Nitrate"), None);
    assert!(serde_json::from_str::<ParameterCode>("\"sodium chloride\"").is_err());
}

#[test]
fn no_word_names_two_parameters() {
    let mut owner: HashMap<String, ParameterCode> = HashMap::new();
    for p in catalogue().parameters() {
        assert!(p.spellings.len() >= 2, "{} has too few words", p.code);
        for spelling in &p.spellings {
            let other = owner.insert(compact(spelling.word), p.code);
            assert!(other.is_none_or(|other| other == p.code), "`{}`: {} and {other:?}", spelling.word, p.code);
            let found = find_parameter_by_word(spelling.word);
            assert_eq!(found, [(p.code, spelling.basis, spelling.unit)], "`{}`", spelling.word);
        }
    }
}

#[test]
fn every_conversion_meets_its_check_value_and_turns_back() {
    let water = Water { temperature: Some(25.0), salinity: Some(35.0) };
    for p in catalogue().parameters() {
        assert!(!p.accepts.is_empty());
        for row in p.accepts.iter() {
            let (written, canonical) = row.check;
            let got = p.convert_in(written, row.unit.as_str(), row.basis, water).expect("accepted");
            assert!(
                close(got, canonical, 1e-9),
                "{} in {} {:?}: {got} against {canonical}",
                p.code,
                row.unit,
                row.basis
            );
            let back = p.express_in(got, row.unit.as_str(), row.basis, water).expect("turns back");
            assert!(
                close(back, written, 1e-12),
                "{} in {} {:?}: {back} against {written}",
                p.code,
                row.unit,
                row.basis
            );
            assert!(p.is_possible(got), "{}: its own check value is outside the hard limits", p.code);
            assert!(p.convert_in(f64::NAN, row.unit.as_str(), row.basis, water).is_err());
            assert!(p.convert_in(f64::INFINITY, row.unit.as_str(), row.basis, water).is_err());
        }
        for row in &p.event_accepts {
            let got = p.convert_event(row.check.0, row.unit.as_str()).expect("accepted");
            assert!(close(got, row.check.1, 1e-12), "{} in {}", p.code, row.unit);
        }
        for unit in &p.own_scale {
            assert!(matches!(p.convert(1.0, unit.as_str(), None), Err(ConvertError::OwnScale { .. })), "{}", p.code);
        }
    }
}

#[test]
fn ladders_ascend_inside_the_limits() {
    let ascending = |cuts: &[f64]| cuts.windows(2).all(|pair| pair[0] < pair[1]);
    for p in catalogue().parameters() {
        assert!(ascending(&p.ladder) && ascending(&p.spread_ladder), "{}", p.code);
        assert!(p.ladder.len() <= 5, "{} has more than five cuts", p.code);
        assert!(p.ladder.iter().all(|cut| p.is_possible(*cut)), "{}", p.code);
        for (low, high) in [p.plausible, p.hard, p.step_range, p.limit_range].into_iter().flatten() {
            assert!(low <= high, "{}", p.code);
        }
        if let Some((low, high)) = p.plausible {
            assert!(p.is_possible(low) && p.is_possible(high), "{}", p.code);
        }
        assert!(p.carry_days > 0 && p.short_carry_days > 0);
        assert_eq!(p.ladder_step(f64::MIN), 0);
        for (i, cut) in p.ladder.iter().enumerate() {
            assert_eq!(p.ladder_step(*cut), i + 1, "{}: a value on a cut belongs above", p.code);
            assert_eq!(p.ladder_step(cut * (1.0 - 1e-6)), i, "{}", p.code);
        }
    }
    for condition in catalogue().conditions() {
        assert!(ascending(&condition.ladder), "{}", condition.code);
    }
    assert_eq!(parameter("nitrate").ladder_step(15.0), 3);
    assert_eq!(parameter("nitrate").ladder_step(14.9), 2);
    // 76.0 and 78.0 °F fall into one step; a true 35 and 1.0265 at 25/25 into another.
    let t = parameter("temperature");
    assert_eq!(t.ladder_step(t.convert(76.0, "°F", None).unwrap()), 2);
    assert_eq!(t.ladder_step(t.convert(78.0, "°F", None).unwrap()), 2);
    let s = parameter("salinity");
    assert_eq!(s.ladder_step(35.0), 3);
    assert_eq!(s.ladder_step(s.convert(1.0265, "SG", Some("25/25")).unwrap()), 3);
}

#[test]
fn days_that_a_test_speaks() {
    for (code, days, short) in [
        ("temperature", 21, 21),
        ("salinity", 35, 21),
        ("alkalinity", 21, 35),
        ("nitrate", 35, 21),
        ("phosphate", 35, 21),
        ("calcium", 35, 21),
        ("iron", 120, 120),
        ("copper", 120, 120),
        ("par", 180, 180),
        ("ammonia", 21, 21),
    ] {
        assert_eq!((parameter(code).carry_days, parameter(code).short_carry_days), (days, short), "{code}");
    }
}

/// Plain arithmetic with IUPAC abridged atomic weights (from memory): every factor to the last printed digit.
#[test]
fn nitrogen_and_phosphorus_forms() {
    for (code, basis, want) in [
        ("nitrate", "N", 4.426643820947),
        ("nitrite", "N", 3.284429213964),
        ("ammonia", "N", 1.215892053973),
        ("ammonia", "NH4", 0.944121071013),
        ("phosphate", "P", 3.066135847629),
        ("phosphate", "P2O5", 1.338143909582),
        ("silicate", "Si", 2.139327042905),
    ] {
        let got = parameter(code).convert(1.0, "mg/L", Some(basis)).unwrap();
        assert!((got - want).abs() <= 5.1e-13, "{code} as {basis}: {got}");
    }
    let inverse = |code: &str, basis| parameter(code).express(1.0, "mg/L", Some(basis)).unwrap();
    assert!((inverse("nitrate", "N") - 0.225904780337).abs() <= 5.1e-13);
    assert!((inverse("phosphate", "P") - 0.326143409717).abs() <= 5.1e-13);
    let plain = |code: &str, value, unit| parameter(code).convert(value, unit, None).unwrap();
    assert!((plain("nitrate", 1.0, "µmol/L") - 0.062004).abs() < 1e-15);
    assert!((plain("phosphate", 1.0, "umol/l") - 0.094969762).abs() < 5.1e-10);
    assert!((plain("silicate", 1.0, "µM") - 0.060083).abs() < 1e-15);
    assert!((plain("oxygen", 1.0, "mL/L") - 1.4290180246).abs() <= 5.1e-11);
    assert_eq!(plain("phosphate", 60.0, "ppb"), 0.06);
    assert!((parameter("phosphate").convert(60.0, "ppb P", None).unwrap() - 60.0 * 0.003066135847629).abs() < 1e-13);
    assert!((parameter("calcium").convert(1.0, "ppm", Some("CaCO3")).unwrap() - 0.400435625).abs() <= 5.1e-10);
}

/// 1 °dH is the alkalinity of 10 mg/L CaO (several public pages); the figures are plain arithmetic with IUPAC
/// weights (from memory). The FAO glossary rounds 1 meq/L to 2.805.
#[test]
fn german_degrees() {
    let alkalinity = parameter("alkalinity");
    for (dkh, meq, ppm) in [
        (8.0, 2.8532196801, 142.7836724504),
        (8.5, 3.0315459101, 151.7076519785),
        (11.0, 3.9231770601, 196.3275496193),
        (1.0, 0.356652460010, 17.847959056298),
    ] {
        for (unit, want) in [("meq/L", meq), ("ppm", ppm), ("mg/L CaCO3", ppm)] {
            assert!((alkalinity.express(dkh, unit, None).unwrap() - want).abs() <= 5.1e-11, "{dkh} dKH in {unit}");
            assert!(close(alkalinity.convert(want, unit, None).unwrap(), dkh, 1e-10));
        }
    }
    assert_eq!(alkalinity.convert(1.0, "meq/L", None).unwrap(), 2.80385);
    assert!((alkalinity.convert(21.7615065, "mg/L", Some("HCO3")).unwrap() - 1.0).abs() < 1e-8);
    assert!(close(2.80385, 2.805, 2e-3));
    assert!((alkalinity.unit.get().ucum_factor - 0.356652460010).abs() <= 5.1e-13);
    assert_eq!((alkalinity.unit.as_str(), alkalinity.ucum), ("dKH", "meq/L"));
}

/// Fixed points of the scales, exact.
#[test]
fn temperatures_and_volumes_convert_exactly() {
    let t = |value, unit| parameter("temperature").convert(value, unit, None).unwrap();
    assert_eq!(t(32.0, "°F"), 0.0);
    assert_eq!(t(212.0, "F"), 100.0);
    assert_eq!(t(77.0, "Fahrenheit"), 25.0);
    assert_eq!(t(-40.0, "degF"), -40.0);
    assert_eq!(t(273.15, "K"), 0.0);
    assert!((t(76.0, "F") - 24.4444).abs() < 5.1e-5 && (t(78.0, "F") - 25.5556).abs() < 5.1e-5);
    assert!((t(77.4, "F") - 25.22).abs() < 5e-3);
    let change = parameter("water_change");
    assert_eq!(change.convert_event(1.0, "US gal").unwrap(), 3.785411784);
    assert_eq!(change.convert_event(1.0, "imperial gallons").unwrap(), 4.54609);
    assert!(matches!(change.convert_event(5.0, "gallons"), Err(ConvertError::NotAccepted { .. })));
    assert_eq!(parameter("carbon").convert_event(1.0, "oz").unwrap(), 28.349523125);
    assert_eq!(parameter("feeding").convert(1.0, "per day", None).unwrap(), 7.0);
}

#[test]
fn what_does_not_convert_says_what_would_help() {
    let text = |result: Result<f64, ConvertError>| result.unwrap_err().to_string();
    assert_eq!(
        text(parameter("salinity").convert(1.025, "SG", None)),
        "salinity in SG needs a basis: one of 25/25, 20/20, 60/60F, 15/15, 20/4"
    );
    assert_eq!(
        text(parameter("par").convert(150.0, "W", None)),
        "par in W does not convert: it is kept as this tank's own scale"
    );
    assert_eq!(
        text(parameter("oxygen").convert(98.0, "%", None)),
        "oxygen in % needs the temperature and salinity of the water"
    );
    assert_eq!(
        text(parameter("temperature").convert(25.0, "furlongs", None)),
        "unknown unit `furlongs`: temperature is written in Cel, degF, K"
    );
    assert_eq!(
        text(parameter("nitrate").convert(5.0, "dKH", None)),
        "nitrate is not written in dKH: use mg/L, ug/L, umol/L"
    );
    assert_eq!(
        text(parameter("nitrate").convert(5.0, "mg/L", Some("P"))),
        "nitrate in mg/L is not expressed as `P`: one of NO3, N"
    );
    assert_eq!(text(parameter("salinity").convert(1.5, "SG", Some("25/25"))), "1.5 SG is no salinity");
    assert!(parameter("flow").convert(2000.0, "L/h", None).is_err());
}

/// Salinity through the catalogue: the same figures as in the tests of the curves.
#[test]
fn salinity_from_every_instrument() {
    let s = parameter("salinity");
    assert!((s.convert(1.025, "SG", Some("77/77")).unwrap() - 33.1881061143).abs() <= 5.1e-11);
    assert!((s.convert(1.025, "sg 25/25", None).unwrap() - 33.1881061143).abs() <= 5.1e-11);
    assert!((s.convert(1.025, "specific gravity", Some("60/60 °F")).unwrap() - 32.5865092688).abs() <= 5.1e-11);
    assert!((s.convert(53.0, "mS/cm", Some("25 °C")).unwrap() - 34.9472992726).abs() <= 5.1e-11);
    let raw = s.convert_in(47.9, "mS/cm", Some("raw"), Water { temperature: Some(20.0), salinity: None }).unwrap();
    assert!((raw - 34.9852099663).abs() <= 5.1e-11);
    assert!(matches!(s.convert(47.9, "mS/cm", Some("raw")), Err(ConvertError::WaterMissing { .. })));
    assert_eq!(s.convert(35.0, "ppt", None).unwrap(), 35.0);
    assert_eq!(s.convert(35.0, "‰", None).unwrap(), 35.0);
    assert!((s.convert(35.16504, "g/kg", None).unwrap() - 35.0).abs() < 1e-13);
}

#[test]
fn ends_that_say_nothing_and_plurals_are_no_basis() {
    for (header, code, basis) in [
        ("Nitraten", "nitrate", None),
        ("Nitrate-N", "nitrate", Some("N")),
        ("NO3N", "nitrate", Some("N")),
        ("Kaliumwert", "potassium", None),
        ("Kaliumgehalte (mg/L)", "potassium", None),
        ("Taux de calcium", "calcium", None),
        ("Nivel de magnesio", "magnesium", None),
    ] {
        let found = find_parameter_by_word(header);
        let got: Vec<_> = found.iter().map(|(parameter, basis, _)| (parameter.as_str(), *basis)).collect();
        assert_eq!(got, [(code, basis)], "{header}");
    }
    assert!(find_parameter_by_word("Messwert").is_empty());
    assert!(find_parameter_by_word("Temp de la casa").is_empty());
}

#[test]
fn headers_as_members_write_them() {
    for (header, code, basis, unit) in [
        ("Temp C", "temperature", None, Some("Cel")),
        ("Temp. [°C]", "temperature", None, Some("Cel")),
        ("Temp °F", "temperature", None, Some("degF")),
        ("Water Temperature", "temperature", None, None),
        ("water_temp", "temperature", None, None),
        ("Wassertemperatur (°C)", "temperature", None, Some("Cel")),
        ("Température", "temperature", None, None),
        ("SG 25/25", "salinity", Some("25/25"), Some("SG")),
        ("S.G. (77/77F)", "salinity", Some("25/25"), Some("SG")),
        ("Salinity (ppt)", "salinity", None, Some("PSU")),
        ("Salinity ‰", "salinity", None, Some("PSU")),
        ("Sal", "salinity", None, None),
        ("Leitfähigkeit mS/cm", "salinity", None, Some("mS/cm")),
        ("Alk ppm", "alkalinity", None, Some("mg/L")),
        ("KH", "alkalinity", None, None),
        ("KH meq/L", "alkalinity", None, Some("meq/L")),
        ("Alkalinity (dKH)", "alkalinity", None, Some("dKH")),
        ("Karbonathärte °dH", "alkalinity", None, Some("dKH")),
        ("ALKALINITY ppm CaCO3", "alkalinity", Some("CaCO3"), Some("mg/L")),
        ("NO3", "nitrate", None, None),
        ("NO₃ (mg/l)", "nitrate", None, Some("mg/L")),
        ("NO3-N [mg/L]", "nitrate", Some("N"), Some("mg/L")),
        ("Nitrate-N", "nitrate", Some("N"), None),
        ("Nitrate (as N)", "nitrate", Some("N"), None),
        ("Nitrate as N ppm", "nitrate", Some("N"), Some("mg/L")),
        ("nitrate ppm", "nitrate", None, Some("mg/L")),
        ("nitraat", "nitrate", None, None),
        ("PO4 ppb", "phosphate", None, Some("ug/L")),
        ("P ppb", "phosphate", Some("P"), Some("ug/L")),
        ("Phosphate (P) µg/L", "phosphate", Some("P"), Some("ug/L")),
        ("Ammonia (total as NH4)", "ammonia", Some("NH4"), None),
        ("Ammonia", "ammonia", None, None),
        ("Free ammonia", "ammonia", Some("free NH3"), None),
        ("Ca", "calcium", None, None),
        ("Calcium mg/L", "calcium", None, Some("mg/L")),
        ("Mg (ppm)", "magnesium", None, Some("mg/L")),
        ("MG", "magnesium", None, None),
        ("Iodine µg/L", "iodine", None, Some("ug/L")),
        ("Oxygen mg/L", "oxygen", None, Some("mg/L")),
        ("Flow cm/s", "flow", None, Some("cm/s")),
        ("Light", "par", None, None),
        ("PAR (µmol/m²/s)", "par", None, Some("umol/m2/s")),
        ("pH", "ph", None, None),
        ("ORP mV", "orp", None, Some("mV")),
        ("Cu µg/l", "copper", None, Some("ug/L")),
        ("Water change %", "water_change", None, Some("%")),
        ("nitrate test result", "nitrate", None, None),
    ] {
        let found = find_parameter_by_word(header);
        let want = (ParameterCode::parse(code).unwrap(), basis, unit.map(|unit| UnitCode::parse(unit).unwrap()));
        assert_eq!(found, [want], "`{header}`");
    }
    // A letter beside a word for a place is the place's name, and no symbol.
    for header in ["Tank B", "Tank K", "tank b mg/l", "Tank B KH", "Tank A NO3", "B KH", "Display K"] {
        assert_eq!(find_parameter_by_word(header), [], "`{header}`");
    }
    for (header, code) in
        [("Tank temp C", "temperature"), ("K mg/l", "potassium"), ("B", "boron"), ("K level", "potassium")]
    {
        let found = find_parameter_by_word(header);
        assert!(found.iter().any(|(parameter, ..)| parameter.as_str() == code), "`{header}`: {found:?}");
    }
    for header in ["", "mg/L", "notes", "Date", "remark", "(ppm)", "tank", "water", "Coral", "dKH change by hand"] {
        assert_eq!(find_parameter_by_word(header), [], "`{header}`");
    }
    assert_eq!(find_parameter_by_word("S").len(), 2, "sulfur in a report, salinity in a log");
    assert_eq!(find_substance_without_code("Rb (µg/L)"), Some("rubidium"));
    assert_eq!(find_substance_without_code("Rubidium (Rb)"), Some("rubidium"));
    assert_eq!(find_substance_without_code("Copper"), None);
}

#[test]
fn units_as_members_write_them() {
    for (text, unit, basis) in [
        ("ppm", "mg/L", None),
        ("mg/l", "mg/L", None),
        ("MG/L", "mg/L", None),
        ("mg·l⁻¹", "mg/L", None),
        ("ppb", "ug/L", None),
        ("µg/L", "ug/L", None),
        ("ppm as N", "mg/L", Some("N")),
        ("mg/L NO3-N", "mg/L", Some("N")),
        ("mg NO3/L", "mg/L", Some("NO3")),
        ("°C", "Cel", None),
        ("C", "Cel", None),
        ("° F", "degF", None),
        ("meq/l", "meq/L", None),
        ("°dKH", "dKH", None),
        ("ppt", "PSU", None),
        ("mS", "mS/cm", None),
        ("m/s", "m/s", None),
        ("µS/cm", "uS/cm", None),
        ("SG (25/25)", "SG", Some("25/25")),
        ("mS/cm at 25 °C", "mS/cm", Some("25C")),
        ("x/h", "/h", None),
        ("W", "W", None),
        ("\"", "in", None),
        ("in", "in", None),
        ("cm", "cm", None),
        ("%", "%", None),
        ("ppm CaCO3", "mg/L", Some("CaCO3")),
        ("[pH]", "[pH]", None),
        ("µmol m⁻² s⁻¹", "umol/m2/s", None),
    ] {
        let found = find_unit(text).unwrap_or_else(|| panic!("`{text}` is no unit"));
        assert_eq!((found.unit.as_str(), found.basis), (unit, basis), "`{text}`");
    }
    for text in ["", "furlong", "ppm of something", "nitrate", "25"] {
        assert_eq!(find_unit(text), None, "`{text}`");
    }
}

/// A laboratory writes the symbol behind the name, or the name behind the symbol: "Boron (B)", "F - Fluorine".
#[test]
fn a_name_with_its_own_symbol_is_that_parameter() {
    for (names, symbol, code) in [
        (["boron", "Bor", "bore", "boro", "borium"], "B", "boron"),
        (["bromine", "Brom", "brome", "bromo", "broom"], "Br", "bromine"),
        (["sulfur", "Schwefel", "soufre", "azufre", "zwavel"], "S", "sulfur"),
        (["fluorine", "Fluor", "fluor", "flúor", "fluor"], "F", "fluorine"),
        (["strontium", "Strontium", "strontium", "estroncio", "strontium"], "Sr", "strontium"),
        (["potassium", "Kalium", "potassium", "potasio", "kalium"], "K", "potassium"),
        (["iodine", "Iod", "iode", "yodo", "jodium"], "I", "iodine"),
        (["vanadium", "Vanadium", "vanadium", "vanadio", "vanadium"], "V", "vanadium"),
        (["copper", "Kupfer", "cuivre", "cobre", "koper"], "Cu", "copper"),
        (["zinc", "Zink", "zinc", "cinc", "zink"], "Zn", "zinc"),
        (["nickel", "Nickel", "nickel", "níquel", "nikkel"], "Ni", "nickel"),
        (["tin", "Zinn", "étain", "estaño", "tin"], "Sn", "tin"),
        (["sodium", "Natrium", "sodium", "sodio", "natrium"], "Na", "sodium"),
    ] {
        for name in names {
            for written in [format!("{name} ({symbol})"), format!("{name} {symbol}"), format!("{symbol} - {name}")] {
                let found: Vec<&str> = find_parameter_by_word(&written).iter().map(|found| found.0.as_str()).collect();
                assert_eq!(found, [code], "{written}");
                assert_ne!(
                    find_parameter_by_word(&written)[0].2.map(|unit| unit.as_str()),
                    Some("[degF]"),
                    "{written}"
                );
            }
        }
    }
    // A symbol of something else is another matter.
    assert!(find_parameter_by_word("Boron (Ca)").is_empty());
    assert_eq!(find_parameter_by_word("Temperature (F)")[0].2.map(|unit| unit.as_str()), Some("degF"));
}
