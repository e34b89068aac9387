//! Cuts a grid into tables: titles above a header, the header, a units row, data, and rows that are none of these
//! (repeated headers, means and totals, goals, month titles, notes at the foot).

use std::collections::BTreeMap;

use analysis::vocabulary::{HeaderRole, find_parameter_by_word};

use super::heading::{Head, Headings};
use super::row::{
    days_across, is_data_like, is_page_title, is_row_of_days, is_section_title, is_summary, is_test_like, look_of,
    names_a_tank, names_several_tests, starts_with_mark,
};
use super::{Column, DataRow, Kind, Placed, kind};
use crate::dialect::guess::{Look, is_month_title};
use crate::grid::{Raw, Row};

mod next; // what leads to another table
mod note; // rows of words that are no data
mod right_below; // a value right below the last row

/// A table before its kind is certain.
#[derive(Debug, Default)]
pub struct Piece {
    /// Its kind, if one fits.
    pub kind: Option<Kind>,
    /// The kind that would be proposed where none fits.
    pub likely: Option<Kind>,
    /// Parameters stand in the first column and days in the header.
    pub transposed: bool,
    /// Cells above the header.
    pub titles: Vec<Placed>,
    /// Header cells.
    pub header: Vec<Column>,
    /// Units row.
    pub units: Vec<Placed>,
    /// Data rows.
    pub rows: Vec<DataRow>,
    /// Rows inside or below that are no data.
    pub labels: Vec<Placed>,
}

/// The tables of a grid and what lies outside all of them.
#[derive(Debug, Default)]
pub struct Segments {
    /// Tables, top to bottom.
    pub tables: Vec<Piece>,
    /// Cells outside.
    pub outside: Vec<Placed>,
}

/// A table while its rows come in.
struct Open {
    piece: Piece,
    heads: BTreeMap<u32, Head>,
    kind: Option<Kind>,
    dates: Vec<u32>,
    /// Columns over which its header has days.
    days: Vec<u32>,
    /// Rows without a value that may be the titles of the next table.
    notes: Vec<usize>,
    last_row: u32,
}

/// What a row is to the open table.
enum Part {
    /// Data.
    Data,
    /// The units row.
    Units,
    /// A header again, a mean, a goal: no data.
    Label,
    /// A title under the header.
    Title,
    /// A title that parts the rows below from those above.
    Section,
    /// Words that may belong to this table or to the next.
    Note,
    /// The header of another table.
    Header,
    /// The days over a table that runs across.
    Days,
}

/// Cuts rows, top to bottom.
pub fn segments(rows: Vec<Row>, headings: &mut Headings) -> Segments {
    let mut cutter = Cutter { rows, headings, out: Segments::default(), pending: Vec::new(), open: None };
    for at in 0..cutter.rows.len() {
        cutter.take(at);
    }
    cutter.close(None);
    cutter.leave_pending();
    cutter.out
}

struct Cutter<'h> {
    rows: Vec<Row>,
    headings: &'h mut Headings,
    out: Segments,
    /// Rows seen outside a table.
    pending: Vec<usize>,
    open: Option<Open>,
}

/// Takes the cells of a row out of it, with their places.
fn placed(row: &mut Row) -> Vec<Placed> {
    let number = row.number;
    std::mem::take(&mut row.cells)
        .into_iter()
        .map(|cell| Placed { row: number, column: cell.column, raw: cell.raw })
        .collect()
}

