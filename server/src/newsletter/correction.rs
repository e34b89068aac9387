//! What an issue was printed with and what stands no longer: figure by figure.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{Issue, Line};

/// A figure that stands no longer as it was printed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Correction {
    /// Number of the issue that it was printed in.
    #[schema(example = 3)]
    pub printed_in: i64,
    /// Taxon or thing taught, by its name in addresses.
    #[schema(example = "goniopora")]
    pub item: String,
    /// The taxon that the figure is of.
    #[schema(example = "goniopora")]
    pub taxon: String,
    /// What it is of, as printed.
    #[schema(example = "Goniopora: alive after a year")]
    pub what: String,
    /// The figure as it was printed; `null` = shown no longer, since it is withheld, or it was not printed then.
    #[schema(example = "58 % (44 % to 70 %)")]
    pub printed: Option<String>,
    /// The figure that stands; `null` = none does.
    #[schema(example = "61 % (47 % to 72 %)")]
    pub now: Option<String>,
    /// Why none does.
    pub reason: Option<String>,
}

/// Which figure: item, taxon, and what it is of.
type Which = (String, String, String);

fn figures(issue: &Issue) -> BTreeMap<Which, String> {
    let line = |(item, taxon): (&str, &str), of: &str, line: &Line| {
        let what = format!("{of}: {}", line.what.to_lowercase());
        ((item.to_owned(), taxon.to_owned(), what), line.figure.clone())
    };
    let taxa = issue.taxa.iter().flat_map(|of| of.table.iter().map(|at| line((&of.taxon, &of.taxon), &of.name, at)));
    let claims = issue.claims.iter().flat_map(|of| {
        let named = format!("{}, {}", of.claim, of.taxon);
        let said = Line { what: "What the records say".to_owned(), figure: of.verdict.clone() };
        let lines = std::iter::once(&said).chain(&of.table);
        lines.map(|at| line((&of.claim, &of.taxon), &named, at)).collect::<Vec<_>>()
    });
    taxa.chain(claims).collect()
}

/// What an issue was printed with and what stands no longer in `now`, which was asked for the same items; printed figures
/// of taxa in `withheld` are not repeated.
pub fn of(number: i64, printed: &Issue, now: &Issue, withheld: &BTreeSet<String>) -> Vec<Correction> {
    let (then, stands) = (figures(printed), figures(now));
    let mut corrections = Vec::new();
    let mut gone = BTreeSet::new();
    for (which, figure) in &then {
        let (item, taxon, what) = which.clone();
        let (is_withheld, stands) = (withheld.contains(&taxon), stands.get(which).cloned());
        let is_told = |of: &str| stands_at_all(now, &item, of);
        if stands.is_none() && !is_told(&taxon) {
            // One notice for all figures of it.
            gone.insert((item, taxon));
            continue;
        }
        if stands.as_ref() != Some(figure) || is_withheld {
            let printed = Some(figure.clone()).filter(|_| !is_withheld);
            corrections.push(Correction { printed_in: number, item, taxon, what, printed, now: stands, reason: None });
        }
    }
    for (item, taxon) in gone {
        let named = |of: &super::Item| (of.taxon == item).then(|| of.name.clone());
        let name = printed.taxa.iter().find_map(named).unwrap_or_else(|| format!("{item}, {taxon}"));
        let untold = now.cannot_tell.iter().find(|of| of.item == item).map(|of| of.reason.clone());
        corrections.push(Correction {
            printed_in: number,
            what: format!("{name}: all figures"),
            printed: None,
            now: None,
            reason: Some(untold.unwrap_or_else(|| "These records cannot tell it any more.".to_owned())),
            item,
            taxon,
        });
    }
    corrections.sort_by(|a, b| (&a.item, &a.what).cmp(&(&b.item, &b.what)));
    corrections
}

/// Whether anything of an item is told of a taxon.
fn stands_at_all(issue: &Issue, item: &str, taxon: &str) -> bool {
    let claimed = issue.claims.iter().any(|of| of.claim == item && of.taxon == taxon);
    claimed || issue.taxa.iter().any(|of| of.taxon == item)
}

#[cfg(test)]
mod tests {
    use super::super::{Item, Untold};
    use super::*;

    fn issue(figures: &[(&str, &str)]) -> Issue {
        let item = |(name, figure): &(&str, &str)| Item {
            taxon: name.to_lowercase(),
            name: (*name).to_owned(),
            release: 1,
            made_on: chrono::NaiveDate::default(),
            paragraph: String::new(),
            table: vec![Line { what: "Deaths".to_owned(), figure: (*figure).to_owned() }],
            picture: String::new(),
            drawn: String::new(),
        };
        Issue {
            release: 1,
            made_on: chrono::NaiveDate::default(),
            club: None,
            since: None,
            taxa: figures.iter().map(item).collect(),
            claims: Vec::new(),
            cannot_tell: Vec::new(),
            unchanged: 0,
            corrections: Vec::new(),
            cautions: Vec::new(),
            citation: String::new(),
        }
    }

    #[test]
    fn what_stands_is_not_corrected_and_what_is_withheld_is_not_repeated() {
        let printed = issue(&[("Acropora", "5"), ("Goniopora", "10"), ("Euphyllia", "15")]);
        let mut now = issue(&[("Acropora", "5"), ("Goniopora", "20")]);
        assert!(of(3, &printed, &printed, &BTreeSet::new()).is_empty());
        let reason = "Too few keepers.".to_owned();
        now.cannot_tell.push(Untold { item: "euphyllia".to_owned(), name: "Euphyllia".to_owned(), reason });
        let corrections = of(3, &printed, &now, &BTreeSet::new());
        let said: Vec<_> = corrections
            .iter()
            .map(|of| (of.what.as_str(), of.printed.as_deref(), of.now.as_deref(), of.reason.as_deref()))
            .collect();
        let wanted = [
            ("Euphyllia: all figures", None, None, Some("Too few keepers.")),
            ("Goniopora: deaths", Some("10"), Some("20"), None),
        ];
        assert_eq!(said, wanted);
        let withheld = BTreeSet::from(["goniopora".to_owned()]);
        let again = of(3, &printed, &now, &withheld);
        assert_eq!((again[1].printed.as_deref(), again[1].now.as_deref()), (None, Some("20")));
    }
}
