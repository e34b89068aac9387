//! The day of a table whose rows name none: the sampling day of a laboratory's report, or the one day in its titles.
//! The day of the report, of receipt or of analysis is not the day of the sample.

use analysis::vocabulary::text::words;

use crate::canonical::date_column::{DayOf, Known};
use crate::canonical::{Cells, View, Work};
use crate::cell::date::{Order, Said, date};
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::grid::Raw;
use crate::layout::{Placed, Table};

/// Words for the day on which water was taken.
const SAMPLED: &[&str] = &[
    "sample",
    "sampled",
    "sampling",
    "taken",
    "drawn",
    "probe",
    "probenahme",
    "probenahmedatum",
    "entnahme",
    "entnommen",
    "prelevement",
    "preleve",
    "echantillon",
    "echantillonnage",
    "muestra",
    "muestreo",
    "toma",
    "tomada",
    "monster",
    "monstername",
    "afname",
    "genomen",
];
/// Words for other days of a report.
const OTHER: &[&str] = &[
    "report",
    "reported",
    "received",
    "receipt",
    "arrival",
    "analysis",
    "analysed",
    "analyzed",
    "printed",
    "issued",
    "bericht",
    "berichtsdatum",
    "eingang",
    "eingegangen",
    "analyse",
    "analysedatum",
    "gedruckt",
    "rapport",
    "recu",
    "reception",
    "imprime",
    "informe",
    "recibido",
    "recepcion",
    "analisis",
    "verslag",
    "ontvangen",
    "ontvangst",
    "geanalyseerd",
    "verzonden",
];

fn has(words_of: &[String], list: &[&str]) -> bool {
    words_of.iter().any(|word| list.contains(&word.as_str()))
}

/// Whether a word names the day on which water was taken.
pub(crate) fn is_sampling(text: &str) -> bool {
    has(&words(text), SAMPLED)
}

/// A day in a text, with what stands before it.
fn day_in(text: &str) -> Option<(String, Said, String)> {
    let whole = date(text).said;
    if is_day(&whole) {
        return Some((String::new(), whole, text.to_owned()));
    }
    // "sampled 2025-02-08", "Date of sample: 8. Februar 2025".
    let starts = text.char_indices().filter(|(at, letter)| {
        letter.is_ascii_digit() && (*at == 0 || !text[..*at].ends_with(|before: char| before.is_alphanumeric()))
    });
    for (at, _) in starts {
        let rest = text[at..].trim_end_matches([')', '.', ',', ';', ' ']);
        let said = date(rest).said;
        if is_day(&said) {
            return Some((text[..at].to_owned(), said, rest.to_owned()));
        }
    }
    None
}

fn is_day(said: &Said) -> bool {
    matches!(said, Said::Day(_) | Said::Numeric(_))
}

struct Stated {
    said: Said,
    written: String,
    spot: Spot,
    sampled: bool,
    other: bool,
}

/// The day that the titles of a table, or of the report it belongs to, state for all of its rows.
pub(crate) fn of(work: &mut Work, view: &View) -> Option<(DayOf, Cells)> {
    in_titles(work, view, view.table).or_else(|| in_titles(work, view, view.head?))
}

fn in_titles(work: &mut Work, view: &View, table: &Table) -> Option<(DayOf, Cells)> {
    let mut stated: Vec<Stated> = Vec::new();
    let titles: Vec<&Placed> = table.titles.iter().collect();
    for (at, title) in titles.iter().enumerate() {
        let (before, said, written) = match &title.raw {
            Raw::Date(day) => (String::new(), Said::Day(day.date()), title.raw.written()),
            Raw::Text(text) => match day_in(text) {
                Some(found) => found,
                None => continue,
            },
            _ => continue,
        };
        let said_before = at
            .checked_sub(1)
            .map(|before| titles[before])
            .filter(|other| table.place(other.row, other.column).0 == table.place(title.row, title.column).0)
            .map(|other| other.raw.written())
            .unwrap_or_default();
        let told = words(&format!("{said_before} {before}"));
        stated.push(Stated {
            said,
            written,
            spot: view.spot(title.row, title.column),
            sampled: has(&told, SAMPLED) && !has(&told, OTHER),
            other: has(&told, OTHER),
        });
    }
    let sampled: Vec<&Stated> = stated.iter().filter(|one| one.sampled).collect();
    let plain: Vec<&Stated> = stated.iter().filter(|one| !one.sampled && !one.other).collect();
    let one = match (sampled.as_slice(), plain.as_slice()) {
        ([one], _) | ([], [one]) => *one,
        _ => return None,
    };
    let cells: Cells = vec![(one.spot, "date")];
    let known = |order: Order| {
        let (earliest, latest) = one.said.days(order)?;
        earliest
            .filter(|earliest| *earliest == latest)
            .map(|day| DayOf::Known(Known { earliest: Some(day), latest: day, clock: None }))
    };
    let (first, second) = (known(Order::DayFirst), known(Order::MonthFirst));
    if first == second || second.is_none() {
        return first.map(|day| (day, cells));
    }
    if first.is_none() {
        return second.map(|day| (day, cells));
    }
    // Another day of the report may prove how days are written in it.
    let proofs: Vec<Order> =
        stated.iter().flat_map(|one| one.said.numerics()).filter_map(|numeric| numeric.proves()).collect();
    let proved = proofs.first().copied().filter(|first| proofs.iter().all(|proof| proof == first));
    if let Some(order) = work.order.or(proved) {
        return known(order).map(|day| (day, cells));
    }
    let about = "title";
    match work.desk.ask("date_order_unclear", about) {
        Settled::Choice("day_first", _) => first.map(|day| (day, cells)),
        Settled::Choice("month_first", _) => second.map(|day| (day, cells)),
        _ => {
            let spoken = |day: &Option<DayOf>| {
                day.as_ref().and_then(DayOf::exact).map_or_else(String::new, |day| day.format("%-d %B %Y").to_string())
            };
            let doubt = Doubt::of("date_order_unclear")
                .about(about)
                .at(one.spot, &one.written)
                .fill("column", "the title")
                .fill("written", &one.written)
                .fill("day_first", spoken(&first))
                .fill("month_first", spoken(&second))
                .propose_nothing();
            let key = doubt.key();
            work.desk.raise(doubt);
            Some((DayOf::Held(key, None), cells))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_in_titles() {
        assert!(day_in("sampled 2025-02-08").is_some_and(|(before, ..)| before == "sampled "));
        assert!(day_in("Probenahme: 8. Februar 2025").is_some());
        assert!(day_in("Tank 3 (300 L)").is_none());
        assert!(is_sampling("Date of sample:"));
        assert!(is_sampling("Probenahme"));
        assert!(!is_sampling("Date of report"));
    }
}
