//! Cells that no published figure tells apart, and the linear program over them.

use std::collections::{BTreeMap, BTreeSet};

use super::bounds::{Bounds, Sum};
use super::told::{Cell, Column, Counts, Figure, Truth};
use crate::answer::Audience;
use crate::disclosure::rounding::two_digits;
use crate::exposure::MONTH_DAYS;

/// The figures that hold a cell, by position.
type Held = Vec<usize>;

/// Columns that no figure tells apart: their cells, by the figures that hold them.
#[derive(Debug)]
pub(super) struct Group {
    pub(super) parts: Vec<(Held, BTreeSet<Cell>)>,
}

/// Every group. Where corals can change their level, a column is all levels of one name and year; else it is one cell.
pub(super) fn groups(cells: &BTreeSet<Cell>, figures: &[Figure], varies: bool) -> Vec<Group> {
    let held = |cell: &Cell| (0..figures.len()).filter(|&at| figures[at].holds(cell)).collect::<Held>();
    let levels: BTreeSet<&Vec<usize>> = cells.iter().map(|(_, levels)| levels).collect();
    // Which cells are empty is not known either.
    let names: BTreeSet<_> = cells.iter().map(|((name, _), _)| *name).collect();
    let years: BTreeSet<_> = cells.iter().map(|((_, year), _)| *year).collect();
    let columns = names.into_iter().flat_map(|name| years.iter().map(move |year| (name, *year)));
    let columns = columns.map(|column: Column| levels.iter().map(|at| (column, (*at).clone())).collect());
    let columns: Vec<Vec<Cell>> =
        if varies { columns.collect() } else { columns.flatten().map(|cell: Cell| vec![cell]).collect() };
    let mut alike: BTreeMap<Vec<Held>, Vec<Vec<Cell>>> = BTreeMap::new();
    for column in columns {
        alike.entry(column.iter().map(held).collect()).or_default().push(column);
    }
    let group = |(profile, columns): (Vec<Held>, Vec<Vec<Cell>>)| {
        let mut parts: BTreeMap<Held, BTreeSet<Cell>> = BTreeMap::new();
        for column in columns {
            for (held, cell) in profile.iter().zip(column) {
                parts.entry(held.clone()).or_default().insert(cell);
            }
        }
        Group { parts: parts.into_iter().collect() }
    };
    alike.into_iter().map(group).collect()
}

/// What an attacker starts from.
pub(super) struct Known<'a> {
    pub(super) groups: &'a [Group],
    /// Each with the records that it was counted from.
    pub(super) figures: Vec<(usize, &'a Figure, &'a Truth)>,
    /// The member whose own records are known: everything is of the others.
    pub(super) own: Option<u32>,
    /// Events, keepers and tanks are unknowns of their own in each cell; else they only say how many specimens there are
    /// at least.
    pub(super) closely: bool,
}

/// Unknowns by group, part and layer.
pub(super) struct Unknowns(Vec<Vec<[Option<usize>; 4]>>);

impl Unknowns {
    pub(super) fn at(&self, group: usize, part: usize, layer: usize) -> usize {
        self.0[group][part][layer].expect("a layer that something is told of")
    }

    /// What is at risk of another outcome, or on days on which the condition held, is part of the whole.
    fn nest(&self, bounds: &mut Bounds, outcomes_are_parts: bool) {
        for unknown in self.0.iter().flatten() {
            let outcomes = if outcomes_are_parts { &[(2, 0), (3, 1)][..] } else { &[] };
            for (less, more) in [(1, 0), (3, 2)].iter().chain(outcomes) {
                if let (Some(less), Some(more)) = (unknown[*less], unknown[*more]) {
                    bounds.ordered(less, more);
                }
            }
        }
    }
}

/// Where a rounded count can have come from.
fn count(n: u64, audience: Audience) -> (f64, f64) {
    match audience {
        Audience::Public => {
            let shown = crate::disclosure::rounding::count(n) as f64;
            ((shown - 2.0).max(0.0), shown + 2.0)
        }
        _ => (n as f64, n as f64),
    }
}

