//! Text made comparable: typographic variants and surplus blanks off. Words without accents: [`analysis::vocabulary::text::fold`].

/// Straight quotes, plain hyphens and ordinary blanks for their typographic kin; outer blanks off.
pub fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.trim().chars() {
        match c {
            '\u{2010}'..='\u{2015}' | '\u{2212}' => out.push('-'),
            '\u{a0}' | '\u{2000}'..='\u{200a}' | '\u{202f}' | '\u{205f}' | '\u{3000}' | '\t' | '\r' | '\n' => {
                out.push(' ');
            }
            // Full-width forms stand for the signs of ASCII, one by one.
            '\u{ff01}'..='\u{ff5e}' => out.extend(char::from_u32(u32::from(c) - 0xfee0)),
            '\u{2018}' | '\u{2019}' | '\u{b4}' | '`' => out.push('\''),
            '\u{201c}'..='\u{201f}' => out.push('"'),
            '\u{2026}' => out.push_str("..."),
            '\u{2264}' => out.push_str("<="),
            '\u{2265}' => out.push_str(">="),
            '\u{feff}' | '\u{200b}' => {}
            other => out.push(other),
        }
    }
    out.trim().to_owned()
}

/// A name for comparing tanks and labels: case and outer and doubled blanks off, nothing else.
pub fn name(text: &str) -> String {
    plain(text).to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A name without the quotes around it, or the one that was typed or left by a program at one of its ends. A sign of
/// inches behind a figure stays.
pub fn unquoted(text: &str) -> String {
    let plain = plain(text);
    let quotes = plain.matches('"').count();
    let inner = match (plain.strip_prefix('"'), plain.strip_suffix('"')) {
        (Some(rest), Some(_)) if quotes == 2 => rest.strip_suffix('"'),
        (Some(rest), None) if quotes == 1 => Some(rest),
        (None, Some(head)) if quotes == 1 && head.trim_end().ends_with(char::is_alphabetic) => Some(head),
        _ => None,
    };
    inner.map(str::trim).filter(|inner| !inner.is_empty()).map_or(plain.clone(), str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_keep_their_letters() {
        assert_eq!(name(" Long  Réef "), "long réef");
        assert_ne!(name("Reef 1"), name("Reef-1"));
    }

    #[test]
    fn stray_quotes_come_off_a_name() {
        for (text, expected) in [
            ("\"Brook", "Brook"),
            ("Brook\"", "Brook"),
            ("“Brook”", "Brook"),
            ("Long \"reef\" tank", "Long \"reef\" tank"),
            ("Reef 40\"", "Reef 40\""),
            ("\"", "\""),
            ("Brook", "Brook"),
        ] {
            assert_eq!(unquoted(text), expected, "{text}");
        }
    }

    #[test]
    fn dashes_become_hyphens() {
        assert_eq!(plain("5–10"), "5-10");
        assert_eq!(plain("≤0.02"), "<=0.02");
        assert_eq!(plain("\u{a0}２５．４\u{2009}"), "25.4");
        assert_eq!(plain("＜０．０２"), "<0.02");
    }
}
