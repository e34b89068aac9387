//! Cells joined into blocks until every block may be shown. It knows neither clubs nor who reads.
//!
//! Cells are the finest levels of a split (the steps of a ladder; unknown is one, the last) by years of purchase. Each
//! row (a level, or several joined) has blocks of years of its own. Looking through rows and years from the lowest on,
//! the first block that fails
//!
//! 1. is joined with the next block of years of its row, the last one with the one before;
//! 2. if its row is one block over all years, the row is joined with the next row up the ladder, the last known one
//!    with the one below. Unknown is joined with the last known row, and a known row with unknown only when nothing else
//!    is left. The joined row starts again from single years.
//!
//! Then it starts over, until all pass. If the only block left fails, there is no partition. Blocks stay rectangles: some
//! rows by some years. A partition may start from another one instead of single cells; its blocks are then unions of
//! the other's, and where rows are joined, the years start again from those in which all of them were cut.

use std::ops::Range;

use super::cells::Block;

/// Levels that are printed as one, and how their years are cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Levels, ascending.
    pub levels: Vec<usize>,
    /// Blocks of years, in order, without gaps.
    pub years: Vec<Range<usize>>,
    /// It is the unknown level and nothing else.
    pub unknown: bool,
}

/// Every cell in one block.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Partition {
    /// Which split the levels are of; `None` = years alone.
    pub split: Option<usize>,
    /// From the lowest level on; unknown last.
    pub rows: Vec<Row>,
}

/// The blocks of years whose ends are ends in all of these.
fn common(rows: &[&[Range<usize>]]) -> Vec<Range<usize>> {
    let Some((first, others)) = rows.split_first() else { return Vec::new() };
    let mut years: Vec<Range<usize>> = Vec::new();
    for block in first.iter() {
        let cut = others.iter().all(|other| other.iter().any(|theirs| theirs.start == block.start));
        match years.last_mut() {
            Some(last) if !cut => last.end = block.end,
            _ => years.push(block.clone()),
        }
    }
    years
}

/// A row on the way: the rows it started as, and whether each of its blocks is known to pass.
struct Joining {
    row: Row,
    started_as: Vec<usize>,
    passed: Vec<bool>,
}

impl Partition {
    /// Single years, all levels together.
    pub fn of_years(years: usize) -> Partition {
        let row = Row { levels: Vec::new(), years: (0..years).map(|year| year..year + 1).collect(), unknown: false };
        Partition { split: None, rows: vec![row] }
    }

    /// One row a level, each cut at these years. `unknown` is the number of the unknown level.
    pub fn of_levels(split: usize, levels: &[usize], unknown: usize, years: &[Range<usize>]) -> Partition {
        let row = |&level: &usize| Row { levels: vec![level], years: years.to_vec(), unknown: level == unknown };
        Partition { split: Some(split), rows: levels.iter().map(row).collect() }
    }

