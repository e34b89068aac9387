//! `catalogue/outcomes.toml` to the types, checked.

use std::collections::HashMap;

use serde::Deserialize;

use super::fate::{FateBook, FateWord};
use super::{Cause, CauseGroup, Fate, LookState, Measure, MeasureUnit, Origin, OriginBasis, Sign, SizeBasis, Term};
use crate::vocabulary::phrase::PhraseBook;
use crate::vocabulary::text::{keep, keep_all, words};
use crate::vocabulary::unit::Units;
use crate::vocabulary::{CatalogueError, UnitCode};

const FILE: &str = "outcomes.toml";

#[derive(Debug)]
pub(in crate::vocabulary) struct Outcomes {
    pub(in crate::vocabulary) causes: Vec<Cause>,
    pub(in crate::vocabulary) signs: Vec<Sign>,
    pub(in crate::vocabulary) measures: Vec<Measure>,
    pub(in crate::vocabulary) size_bases: Vec<SizeBasis>,
    pub(in crate::vocabulary) source_kinds: Vec<Term>,
    pub(in crate::vocabulary) incidents: Vec<Term>,
    pub(in crate::vocabulary) happenings: Vec<Term>,
    pub(in crate::vocabulary) done: Vec<Term>,
    pub(in crate::vocabulary) routines: Vec<Term>,
    pub(in crate::vocabulary) flow_words: Vec<Term>,
    pub(in crate::vocabulary) height_words: Vec<Term>,
    pub(in crate::vocabulary) closings: Vec<Term>,
    pub(super) fates: FateBook,
    /// Of a column of causes.
    pub(super) cause_words: PhraseBook<usize>,
    /// Of a remark.
    pub(super) cause_phrases: PhraseBook<usize>,
    pub(super) origins: PhraseBook<Origin>,
    pub(super) origin_bases: PhraseBook<OriginBasis>,
    pub(super) source_words: PhraseBook<usize>,
    pub(super) conditions: PhraseBook<(LookState, Option<u8>)>,
    /// Words beside a look that leave it what it is, in comparable form, the longest first.
    pub(super) beside_a_look: Vec<Vec<String>>,
    pub(super) incident_words: PhraseBook<usize>,
    pub(super) incident_phrases: PhraseBook<usize>,
    pub(super) happening_words: PhraseBook<usize>,
    pub(super) done_words: PhraseBook<usize>,
    pub(super) measure_words: PhraseBook<usize>,
    pub(super) basis_words: PhraseBook<usize>,
    pub(super) routine_words: PhraseBook<usize>,
    pub(super) flow_index: PhraseBook<usize>,
    pub(super) height_index: PhraseBook<usize>,
    pub(super) closing_index: PhraseBook<usize>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    fate: Vec<FateRow>,
    eaten: WordsRow,
    beside_a_look: WordsRow,
    unclear: Vec<UnclearRow>,
    not_death: Vec<NotDeathRow>,
    rescue_cut: Vec<PhrasesRow>,
    cut: Vec<PhrasesRow>,
    alive: Vec<AliveRow>,
    sign: Vec<SignRow>,
    cause: Vec<CauseRow>,
    origin: Vec<TermRow>,
    origin_basis: Vec<TermRow>,
    source_kind: Vec<TermRow>,
    condition: Vec<ConditionRow>,
    closing: Vec<TermRow>,
    incident: Vec<TermRow>,
    happening: Vec<TermRow>,
    done: Vec<TermRow>,
    measure: Vec<MeasureRow>,
    size_basis: Vec<SizeBasisRow>,
    routine: Vec<TermRow>,
    flow_word: Vec<TermRow>,
    height_word: Vec<TermRow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FateRow {
    code: Fate,
    kind: Option<String>,
    phrases: HashMap<String, Vec<String>>,
    #[serde(default)]
    whole: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WordsRow {
    words: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UnclearRow {
    word: String,
    phrases: Vec<String>,
    #[serde(default)]
    whole: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NotDeathRow {
    sign: Option<String>,
    phrases: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PhrasesRow {
    phrases: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AliveRow {
    #[serde(default)]
    weak: bool,
    phrases: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SignRow {
    code: String,
    manner: Option<String>,
    #[serde(default)]
    unclear: bool,
    phrases: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CauseRow {
    code: String,
    group: CauseGroup,
    name: String,
    words: Vec<String>,
    phrases: Vec<String>,
    #[serde(default)]
    whole: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TermRow {
    code: String,
    name: Option<String>,
    words: Vec<String>,
    #[serde(default)]
    phrases: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ConditionRow {
    code: LookState,
    score: Option<u8>,
    words: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MeasureRow {
    code: String,
    name: String,
    unit: String,
    basis: Option<String>,
    accepts: Vec<MeasureUnitRow>,
    words: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MeasureUnitRow {
    unit: String,
    #[serde(default = "one")]
    scale: f64,
    #[serde(default = "one")]
    divisor: f64,
}

fn one() -> f64 {
    1.0
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SizeBasisRow {
    code: String,
    #[serde(default)]
    growth: bool,
    words: Vec<String>,
}

fn wrong(message: impl Into<String>) -> CatalogueError {
    CatalogueError::new(FILE, message)
}

fn fill<T: Copy + PartialEq>(book: &mut PhraseBook<T>, list: Vec<String>, meaning: T) -> Result<(), CatalogueError> {
    list.into_iter().try_for_each(|phrase| book.add(keep(phrase), meaning).map_err(wrong))
}

/// Terms with an index of their words.
type Terms = (Vec<Term>, PhraseBook<usize>, PhraseBook<usize>);

fn terms(rows: Vec<TermRow>, numbers: &HashMap<String, u32>) -> Result<Terms, CatalogueError> {
    let (mut terms, mut index, mut phrases) = (Vec::new(), PhraseBook::new(numbers), PhraseBook::new(numbers));
    for row in rows {
        let at = terms.len();
        let code = keep(row.code);
        if terms.iter().any(|term: &Term| term.code == code) {
            return Err(wrong(format!("`{code}` stands twice")));
        }
        let words = keep_all(row.words);
        for word in &words {
            index.add(word, at).map_err(wrong)?;
        }
        fill(&mut phrases, row.phrases, at)?;
        terms.push(Term { code, name: row.name.map_or(code, keep), words });
    }
    Ok((terms, index, phrases))
}

fn coded<T: Copy + PartialEq>(
    rows: Vec<TermRow>,
    numbers: &HashMap<String, u32>,
    parse: fn(&str) -> Option<T>,
) -> Result<PhraseBook<T>, CatalogueError> {
    let mut index = PhraseBook::new(numbers);
    for row in rows {
        let meaning = parse(&row.code).ok_or_else(|| wrong(format!("`{}` is no code", row.code)))?;
        fill(&mut index, row.words, meaning)?;
    }
    Ok(index)
}

impl Outcomes {
    pub(in crate::vocabulary) fn read(units: &Units, numbers: &HashMap<String, u32>) -> Result<Self, CatalogueError> {
        let file: File = crate::vocabulary::parse(FILE, include_str!("../../../catalogue/outcomes.toml"))?;
        let (source_kinds, source_words, _) = terms(file.source_kind, numbers)?;
        let (incidents, incident_words, incident_phrases) = terms(file.incident, numbers)?;
        let (happenings, happening_words, _) = terms(file.happening, numbers)?;
        let (done, done_words, _) = terms(file.done, numbers)?;
        let (routines, routine_words, _) = terms(file.routine, numbers)?;
        let (flow_words, flow_index, _) = terms(file.flow_word, numbers)?;
        let (height_words, height_index, _) = terms(file.height_word, numbers)?;
        let (closings, closing_index, _) = terms(file.closing, numbers)?;
        let mut outcomes = Outcomes {
            causes: Vec::new(),
            signs: Vec::new(),
            measures: Vec::new(),
            size_bases: Vec::new(),
            source_kinds,
            incidents,
            happenings,
            done,
            routines,
            flow_words,
            height_words,
            closings,
            fates: FateBook::new(numbers),
            cause_words: PhraseBook::new(numbers),
            cause_phrases: PhraseBook::new(numbers),
            origins: coded(file.origin, numbers, Origin::parse)?,
            origin_bases: coded(file.origin_basis, numbers, OriginBasis::parse)?,
            source_words,
            conditions: PhraseBook::new(numbers),
            beside_a_look: {
                let mut beside: Vec<Vec<String>> = file.beside_a_look.words.iter().map(|word| words(word)).collect();
                beside.sort_by_key(|word| std::cmp::Reverse(word.len()));
                beside
            },
            incident_words,
            incident_phrases,
            happening_words,
            done_words,
            measure_words: PhraseBook::new(numbers),
            basis_words: PhraseBook::new(numbers),
            routine_words,
            flow_index,
            height_index,
            closing_index,
        };
        for row in file.condition {
            fill(&mut outcomes.conditions, row.words, (row.code, row.score))?;
        }
        outcomes.add_causes(file.cause, &file.eaten.words)?;
        outcomes.add_signs(file.sign)?;
        outcomes.add_fates(file.fate)?;
        for row in file.unclear {
            let word = keep(row.word);
            let book = if row.whole { &mut outcomes.fates.whole } else { &mut outcomes.fates.book };
            fill(book, row.phrases, FateWord::Unclear(word))?;
        }
        let book = &mut outcomes.fates.book;
        for row in file.not_death {
            fill(book, row.phrases, FateWord::NotDeath(row.sign.map(keep)))?;
        }
        for row in file.rescue_cut {
            fill(book, row.phrases, FateWord::RescueCut)?;
        }
        for row in file.cut {
            fill(book, row.phrases, FateWord::Cut)?;
        }
        for row in file.alive {
            fill(book, row.phrases, FateWord::Alive { weak: row.weak })?;
        }
        outcomes.add_sizes(file.measure, file.size_basis, units)?;
        Ok(outcomes)
    }

    fn add_fates(&mut self, rows: Vec<FateRow>) -> Result<(), CatalogueError> {
        for row in rows {
            let kind = row.kind.map(keep);
            if kind.is_some() != (row.code == Fate::Left) {
                return Err(wrong(format!("{}: a kind belongs to `left` and to nothing else", row.code)));
            }
            fill(&mut self.fates.whole, row.whole, FateWord::Fate(row.code, kind))?;
            let mut languages: Vec<(String, Vec<String>)> = row.phrases.into_iter().collect();
            languages.sort();
            for (_, phrases) in languages {
                fill(&mut self.fates.book, phrases, FateWord::Fate(row.code, kind))?;
            }
        }
        Ok(())
    }

    fn add_causes(&mut self, rows: Vec<CauseRow>, eaten: &[String]) -> Result<(), CatalogueError> {
        for row in rows {
            let at = self.causes.len();
            self.causes.push(Cause { code: keep(row.code), group: row.group, name: keep(row.name) });
            fill(&mut self.cause_words, row.words, at)?;
            for phrase in row.whole {
                let kills = eaten.contains(&phrase);
                self.fates.whole.add(keep(phrase), FateWord::Cause { at, kills }).map_err(wrong)?;
            }
            for phrase in row.phrases {
                let phrase = keep(phrase);
                let kills = eaten.iter().any(|word| phrase.starts_with(word.as_str()));
                self.cause_phrases.add(phrase, at).map_err(wrong)?;
                self.fates.book.add(phrase, FateWord::Cause { at, kills }).map_err(wrong)?;
            }
        }
        Ok(())
    }

    fn add_signs(&mut self, rows: Vec<SignRow>) -> Result<(), CatalogueError> {
        for row in rows {
            let at = self.signs.len();
            self.signs.push(Sign { code: keep(row.code), manner: row.manner.map(keep), unclear: row.unclear });
            fill(&mut self.fates.book, row.phrases, FateWord::Sign(at))?;
        }
        Ok(())
    }

    fn add_sizes(
        &mut self,
        measures: Vec<MeasureRow>,
        bases: Vec<SizeBasisRow>,
        units: &Units,
    ) -> Result<(), CatalogueError> {
        let unit = |code: &str| -> Result<UnitCode, CatalogueError> {
            units.code(code).ok_or_else(|| wrong(format!("`{code}` is no unit")))
        };
        for row in bases {
            let at = self.size_bases.len();
            self.size_bases.push(SizeBasis { code: keep(row.code), growth: row.growth });
            fill(&mut self.basis_words, row.words, at)?;
        }
        for row in measures {
            let at = self.measures.len();
            let accepts = row
                .accepts
                .into_iter()
                .map(|row| Ok(MeasureUnit { unit: unit(&row.unit)?, scale: row.scale, divisor: row.divisor }))
                .collect::<Result<_, CatalogueError>>()?;
            if let Some(basis) = &row.basis
                && !self.size_bases.iter().any(|known| known.code == basis)
            {
                return Err(wrong(format!("`{basis}` is no size basis")));
            }
            let measure = Measure {
                code: keep(row.code),
                name: keep(row.name),
                unit: unit(&row.unit)?,
                basis: row.basis.map(keep),
                accepts,
            };
            self.measures.push(measure);
            fill(&mut self.measure_words, row.words, at)?;
        }
        Ok(())
    }
}
