//! Tables with meanings become records in the catalogue's words and units.
//!
//! Every record keeps the cells it came from; every cell of a table ends in a record, a finding or a label.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::NaiveDate;

use crate::cell::date::Order;
use crate::context::{Context, KnownInstrument};
use crate::doubt::desk::{Desk, Spot};
use crate::doubt::spots::Spots;
use crate::grid::Raw;
use crate::layout::over::Over;
use crate::layout::{DataRow, Placed, Table};
use crate::meaning::Meaning;
use crate::parts::Whole;
use crate::record::packed::{PackError, Packer, month_of};
use crate::record::{CellRef, Place, Reading, Record};

pub(crate) mod as_of; // the day on which a register is true
pub(crate) mod coral_name; // a written name → a taxon, or a question
pub(crate) mod corals; // labels of the file and of the keeper
pub(crate) mod date_column; // a column of dates
pub(crate) mod diary; // looks, sizes and notes about corals
pub(crate) mod ending; // what became of a coral
pub(crate) mod event; // water changes, feedings, carbon
pub(crate) mod failed_key; // rows whose tank or coral is a failed formula
pub(crate) mod fill; // keys written once and left blank below
pub(crate) mod filled_sheet; // the ready-made sheet, filled in
pub(crate) mod habit; // columns of a rate: feeds a week
pub(crate) mod head; // the head of a report over lists that go on with it
pub(crate) mod kind; // names of kinds, each weighed once
pub(crate) mod long; // one test a row
pub(crate) mod look_alike; // kinds that are easily taken for others
pub(crate) mod near; // how near two names of tanks or corals are
pub(crate) mod register; // one coral a row
pub(crate) mod remark; // tests and losses told in a remark
pub(crate) mod report_day; // the day that titles state for all rows
pub(crate) mod set_aside; // tests among titles, labels and what stands outside all tables
pub(crate) mod size; // lengths, areas, weights, counts
pub(crate) mod summary; // a mean without a word that says so
pub(crate) mod tank; // which tank
pub(crate) mod test; // a number cell on its way to a reading
pub(crate) mod water; // temperature and salinity of a row or day
pub(crate) mod wide; // one day a row

/// Cells of a record with what each gave.
pub(crate) type Cells = Vec<(Spot, &'static str)>;

/// What is shared while a file is read.
pub(crate) struct Work<'a> {
    /// What the reader was told.
    pub context: &'a Context,
    /// Findings and answers.
    pub desk: Desk<'a>,
    /// Sheet names.
    pub sheets: Vec<Option<String>>,
    /// File name without its ending.
    pub stem: String,
    /// Tanks of the keeper and of the file.
    pub tanks: tank::Tanks,
    /// Corals of the keeper and of the file.
    pub corals: corals::Corals,
    /// Names of kinds that nobody knows, in the words that can name one.
    pub unknown_names: BTreeSet<String>,
    /// Instruments of the keeper and of the file.
    pub instruments: Vec<KnownInstrument>,
    /// Records so far.
    pub records: Vec<Record>,
    /// Where tests of tanks go instead, if they are packed as they come.
    pub packer: Option<Packer>,
    /// Why they could not be packed.
    pub unpacked: Option<PackError>,
    /// Cells of what was packed.
    pub recorded: Spots,
    /// Cells of data rows that say nothing to record: no-reading words, remarks, what was left out.
    pub labels: Spots,
    /// The day on which the register is true, once known.
    pub as_of: Option<NaiveDate>,
    /// First and last certain day of the file, up to the day of reading.
    pub days: Option<(NaiveDate, NaiveDate)>,
    /// Day first or month first, where other dates of the file prove it: one hand wrote them all.
    pub order: Option<Order>,
    /// What the file says about its log in so many words.
    pub stated: Stated,
    /// Temperature and salinity by row and by day, for what depends on them.
    pub waters: water::Waters,
    /// Rows of each table with tests and without a day.
    pub undated: BTreeMap<usize, usize>,
    /// What was called each group of tests of a list, by what its tests share.
    pub series: HashMap<long::Series, (String, String)>,
    /// What is known of the whole file, if this is a part of it.
    pub whole: Option<Whole>,
}

/// What a file says about its log in so many words.
#[derive(Debug, Clone, Default)]
pub(crate) struct Stated {
    /// As of.
    pub as_of: Option<NaiveDate>,
    /// From what day every coral is written down.
    pub complete_since: Option<NaiveDate>,
    /// Whether losses are listed.
    pub losses_listed: Option<bool>,
    /// Keeping reefs since.
    pub keeping_since: Option<i32>,
}

