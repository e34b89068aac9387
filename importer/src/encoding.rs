//! Bytes of a text file to letters. Knows byte-order marks, UTF-8, UTF-16, Windows-1252 and Mac Roman.
//!
//! Never guesses by language or place of the machine: only by the bytes and by the signs a log of water tests is
//! full of (°, µ, umlauts, accents). Two readings that fit alike are said to do so.

use std::borrow::Cow;

use encoding_rs::{Encoding, MACINTOSH, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

/// A decoded text and what is worth saying about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Decoded<'b> {
    /// The text, without byte-order mark; the bytes themselves where they are the text.
    pub text: Cow<'b, str>,
    /// Name of the encoding, as in the WHATWG Encoding Standard.
    pub encoding: &'static str,
    /// Bytes that mean nothing in that encoding were replaced by U+FFFD.
    pub replaced: bool,
    /// A second reading that fits as well: its name, with the first line that differs read both ways.
    pub other: Option<Rival>,
}

/// The second of two readings that fit alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rival {
    /// Name of the other encoding.
    pub encoding: &'static str,
    /// The first line that differs, in the encoding taken.
    pub line: String,
    /// The same line in the other encoding.
    pub other_line: String,
}

/// Why bytes are no text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NotText;

/// Decodes a text file. `wanted` is the name of the encoding that somebody has chosen where two fitted alike; it
/// settles nothing else.
pub fn decode<'b>(bytes: &'b [u8], wanted: Option<&str>) -> Result<Decoded<'b>, NotText> {
    if let Some((encoding, _)) = Encoding::for_bom(bytes) {
        let (text, _, replaced) = encoding.decode(bytes);
        return settled(text, encoding, replaced);
    }
    if let Some(encoding) = utf_16_without_mark(bytes) {
        let (text, replaced) = encoding.decode_without_bom_handling(bytes);
        return settled(text, encoding, replaced);
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => settled(Cow::Borrowed(text), UTF_8, false),
        Err(_) if mostly_utf_8(bytes) => settled(Cow::Owned(mixed(bytes)), UTF_8, false),
        Err(_) => single_byte(bytes, wanted),
    }
}

fn settled<'b>(text: Cow<'b, str>, encoding: &'static Encoding, replaced: bool) -> Result<Decoded<'b>, NotText> {
    if is_binary(&text) {
        return Err(NotText);
    }
    Ok(Decoded { text, encoding: encoding.name(), replaced, other: None })
}

/// Control signs other than tab and line ends do not occur in text; a stray few (a form feed) do no harm.
fn is_binary(text: &str) -> bool {
    let mut letters = 0_usize;
    let mut controls = 0_usize;
    for byte in text.bytes() {
        if byte == 0 {
            return true;
        }
        letters += 1;
        controls += usize::from(
            byte < 0x20 && !matches!(byte, b'\t' | b'\n' | b'\r' | 0x0b | 0x0c | 0x1a | 0x1b | 0x1d..=0x1f),
        );
    }
    controls * 100 > letters
}

/// UTF-16 shows as a zero beside nearly every byte, always on the same side.
fn utf_16_without_mark(bytes: &[u8]) -> Option<&'static Encoding> {
    let sample = &bytes[..bytes.len().min(64 * 1024) & !1];
    if sample.len() < 4 {
        return None;
    }
    let (mut first, mut second) = (0_usize, 0_usize);
    for pair in sample.chunks_exact(2) {
        first += usize::from(pair[0] == 0);
        second += usize::from(pair[1] == 0);
    }
    let pairs = sample.len() / 2;
    if second * 10 >= pairs * 7 && first * 50 < pairs {
        Some(UTF_16LE)
    } else if first * 10 >= pairs * 7 && second * 50 < pairs {
        Some(UTF_16BE)
    } else {
        None
    }
}