    /// Every block.
    pub fn blocks(&self) -> impl Iterator<Item = Block> + '_ {
        self.rows.iter().flat_map(|row| row.years.iter().map(|years| self.block(row, years)))
    }

    fn block(&self, row: &Row, years: &Range<usize>) -> Block {
        Block { split: self.split, levels: row.levels.clone(), years: years.clone() }
    }

    /// Whether what was bought from this year on is a union of whole blocks.
    pub fn is_cut_at(&self, year: usize) -> bool {
        self.rows.iter().all(|row| row.years.iter().any(|block| block.start == year))
    }

    /// Whether these levels are a union of whole rows.
    pub fn holds(&self, levels: &[usize]) -> bool {
        self.rows.iter().all(|row| {
            let inside = row.levels.iter().filter(|level| levels.contains(level)).count();
            inside == 0 || inside == row.levels.len()
        })
    }

    /// Whether a block is a union of whole ones; levels that are in no row hold nothing.
    pub fn has(&self, block: &Block) -> bool {
        let inside = |level: &usize| block.levels.contains(level);
        let meets = self.rows.iter().filter(|row| row.levels.is_empty() || row.levels.iter().any(inside));
        meets.into_iter().all(|row| {
            row.levels.iter().all(inside)
                && row.years.iter().any(|years| years.start == block.years.start)
                && row.years.iter().any(|years| years.end == block.years.end)
        })
    }

    /// The finest partition whose blocks are unions of blocks of both. Rows of the other that hold no level of this one
    /// do not count.
    pub fn joined(&self, other: &Partition) -> Partition {
        let mut groups: Vec<Vec<usize>> = (0..self.rows.len()).map(|row| vec![row]).collect();
        for theirs in &other.rows {
            let shares = |group: &Vec<usize>| group.iter().any(|&row| meets(&self.rows[row], theirs));
            let (mut linked, mut apart): (Vec<_>, Vec<_>) = groups.into_iter().partition(shares);
            let mut one: Vec<usize> = linked.drain(..).flatten().collect();
            one.sort_unstable();
            apart.extend((!one.is_empty()).then_some(one));
            groups = apart;
        }
        groups.sort();
        let rows = groups.iter().map(|group| {
            let own: Vec<&Row> = group.iter().map(|&row| &self.rows[row]).collect();
            let theirs = other.rows.iter().filter(|theirs| own.iter().any(|row| meets(row, theirs)));
            let years: Vec<&[Range<usize>]> =
                own.iter().copied().chain(theirs).map(|row| row.years.as_slice()).collect();
            Row {
                levels: own.iter().flat_map(|row| row.levels.iter().copied()).collect(),
                years: common(&years),
                unknown: own.iter().all(|row| row.unknown),
            }
        });
        Partition { split: self.split, rows: rows.collect() }
    }

    /// The same, cut only at years at which these are.
    pub fn cut_as(&self, years: &[Range<usize>]) -> Partition {
        let row = |row: &Row| Row { years: common(&[&row.years, years]), ..row.clone() };
        Partition { split: self.split, rows: self.rows.iter().map(row).collect() }
    }

    /// Joins blocks as the module says until all pass; `None` if the last one left fails.
    pub fn merged(&self, mut passes: impl FnMut(&Block) -> bool) -> Option<Partition> {
        let joining = |(position, row): (usize, &Row)| Joining {
            passed: vec![false; row.years.len()],
            row: row.clone(),
            started_as: vec![position],
        };
        let mut rows: Vec<Joining> = self.rows.iter().enumerate().map(joining).collect();
        loop {
            let mut failing = None;
            'search: for (at, joining) in rows.iter_mut().enumerate() {
                for block in 0..joining.row.years.len() {
                    let (row, years) = (&joining.row, &joining.row.years[block]);
                    joining.passed[block] = joining.passed[block] || passes(&self.block(row, years));
                    if !joining.passed[block] {
                        failing = Some((at, block));
                        break 'search;
                    }
                }
            }
            let Some((at, block)) = failing else {
                return Some(Partition { split: self.split, rows: rows.into_iter().map(|j| j.row).collect() });
            };
            let joining = &mut rows[at];
            if joining.row.years.len() > 1 {
                let first = block.min(joining.row.years.len() - 2);
                joining.row.years[first].end = joining.row.years[first + 1].end;
                joining.row.years.remove(first + 1);
                joining.passed.remove(first + 1);
                joining.passed[first] = false;
                continue;
            }
            if rows.len() < 2 {
                return None;
            }
            let up = rows.get(at + 1).is_some_and(|next| at == 0 || !next.row.unknown);
            let lower = if up { at } else { at - 1 };
            let upper = rows.remove(lower + 1);
            let joined = &mut rows[lower];
            joined.row.levels.extend(upper.row.levels);
            joined.row.unknown = false;
            joined.started_as.extend(upper.started_as);
            let starts: Vec<&[Range<usize>]> =
                joined.started_as.iter().map(|&row| self.rows[row].years.as_slice()).collect();
            joined.row.years = common(&starts);
            joined.passed = vec![false; joined.row.years.len()];
        }
    }
}

/// Whether two rows share a level; rows of years alone hold them all.
fn meets(a: &Row, b: &Row) -> bool {
    a.levels.is_empty() || b.levels.is_empty() || a.levels.iter().any(|level| b.levels.contains(level))
}

#[cfg(test)]
mod tests;
