//! Names of a keeper that a curator has joined: what is said under the one is folded as said under the other. Files, and what
//! was read of them, stay as they are, so that taking a join back gives everything as before.

use std::collections::{BTreeMap, BTreeSet};

use super::key::folded;
use crate::record::Record;

/// Joined names, each as it is compared, with the name that stays.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SameNames {
    tanks: BTreeMap<String, String>,
    specimens: BTreeMap<String, String>,
}

/// What a name is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Named {
    /// A tank.
    Tank,
    /// A coral, by its label.
    Specimen,
}

impl SameNames {
    /// Joins one name to another.
    pub fn join(&mut self, named: Named, from: &str, into: &str) {
        let names = match named {
            Named::Tank => &mut self.tanks,
            Named::Specimen => &mut self.specimens,
        };
        names.insert(folded(from), into.to_owned());
    }

    /// Whether nothing is joined.
    pub fn is_empty(&self) -> bool {
        self.tanks.is_empty() && self.specimens.is_empty()
    }

    /// The name that stays, if this one is joined to another.
    pub fn stays(&self, named: Named, name: &str) -> Option<&str> {
        let names = match named {
            Named::Tank => &self.tanks,
            Named::Specimen => &self.specimens,
        };
        let mut stays = names.get(&folded(name))?;
        // One that was joined before its own was joined to a third; a circle ends where it began.
        let mut seen = BTreeSet::from([folded(name)]);
        while let Some(next) = names.get(&folded(stays)).filter(|_| seen.insert(folded(stays))) {
            stays = next;
        }
        Some(stays)
    }

    /// Names of tanks as they stay.
    pub fn tanks(&self, names: &BTreeSet<String>) -> BTreeSet<String> {
        names.iter().map(|name| self.stays(Named::Tank, name).map_or_else(|| name.clone(), str::to_owned)).collect()
    }

    /// A record under the names that stay.
    pub fn rename(&self, record: &mut Record) {
        let tank = |name: &mut String| self.replace(Named::Tank, name);
        let coral = |name: &mut String| self.replace(Named::Specimen, name);
        let tank_if = |name: &mut Option<String>| name.iter_mut().for_each(tank);
        let coral_if = |name: &mut Option<String>| name.iter_mut().for_each(coral);
        match record {
            Record::Tank(of) => tank(&mut of.name),
            Record::Instrument(of) => tank_if(&mut of.tank),
            Record::Specimen(of) => {
                coral(&mut of.label);
                coral_if(&mut of.parent);
                tank_if(&mut of.tank);
            }
            Record::Reading(of) => {
                tank_if(&mut of.tank);
                coral_if(&mut of.specimen);
            }
            Record::Identification(of) => coral(&mut of.specimen),
            Record::Stay(of) => {
                coral(&mut of.specimen);
                tank(&mut of.tank);
            }
            Record::Placement(of) => coral(&mut of.specimen),
            Record::Sighting(of) => coral(&mut of.specimen),
            Record::Sizing(of) => coral(&mut of.specimen),
            Record::Ending(of) => coral(&mut of.specimen),
            Record::Routine(of) => {
                tank_if(&mut of.tank);
                coral_if(&mut of.specimen);
            }
            Record::Event(of) => {
                tank_if(&mut of.tank);
                coral_if(&mut of.specimen);
            }
            Record::Incident(of) => {
                tank_if(&mut of.tank);
                coral_if(&mut of.specimen);
            }
        }
    }

    fn replace(&self, named: Named, name: &mut String) {
        if let Some(stays) = self.stays(named, name) {
            stays.clone_into(name);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_joined_twice_is_the_last_one_and_a_circle_ends() {
        let mut same = SameNames::default();
        same.join(Named::Tank, "Aldr", "Alder");
        same.join(Named::Tank, "alder", "Birch");
        assert_eq!(same.stays(Named::Tank, " ALDR "), Some("Birch"));
        assert_eq!(same.stays(Named::Specimen, "Aldr"), None);
        same.join(Named::Tank, "Birch", "Aldr");
        assert!(same.stays(Named::Tank, "Birch").is_some());
    }
}
