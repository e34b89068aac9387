//! Words of columns about causes, origins, looks, incidents, sizes and routines.

use super::{Cause, LookState, Measure, Origin, OriginBasis, SizeBasis, Term};
use crate::vocabulary::phrase::PhraseBook;
use crate::vocabulary::text::words;
use crate::vocabulary::word::is_unknown_word;
use crate::vocabulary::{catalogue, find_unit};

fn term<'a>(terms: &'a [Term], index: &PhraseBook<usize>, text: &str) -> Option<&'a Term> {
    let words = words(text);
    terms.iter().find(|term| term.code == text.trim()).or_else(|| index.one(&words).map(|hit| &terms[hit.meaning]))
}

/// A cause in a column of causes: its code, or a word for it ("heater", "eaten").
pub fn find_cause(text: &str) -> Option<&'static Cause> {
    let outcomes = &catalogue().outcomes;
    if text.trim() == "?" {
        return Cause::parse("not_said");
    }
    let words = words(text);
    Cause::parse(text.trim())
        .or_else(|| outcomes.cause_phrases.one(&words).map(|hit| &outcomes.causes[hit.meaning]))
        .or_else(|| outcomes.cause_words.one(&words).map(|hit| &outcomes.causes[hit.meaning]))
}

/// A cause inside a remark; bare words ("fish", "light") do not count.
pub fn find_cause_in_remark(text: &str) -> Option<&'static Cause> {
    let outcomes = &catalogue().outcomes;
    outcomes.cause_phrases.one(&words(text)).map(|hit| &outcomes.causes[hit.meaning])
}

/// An origin as written: "wild", "maricultured", "frag swap", "cultured". "?" is `Unknown`; `None` if the words
/// name none, or two.
pub fn find_origin(text: &str) -> Option<Origin> {
    if is_unknown_word(text) && !text.trim().is_empty() {
        return Some(Origin::Unknown);
    }
    Origin::parse(text.trim()).or_else(|| catalogue().outcomes.origins.one(&words(text)).map(|hit| hit.meaning))
}

/// How an origin is known, as written.
pub fn find_origin_basis(text: &str) -> Option<OriginBasis> {
    OriginBasis::parse(text.trim())
        .or_else(|| catalogue().outcomes.origin_bases.one(&words(text)).map(|hit| hit.meaning))
}

/// A kind of source, and whether anything else stands beside it (then the text may name a shop or a person).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SourceMatch {
    /// `own_cutting`, `member`, `shop`, `online_dealer`, `importer`, `event`, `unknown`.
    pub kind: &'static str,
    /// The kind is all that is written.
    pub bare: bool,
}

/// The kind of source of a text: "the shop in Mill Lane" is a shop, and its name stays its keeper's own.
pub fn find_source_kind(text: &str) -> Option<SourceMatch> {
    let outcomes = &catalogue().outcomes;
    if is_unknown_word(text) && !text.trim().is_empty() {
        return Some(SourceMatch { kind: "unknown", bare: true });
    }
    let all = words(text);
    let bare = outcomes.source_words.whole(&all).is_some()
        || outcomes.source_kinds.iter().any(|term| term.code == text.trim());
    term(&outcomes.source_kinds, &outcomes.source_words, text).map(|term| SourceMatch { kind: term.code, bare })
}

/// A look at a coral.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// State.
    pub state: LookState,
    /// Condition 0 dead … 5 open and growing; `None` for a bare "alive".
    pub score: Option<u8>,
}

/// A look as written in a column of looks: "open", "off", "poor", "ok", or a score 0 to 5.
pub fn find_condition(text: &str) -> Option<Look> {
    let trimmed = text.trim();
    if let Some(state) = LookState::parse(trimmed) {
        return Some(Look { state, score: state.usual_score() });
    }
    if let Ok(score @ 0..=5) = trimmed.parse::<u8>() {
        return Some(Look { state: LookState::of_score(score), score: Some(score) });
    }
    let outcomes = &catalogue().outcomes;
    let all = words(text);
    let mut said = all.as_slice();
    loop {
        if let Some(hit) = outcomes.conditions.whole(said) {
            let (state, score) = hit.meaning;
            return Some(Look { state, score });
        }
        // "Open again", "immer noch zu": the look is what is left.
        let beside = || outcomes.beside_a_look.iter().filter(|word| word.len() < said.len());
        let shorter = beside()
            .find_map(|word| said.strip_prefix(word.as_slice()))
            .or_else(|| beside().find_map(|word| said.strip_suffix(word.as_slice())));
        said = shorter?;
    }
}

/// An incident in a column of incidents: its code or a word for it.
pub fn find_incident(text: &str) -> Option<&'static Term> {
    let outcomes = &catalogue().outcomes;
    find_incident_in_remark(text).or_else(|| term(&outcomes.incidents, &outcomes.incident_words, text))
}

/// An incident inside a remark: "heater stuck on", "power cut".
pub fn find_incident_in_remark(text: &str) -> Option<&'static Term> {
    let outcomes = &catalogue().outcomes;
    outcomes.incident_phrases.one(&words(text)).map(|hit| &outcomes.incidents[hit.meaning])
}

/// Another happening of a diary: `moved`, `cut`, `rescue_cut`, `fed_differently`.
pub fn find_happening(text: &str) -> Option<&'static Term> {
    let outcomes = &catalogue().outcomes;
    term(&outcomes.happenings, &outcomes.happening_words, text)
}

