//! Phrases found in a remark: the longest wins, each word is read once, `#` stands for a number.

use std::collections::HashMap;

use super::text::words;

/// Phrases of one topic, each with its meaning.
#[derive(Debug)]
pub(super) struct PhraseBook<T> {
    by_first: HashMap<String, Vec<Phrase<T>>>,
    numbers: HashMap<String, u32>,
}

#[derive(Debug)]
struct Phrase<T> {
    words: Vec<String>,
    written: &'static str,
    meaning: T,
}

/// A phrase found.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hit<T> {
    /// What it means.
    pub(super) meaning: T,
    /// As the catalogue writes it.
    pub(super) written: &'static str,
    /// Its words.
    pub(super) length: usize,
    /// The number at `#`.
    pub(super) number: Option<u32>,
}

const NUMBER: &str = "#";

impl<T: Copy + PartialEq> PhraseBook<T> {
    pub(super) fn new(numbers: &HashMap<String, u32>) -> Self {
        PhraseBook { by_first: HashMap::new(), numbers: numbers.clone() }
    }

    /// Adds a phrase.
    ///
    /// # Errors
    /// The phrase stands already with another meaning.
    pub(super) fn add(&mut self, written: &'static str, meaning: T) -> Result<(), String> {
        let words: Vec<String> = written
            .split_whitespace()
            .flat_map(|word| if word == NUMBER { vec![NUMBER.to_owned()] } else { words(word) })
            .collect();
        let Some(first) = words.first() else {
            return Err(format!("`{written}` holds no word"));
        };
        let row = self.by_first.entry(first.clone()).or_default();
        match row.iter().find(|other| other.words == words) {
            Some(other) if other.meaning != meaning => Err(format!("`{written}` has two meanings")),
            Some(_) => Ok(()),
            None => {
                row.push(Phrase { words, written, meaning });
                row.sort_by_key(|phrase| std::cmp::Reverse(phrase.words.len()));
                Ok(())
            }
        }
    }

    fn number(&self, word: &str) -> Option<u32> {
        word.trim_end_matches('x').parse().ok().or_else(|| self.numbers.get(word).copied())
    }

    fn at(&self, words: &[String]) -> Option<Hit<T>> {
        let first = words.first()?;
        let plain = self.by_first.get(first).into_iter().flatten();
        let counted = self.by_first.get(NUMBER).filter(|_| self.number(first).is_some()).into_iter().flatten();
        plain
            .chain(counted)
            .filter_map(|phrase| {
                let part = words.get(..phrase.words.len())?;
                let mut number = None;
                for (word, want) in part.iter().zip(&phrase.words) {
                    if want == NUMBER {
                        number = Some(self.number(word)?);
                    } else if word != want {
                        return None;
                    }
                }
                Some(Hit { meaning: phrase.meaning, written: phrase.written, length: part.len(), number })
            })
            .max_by_key(|hit| (hit.length, hit.number.is_none()))
    }

    /// All phrases of a text, in its order.
    pub(super) fn scan(&self, words: &[String]) -> Vec<Hit<T>> {
        let mut hits = Vec::new();
        let mut at = 0;
        while at < words.len() {
            match self.at(&words[at..]) {
                Some(hit) => {
                    at += hit.length;
                    hits.push(hit);
                }
                None => at += 1,
            }
        }
        hits
    }

    /// The phrase that is the whole text.
    pub(super) fn whole(&self, words: &[String]) -> Option<Hit<T>> {
        self.at(words).filter(|hit| hit.length == words.len())
    }

    /// The one meaning of a text: the whole of it, or the longest phrase in it. `None` if none or if phrases of
    /// equal length disagree.
    pub(super) fn one(&self, words: &[String]) -> Option<Hit<T>> {
        if let Some(hit) = self.whole(words) {
            return Some(hit);
        }
        let hits = self.scan(words);
        let longest = hits.iter().map(|hit| hit.length).max()?;
        let mut best = hits.into_iter().filter(|hit| hit.length == longest);
        let first = best.next()?;
        best.all(|hit| hit.meaning == first.meaning).then_some(first)
    }
}
