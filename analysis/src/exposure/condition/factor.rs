//! The conditions that answers compare corals by: each is one level against another, written down before any record is
//! looked at, so that the list of comparisons does not depend on what they show.

use std::collections::BTreeMap;

use super::{Builder, Condition, LevelName, Rules, Source, ladder};
use crate::answer::By;
use crate::club::{Club, ClubBand, Days, TankId};
use crate::exposure::band::{ABOVE, BELOW, Scale, WITHIN};
use crate::exposure::by_tank::steps_by_tank;
use crate::exposure::series::Series;
use crate::exposure::steps::{Level, Steps};
use crate::exposure::{happening, place, season, wander};
use crate::follow_up::Population;
use crate::refusal::{Refusal, RefusalCode};
use crate::vocabulary::band::taught_band;
use crate::vocabulary::{Form, Origin, Parameter, ParameterCode, Sting, TaxonSlug, catalogue};

/// One condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Factor {
    /// A parameter outside its taught band against within; without a band, from the middle cut of its ladder on.
    Level(ParameterCode),
    /// A parameter below its taught band against within.
    Below(ParameterCode),
    /// A parameter above its taught band against within.
    Above(ParameterCode),
    /// Its spread over the last 60 days.
    Spread(ParameterCode),
    /// The largest change a day between two tests of the last 30 days.
    Change(ParameterCode),
    /// Days since its last test.
    TestingGap(ParameterCode),
    /// Light at the spot against that of the first two weeks.
    LightRise,
    /// Still water against swaying.
    FlowStill,
    /// Thrashing water against swaying.
    FlowThrashing,
    /// Fed less than once a week.
    Feeding,
    /// Activated carbon in use.
    Carbon,
    /// Less than a tenth of the water changed a week.
    WaterChange,
    /// A tank in its first half year.
    TankAge,
    /// Corals of a strong or medium sting in the tank.
    StingingCorals,
    /// A stinging neighbour within reach.
    WithinReach,
    /// Corals that work through the water in the tank.
    ChemicalCorals,
    /// Power, heat, leaks, overdoses, medicine, moves in the last 60 days.
    Incident,
    /// A pest found in the last 180 days.
    PestFound,
    /// New fish or invertebrates in the last 60 days.
    NewAnimals,
    /// Many corals of the tank lost at once in the last 180 days.
    ManyLosses,
    /// Collected in the sea against grown in captivity.
    Origin,
    /// One form against the others, by its place in the catalogue.
    Form(u16),
    /// A keeper's first two years.
    KeeperExperience,
    /// October to March against April to September.
    Season,
    /// Got in October to March against April to September.
    BoughtInSeason,
    /// The keeper's earlier losses: it adjusts, and is never shown.
    EarlierLosses,
}

/// Days after which an incident no longer counts.
const INCIDENT_DAYS: f64 = 60.0;
/// Days after which a pest, or many losses at once, no longer count.
const LONG_DAYS: f64 = 180.0;
/// Days from which a testing gap is long.
const GAP_DAYS: f64 = 14.0;
/// Parameters that laboratories measure speak for longer than this; a gap of two weeks says nothing of them.
const KIT_CARRY_DAYS: u32 = 35;
/// Rise of light that counts, in umol/m2/s: the middle cut of its ladder.
const LIGHT_RISE: f64 = 75.0;
const FEEDS_A_WEEK: f64 = 1.0;
const CHANGED_A_WEEK: f64 = 10.0;
const YOUNG_MONTHS: f64 = 6.0;
const FIRST_YEARS: f64 = 2.0;
/// Incidents of equipment and handling.
const INCIDENTS: &[&str] = &["power_cut", "heater", "overheating", "leak", "overdose", "medicine", "move", "new_lamp"];

