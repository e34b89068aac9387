//! A finite attack by linear programming on everything that is told about survival.
//!
//! Two hundred clubs of a seed, small enough that some cells may not be shown. An attacker reads every answer that an
//! address can ask for (each taxon and fallback, split, run of ladder steps, first year, outcome, with and without a condition that
//! had to hold), before and after one upload and one withdrawal, as the public or as a member, who reads the public's too and
//! may know the own records. Unknown are specimens, events, days, keepers and tanks of each finest cell; known are the
//! figures, each with its rounding, and rates times their days. A linear program bounds the unknown ones. Cells that no
//! figure tells apart are interchangeable: one stands for all, and what bounds it is their sum. Corals that change their
//! level are in several cells: a union is no less than each of its cells, and no more than their sum.
//!
//! The attack succeeds where a cell that may not be shown, or one joined with others, is bounded to fewer than five
//! specimens; where the sum of cells that may not be shown together is known exactly; where what an outcome or a condition leaves
//! out is; where a member who knows the own records learns more of the others in a block than their sum; and where the
//! change of the one who uploaded or withdrew is known.

use std::collections::{BTreeMap, BTreeSet};

use self::bounds::Bounds;
use self::classes::{Group, Known, Unknowns, groups};
use self::told::{Cell, Figure, Truth, populations, told};
use crate::answer::conditions::shown::of_no_split;
use crate::answer::held::Piece;
use crate::answer::{Audience, By, Outcome};
use crate::club::Club;
use crate::disclosure::cells::{Entry, tally};
use crate::disclosure::plan::is_kept;
use crate::evidence::Tally;
use crate::follow_up::Population;
use crate::vocabulary::TaxonSlug;

use super::records::Divided;

mod bounds; // the linear program
mod classes; // cells that no figure tells apart, and what is known of them
pub(super) mod clubs; // clubs from a seed
mod releases; // what a second release tells
mod subtraction; // figures of a moment or of some ages taken from each other
mod tests;
mod told; // everything that is told

/// How tightly everything is bounded, by what it is of.
#[derive(Debug, Default, Clone)]
pub(super) struct Report {
    /// Bounded; the fewest left open that were found (those open far enough are not searched further); how many are bounded
    /// too tightly.
    kinds: BTreeMap<&'static str, (usize, f64, usize)>,
    /// The first of each kind that are bounded too tightly.
    found: Vec<String>,
}

impl Report {
    fn add(&mut self, kind: &'static str, open: f64, need: f64, what: impl Fn() -> String) {
        let (bounded, least, broken) = self.kinds.entry(kind).or_insert((0, f64::INFINITY, 0));
        *bounded += 1;
        *least = least.min(open);
        if open < need {
            *broken += 1;
            if *broken <= 3 {
                self.found.push(format!("{kind}: {open} of {need}: {}", what()));
            }
        }
    }

    fn join(&mut self, other: Report) {
        for (kind, (bounded, least, broken)) in other.kinds {
            let own = self.kinds.entry(kind).or_insert((0, f64::INFINITY, 0));
            *own = (own.0 + bounded, own.1.min(least), own.2 + broken);
        }
        self.found.extend(other.found);
    }

    /// Bounds too tight.
    fn broken(&self) -> usize {
        self.kinds.values().map(|(_, _, broken)| broken).sum()
    }
}

/// Fewest specimens that have to be left open.
const OPEN: f64 = 5.0;

/// What of a cell may be known: for members five corals of three keepers, none of whom has most of it. Blocks hold more, so that
/// what is known of some of their corals leaves five open.
fn passes(tally: &Tally, audience: Audience) -> bool {
    let [keepers, tanks, specimens] = if audience == Audience::Public { [5, 3, 10] } else { [3, 3, 5] };
    tally.keepers >= keepers && tally.tanks >= tanks && tally.specimens >= specimens && tally.largest_share <= 0.8
}

/// How far apart whole numbers between two bounds can lie.
fn whole((least, most): (f64, f64)) -> (f64, f64) {
    ((least - 1e-6).ceil(), (most + 1e-6).floor())
}

