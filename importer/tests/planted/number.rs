//! Mistakes in numbers and units.

use importer::grid::Raw;
use serde_json::json;

use crate::Remedy;
use crate::host::{Cell, Expect, Host, Plant, Planter, Target, asked};
use crate::rewrite;

/// All of them.
pub const PLANTERS: &[Planter] = &[
    Planter { name: "Fahrenheit among Celsius", plant: fahrenheit },
    Planter { name: "Celsius among Fahrenheit", plant: celsius },
    Planter { name: "gravity without its point", plant: without_point },
    Planter { name: "gravity with a digit too few", plant: gravity_digits },
    Planter { name: "salinity among gravities", plant: salinity_among_gravities },
    Planter { name: "gravity among salinities", plant: gravity_among_salinities },
    Planter { name: "conductivity among salinities", plant: conductivity },
    Planter { name: "ppm CaCO3 among dKH", plant: carbonate },
    Planter { name: "meq/L among dKH", plant: milliequivalents },
    Planter { name: "temperature without its point", plant: |host| shifted(host, "temperature", 10.0) },
    Planter { name: "calcium with a digit too many", plant: |host| shifted(host, "calcium", 10.0) },
    Planter { name: "magnesium with a digit too few", plant: |host| shifted(host, "magnesium", 0.1) },
    Planter { name: "alkalinity without its point", plant: |host| shifted(host, "alkalinity", 10.0) },
    Planter { name: "a letter in a number", plant: letter },
    Planter { name: "ppb among ppm of phosphate", plant: ppb },
    Planter { name: "micrograms among milligrams of a trace", plant: trace_scale },
    Planter { name: "zero temperature for not tested", plant: |host| zero(host, "temperature") },
    Planter { name: "zero alkalinity for not tested", plant: |host| zero(host, "alkalinity") },
    Planter { name: "zero calcium for not tested", plant: |host| zero(host, "calcium") },
    Planter { name: "a number that cannot be", plant: impossible },
    Planter { name: "a word among numbers", plant: word },
    Planter { name: "an error value", plant: fault },
    Planter { name: "two numbers in a cell", plant: two_numbers },
    Planter { name: "a question mark behind a number", plant: doubted },
    Planter { name: "lowest and highest of a day", plant: span },
    Planter { name: "not detected, limit unknown", plant: not_detected },
    Planter { name: "trace for a number", plant: trace_word },
    Planter { name: "85 degrees of a broken probe", plant: probe_fault },
    Planter { name: "a buffer's pH", plant: buffer },
    Planter { name: "unit of another scale in the cell (read)", plant: unit_in_cell },
    Planter { name: "about a number (read)", plant: about },
    Planter { name: "the other decimal mark (read)", plant: other_mark },
    Planter { name: "blanks and typographic signs in a number (read)", plant: typographic },
    Planter { name: "a row twice (read once)", plant: row_twice },
    Planter { name: "a row twice with another value", plant: row_conflict },
    Planter { name: "a range that became a date", plant: became_date },
    Planter { name: "calcium hardness as CaCO3", plant: calcium_hardness },
    Planter { name: "% saturation without T and S", plant: saturation },
    Planter { name: "a column nobody can name", plant: unknown_column },
    Planter { name: "an undated row of means", plant: summary },
    Planter { name: "gallons", plant: gallons },
];

fn celsius_column<'h>(host: &'h Host) -> Option<Target<'h>> {
    host.target("temperature", 4, |target| target.in_own_unit() && (20.0..30.0).contains(&target.written))
}

fn fahrenheit(host: &Host) -> Option<Plant> {
    let target = celsius_column(host)?;
    let raw = target.number(target.value() * 1.8 + 32.0, 1);
    Some(target.plant(raw, asked(&["fahrenheit_or_celsius"]))?.slack(0.005))
}

fn celsius(host: &Host) -> Option<Plant> {
    let target = host.target("temperature", 4, |target| (68.0..88.0).contains(&target.written))?;
    let raw = target.number(target.value(), 1);
    Some(target.plant(raw, asked(&["fahrenheit_or_celsius"]))?.slack(0.005))
}

fn gravities(host: &Host) -> Option<Target<'_>> {
    let all = host.series("salinity", 3)?;
    let plain = |target: &Target<'_>| (target.written * 1000.0).round() / 1000.0 == target.written;
    let gravities = all.iter().all(|target| (1.015..1.035).contains(&target.written));
    all.into_iter().rev().find(plain).filter(|_| gravities)
}

