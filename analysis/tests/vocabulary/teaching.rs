//! Findings, taught bands, signs, claims and cautions.

use std::collections::HashSet;

use analysis::vocabulary::*;

fn slug(text: &str) -> TaxonSlug {
    TaxonSlug::parse(text).unwrap_or_else(|| panic!("no taxon {text}"))
}

fn code(text: &str) -> ParameterCode {
    ParameterCode::parse(text).unwrap_or_else(|| panic!("no parameter {text}"))
}

fn band(taxon: &str, parameter: &str) -> &'static TaughtBand {
    taught_band(slug(taxon), code(parameter)).unwrap_or_else(|| panic!("nothing taught on {parameter} for {taxon}"))
}

#[test]
fn every_finding_says_what_it_is() {
    let mut codes = HashSet::new();
    for kind in catalogue().findings() {
        assert!(codes.insert(kind.code), "{} stands twice", kind.code);
        assert_eq!(FindingCode::parse(kind.code.as_str()), Some(kind.code));
        assert_eq!(kind.code.get().code, kind.code);
        assert!(!kind.remedy.is_empty() && !kind.seen_when.is_empty() && !kind.scope.is_empty(), "{}", kind.code);
        match kind.severity {
            Severity::Questioned => {
                assert!(kind.question.is_some_and(|question| question.contains('?')), "{} asks nothing", kind.code);
                assert!(
                    !kind.answers.is_empty() && kind.all_answers().len() == kind.answers.len() + 2,
                    "{}",
                    kind.code
                );
                let mut own = HashSet::new();
                assert!(
                    kind.answers.iter().all(|answer| own.insert(answer.code) && !answer.label.is_empty()),
                    "{}",
                    kind.code
                );
            }
            Severity::Refused | Severity::Noted => {
                assert!(kind.message.is_some_and(|message| message.ends_with('.')), "{}", kind.code);
                assert_eq!((kind.hold, kind.propose), (Hold::Nothing, Proposal::None), "{}", kind.code);
            }
        }
        for text in
            [kind.question, kind.message].into_iter().flatten().chain(kind.answers.iter().map(|answer| answer.label))
        {
            assert_eq!(text.matches('{').count(), text.matches('}').count(), "{}: {text}", kind.code);
        }
    }
    assert_eq!(codes.len(), 113);
    let count = |severity| catalogue().findings().iter().filter(|kind| kind.severity == severity).count();
    assert_eq!((count(Severity::Refused), count(Severity::Questioned), count(Severity::Noted)), (8, 69, 36));
}

#[test]
fn sentences_are_filled_in_once() {
    let kind = FindingCode::parse("digit_shifted").expect("a finding").get();
    assert_eq!(kind.sentence(&[("written", "252"), ("value", "25.2")]), "Was 252 meant to be 25.2?");
    assert_eq!(
        kind.sentence(&[("written", "{value}"), ("value", "1")]),
        "Was {value} meant to be 1?",
        "cells are text, never marks"
    );
    assert_eq!(fill("a {b} c {d", &[("b", "x")]), "a x c {d");
    assert_eq!(fill("{unknown}", &[]), "{unknown}");
    // A death is never held back by its date.
    assert_eq!(FindingCode::parse("death_without_date").expect("a finding").get().hold, Hold::DeathDate);
    assert_eq!(FindingCode::parse("date_order_unclear").expect("a finding").get().hold, Hold::Dates);
}

#[test]
fn every_band_lies_inside_the_limits() {
    let mut rows = 0;
    for band in catalogue().bands() {
        let parameter = band.parameter.get();
        let (low, high) = (band.lower_canonical().unwrap(), band.upper_canonical().unwrap());
        assert!(
            low <= high && parameter.is_possible(low) && parameter.is_possible(high),
            "{} {}",
            band.taxon,
            band.parameter
        );
        assert_eq!(band.basis, "common practice, no source");
        assert!(!band.as_taught.is_empty());
        for (edge, canonical) in [(band.lower, low), (band.upper, high)] {
            let back = band.in_unit(canonical).unwrap();
            assert_eq!(band.contains_in_unit(back, 0.0), Place::Within, "{} {} at {edge}", band.taxon, band.parameter);
        }
        rows += 1;
    }
    assert_eq!(rows, 10 * 10);
}

