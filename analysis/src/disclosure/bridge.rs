//! Suppressed cells beside row and column totals: none may follow from the others by subtraction.
//!
//! Rows and columns are nodes, suppressed cells edges between them. A suppressed cell whose removal parts its row from its
//! column (a bridge) follows from the totals on either side; with no bridge every suppressed cell lies on a cycle, along
//! which values can be moved without changing any total. Answers here show no totals over suppressed cells; a table that
//! does needs this rule.
//!
//! Tarjan 1974, Inf Process Lett 2: 160–161 (bridges); Hundepool et al. 2012, *Statistical Disclosure Control*, Wiley (both
//! from memory).

use std::collections::BTreeSet;

/// A cell: row and column, from 0.
pub type CellAt = (usize, usize);

/// The suppressed cells of a table of `rows` by `columns` that follow from its totals. Cells outside the table and repeated
/// ones are passed over.
///
/// O(rows + columns + cells).
pub fn bridges(rows: usize, columns: usize, suppressed: &[CellAt]) -> Vec<CellAt> {
    let cells: Vec<CellAt> = inside(rows, columns, suppressed).into_iter().collect();
    let mut edges: Vec<Vec<(usize, usize)>> = vec![Vec::new(); rows + columns];
    for (edge, &(row, column)) in cells.iter().enumerate() {
        edges[row].push((rows + column, edge));
        edges[rows + column].push((row, edge));
    }
    let mut walk = Walk { edges: &edges, order: vec![None; rows + columns], lowest: vec![0; rows + columns] };
    let mut found: Vec<CellAt> = (0..rows).flat_map(|row| walk.bridges_from(row)).map(|edge| cells[edge]).collect();
    found.sort_unstable();
    found
}

/// Further cells to suppress so that no suppressed cell follows from the totals; `None` if there is no such set (one row or
/// one column). `size` is what a cell costs, row by row, usually its specimens: each bridge is put on the cheapest cycle
/// through it, cells that are suppressed already costing nothing.
pub fn secondary(size: &[Vec<u64>], primary: &[CellAt]) -> Option<Vec<CellAt>> {
    let (rows, columns) = (size.len(), size.first().map_or(0, Vec::len));
    if size.iter().any(|row| row.len() != columns) {
        return None;
    }
    let first = inside(rows, columns, primary);
    let mut suppressed = first.clone();
    loop {
        let list: Vec<CellAt> = suppressed.iter().copied().collect();
        let Some(&open) = bridges(rows, columns, &list).first() else { break };
        suppressed.extend(cheapest_way_round(size, &suppressed, open)?);
    }
    Some(suppressed.difference(&first).copied().collect())
}

fn inside(rows: usize, columns: usize, cells: &[CellAt]) -> BTreeSet<CellAt> {
    cells.iter().copied().filter(|(row, column)| *row < rows && *column < columns).collect()
}

/// A walk in depth. A bridge leads to nodes from which no other edge leads back.
struct Walk<'a> {
    edges: &'a [Vec<(usize, usize)>],
    order: Vec<Option<usize>>,
    lowest: Vec<usize>,
}

impl Walk<'_> {
    fn bridges_from(&mut self, start: usize) -> Vec<usize> {
        let mut found = Vec::new();
        if self.order[start].is_some() {
            return found;
        }
        let mut next = self.order.iter().flatten().count();
        let mut enter = |walk: &mut Self, node: usize| {
            (walk.order[node], walk.lowest[node]) = (Some(next), next);
            next += 1;
        };
        enter(self, start);
        // Node, the edge by which it was reached, and how many of its edges were tried.
        let mut path = vec![(start, usize::MAX, 0)];
        while let Some((node, by, tried)) = path.last_mut() {
            let (node, by) = (*node, *by);
            if let Some(&(other, edge)) = self.edges[node].get(*tried) {
                *tried += 1;
                if edge == by {
                    continue;
                }
                match self.order[other] {
                    Some(order) => self.lowest[node] = self.lowest[node].min(order),
                    None => {
                        enter(self, other);
                        path.push((other, edge, 0));
                    }
                }
            } else {
                path.pop();
                if let Some((before, ..)) = path.last() {
                    self.lowest[*before] = self.lowest[*before].min(self.lowest[node]);
                    if self.order[*before].is_some_and(|order| self.lowest[node] > order) {
                        found.push(by);
                    }
                }
            }
        }
        found
    }
}