/// The entries of some cells, of a layer.
fn entries<'a>(truth: &'a Truth, cells: &'a BTreeSet<Cell>, layer: usize) -> Vec<(&'a Cell, &'a Entry)> {
    let inside = cells.iter().filter_map(|cell| Some((cell, truth.entries.get(cell)?)));
    let each = inside.flat_map(|(cell, entries)| entries.iter().map(move |entry| (cell, entry)));
    each.filter(|(_, entry)| is_kept(layer, entry.marks)).collect()
}

/// Everything that an attacker has.
struct Attack<'a> {
    groups: &'a [Group],
    figures: Vec<(usize, &'a Figure, &'a Truth)>,
    truth: &'a Truth,
    audience: Audience,
    name: String,
}

impl Attack<'_> {
    /// What is known of a layer, beside the whole.
    fn known(&self, own: Option<u32>, layer: usize, closely: bool) -> Known<'_> {
        let beside: &[usize] = if layer == 3 { &[0, 2, 3] } else { &[0, layer] };
        let figures = self.figures.iter().filter(|(_, figure, _)| beside.contains(&figure.layer)).copied().collect();
        Known { groups: self.groups, figures, own, closely }
    }

    /// Whole numbers between which a sum lies, or some of them that are this far apart.
    fn range(&self, bounds: &Bounds, sum: &bounds::Sum, far: f64) -> (f64, f64) {
        let range = bounds.range_until(sum, |least, most| {
            let (least, most) = whole((least, most));
            most - least >= far
        });
        whole(range.unwrap_or_else(|| self.contradict()))
    }

    fn contradict(&self) -> ! {
        panic!("{}: the figures contradict each other", self.name)
    }

    /// Bounds of every cell, and of what outcomes and conditions leave out.
    fn bound(&self, report: &mut Report) {
        let places = |layer: usize| {
            let told = move |held: &[usize]| {
                self.figures.iter().any(|(number, figure, _)| figure.layer == layer && held.contains(number))
            };
            self.groups.iter().enumerate().flat_map(move |(group, of)| {
                let told = of.parts.iter().enumerate().filter(move |(_, (held, _))| told(held));
                told.map(move |(part, _)| (group, part))
            })
        };
        let look = |bounds: &Bounds, of: &Unknowns, layer: usize| {
            bounds.look(&places(layer).map(|(group, part)| vec![(of.at(group, part, layer), 1.0)]).collect::<Vec<_>>());
        };
        let by_layer = [0, 1, 2, 3].map(|layer| {
            let mut bounds = Bounds::default();
            let (of, _) = self.known(None, layer, false).specimens(&mut bounds);
            look(&bounds, &of, layer);
            (bounds, of)
        });
        // Members read exact numbers of events, keepers and tanks: they count where a cell may not be shown.
        let closely = |layer: usize| {
            let mut bounds = Bounds::default();
            let (of, _) = self.known(None, layer, self.audience == Audience::Member).specimens(&mut bounds);
            look(&bounds, &of, layer);
            (bounds, of)
        };
        let by_layer_closely = [0, 1, 2, 3].map(|_| std::cell::OnceCell::new());
        let by_days = [1, 3].map(|layer| {
            let mut bounds = Bounds::default();
            let of = self.known(None, layer, false).days(&mut bounds);
            look(&bounds, &of, layer);
            (bounds, of)
        });
        for (group, parts) in self.groups.iter().enumerate() {
            for (part, (held, cells)) in parts.parts.iter().enumerate() {
                let told = |layer: usize| {
                    self.figures.iter().any(|(number, figure, _)| figure.layer == layer && held.contains(number))
                };
                let say = |what: &str| {
                    let held: Vec<&str> =
                        self.figures.iter().filter(|(n, ..)| held.contains(n)).map(|f| f.1.what.as_str()).collect();
                    let held = held.join("; ").replace(" since None", "").replace(" None", "");
                    format!("{} {what} {cells:?} in {held}", self.name)
                };
                for (layer, kind) in
                    ["cell", "cell, condition held", "cell, outcome", "cell, both"].into_iter().enumerate()
                {
                    let inside = entries(self.truth, cells, layer);
                    if inside.is_empty() || !told(layer) {
                        continue;
                    }
                    let passes = passes(&tally(inside.iter().map(|(_, entry)| *entry)), self.audience);
                    if cells.len() == 1 && passes {
                        continue;
                    }
                    let (bounds, of) = &by_layer[layer];
                    let sum = vec![(of.at(group, part, layer), 1.0)];
                    if passes {
                        let most = bounds.range_until(&sum, |_, most| whole((0.0, most)).1 >= OPEN);
                        let (_, most) = most.unwrap_or_else(|| self.contradict());
                        report.add(kind, whole((0.0, most)).1, OPEN, || say(""));
                        continue;
                    }
                    let (bounds, of) = by_layer_closely[layer].get_or_init(|| closely(layer));
                    let sum = vec![(of.at(group, part, layer), 1.0)];
                    let open = |least: f64, most: f64| if cells.len() > 1 { most } else { most - least };
                    let range = bounds.range_until(&sum, |least, most| {
                        let (least, most) = whole((least, most));
                        open(least, most) >= OPEN && most - least >= 1.0
                    });
                    let (least, most) = whole(range.unwrap_or_else(|| self.contradict()));
                    let open = open(least, most);
                    report.add(kind, open, OPEN, || say(&format!("{least} to {most}")));
                    report
                        .add("sum that may not be shown", most - least, 1.0, || say(&format!("sum {least} to {most}")));
                }
                for (whole_layer, kept, kind) in [(0, 2, "left out by the outcome")] {
                    let inside: BTreeSet<u32> =
                        entries(self.truth, cells, kept).iter().map(|(_, entry)| entry.specimen).collect();
                    let left = entries(self.truth, cells, whole_layer).into_iter();
                    let left: Vec<(&Cell, &Entry)> = left.filter(|(_, e)| !inside.contains(&e.specimen)).collect();
                    if left.is_empty() || !told(kept) || passes(&tally(left.iter().map(|(_, e)| *e)), self.audience) {
                        continue;
                    }
                    let (bounds, of) = &by_layer[kept];
                    let sum = vec![(of.at(group, part, whole_layer), 1.0), (of.at(group, part, kept), -1.0)];
                    let (least, most) = self.range(bounds, &sum, 1.0);
                    report.add(kind, most - least, 1.0, || say("left"));
                }
                for (whole_layer, kept, kind) in
                    [(0, 1, "left out by the condition"), (2, 3, "left out by the condition")]
                {
                    let left = entries(self.truth, cells, whole_layer).into_iter();
                    let left: Vec<&Entry> = left.map(|(_, e)| e).filter(|e| !is_kept(kept, e.marks)).collect();
                    // Days unknown, in and out are told apart only where each may be.
                    if left.is_empty() || !told(kept) || passes(&tally(left.into_iter()), self.audience) {
                        continue;
                    }
                    let (bounds, of) = &by_days[kept / 2];
                    let sum = vec![(of.at(group, part, whole_layer), 1.0), (of.at(group, part, kept), -1.0)];
                    let range = bounds.range_until(&sum, |least, most| most - least >= 1.0);
                    let (least, most) = range.unwrap_or_else(|| self.contradict());
                    report.add(kind, most - least, 1.0, || say("days left"));
                }
            }
        }
    }

    /// Bounds of the others' corals for a member who knows the own ones.
    fn bound_others(&self, own: u32, report: &mut Report) {
        let mut bounds = Bounds::default();
        let (of, _) = self.known(Some(own), 0, false).specimens(&mut bounds);
        for (group, parts) in self.groups.iter().enumerate() {
            for (part, (held, cells)) in parts.parts.iter().enumerate() {
                let inside = entries(self.truth, cells, 0);
                let others: BTreeSet<u32> =
                    inside.iter().filter(|(_, e)| e.keeper != own).map(|(_, e)| e.specimen).collect();
                let told = self.figures.iter().any(|(number, ..)| held.contains(number));
                if others.is_empty() || others.len() == inside.len() || cells.len() < 2 || !told {
                    continue;
                }
                let sum = vec![(of.at(group, part, 0), 1.0)];
                let need = OPEN.min(others.len() as f64);
                let most = bounds.range_until(&sum, |_, most| whole((0.0, most)).1 >= need);
                let (_, most) = most.unwrap_or_else(|| self.contradict());
                report.add("others, own records known", whole((0.0, most)).1, need, || {
                    format!("{} keeper {own} {cells:?}", self.name)
                });
            }
        }
    }
}

