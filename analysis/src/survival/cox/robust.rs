//! Scores by row and by cluster: variances that allow for rows depending on each other.

use std::collections::BTreeMap;

use crate::numeric::matrix::sandwich;
use crate::numeric::{Cholesky, Matrix, distinct};
use crate::refusal::{Refusal, RefusalCode};

use super::design::Design;
use super::{CLUSTERS_OFF_THE_COMMON_VALUE, CoxInput};

/// Sums over the deaths at one time that residuals are made of, all in scaled covariates.
#[derive(Debug, Clone)]
pub(super) struct DeathSums {
    p: usize,
    /// Sum over the deaths at a time of `1 / s0`, then of `m / s0`, `m` the mean covariate of those at risk, both summed
    /// over the times of the stratum up to and including this one.
    so_far: Vec<f64>,
    /// At this time alone: sum of `share / s0`, the part of the hazard that those dying here do not carry, and of
    /// `share m / s0`.
    spared: Vec<f64>,
    /// Mean over the deaths at this time of `m`.
    mean: Vec<f64>,
    first_of_stratum: Vec<bool>,
    /// Relative hazard of each place.
    r: Vec<f64>,
    /// What it is relative to, per death.
    offset: Vec<f64>,
}

impl DeathSums {
    pub(super) fn new(design: &Design, b: &[f64]) -> DeathSums {
        let p = design.covariates();
        let width = 1 + p;
        let deaths = design.risk.times.len();
        let mut r = vec![0.0; design.places()];
        let mut sums = DeathSums {
            p,
            so_far: vec![0.0; deaths * width],
            spared: vec![0.0; deaths * width],
            mean: vec![0.0; deaths * p],
            first_of_stratum: vec![false; deaths + 1],
            r: Vec::new(),
            offset: vec![0.0; deaths],
        };
        design.sweep_hazards(b, &mut r, 1, |compared| {
            let d = compared.death;
            let each = 1.0 / compared.sums.s0();
            let dying = design.dying(d).len() as f64;
            sums.offset[d] = compared.offset;
            let (so_far, spared) = (&mut sums.so_far[d * width..][..width], &mut sums.spared[d * width..][..width]);
            so_far[0] += each;
            spared[0] += compared.share * each;
            for j in 0..p {
                let m = compared.sums.s1()[j] * each;
                so_far[1 + j] += m * each;
                spared[1 + j] += compared.share * m * each;
                sums.mean[d * p + j] += m / dying;
            }
        });
        sums.r = r;
        for stratum in design.risk.strata.iter().filter(|stratum| !stratum.is_empty()) {
            sums.first_of_stratum[stratum.start] = true;
            for at in (stratum.start + 1) * width..stratum.end * width {
                sums.so_far[at] += sums.so_far[at - width];
            }
        }
        sums
    }

    /// Accumulated hazard per unit of `exp(eta)` from the first death of the stratum up to and including this one.
    pub(super) fn hazard(&self, death: usize) -> f64 {
        self.so_far(death)[0] * (-self.offset[death]).exp()
    }

    fn so_far(&self, death: usize) -> &[f64] {
        &self.so_far[death * (1 + self.p)..][..1 + self.p]
    }

    fn spared(&self, death: usize) -> &[f64] {
        &self.spared[death * (1 + self.p)..][..1 + self.p]
    }

    /// Mean covariates (scaled) of those at risk, averaged over the deaths at this time.
    pub(super) fn mean(&self, death: usize) -> &[f64] {
        &self.mean[death * self.p..(death + 1) * self.p]
    }

    /// What a row lived through: expected deaths of the row at this place.
    pub(super) fn expected(&self, design: &Design, place: usize) -> f64 {
        let (entry, exit) = design.span(place);
        let before = if self.first_of_stratum[entry] { 0.0 } else { self.so_far(entry - 1)[0] };
        let spared = if design.dies(place) { self.spared(exit - 1)[0] } else { 0.0 };
        self.r[place] * (self.so_far(exit - 1)[0] - before - spared)
    }

    /// Score of the row at this place, in scaled covariates, added to `score`.
    pub(super) fn add_score(&self, design: &Design, place: usize, score: &mut [f64]) {
        let (entry, exit) = design.span(place);
        let last = exit - 1;
        let (r, x, until) = (self.r[place], design.x(place), self.so_far(last));
        let before = (!self.first_of_stratum[entry]).then(|| self.so_far(entry - 1));
        let dying = design.dies(place).then(|| (self.spared(last), self.mean(last)));
        let hazard = until[0] - before.map_or(0.0, |before| before[0]) - dying.map_or(0.0, |(spared, _)| spared[0]);
        for (j, (score, x)) in score.iter_mut().zip(x).enumerate() {
            let mut means = until[1 + j] - before.map_or(0.0, |before| before[1 + j]);
            if let Some((spared, mean)) = dying {
                means -= spared[1 + j];
                *score += x - mean[j];
            }
            *score -= r * (x * hazard - means);
        }
    }
}

/// The clusters of the rows at risk at a death, numbered from 0 in the order of their ids.
#[derive(Debug, Clone)]
pub(super) struct Clusters {
    /// Number of the cluster, per place.
    of: Vec<u32>,
    count: usize,
}