impl Factor {
    /// The list for a taxon, in the order in which it is written: everything that can be asked of it, whatever the
    /// records hold.
    pub fn list(taxon: TaxonSlug) -> Vec<Factor> {
        let parameters = || {
            catalogue().parameters().iter().filter(|row| {
                !row.ladder.is_empty() && !matches!(row.code.as_str(), "feeding" | "water_change" | "carbon" | "flow")
            })
        };
        let mut list: Vec<Factor> = parameters().map(|row| Factor::Level(row.code)).collect();
        // The club's own bands are dated rows; the list is written from what the catalogue starts with.
        let banded = |row: &&Parameter| taught_band(taxon, row.code).is_some();
        list.extend(parameters().filter(banded).map(|row| Factor::Below(row.code)));
        list.extend(parameters().filter(banded).map(|row| Factor::Above(row.code)));
        list.extend(parameters().filter(|row| !row.spread_ladder.is_empty()).map(|row| Factor::Spread(row.code)));
        list.extend(parameters().filter(|row| !row.spread_ladder.is_empty()).map(|row| Factor::Change(row.code)));
        list.extend(
            parameters().filter(|row| row.carry_days <= KIT_CARRY_DAYS).map(|row| Factor::TestingGap(row.code)),
        );
        list.extend([
            Factor::LightRise,
            Factor::FlowStill,
            Factor::FlowThrashing,
            Factor::Feeding,
            Factor::Carbon,
            Factor::WaterChange,
            Factor::TankAge,
            Factor::StingingCorals,
            Factor::WithinReach,
            Factor::ChemicalCorals,
            Factor::Incident,
            Factor::PestFound,
            Factor::NewAnimals,
            Factor::ManyLosses,
            Factor::Origin,
        ]);
        let of_taxon = |form: &Form| form.taxa.iter().any(|of| of.is_within(taxon) || taxon.is_within(*of));
        list.extend((0..).zip(catalogue().forms()).filter(|(_, form)| of_taxon(form)).map(|(at, _)| Factor::Form(at)));
        list.extend([Factor::KeeperExperience, Factor::Season, Factor::BoughtInSeason]);
        list
    }

    /// The code as printed.
    pub fn code(self) -> String {
        match self {
            Factor::Level(code) => code.as_str().to_owned(),
            Factor::Below(code) => format!("{code}_below"),
            Factor::Above(code) => format!("{code}_above"),
            Factor::Spread(code) => format!("{code}_spread"),
            Factor::Change(code) => format!("{code}_change"),
            Factor::TestingGap(code) => format!("{code}_testing_gap"),
            Factor::LightRise => "par_rise".to_owned(),
            Factor::FlowStill => "flow_still".to_owned(),
            Factor::FlowThrashing => "flow_thrashing".to_owned(),
            Factor::Feeding => "feeding".to_owned(),
            Factor::Carbon => "carbon".to_owned(),
            Factor::WaterChange => "water_change".to_owned(),
            Factor::TankAge => "tank_age".to_owned(),
            Factor::StingingCorals => "stinging_corals".to_owned(),
            Factor::WithinReach => "within_reach".to_owned(),
            Factor::ChemicalCorals => "chemical_corals".to_owned(),
            Factor::Incident => "incident".to_owned(),
            Factor::PestFound => "pest_found".to_owned(),
            Factor::NewAnimals => "new_animals".to_owned(),
            Factor::ManyLosses => "many_losses".to_owned(),
            Factor::Origin => "origin".to_owned(),
            Factor::Form(at) => {
                format!("form_{}", catalogue().forms().get(usize::from(at)).map_or("", |form| form.code))
            }
            Factor::KeeperExperience => "keeper_experience".to_owned(),
            Factor::Season => "season".to_owned(),
            Factor::BoughtInSeason => "bought_season".to_owned(),
            Factor::EarlierLosses => "earlier_losses".to_owned(),
        }
    }

