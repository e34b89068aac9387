//! What each member contributes to a taxon, as a hash under a key that names nobody: enough to count who changed it.

use std::collections::BTreeMap;

use analysis::club::{Club, Specimen};
use analysis::follow_up::Population;
use diesel::prelude::*;
use migrations::schema::keeper;
use sha2::{Digest, Sha256};

/// Keys of all members, in the order of the club's keepers.
///
/// # Errors
/// The database refused.
pub(super) fn members(connection: &mut PgConnection) -> QueryResult<Vec<String>> {
    let mut handles: Vec<String> = keeper::table.select(keeper::handle).load(connection)?;
    handles.sort();
    Ok(handles.iter().map(|handle| hash(handle.as_bytes())).collect())
}

fn hash(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().take(12).map(|byte| format!("{byte:02x}")).collect()
}

/// What every member has written, hashed once for all taxa.
///
/// Positions in the club shift when anybody writes anything, so they are counted from the member's own first ones.
pub(super) struct Written<'a> {
    club: &'a Club,
    members: &'a [String],
    firsts: Firsts,
    /// All that was written about the tanks of a keeper.
    tanks: BTreeMap<u32, Sha256>,
}

impl<'a> Written<'a> {
    pub(super) fn of(club: &'a Club, members: &'a [String]) -> Written<'a> {
        let firsts = Firsts::of(club);
        let mut tanks: BTreeMap<u32, Sha256> = BTreeMap::new();
        let mut add = |tank: u32, written: &dyn Fn(u32, u32) -> String| {
            if let Some(keeper) = club.tanks.get(tank as usize).map(|tank| tank.keeper) {
                let text = written(keeper, tank.wrapping_sub(firsts.tank(keeper)));
                tanks.entry(keeper).or_default().update(text);
            }
        };
        for (at, tank) in club.tanks.iter().enumerate() {
            add(at as u32, &|_, place| format!("{:?}", (place, tank.started, tank.litres, tank.closed)));
        }
        for reading in &club.readings {
            add(reading.tank, &|keeper, tank| {
                let log = reading.log.wrapping_sub(firsts.log(keeper));
                format!("{:?}", analysis::club::Reading { tank, log, ..reading.clone() })
            });
        }
        let own = |keeper: u32, specimen: Option<u32>| specimen.map(|id| id.wrapping_sub(firsts.specimen(keeper)));
        for routine in &club.routines {
            add(routine.tank, &|keeper, tank| {
                let specimen = own(keeper, routine.specimen);
                format!("{:?}", analysis::club::Routine { tank, specimen, ..routine.clone() })
            });
        }
        for event in &club.events {
            add(event.tank, &|keeper, tank| {
                let specimen = own(keeper, event.specimen);
                format!("{:?}", analysis::club::CareEvent { tank, specimen, ..event.clone() })
            });
        }
        for incident in &club.incidents {
            add(incident.tank, &|keeper, tank| {
                let specimen = own(keeper, incident.specimen);
                format!("{:?}", analysis::club::Incident { tank, specimen, ..incident.clone() })
            });
        }
        Written { club, members, firsts, tanks }
    }
}

/// One hash a member with anything of the taxon.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Contributions(BTreeMap<String, String>);

impl Contributions {
    /// What every member contributes to a population, or to everything together: the specimens, and all that was written about
    /// the member's tanks.
    pub(super) fn of(written: &Written, population: Option<&Population>) -> Contributions {
        let club = written.club;
        let ids: Vec<u32> = match population {
            Some(population) => population.members.clone(),
            None => (0..club.specimens.len() as u32).collect(),
        };
        let mut by_keeper: BTreeMap<u32, Sha256> = BTreeMap::new();
        for id in ids {
            let Some(specimen) = club.specimens.get(id as usize) else { continue };
            let first = written.firsts.tank(specimen.keeper);
            let mut own = Specimen { keeper: 0, ..specimen.clone() };
            own.stays.iter_mut().for_each(|stay| stay.tank = stay.tank.wrapping_sub(first));
            let tanks = || written.tanks.get(&specimen.keeper).cloned().unwrap_or_default();
            by_keeper.entry(specimen.keeper).or_insert_with(tanks).update(format!("{own:?}"));
        }
        let named = by_keeper.into_iter().filter_map(|(keeper, sum)| {
            let key = written.members.get(keeper as usize)?;
            Some((key.clone(), sum.finalize().iter().take(12).map(|byte| format!("{byte:02x}")).collect()))
        });
        Contributions(named.collect())
    }

    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Members whose contribution is another one now, or is new, or gone.
    pub(super) fn changed(&self, now: &Contributions) -> usize {
        let differs = self.0.iter().filter(|(key, hash)| now.0.get(*key) != Some(hash)).count();
        differs + now.0.keys().filter(|key| !self.0.contains_key(*key)).count()
    }