/// A club as it is, before and after one member changed something.
struct Changed<'a> {
    before: &'a Club,
    after: &'a Club,
    /// The one who changed it adds only, or takes away only.
    adds: bool,
    keeper: u32,
}

/// Figures of the same cells once: members read the exact ones.
fn each_once(figures: Vec<Figure>, cells: &BTreeSet<Cell>) -> Vec<Figure> {
    let mut seen = BTreeSet::new();
    let of = |figure: &Figure| {
        cells.iter().enumerate().filter(|(_, cell)| figure.holds(cell)).map(|(at, _)| at).collect::<Vec<_>>()
    };
    figures.into_iter().filter(|figure| seen.insert((figure.audience, figure.layer, of(figure)))).collect()
}

/// A split, or the lines of a condition that no answer on survival is split by.
#[derive(Debug, Clone, Copy)]
enum Menu {
    Split(By),
    Lines(&'static str),
}

impl Menu {
    /// What cells are divided by for a taxon.
    fn divided(self, taxon: TaxonSlug) -> Option<Divided> {
        match self {
            Menu::Split(by) => Some(Divided::By(super::records::split_of(by))),
            Menu::Lines(code) => of_no_split(taxon).find(|factor| factor.code() == code).map(Divided::Factor),
        }
    }
}

/// Attacks what is told of a club by a split or in lines, beside what is not divided, alone and beside what a later release
/// tells.
fn attack(changed: &Changed, menu: Menu, outcome: Outcome, name: &str, report: &mut Report) {
    let varies = match menu {
        Menu::Split(by) => told::varies(by),
        Menu::Lines(_) => true,
    };
    let people = populations(changed.before);
    let mut then: (Truth, Vec<Figure>) = Default::default();
    let mut now: (Truth, Vec<Figure>) = Default::default();
    // The cells are those of the split, also for what is not divided.
    for population in &people {
        let again = population.again(changed.after);
        let Some(divided) = menu.divided(population.taxon) else { continue };
        // What is told by years is the difference of what is told of all since each.
        for of in [Divided::By(By::None), divided] {
            let (truth, figures) = told(changed.before, population, of, outcome);
            then.1.extend(figures);
            if of == divided && truth.entries.len() >= then.0.entries.len() {
                then.0 = truth;
            }
            let piece = match of {
                Divided::By(by) => Piece::Split(by),
                Divided::Factor(factor) => Piece::Condition(factor),
            };
            if releases::follows(changed.before, changed.after, population, &piece) {
                now.1.extend(told(changed.after, &again, of, outcome).1);
            }
        }
        if now.0.entries.is_empty() {
            now.0 = told::truth(changed.after, &again, divided, outcome);
        }
    }
    attack_releases(changed, (then, now), varies, &format!("{name} {menu:?}"), report);
}

/// Attacks counts of what is on record.
fn attack_on_record(changed: &Changed, name: &str, report: &mut Report) {
    let (then, mut now) = (told::on_record(changed.before), told::on_record(changed.after));
    let mut follows: BTreeMap<String, bool> = BTreeMap::new();
    now.1.retain(|figure| {
        *follows.entry(figure.subject.clone()).or_insert_with(|| {
            let population = Population::of(changed.before, clubs::support::taxon(&figure.subject), None);
            releases::follows(changed.before, changed.after, &population, &Piece::OnRecord)
        })
    });
    attack_releases(changed, (then, now), false, &format!("{name} on record"), report);
}

fn attack_releases(
    changed: &Changed,
    (mut then, mut now): ((Truth, Vec<Figure>), (Truth, Vec<Figure>)),
    varies: bool,
    name: &str,
    report: &mut Report,
) {
    let cells: BTreeSet<Cell> = then.0.entries.keys().chain(now.0.entries.keys()).cloned().collect();
    then.1 = each_once(std::mem::take(&mut then.1), &cells);
    now.1 = each_once(std::mem::take(&mut now.1), &cells);
    let figures: Vec<Figure> = then.1.iter().chain(&now.1).cloned().collect();
    let differs = |figure: &Figure| {
        let of = |truth: &Truth| truth.counts(figure.layer, None, &|cell| figure.holds(cell));
        let (one, two) = (of(&then.0), of(&now.0));
        (one.specimens, one.events) != (two.specimens, two.events) || (one.days - two.days).abs() > 1e-6
    };
    let other_now: Vec<bool> = (0..figures.len()).map(|at| at >= then.1.len() && differs(&figures[at])).collect();
    let groups = groups(&cells, &figures, varies);
    let held: Vec<Vec<bool>> =
        figures.iter().map(|figure| cells.iter().map(|cell| figure.holds(cell)).collect()).collect();
    // Beside a member's exact figure of the same cells, the public's says nothing more.
    let exact: BTreeSet<(bool, usize, &Vec<bool>)> = (0..figures.len())
        .filter(|at| figures[*at].audience == Audience::Member)
        .map(|at| (at >= then.1.len(), figures[at].layer, &held[at]))
        .collect();
    for audience in [Audience::Public, Audience::Member] {
        let reads = |at: usize, newer: bool| match (audience, figures[at].audience) {
            (Audience::Public, of) => of == Audience::Public,
            (_, Audience::Member) => true,
            _ => !exact.contains(&(newer, figures[at].layer, &held[at])),
        };
        let told = |newer: bool| {
            let told = figures.iter().enumerate().filter(|(at, _)| (*at >= then.1.len()) == newer && reads(*at, newer));
            told.collect::<Vec<_>>()
        };
        // What a newer release tells without any change is of the older records too.
        let again = |at: usize| {
            (0..then.1.len()).any(|older| {
                reads(older, false)
                    && (figures[older].audience, figures[older].layer) == (figures[at].audience, figures[at].layer)
                    && held[older] == held[at]
            })
        };
        let same = told(true).into_iter().filter(|(at, _)| !other_now[*at] && !again(*at));
        let all = told(false).into_iter().chain(same).map(|(at, figure)| (at, figure, &then.0)).collect();
        let name = format!("{name} {audience:?}");
        let attack = Attack { groups: &groups, figures: all, truth: &then.0, audience, name };
        attack.bound(report);
        if audience == Audience::Member {
            let keepers = changed.before.keepers.len() as u32;
            attack.bound_others((changed.keeper + 1) % keepers, report);
        }
        let follow = told(true).len();
        report.kinds.entry("told anew").or_insert((0, f64::INFINITY, 0)).0 += follow;
        if told(true).iter().any(|(at, _)| other_now[*at]) {
            let newer = told(true).into_iter().map(|(at, figure)| (at, figure, &now.0)).collect();
            let older = told(false).into_iter().map(|(at, figure)| (at, figure, &then.0)).collect();
            attack.bound_change(changed, [older, newer], [&then.0, &now.0], report);
        }
    }
}

impl Attack<'_> {
    /// Bounds of what the one member changed, who is known to have added only, or taken away only.
    fn bound_change<'a>(
        &'a self,
        changed: &Changed,
        [older, newer]: [Vec<(usize, &'a Figure, &'a Truth)>; 2],
        truths: [&Truth; 2],
        report: &mut Report,
    ) {
        let mut bounds = Bounds::default();
        let mut known =
            |figures| Known { groups: self.groups, figures, own: None, closely: true }.specimens(&mut bounds);
        let (then, now) = (known(older), known(newer));
        let order = |bounds: &mut Bounds, then: &Unknowns, now: &Unknowns, at: (usize, usize)| {
            let (then, now) = (then.at(at.0, at.1, 0), now.at(at.0, at.1, 0));
            if changed.adds { bounds.ordered(then, now) } else { bounds.ordered(now, then) }
        };
        let places: Vec<(usize, usize)> = self
            .groups
            .iter()
            .enumerate()
            .flat_map(|(group, of)| (0..of.parts.len()).map(move |part| (group, part)))
            .collect();
        for &at in &places {
            order(&mut bounds, &then.0, &now.0, at);
            if let (Some(then), Some(now)) = (&then.1, &now.1) {
                order(&mut bounds, then, now, at);
            }
        }
        for (group, part) in places {
            let cells = &self.groups[group].parts[part].1;
            let of = |truth: &Truth| truth.counts(0, None, &|cell| cells.contains(cell));
            let (before, after) = (of(truths[0]), of(truths[1]));
            let specimens = Some(("change of specimens", before.specimens, after.specimens, &then.0, &now.0));
            let events = then.1.as_ref().zip(now.1.as_ref());
            let events = events.map(|(then, now)| ("change of deaths", before.events, after.events, then, now));
            for (kind, before, after, then, now) in specimens.into_iter().chain(events) {
                if before == after {
                    continue;
                }
                let sum = vec![(now.at(group, part, 0), 1.0), (then.at(group, part, 0), -1.0)];
                let need = OPEN.min(before.abs_diff(after) as f64).max(1.0);
                let range = bounds.range_until(&sum, |least, most| {
                    let (least, most) = whole((least, most));
                    most - least >= need
                });
                // Figures of two releases that contradict each other bound nothing in this way.
                let Some(range) = range else { continue };
                let (least, most) = whole(range);
                report.add(kind, most - least, need, || format!("{} {cells:?}", self.name));
            }
        }
    }
}