impl<'a> Work<'a> {
    /// Nothing read yet.
    pub fn new(context: &'a Context, sheets: Vec<Option<String>>, name: &str, packer: Option<Packer>) -> Self {
        let file = name.rsplit(['/', '\\']).next().unwrap_or(name);
        Work {
            context,
            desk: Desk::new(&context.answers),
            sheets,
            stem: file.rsplit_once('.').map_or(file, |(stem, _)| stem).to_owned(),
            tanks: tank::Tanks::of(&context.tanks),
            corals: corals::Corals::of(&context.specimens),
            unknown_names: BTreeSet::new(),
            instruments: context.instruments.clone(),
            records: Vec::new(),
            packer,
            unpacked: None,
            recorded: Spots::default(),
            labels: Spots::default(),
            as_of: None,
            days: None,
            order: None,
            stated: Stated::default(),
            waters: water::Waters::default(),
            undated: BTreeMap::new(),
            series: HashMap::new(),
            whole: None,
        }
    }

    /// Keeps a reading.
    pub fn keep(&mut self, reading: Reading) {
        let record = Record::Reading(reading);
        let Some(packer) = self.packer.as_mut().filter(|_| month_of(&record).is_some()) else {
            self.records.push(record);
            return;
        };
        for cell in &record.place().cells {
            let sheet = self.sheets.iter().position(|own| *own == cell.sheet).unwrap_or_default() as u16;
            self.recorded.insert(Spot { sheet, row: cell.row, column: cell.column });
        }
        if let Err(error) = packer.push(record) {
            self.unpacked = Some(error);
        }
    }

    /// Takes note of something that can only be read from the whole of a file.
    pub fn needs_whole(&mut self, why: &'static str) {
        if let Some(whole) = &mut self.whole {
            whole.unsound = Some(why);
        }
    }

    /// Takes note of a certain day of the file.
    pub fn saw_day(&mut self, day: NaiveDate) {
        if self.context.today.is_some_and(|today| day > today) {
            return;
        }
        self.days = Some(self.days.map_or((day, day), |(first, last)| (first.min(day), last.max(day))));
    }

    /// Cells as they are printed.
    pub fn cell_refs(&self, cells: impl IntoIterator<Item = (Spot, &'static str)>) -> Vec<CellRef> {
        let print = |(spot, role): (Spot, &'static str)| CellRef {
            sheet: self.sheet_name(spot.sheet),
            row: spot.row,
            column: spot.column,
            role: role.to_owned(),
        };
        cells.into_iter().map(print).collect()
    }

    /// Name of a sheet.
    pub fn sheet_name(&self, sheet: u16) -> Option<String> {
        self.sheets.get(usize::from(sheet)).cloned().flatten()
    }

    /// The place of a record: its first cell is the main one.
    pub fn place(&self, cells: &Cells, line: Option<u32>) -> Place {
        self.place_of(cells.iter().copied(), line)
    }

    /// The same of cells that stand in no list.
    pub fn place_of(&self, cells: impl IntoIterator<Item = (Spot, &'static str)>, line: Option<u32>) -> Place {
        let mut cells = cells.into_iter().peekable();
        let main = cells.peek().map(|(spot, _)| *spot).unwrap_or(Spot { sheet: 0, row: 1, column: 1 });
        Place {
            sheet: self.sheet_name(main.sheet),
            row: main.row,
            column: main.column,
            line: line.filter(|line| *line != main.row),
            cells: self.cell_refs(cells),
        }
    }
}

/// A table with the meaning of its columns.
pub(crate) struct View<'t> {
    /// The table.
    pub table: &'t Table,
    /// Position of its sheet in the file.
    pub sheet: u16,
    /// Its position among the file's tables.
    pub at: usize,
    /// Meaning of each column.
    pub meanings: BTreeMap<u32, Meaning>,
    /// Names over its columns that are tanks.
    pub over: Vec<Over>,
    /// The table whose titles speak for it where its own say nothing.
    pub head: Option<&'t Table>,
    /// Header text and its name in finding keys.
    headers: BTreeMap<u32, (String, String)>,
}

impl<'t> View<'t> {
    /// A view of a table before its columns have meanings.
    pub fn new(table: &'t Table, sheet: u16, at: usize) -> Self {
        let mut headers = BTreeMap::new();
        // Under another tank's name a header is that of another table: what is asked of it is asked once for all.
        let mut used: BTreeMap<(String, String), u32> = BTreeMap::new();
        for column in &table.header {
            let over = table.names_over.of(column.column).and_then(|over| table.titles.get(over.title));
            let over = over.map(|title| crate::cell::fold::name(&title.raw.written())).unwrap_or_default();
            let name = analysis::vocabulary::text::fold(&column.text);
            let name = if name.is_empty() { format!("column {}", column.column) } else { name };
            let times = used.entry((over, name.clone())).or_insert(0);
            *times += 1;
            let name = if *times > 1 { format!("{name} {times}") } else { name };
            headers.insert(column.column, (column.text.clone(), name));
        }
        View { table, sheet, at, meanings: BTreeMap::new(), over: Vec::new(), head: None, headers }
    }

