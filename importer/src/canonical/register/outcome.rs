//! What became of the coral of a row, as records: an open row, an ending, a cut, daughters.

use analysis::vocabulary::{Origin, OriginBasis};

use crate::canonical::corals::Coral;
use crate::canonical::ending::{self, Became, End};
use crate::canonical::register::{OpenRow, Summary};
use crate::canonical::{Cells, Work};
use crate::record::{DaySpan, Ending, Event, HeldFact, Place, Record, Sighting, Specimen, Stay, Taken};

#[allow(clippy::too_many_arguments)] // the fields of a sighting
pub(crate) fn look(
    work: &mut Work,
    line: Option<u32>,
    label: &str,
    on: chrono::NaiveDate,
    status: &str,
    condition: Option<i16>,
    remark: Option<String>,
    source: &str,
    cells: Cells,
) {
    let place = work.place(&cells, line);
    work.records.push(Record::Sighting(Sighting {
        specimen: label.to_owned(),
        on,
        status: status.to_owned(),
        source: source.to_owned(),
        condition,
        polyp_extension: None,
        tissue_cover: None,
        colour: None,
        remark,
        place,
    }));
}

/// Records what became of the coral of a row.
#[allow(clippy::too_many_arguments)] // one row's outcome and where it goes
pub(crate) fn finish_row(
    work: &mut Work,
    line: Option<u32>,
    end: &End,
    became: Became,
    specimen: &mut Specimen,
    cells: Cells,
    summary: &mut Summary,
    taxon: Option<analysis::vocabulary::TaxonSlug>,
) {
    match became {
        Became::Living { status, condition, remark, cut } => {
            if let Some(day) = cut {
                work.saw_day(day);
                let cells: Cells = end
                    .fate
                    .iter()
                    .map(|(spot, _)| (*spot, "event"))
                    .chain(end.day_cell.iter().map(|(spot, _)| (*spot, "date")))
                    .collect();
                let place = work.place(&cells, line);
                work.records.push(Record::Event(Event {
                    tank: None,
                    specimen: Some(end.label.clone()),
                    event: "cut".to_owned(),
                    taken: Taken::day(day),
                    amount: None,
                    unit: None,
                    written: remark.as_ref().map(|(_, text)| text.clone()).unwrap_or_default(),
                    place,
                }));
            }
            let mut row_cells: Cells = vec![(end.row_cell, "label")];
            row_cells.extend(remark.as_ref().map(|(spot, _)| (*spot, "remark")));
            row_cells.extend(cells.into_iter().filter(|(spot, _)| *spot != end.row_cell).take(1));
            summary.open.push(OpenRow {
                label: end.label.clone(),
                cells: row_cells,
                line,
                status,
                condition,
                remark: remark.map(|(_, text)| text),
            });
        }
        Became::Ended(ending, rescued) => {
            summary.losses = true;
            if let Some(pieces) = rescued {
                daughters(work, line, end, &ending, pieces, specimen, taxon);
            }
            push_ending(work, line, end, *ending);
        }
        Became::Held(ending) => {
            summary.losses = true;
            specimen.held.push(HeldFact::Fate);
            if let Some(ending) = ending {
                let mut ending = *ending;
                ending.place = work.place(&vec![(end.row_cell, "label")], line);
                work.records.push(Record::Ending(ending));
            }
        }
        Became::LeftOut => {
            summary.losses = true;
            work.labels.extend(
                end.fate.iter().chain(&end.day_cell).chain(&end.cause).chain(&end.looked).map(|(spot, _)| *spot),
            );
        }
    }
}

/// Records an ending with its cells.
pub(crate) fn push_ending(work: &mut Work, line: Option<u32>, end: &End, mut ending: Ending) {
    let cells = ending::record_cells(end, &ending);
    ending.place = work.place(&cells, line);
    work.records.push(Record::Ending(ending));
}

/// Cuttings saved from a dying mother are new corals of the day of the cut.
fn daughters(
    work: &mut Work,
    line: Option<u32>,
    end: &End,
    ending: &Ending,
    pieces: u32,
    mother: &Specimen,
    taxon: Option<analysis::vocabulary::TaxonSlug>,
) {
    let cells: Cells = end.fate.iter().map(|(spot, _)| (*spot, "fate")).collect();
    for number in 1..=pieces.min(50) {
        let place: Place = work.place(&cells, line);
        let label = format!("{} cutting {number}", end.label);
        work.corals.add(Coral { label: label.clone(), taxon, tank: mother.tank.clone(), alive: true });
        work.records.push(Record::Specimen(Specimen {
            label,
            written: mother.written.clone(),
            taxon,
            rank: mother.rank.clone(),
            confidence: mother.confidence.clone(),
            origin: Some(Origin::CaptiveGrown),
            origin_basis: Some(OriginBasis::OwnCutting),
            source_kind: Some("own_cutting".to_owned()),
            acquired: (ending.earliest.is_some() || ending.latest.is_some())
                .then_some(DaySpan { earliest: ending.earliest, latest: ending.latest }),
            tank: mother.tank.clone(),
            parent: Some(end.label.clone()),
            held: mother.held.iter().copied().filter(|held| *held == HeldFact::Taxon).collect(),
            place,
            ..Specimen::default()
        }));
        if let Some(tank) = &mother.tank {
            let place = work.place(&cells, line);
            work.records.push(Record::Stay(Stay {
                specimen: format!("{} cutting {number}", end.label),
                tank: tank.clone(),
                from: None,
                to: None,
                place,
            }));
        }
    }
}