fn without_point(host: &Host) -> Option<Plant> {
    let target = gravities(host)?;
    target.plant(target.number(target.written * 1000.0, 0), asked(&["gravity_without_point"]))
}

fn gravity_digits(host: &Host) -> Option<Plant> {
    let target = gravities(host)?;
    target.plant(target.number(1.0 + (target.written - 1.0) * 10.0, 2), asked(&["gravity_digits"]))
}

fn salinity_among_gravities(host: &Host) -> Option<Plant> {
    let target = host.target("salinity", 4, |target| (1.015..1.035).contains(&target.written))?;
    let expect = Expect::Ask { codes: &["gravity_or_salinity"], answer: Remedy::Proposed, restores: false };
    target.plant(target.number(35.0, 0), expect)
}

fn salinities<'h>(host: &'h Host) -> Option<Target<'h>> {
    host.target("salinity", 4, |target| target.in_own_unit() && (30.0..38.0).contains(&target.written))
}

fn gravity_among_salinities(host: &Host) -> Option<Plant> {
    let target = salinities(host)?;
    let expect = Expect::Ask { codes: &["gravity_or_salinity"], answer: Remedy::Proposed, restores: false };
    Some(target.plant(target.number(1.026, 3), expect)?.also(&["gravity_reference_missing"]))
}

fn conductivity(host: &Host) -> Option<Plant> {
    let target = salinities(host)?;
    let expect = Expect::Ask { codes: &["conductivity_in_salinity"], answer: Remedy::Proposed, restores: false };
    target.plant(target.number(53.1, 1), expect)
}

fn hardness<'h>(host: &'h Host) -> Option<Target<'h>> {
    host.target("alkalinity", 4, |target| target.in_own_unit() && (6.0..13.0).contains(&target.written))
}

fn carbonate(host: &Host) -> Option<Plant> {
    let target = hardness(host)?;
    let raw = target.number(target.value() * 17.847959056, 0);
    Some(target.plant(raw, asked(&["alkalinity_unit"]))?.slack(0.01))
}

fn milliequivalents(host: &Host) -> Option<Plant> {
    let target = hardness(host)?;
    let raw = target.number(target.value() / 2.80385, 2);
    Some(target.plant(raw, asked(&["alkalinity_unit"]))?.slack(0.01))
}

fn shifted(host: &Host, parameter: &str, factor: f64) -> Option<Plant> {
    let target = host.target(parameter, 5, |target| target.in_own_unit())?;
    // A digit more or less is another number; a point left out needs a decimal.
    let decimals = match parameter {
        "temperature" | "alkalinity" if target.decimals() == 1 => 0,
        "calcium" | "magnesium" if target.decimals() == 0 => usize::from(factor < 1.0),
        _ => return None,
    };
    target.plant(target.number(target.written * factor, decimals), asked(&["digit_shifted"]))
}

fn letter(host: &Host) -> Option<Plant> {
    let holds = |target: &Target<'_>| target.reading.written.contains('0');
    let target = ["alkalinity", "temperature", "nitrate", "calcium", "salinity", "phosphate"]
        .iter()
        .find_map(|parameter| host.series(parameter, 3)?.into_iter().rev().find(holds))?;
    let text = target.reading.written.replacen('0', "O", 1);
    target.plant_text(text, asked(&["letter_in_number"]))
}

fn ppb(host: &Host) -> Option<Plant> {
    let target = host.target("phosphate", 4, |target| target.in_own_unit() && target.written >= 0.005)?;
    let expect = Expect::Ask { codes: &["phosphate_scale"], answer: Remedy::Proposed, restores: false };
    target.plant(target.number((target.value() * 1000.0).max(5.0), 0), expect)
}

fn trace_scale(host: &Host) -> Option<Plant> {
    let target = ["iodine", "iron", "manganese"]
        .iter()
        .find_map(|parameter| host.target(parameter, 3, |target| target.in_own_unit() && target.written >= 0.006))?;
    let expect = Expect::Ask { codes: &["trace_scale"], answer: Remedy::Proposed, restores: true };
    target.plant(target.number(target.value() * 1000.0, 0), expect).map(|plant| plant.slack(0.05))
}

fn zero(host: &Host, parameter: &str) -> Option<Plant> {
    let target = host.target(parameter, 3, |_| true)?;
    let expect = Expect::Ask { codes: &["zero_not_possible"], answer: Remedy::Proposed, restores: false };
    target.plant(target.number(0.0, 0), expect)
}

