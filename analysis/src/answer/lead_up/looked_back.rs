//! A condition or a sign over a window of days before a moment.

use crate::club::{Club, Sighting};
use crate::comparison::rows::stretches;
use crate::exposure::condition::CONTRAST;
use crate::exposure::{Condition, Factor, Rules};
use crate::follow_up::{Population, Run, day_number};

/// How a coral looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sign {
    /// Score of condition, 0 to 5.
    Condition,
    /// How far the polyps are out, 0 to 3.
    PolypExtension,
    /// Live tissue in %.
    TissueCover,
}

impl Sign {
    pub(super) const ALL: &'static [Sign] = &[Sign::Condition, Sign::PolypExtension, Sign::TissueCover];

    fn code(self) -> &'static str {
        match self {
            Sign::Condition => "condition",
            Sign::PolypExtension => "polyp_extension",
            Sign::TissueCover => "tissue_cover",
        }
    }

    fn name(self) -> &'static str {
        match self {
            Sign::Condition => "score of condition, 0 to 5",
            Sign::PolypExtension => "polyps out, 0 to 3",
            Sign::TissueCover => "live tissue in %",
        }
    }

    fn of(self, sighting: &Sighting) -> Option<f64> {
        match self {
            Sign::Condition => sighting.condition.map(f64::from),
            Sign::PolypExtension => sighting.polyp_extension.map(f64::from),
            Sign::TissueCover => sighting.tissue_cover,
        }
    }
}

/// What is looked back at.
pub(super) enum LookedBack {
    /// A condition: the share of known days under its level.
    Condition { factor: Factor, levels: Box<Condition> },
    /// A sign: the mean of what was seen.
    Sign(Sign),
}

/// Share of a window that must be known.
const KNOWN_SHARE: f64 = 0.5;

impl LookedBack {
    /// Everything that is looked back at for these specimens: conditions for which a cut is written, and signs.
    pub(super) fn all(club: &Club, population: &Population) -> Vec<LookedBack> {
        // Looking back from the day itself, a test speaks from its own day.
        let rules = Rules { lag: 0.0, ..Rules::of(Run::Main) };
        let factors = Factor::list(population.taxon).into_iter().filter(|factor| varies(*factor));
        let conditions = factors.filter_map(|factor| {
            let levels = Condition::of_factor(club, population, factor, rules).ok()?;
            Some(LookedBack::Condition { factor, levels: Box::new(levels) })
        });
        conditions.chain(Sign::ALL.iter().map(|sign| LookedBack::Sign(*sign))).collect()
    }

    /// The code of its lines, by which a release withholds them.
    pub(super) fn line_code(&self) -> String {
        format!("lead_up/{}", self.code())
    }

    pub(super) fn code(&self) -> String {
        match self {
            LookedBack::Condition { factor, .. } => factor.code(),
            LookedBack::Sign(sign) => sign.code().to_owned(),
        }
    }

    pub(super) fn name(&self) -> String {
        match self {
            LookedBack::Condition { levels, .. } => {
                let label = levels.levels.get(usize::from(CONTRAST)).map_or("", |name| name.label.as_str());
                format!("share of days {label}")
            }
            LookedBack::Sign(sign) => sign.name().to_owned(),
        }
    }

    pub(super) fn kind(&self) -> &'static str {
        match self {
            LookedBack::Condition { .. } => "condition",
            LookedBack::Sign(_) => "sign",
        }
    }

    /// The value over days `window[1]` to `window[0]` before a day; `None` where less than half of it is known.
    pub(super) fn over(&self, club: &Club, specimen: u32, keeper: u32, day: f64, window: [u32; 2]) -> Option<f64> {
        let of = club.specimens.get(specimen as usize)?;
        let (from, to) = (day - f64::from(window[1]) - 1.0, day - f64::from(window[0]));
        match self {
            LookedBack::Sign(sign) => {
                let seen: Vec<f64> = of
                    .sightings
                    .iter()
                    .filter(|sighting| (from < day_number(sighting.on)) && day_number(sighting.on) <= to)
                    .filter_map(|sighting| sign.of(sighting))
                    .collect();
                (!seen.is_empty()).then(|| seen.iter().sum::<f64>() / seen.len() as f64)
            }
            LookedBack::Condition { levels, .. } => {
                let (mut known, mut under) = (0.0, 0.0);
                for stretch in stretches(&of.stays, from, to).into_iter().filter(|stretch| stretch.tank.is_some()) {
                    for segment in levels.between(specimen, keeper, stretch.tank, stretch.from, stretch.to) {
                        let Some(level) = segment.level else { continue };
                        known += segment.stop - segment.start;
                        under += if level == CONTRAST { segment.stop - segment.start } else { 0.0 };
                    }
                }
                (known >= KNOWN_SHARE * (to - from)).then(|| under / known)
            }
        }
    }
}

/// What a coral keeps for life cannot differ between its months, and tells nothing of the weeks before.
fn varies(factor: Factor) -> bool {
    !matches!(
        factor,
        Factor::Origin | Factor::Form(_) | Factor::KeeperExperience | Factor::TankAge | Factor::BoughtInSeason
    )
}