impl Clusters {
    /// Numbers the clusters of a design's places; `cluster` holds an id per row of the input.
    pub(super) fn new(design: &Design, cluster: &[u32]) -> Clusters {
        let ids: Vec<u32> = (0..design.places()).map(|place| cluster[design.row(place)]).collect();
        let largest = ids.iter().copied().max().unwrap_or(0) as usize;
        let mut seen: Vec<u32>;
        // Ids are positions as a rule, and then a table of them all is small.
        if largest <= 4 * ids.len() {
            seen = vec![0; largest + 1];
            ids.iter().for_each(|&id| seen[id as usize] = 1);
            let mut count = 0;
            for number in &mut seen {
                count += std::mem::replace(number, count);
            }
            return Clusters { of: ids.iter().map(|&id| seen[id as usize]).collect(), count: count as usize };
        }
        seen = distinct(ids.iter().copied());
        let of = ids.iter().map(|id| seen.partition_point(|other| other < id) as u32).collect();
        Clusters { of, count: seen.len() }
    }

    /// Number of clusters.
    pub(super) fn count(&self) -> usize {
        self.count
    }

    /// The same per row of the input; `None` for rows that are at risk at no death.
    pub(super) fn of_rows(&self, design: &Design, rows: usize) -> Vec<Option<u32>> {
        let mut of_rows = vec![None; rows];
        self.of.iter().enumerate().for_each(|(place, &cluster)| of_rows[design.row(place)] = Some(cluster));
        of_rows
    }

    /// Number of the cluster of the row at this place.
    pub(super) fn of(&self, place: usize) -> usize {
        self.of[place] as usize
    }
}

/// Scores summed by cluster.
#[derive(Debug, Clone)]
pub(super) struct ClusterScores {
    p: usize,
    /// Cluster by cluster, `p` values each; only clusters with a row at risk at a death.
    scores: Vec<f64>,
}

/// Sums the row scores at `b` by cluster.
pub(super) fn by_cluster(design: &Design, clusters: &Clusters, b: &[f64]) -> ClusterScores {
    let p = design.covariates();
    let sums = DeathSums::new(design, b);
    let mut scores = vec![0.0; clusters.count() * p];
    for place in 0..design.places() {
        let at = clusters.of(place);
        sums.add_score(design, place, &mut scores[at * p..(at + 1) * p]);
    }
    ClusterScores { p, scores }
}

impl ClusterScores {
    fn products(&self) -> Matrix {
        let p = self.p;
        let mut products = vec![vec![0.0; p]; p];
        for score in self.scores.chunks_exact(p) {
            for (row, a) in products.iter_mut().zip(score) {
                for (value, b) in row.iter_mut().zip(score) {
                    *value += a * b;
                }
            }
        }
        products
    }

    /// `I^-1 (sum of u u') I^-1`.
    pub(super) fn sandwich(&self, covariance: &[Vec<f64>]) -> Matrix {
        sandwich(covariance, &self.products())
    }

    /// `U' (sum of u u')^-1 U`; `None` if the clusters are too few to settle it.
    pub(super) fn score_test(&self, total: &[f64]) -> Option<f64> {
        Cholesky::of_rows(&self.products()).ok().map(|factor| factor.quadratic(total))
    }
}

/// Whether enough clusters hold another than the commonest value of a covariate (and, if it has two values only, the
/// commonest too): with fewer, scores by cluster cannot show its spread.
///
/// # Errors
/// `TooFewClusters`.
pub(super) fn spread_over_clusters(
    input: &CoxInput,
    design: &Design,
    clusters: &Clusters,
    j: usize,
) -> Result<(), Refusal> {
    let covariate = &input.covariates[j];
    let value = |place: usize| covariate.values[design.row(place)];
    // A cluster with two values holds another than the commonest, whichever that is: mostly the first rows tell.
    let mut first: Vec<Option<f64>> = vec![None; clusters.count()];
    let mut varied = vec![false; clusters.count()];
    let mut enough = 0;
    for place in 0..design.places() {
        let (at, x) = (clusters.of(place), design.x(place)[j]);
        if *first[at].get_or_insert(x) != x && !varied[at] {
            varied[at] = true;
            enough += 1;
            if enough >= CLUSTERS_OFF_THE_COMMON_VALUE {
                return Ok(());
            }
        }
    }
    let mut counts: BTreeMap<u64, (usize, f64)> = BTreeMap::new();
    for place in 0..design.places() {
        counts.entry((value(place) + 0.0).to_bits()).or_insert((0, value(place))).0 += 1;
    }
    let Some(common) = counts.values().max_by_key(|entry| entry.0).map(|entry| entry.1) else {
        return Ok(());
    };
    let holding = |wanted: bool| {
        let mut holds = vec![false; clusters.count()];
        for place in (0..design.places()).filter(|&place| (value(place) == common) == wanted) {
            holds[clusters.of(place)] = true;
        }
        holds.iter().filter(|holds| **holds).count()
    };
    let mut fewest = holding(false);
    if counts.len() == 2 {
        fewest = fewest.min(holding(true));
    }
    if fewest >= CLUSTERS_OFF_THE_COMMON_VALUE {
        return Ok(());
    }
    Err(Refusal::counted(
        RefusalCode::TooFewClusters,
        fewest as f64,
        CLUSTERS_OFF_THE_COMMON_VALUE as f64,
        format!("{} differs in too few clusters to say how sure its ratio is", covariate.name),
    ))
}