    /// A place in its sheet.
    pub fn spot(&self, row: u32, column: u32) -> Spot {
        let (row, column) = self.table.place(row, column);
        Spot { sheet: self.sheet, row, column }
    }

    /// A cell of a data row.
    pub fn raw<'r>(&self, row: &'r DataRow, column: u32) -> Option<&'r Raw> {
        row.cells.binary_search_by_key(&column, |cell| cell.column).ok().map(|at| &row.cells[at].raw)
    }

    /// A cell of a data row as written, outer blanks off.
    pub fn text(&self, row: &DataRow, column: u32) -> Option<String> {
        self.raw(row, column).map(|raw| raw.written().trim().to_owned()).filter(|text| !text.is_empty())
    }

    /// Header of a column as written.
    pub fn header(&self, column: u32) -> String {
        self.headers.get(&column).map_or_else(|| format!("column {column}"), |(text, _)| text.clone())
    }

    /// A column's name in finding keys.
    pub fn about(&self, column: u32) -> String {
        self.headers.get(&column).map_or_else(|| format!("column {column}"), |(_, about)| about.clone())
    }

    /// Places of a column's filled cells, top to bottom.
    pub fn filled(&self, column: u32) -> impl Iterator<Item = Spot> + '_ {
        self.table
            .rows
            .iter()
            .filter(move |row| self.raw(row, column).is_some())
            .map(move |row| self.spot(row.row, column))
    }

    /// Place of a header cell, or of the first data row where there is none.
    pub fn header_spot(&self, column: u32) -> Spot {
        let row = self.table.header.iter().find(|header| header.column == column).map(|header| header.row);
        self.spot(row.or(self.table.rows.first().map(|row| row.row)).unwrap_or(1), column)
    }

    /// The cell with the tank's name over a column.
    pub fn name_over(&self, column: u32) -> Option<&'t Placed> {
        let over = self.over.iter().find(|over| (over.first..=over.last).contains(&column))?;
        self.table.titles.get(over.title)
    }

    /// Titles, then labels, as text.
    pub fn loose(&self) -> impl Iterator<Item = &'t Placed> {
        self.table.titles.iter().chain(&self.table.labels)
    }

    /// The only year named in the titles or the sheet's name.
    pub fn year_in_titles(&self) -> Option<i32> {
        let mut text = self.table.sheet.clone().unwrap_or_default();
        for title in &self.table.titles {
            text.push(' ');
            text.push_str(&title.raw.written());
        }
        date_column::year_in(&text)
    }

    /// Name of the table in finding keys: its sheet, or nothing in a file of one sheet.
    pub fn table_about(&self) -> String {
        self.table.sheet.as_deref().map(analysis::vocabulary::text::fold).unwrap_or_default()
    }

    /// The column of a code of the ready-made sheet.
    pub fn coded(&self, code: &str) -> Option<u32> {
        self.meanings
            .iter()
            .find(|(_, meaning)| matches!(meaning, Meaning::Coded(own) if own == code))
            .map(|(column, _)| *column)
    }

    /// A row by its number.
    pub fn row(&self, number: u32) -> Option<&'t DataRow> {
        self.table.rows.binary_search_by_key(&number, |row| row.row).ok().map(|at| &self.table.rows[at])
    }

    /// Year and month that the titles, or else the sheet's name, name, if they name one month only.
    pub fn month_in_titles(&self) -> Option<(i32, u32)> {
        use chrono::Datelike;
        let titles = self.table.titles.iter().map(|title| title.raw.written());
        let mut months = titles.chain(self.table.sheet.clone()).filter_map(|text| {
            if !crate::dialect::guess::is_month_title(&text) {
                return None;
            }
            let (first, last) = crate::cell::date::date(&text).said.days(Order::DayFirst)?;
            let first = first.filter(|first| first.day() == 1 && last.month() == first.month() && last > *first)?;
            Some((first.year(), first.month()))
        });
        let month = months.next()?;
        months.all(|other| other == month).then_some(month)
    }

    /// The month that the titles, or else the sheet's name, name without a year, if it is one month only.
    pub fn month_without_year(&self) -> Option<u32> {
        let titles = self.table.titles.iter().map(|title| title.raw.written());
        let mut months = titles
            .chain(self.table.sheet.clone())
            .filter_map(|text| analysis::vocabulary::month_by_name(text.trim().trim_end_matches('.')));
        let month = months.next()?;
        months.all(|other| other == month).then_some(month)
    }

    /// Columns of a role, left to right.
    pub fn columns(&self, role: analysis::vocabulary::HeaderRole) -> Vec<u32> {
        self.meanings
            .iter()
            .filter(|(_, meaning)| **meaning == Meaning::Role(role))
            .map(|(column, _)| *column)
            .collect()
    }

    /// First column of a role.
    pub fn column(&self, role: analysis::vocabulary::HeaderRole) -> Option<u32> {
        self.columns(role).first().copied()
    }
}
