//! Mistakes in days, and in the tank that a row names.

use chrono::{Datelike, NaiveDate};
use importer::context::KnownTank;
use importer::grid::Raw;
use importer::record::{CellRef, Record};
use serde_json::json;

use crate::Remedy;
use crate::host::{Cell, Expect, Host, Plant, Planter, asked};
use crate::rewrite;

/// All of them.
pub const PLANTERS: &[Planter] = &[
    Planter { name: "a day that no calendar has", plant: impossible },
    Planter { name: "a day that has not come", plant: future },
    Planter { name: "a date one year behind", plant: year_behind },
    Planter { name: "words for a day", plant: words },
    Planter { name: "a row without its day", plant: missing },
    Planter { name: "days without a year", plant: no_year },
    Planter { name: "days as numbers of a spreadsheet", plant: serials },
    Planter { name: "month first from the middle on", plant: mixed },
    Planter { name: "a tank's name misspelt", plant: tank_near },
];

/// A cell that holds the one day of its row, with the order of its parts.
#[derive(Clone)]
struct Dated {
    place: Cell,
    text: String,
    day: NaiveDate,
}

/// Text cells with a day in three numbers, each the day of readings, top to bottom in one column.
fn dates(host: &Host, least: usize) -> Option<Vec<Dated>> {
    let mut columns: std::collections::BTreeMap<(usize, u32), std::collections::BTreeMap<u32, Dated>> =
        Default::default();
    for record in &host.outcome.records {
        let Record::Reading(reading) = record else { continue };
        for cell in reading.place.cells.iter().filter(|cell| cell.role == "date") {
            let place = (host.sheet(cell.sheet.as_deref()), cell.row, cell.column);
            let Some(Raw::Text(text)) = host.at(place) else { continue };
            if parts(text).is_none() || host.doubted(cell.sheet.as_deref(), cell.row, cell.column) {
                continue;
            }
            let dated = Dated { place, text: text.clone(), day: reading.taken.on };
            columns.entry((place.0, cell.column)).or_default().insert(cell.row, dated);
        }
    }
    columns
        .into_values()
        .map(|rows| rows.into_values().collect::<Vec<_>>())
        .max_by_key(Vec::len)
        .filter(|rows| rows.len() >= least)
}

/// The three numbers of "05/02/2024" with what stands between them.
fn parts(text: &str) -> Option<([&str; 3], char)> {
    let text = text.trim();
    let mark = text.chars().find(|letter| matches!(letter, '/' | '.' | '-'))?;
    let parts: Vec<&str> = text.split(mark).collect();
    let [a, b, c] = parts[..] else { return None };
    let digits = |part: &str| !part.is_empty() && part.len() <= 4 && part.bytes().all(|byte| byte.is_ascii_digit());
    ([a, b, c].iter().all(|part| digits(part)) && [a, c].iter().any(|part| part.len() == 4))
        .then_some(([a, b, c], mark))
}

/// A day written as the cell writes its own.
fn written_like(dated: &Dated, day: (i32, u32, u32)) -> Option<String> {
    let ([a, b, c], mark) = parts(&dated.text)?;
    let own = dated.day;
    let wide = |part: &str, number: u32| if part.len() == 2 { format!("{number:02}") } else { number.to_string() };
    let (year, month, number) = day;
    Some(if a.len() == 4 {
        format!("{year}{mark}{}{mark}{}", wide(b, month), wide(c, number))
    } else if a.parse() == Ok(own.day()) && b.parse() == Ok(own.month()) && !month_first_like(dated) {
        format!("{}{mark}{}{mark}{year}", wide(a, number), wide(b, month))
    } else {
        format!("{}{mark}{}{mark}{year}", wide(a, month), wide(b, number))
    })
}

/// The first number is the month and not the day.
fn month_first_like(dated: &Dated) -> bool {
    parts(&dated.text)
        .is_some_and(|([a, b, _], _)| a.parse() == Ok(dated.day.month()) && b.parse() == Ok(dated.day.day()) && a != b)
}

/// A date from the middle; not one that may be the only proof of the order.
fn middle(dates: &[Dated]) -> &Dated {
    let half = dates.len() / 2;
    dates[half..].iter().chain(&dates[..half]).find(|dated| dated.day.day() <= 12).unwrap_or(&dates[half])
}

fn needing_day(dated: &Dated) -> Remedy {
    Remedy::Needing("day", json!(dated.day.to_string()))
}

fn whole(host: &Host, dated: &Dated, text: Option<String>, expect: Expect) -> Plant {
    Plant::cell(host, dated.place, text.map(Raw::Text), expect).changes(&["ending", "specimen", "stay", "routine"])
}