fn any<'h>(host: &'h Host) -> Option<Target<'h>> {
    ["alkalinity", "nitrate", "calcium", "magnesium", "temperature", "phosphate", "ph", "salinity"]
        .iter()
        .find_map(|parameter| host.target(parameter, 2, |_| true))
}

fn impossible(host: &Host) -> Option<Plant> {
    let target = any(host)?;
    target.plant(target.number(7_654_321.0, 0), Expect::Refuse(&["outside_limits"]))
}

fn word(host: &Host) -> Option<Plant> {
    any(host)?.plant_text("forgot", Expect::Refuse(&["word_in_numbers"]))
}

fn fault(host: &Host) -> Option<Plant> {
    any(host)?.plant_text("#DIV/0!", Expect::Refuse(&["formula_error"]))
}

fn two_numbers(host: &Host) -> Option<Plant> {
    let target = hardness(host)?;
    let (first, second) = (target.text(target.written, 1), target.text(target.written + 0.2, 1));
    let expect = Expect::Ask { codes: &["two_numbers"], answer: Remedy::Choice("two_tests", None), restores: false };
    target.plant_text(format!("{first} / {second}"), expect)
}

fn doubted(host: &Host) -> Option<Plant> {
    let target = any(host)?;
    target.plant_text(format!("{}?", target.reading.written), asked(&["number_doubted"]))
}

fn span(host: &Host) -> Option<Plant> {
    let target = celsius_column(host)?;
    let text = format!("{}–{}", target.text(target.written - 0.3, 1), target.text(target.written + 0.4, 1));
    let expect =
        Expect::Ask { codes: &["span_or_interval"], answer: Remedy::Choice("interval", None), restores: false };
    target.plant_text(text, expect)
}

fn limited<'h>(host: &'h Host) -> Option<Target<'h>> {
    ["nitrate", "phosphate", "nitrite", "ammonia"]
        .iter()
        .find_map(|parameter| host.target(parameter, 3, |target| target.in_own_unit()))
}

fn not_detected(host: &Host) -> Option<Plant> {
    let target = limited(host)?;
    let expect =
        Expect::Ask { codes: &["limit_missing"], answer: Remedy::Needing("number", json!(0.2)), restores: false };
    target.plant_text("n.d.", expect)
}

fn trace_word(host: &Host) -> Option<Plant> {
    let target = limited(host)?;
    let expect = Expect::Ask { codes: &["trace_word"], answer: Remedy::Choice("leave_out", None), restores: false };
    target.plant_text("trace", expect)
}

fn probe_fault(host: &Host) -> Option<Plant> {
    let target = celsius_column(host)?;
    let expect = Expect::Ask { codes: &["probe_fault"], answer: Remedy::Proposed, restores: false };
    target.plant(target.number(85.0, 1), expect)
}

fn buffer(host: &Host) -> Option<Plant> {
    let target = host.target("ph", 4, |target| target.decimals() == 2 && target.written > 7.5)?;
    let expect = Expect::Ask { codes: &["probe_fault"], answer: Remedy::Proposed, restores: false };
    target.plant(target.number(7.0, 2), expect)
}

fn unit_in_cell(host: &Host) -> Option<Plant> {
    let target = celsius_column(host)?;
    let text = format!("{} °F", target.text(target.value() * 1.8 + 32.0, 1));
    Some(target.plant_text(text, Expect::Same)?.slack(0.005))
}

fn about(host: &Host) -> Option<Plant> {
    let target = any(host)?;
    target.plant_text(format!("ca. {}", target.reading.written), Expect::Same)
}

fn other_mark(host: &Host) -> Option<Plant> {
    let target = celsius_column(host).filter(|target| target.decimals() == 1)?;
    let text = &target.reading.written;
    let other = if text.contains(',') { text.replace(',', ".") } else { text.replace('.', ",") };
    target.plant_text(other, Expect::Same)
}

fn typographic(host: &Host) -> Option<Plant> {
    let target = any(host)?;
    let wide: String = target
        .reading
        .written
        .chars()
        .map(|letter| match letter {
            '0'..='9' => char::from_u32('０' as u32 + letter as u32 - '0' as u32).unwrap(),
            other => other,
        })
        .collect();
    target.plant_text(format!("\u{a0}{wide}\u{2009}"), Expect::Same)
}

