//! What a header cell may stand for, by its words alone.

use std::collections::HashMap;

use analysis::vocabulary::{HeaderRole, ParameterCode, find_measure, find_unit, header_roles};

use crate::grid::Raw;

/// Letters beyond which a cell is no header word.
const LONGEST: usize = 80;
/// Different words looked up while a grid is read; a grid with more is no list of headers, and must not take long.
const MOST_WORDS: usize = 100_000;

/// What one cell may head.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Head {
    /// Roles, likeliest first.
    pub roles: &'static [HeaderRole],
    /// It names a parameter of the catalogue.
    pub parameter: bool,
    /// It names a condition of a spot, which a list may say of each coral: light or flow.
    pub spot: bool,
    /// It ends in the code of a log sheet's column: the tab's code.
    pub tab: Option<&'static str>,
    /// It is a unit, or says how cells of the column are written.
    pub unit: bool,
}

impl Head {
    /// Whether the word means anything over a column.
    pub const fn is_known(&self) -> bool {
        !self.roles.is_empty() || self.parameter || self.tab.is_some()
    }

    /// Whether this role is among those it may have.
    pub fn has(&self, role: HeaderRole) -> bool {
        self.roles.contains(&role)
    }
}

/// Looks words up, each different one once.
pub struct Headings {
    known: HashMap<String, Head>,
    tabs: HashMap<&'static str, &'static str>,
}

impl Headings {
    /// With the codes of the ready-made log sheet.
    pub fn with_log_sheet() -> Self {
        let tabs = crate::log_sheet::tabs(&crate::log_sheet::Prefill::default());
        let tabs = tabs
            .iter()
            .flat_map(|tab| {
                tab.columns.iter().filter(|column| !column.code.is_empty()).map(|column| (column.code, tab.code))
            })
            .collect();
        Headings { known: HashMap::new(), tabs }
    }

    /// What a cell may head.
    pub fn of(&mut self, raw: &Raw) -> Head {
        let Raw::Text(text) = raw else { return Head::default() };
        let text = text.trim();
        if text.len() > LONGEST {
            return Head::default();
        }
        if let Some(head) = self.known.get(text) {
            return *head;
        }
        if self.known.len() >= MOST_WORDS {
            return Head { roles: header_roles(text), ..Head::default() };
        }
        let head = self.look_up(text);
        self.known.insert(text.to_owned(), head);
        head
    }

    fn look_up(&self, text: &str) -> Head {
        let tab = code_in_brackets(text).and_then(|code| {
            let parameter = || ParameterCode::parse(code).map(|_| "tests");
            self.tabs.get(code).copied().or_else(parameter)
        });
        let mut roles = header_roles(text);
        // "Diameter mm": a dimension with its unit.
        if roles.is_empty() && find_measure(text).is_some() {
            roles = &[HeaderRole::Dimension];
        }
        let quantities = crate::meaning::quantities(text);
        Head {
            roles,
            spot: quantities.first().is_some_and(|quantity| is_of_spot(quantity.parameter)),
            parameter: !quantities.is_empty(),
            tab,
            unit: find_unit(text).is_some() || is_format(text),
        }
    }
}

/// Light and flow are measured where a coral stands.
pub fn is_of_spot(parameter: ParameterCode) -> bool {
    matches!(parameter.as_str(), "par" | "flow")
}

/// The code at the end of a log sheet's header: `salinity` of "salinity (PSU) \[salinity\]".
pub fn code_in_brackets(text: &str) -> Option<&str> {
    let (_, code) = text.trim().strip_suffix(']')?.rsplit_once('[')?;
    (!code.is_empty() && code.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_'))
        .then_some(code)
}

/// "dd/mm/yyyy", "hh:mm", "TT.MM.JJJJ": how the column's days and times are written.
fn is_format(text: &str) -> bool {
    let text = text.trim_matches(|letter: char| "()[]".contains(letter)).to_ascii_lowercase();
    let letters = text.bytes().filter(u8::is_ascii_alphabetic).count();
    letters >= 3
        && text.bytes().all(|byte| b"dmyjathsu/.-: ".contains(&byte))
        && text.bytes().any(|byte| b"/.-:".contains(&byte))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_name_the_tab_whatever_the_words_before() {
        let mut headings = Headings::with_log_sheet();
        let mut tab = |text: &str| headings.of(&Raw::Text(text.to_owned())).tab;
        assert_eq!(tab("Salzgehalt (PSU) [salinity]"), Some("tests"));
        assert_eq!(tab("strontium (mg/L) [strontium]"), Some("tests"));
        assert_eq!(tab("Tag [test_day]"), Some("tests"));
        assert_eq!(tab("wo sie steht [height]"), Some("corals"));
        assert_eq!(tab("calcium [mg/L]"), None);
        assert_eq!(tab("salinity"), None);
    }

    #[test]
    fn words_are_parameters_roles_or_units() {
        let mut headings = Headings::with_log_sheet();
        let mut head = |text: &str| headings.of(&Raw::Text(text.to_owned()));
        assert!(head("NO3").parameter);
        assert!(head("SG 25/25").parameter);
        assert!(head("Datum").has(HeaderRole::Date));
        assert!(head("mg/l").unit);
        assert!(head("dd/mm/yyyy").unit);
        assert!(!head("Alder").is_known());
    }
}
