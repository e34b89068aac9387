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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_keep_their_letters() {
        assert_eq!(name(" Long  Réef "), "long réef");
        assert_ne!(name("Reef 1"), name("Reef-1"));
    }

    #[test]
    fn dashes_become_hyphens() {
        assert_eq!(plain("5–10"), "5-10");
        assert_eq!(plain("≤0.02"), "<=0.02");
        assert_eq!(plain("\u{a0}２５．４\u{2009}"), "25.4");
        assert_eq!(plain("＜０．０２"), "<0.02");
    }
}