/// Edges are inside; one step outside is not.
#[test]
fn edges_belong_to_the_band() {
    for (parameter, inside, outside, step) in [
        ("nitrate", vec![5.0, 15.0, 10.0], vec![4.0, 16.0], 0.5),
        ("phosphate", vec![0.03, 0.10], vec![0.02, 0.11], 0.01),
        ("alkalinity", vec![8.0, 9.5], vec![7.9, 9.6], 0.1),
    ] {
        let band = band("goniopora", parameter);
        for x in inside {
            assert_eq!(band.place(x, 0.0).unwrap(), Place::Within, "{parameter} {x}");
            assert_eq!(band.place(x, step).unwrap(), Place::Within, "{parameter} {x}");
        }
        for x in outside {
            assert_ne!(band.place(x, step).unwrap(), Place::Within, "{parameter} {x}");
        }
    }
    let temperature = band("goniopora", "temperature");
    let celsius = |fahrenheit| code("temperature").get().convert(fahrenheit, "°F", None).unwrap();
    assert_eq!(temperature.place(celsius(78.0), 0.0).unwrap(), Place::Within);
    assert_eq!(temperature.place(celsius(76.0), 0.0).unwrap(), Place::Within);
    assert_eq!(temperature.place(celsius(78.1), 0.0).unwrap(), Place::Above);
    assert_eq!(temperature.place(celsius(75.9), 0.0).unwrap(), Place::Below);
    assert!((temperature.half_step_in_unit(0.1).unwrap() - 0.09).abs() < 1e-12, "half of 0.1 °C is 0.09 °F");
    assert_eq!(temperature.contains_in_unit(78.05, 0.1), Place::Within);
    let salinity = band("goniopora", "salinity");
    let psu = |sg| code("salinity").get().convert(sg, "SG", Some("25/25")).unwrap();
    assert_eq!(salinity.place(psu(1.0265), 0.0).unwrap(), Place::Within);
    assert_eq!(salinity.place(psu(1.025), 0.0).unwrap(), Place::Within);
    assert_eq!(salinity.place(psu(1.0266), 0.0).unwrap(), Place::Above);
    assert_eq!(salinity.place(psu(1.0249), 0.0).unwrap(), Place::Below);
    assert_eq!(salinity.place(35.0, 0.0).unwrap(), Place::Within, "a true 35 belongs inside");
    assert!(salinity.place(f64::NAN, 0.0).is_err());
}

/// Salinities beside the taught gravities, and degrees Celsius beside the taught Fahrenheit; plain arithmetic over EOS-80.
#[test]
fn what_the_taught_edges_are_in_our_units() {
    let edges = |taxon, parameter| {
        let band = band(taxon, parameter);
        (band.lower_canonical().unwrap(), band.upper_canonical().unwrap())
    };
    for (taxon, parameter, low, high) in
        [("goniopora", "salinity", 33.19, 35.17), ("lps", "salinity", 32.53, 35.17), ("soft", "salinity", 31.21, 35.17)]
    {
        let (got_low, got_high) = edges(taxon, parameter);
        assert!(
            (got_low - low).abs() <= 5.1e-3 && (got_high - high).abs() <= 5.1e-3,
            "{taxon}: {got_low} to {got_high}"
        );
    }
    let (low, high) = edges("goniopora", "temperature");
    assert!((low - 24.4444).abs() <= 5.1e-5 && (high - 25.5556).abs() <= 5.1e-5);
}

#[test]
fn bands_come_from_the_nearest_row() {
    assert_eq!(band("goniopora-stokesi", "nitrate").taxon, slug("goniopora"));
    assert_eq!(band("alveopora", "par").upper, 150.0);
    assert_eq!(band("acropora-millepora", "nitrate").taxon, slug("sps"));
    assert_eq!(band("tridacna-crocea", "temperature").taxon, slug("clam"));
    assert_eq!(band("discosoma", "alkalinity").taxon, slug("mush"));
    assert_eq!(band("sps", "calcium").taxon, slug("sps"));
    assert_eq!(taught_band(slug("millepora"), code("nitrate")), None);
    assert_eq!(taught_band(slug("goniopora"), code("iodine")), None);
    assert_eq!(taught_band(slug("flo"), code("nitrate")), None, "flowerpots are taught by genus");
    let arrival = taught_arrival_light(slug("goniopora-columna")).expect("taught");
    assert_eq!((arrival.lower, arrival.upper), (50.0, 100.0));
    assert!(arrival_light_caution().contains("no source"));
    assert_eq!(taught_flow(slug("acropora")), ["swaying", "thrashing"]);
    assert!(taught_flow(slug("millepora")).is_empty());
    assert_eq!(water_in_band().len(), 5);
    for taxon in catalogue().taxa().iter().filter(|taxon| taxon.rank != Rank::Group && taxon.group != "OTHER") {
        for parameter in water_in_band() {
            assert!(taught_band(taxon.slug, *parameter).is_some(), "{} {parameter}", taxon.slug);
        }
    }
    // The edges of the flowerpot bands are cuts of the ladder, so that both partitions can be told apart.
    for parameter in ["alkalinity", "calcium", "magnesium", "nitrate", "phosphate"] {
        let band = band("goniopora", parameter);
        let ladder = &code(parameter).get().ladder;
        assert!(ladder.contains(&band.lower) && ladder.contains(&band.upper), "{parameter}");
    }
}

#[test]
fn signs_claims_and_cautions() {
    let steps = sign_steps();
    assert_eq!(steps.first().map(|step| step.code), Some("urgent"));
    assert_eq!(steps.last().map(|step| step.code), Some("rule"));
    assert_eq!(steps.len(), 13);
    assert!(steps[0].cautions.contains(&"electricity"));
    let mut codes = HashSet::new();
    for claim in claims() {
        assert!(codes.insert(claim.code) && !claim.taxa.is_empty() && !claim.outcomes.is_empty());
        assert_eq!(claim.basis, "common practice, no source");
    }
    assert_eq!(codes.len(), 15);
    for caution in cautions() {
        assert_eq!(Caution::parse(caution.code), Some(caution));
        assert!(!caution.title.is_empty() && caution.text.ends_with(['.', '"']), "{}", caution.code);
    }
    for needed in ["electricity", "power_cut", "heaters", "dosing", "toxins", "skin", "law", "data"] {
        assert!(Caution::parse(needed).is_some(), "{needed}");
    }
    assert!(Caution::parse("power_cut").is_some_and(|caution| caution.text.contains("carbon monoxide")));
}