/// The cells of the cheapest way from the row of a cell to its column that does not use the cell (Dijkstra 1959, Numer Math
/// 1: 269–271).
fn cheapest_way_round(size: &[Vec<u64>], suppressed: &BTreeSet<CellAt>, cell: CellAt) -> Option<Vec<CellAt>> {
    let (rows, columns) = (size.len(), size.first().map_or(0, Vec::len));
    let (start, goal) = (cell.0, rows + cell.1);
    let mut reached: Vec<Option<(u64, usize)>> = vec![None; rows + columns];
    let mut done = vec![false; rows + columns];
    reached[start] = Some((0, start));
    let at = |a: usize, b: usize| if a < rows { (a, b - rows) } else { (b, a - rows) };
    loop {
        let open = (0..rows + columns).filter(|&node| !done[node]);
        let (cost, node) = open.filter_map(|node| reached[node].map(|(cost, _)| (cost, node))).min()?;
        if node == goal {
            break;
        }
        done[node] = true;
        let others = if node < rows { rows..rows + columns } else { 0..rows };
        for other in others {
            let step = at(node, other);
            if step == cell {
                continue;
            }
            let cost = cost + if suppressed.contains(&step) { 0 } else { size[step.0][step.1] };
            if reached[other].is_none_or(|(known, _)| cost < known) {
                reached[other] = Some((cost, node));
            }
        }
    }
    let mut cells = Vec::new();
    let mut node = goal;
    while node != start {
        let (_, before) = reached[node]?;
        cells.push(at(node, before));
        node = before;
    }
    Some(cells)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lone_cell_and_a_path_are_bridges_and_a_square_is_not() {
        assert_eq!(bridges(3, 3, &[(0, 2)]), [(0, 2)]);
        assert_eq!(bridges(3, 3, &[(0, 0), (0, 1), (1, 1)]), [(0, 0), (0, 1), (1, 1)]);
        let square = [(0, 0), (0, 1), (1, 0), (1, 1)];
        assert!(bridges(3, 3, &square).is_empty());
        let with_tail: Vec<CellAt> = square.iter().copied().chain([(2, 0), (9, 9)]).collect();
        assert_eq!(bridges(3, 3, &with_tail), [(2, 0)]);
    }

    #[test]
    fn bridges_are_the_cells_whose_removal_parts_their_row_from_their_column() {
        // Against the definition, for every set of cells of a table of three by three.
        for set in 0..512u32 {
            let cells: Vec<CellAt> = (0..9).filter(|bit| set >> bit & 1 == 1).map(|bit| (bit / 3, bit % 3)).collect();
            let parted = |cell: &CellAt| {
                let mut near = [false; 6];
                near[cell.0] = true;
                for _ in 0..6 {
                    for other in cells.iter().filter(|other| *other != cell) {
                        let either = near[other.0] || near[3 + other.1];
                        (near[other.0], near[3 + other.1]) = (either, either);
                    }
                }
                !near[3 + cell.1]
            };
            let want: Vec<CellAt> = cells.iter().copied().filter(|cell| parted(cell)).collect();
            assert_eq!(bridges(3, 3, &cells), want, "{cells:?}");
        }
    }

    #[test]
    fn what_is_added_leaves_no_bridge_and_nothing_is_added_without_need() {
        let size = vec![vec![5, 9, 3, 8], vec![4, 7, 2, 6], vec![9, 1, 8, 3]];
        for row in 0..3 {
            for column in 0..4 {
                let primary = [(row, column), (0, 0)];
                let more = secondary(&size, &primary).expect("a table");
                let all: Vec<CellAt> = primary.iter().chain(&more).copied().collect();
                assert!(bridges(3, 4, &all).is_empty());
            }
        }
        assert_eq!(secondary(&size, &[]), Some(Vec::new()));
        assert_eq!(secondary(&size, &[(0, 0), (0, 1), (1, 0), (1, 1)]), Some(Vec::new()));
        // One row has no cycles; rows of unlike length are no table.
        assert_eq!(secondary(&[vec![1, 2, 3]], &[(0, 0)]), None);
        assert_eq!(secondary(&[vec![1, 2], vec![3]], &[(0, 0)]), None);
    }
}