/// Conditions by which no answer on survival is split, one a club by turns.
const LINES: [&str; 9] = [
    "temperature_spread",
    "nitrate_testing_gap",
    "season",
    "par_rise",
    "nitrate_change",
    "bought_season",
    "new_animals",
    "within_reach",
    "many_losses",
];

/// The splits that a club is attacked by, two by turns, beside none.
fn splits_of(seed: u64) -> Vec<By> {
    let all: Vec<By> = super::holdings::splits();
    let tested = ["nitrate", "phosphate", "alkalinity", "temperature", "salinity", "par"];
    let asked = |by: &By| !matches!(by, By::Parameter(code) if !tested.contains(&code.as_str()));
    let turns: Vec<By> = all.into_iter().filter(asked).filter(|by| !matches!(by, By::None | By::Year)).collect();
    let turn = |nth: u64| turns[((2 * seed + nth) % turns.len() as u64) as usize];
    vec![turn(0), turn(1)]
}

/// Attacks what a club tells in lines of one condition by which no answer on survival is split, beside what is not divided.
pub(super) fn attack_lines(seed: u64) -> Report {
    let club = clubs::club(seed);
    let keeper = clubs::changing(&club, seed);
    let (before, after) = (clubs::before_upload(&club, keeper), clubs::after_withdrawal(&club, keeper));
    let upload = Changed { before: &before, after: &club, adds: true, keeper };
    let withdrawal = Changed { before: &club, after: &after, adds: false, keeper };
    let mut report = Report::default();
    for (changed, name) in [(&upload, "upload"), (&withdrawal, "withdrawal")] {
        let menu = Menu::Lines(LINES[seed as usize % LINES.len()]);
        attack(changed, menu, Outcome::FirstSeriousDecline, &format!("club {seed}, {name}"), &mut report);
    }
    report
}

/// Attacks a club in every way.
pub(super) fn attack_club(seed: u64) -> Report {
    let club = clubs::club(seed);
    let keeper = clubs::changing(&club, seed);
    let outcome =
        [Outcome::FirstSeriousDecline, Outcome::DeathOrDecline, Outcome::DeathAfterDecline][seed as usize % 3];
    let (before, after) = (clubs::before_upload(&club, keeper), clubs::after_withdrawal(&club, keeper));
    let upload = Changed { before: &before, after: &club, adds: true, keeper };
    let withdrawal = Changed { before: &club, after: &after, adds: false, keeper };
    let mut report = Report::default();
    for (changed, name) in [(&upload, "upload"), (&withdrawal, "withdrawal")] {
        let name = format!("club {seed}, {name}");
        attack_on_record(changed, &name, &mut report);
        for by in splits_of(seed) {
            attack(changed, Menu::Split(by), outcome, &name, &mut report);
        }
    }
    report
}
