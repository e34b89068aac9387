//! What the club knows of a keeper: tanks, specimens, instruments, as the reader is told.

use std::collections::BTreeMap;

use analysis::vocabulary::TaxonSlug;
use chrono::NaiveDate;
use diesel::pg::PgConnection;
use diesel::prelude::*;
use migrations::schema::{club_name, ending, instrument, specimen, stay, tank, tank_alias};

use super::{LoadError, merge};
use crate::context::{Context, KnownInstrument, KnownName, KnownSpecimen, KnownTank};
use crate::fold::key::folded;
use crate::fold::same::Named;

/// The keeper's records as a file of theirs would be read now; no answers, no day, no hints.
pub fn context_for(connection: &mut PgConnection, keeper_id: i64) -> Result<Context, LoadError> {
    let same = merge::standing(connection, keeper_id)?;
    let mut aliases: BTreeMap<i64, Vec<String>> = BTreeMap::new();
    let spelled: Vec<(i64, String)> = tank_alias::table
        .filter(tank_alias::keeper_id.eq(keeper_id))
        .order(tank_alias::key)
        .select((tank_alias::tank_id, tank_alias::alias))
        .load(connection)?;
    for (id, alias) in spelled {
        aliases.entry(id).or_default().push(alias);
    }
    let tanks: Vec<(i64, String)> = tank::table
        .filter(tank::keeper_id.eq(keeper_id))
        .order(tank::key)
        .select((tank::id, tank::name))
        .load(connection)?;
    let names: BTreeMap<i64, String> = tanks.iter().cloned().collect();
    let tanks = tanks
        .into_iter()
        .map(|(id, name)| KnownTank { name, aliases: aliases.remove(&id).unwrap_or_default() })
        .collect::<Vec<KnownTank>>();

    // The latest stay of each specimen comes last.
    let stays: BTreeMap<i64, i64> = stay::table
        .filter(stay::keeper_id.eq(keeper_id))
        .order((stay::specimen_id, stay::from_day.asc().nulls_first()))
        .select((stay::specimen_id, stay::tank_id))
        .load::<(i64, i64)>(connection)?
        .into_iter()
        .collect();
    let ended: BTreeMap<i64, NaiveDate> = ending::table
        .filter(ending::keeper_id.eq(keeper_id))
        .select((ending::specimen_id, ending::latest))
        .load::<(i64, NaiveDate)>(connection)?
        .into_iter()
        .collect();
    let specimens: Vec<(i64, String, Option<String>)> = specimen::table
        .filter(specimen::keeper_id.eq(keeper_id))
        .order(specimen::key)
        .select((specimen::id, specimen::label, specimen::taxon))
        .load(connection)?;
    let specimens = specimens
        .into_iter()
        .map(|(id, label, taxon)| KnownSpecimen {
            label,
            taxon: taxon.as_deref().and_then(TaxonSlug::parse),
            tank: stays.get(&id).and_then(|tank| names.get(tank)).cloned(),
            alive: !ended.contains_key(&id),
            ended: ended.get(&id).copied(),
        })
        .collect();

    // Names that were given up for another are known as that one.
    let (mut tanks, mut specimens): (Vec<KnownTank>, Vec<KnownSpecimen>) = (tanks, specimens);
    for (kind, from, _) in merge::joined(connection, keeper_id)? {
        if kind == "tank" {
            let stays = same.stays(Named::Tank, &from).map(folded);
            if let Some(tank) = tanks.iter_mut().find(|tank| Some(folded(&tank.name)) == stays) {
                tank.aliases.push(from);
            }
        } else {
            let stays = same.stays(Named::Specimen, &from).map(folded);
            let known = specimens.iter().find(|coral| Some(folded(&coral.label)) == stays).cloned();
            specimens.extend(known.map(|known| KnownSpecimen { label: from, ..known }));
        }
    }

    let club: Vec<Option<String>> = specimen::table.select(specimen::taxon).distinct().load(connection)?;
    let mut club_taxa: Vec<TaxonSlug> =
        club.into_iter().flatten().filter_map(|taxon| TaxonSlug::parse(&taxon)).collect();
    club_taxa.sort();

    // Of two that stand under one name the later holds.
    let agreed: BTreeMap<String, String> = club_name::table
        .filter(club_name::withdrawn_at.is_null())
        .order((club_name::since_day, club_name::id))
        .select((club_name::name, club_name::taxon))
        .load::<(String, String)>(connection)?
        .into_iter()
        .collect();
    let known = |(name, taxon): (String, String)| Some(KnownName { name, taxon: TaxonSlug::parse(&taxon)? });
    let names_of_kinds = agreed.into_iter().filter_map(known).collect();

    type Kit = (Option<i64>, String, Option<f64>, Option<f64>, Option<String>, Option<String>);
    let kits: Vec<Kit> = instrument::table
        .filter(instrument::keeper_id.eq(keeper_id))
        .order(instrument::key)
        .select((
            instrument::tank_id,
            instrument::parameter,
            instrument::limit_value,
            instrument::step,
            instrument::reference,
            instrument::basis,
        ))
        .load(connection)?;
    let instruments = kits
        .into_iter()
        .map(|(tank, parameter, limit, step, reference, basis)| KnownInstrument {
            tank: tank.and_then(|tank| names.get(&tank)).cloned(),
            parameter,
            limit,
            step,
            reference,
            basis,
        })
        .collect();
    Ok(Context {
        keeper_known: true,
        tanks,
        specimens,
        club_taxa,
        names: names_of_kinds,
        instruments,
        ..Context::default()
    })
}
