//! A coral's written names → a taxon, or one question per name.

use analysis::vocabulary::{NameMatch, TaxonSlug, kind_words, rank_names, tentacles_said};

use crate::canonical::{Work, look_alike};
use crate::cell::fold;
use crate::doubt::desk::{self, Doubt, Settled, Spot, key_of};
use crate::finding::Choice;

/// Names of a coral as written.
#[derive(Debug, Clone, Default)]
pub(crate) struct Written {
    /// Scientific or main name.
    pub name: Option<(String, Spot)>,
    /// Name as sold.
    pub trade: Option<(String, Spot)>,
    /// Character in a column of its own.
    pub character: Option<(String, Spot)>,
}

impl Written {
    /// The names as one text.
    pub fn text(&self) -> String {
        let name = self.name.as_ref().map(|(text, _)| text.as_str());
        let trade = self.trade.as_ref().map(|(text, _)| text.as_str());
        match (name, trade) {
            (Some(name), Some(trade)) => format!("{name} ({trade})"),
            (Some(one), None) | (None, Some(one)) => one.to_owned(),
            (None, None) => String::new(),
        }
    }
}

/// What the names come to.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Named {
    /// The taxon.
    pub taxon: Option<TaxonSlug>,
    /// `certain`, `likely`, `guess`.
    pub confidence: Option<&'static str>,
    /// Character seen.
    pub character: Option<String>,
    /// A question about the name is open: its key.
    pub held: Option<String>,
    /// "Not a coral" was answered.
    pub not_a_coral: bool,
    /// The keeper chose it by its character.
    pub chosen: bool,
}

/// Settles the names of a coral; `label` tells it from others in questions about itself.
pub(crate) fn settle(work: &mut Work, label: &str, written: &Written) -> Named {
    let agreed = by_club(work, written);
    let mut named = match (&written.name, &written.trade) {
        _ if agreed.is_some() => agreed.unwrap_or_default(),
        (Some(name), Some(trade)) => both(work, name, trade),
        (Some(only), None) | (None, Some(only)) => taken_as(work, crate::canonical::kind::of(&only.0), &only.0, only.1),
        (None, None) => Named::default(),
    };
    let all = [&written.name, &written.trade, &written.character];
    let tentacles = all
        .iter()
        .filter_map(|part| part.as_ref())
        .find_map(|(text, spot)| tentacles_said(text).map(|count| (count, text, *spot)));
    if let Some((count, text, spot)) = tentacles {
        named.character = Some(format!("{count} tentacles"));
        contradiction(work, label, &mut named, count, text, spot);
    } else {
        named.character = written.character.as_ref().map(|(text, _)| text.clone());
    }
    if all.iter().filter_map(|part| part.as_ref()).any(|(text, _)| guessed(text)) && named.taxon.is_some() {
        named.confidence = Some("guess");
    }
    if let Some((_, spot)) = written.name.as_ref().or(written.trade.as_ref()) {
        look_alike::note(work, &named, &written.text(), *spot);
    }
    named
}

/// What the club has agreed that a name means, unless its keeper has said something else of it. Beside another name that says
/// something it stays silent.
fn by_club(work: &Work, written: &Written) -> Option<Named> {
    let known = |text: &str| {
        let own = kind_words(text);
        let agreed = |one: &&crate::context::KnownName| kind_words(&one.name) == own;
        work.context.names.iter().find(agreed).map(|one| one.taxon).filter(|_| !own.is_empty())
    };
    let says_nothing = |text: &str| crate::canonical::kind::of(text) == NameMatch::Unknown;
    let (text, taxon) = match (&written.name, &written.trade) {
        (Some((only, _)), None) | (None, Some((only, _))) => (only, known(only)?),
        (Some((name, _)), Some((trade, _))) => match (known(name), known(trade)) {
            (Some(taxon), None) if says_nothing(trade) => (name, taxon),
            (None, Some(taxon)) if says_nothing(name) => (trade, taxon),
            (Some(one), Some(other)) if one == other => (name, one),
            _ => return None,
        },
        (None, None) => return None,
    };
    let key = match crate::canonical::kind::of(text) {
        NameMatch::Ambiguous { name, .. } => key_of("name_ambiguous", Some(&fold::name(name))),
        _ => key_of("name_unknown", Some(&kind_words(text))),
    };
    decided(work, &key).is_none().then(|| taken(taxon, "likely"))
}

