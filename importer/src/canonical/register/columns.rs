//! What the columns of a register hold. "From" is a day or a seller, "to" an end, as their cells say.

use analysis::vocabulary::{FateMatch, HeaderRole, NameMatch};

use crate::canonical::register::sizes::SizeColumn;
use crate::canonical::{View, Work};
use crate::grid::Raw;
use crate::meaning::{Meaning, has_days, is_dated};

/// Columns of a register by what they hold.
#[derive(Debug, Clone, Default)]
pub(crate) struct Columns {
    /// The keeper's label.
    pub label: Option<u32>,
    /// Name.
    pub name: Option<u32>,
    /// Genus beside a species.
    pub genus: Option<u32>,
    /// Name as sold.
    pub trade: Option<u32>,
    /// Character.
    pub character: Option<u32>,
    /// How sure the name is.
    pub confidence: Option<u32>,
    /// Day got.
    pub acquired: Option<u32>,
    /// Day ended.
    pub ended: Option<u32>,
    /// Further columns of days, one for each way to leave.
    pub exits: Vec<u32>,
    /// Columns of ticks, one for each way to leave.
    pub ticks: Vec<u32>,
    /// Day last seen alive.
    pub last_seen: Option<u32>,
    /// What became of it.
    pub fate: Option<u32>,
    /// Cause.
    pub cause: Option<u32>,
    /// Seller or giver.
    pub source: Option<u32>,
    /// Origin.
    pub origin: Option<u32>,
    /// How the origin is known.
    pub basis: Option<u32>,
    /// Tank.
    pub tank: Option<u32>,
    /// Remarks.
    pub remark: Option<u32>,
    /// Form.
    pub form: Option<u32>,
    /// Sizes.
    pub sizes: Vec<SizeColumn>,
    /// How it looked when got.
    pub looked_when_got: Option<u32>,
    /// How it looked at its end.
    pub looked_then: Option<u32>,
    /// Days at the seller.
    pub days_at_seller: Option<u32>,
    /// Mother.
    pub parent: Option<u32>,
    /// Line.
    pub line: Option<u32>,
    /// Height.
    pub height: Option<u32>,
    /// Stinging neighbour.
    pub sting: Option<u32>,
    /// Tentacles a polyp, as a number.
    pub tentacles: Option<u32>,
    /// Flow as a word.
    pub flow: Option<u32>,
    /// Photon flux at its spot.
    pub par: Option<u32>,
}

impl Columns {
    /// The columns of a table.
    pub fn of(view: &View) -> Self {
        let at = |role| view.column(role);
        let dated = |column: &u32| is_dated(view, *column);
        let mut columns = Columns {
            label: at(HeaderRole::Label),
            name: at(HeaderRole::Name),
            genus: at(HeaderRole::Genus),
            trade: at(HeaderRole::TradeName),
            character: at(HeaderRole::Character),
            confidence: at(HeaderRole::Confidence),
            acquired: at(HeaderRole::Acquired),
            ended: at(HeaderRole::Ended),
            last_seen: at(HeaderRole::LastSeen),
            fate: at(HeaderRole::Fate),
            cause: at(HeaderRole::Cause),
            source: at(HeaderRole::Source),
            origin: at(HeaderRole::Origin),
            basis: at(HeaderRole::OriginBasis),
            tank: at(HeaderRole::Tank),
            remark: at(HeaderRole::Remark),
            form: at(HeaderRole::Form),
            looked_when_got: at(HeaderRole::Condition),
            looked_then: None,
            days_at_seller: at(HeaderRole::DaysAtSeller),
            parent: at(HeaderRole::Parent),
            line: at(HeaderRole::Line),
            height: at(HeaderRole::Height),
            sting: at(HeaderRole::StingingNeighbour),
            flow: of_spot(view, "flow"),
            par: of_spot(view, "par"),
            ..Columns::default()
        };
        if let Some(from) = at(HeaderRole::From) {
            if columns.acquired.is_none() && dated(&from) {
                columns.acquired = Some(from);
            } else if columns.source.is_none() {
                columns.source = Some(from);
            }
        }
        if columns.acquired.is_none() {
            columns.acquired = at(HeaderRole::Date);
        }
        if columns.ended.is_none() {
            columns.ended = at(HeaderRole::To).filter(dated);
        }
        ways_to_leave(view, &mut columns);
        // A column "Ended" of words only says what became of them.
        if columns.fate.is_none()
            && let Some(ended) = columns.ended.filter(|ended| !has_days(view, *ended) && has_text(view, *ended))
        {
            columns.fate = Some(ended);
            columns.ended = None;
        }
        // "Condition" beside no end of its own is the present state.
        if columns.fate.is_none() {
            columns.fate = columns.looked_when_got.take();
        }
        by_cells(view, &mut columns);
        columns
    }

    /// The columns of the ready-made sheet's tab of corals, by their codes.
    pub fn coded(view: &View) -> Self {
        let at = |code: &str| view.coded(code);
        Columns {
            label: at("label"),
            name: at("written"),
            form: at("form"),
            tentacles: at("tentacles"),
            tank: at("coral_tank"),
            acquired: at("got"),
            source: at("got_from"),
            line: at("line"),
            origin: at("origin"),
            basis: at("origin_basis"),
            looked_when_got: at("looked_when_got"),
            days_at_seller: at("days_at_seller"),
            height: at("height"),
            flow: at("flow_word"),
            par: at("spot_par"),
            sting: at("stinging_near"),
            ended: at("ended"),
            fate: at("fate"),
            last_seen: at("last_seen"),
            cause: at("cause"),
            looked_then: at("looked_then"),
            ..Columns::default()
        }
    }