fn impossible(host: &Host) -> Option<Plant> {
    let dates = dates(host, 3)?;
    let dated = middle(&dates);
    let text = written_like(dated, (dated.day.year(), 2, 31))?;
    let expect = Expect::Ask { codes: &["date_impossible"], answer: needing_day(dated), restores: true };
    Some(whole(host, dated, Some(text), expect))
}

fn future(host: &Host) -> Option<Plant> {
    let dates = dates(host, 3)?;
    let dated = middle(&dates);
    let today = host.context.today?;
    let text = written_like(dated, (today.year() + 3, dated.day.month(), dated.day.day().min(28)))?;
    let expect = Expect::Ask { codes: &["date_in_future"], answer: needing_day(dated), restores: true };
    Some(whole(host, dated, Some(text), expect))
}

fn year_behind(host: &Host) -> Option<Plant> {
    let dates = dates(host, 6)?;
    let rising = dates.windows(2).all(|pair| pair[0].day <= pair[1].day);
    let dated = middle(&dates);
    let first = dates.first()?.day;
    // Among dates that span years a year behind may be a day like others.
    if !rising || (dates.last()?.day - first).num_days() > 250 || dated.day == NaiveDate::from_ymd_opt(2024, 2, 29)? {
        return None;
    }
    let text = written_like(dated, (dated.day.year() - 1, dated.day.month(), dated.day.day()))?;
    Some(whole(host, dated, Some(text), asked(&["date_out_of_order"])))
}

fn words(host: &Host) -> Option<Plant> {
    let dates = dates(host, 3)?;
    let dated = middle(&dates);
    let expect = Expect::Ask { codes: &["date_unreadable"], answer: needing_day(dated), restores: true };
    Some(whole(host, dated, Some("on holiday".to_owned()), expect))
}

/// Every row between the first and the last date of the column has one.
fn full(host: &Host, dates: &[Dated]) -> bool {
    let (sheet, first, column) = dates[0].place;
    let last = dates[dates.len() - 1].place.1;
    let rows = host.grids[sheet].rows.iter().filter(|row| (first..=last).contains(&row.number));
    let mut days = std::collections::BTreeSet::new();
    rows.clone().all(|row| row.at(column).is_some()) && dates.iter().all(|dated| days.insert(dated.day))
}

fn missing(host: &Host) -> Option<Plant> {
    let dates = dates(host, 5).filter(|dates| full(host, dates))?;
    let dated = middle(&dates);
    let expect = Expect::Ask { codes: &["date_missing"], answer: needing_day(dated), restores: true };
    let mut plant = whole(host, dated, None, expect);
    // The question is about the row's other cells.
    plant.cells = Vec::new();
    Some(plant)
}

/// All cells of the column of dates, whatever record they date.
fn column(host: &Host, dates: &[Dated]) -> Option<Vec<(CellRef, NaiveDate)>> {
    let (sheet, _, column) = dates[0].place;
    let mut all: std::collections::BTreeMap<u32, (CellRef, NaiveDate)> = Default::default();
    for dated in dates {
        let cell = CellRef { sheet: None, row: dated.place.1, column, role: String::new() };
        all.insert(dated.place.1, (cell, dated.day));
    }
    // Cells that look like days and are no reading's are not known well enough to be rewritten.
    let known = host.grids[sheet]
        .rows
        .iter()
        .filter_map(|row| match row.at(column) {
            Some(Raw::Text(text)) if parts(text).is_some() => Some(row.number),
            _ => None,
        })
        .all(|row| all.contains_key(&row));
    // Dates of one table: no title and no header between them.
    let last = dates[dates.len() - 1].place.1;
    let whole = host.grids[sheet]
        .rows
        .iter()
        .filter(|row| (dates[0].place.1..=last).contains(&row.number))
        .all(|row| matches!(row.at(column), Some(Raw::Text(text)) if parts(text).is_some()));
    let one_clock = host.outcome.records.iter().all(|record| match record {
        Record::Reading(reading) => reading.taken.time.is_none(),
        _ => true,
    });
    (known && whole && one_clock && host.grids.len() == 1).then(|| all.into_values().collect())
}

fn rewritten(host: &Host, dates: &[Dated], write: impl Fn(&Dated) -> Option<Raw>, expect: Expect) -> Option<Plant> {
    column(host, dates)?;
    let mut grids = host.grids.clone();
    for dated in dates {
        rewrite::put(&mut grids, dated.place.0, dated.place.1, dated.place.2, Some(write(dated)?));
    }
    let cells = dates.iter().map(|dated| dated.place).collect();
    Some(Plant {
        grids,
        cells,
        expect,
        context: None,
        slack: 1e-9,
        also: &[],
        changes: &["ending", "specimen", "stay", "routine"],
    })
}

