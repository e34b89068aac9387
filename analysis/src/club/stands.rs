//! Of what a release's own records may tell: where one or two members changed a figure, that of an older release stands, or
//! none.

use std::collections::BTreeMap;

/// What is made of several splits.
pub const SEVERAL: &str = "*";

/// Whether figures are told from these records, by their subject (a taxon, or a group without some genera) and by what
/// they are split by or which line they are. Empty = all are.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Stands(BTreeMap<String, BTreeMap<String, bool>>);

impl Stands {
    /// Says whether figures are told. [`SEVERAL`] says it of everything of its subject that is not named.
    pub fn say(&mut self, subject: &str, piece: &str, told: bool) {
        self.0.entry(subject.to_owned()).or_default().insert(piece.to_owned(), told);
    }

    /// Whether figures are told.
    pub fn has(&self, subject: &str, piece: &str) -> bool {
        let Some(pieces) = self.0.get(subject) else { return true };
        pieces.get(piece).or(pieces.get(SEVERAL)).copied().unwrap_or(true)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_named_is_told_as_the_whole_of_its_subject_is() {
        let mut stands = Stands::default();
        assert!(stands.has("goniopora", "nitrate"));
        stands.say("goniopora", SEVERAL, false);
        stands.say("goniopora", "origin", true);
        assert!(!stands.has("goniopora", "nitrate") && !stands.has("goniopora", SEVERAL));
        assert!(stands.has("goniopora", "origin") && stands.has("alveopora", "nitrate"));
        stands.say("alveopora", "conditions/incident", false);
        assert!(!stands.has("alveopora", "conditions/incident") && stands.has("alveopora", SEVERAL));
    }
}
