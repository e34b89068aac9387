//! What they died of, all levels together: the share lost to each group of causes by the horizon. Where serious decline is
//! asked about: which end came first.

use std::collections::{BTreeMap, BTreeSet};

use crate::answer::{Audience, CauseIncidence, Outcome};
use crate::comparison::Rows;
use crate::comparison::curve::LEVEL;
use crate::disclosure::{keepers_needed, suppressed};
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::cumulative_incidence;

/// One printed cause: its numbers in the rows.
struct Pooled {
    name: String,
    causes: Vec<u32>,
}

/// Incidence of each group of causes, or of each kind of end, by `horizon`, from `start_time`.
///
/// For a restricted audience, causes with deaths at too few keepers are joined as `other`: here, or in one of the sets
/// `beside` (keepers with deaths, by cause) that could be found by taking these figures from another answer's.
///
/// # Errors
/// `Suppressed` if fewer than two causes are left to show; otherwise as the estimator.
pub(super) fn causes(
    rows: &Rows,
    outcome: Outcome,
    start_time: f64,
    horizon: f64,
    audience: Audience,
    beside: &[Keepers],
) -> Result<Vec<CauseIncidence>, Refusal> {
    if outcome.counts_declines() && !rows.cause.iter().any(|cause| *cause > 0) {
        let message = "No death and no serious decline yet: there is nothing to tell apart.";
        return Err(Refusal::counted(RefusalCode::NoEvents, 0.0, 1.0, message));
    }
    let pooled = pooled(rows, &outcome.ends(), audience, beside)?;
    let number = |cause: u32| {
        pooled.iter().position(|pool| pool.causes.contains(&cause)).map_or(0, |position| position as u32 + 1)
    };
    let column: Vec<u32> = rows.cause.iter().map(|&cause| if cause == 0 { 0 } else { number(cause) }).collect();
    let incidence = cumulative_incidence(&rows.episodes, &column, pooled.len(), Some(start_time), LEVEL)?;
    let at = incidence.at(horizon);
    Ok(pooled
        .iter()
        .enumerate()
        .map(|(position, pool)| {
            let of = at.and_then(|step| step.causes.get(position));
            let events = (0..rows.len())
                .filter(|&row| {
                    column[row] == position as u32 + 1 && (start_time..=horizon).contains(&rows.episodes.stop[row])
                })
                .count() as u64;
            CauseIncidence {
                cause: pool.name.clone(),
                time: horizon,
                events,
                incidence: of.map_or(0.0, |of| of.incidence),
                std_error: of.map(|of| of.std_error),
                lower: of.and_then(|of| of.lower),
                upper: of.and_then(|of| of.upper),
            }
        })
        .collect())
}

/// Keepers with deaths, by cause.
type Keepers = BTreeMap<u32, BTreeSet<u32>>;

fn pooled(rows: &Rows, names: &[&str], audience: Audience, beside: &[Keepers]) -> Result<Vec<Pooled>, Refusal> {
    let single = |position: usize| Pooled { name: names[position].to_owned(), causes: vec![position as u32 + 1] };
    let needed = keepers_needed(audience);
    if needed == 0 {
        return Ok((0..names.len()).map(single).collect());
    }
    let mut keepers = Keepers::new();
    for row in (0..rows.len()).filter(|&row| rows.cause[row] > 0) {
        keepers.entry(rows.cause[row]).or_default().insert(rows.keeper[row]);
    }
    let among = |keepers: &Keepers, causes: &[u32]| -> u64 {
        causes.iter().filter_map(|cause| keepers.get(cause)).flatten().collect::<BTreeSet<_>>().len() as u64
    };
    let here = |causes: &[u32]| among(&keepers, causes);
    let enough_or_none = |count: u64| count == 0 || count >= needed;
    let enough_beside = |causes: &[u32]| beside.iter().all(|keepers| enough_or_none(among(keepers, causes)));
    // Fewest keepers first, so that the smallest is joined first.
    let mut by_size: Vec<u32> = (1..=names.len() as u32).collect();
    by_size.sort_by_key(|cause| (here(&[*cause]), *cause));
    let mut other: Vec<u32> = Vec::new();
    let mut shown: Vec<u32> = Vec::new();
    for cause in by_size {
        let stands = here(&[cause]) >= needed && enough_beside(&[cause]);
        let other_stands = enough_or_none(here(&other)) && enough_beside(&other);
        if stands && other_stands {
            shown.push(cause);
        } else {
            other.push(cause);
        }
    }
    shown.sort_unstable();
    other.sort_unstable();
    if shown.is_empty() || !enough_or_none(here(&other)) || !enough_beside(&other) {
        return Err(suppressed(audience));
    }
    let mut pooled: Vec<Pooled> = shown.into_iter().map(|cause| single(cause as usize - 1)).collect();
    if here(&other) > 0 {
        pooled.push(Pooled { name: "other".to_owned(), causes: other });
    }
    Ok(pooled)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::episode::Episodes;
    use crate::vocabulary::CauseGroup;

    #[test]
    fn deaths_before_the_start_of_the_curve_are_not_counted_under_it() -> Result<(), Refusal> {
        let stop = vec![5.0, 20.0, 30.0, 40.0, 90.0];
        let cause = vec![1, 1, 2, 1, 0];
        let event = cause.iter().map(|cause| *cause > 0).collect();
        let rows = Rows {
            episodes: Episodes { start: vec![0.0; 5], stop, event },
            specimen: (0..5).collect(),
            tank: vec![Some(0); 5],
            keeper: vec![0; 5],
            level: vec![Some(0); 5],
            cause,
        };
        let of = causes(&rows, Outcome::Death, 10.0, 35.0, Audience::Curator, &[])?;
        assert_eq!(of.iter().map(|cause| cause.events).collect::<Vec<_>>()[..2], [1, 1]);
        assert_eq!(of.len(), CauseGroup::ALL.len());
        assert_eq!(of[0].incidence, 0.25);
        Ok(())
    }
}