/// A size measure recognised in a text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasureMatch {
    /// What was measured.
    pub measure: &'static Measure,
    /// On what, if the text or the measure says so.
    pub basis: Option<&'static str>,
}

/// What was done to a tank.
#[derive(Debug, Clone, PartialEq)]
pub struct DoneMatch {
    /// Code of its event: `water_change`, `carbon`, `broadcast_feed`.
    pub code: &'static str,
    /// The amount beside it, in comparable form ("20 l"), if one is written.
    pub amount: Option<String>,
}

/// What a cell says was done to a tank, and nothing else: "water change", "WW 20 L", "15 % water change". `None` as soon
/// as any other word stands beside it ("no water change").
pub fn find_done(text: &str) -> Option<DoneMatch> {
    let outcomes = &catalogue().outcomes;
    let all = words(text);
    let number = |word: &String| word.starts_with(|letter: char| letter.is_ascii_digit());
    // The number and its unit, before or after the words.
    let before = if all.first().is_some_and(number) { 1..=2 } else { 0..=0 };
    let after = all.iter().rev().take(2).position(number).map_or(0..=0, |at| at + 1..=at + 1);
    let parts = before.flat_map(|before| after.clone().map(move |after| (before, after)));
    for (before, after) in parts.filter(|(before, after)| *before == 0 || *after == 0) {
        let Some(said) = all.get(before..all.len().saturating_sub(after)) else { continue };
        // "Changement d'eau de 10 %", "10 % of the water changed".
        let small = |word: &&String| {
            matches!(word.as_str(), "de" | "del" | "of" | "von" | "van" | "um" | "the" | "con" | "mit" | "met")
        };
        let said = if after > 0 { &said[..said.len() - said.iter().rev().take_while(small).count()] } else { said };
        let said = if before > 0 { &said[said.iter().take_while(small).count()..] } else { said };
        if let Some(hit) = outcomes.done_words.whole(said) {
            let amount = all[..before].iter().chain(&all[all.len() - after..]).cloned().collect::<Vec<_>>().join(" ");
            let known = amount.split_once(' ').is_none_or(|(_, unit)| find_unit(unit).is_some());
            return known.then(|| DoneMatch {
                code: outcomes.done[hit.meaning].code,
                amount: Some(amount).filter(|amount| !amount.is_empty()),
            });
        }
    }
    None
}

/// What was measured: "dia", "across", "heads", "buoyant", "open width (mm)".
pub fn find_measure(text: &str) -> Option<MeasureMatch> {
    let outcomes = &catalogue().outcomes;
    let all = words(text);
    let code = outcomes.measures.iter().position(|measure| measure.code == text.trim());
    let at = match code {
        Some(at) => at,
        None if text.trim() == "Ø" => outcomes.measure_words.one(&words("diameter"))?.meaning,
        None => outcomes.measure_words.one(&all)?.meaning,
    };
    let measure = &outcomes.measures[at];
    let said = outcomes.basis_words.one(&all).map(|hit| outcomes.size_bases[hit.meaning].code);
    Some(MeasureMatch { measure, basis: measure.basis.or(said) })
}

/// What a size was taken on: "skeleton", "open tissue".
pub fn find_size_basis(text: &str) -> Option<&'static SizeBasis> {
    let outcomes = &catalogue().outcomes;
    let at = outcomes
        .size_bases
        .iter()
        .position(|basis| basis.code == text.trim())
        .or_else(|| outcomes.basis_words.one(&words(text)).map(|hit| hit.meaning))?;
    Some(&outcomes.size_bases[at])
}

/// A routine: its code or a word for it.
pub fn find_routine(text: &str) -> Option<&'static Term> {
    let outcomes = &catalogue().outcomes;
    term(&outcomes.routines, &outcomes.routine_words, text)
}

/// Flow as a word: `still`, `swaying`, `thrashing`; never turned into cm/s.
pub fn find_flow_word(text: &str) -> Option<&'static Term> {
    let outcomes = &catalogue().outcomes;
    term(&outcomes.flow_words, &outcomes.flow_index, text)
}

/// Height in the tank: `top`, `middle`, `bottom`, `sand`.
pub fn find_height_word(text: &str) -> Option<&'static Term> {
    let outcomes = &catalogue().outcomes;
    term(&outcomes.height_words, &outcomes.height_index, text)
}

/// Why a tank was closed: `moved`, `sold`, `all_died`, `other`.
pub fn find_closing(text: &str) -> Option<&'static Term> {
    let outcomes = &catalogue().outcomes;
    term(&outcomes.closings, &outcomes.closing_index, text)
}

impl Cause {
    /// The cause of a code.
    pub fn parse(code: &str) -> Option<&'static Cause> {
        catalogue().outcomes.causes.iter().find(|cause| cause.code == code)
    }
}

impl Measure {
    /// The measure of a code.
    pub fn parse(code: &str) -> Option<&'static Measure> {
        catalogue().outcomes.measures.iter().find(|measure| measure.code == code)
    }

    /// A written size in [`Measure::unit`]; `None` if the unit does not measure this.
    pub fn convert(&self, value: f64, unit: &str) -> Option<f64> {
        let unit = find_unit(unit)?.unit;
        let row = self.accepts.iter().find(|row| row.unit == unit)?;
        Some(value * row.scale / row.divisor).filter(|size| size.is_finite())
    }
}