impl Cutter<'_> {
    fn placed(&mut self, at: usize) -> Vec<Placed> {
        placed(&mut self.rows[at])
    }

    fn take(&mut self, at: usize) {
        let Some(mut open) = self.open.take() else {
            if self.is_header(at, false) && !self.runs_on(at) && !self.heads_the_next(at) {
                self.start(at);
            } else {
                self.pending.push(at);
            }
            return;
        };
        let part = self.part_of(at, &open);
        let number = self.rows[at].number;
        match part {
            Part::Header => {
                self.open = Some(open);
                self.close(Some(number));
                self.start(at);
                return;
            }
            Part::Days => {
                self.open = Some(open);
                self.close(Some(number));
                self.pending.push(at);
                return;
            }
            Part::Section => {
                let next = open.next_section();
                self.open = Some(open);
                self.close(Some(number));
                let mut titles = std::mem::take(&mut self.pending);
                titles.push(at);
                open = next;
                open.piece.titles = titles.into_iter().flat_map(|at| self.placed(at)).collect();
            }
            Part::Note => open.notes.push(at),
            Part::Units => open.piece.units.extend(self.placed(at)),
            Part::Title => open.piece.titles.extend(self.placed(at)),
            Part::Label => {
                open.label_notes(&mut self.rows);
                open.piece.labels.extend(self.placed(at));
            }
            Part::Data => {
                open.label_notes(&mut self.rows);
                let line = self.rows[at].line;
                let cells = self.placed(at);
                open.piece.rows.push(DataRow { row: number, line, cells });
            }
        }
        open.last_row = number;
        self.open = Some(open);
    }

    fn part_of(&mut self, at: usize, open: &Open) -> Part {
        if self.starts_across(at, open) {
            return Part::Days;
        }
        let row = &self.rows[at];
        if open.kind == Some(Kind::Register) && note::states_a_day(row) {
            return Part::Note;
        }
        let dated = row.cells.iter().any(|cell| {
            open.dates.contains(&cell.column)
                && (matches!(cell.raw, Raw::Number(_)) || look_of(&cell.raw) == Look::Date)
        });
        let month = row.cells.len() == 1
            && !open.is_register_like()
            && matches!(&row.cells[0].raw, Raw::Text(text) if is_month_title(text));
        if dated && !month {
            return Part::Data;
        }
        let looks: Vec<Look> = row.cells.iter().map(|cell| look_of(&cell.raw)).collect();
        let number = row.number;
        if open.repeats_header(row) && !self.starts_anew(open) {
            return Part::Label;
        }
        if open.piece.rows.is_empty()
            && open.piece.units.is_empty()
            && number == open.last_row + 1
            && !matches!(open.kind, Some(Kind::LogSheet(_)))
            && self.is_units_row(at)
        {
            return Part::Units;
        }
        // A test's name and unit are header words too; in a list of tests they are its data.
        if open.names_a_test(&self.rows[at]) {
            return Part::Data;
        }
        let gap = number > open.last_row + 1 || !open.notes.is_empty();
        if !gap && next::begins_left_of(&self.rows[at], &open.days) {
            return Part::Data;
        }
        if self.is_header(at, true) && (gap || !open.is_register_like() || open.repeats_header(&self.rows[at])) {
            return Part::Header;
        }
        // A tab of the ready-made sheet holds rows and nothing else down to the first empty one.
        if matches!(open.kind, Some(Kind::LogSheet(_))) && !gap {
            return Part::Data;
        }
        let row = &self.rows[at];
        if !looks.contains(&Look::Date) && is_summary(row, open.kind) {
            return Part::Label;
        }
        if open.piece.rows.is_empty()
            && !matches!(open.kind, Some(Kind::LogSheet(_)))
            && is_section_title(row)
            && names_a_tank(row)
        {
            return Part::Title;
        }
        if self.parts_sections(at, open) {
            return Part::Section;
        }
        let row = &self.rows[at];
        if open.is_note(row, &looks) || !open.holds_a_test(row) && self.leads_to_header(at, open) {
            return Part::Note;
        }
        Part::Data
    }

    /// Whether a row names columns. `inside` = a table is open, so that only clear words count.
    fn is_header(&mut self, at: usize, inside: bool) -> bool {
        let row = &self.rows[at];
        let heads: Vec<Head> = row.cells.iter().map(|cell| self.headings.of(&cell.raw)).collect();
        let tabs = heads.iter().filter(|head| head.tab.is_some()).count();
        if tabs > 0 && (tabs * 2 >= row.cells.len() || tabs >= 3 || heads[0].tab == Some("looks")) {
            return true;
        }
        if row.cells.len() < 2 {
            return false;
        }
        let values = row.cells.iter().filter(|cell| look_of(&cell.raw).is_value()).count();
        let known = heads.iter().filter(|head| head.is_known()).count();
        if values > 0 && (values > 1 || known < 3) {
            return false;
        }
        let long = row.cells.iter().any(|cell| matches!(&cell.raw, Raw::Text(text) if text.len() > 120));
        if long || starts_with_mark(row) {
            return false;
        }
        if known >= 2 && known * 2 >= row.cells.len() || known >= 4 {
            return true;
        }
        // Names over a row of days say whose samples they are.
        let over_days = self.rows.get(at + 1).is_some_and(is_row_of_days);
        !inside && !over_days && (known >= 1 && self.heads_values(at) || self.stands_over_values(at))
    }

    /// At least one known word, and the next row has values under this row's words.
    fn heads_values(&self, at: usize) -> bool {
        let row = &self.rows[at];
        let Some(next) = self.rows.get(at + 1).filter(|next| next.number <= row.number + 2) else { return false };
        let under =
            next.cells.iter().filter(|cell| look_of(&cell.raw).is_value() && row.at(cell.column).is_some()).count();
        // "Tank: | Alder" over "Sampled: | 14.11.2024" is no header: the row below begins with words too.
        let begins = next.cells.first().is_some_and(|cell| look_of(&cell.raw).is_value());
        under >= 2 || under == 1 && next.cells.len() >= 2 && row.cells.len() == 2 && begins
    }

    /// No known word, yet a row of words over at least two rows of values in the same columns.
    fn stands_over_values(&self, at: usize) -> bool {
        let row = &self.rows[at];
        if row.cells.len() < 3 || row.cells.iter().any(|cell| look_of(&cell.raw) != Look::Word) {
            return false;
        }
        let mut number = row.number;
        let below: Vec<&Row> = self.rows[at + 1..]
            .iter()
            .take(2)
            .take_while(|next| std::mem::replace(&mut number, next.number) + 1 >= next.number)
            .collect();
        below.len() == 2
            && below.iter().all(|next| {
                let values = next
                    .cells
                    .iter()
                    .filter(|cell| look_of(&cell.raw).is_value() && row.at(cell.column).is_some())
                    .count();
                let uncovered = next.cells.iter().filter(|cell| row.at(cell.column).is_none()).count();
                values >= 2 && uncovered <= 1
            })
    }

    /// Units and formats under the header, nothing else.
    fn is_units_row(&mut self, at: usize) -> bool {
        let mut units = 0;
        for cell in &self.rows[at].cells {
            let head = self.headings.of(&cell.raw);
            let is_unit_word = head.has(HeaderRole::Unit);
            let dash =
                matches!(&cell.raw, Raw::Text(text) if text.trim().chars().all(|letter| "-–—/().".contains(letter)));
            if head.unit {
                units += 1;
            } else if !is_unit_word && !dash {
                return false;
            }
        }
        units > 0
    }

    /// Rows of words or names that stand right above a header: titles of the next table, not data of this one.
    fn leads_to_header(&mut self, at: usize, open: &Open) -> bool {
        let row = &self.rows[at];
        let values = row.cells.iter().filter(|cell| look_of(&cell.raw).is_value()).count();
        if row.cells.len() > 3 || values >= 2 {
            return false;
        }
        // A single word in a list of corals or tanks is one of them, unless the next line is a header, or it opens lines
        // of titles after a gap.
        if open.is_register_like() {
            let lines = if row.number > open.last_row + 1 { 4 } else { 1 };
            return row.cells.len() == 1 && self.titles_lead_to_header(at, lines);
        }
        let mut number = row.number;
        for next in at + 1..(at + 4).min(self.rows.len()) {
            if self.rows[next].number > number + 2 {
                return false;
            }
            number = self.rows[next].number;
            if self.is_header(next, true) {
                return true;
            }
            let next_row = &self.rows[next];
            if next_row.cells.len() > 3 || next_row.cells.iter().any(|cell| look_of(&cell.raw) == Look::Date) {
                return false;
            }
        }
        false
    }

    /// A line that names a tank, or stands alone after a gap, parts the rows below from those above: they share the
    /// header and have a title of their own.
    fn parts_sections(&mut self, at: usize, open: &Open) -> bool {
        let row = &self.rows[at];
        let month = row.cells.len() == 1 && matches!(&row.cells[0].raw, Raw::Text(text) if is_month_title(text));
        if month && open.days_are_numbers() {
            return at + 1 < self.rows.len() && !self.is_header(at + 1, true);
        }
        if open.piece.rows.is_empty() || matches!(open.kind, Some(Kind::LogSheet(_))) || !is_section_title(row) {
            return false;
        }
        let gap = row.number > open.last_row + 1;
        let next = self.rows.get(at + 1).filter(|next| next.number <= row.number + 2);
        let parts = next
            .is_some_and(|next| next.cells.len() > 1 && (names_a_tank(row) || gap && next.number == row.number + 1));
        parts && !self.is_header(at + 1, true)
    }

    /// Whether a repeated header opens a new table: a title that is no month stands right above it.
    fn starts_anew(&self, open: &Open) -> bool {
        open.notes.iter().any(|&at| {
            let row = &self.rows[at];
            // Days as bare numbers belong to the month above them.
            if open.days_are_numbers() && row.cells.len() == 1 {
                return true;
            }
            !row.cells.iter().all(|cell| match &cell.raw {
                Raw::Text(text) => is_month_title(text) || is_page_title(text),
                Raw::Number(year) => (1900.0..2100.0).contains(year),
                Raw::Date(_) => true,
                Raw::Bool(_) | Raw::Error(_) => false,
            })
        })
    }

    /// Opens a table with the header at a row; what is pending becomes its titles.
    fn start(&mut self, at: usize) {
        let row = &self.rows[at];
        let number = row.number;
        let heads: BTreeMap<u32, Head> =
            row.cells.iter().map(|cell| (cell.column, self.headings.of(&cell.raw))).collect();
        let header = row
            .cells
            .iter()
            .map(|cell| Column { column: cell.column, row: number, text: cell.raw.written().trim().to_owned() })
            .collect();
        let days = days_across(row.cells.iter().map(|cell| (cell.column, &cell.raw)));
        let mut dates: Vec<u32> = heads
            .iter()
            .filter(|(_, head)| head.has(HeaderRole::Date) && !head.parameter)
            .map(|(&column, _)| column)
            .collect();
        if dates.is_empty() {
            dates.extend(self.date_column(at));
        }
        let (headless, titles) = self.without_header(is_data_like);
        let (mut above, mut titles) = (Vec::new(), titles);
        if let Some(last) = headless.last() {
            // Words among the rows without a header are theirs; what comes after them leads to this header.
            (above, titles) = titles.into_iter().partition(|at| at < last);
        }
        let mut titles: Vec<Placed> = titles.into_iter().flat_map(|at| self.placed(at)).collect();
        let (mut header, mut heads) = (header, heads);
        self.take_keys_above(number, &mut titles, &mut header, &mut heads);
        let above = above.into_iter().flat_map(|at| self.placed(at)).collect();
        self.leave_headless(&headless, above);
        let kind = kind::by_heads(&heads);
        self.open = Some(Open {
            piece: Piece { header, titles, ..Piece::default() },
            heads,
            kind,
            dates,
            days,
            notes: Vec::new(),
            last_row: number,
        });
    }

    /// The column of a headerless or unknown day: the first that holds days in the rows below.
    fn date_column(&self, at: usize) -> Option<u32> {
        let below = self.rows[at + 1..].iter().take(8);
        let mut counts: BTreeMap<u32, usize> = BTreeMap::new();
        for cell in below.flat_map(|row| &row.cells).filter(|cell| look_of(&cell.raw) == Look::Date) {
            *counts.entry(cell.column).or_default() += 1;
        }
        counts.into_iter().max_by_key(|&(column, count)| (count, std::cmp::Reverse(column))).map(|(column, _)| column)
    }

    /// Closes the open table; notes right above the next header (at row `next`) are that header's titles.
    fn close(&mut self, next: Option<u32>) {
        let Some(mut open) = self.open.take() else { return };
        if let Some(next) = next {
            let mut number = next;
            let mut first = open.notes.len();
            while first > 0 {
                let above = self.rows[open.notes[first - 1]].number;
                let allowed = if number == next { 2 } else { 1 };
                if number - above > allowed {
                    break;
                }
                number = above;
                first -= 1;
            }
            self.pending = open.notes.split_off(first);
        }
        open.label_notes(&mut self.rows);
        kind::decide(&mut open.piece, &open.heads, open.kind);
        self.out.tables.push(open.piece);
    }

    /// Parts what is pending into rows of data and all else. Under a row of days every row of several cells is data.
    fn without_header(&mut self, is_data: fn(&Row) -> bool) -> (Vec<usize>, Vec<usize>) {
        let pending = std::mem::take(&mut self.pending);
        let (mut headless, mut rest) = (Vec::new(), Vec::new());
        let mut days = false;
        for at in pending {
            let row = &self.rows[at];
            if is_row_of_days(row) {
                days = true;
                headless.push(at);
            } else if is_data(row) || days && row.cells.len() > 1 {
                headless.push(at);
            } else {
                rest.push(at);
            }
        }
        // Days alone lead to the header below them.
        if headless.iter().all(|&at| is_row_of_days(&self.rows[at])) {
            rest.append(&mut headless);
            rest.sort_unstable();
        }
        (headless, rest)
    }

    /// Rows outside any table: data without a header are asked about, all else are labels.
    fn leave_pending(&mut self) {
        let (headless, labels) = self.without_header(|row| is_data_like(row) || is_test_like(row));
        let mut cells = Vec::new();
        for at in labels {
            cells.extend(self.placed(at));
        }
        self.leave_headless(&headless, cells);
    }

    /// Rows without a header, and the words above and between them.
    fn leave_headless(&mut self, rows: &[usize], words: Vec<Placed>) {
        if rows.is_empty() {
            self.out.outside.extend(words);
            return;
        }
        let rows = rows
            .iter()
            .map(|&at| DataRow { row: self.rows[at].number, line: self.rows[at].line, cells: self.placed(at) })
            .collect();
        let mut piece = Piece { rows, ..Piece::default() };
        piece.transposed = kind::parameters_run_down(&piece.rows) || kind::looks_run_across(&piece.rows);
        match piece.transposed {
            true => piece.titles = words,
            false => self.out.outside.extend(words),
        }
        piece.likely = kind::headless(&piece.rows).filter(|_| !piece.transposed);
        self.out.tables.push(piece);
    }
}