impl Known<'_> {
    /// What figures say of their cells, as far as these are not the attacker's own.
    fn counts(&self, (_, figure, truth): &(usize, &Figure, &Truth)) -> (Counts, Counts) {
        let of = |own| truth.counts(figure.layer, own, &|cell| figure.holds(cell));
        (of(None), of(self.own))
    }

    /// Layers that something is told of, and the whole.
    fn layers(&self) -> BTreeSet<usize> {
        self.figures.iter().map(|(_, figure, _)| figure.layer).chain([0]).collect()
    }

    fn unknowns(&self, bounds: &mut Bounds) -> Unknowns {
        let layers = self.layers();
        let of = |group: &Group| {
            group.parts.iter().map(|_| [0, 1, 2, 3].map(|at| layers.contains(&at).then(|| bounds.unknown()))).collect()
        };
        Unknowns(self.groups.iter().map(of).collect())
    }

    /// The parts that a figure holds of each group.
    fn parts(&self, number: usize) -> Vec<(usize, Vec<usize>)> {
        let held = |group: &Group| -> Vec<usize> {
            (0..group.parts.len()).filter(|&part| group.parts[part].0.contains(&number)).collect()
        };
        let parts = self.groups.iter().enumerate().map(|(at, group)| (at, held(group)));
        parts.filter(|(_, parts)| !parts.is_empty()).collect()
    }

    /// Specimens and events: what is known of them.
    pub(super) fn specimens(&self, bounds: &mut Bounds) -> (Unknowns, Option<Unknowns>) {
        let of = self.unknowns(bounds);
        of.nest(bounds, true);
        let lesser = self.closely.then(|| [(); 3].map(|()| self.unknowns(bounds)));
        if let Some([ended, ..]) = &lesser {
            ended.nest(bounds, false);
        }
        // The corals of several parts together, of which some may be in more than one.
        let mut unions: BTreeMap<(usize, usize, Vec<usize>), usize> = BTreeMap::new();
        for (group, parts) in self.groups.iter().enumerate() {
            let layers = self.layers();
            for (part, layer) in (0..parts.parts.len()).flat_map(|part| layers.iter().map(move |layer| (part, *layer)))
            {
                let specimens = of.at(group, part, layer);
                for less in lesser.iter().flatten() {
                    bounds.ordered(less.at(group, part, layer), specimens);
                }
                unions.insert((group, layer, vec![part]), specimens);
            }
        }
        for known in &self.figures {
            let (number, figure, _) = known;
            let layer = figure.layer;
            let (all, others) = self.counts(known);
            let mut specimens = Sum::new();
            let mut sums: [Sum; 3] = Default::default();
            for (group, parts) in self.parts(*number) {
                let single =
                    |of: &Unknowns| parts.iter().map(|part| (of.at(group, *part, layer), 1.0)).collect::<Sum>();
                for (sum, of) in sums.iter_mut().zip(lesser.iter().flatten()) {
                    sum.extend(single(of));
                }
                let union = *unions.entry((group, layer, parts.clone())).or_insert_with(|| {
                    let union = bounds.unknown();
                    for part in &parts {
                        bounds.ordered(of.at(group, *part, layer), union);
                    }
                    let mut beyond = single(&of);
                    beyond.push((union, -1.0));
                    bounds.at_least(beyond, 0.0);
                    if let Some([ended, ..]) = &lesser {
                        let mut beyond = single(ended);
                        beyond.push((union, -1.0));
                        bounds.at_most(beyond, 0.0);
                    }
                    union
                });
                specimens.push((union, 1.0));
            }
            let own = |all: u64, others: u64| (all - others) as f64;
            let less = |(least, most): (f64, f64), own: f64| ((least - own).max(0.0), most - own);
            let (least, most) = less(count(all.specimens, figure.audience), own(all.specimens, others.specimens));
            let ids = [(all.keepers, others.keepers), (all.tanks, others.tanks)];
            let ids = ids.map(|(all, others)| less(count(all, figure.audience), own(all, others)));
            let least = ids.iter().map(|(least, _)| *least).fold(least, f64::max);
            bounds.between(specimens, least, most);
            if self.closely {
                let [events, keepers, tanks] = sums;
                let (least, most) = less(count(all.events, figure.audience), own(all.events, others.events));
                bounds.between(events, least, most);
                for ((least, most), sum) in ids.into_iter().zip([keepers, tanks]) {
                    sum.iter().for_each(|(one, _)| bounds.at_most(vec![(*one, 1.0)], most));
                    bounds.at_least(sum, least);
                }
            }
        }
        // A union of fewer parts is no more than one of more, and lacks no more than the parts between.
        let all: Vec<_> = unions.iter().collect();
        for ((group, layer, fewer), less) in &all {
            let beside = all.iter().skip_while(|((of, ..), _)| of < group).take_while(|((of, ..), _)| of == group);
            for ((of_group, of_layer, more), union) in beside {
                let holds = fewer.iter().all(|part| more.contains(part));
                if group == of_group && fewer == more && (layer, of_layer) == (&1, &0) {
                    bounds.ordered(**less, **union);
                }
                if (group, layer) == (of_group, of_layer) && fewer.len() > 1 && fewer.len() < more.len() && holds {
                    bounds.ordered(**less, **union);
                    let between = more.iter().filter(|part| !fewer.contains(part));
                    let mut sum: Sum = between.map(|part| (of.at(*group, *part, *layer), 1.0)).collect();
                    sum.extend([(**less, 1.0), (**union, -1.0)]);
                    bounds.at_least(sum, 0.0);
                }
            }
        }
        (of, lesser.map(|[ended, ..]| ended))
    }

    /// Days and events: what is known of them.
    pub(super) fn days(&self, bounds: &mut Bounds) -> Unknowns {
        let (of, ended) = (self.unknowns(bounds), self.unknowns(bounds));
        of.nest(bounds, true);
        ended.nest(bounds, false);
        for known in &self.figures {
            let (number, figure, _) = known;
            let (all, others) = self.counts(known);
            let sum = |unknowns: &Unknowns| {
                let parts = self.parts(*number).into_iter();
                let each = parts.flat_map(|(group, parts)| parts.into_iter().map(move |part| (group, part)));
                each.map(|(group, part)| (unknowns.at(group, part, figure.layer), 1.0)).collect::<Sum>()
            };
            let own = all.days - others.days;
            let (least, most) = match figure.audience {
                Audience::Public => {
                    let shown = crate::disclosure::rounding::days(all.days);
                    (shown - 25.0, shown + 25.0)
                }
                // Sums in another order differ in their last digits.
                _ => (all.days - DIGITS, all.days + DIGITS),
            };
            bounds.between(sum(&of), (least - own).max(0.0), most - own);
            let (least, most) = count(all.events, figure.audience);
            let own = (all.events - others.events) as f64;
            bounds.between(sum(&ended), (least - own).max(0.0), most - own);
            // A rate is events by days, each with the attacker's own; half of its last digit either way.
            if figure.audience == Audience::Public && self.own.is_none() && all.events > 0 && all.days > 0.0 {
                let shown = two_digits(100.0 * MONTH_DAYS * all.events as f64 / all.days);
                let half = 0.5 * 10_f64.powi(shown.log10().floor() as i32 - 1);
                for (rate, sign) in [(shown - half, 1.0), (shown + half, -1.0)] {
                    let mut both: Sum =
                        sum(&ended).into_iter().map(|(at, one)| (at, sign * one * 100.0 * MONTH_DAYS)).collect();
                    both.extend(sum(&of).into_iter().map(|(at, one)| (at, -sign * one * rate)));
                    bounds.at_least(both, -DIGITS);
                }
            }
        }
        of
    }
}

/// Days by which sums may differ.
const DIGITS: f64 = 1e-3;
