//! Kinds that are easily taken for others: a note, once for each pair and file, where nothing that was written tells
//! them apart. It never changes a name.

use analysis::vocabulary::text::words;
use analysis::vocabulary::{LookAlike, TaxonSlug, catalogue};

use crate::canonical::Work;
use crate::canonical::coral_name::Named;
use crate::doubt::desk::{Doubt, Spot};

/// Letters by which a word of a remark is known again in a character: "branching", "branches".
const STEM: usize = 5;

/// Notes the pairs that a settled name belongs to. A scientific name is enough for most; for some not even that.
pub(super) fn note(work: &mut Work, named: &Named, written: &str, spot: Spot) {
    let Some(taxon) = named.taxon else { return };
    if named.chosen || named.character.is_some() {
        return;
    }
    let unsure = named.confidence != Some("certain");
    for row in catalogue().look_alikes().iter().filter(|row| row.name_not_enough || unsure) {
        let Some(own) = row.members.iter().find(|member| taxon.is_within(member.taxon)) else { continue };
        if backed(own.character, written) {
            continue;
        }
        let others: Vec<&str> = row
            .members
            .iter()
            .filter(|member| member.taxon != own.taxon)
            .map(|member| member.taxon.get().name)
            .collect();
        let characters: Vec<String> =
            row.members.iter().map(|member| format!("{} has {}", member.taxon.get().name, member.character)).collect();
        work.desk.raise(
            Doubt::of("look_alike")
                .about(about(row))
                .at(spot, written)
                .fill("written", written)
                .fill("taxon", own.taxon.get().name)
                .fill("others", others.join(" and "))
                .fill("character", characters.join("; "))
                .cell(spot, "taxon"),
        );
        // One note a coral: the first pair of the table is the one that matters most.
        return;
    }
}

/// Name of a pair in keys.
fn about(row: &LookAlike) -> String {
    row.members.iter().map(|member| TaxonSlug::as_str(member.taxon)).collect::<Vec<_>>().join(" ")
}

/// Whether a name as written holds a word of the character: "branching hammer".
fn backed(character: &str, written: &str) -> bool {
    let stem = |word: &String| word.chars().take(STEM).collect::<String>();
    let character: Vec<String> =
        words(character).iter().filter(|word| word.chars().count() >= STEM).map(stem).collect();
    words(written).iter().any(|word| character.contains(&stem(word)))
}