    /// The condition in words.
    pub fn name(self) -> String {
        let of = |code: ParameterCode| code.get().name.to_lowercase();
        match self {
            Factor::Level(code) => of(code),
            Factor::Below(code) => format!("{} below the taught band", of(code)),
            Factor::Above(code) => format!("{} above the taught band", of(code)),
            Factor::Spread(code) => format!("spread of {} over 60 days", of(code)),
            Factor::Change(code) => format!("fastest change of {} in 30 days", of(code)),
            Factor::TestingGap(code) => format!("days since {} was tested", of(code)),
            Factor::LightRise => "rise of light since arrival".to_owned(),
            Factor::FlowStill | Factor::FlowThrashing => "flow at the spot".to_owned(),
            Factor::Feeding => "feeding".to_owned(),
            Factor::Carbon => "activated carbon".to_owned(),
            Factor::WaterChange => "changes of water".to_owned(),
            Factor::TankAge => "age of the tank".to_owned(),
            Factor::StingingCorals => "stinging corals in the tank".to_owned(),
            Factor::WithinReach => "stinging neighbours within reach".to_owned(),
            Factor::ChemicalCorals => "leather corals and kin in the tank".to_owned(),
            Factor::Incident => "incidents of the last 60 days".to_owned(),
            Factor::PestFound => "pests found in the last 180 days".to_owned(),
            Factor::NewAnimals => "new animals in the last 60 days".to_owned(),
            Factor::ManyLosses => "many losses at once in the last 180 days".to_owned(),
            Factor::Origin => "origin".to_owned(),
            Factor::Form(_) => "form when got".to_owned(),
            Factor::KeeperExperience => "the keeper's years of reef-keeping".to_owned(),
            Factor::Season => "months of the year".to_owned(),
            Factor::BoughtInSeason => "months in which it was got".to_owned(),
            Factor::EarlierLosses => "the keeper's earlier losses".to_owned(),
        }
    }

    /// The condition of a code, among those of a taxon.
    pub fn parse(code: &str, taxon: TaxonSlug) -> Option<Factor> {
        Factor::list(taxon).into_iter().find(|factor| factor.code() == code)
    }

    /// The parameter whose tests it is read from.
    pub fn parameter(self) -> Option<ParameterCode> {
        match self {
            Factor::Level(code)
            | Factor::Below(code)
            | Factor::Above(code)
            | Factor::Spread(code)
            | Factor::Change(code)
            | Factor::TestingGap(code) => Some(code),
            _ => None,
        }
    }
}

/// The level that others are compared with.
pub const REFERENCE: u16 = crate::comparison::contrast::REFERENCE_LEVEL;
/// The level that the ratio is of.
pub const CONTRAST: u16 = 1;
/// Neither of the two, and known.
pub const OTHER: u16 = 2;

impl Condition {
    /// A condition as two levels, the one that others are compared with first; a third is neither of them.
    ///
    /// # Errors
    /// `UnknownExposure` where no cut is written for it.
    pub fn of_factor(club: &Club, population: &Population, factor: Factor, rules: Rules) -> Result<Condition, Refusal> {
        Condition::of_factor_among(club, &club.bands, population, factor, rules)
    }

    /// The same where these are the club's own bands.
    ///
    /// # Errors
    /// As [`Condition::of_factor`].
    pub fn of_factor_among(
        club: &Club,
        bands: &[ClubBand],
        population: &Population,
        factor: Factor,
        rules: Rules,
    ) -> Result<Condition, Refusal> {
        Builder { club, bands, population, rules }.factor(factor)
    }

    /// The same with each level replaced, under these names.
    fn mapped(self, names: Vec<LevelName>, map: impl Fn(u16) -> Level) -> Condition {
        fn each<K: Ord + Copy>(steps: BTreeMap<K, Steps>, map: &impl Fn(u16) -> Level) -> BTreeMap<K, Steps> {
            steps.into_iter().map(|(key, steps)| (key, steps.mapped(map))).collect()
        }
        let source = match self.source {
            Source::All(steps) => Source::All(steps.mapped(&map)),
            Source::Specimen(steps) => Source::Specimen(each(steps, &map)),
            Source::Tank(steps) => Source::Tank(each(steps, &map)),
            Source::Keeper(steps) => Source::Keeper(each(steps, &map)),
            Source::SpecimenInTank { own, tank } => {
                Source::SpecimenInTank { own: each(own, &map), tank: each(tank, &map) }
            }
        };
        Condition { levels: names, ordered: false, source, ..self }
    }
}

fn pair(reference: (&str, String), contrast: (&str, String)) -> Vec<LevelName> {
    [reference, contrast].map(|(code, label)| LevelName::new(code, &label)).to_vec()
}

