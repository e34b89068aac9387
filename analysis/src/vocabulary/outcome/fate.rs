//! What a free remark says became of a coral: "dead, heater stuck on", "fragged into 3", "RTN, saved 3 frags".

use std::collections::HashMap;

use super::{Cause, Fate};
use crate::vocabulary::catalogue;
use crate::vocabulary::phrase::{Hit, PhraseBook};
use crate::vocabulary::text::words;

/// What one phrase says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::vocabulary) enum FateWord {
    Fate(Fate, Option<&'static str>),
    Unclear(&'static str),
    NotDeath(Option<&'static str>),
    RescueCut,
    Cut,
    Alive {
        weak: bool,
    },
    /// Position among the signs.
    Sign(usize),
    /// Position among the causes; `kills` if the phrase says death as well.
    Cause {
        at: usize,
        kills: bool,
    },
}

#[derive(Debug)]
pub(in crate::vocabulary) struct FateBook {
    /// Phrases of a remark.
    pub(super) book: PhraseBook<FateWord>,
    /// Words that count only where nothing else stands between two commas.
    pub(super) whole: PhraseBook<FateWord>,
}

impl FateBook {
    pub(super) fn new(numbers: &HashMap<String, u32>) -> Self {
        FateBook { book: PhraseBook::new(numbers), whole: PhraseBook::new(numbers) }
    }

    fn read(&self, text: &str) -> Vec<Hit<FateWord>> {
        parts(text)
            .into_iter()
            .flat_map(|part| match self.whole.whole(&words(part)) {
                Some(hit) => vec![hit],
                None => self.book.scan(&words(part)),
            })
            .collect()
    }
}

/// The parts of a remark between commas and the like; "1,5" and "R.I.P." stay whole.
fn parts(text: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    let mut from = 0;
    let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
    for (at, c) in text.char_indices() {
        let (before, after) = (text[..at].chars().next_back(), text[at + c.len_utf8()..].chars().next());
        let blank = |c: Option<char>| c.is_none_or(char::is_whitespace);
        let splits = match c {
            ';' | '(' | ')' | '!' | '?' | '\n' | ':' => true,
            ',' => !(digit(before) && digit(after)),
            '.' | '-' | '–' | '—' | '/' => blank(after),
            _ => false,
        };
        if splits {
            parts.push(&text[from..at]);
            from = at + c.len_utf8();
        }
    }
    parts.push(&text[from..]);
    parts
}

/// What a remark says became of a coral.
#[derive(Debug, Clone, PartialEq)]
pub enum FateMatch {
    /// One fate.
    Fate {
        /// It.
        fate: Fate,
        /// The cause, if the remark names one.
        cause: Option<&'static Cause>,
        /// How it looked, in the order written.
        manner: Vec<&'static str>,
        /// For `left`: `given`, `sold`, `swapped`, `returned`, `passed_in_club`.
        kind: Option<&'static str>,
    },
    /// Two fates, or a fate beside "alive".
    Several {
        /// The fates named.
        fates: Vec<Fate>,
        /// "Alive" is written too.
        alive: bool,
    },
    /// "gone", "lost", "off", "removed", "RTN", "STN" with no word that says which fate.
    Unclear {
        /// The word, as the catalogue writes it.
        word: &'static str,
        /// The cause, if the remark names one.
        cause: Option<&'static Cause>,
        /// How it looked.
        manner: Vec<&'static str>,
    },
    /// It lives; with the signs seen, if any.
    Alive {
        /// Sign codes, in the order written.
        signs: Vec<&'static str>,
    },
    /// Cuttings were saved from a dying mother: the mother died.
    RescueCut {
        /// How many.
        pieces: Option<u32>,
        /// The cause, if the remark names one.
        cause: Option<&'static Cause>,
        /// How it looked.
        manner: Vec<&'static str>,
    },
    /// Cuttings were made; whether the mother lives is not said.
    Cut {
        /// How many.
        pieces: Option<u32>,
    },
    /// Nothing about its fate.
    NoWord,
}

/// Reads a remark. The longest phrases win ("half dead" is no death); a word of death beside "lost" settles it.
pub fn find_fate(text: &str) -> FateMatch {
    let outcomes = &catalogue().outcomes;
    let hits = outcomes.fates.read(text);
    // The dagger stands for a death in lists (common practice, no source); as a sign it is in no phrase.
    let mut fates: Vec<Fate> = if text.contains(['†', '✝']) { vec![Fate::Died] } else { Vec::new() };
    let mut kind = None;
    let mut cause: Option<&'static Cause> = None;
    let mut manner: Vec<&'static str> = Vec::new();
    let mut signs: Vec<&'static str> = Vec::new();
    let mut unclear = None;
    let (mut alive, mut well) = (false, false);
    let (mut rescue, mut cut) = (None, None);
    for hit in &hits {
        match hit.meaning {
            FateWord::Fate(fate, of_kind) => {
                if !fates.contains(&fate) {
                    fates.push(fate);
                }
                kind = kind.or(of_kind);
            }
            FateWord::Unclear(word) => unclear = unclear.or(Some(word)),
            FateWord::NotDeath(sign) => match sign {
                Some(sign) if !signs.contains(&sign) => signs.push(sign),
                _ => well = true,
            },
            FateWord::RescueCut => rescue = rescue.or(Some(hit.number)),
            FateWord::Cut => cut = cut.or(Some(hit.number)),
            FateWord::Alive { weak: false } => alive = true,
            FateWord::Alive { weak: true } => well = true,
            FateWord::Sign(at) => {
                let sign = &outcomes.signs[at];
                if !signs.contains(&sign.code) {
                    signs.push(sign.code);
                }
                if let Some(how) = sign.manner
                    && !manner.contains(&how)
                {
                    manner.push(how);
                }
                if sign.unclear {
                    unclear = unclear.or(Some(hit.written));
                }
            }
            FateWord::Cause { at, kills } => {
                cause = cause.or(Some(&outcomes.causes[at]));
                if kills && !fates.contains(&Fate::Died) {
                    fates.push(Fate::Died);
                }
            }
        }
    }
    if let Some(pieces) = rescue {
        return FateMatch::RescueCut { pieces, cause, manner };
    }
    if alive && !fates.is_empty() {
        return FateMatch::Several { fates, alive };
    }
    match one_fate(&fates, cut.is_some()) {
        Ok(Some(fate)) => {
            let kind = kind.filter(|_| fate == Fate::Left);
            return FateMatch::Fate { fate, cause, manner, kind };
        }
        Ok(None) => {}
        Err(()) => return FateMatch::Several { fates, alive },
    }
    if let Some(pieces) = cut {
        return FateMatch::Cut { pieces };
    }
    if let Some(word) = unclear
        && !alive
    {
        return FateMatch::Unclear { word, cause, manner };
    }
    if alive || well || !signs.is_empty() { FateMatch::Alive { signs } } else { FateMatch::NoWord }
}

/// The manner that the signs of a remark make ("RTN", "brown jelly": how it looked), where the remark names a sign and has
/// no word that the coral lives. Beside a word of death they say how it died.
pub fn find_manner(text: &str) -> Option<Vec<&'static str>> {
    let outcomes = &catalogue().outcomes;
    let (mut manner, mut any): (Vec<&'static str>, bool) = (Vec::new(), false);
    for hit in &outcomes.fates.read(text) {
        match hit.meaning {
            FateWord::Alive { .. } | FateWord::NotDeath(None) => return None,
            FateWord::NotDeath(Some(_)) => any = true,
            FateWord::Sign(at) => {
                any = true;
                manner.extend(outcomes.signs[at].manner.filter(|how| !manner.contains(how)));
            }
            _ => {}
        }
    }
    any.then_some(manner)
}

/// The fate that several words of one remark come to; `Err` if they contradict each other.
fn one_fate(fates: &[Fate], cut: bool) -> Result<Option<Fate>, ()> {
    let has = |fate| fates.contains(&fate);
    if fates.len() <= 1 {
        // Cuttings given away while nothing says what became of the mother.
        return Ok(fates.first().copied().filter(|fate| !(cut && *fate == Fate::Left)));
    }
    if has(Fate::ArrivedDead) {
        return Ok(Some(Fate::ArrivedDead));
    }
    if has(Fate::Left) && (has(Fate::Died) || has(Fate::Missing)) {
        return Err(());
    }
    // The nearest to the coral itself: it died, though its tank was closed too.
    let order = [Fate::Died, Fate::CutUp, Fate::Left, Fate::Missing, Fate::TankClosed, Fate::KeeperLeft];
    Ok(order.into_iter().find(|fate| has(*fate)))
}