/// "Goniopora?", "cf. Goniopora", "maybe a Goniopora".
fn guessed(text: &str) -> bool {
    let words = analysis::vocabulary::text::words(text);
    text.contains('?')
        || words.iter().any(|word| {
            matches!(
                word.as_str(),
                "cf" | "aff" | "maybe" | "probably" | "possibly" | "vielleicht" | "vermutlich" | "wohl"
            )
        })
}

/// A name and a trade name: asked about at the cell that says what is asked.
fn both(work: &mut Work, name: &(String, Spot), trade: &(String, Spot)) -> Named {
    let found = crate::canonical::kind::of_both(&name.0, &trade.0);
    let own = crate::canonical::kind::of(&name.0);
    if found == own {
        return taken_as(work, found, &name.0, name.1);
    }
    if found == crate::canonical::kind::of(&trade.0) {
        return taken_as(work, found, &trade.0, trade.1);
    }
    // Neither alone: what the two come to.
    let text = format!("{} ({})", name.0, trade.0);
    if let NameMatch::Near(several) = &found
        && own.taxon().is_some()
    {
        return contrary(work, &text, name.1, several);
    }
    taken_as(work, found, &text, name.1)
}

fn taken(taxon: TaxonSlug, confidence: &'static str) -> Named {
    Named { taxon: Some(taxon), confidence: Some(confidence), ..Named::default() }
}

/// What a resolved name comes to: a taxon, with a note where it is not the name as written, or a question.
pub(crate) fn taken_as(work: &mut Work, found: NameMatch, text: &str, spot: Spot) -> Named {
    let about = analysis::vocabulary::text::fold(text);
    let note = |work: &mut Work, code: &'static str, taxon: TaxonSlug| {
        work.desk.raise(
            Doubt::of(code)
                .about(&about)
                .at(spot, text)
                .fill("written", text)
                .fill("name", taxon.get().name)
                .fill("taxon", taxon.get().name)
                .cell(spot, "taxon"),
        );
    };
    match found {
        NameMatch::Accepted { taxon } => taken(taxon, "certain"),
        NameMatch::Older { taxon, .. } => {
            note(work, "name_updated", taxon);
            taken(taxon, "certain")
        }
        NameMatch::Trade { taxon } => taken(taxon, "likely"),
        NameMatch::Spelling { taxon, .. } => {
            note(work, "name_spelling", taxon);
            taken(taxon, "likely")
        }
        NameMatch::Ambiguous { name, candidates, common } => {
            let about = fold::name(name);
            let choices = candidates
                .iter()
                .map(|candidate| Choice {
                    code: candidate.taxon.as_str().to_owned(),
                    label: if candidate.character.is_empty() {
                        candidate.taxon.get().name.to_owned()
                    } else {
                        format!("{}: {}", candidate.taxon.get().name, candidate.character)
                    },
                    needs: None,
                })
                .collect();
            if work.desk.ask("name_ambiguous", &about) == Settled::DontKnow
                && let Some(common) = common
            {
                return taken(common, "guess");
            }
            let doubt = Doubt::of("name_ambiguous")
                .about(about)
                .at(spot, text)
                .fill("written", text)
                .fill("name", name)
                .choices(choices)
                .propose_nothing();
            ask(work, doubt, spot)
        }
        NameMatch::Near(near) => unknown(work, text, spot, &near),
        NameMatch::Unknown => unknown(work, text, spot, &[]),
    }
}

