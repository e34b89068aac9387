//! Query parameters as typed values, with every fault of a request found at once.
//!
//! A name that an address does not know is a fault, never ignored: a misspelt filter would answer another
//! question than the one asked. The names known are those of the documented structure, so that what is
//! documented and what is taken cannot differ.

use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use chrono::NaiveDate;
use utoipa::IntoParams;

use crate::problem::{Fault, Kind, Problem};

/// A structure of query parameters.
pub trait Asked: IntoParams + Sized {
    /// Reads the values; faults are left with `fields`, and what is returned then is not used.
    fn read(fields: &mut Fields) -> Self;
}

/// No parameter at all.
#[derive(IntoParams)]
pub struct Nothing {}

impl Asked for Nothing {
    fn read(_: &mut Fields) -> Self {
        Nothing {}
    }
}

/// The query parameters of a request.
pub struct Query<T>(pub T);

impl<T: Asked + 'static> FromRequest for Query<T> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(read(request.query_string()).map(Query))
    }
}

/// Reads a query string.
pub fn read<T: Asked>(query: &str) -> Result<T, Problem> {
    let known = T::into_params(|| None).into_iter().map(|parameter| parameter.name).collect();
    let mut fields = Fields::new(query, known)?;
    let value = T::read(&mut fields);
    fields.finish()?;
    Ok(value)
}

/// The pairs of a query string, and the faults found so far.
pub struct Fields {
    pairs: Vec<(String, String)>,
    faults: Vec<Fault>,
}

impl Fields {
    fn new(query: &str, known: Vec<String>) -> Result<Self, Problem> {
        let pairs = actix_web::web::Query::<Vec<(String, String)>>::from_query(query)
            .map_err(|error| Problem::new(Kind::InvalidQuery, format!("The query string cannot be decoded: {error}.")))?
            .into_inner();
        let mut faults: Vec<Fault> = Vec::new();
        // No text of the records can hold it.
        for (name, _) in pairs.iter().filter(|(name, value)| known.contains(name) && value.contains('\0')) {
            faults.push(Fault::parameter(name, "invalid", format!("'{name}' holds a NUL character; leave it out")));
        }
        for (name, _) in &pairs {
            if known.contains(name) || faults.iter().any(|fault| fault.parameter.as_ref() == Some(name)) {
                continue;
            }
            let hint = if known.is_empty() {
                "this address takes no parameters".to_owned()
            } else {
                hint(name, known.iter().map(String::as_str))
            };
            faults.push(Fault::parameter(
                name,
                "unknown",
                format!("'{name}' is not a parameter of this address; {hint}"),
            ));
        }
        Ok(Fields { pairs, faults })
    }

    /// Records a fault of a parameter.
    pub fn fault(&mut self, name: &str, code: &str, detail: impl Into<String>) {
        self.faults.push(Fault::parameter(name, code, detail));
    }

    /// The value of a parameter that may come once; empty counts as a fault.
    pub fn text(&mut self, name: &str) -> Option<String> {
        let mut values = self.pairs.iter().filter(|(key, _)| key == name).map(|(_, value)| value.trim().to_owned());
        let value = values.next()?;
        if values.next().is_some() {
            self.fault(name, "repeated", format!("'{name}' is given more than once; give it once"));
            return None;
        }
        if value.is_empty() {
            self.fault(name, "invalid", format!("'{name}' is empty; give a value or leave it out"));
            return None;
        }
        Some(value)
    }

    /// All values of a parameter that may be repeated or hold a list separated by commas.
    pub fn list(&mut self, name: &str) -> Vec<String> {
        let mut values = Vec::new();
        let mut empty = false;
        for (_, value) in self.pairs.iter().filter(|(key, _)| key == name) {
            for part in value.split(',').map(str::trim) {
                empty |= part.is_empty();
                values.push(part.to_owned());
            }
        }
        if empty {
            self.fault(name, "invalid", format!("'{name}' has an empty item; separate items by single commas"));
        }
        values
    }

    /// A value read by `read`, whose error says what would be taken.
    pub fn value<T>(&mut self, name: &str, read: impl FnOnce(&str) -> Result<T, String>) -> Option<T> {
        let text = self.text(name)?;
        match read(&text) {
            Ok(value) => Some(value),
            Err(detail) => {
                self.fault(name, "invalid", detail);
                None
            }
        }
    }

