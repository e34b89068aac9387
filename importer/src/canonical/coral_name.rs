//! A coral's written names → a taxon, or one question per name.

use analysis::vocabulary::{NameMatch, Rank, TaxonSlug, catalogue, resolve_name, tentacles_said};

use crate::canonical::Work;
use crate::cell::fold;
use crate::doubt::desk::{Doubt, Settled, Spot};
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
}

/// Settles the names of a coral; `label` tells it from others in questions about itself.
pub(crate) fn settle(work: &mut Work, label: &str, written: &Written) -> Named {
    let mut named = match (&written.name, &written.trade) {
        (Some(name), trade) => by_name(work, name, trade.as_ref()),
        (None, Some(trade)) => one(work, trade),
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
    named
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

/// The scientific name, or the trade name where it settles what the first leaves open.
fn by_name(work: &mut Work, name: &(String, Spot), trade: Option<&(String, Spot)>) -> Named {
    let found = resolve_name(&name.0);
    if found.taxon().is_none()
        && let Some(trade) = trade
        && let Some(taxon) = resolve_name(&trade.0).taxon()
        && allows(&found, taxon)
    {
        return one(work, trade);
    }
    one(work, name)
}

/// Whether an open name can mean a taxon.
fn allows(found: &NameMatch, taxon: TaxonSlug) -> bool {
    match found {
        NameMatch::Ambiguous { candidates, .. } => {
            candidates.iter().any(|candidate| taxon.is_within(candidate.taxon) || candidate.taxon.is_within(taxon))
        }
        NameMatch::Near(near) => near.iter().any(|one| taxon.is_within(*one) || one.is_within(taxon)),
        NameMatch::Unknown => true,
        _ => false,
    }
}

fn taken(taxon: TaxonSlug, confidence: &'static str) -> Named {
    Named { taxon: Some(taxon), confidence: Some(confidence), ..Named::default() }
}

fn one(work: &mut Work, (text, spot): &(String, Spot)) -> Named {
    let about = analysis::vocabulary::text::fold(text);
    let note = |work: &mut Work, code: &'static str, taxon: TaxonSlug| {
        work.desk.raise(
            Doubt::of(code)
                .about(&about)
                .at(*spot, text)
                .fill("written", text)
                .fill("name", taxon.get().name)
                .fill("taxon", taxon.get().name)
                .cell(*spot, "taxon"),
        );
    };
    match resolve_name(text) {
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
                .at(*spot, text)
                .fill("written", text)
                .fill("name", name)
                .choices(choices)
                .propose_nothing();
            ask(work, doubt, *spot)
        }
        NameMatch::Near(near) => unknown(work, text, *spot, &near),
        NameMatch::Unknown => unknown(work, text, *spot, &[]),
    }
}

fn unknown(work: &mut Work, text: &str, spot: Spot, near: &[TaxonSlug]) -> Named {
    let about = analysis::vocabulary::text::fold(text);
    let mut choices: Vec<Choice> = near
        .iter()
        .take(8)
        .map(|taxon| Choice { code: taxon.as_str().to_owned(), label: taxon.get().name.to_owned(), needs: None })
        .collect();
    if choices.is_empty() {
        choices = nearest(&about)
            .into_iter()
            .map(|taxon| Choice { code: taxon.as_str().to_owned(), label: taxon.get().name.to_owned(), needs: None })
            .collect();
    }
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

/// Names that look a little like a written one.
fn nearest(folded: &str) -> Vec<TaxonSlug> {
    let mut scored: Vec<(f64, TaxonSlug)> = catalogue()
        .taxa()
        .iter()
        .filter(|taxon| taxon.rank != Rank::Group)
        .map(|taxon| (strsim::jaro_winkler(folded, &taxon.name.to_lowercase()), taxon.slug))
        .filter(|(score, _)| *score > 0.85)
        .collect();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    scored.into_iter().take(4).map(|(_, taxon)| taxon).collect()
}

/// Puts a question about a name; its answer is a taxon.
fn ask(work: &mut Work, doubt: Doubt, spot: Spot) -> Named {
    let key = doubt.key();
    let settled = work.desk.ask_key(&key);
    match settled {
        Settled::LeaveOut => return Named { not_a_coral: true, ..Named::default() },
        Settled::Choice("not_a_coral", _) => return Named { not_a_coral: true, ..Named::default() },
        Settled::Choice(choice, _) => {
            let text = settled.text();
            let chosen = TaxonSlug::parse(choice).or_else(|| {
                text.as_deref().and_then(|text| TaxonSlug::parse(text).or_else(|| resolve_name(text).taxon()))
            });
            if let Some(taxon) = chosen {
                return taken(taxon, "likely");
            }
        }
        Settled::Open | Settled::DontKnow => {}
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