/// A name and a clear trade name that cannot both be right.
fn contrary(work: &mut Work, text: &str, spot: Spot, several: &[TaxonSlug]) -> Named {
    let about = analysis::vocabulary::text::fold(text);
    ask_which(work, about, text, spot, |_| several.to_vec())
}

/// A name nobody knows: one question for all its spellings, with the names that are near, the likeliest first.
fn unknown(work: &mut Work, text: &str, spot: Spot, near: &[TaxonSlug]) -> Named {
    let own = kind_words(text);
    // "Zorblax quendii" and "Zorblax quendi" are one kind to their keeper.
    let known = match work.unknown_names.len() < desk::APART {
        true => work.unknown_names.iter().find(|known| alike(known, &own)).cloned(),
        // Beyond these all are one question.
        false => None,
    };
    let about = known.unwrap_or_else(|| own.clone());
    if about == own && work.unknown_names.len() < desk::APART {
        work.unknown_names.insert(own);
    }
    ask_which(work, about, text, spot, |work| ranked(work, text, near))
}

fn ask_which(
    work: &mut Work,
    about: String,
    text: &str,
    spot: Spot,
    ranked: impl FnOnce(&Work) -> Vec<TaxonSlug>,
) -> Named {
    // Names are weighed once for a question, not for each of its rows.
    let key = key_of("name_unknown", Some(&about));
    if let Some(named) = decided(work, &key) {
        return named;
    }
    if work.desk.raised("name_unknown", &about) {
        work.desk.wait(&key, [(spot, "taxon")]);
        return Named { held: Some(key), ..Named::default() };
    }
    let ranked = if work.desk.is_one_of_others("name_unknown", &key) { Vec::new() } else { ranked(work) };
    let mut choices: Vec<Choice> = ranked
        .into_iter()
        .take(MOST_OFFERED)
        .map(|taxon| Choice { code: taxon.as_str().to_owned(), label: taxon.get().name.to_owned(), needs: None })
        .collect();
    choices.push(Choice {
        code: "taxon".to_owned(),
        label: "another name, or its genus only".to_owned(),
        needs: Some("taxon".to_owned()),
    });
    choices.push(Choice { code: "not_a_coral".to_owned(), label: "not a coral".to_owned(), needs: None });
    let doubt = Doubt::of("name_unknown")
        .about(about)
        .at(spot, text)
        .fill("written", text)
        .fill("name", text)
        .choices(choices)
        .propose_nothing();
    ask(work, doubt, spot)
}

/// Names that are offered.
const MOST_OFFERED: usize = 8;
/// What it counts that the keeper has the kind, or another of its genus; that someone in the club has it.
const KEEPER_HAS: f64 = 0.06;
const KEEPER_HAS_GENUS: f64 = 0.03;
const CLUB_HAS: f64 = 0.02;

/// Kinds by the nearness of their names, and by what the keeper and the club have.
fn ranked(work: &Work, text: &str, near: &[TaxonSlug]) -> Vec<TaxonSlug> {
    let mut scored = rank_names(text);
    for taxon in near {
        if !scored.iter().any(|(known, _)| known == taxon) {
            scored.push((*taxon, 0.9));
        }
    }
    // Of a genus that is near, the kinds that the keeper and the club have.
    let genera = scored.clone();
    for taxon in work.corals.taxa().chain(work.context.club_taxa.iter().copied()) {
        let genus = genera.iter().find(|(near, _)| taxon.is_within(*near) && near.get().genus == Some(*near));
        if let Some((_, score)) = genus.filter(|_| !scored.iter().any(|(known, _)| *known == taxon)) {
            scored.push((taxon, *score - CLUB_HAS));
        }
    }
    for (taxon, score) in &mut scored {
        let has = |wanted: &dyn Fn(TaxonSlug) -> bool| work.corals.taxa().any(wanted);
        if has(&|own| own == *taxon) {
            *score += KEEPER_HAS;
        } else if has(&|own| own.get().genus.is_some() && own.get().genus == taxon.get().genus) {
            *score += KEEPER_HAS_GENUS;
        }
        if work.context.club_taxa.contains(taxon) {
            *score += CLUB_HAS;
        }
    }
    scored.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    scored.into_iter().map(|(taxon, _)| taxon).collect()
}