    /// One word of a closed list.
    pub fn word<'w>(&mut self, name: &str, words: &[&'w str]) -> Option<&'w str> {
        self.value(name, |text| one_of(name, text, words))
    }

    /// A whole number within bounds, both included.
    pub fn whole(&mut self, name: &str, lowest: i64, highest: i64) -> Option<i64> {
        self.value(name, |text| match text.parse::<i64>() {
            Ok(number) if (lowest..=highest).contains(&number) => Ok(number),
            _ => Err(format!("'{name}={text}' is not a whole number from {lowest} to {highest}")),
        })
    }

    /// A calendar day.
    pub fn day(&mut self, name: &str) -> Option<NaiveDate> {
        self.value(name, |text| {
            NaiveDate::parse_from_str(text, "%Y-%m-%d")
                .ok()
                .filter(|_| text.len() == 10)
                .ok_or_else(|| format!("'{name}={text}' is not a day; write it as 2025-03-04"))
        })
    }

    /// The faults as one problem, if there are any.
    pub fn finish(self) -> Result<(), Problem> {
        if self.faults.is_empty() { Ok(()) } else { Err(Problem::of_faults(Kind::InvalidQuery, self.faults)) }
    }
}

/// A word of a closed list, or the sentence that names the nearest one.
pub fn one_of<'w>(name: &str, text: &str, words: &[&'w str]) -> Result<&'w str, String> {
    words
        .iter()
        .copied()
        .find(|word| *word == text)
        .ok_or_else(|| format!("'{name}={text}' is not taken; {}", hint(text, words.iter().copied())))
}

/// "did you mean …?", or the list of what is known where nothing is near and the list is short.
pub fn hint<'w>(written: &str, known: impl Iterator<Item = &'w str>) -> String {
    let known: Vec<&str> = known.collect();
    match nearest(written, known.iter().copied()) {
        Some(near) => format!("did you mean '{near}'?"),
        None if known.len() <= 16 => format!("known are {}", known.join(", ")),
        None => format!("known are {} and {} more", known[..12].join(", "), known.len() - 12),
    }
}

/// The nearest known word, if one is near enough to have been meant.
pub fn nearest<'w>(written: &str, known: impl Iterator<Item = &'w str>) -> Option<&'w str> {
    let written = written.to_lowercase();
    let allowed = (written.chars().count() / 3).max(2);
    known
        .map(|word| {
            let lower = word.to_lowercase();
            let begins = written.len() >= 3 && (lower.starts_with(&written) || written.starts_with(&lower));
            let letters = strsim::damerau_levenshtein(&written, &lower);
            (if begins { 1 } else { letters }, letters, word)
        })
        .filter(|(distance, _, word)| *distance <= allowed && *distance < word.chars().count())
        .min()
        .map(|(.., word)| word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(IntoParams)]
    #[allow(dead_code)]
    struct Sample {
        /// A word.
        by: Option<String>,
        /// A day.
        since: Option<String>,
        /// A number.
        limit: Option<i64>,
    }

    impl Asked for Sample {
        fn read(fields: &mut Fields) -> Self {
            let by = fields.word("by", &["none", "origin"]).map(str::to_owned);
            let since = fields.day("since").map(|day| day.to_string());
            Sample { by, since, limit: fields.whole("limit", 1, 1000) }
        }
    }

    #[test]
    fn all_faults_come_at_once_with_the_nearest_names() {
        let problem = read::<Sample>("lmit=3&by=origni&since=2025-3-4&limit=0&limit=2").err().unwrap();
        let said: Vec<(String, String)> =
            problem.errors.iter().map(|fault| (fault.parameter.clone().unwrap(), fault.code.clone())).collect();
        let want = [("lmit", "unknown"), ("by", "invalid"), ("since", "invalid"), ("limit", "repeated")];
        assert_eq!(said, want.map(|(name, code)| (name.to_owned(), code.to_owned())));
        assert!(problem.errors[0].detail.ends_with("did you mean 'limit'?"));
        assert!(problem.errors[1].detail.ends_with("did you mean 'origin'?"));
    }

    #[test]
    fn a_good_query_is_read() {
        let sample: Sample = read("by=origin&since=2025-03-04&limit=7").unwrap();
        assert_eq!(
            (sample.by.as_deref(), sample.since.as_deref(), sample.limit),
            (Some("origin"), Some("2025-03-04"), Some(7))
        );
        assert!(read::<Nothing>("").is_ok());
        assert!(read::<Nothing>("x=1").is_err());
    }

    #[test]
    fn nothing_near_lists_what_is_known() {
        assert_eq!(hint("zzz", ["none", "origin"].into_iter()), "known are none, origin");
        assert_eq!(nearest("nitr", ["nitrite", "nitrate"].into_iter()), Some("nitrate"));
    }
}
