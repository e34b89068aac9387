//! One simulated member's habits of writing: which files, in which shape, with which slips.

use analysis::simulation::draw::Draw;
use analysis::simulation::{SimulatedClub, Specimen};
use chrono::{Days, NaiveDate};

use super::sheet::{Sheet, TextStyle, text_file, workbook};
use super::tables::{self, Units};
use super::{DemoError, words};

/// How a member keeps records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// Three tidy text files, days as year-month-day.
    Tidy,
    /// Semicolons, decimal commas, days as day.month.year, German headers for the tests.
    Semicolon,
    /// One test a line; corals in a workbook.
    Lines,
    /// One workbook with a sheet for tests, corals and looks.
    Workbook,
    /// Month/day/year, Fahrenheit, specific gravity, alkalinity in ppm.
    Fahrenheit,
    /// Titles, a units row, an average row, limits, ranges, units in cells, a wrong unit.
    Messy,
    /// A workbook with days as text and trade names.
    TradeNames,
    /// Tests and a register only, never asked, with unclear words.
    Terse,
}

const STYLES: [Style; 8] = [
    Style::Tidy,
    Style::Semicolon,
    Style::Lines,
    Style::Workbook,
    Style::Fahrenheit,
    Style::Messy,
    Style::TradeNames,
    Style::Terse,
];

/// A member about to write.
pub struct Member<'a> {
    /// The club.
    pub club: &'a SimulatedClub,
    /// Position in the club.
    pub at: usize,
    /// Handle.
    pub handle: String,
    /// Habits.
    pub style: Style,
    /// Names of the tanks, as the member writes them.
    pub tank_names: Vec<String>,
    /// Specimens that this member wrote down, with their labels, in the order acquired.
    pub listed: Vec<(String, &'a Specimen)>,
    /// Seed of this member's slips.
    pub seed: u64,
}

impl<'a> Member<'a> {
    /// The member at a position of the club.
    pub fn new(club: &'a SimulatedClub, at: usize) -> Self {
        let (first, second) = words::TANKS[at % words::TANKS.len()];
        let own = &club.keepers[at];
        let tank_names =
            own.tanks.iter().enumerate().map(|(n, _)| if n == 0 { first } else { second }.to_owned()).collect();
        let handle = match words::MEMBERS.get(at) {
            Some(name) => (*name).to_owned(),
            None => format!("member{:03}", at + 1),
        };
        let mut counts = std::collections::BTreeMap::new();
        let mut listed = Vec::new();
        for specimen in club.specimens.iter().filter(|specimen| own.tanks.contains(&specimen.tank)) {
            // What ended before the list was complete was mostly never written down.
            if specimen.life.end.is_some_and(|(_, day)| day < own.complete_since) {
                continue;
            }
            let stem = words::label_stem(club.design.taxa[specimen.taxon].taxon.as_str());
            let number = counts.entry(stem).or_insert(0);
            *number += 1;
            listed.push((format!("{stem} {number}"), specimen));
        }
        Member {
            club,
            at,
            handle,
            style: STYLES[at % STYLES.len()],
            tank_names,
            listed,
            seed: club.design.seed ^ ((at as u64 + 1) << 20),
        }
    }

    /// A calendar day.
    pub fn day(&self, offset: i32) -> NaiveDate {
        let first = words::first_day(self.club.design.first_year);
        let days = Days::new(u64::from(offset.unsigned_abs()));
        let moved = if offset < 0 { first.checked_sub_days(days) } else { first.checked_add_days(days) };
        moved.unwrap_or(first)
    }

    /// Last day of the records.
    pub fn last_day(&self) -> NaiveDate {
        self.day(self.club.design.days)
    }

    /// A source of slips that does not depend on the order of files.
    pub fn slips(&self, of: u64) -> Draw {
        Draw::seeded(self.seed.wrapping_add(of))
    }

    /// Position of a tank among the member's own.
    pub fn tank_at(&self, tank: usize) -> usize {
        self.club.keepers[self.at].tanks.iter().position(|own| *own == tank).unwrap_or(0)
    }

    /// The files this member sends.
    pub fn files(&self) -> Result<Vec<(String, Vec<u8>)>, DemoError> {
        match self.style {
            Style::Tidy => self.texts(TextStyle { separator: b',', comma: false, day: "%Y-%m-%d", mark: false }),
            Style::Semicolon => self.texts(TextStyle { separator: b';', comma: true, day: "%d.%m.%Y", mark: true }),
            Style::Fahrenheit => {
                self.texts(TextStyle { separator: b',', comma: false, day: "%-m/%-d/%Y", mark: false })
            }
            Style::Messy => self.texts(TextStyle { separator: b'\t', comma: false, day: "%-d %b %Y", mark: false }),
            Style::Lines => {
                let style = TextStyle { separator: b';', comma: false, day: "%Y-%m-%d", mark: false };
                let tests = tables::tests_long(self);
                Ok(vec![
                    self.text("tests.csv", &tests, style)?,
                    self.book("corals.xlsx", &[tables::register(self)], None)?,
                    self.text("looks.csv", &tables::diary(self), style)?,
                ])
            }
            Style::Workbook => Ok(vec![self.book("reef.xlsx", &self.three(), None)?]),
            Style::TradeNames => Ok(vec![self.book("reef log.xlsx", &self.three(), Some("%-d %b %Y"))?]),
            Style::Terse => {
                let style = TextStyle { separator: b',', comma: false, day: "%d/%m/%Y", mark: false };
                Ok(vec![
                    self.text("water.csv", &tables::tests_wide(self, Units::Common), style)?,
                    self.text("list.csv", &tables::register(self), style)?,
                ])
            }
        }
    }

    fn three(&self) -> [Sheet; 3] {
        [tables::tests_wide(self, Units::Common), tables::register(self), tables::diary(self)]
    }

    fn texts(&self, style: TextStyle) -> Result<Vec<(String, Vec<u8>)>, DemoError> {
        let units = match self.style {
            Style::Fahrenheit => Units::Fahrenheit,
            Style::Semicolon => Units::German,
            _ => Units::Common,
        };
        Ok(vec![
            self.text("water tests.csv", &tables::tests_wide(self, units), style)?,
            self.text("corals.csv", &tables::register(self), style)?,
            self.text("sizes and looks.csv", &tables::diary(self), style)?,
        ])
    }

    fn text(&self, name: &str, sheet: &Sheet, style: TextStyle) -> Result<(String, Vec<u8>), DemoError> {
        Ok((name.to_owned(), text_file(name, sheet, style)?))
    }

    fn book(
        &self,
        name: &str,
        sheets: &[Sheet],
        day_as_text: Option<&'static str>,
    ) -> Result<(String, Vec<u8>), DemoError> {
        Ok((name.to_owned(), workbook(name, sheets, day_as_text)?))
    }
}
