//! Single edits, laid over everything that files say, in the order of their commits.

use std::collections::BTreeSet;

use super::LiveUpload;
use super::between::{Entry, Joined};
use super::key::{Kind, agrees, slot};
use super::version::{Key, Stated, named};
use crate::context::How;
use crate::record::Record;

/// Lays a single edit over everything.
///
/// An edit that corrects facts takes these out first. Where a file says otherwise since (neither the fact as it was
/// corrected nor as it should be), the file stands and the edit has nothing to correct.
pub fn lay<'a>(joined: &mut Joined<'a>, upload: &LiveUpload<'a>) {
    let how = upload.about.laid.as_ref().map_or(How::Over, |laid| laid.how);
    let moot = correct(joined, upload.about.corrects());
    for (Key { kind, slot, ordinal }, record) in named(upload.records) {
        if moot.contains(&(kind, slot.clone())) {
            continue;
        }
        let stated = Stated {
            record,
            upload: upload.upload,
            log: upload.log,
            confirmed: upload.true_on(),
            bound: upload.bound(),
            last: record,
            last_upload: upload.upload,
        };
        if let Record::Specimen(specimen) = record {
            // The names that lists gave it stay with their days unless this one is another.
            let known = joined.names.get(&slot).and_then(|names| names.last()).map(|name| name.specimen.taxon);
            let silent = how == How::Completes && specimen.taxon.is_none();
            if !silent && known != Some(specimen.taxon) {
                joined.names.remove(&slot);
            }
        }
        let entries = joined.facts.entry(kind).or_default().entry(slot).or_default();
        let at = usize::try_from(ordinal - 1).unwrap_or(usize::MAX);
        match how {
            How::Completes if !kind.repeats() => entries.push(Entry::corrected(stated, entries)),
            _ if !kind.repeats() => *entries = vec![Entry::corrected(stated, entries)],
            How::Beside => match entries.iter_mut().find(|entry| agrees(entry.record(), record)) {
                Some(entry) => entry.sources.push(stated),
                None => entries.push(Entry::of(stated)),
            },
            How::Over | How::Completes => match entries.get_mut(at) {
                Some(entry) => *entry = Entry::corrected(stated, std::slice::from_ref(entry)),
                None => entries.push(Entry::of(stated)),
            },
        }
    }
}

/// Takes out what an edit corrects; gives the slots in which nothing of it is found and something else stands.
fn correct(joined: &mut Joined<'_>, takes: &[Record]) -> BTreeSet<(Kind, String)> {
    let mut otherwise = BTreeSet::new();
    let mut found = false;
    for record in takes {
        let kind = Kind::of(record);
        if found && kind.repeats() {
            break;
        }
        match out(joined, record) {
            Some(true) => found = true,
            Some(false) => {
                otherwise.insert((kind, slot(record)));
            }
            None => {}
        }
    }
    if found { BTreeSet::new() } else { otherwise }
}

/// Takes facts out, whichever log states them: of facts that share their slot one for each record, else all that say
/// the same. What a later file says otherwise stands.
pub fn take_out(joined: &mut Joined<'_>, upload: &LiveUpload<'_>) {
    for record in upload.records {
        out(joined, record);
    }
}

/// Takes one fact out: whether it was there; `None` where its slot is empty.
fn out(joined: &mut Joined<'_>, record: &Record) -> Option<bool> {
    let kind = Kind::of(record);
    let slots = joined.facts.get_mut(&kind)?;
    let slot = slot(record);
    let entries = slots.get_mut(&slot)?;
    let before = entries.len();
    if !kind.repeats() {
        entries.retain(|entry| !agrees(entry.record(), record));
    } else if let Some(at) = entries.iter().position(|entry| agrees(entry.record(), record)) {
        entries.remove(at);
    }
    let taken = entries.len() < before;
    if entries.is_empty() {
        slots.remove(&slot);
    }
    Some(taken)
}