    /// Whether somebody who contributed is no member any more.
    pub(super) fn lacks(&self, members: &[String]) -> bool {
        self.0.keys().any(|key| !members.contains(key))
    }

    pub(super) fn as_json(&self) -> serde_json::Value {
        serde_json::json!(self.0)
    }

    /// What was kept; what is no such map counts as everybody new.
    pub(super) fn from_json(kept: &serde_json::Value) -> Contributions {
        Contributions(serde_json::from_value(kept.clone()).unwrap_or_default())
    }
}

/// The first tank, log and specimen of each keeper.
#[derive(Default)]
struct Firsts(BTreeMap<u32, [u32; 3]>);

impl Firsts {
    fn of(club: &Club) -> Firsts {
        let mut firsts = Firsts::default();
        let mut see = |keeper: u32, place: usize, id: u32| {
            let own = firsts.0.entry(keeper).or_insert([u32::MAX; 3]);
            own[place] = own[place].min(id);
        };
        for (at, tank) in (0u32..).zip(&club.tanks) {
            see(tank.keeper, 0, at);
        }
        for reading in &club.readings {
            if let Some(tank) = club.tanks.get(reading.tank as usize) {
                see(tank.keeper, 1, reading.log);
            }
        }
        for (at, specimen) in (0u32..).zip(&club.specimens) {
            see(specimen.keeper, 2, at);
        }
        firsts
    }

    fn first(&self, keeper: u32, place: usize) -> u32 {
        self.0.get(&keeper).map_or(0, |own| own[place])
    }

    fn tank(&self, keeper: u32) -> u32 {
        self.first(keeper, 0)
    }

    fn log(&self, keeper: u32) -> u32 {
        self.first(keeper, 1)
    }

    fn specimen(&self, keeper: u32) -> u32 {
        self.first(keeper, 2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::club::{Identification, Keeper, Reading, Stay, Tank};
    use analysis::vocabulary::{ParameterCode, TaxonSlug};

    #[test]
    fn what_one_member_writes_changes_no_other_members_hash() {
        let reading = |tank: u32, log: u32, value: f64| Reading {
            tank,
            parameter: ParameterCode::parse("nitrate").unwrap(),
            on: "2024-03-01".parse().unwrap(),
            value: Some(value),
            lower: value,
            upper: value,
            exact: true,
            zero_reported: false,
            limit: None,
            step: None,
            log,
        };
        let specimen = |keeper: u32, key: &str, tank: u32| Specimen {
            key: key.to_owned(),
            keeper,
            identifications: vec![Identification {
                taxon: TaxonSlug::parse("goniopora").unwrap(),
                on: None,
                guessed: false,
            }],
            stays: vec![Stay { tank, from: "2024-01-01".parse().unwrap(), to: None }],
            ..Specimen::default()
        };
        let members = ["a".to_owned(), "b".to_owned()];
        let club = |first: &[(u32, f64)], shift: u32| Club {
            keepers: vec![Keeper::default(), Keeper::default()],
            tanks: (0..=shift).map(|_| Tank::default()).chain([Tank { keeper: 1, ..Tank::default() }]).collect(),
            readings: first
                .iter()
                .map(|(log, value)| reading(0, *log, *value))
                .chain([reading(shift + 1, 1 + shift, 9.0)])
                .collect::<Vec<_>>()
                .into(),
            specimens: vec![specimen(0, "a/1", 0), specimen(1, "b/1", shift + 1)],
            ..Club::default()
        };
        let of = |club: &Club| {
            let population = Population::of(club, TaxonSlug::parse("goniopora").unwrap(), None);
            Contributions::of(&Written::of(club, &members), Some(&population))
        };
        let before = of(&club(&[(0, 5.0)], 0));
        // The first member adds a log and a tank: every later position shifts by one.
        let after = of(&club(&[(0, 5.0), (1, 6.0)], 1));
        assert_eq!(before.changed(&after), 1);
        assert_eq!(before.changed(&before), 0);
        assert!(!before.lacks(&members) && before.lacks(&members[1..]));
    }
}
