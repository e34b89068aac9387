//! A linear program: what some published figures leave open of an unknown one.

use std::cell::{Cell, RefCell};

use microlp::{ComparisonOp, Error, OptimizationDirection, Problem};

/// A sum of variables, each with its factor.
pub(super) type Sum = Vec<(usize, f64)>;

/// Solutions looked for before single sums are bounded.
const LOOKS: usize = 8;

/// Unknowns that are 0 or more, and what is known of their sums.
#[derive(Debug, Default, Clone)]
pub(super) struct Bounds {
    variables: usize,
    rows: Vec<(Sum, ComparisonOp, f64)>,
    /// Solutions found so far: a sum is open at least as far as these leave it.
    found: RefCell<Vec<Vec<f64>>>,
    /// The figures contradict each other.
    contradict: Cell<bool>,
}

impl Bounds {
    /// One more unknown.
    pub(super) fn unknown(&mut self) -> usize {
        self.variables += 1;
        self.variables - 1
    }

    /// `sum` is at least this.
    pub(super) fn at_least(&mut self, sum: Sum, least: f64) {
        self.rows.push((sum, ComparisonOp::Ge, least));
    }

    /// `sum` is at most this.
    pub(super) fn at_most(&mut self, sum: Sum, most: f64) {
        self.rows.push((sum, ComparisonOp::Le, most));
    }

    /// `sum` lies between these.
    pub(super) fn between(&mut self, sum: Sum, least: f64, most: f64) {
        if least == most {
            self.rows.push((sum, ComparisonOp::Eq, least));
        } else {
            self.at_least(sum.clone(), least);
            self.at_most(sum, most);
        }
    }

    /// The one is at most the other.
    pub(super) fn ordered(&mut self, less: usize, more: usize) {
        self.at_most(vec![(less, 1.0), (more, -1.0)], 0.0);
    }

    /// The least and the largest value of a sum, or values between them that are far enough apart: most sums are left open by
    /// what was found for others. `None`: the figures contradict each other.
    pub(super) fn range_until(&self, sum: &Sum, far_enough: impl Fn(f64, f64) -> bool) -> Option<(f64, f64)> {
        let value = |point: &Vec<f64>| sum.iter().map(|(variable, factor)| factor * point[*variable]).sum::<f64>();
        let values: Vec<f64> = self.found.borrow().iter().map(value).collect();
        let least = values.iter().copied().fold(f64::INFINITY, f64::min);
        let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if !values.is_empty() && far_enough(least, most) { Some((least, most)) } else { self.range(sum) }
    }

    /// The least and the largest value of a sum; infinite where nothing bounds it. `None`: the figures contradict each other.
    pub(super) fn range(&self, sum: &Sum) -> Option<(f64, f64)> {
        let least = self.solve(sum, OptimizationDirection::Minimize)?;
        let most = self.solve(sum, OptimizationDirection::Maximize)?;
        Some((least, most))
    }

    /// Looks for solutions that leave many of these sums open at once: all large, all small, and by turns.
    pub(super) fn look(&self, sums: &[Sum]) {
        let weight = |turn: usize, at: usize| match turn {
            0 => 1.0,
            1 => -1.0,
            // Quadratic residues stand for signs without order.
            _ => f64::from(((at * at + turn * (at + 7)) % 11) as i32 - 5),
        };
        for turn in 0..LOOKS {
            let of = |(at, sum): (usize, &Sum)| {
                sum.iter().map(|(variable, factor)| (*variable, weight(turn, at) * factor)).collect::<Sum>()
            };
            self.solve(&sums.iter().enumerate().flat_map(of).collect(), OptimizationDirection::Maximize);
        }
    }

    fn solve(&self, sum: &Sum, direction: OptimizationDirection) -> Option<f64> {
        if self.contradict.get() {
            return None;
        }
        let unbounded = if direction == OptimizationDirection::Minimize { f64::NEG_INFINITY } else { f64::INFINITY };
        let mut problem = Problem::new(direction);
        let mut objective = vec![0.0; self.variables];
        sum.iter().for_each(|(variable, factor)| objective[*variable] += factor);
        let variables: Vec<_> = objective.iter().map(|of| problem.add_var(*of, (0.0, f64::INFINITY))).collect();
        for (row, op, side) in &self.rows {
            let terms: Vec<_> = row.iter().map(|(variable, factor)| (variables[*variable], *factor)).collect();
            problem.add_constraint(terms, *op, *side);
        }
        match problem.solve() {
            Ok(outcome) => {
                let solution = outcome.into_solution().expect("no limit of time was set");
                self.found.borrow_mut().push(variables.iter().map(|variable| solution[*variable]).collect());
                Some(solution.objective())
            }
            Err(Error::Unbounded) => Some(unbounded),
            Err(Error::Infeasible) => {
                self.contradict.set(true);
                None
            }
            Err(error) => panic!("the linear program could not be solved: {error}"),
        }
    }
}

#[test]
fn a_small_program_has_the_bounds_found_by_hand() {
    // Three cells in a row of a table: a + b = 7, b + c = 9, a + b + c between 10 and 12: c = 3 to 5, b = 4 to 6, a = 1 to 3.
    let mut bounds = Bounds::default();
    let [a, b, c] = [(); 3].map(|()| bounds.unknown());
    bounds.between(vec![(a, 1.0), (b, 1.0)], 7.0, 7.0);
    bounds.between(vec![(b, 1.0), (c, 1.0)], 9.0, 9.0);
    bounds.between(vec![(a, 1.0), (b, 1.0), (c, 1.0)], 10.0, 12.0);
    let of = |sum: Sum| bounds.range(&sum).map(|(least, most)| (least.round(), most.round()));
    assert_eq!(of(vec![(a, 1.0)]), Some((1.0, 3.0)));
    assert_eq!(of(vec![(b, 1.0)]), Some((4.0, 6.0)));
    assert_eq!(of(vec![(c, 1.0)]), Some((3.0, 5.0)));
    assert_eq!(of(vec![(c, 1.0), (a, -1.0)]), Some((2.0, 2.0)));
    // The glass works of Hillier & Lieberman, Introduction to Operations Research (from memory): 3x + 5y is 36 at most.
    let mut works = Bounds::default();
    let [x, y] = [(); 2].map(|()| works.unknown());
    works.at_most(vec![(x, 1.0)], 4.0);
    works.at_most(vec![(y, 2.0)], 12.0);
    works.at_most(vec![(x, 3.0), (y, 2.0)], 18.0);
    let of = |sum: &Sum, far| works.range_until(sum, |least, most| most - least >= far);
    assert!(of(&vec![(x, 3.0), (y, 5.0)], 99.0).is_some_and(|(_, most)| (most - 36.0).abs() < 1e-9));
    // At 36, x is 2 and y 6: found for another sum.
    assert!(of(&vec![(y, 1.0)], 6.0).is_some_and(|(least, most)| least.abs() < 1e-9 && (most - 6.0).abs() < 1e-9));
    let free = bounds.unknown();
    bounds.found.borrow_mut().clear();
    assert_eq!(bounds.range(&vec![(free, 1.0)]), Some((0.0, f64::INFINITY)));
    bounds.at_most(vec![(a, 1.0)], 0.0);
    assert_eq!(bounds.range(&vec![(a, 1.0)]), None);
}