/// One unknown name in two spellings: a letter apart in a word of six or more, or the plural.
fn alike(known: &str, own: &str) -> bool {
    let (left, right): (Vec<&str>, Vec<&str>) = (known.split(' ').collect(), own.split(' ').collect());
    let slip = |a: &str, b: &str| {
        let plural = a.strip_suffix('s') == Some(b) || b.strip_suffix('s') == Some(a);
        let long = a.chars().count().min(b.chars().count()) >= 6;
        let letters = |word: &str| word.chars().all(char::is_alphabetic);
        letters(a) && letters(b) && (plural && a.len() > 3 || long && strsim::osa_distance(a, b) == 1)
    };
    known == own
        || left.len() == right.len()
            && left.iter().zip(&right).all(|(a, b)| a == b || slip(a, b))
            && left.iter().zip(&right).filter(|(a, b)| a != b).count() == 1
}

/// What the answer to a question about a name comes to; `None` while it is open.
fn decided(work: &Work, key: &str) -> Option<Named> {
    let settled = work.desk.ask_key(key);
    match settled {
        Settled::LeaveOut | Settled::Choice("not_a_coral", _) => Some(Named { not_a_coral: true, ..Named::default() }),
        Settled::Choice(choice, _) => {
            let text = settled.text();
            let chosen = TaxonSlug::parse(choice).or_else(|| {
                text.as_deref()
                    .and_then(|text| TaxonSlug::parse(text).or_else(|| crate::canonical::kind::of(text).taxon()))
            });
            chosen.map(|taxon| Named { chosen: true, ..taken(taxon, "likely") })
        }
        Settled::Open | Settled::DontKnow => None,
    }
}

/// Puts a question about a name; its answer is a taxon.
fn ask(work: &mut Work, doubt: Doubt, spot: Spot) -> Named {
    let key = doubt.key();
    if let Some(named) = decided(work, &key) {
        return named;
    }
    work.desk.raise(doubt.cell(spot, "taxon"));
    Named { held: Some(key), ..Named::default() }
}

/// A recorded character against the name: twelve tentacles are no Goniopora.
fn contradiction(work: &mut Work, label: &str, named: &mut Named, count: u32, text: &str, spot: Spot) {
    let Some(taxon) = named.taxon else { return };
    let known = taxon.get().tentacles.or_else(|| taxon.get().genus.and_then(|genus| genus.get().tentacles));
    if known.is_none_or(|known| known == count) {
        return;
    }
    let look_alike = taxon.look_alike_genera().into_iter().find(|genus| genus.get().tentacles == Some(count));
    let about = fold::name(label);
    let settled = work.desk.ask("name_contradicts", &about);
    match settled {
        Settled::Choice("name", _) => named.character = None,
        Settled::Choice("character", _) => {
            if let Some(genus) = look_alike {
                (named.taxon, named.confidence) = (Some(genus), Some("likely"));
                return;
            }
        }
        Settled::LeaveOut => {
            (named.taxon, named.confidence) = (None, None);
            named.not_a_coral = true;
        }
        _ => {}
    }
    if matches!(settled, Settled::Choice("name", _)) || named.not_a_coral {
        return;
    }
    let doubt = Doubt::of("name_contradicts")
        .about(about)
        .at(spot, text)
        .fill("label", label)
        .fill("character", format!("{count} tentacles a polyp"))
        .fill("taxon", look_alike.map_or("another coral", |genus| genus.get().name))
        .fill("written", taxon.get().name)
        .cell(spot, "taxon");
    named.held = Some(doubt.key());
    (named.taxon, named.confidence) = (None, None);
    work.desk.raise(doubt);
}