fn flipped(level: u16) -> Level {
    Some(if level == 0 { CONTRAST } else { REFERENCE })
}

impl Builder<'_> {
    fn factor(&self, factor: Factor) -> Result<Condition, Refusal> {
        let lag = self.rules.lag;
        Ok(match factor {
            Factor::Level(code) => self.level(code)?,
            Factor::Below(code) => self.side(code, BELOW, "below")?,
            Factor::Above(code) => self.side(code, ABOVE, "above")?,
            Factor::Spread(code) => {
                let cut = first_cut(code)?;
                let carry = self.rules.carry(code);
                let unit = code.get().unit.get().printed;
                let names = pair(
                    ("steady", format!("with a spread under {cut} {unit}")),
                    ("wide", format!("with a spread of {cut} {unit} or more")),
                );
                self.by_tests(code, names, |tests| wander::spread(tests, &carry, cut))
            }
            Factor::Change(code) => {
                let cut = a_day(first_cut(code)?);
                let carry = self.rules.carry(code);
                let unit = code.get().unit.get().printed;
                let names = pair(
                    ("slow", format!("with changes under {cut} {unit} a day")),
                    ("fast", format!("with a change of {cut} {unit} a day or more")),
                );
                self.by_tests(code, names, |tests| wander::change(tests, &carry, cut))
            }
            Factor::TestingGap(code) => {
                let name = code.get().name.to_lowercase();
                let names = pair(
                    ("short", format!("with {name} tested within {GAP_DAYS} days")),
                    ("long", format!("with {name} not tested for {GAP_DAYS} days or more")),
                );
                self.by_tests(code, names, |tests| wander::gap(tests, lag, GAP_DAYS))
            }
            Factor::LightRise => {
                let names = pair(
                    ("settled", format!("in light less than {LIGHT_RISE} µmol/m²/s above that on arrival")),
                    ("risen", format!("in light at least {LIGHT_RISE} µmol/m²/s above that on arrival")),
                );
                let days = ParameterCode::parse("par").map_or(180.0, |par| self.rules.carry(par).days);
                self.by_place(names, days, |specimen| place::light_rise(specimen, LIGHT_RISE, lag, days))
            }
            Factor::FlowStill | Factor::FlowThrashing => {
                let (word, level) = if factor == Factor::FlowStill { ("still", 0) } else { ("thrashing", 2) };
                let mut names = pair(("swaying", "in swaying flow".to_owned()), (word, format!("in {word} flow")));
                names.push(LevelName::new("other", "in other flow"));
                self.flow().mapped(names, |of| {
                    Some(if of == 1 {
                        REFERENCE
                    } else if of == level {
                        CONTRAST
                    } else {
                        OTHER
                    })
                })
            }
            Factor::Feeding => {
                let names = pair(
                    ("fed", "fed once a week or more".to_owned()),
                    ("unfed", "fed less than once a week".to_owned()),
                );
                self.feeding(Some(vec![FEEDS_A_WEEK])).mapped(names, flipped)
            }
            Factor::Carbon => {
                let names = pair(
                    ("not_in_use", "without activated carbon".to_owned()),
                    ("in_use", "with activated carbon in use".to_owned()),
                );
                self.carbon().mapped(names, Some)
            }
            Factor::WaterChange => {
                let names = pair(
                    ("more", format!("with {CHANGED_A_WEEK} % or more of the water changed a week")),
                    ("less", format!("with less than {CHANGED_A_WEEK} % of the water changed a week")),
                );
                self.water_change(Some(vec![CHANGED_A_WEEK])).mapped(names, flipped)
            }
            Factor::TankAge => {
                let names = pair(
                    ("older", format!("in tanks of {YOUNG_MONTHS} months or more")),
                    ("young", format!("in tanks of under {YOUNG_MONTHS} months")),
                );
                self.tank_age(Some(vec![YOUNG_MONTHS])).mapped(names, flipped)
            }
            Factor::StingingCorals => self.neighbours_one("stinging corals", Sting::counts),
            Factor::ChemicalCorals => self.neighbours_one("leather corals and kin", |sting| sting == Sting::Chemical),
            Factor::WithinReach => {
                let names = pair(
                    ("out_of_reach", "with no stinging neighbour within reach".to_owned()),
                    ("within_reach", "with a stinging neighbour within reach".to_owned()),
                );
                let days = ParameterCode::parse("flow").map_or(180.0, |code| self.rules.carry(code).days);
                self.by_place(names, days, |specimen| place::within_reach(specimen, lag, days))
            }
            Factor::Incident => self.happened(INCIDENTS, INCIDENT_DAYS, "an incident"),
            Factor::PestFound => self.happened(&["pest_found"], LONG_DAYS, "a pest found"),
            Factor::NewAnimals => self.happened(&["new_fish", "new_invertebrate"], INCIDENT_DAYS, "new animals"),
            Factor::ManyLosses => {
                let names = pair(
                    ("none", format!("with no loss of many at once in the last {LONG_DAYS} days")),
                    ("some", format!("in tanks that lost many at once in the last {LONG_DAYS} days")),
                );
                let events = happening::losses_of_many(self.club);
                self.by_tank(names, |tank| happening::many_losses(&events, tank, LONG_DAYS, lag))
            }
            Factor::Origin => {
                let mut names = pair(
                    ("captive", "grown or bred in captivity".to_owned()),
                    ("wild_collected", "collected in the sea".to_owned()),
                );
                names.push(LevelName::new("other", "of another origin"));
                let origins: Vec<Origin> =
                    Origin::ALL.iter().copied().filter(|origin| *origin != Origin::Unknown).collect();
                self.origin().mapped(names, |level| {
                    Some(match origins.get(usize::from(level)) {
                        Some(Origin::CaptiveGrown | Origin::CaptiveBred) => REFERENCE,
                        Some(Origin::WildCollected) => CONTRAST,
                        _ => OTHER,
                    })
                })
            }
            Factor::Form(at) => {
                let code = catalogue().forms().get(usize::from(at)).map_or("", |form| form.code);
                let names = pair(
                    ("other_forms", "of other forms".to_owned()),
                    (code, format!("of the form {}", code.replace('_', " "))),
                );
                let all = self.build(By::Form, None);
                let own = all.levels.iter().position(|level| level.code == code);
                all.mapped(names, |level| Some(u16::from(own == Some(usize::from(level)))))
            }
            Factor::KeeperExperience => {
                let names = pair(
                    ("later", format!("of keepers with {FIRST_YEARS} years of reef-keeping or more")),
                    ("first_years", format!("of keepers in their first {FIRST_YEARS} years")),
                );
                self.experience(Some(vec![FIRST_YEARS])).mapped(names, flipped)
            }
            Factor::Season => {
                let names = pair(
                    ("april_to_september", "in April to September".to_owned()),
                    ("october_to_march", "in October to March".to_owned()),
                );
                Condition { lagged: false, ..self.plain(names, Source::All(season::halves())) }
            }
            Factor::BoughtInSeason => {
                let names = pair(
                    ("april_to_september", "got in April to September".to_owned()),
                    ("october_to_march", "got in October to March".to_owned()),
                );
                let own = |days: Option<Days>| Steps::constant(days.and_then(season::half_of));
                let source = self.members().map(|(id, specimen)| (id, own(specimen.acquired))).collect();
                Condition { lagged: false, ..self.plain(names, Source::Specimen(source)) }
            }
            Factor::EarlierLosses => {
                let names = pair(("fewer", String::new()), ("many", String::new()));
                let source = Source::Keeper(happening::earlier_losses(self.club, lag));
                self.plain(names, source)
            }
        })
    }

    /// A parameter against its taught band, or from the middle cut of its ladder on.
    fn level(&self, code: ParameterCode) -> Result<Condition, Refusal> {
        let taught = self.build(By::Parameter(code), None);
        let name = code.get().name.to_lowercase();
        if let Some(band) = &taught.band {
            let label = &taught.levels[usize::from(WITHIN)].label;
            let names = pair(
                ("within", format!("with {name} {label}")),
                ("outside", format!("with {name} outside {}", band.as_taught)),
            );
            return Ok(
                taught.mapped(names, |level| Some(if level == BELOW || level == ABOVE { CONTRAST } else { REFERENCE }))
            );
        }
        let cuts = ladder(By::Parameter(code));
        let Some(cut) = cuts.get(cuts.len() / 2).copied() else { return Err(no_cut(code)) };
        let unit = code.get().unit.get().printed;
        let names = pair(
            ("lower", format!("with {name} under {cut} {unit}")),
            ("higher", format!("with {name} of {cut} {unit} or more")),
        );
        Ok(self.build(By::Parameter(code), Some(vec![cut])).mapped(names, Some))
    }

    /// One side of a parameter's taught band against within.
    fn side(&self, code: ParameterCode, side: u16, word: &str) -> Result<Condition, Refusal> {
        let taught = self.build(By::Parameter(code), None);
        if taught.band.is_none() {
            return Err(no_cut(code));
        }
        let name = code.get().name.to_lowercase();
        let label = |level: u16| format!("with {name} {}", taught.levels[usize::from(level)].label);
        let mut names = pair(("within", label(WITHIN)), (word, label(side)));
        names.push(LevelName::new("other", &label(if side == BELOW { ABOVE } else { BELOW })));
        Ok(taught.mapped(names, |level| {
            Some(if level == WITHIN {
                REFERENCE
            } else if level == side {
                CONTRAST
            } else {
                OTHER
            })
        }))
    }

    fn plain(&self, names: Vec<LevelName>, source: Source) -> Condition {
        Condition { levels: names, lagged: true, ordered: false, ..self.condition(By::None, Vec::new(), source) }
    }

    fn by_tank(&self, names: Vec<LevelName>, steps: impl Fn(TankId) -> Steps) -> Condition {
        let source = self.tanks().into_iter().map(|tank| (tank, steps(tank))).collect();
        self.plain(names, Source::Tank(source))
    }

    fn by_tests(&self, code: ParameterCode, names: Vec<LevelName>, steps: impl Fn(&Series) -> Steps) -> Condition {
        let source = steps_by_tank(self.club, code, &self.tanks(), steps);
        let carry_days = Some(self.rules.carry(code).days);
        Condition { carry_days, ..self.plain(names, Source::Tank(source)) }
    }

    fn by_place(&self, names: Vec<LevelName>, days: f64, steps: impl Fn(&crate::club::Specimen) -> Steps) -> Condition {
        let source = self.members().map(|(id, specimen)| (id, steps(specimen))).collect();
        Condition { carry_days: Some(days), ..self.plain(names, Source::Specimen(source)) }
    }

    fn neighbours_one(&self, which: &str, is: impl Fn(Sting) -> bool) -> Condition {
        let names = pair(
            ("none", format!("with no other {which} in the tank")),
            ("some", format!("with other {which} in the tank")),
        );
        let source = self.counted_neighbours(Scale::Ladder(vec![1.0]), is);
        self.plain(names, source)
    }

    fn happened(&self, kinds: &[&str], days: f64, what: &str) -> Condition {
        let names = pair(
            ("none", format!("without {what} in the last {days} days")),
            ("some", format!("with {what} in the last {days} days")),
        );
        self.by_tank(names, |tank| happening::incidents(self.club, tank, kinds, days, self.rules.lag))
    }
}

/// The first cut of a parameter's spread.
fn first_cut(code: ParameterCode) -> Result<f64, Refusal> {
    code.get().spread_ladder.first().copied().ok_or_else(|| no_cut(code))
}

/// A spread's cut as a change a day: so much within a week, to two digits.
fn a_day(cut: f64) -> f64 {
    let exact = cut / 7.0;
    let scale = 10_f64.powi(1 - exact.abs().log10().floor() as i32);
    (exact * scale).round() / scale
}

fn no_cut(code: ParameterCode) -> Refusal {
    Refusal::plain(
        RefusalCode::UnknownExposure,
        format!("No band is taught and no cut is written for {} here.", code.get().name.to_lowercase()),
    )
}