/// A UTF-8 file into which a few foreign bytes were pasted: far more good sequences than bad bytes.
fn mostly_utf_8(bytes: &[u8]) -> bool {
    let (mut good, mut bad) = (0_usize, 0_usize);
    for chunk in bytes.utf8_chunks() {
        good += chunk.valid().chars().filter(|letter| !letter.is_ascii()).count();
        bad += usize::from(!chunk.invalid().is_empty());
    }
    good > 3 * bad
}

/// Good sequences as UTF-8, the others byte by byte as Windows-1252.
fn mixed(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len() + bytes.len() / 8);
    for chunk in bytes.utf8_chunks() {
        text.push_str(chunk.valid());
        let (foreign, _) = WINDOWS_1252.decode_without_bom_handling(chunk.invalid());
        text.push_str(&foreign);
    }
    text
}

fn single_byte<'b>(bytes: &'b [u8], wanted: Option<&str>) -> Result<Decoded<'b>, NotText> {
    let (western, _) = WINDOWS_1252.decode_without_bom_handling(bytes);
    if is_binary(&western) {
        return Err(NotText);
    }
    let (mac, _) = MACINTOSH.decode_without_bom_handling(bytes);
    let (western_fit, mac_fit) = (fit(&western), fit(&mac));
    let wanted = wanted.filter(|_| western_fit == mac_fit);
    let (text, other, encoding, rival) = if mac_fit > western_fit || wanted == Some(MACINTOSH.name()) {
        (mac, western, MACINTOSH, WINDOWS_1252)
    } else {
        (western, mac, WINDOWS_1252, MACINTOSH)
    };
    let other = if mac_fit == western_fit && wanted.is_none() && text != other {
        text.lines().zip(other.lines()).find(|(line, other)| line != other).map(|(line, other_line)| Rival {
            encoding: rival.name(),
            line: line.trim().to_owned(),
            other_line: other_line.trim().to_owned(),
        })
    } else {
        None
    };
    Ok(Decoded { text, encoding: encoding.name(), replaced: false, other })
}