    /// The columns, with a column "Where" read as the tank if its cells are tanks and not places in one.
    pub fn housed(&self, work: &Work, view: &View) -> Self {
        let mut columns = self.clone();
        if columns.tank.is_some() {
            return columns;
        }
        let loose = |meaning: &Meaning| matches!(meaning, Meaning::Label | Meaning::Role(HeaderRole::What));
        let open = view.meanings.iter().filter(|(_, meaning)| loose(meaning)).map(|(column, _)| *column);
        let taken = [columns.name, columns.fate, columns.label, columns.trade];
        let mut candidates: Vec<u32> = columns.height.into_iter().collect();
        candidates.extend(open.filter(|column| !taken.contains(&Some(*column))));
        for column in candidates {
            let texts: Vec<String> = view
                .table
                .rows
                .iter()
                .filter_map(|row| view.text(row, column))
                .filter(|text| !analysis::vocabulary::is_no_reading(text))
                .collect();
            let tanks = texts.iter().filter(|text| work.tanks.is_one(text)).count();
            let place = texts.iter().any(|text| analysis::vocabulary::find_height_word(text).is_some());
            if tanks * 2 > texts.len() && (!place || tanks == texts.len()) {
                columns.tank = Some(column);
                if columns.height == Some(column) {
                    columns.height = None;
                }
                return columns;
            }
        }
        columns
    }

    /// Columns of days.
    pub fn dates(&self) -> Vec<u32> {
        let ends = self.ended.into_iter().chain(self.exits.iter().copied());
        self.acquired.into_iter().chain(ends).chain(self.last_seen).collect()
    }

    /// Columns whose cells are labels where no record uses them.
    pub fn is_loose(&self, column: u32) -> bool {
        // Days are never loose: each is recorded, asked about or refused.
        !self.dates().contains(&column) && !self.sizes.iter().any(|size| size.column == column)
    }
}

/// Of several columns of ends, those of days and those of ticks.
/// The column of light or flow at the coral's place.
fn of_spot(view: &View, parameter: &str) -> Option<u32> {
    view.table.header.iter().map(|header| header.column).find(|column| {
        crate::meaning::quantities(&view.header(*column))
            .first()
            .is_some_and(|quantity| quantity.parameter.as_str() == parameter)
    })
}

fn ways_to_leave(view: &View, columns: &mut Columns) {
    let ends = view.columns(HeaderRole::Ended);
    if ends.len() < 2 {
        return;
    }
    let (dated, worded): (Vec<u32>, Vec<u32>) = ends.iter().partition(|column| has_days(view, **column));
    columns.ended = dated.first().copied().or(columns.ended);
    columns.exits = dated.into_iter().skip(1).collect();
    columns.ticks =
        worded.into_iter().filter(|column| Some(*column) != columns.ended && ticked(view, *column)).collect();
}

/// A column of "yes" and "no", or of words about an end in their place.
pub(crate) fn ticked(view: &View, column: u32) -> bool {
    let mut texts = view
        .table
        .rows
        .iter()
        .filter_map(|row| view.text(row, column))
        .filter(|text| !analysis::vocabulary::is_no_reading(text))
        .peekable();
    texts.peek().is_some()
        && texts.all(|text| {
            analysis::vocabulary::yes_or_no(&text).is_some()
                || analysis::vocabulary::find_fate(&text) != FateMatch::NoWord
        })
}

/// Columns that no header word settles, by what stands in them: names of corals, words about their fate.
fn by_cells(view: &View, columns: &mut Columns) {
    let open = |meaning: &Meaning| {
        matches!(
            meaning,
            Meaning::Label
                | Meaning::Role(HeaderRole::What | HeaderRole::Kind | HeaderRole::Value | HeaderRole::Parameter)
        )
    };
    let candidates: Vec<u32> =
        view.meanings.iter().filter(|(_, meaning)| open(meaning)).map(|(column, _)| *column).collect();
    let most = |column: u32, fits: fn(&str) -> bool| {
        let texts: Vec<String> = view.table.rows.iter().filter_map(|row| view.text(row, column)).collect();
        !texts.is_empty() && texts.iter().filter(|text| fits(text)).count() * 2 > texts.len()
    };
    for column in candidates {
        if columns.name.is_none() && columns.genus.is_none() && most(column, names_a_coral) {
            columns.name = Some(column);
        } else if columns.fate.is_none() && most(column, says_a_fate) {
            columns.fate = Some(column);
        }
    }
    // Labels that say the name ("Goniopora red 2") where no other column does.
    if columns.name.is_none() && columns.genus.is_none() && columns.trade.is_none() {
        columns.name = columns.label.filter(|column| most(*column, names_a_coral));
    }
}

fn names_a_coral(text: &str) -> bool {
    !matches!(crate::canonical::kind::of(text), NameMatch::Unknown | NameMatch::Near(_))
}

fn says_a_fate(text: &str) -> bool {
    !matches!(analysis::vocabulary::find_fate(text), FateMatch::NoWord)
        || analysis::vocabulary::find_condition(text).is_some()
}

fn has_text(view: &View, column: u32) -> bool {
    view.table.rows.iter().any(|row| matches!(view.raw(row, column), Some(Raw::Text(_))))
}