/// The whole row of a reading again right below it; other rows go down by one.
fn doubled<'h>(host: &'h Host, target: &Target<'h>) -> Plant {
    let (sheet, row, _) = target.place;
    let mut grids = host.grids.clone();
    let cells = grids[sheet].rows.iter().find(|own| own.number == row).unwrap().cells.clone();
    rewrite::insert_row(&mut grids, sheet, row + 1);
    for cell in cells {
        rewrite::put(&mut grids, sheet, row + 1, cell.column, Some(cell.raw));
    }
    Plant {
        grids,
        cells: Vec::new(),
        expect: Expect::Same,
        context: None,
        slack: 1e-9,
        also: &[],
        changes: &["event", "sighting"],
    }
}

/// A reading whose date stands in its own row.
fn dated_in_row<'h>(host: &'h Host) -> Option<Target<'h>> {
    any(host).filter(|target| {
        let place = &target.reading.place;
        place.cells.iter().any(|cell| cell.role == "date" && cell.row == place.row)
            && !host.outcome.records.iter().any(|record| {
                !matches!(record, importer::record::Record::Reading(_))
                    && record.place().row == place.row
                    && record.place().sheet == place.sheet
                    && !matches!(record, importer::record::Record::Tank(_))
            })
    })
}

fn row_twice(host: &Host) -> Option<Plant> {
    Some(doubled(host, &dated_in_row(host)?))
}

fn row_conflict(host: &Host) -> Option<Plant> {
    let target = dated_in_row(host)?;
    let mut plant = doubled(host, &target);
    let (sheet, row, column) = target.place;
    let raw = target.number(target.written * 1.05 + 0.1, target.decimals().max(1));
    rewrite::put(&mut plant.grids, sheet, row + 1, column, raw);
    plant.cells = vec![(sheet, row + 1, column)];
    plant.expect =
        Expect::Ask { codes: &["row_conflict"], answer: Remedy::Choice("second_wrong", None), restores: true };
    Some(plant)
}

fn became_date(host: &Host) -> Option<Plant> {
    let target = ["nitrate", "alkalinity", "calcium"].iter().find_map(|code| host.target(code, 3, |_| true))?;
    if !matches!(host.at(target.place)?, Raw::Number(_)) {
        return None;
    }
    let day = chrono::NaiveDate::from_ymd_opt(2025, 10, 5)?.and_hms_opt(0, 0, 0)?;
    let expect = Expect::Ask { codes: &["number_became_date"], answer: Remedy::Proposed, restores: false };
    target.plant(Some(Raw::Date(day)), expect)
}

fn calcium_hardness(host: &Host) -> Option<Plant> {
    let series = host.series("calcium", 4)?;
    if !series.iter().all(|target| target.in_own_unit() && (360.0..480.0).contains(&target.written)) {
        return None;
    }
    // The whole column, as its kit shows it.
    let all = host.outcome.records.iter().filter(
        |record| matches!(record, importer::record::Record::Reading(reading) if reading.parameter.as_str() == "calcium"),
    );
    if all.count() != series.len() {
        return None;
    }
    let mut grids = host.grids.clone();
    for target in &series {
        let raw = target.number(target.value() / 0.400435625, 0);
        rewrite::put(&mut grids, target.place.0, target.place.1, target.place.2, raw);
    }
    let cells = series.iter().map(|target| target.place).collect();
    let expect = asked(&["calcium_as_carbonate"]);
    Some(Plant { grids, cells, expect, context: None, slack: 0.005, also: &[], changes: &[] })
}

fn saturation(host: &Host) -> Option<Plant> {
    let target = host.target("oxygen", 2, |target| target.in_own_unit())?;
    let expect =
        Expect::Ask { codes: &["saturation_alone"], answer: Remedy::Choice("leave_out", None), restores: false };
    // With both in the row it converts.
    let row = target.place.1;
    let same_row = |code: &str| {
        host.outcome.records.iter().any(|record| {
            matches!(record, importer::record::Record::Reading(reading)
                if reading.parameter.as_str() == code && reading.place.row == row)
        })
    };
    if same_row("temperature") && same_row("salinity") {
        return None;
    }
    target.plant_text("98 %", expect)
}

/// The header over a reading: the nearest text above that names a quantity.
fn header_of(host: &Host, place: Cell) -> Option<Cell> {
    (1..place.1).rev().map(|row| (place.0, row, place.2)).find(
        |above| matches!(host.at(*above), Some(Raw::Text(text)) if !importer::meaning::quantities(text).is_empty()),
    )
}

