//! What a file looks like as a whole: its layouts, and a short hash that files of one shape share.

use sha2::{Digest, Sha256};

use crate::context::About;
use crate::dialect::guess::Look;
use crate::grid::Raw;
use crate::layout::row::look_of;
use crate::layout::{Kind, Placed, Table};

/// Describes a file by its tables.
pub(super) fn describe(about: &mut About, tables: &[(u16, Table)]) {
    let mut shape = Sha256::new();
    for at in tables {
        let table = &at.1;
        let kind = match table.kind {
            Kind::Wide if table.turned => "transposed",
            Kind::Wide => "wide",
            Kind::Long => "long",
            Kind::Register => "register",
            Kind::Diary => "diary",
            Kind::LogSheet(_) => "log_sheet",
        };
        let called = layout_name(kind, at, tables);
        if !about.layouts.iter().any(|known| known == called) {
            about.layouts.push(called.to_owned());
        }
        shape.update(kind);
        for header in &table.header {
            shape.update([0x1f]);
            shape.update(analysis::vocabulary::text::fold(&header.text));
        }
        shape.update([0x1e]);
    }
    about.shape = shape.finalize().iter().take(8).map(|byte| format!("{byte:02x}")).collect();
}

/// The layout as it is called: a list without days is a laboratory's report, rows of one day with their times come
/// from a probe, several tables of tests on one sheet are blocks.
fn layout_name(kind: &'static str, at: &(u16, Table), tables: &[(u16, Table)]) -> &'static str {
    let (sheet, table) = at;
    if table.turned || !matches!(table.kind, Kind::Wide | Kind::Long) {
        return kind;
    }
    let rows = table.rows.iter().take(200);
    let (mut dated, mut timed, mut all) = (0_usize, 0_usize, 0_usize);
    for row in rows {
        let timed_cell = |cell: &Placed| match &cell.raw {
            Raw::Date(at) => at.time() != chrono::NaiveTime::MIN,
            Raw::Text(text) => matches!(look_of(&cell.raw), Look::Date | Look::Time) && text.contains(':'),
            _ => false,
        };
        all += 1;
        dated += usize::from(row.cells.iter().any(|cell| look_of(&cell.raw) == Look::Date));
        timed += usize::from(row.cells.iter().any(timed_cell));
    }
    let day_named = table.header.iter().any(|column| {
        analysis::vocabulary::header_roles(&column.text).contains(&analysis::vocabulary::HeaderRole::Date)
    });
    let wide =
        tables.iter().filter(|(other, table)| other == sheet && table.kind == Kind::Wide && !table.turned).count();
    match table.kind {
        _ if all >= 12 && timed * 10 >= all * 9 => "probe",
        Kind::Long if dated == 0 && !day_named => "laboratory",
        Kind::Wide if wide > 1 || table.names_over.alike => "blocks",
        _ => kind,
    }
}
