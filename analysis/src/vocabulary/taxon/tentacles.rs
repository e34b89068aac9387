//! The count of tentacles that a text states. They settle a name or contradict it.

use crate::vocabulary::text::words;

/// Tentacles a polyp that a text states: "flowerpot, 12 tentacles" ([`super::Taxon::tentacles`]).
pub fn tentacles_said(text: &str) -> Option<u32> {
    let all = words(text);
    let at = all.iter().position(|word| word.starts_with("tentac") || word.starts_with("tentak"))?;
    let number = |word: &String| match word.as_str() {
        "twelve" | "zwolf" | "douze" | "doce" | "twaalf" => Some(12),
        word => word.parse().ok(),
    };
    all[..at].iter().rev().take(2).find_map(number).or_else(|| all.get(at + 1).and_then(number))
}