/// How well the letters beyond ASCII fit a log: units, accents within words, and typographic marks speak for a
/// reading; box lines, mathematical signs and capitals inside a word speak against it.
fn fit(text: &str) -> i64 {
    let mut score = 0_i64;
    let mut before = ' ';
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        if !letter.is_ascii() {
            let after = letters.peek().copied().unwrap_or(' ');
            score += match letter {
                '°' if after.is_ascii_alphabetic()
                    || after.is_whitespace()
                    || before.is_ascii_digit()
                    || "(,;\t\"[".contains(before) =>
                {
                    3
                }
                'µ' if matches!(after, 'g' | 'm' | 'S' | 's' | 'M') => 3,
                '²' | '³' if before.is_ascii_alphabetic() => 3,
                '‰' if !before.is_alphabetic() => 3,
                '’' if before.is_alphabetic() => 3,
                '“' | '‘' if !before.is_alphanumeric() => 3,
                '”' if !after.is_alphanumeric() => 3,
                '–' | '—' if !before.is_alphabetic() && !after.is_alphabetic() => 3,
                '€' | '£' if before.is_ascii_digit() || after.is_ascii_digit() || before == ' ' => 3,
                '…' if !after.is_alphanumeric() => 2,
                '½' | '¼' | '¾' | '±' | '×' | '·' => 1,
                'ä' | 'ö' | 'ü' | 'ß' | 'é' | 'è' | 'ê' | 'ë' | 'à' | 'â' | 'î' | 'ï' | 'ô' | 'û' | 'ù' | 'ç' | 'ñ'
                | 'á' | 'í' | 'ó' | 'ú' | 'œ' | 'å' | 'æ' | 'ø'
                    if before.is_alphabetic() || after.is_alphabetic() =>
                {
                    2
                }
                'Ä' | 'Ö' | 'Ü' | 'É' | 'È' | 'À' | 'Ç' | 'Ñ' | 'Á' | 'Ó' | 'Ø' | 'Å' if !before.is_lowercase() => {
                    2
                }
                '\u{a0}' | '–' | '—' | '’' | '‘' | '“' | '”' | '…' | '•' | 'Ø' | '€' | '£' | '«' | '»' | '¿' | '¡'
                | 'º' | 'ª' => 1,
                other if other.is_alphabetic() => -1,
                _ => -2,
            };
        }
        before = letter;
    }
    score
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINE: &str = "Datum;Temp °C;PO4 µg/l;Größe;Corail préféré\n2024-03-02;25,1;40;34;élégance\n";

    fn utf_16(text: &str, big: bool) -> Vec<u8> {
        text.encode_utf16().flat_map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() }).collect()
    }

    #[test]
    fn every_encoding_gives_the_same_letters() {
        let mut marked = vec![0xef, 0xbb, 0xbf];
        marked.extend_from_slice(LINE.as_bytes());
        let mut little = vec![0xff, 0xfe];
        little.extend(utf_16(LINE, false));
        let mut big = vec![0xfe, 0xff];
        big.extend(utf_16(LINE, true));
        for (bytes, encoding) in [
            (LINE.as_bytes().to_vec(), "UTF-8"),
            (marked, "UTF-8"),
            (little, "UTF-16LE"),
            (big, "UTF-16BE"),
            (utf_16(LINE, false), "UTF-16LE"),
            (utf_16(LINE, true), "UTF-16BE"),
            (WINDOWS_1252.encode(LINE).0.into_owned(), "windows-1252"),
            (MACINTOSH.encode(LINE).0.into_owned(), "macintosh"),
        ] {
            let decoded = decode(&bytes, None);
            assert_eq!(
                decoded,
                Ok(Decoded { text: LINE.into(), encoding, replaced: false, other: None }),
                "{encoding}"
            );
        }
    }

    #[test]
    fn foreign_bytes_in_utf_8_are_read_one_by_one() {
        let mut bytes = "Größe;Höhe;äöü;°C\n".as_bytes().to_vec();
        bytes.extend_from_slice(b"Gr\xf6\xdfe");
        assert_eq!(decode(&bytes, None).map(|decoded| decoded.text), Ok("Größe;Höhe;äöü;°C\nGröße".into()));
    }

    #[test]
    fn two_readings_that_fit_alike_are_said() {
        let decoded = decode(b"a;\xf7;b\n", None).map(|decoded| decoded.other);
        let rival = Rival { encoding: "macintosh", line: "a;÷;b".to_owned(), other_line: "a;˜;b".to_owned() };
        assert_eq!(decoded, Ok(Some(rival)));
        let wanted = decode(b"a;\xf7;b\n", Some("macintosh")).map(|decoded| (decoded.text, decoded.other));
        assert_eq!(wanted, Ok(("a;˜;b\n".into(), None)));
        let wanted = decode("a;÷".as_bytes(), Some("macintosh")).map(|decoded| decoded.text);
        assert_eq!(wanted, Ok("a;÷".into()), "nothing was unclear");
    }

    #[test]
    fn typographic_marks_do_not_turn_windows_text_into_mac_text() {
        for line in ["it’s closed", "“open” again", "24.8 – 25.6", "paid 12 €", "waiting…", "Temp °C", "0.05 µg/L"]
        {
            let bytes = WINDOWS_1252.encode(line).0.into_owned();
            assert_eq!(decode(&bytes, None).map(|decoded| decoded.text), Ok(line.into()));
            let bytes = MACINTOSH.encode(line).0.into_owned();
            assert_eq!(decode(&bytes, None).map(|decoded| decoded.text), Ok(line.into()), "mac");
        }
    }

    #[test]
    fn binary_is_no_text() {
        assert_eq!(decode(&[0, 1, 2, 3, 0, 0, 9, 200, 0], None), Err(NotText));
        assert_eq!(decode(b"\x01\x02\x03\x04\x05\x06", None), Err(NotText));
    }
}