/// The same header stands in another row too.
fn header_again(host: &Host, header: Cell) -> bool {
    let Some(text) = host.at(header).map(Raw::written) else { return false };
    host.grids[header.0]
        .rows
        .iter()
        .any(|row| row.number != header.1 && row.at(header.2).is_some_and(|raw| raw.written() == text))
}

fn unknown_column(host: &Host) -> Option<Plant> {
    let target = ["nitrate", "calcium", "magnesium"]
        .iter()
        .find_map(|code| host.target(code, 4, |target| target.in_own_unit()))?;
    let header = header_of(host, target.place)?;
    // Only where one header serves one column of one table.
    if host.outcome.about.layouts != ["wide"]
        || host.series(target.reading.parameter.as_str(), 4)?.iter().any(|own| own.place.2 != target.place.2)
    {
        return None;
    }
    let alone = host.outcome.records.iter().all(|record| match record {
        importer::record::Record::Reading(reading) => {
            reading.place.column != header.2 || reading.parameter == target.reading.parameter
        }
        _ => true,
    });
    let all_plain = host.outcome.records.iter().all(|record| match record {
        importer::record::Record::Reading(reading) if reading.place.column == header.2 => {
            crate::host::plain(&reading.written).is_some()
        }
        _ => true,
    });
    let Some(Raw::Text(text)) = host.at(header) else { return None };
    if header_again(host, header) {
        return None;
    }
    if !alone || !all_plain || text.contains('(') && text.contains("NO3-N") {
        return None;
    }
    let expect = Expect::Ask {
        codes: &["column_unknown"],
        answer: Remedy::Needing("parameter", json!(target.reading.parameter.as_str())),
        restores: true,
    };
    let mut plant = Plant::cell(host, header, Some(Raw::Text("Zorg".to_owned())), expect);
    plant.cells = vec![target.place];
    Some(plant)
}

fn summary(host: &Host) -> Option<Plant> {
    let target = dated_in_row(host)?;
    if header_of(host, target.place).is_none_or(|header| header_again(host, header)) {
        return None;
    }
    // Means of what is in doubt are no means of what was read.
    let doubts = host.outcome.findings.iter().any(|finding| finding.severity != importer::finding::Severity::Noted);
    if host.outcome.about.layouts != ["wide"] || host.grids.len() > 1 || doubts {
        return None;
    }
    // Means of all columns below the last row, where nothing follows.
    let last = host.grids[target.place.0].rows.last()?.number;
    let mut sums: std::collections::BTreeMap<u32, (f64, u32)> = Default::default();
    let mut last_row = 0;
    for record in &host.outcome.records {
        let importer::record::Record::Reading(reading) = record else { continue };
        last_row = last_row.max(reading.place.row);
        let Some(value) = crate::host::plain(&reading.written) else { continue };
        let sum = sums.entry(reading.place.column).or_default();
        *sum = (sum.0 + value, sum.1 + 1);
    }
    if last_row != last || sums.len() < 2 || sums.values().any(|(_, count)| *count < 3) {
        return None;
    }
    let mut grids = host.grids.clone();
    let mut cells = Vec::new();
    for (column, (sum, count)) in sums {
        let place = (target.place.0, last + 1, column);
        rewrite::put(&mut grids, place.0, place.1, place.2, target.number(sum / f64::from(count), 3));
        cells.push(place);
    }
    let expect = Expect::Ask { codes: &["summary_unclear"], answer: Remedy::Proposed, restores: true };
    Some(Plant { grids, cells, expect, context: None, slack: 1e-9, also: &[], changes: &[] })
}

fn gallons(host: &Host) -> Option<Plant> {
    let event = host.outcome.records.iter().find_map(|record| match record {
        importer::record::Record::Event(event)
            if event.event == "water_change" && event.amount.is_some() && event.place.column > 0 =>
        {
            Some(event)
        }
        _ => None,
    })?;
    let place = (host.sheet(event.place.sheet.as_deref()), event.place.row, event.place.column);
    // A litre column says its unit in its header.
    if !event.written.chars().any(|letter| letter.is_ascii_alphabetic()) {
        return None;
    }
    let expect = Expect::Ask { codes: &["gallon_kind"], answer: Remedy::Choice("us", None), restores: false };
    Some(Plant::cell(host, place, Some(Raw::Text("5 gal".to_owned())), expect))
}