impl Open {
    /// A table with the same columns and no rows yet.
    fn next_section(&self) -> Self {
        let piece = Piece { header: self.piece.header.clone(), ..Piece::default() };
        Open {
            piece,
            heads: self.heads.clone(),
            kind: self.kind,
            dates: self.dates.clone(),
            days: self.days.clone(),
            notes: Vec::new(),
            last_row: self.last_row,
        }
    }

    /// The same words in the same columns as the header.
    fn repeats_header(&self, row: &Row) -> bool {
        let same = row.cells.iter().filter(|cell| {
            let at = self.piece.header.binary_search_by_key(&cell.column, |column| column.column);
            let column = at.ok().map(|at| &self.piece.header[at]);
            column.is_some_and(
                |column| matches!(&cell.raw, Raw::Text(text) if text.trim().eq_ignore_ascii_case(&column.text)),
            )
        });
        let same = same.count();
        same > 0
            && same * 10 >= row.cells.len() * 8
            && same * 10 >= self.piece.header.len() * 6
            && (same > 1 || self.piece.header.len() == 1)
    }

    /// In a list of tests: a test's name stands under the names of tests, and the row says more.
    fn names_a_test(&self, row: &Row) -> bool {
        let name =
            |raw: &Raw| matches!(raw, Raw::Text(text) if text.len() <= 40 && !find_parameter_by_word(text).is_empty());
        let Some(last) = self.piece.rows.last().filter(|_| !self.repeats_header(row) && row.cells.len() >= 2) else {
            return false;
        };
        // A wide table's header has names of tests over numbers, never over names; names of several tests and no value are
        // the header of one below.
        self.kind != Some(Kind::Wide)
            && !names_several_tests(row)
            && row.cells.iter().any(|cell| {
                name(&cell.raw) && last.cells.iter().any(|above| above.column == cell.column && name(&above.raw))
            })
    }

    /// The days of its rows are bare numbers from 1 to 31.
    fn days_are_numbers(&self) -> bool {
        let day = |raw: &Raw| match raw {
            Raw::Number(number) => number.fract() == 0.0 && (1.0..=31.0).contains(number),
            Raw::Text(text) => text.trim().trim_end_matches('.').parse().is_ok_and(|day: u32| (1..=31).contains(&day)),
            _ => false,
        };
        let mut days =
            self.piece.rows.iter().flat_map(|row| &row.cells).filter(|cell| self.dates.contains(&cell.column));
        let first = days.next();
        first.is_some_and(|cell| day(&cell.raw)) && days.all(|cell| day(&cell.raw))
    }

    const fn is_register_like(&self) -> bool {
        matches!(self.kind, Some(Kind::Register | Kind::LogSheet(_)))
    }
}