fn no_year(host: &Host) -> Option<Plant> {
    let dates = dates(host, 4)?;
    let year = dates[0].day.year();
    let iso = parts(&dates[0].text)?.0[0].len() == 4;
    // A title that names the year answers the question itself.
    let titled = host.grids[0].rows.iter().any(|row| {
        row.number < dates[0].place.1 && row.cells.iter().any(|cell| cell.raw.written().contains(&year.to_string()))
    });
    let month_first = dates.iter().any(month_first_like);
    let proved = dates.iter().any(|dated| dated.day.day() > 12);
    if iso || titled || month_first || !proved || dates.iter().any(|dated| dated.day.year() != year) {
        return None;
    }
    let write = |dated: &Dated| {
        let ([a, b, _], mark) = parts(&dated.text)?;
        // "5.2." is a day; "5.2" would be a number.
        Some(Raw::Text(if mark == '.' { format!("{a}.{b}.") } else { format!("{a}{mark}{b}") }))
    };
    let expect =
        Expect::Ask { codes: &["date_year_missing"], answer: Remedy::Needing("number", json!(year)), restores: true };
    rewritten(host, &dates, write, expect)
}

fn serials(host: &Host) -> Option<Plant> {
    let dates = dates(host, 4)?;
    let zero = NaiveDate::from_ymd_opt(1899, 12, 30)?;
    let write = |dated: &Dated| Some(Raw::Text((dated.day - zero).num_days().to_string()));
    rewritten(host, &dates, write, asked(&["date_number"]))
}

fn mixed(host: &Host) -> Option<Plant> {
    let dates = dates(host, 8)?;
    let day_first = |dated: &Dated| {
        parts(&dated.text)
            .is_some_and(|([a, b, _], _)| a.parse() == Ok(dated.day.day()) && b.parse() == Ok(dated.day.month()))
    };
    let half = dates.len() / 2;
    let proved = |dates: &[Dated]| dates.iter().any(|dated| dated.day.day() > 12);
    let rising = dates.windows(2).all(|pair| pair[0].day <= pair[1].day);
    // The first of the later half must prove its order, or the rows above would be taken for its neighbours.
    if !dates.iter().all(day_first) || !proved(&dates[..half]) || !rising {
        return None;
    }
    let from = (half..dates.len()).find(|at| dates[*at].day.day() > 12)?;
    let write = |dated: &Dated| {
        let ([a, b, c], mark) = parts(&dated.text)?;
        let later = dated.place.1 >= dates[from].place.1;
        Some(Raw::Text(if later { format!("{b}{mark}{a}{mark}{c}") } else { dated.text.clone() }))
    };
    let mut plant = rewritten(host, &dates, write, asked(&["date_order_mixed"]))?;
    plant.cells = dates[from..].iter().map(|dated| dated.place).collect();
    Some(plant)
}

/// A name with one letter dropped.
pub fn misspelt(name: &str) -> Option<String> {
    let at = name.char_indices().nth(2)?.0;
    let mut name = name.to_owned();
    name.remove(at);
    Some(name)
}

fn tank_near(host: &Host) -> Option<Plant> {
    let cells = host.outcome.records.iter().filter_map(|record| {
        let Record::Reading(reading) = record else { return None };
        let cell = reading.place.cells.iter().find(|cell| cell.role == "tank")?;
        Some((cell, reading.tank.clone()?))
    });
    let cells: Vec<(&CellRef, String)> = cells
        .filter(|(cell, tank)| {
            let place = (host.sheet(cell.sheet.as_deref()), cell.row, cell.column);
            tank.chars().count() >= 5
                && tank.chars().all(char::is_alphabetic)
                && matches!(host.at(place), Some(Raw::Text(text)) if text.trim() == tank)
        })
        .collect();
    let (cell, tank) = cells.get(cells.len() / 2)?;
    let place = (host.sheet(cell.sheet.as_deref()), cell.row, cell.column);
    let mut context = host.context.clone();
    context.keeper_known = true;
    for known in host.outcome.records.iter().filter_map(|record| match record {
        Record::Tank(known) => Some(&known.name),
        _ => None,
    }) {
        if !context.tanks.iter().any(|own| own.name == *known) {
            context.tanks.push(KnownTank { name: known.clone(), aliases: Vec::new() });
        }
    }
    let near = misspelt(tank)?;
    let mut plant = Plant::cell(host, place, Some(Raw::Text(near)), asked(&["tank_name_near"]));
    plant.context = Some(context);
    plant.changes = &["tank", "routine"];
    Some(plant)
}
