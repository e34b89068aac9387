//! The letters of pictures: the font that ships with the program, and how wide a text is in it.

use std::sync::LazyLock;

use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider};

/// Linux Libertine, under the SIL Open Font License; its figures are all of one width.
pub const REGULAR: &[u8] = include_bytes!("../../fonts/LinLibertine_R.otf");
/// The same, bold.
pub const BOLD: &[u8] = include_bytes!("../../fonts/LinLibertine_RB.otf");
/// The family's name within the files.
pub const FAMILY: &str = "Linux Libertine O";

static FONTS: LazyLock<[Option<FontRef<'static>>; 2]> =
    LazyLock::new(|| [REGULAR, BOLD].map(|bytes| FontRef::new(bytes).ok()));

/// The width of a text in a letter size, both in the same unit: the sum of the letters' advances, which kerning makes
/// smaller by a little.
pub fn width(text: &str, size: f64, bold: bool) -> f64 {
    let Some(font) = &FONTS[usize::from(bold)] else { return text.chars().count() as f64 * size * 0.6 };
    let letters = font.charmap();
    let (unscaled, place) = (Size::unscaled(), LocationRef::default());
    let metrics = font.glyph_metrics(unscaled, place);
    let em = f64::from(font.metrics(unscaled, place).units_per_em);
    let advance = |letter: char| {
        let glyph = letters.map(letter).unwrap_or_default();
        metrics.advance_width(glyph).map_or(0.6 * em, f64::from)
    };
    text.chars().map(advance).sum::<f64>() * size / em
}

/// A text in lines no wider than `room`: broken at blanks, and within a word only if it alone is wider.
pub fn lines(text: &str, size: f64, bold: bool, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    let fits = |text: &str| width(text, size, bold) <= room;
    for word in text.split_whitespace() {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if fits(&longer) {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for letter in word.chars() {
            if !line.is_empty() && !fits(&format!("{line}{letter}")) {
                lines.push(std::mem::take(&mut line));
            }
            line.push(letter);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_of_one_width_and_every_letter_we_write_is_there() {
        for bold in [false, true] {
            let one = width("1", 10.0, bold);
            assert!("0123456789".chars().all(|figure| (width(&figure.to_string(), 10.0, bold) - one).abs() < 1e-6));
            let font = FONTS[usize::from(bold)].as_ref().unwrap();
            for letter in "abcxyzABCXYZäöüßéñ°µ–—×≤≥≈±−’“”·…%†".chars() {
                assert!(font.charmap().map(letter).is_some(), "{letter}");
            }
        }
    }

    #[test]
    fn a_text_is_broken_where_it_must_and_nothing_is_lost() {
        let text = "Large-polyped stony corals without look-alikes of the kind asked for";
        let broken = lines(text, 12.0, false, 120.0);
        assert!(broken.len() > 2 && broken.iter().all(|line| width(line, 12.0, false) <= 120.0), "{broken:?}");
        assert_eq!(broken.join(" "), text);
        assert_eq!(lines(&"n".repeat(50), 12.0, false, 60.0).concat(), "n".repeat(50));
        assert!(lines("", 12.0, false, 60.0).is_empty());
    }
}
