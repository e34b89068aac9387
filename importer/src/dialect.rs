//! Text to rows of cells: separator, quotes, decimal mark.
//!
//! The separator is the one whose rows are most alike and whose cells are most often something known (number, day,
//! time, plain word); one single column never wins while a common separator splits most rows. A quote opens only
//! at the start of a cell and closes only before a separator or a line end; any other quote is a letter.
//! Never guesses by language or by the machine's settings.
//!
//! ```
//! let text = "when;tank;result\n2024-03-02;Alder;25,2\n";
//! let detected = importer::dialect::detect(text);
//! assert_eq!(detected.dialect.delimiter, Some(b';'));
//! ```

pub mod decimal; // which mark stands before decimals
pub mod guess; // what kind of thing a cell looks like
pub mod split; // rows and cells

use guess::{Look, look};
use split::Records;

/// How a text file is cut into rows and cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dialect {
    /// Separator between cells; `None` = one cell a line.
    pub delimiter: Option<u8>,
    /// Sign around cells.
    pub quote: Option<u8>,
    /// Inside quotes a backslash makes the next sign a letter.
    pub backslash: bool,
    /// Runs of the separator count as one (columns lined up with blanks).
    pub runs: bool,
    /// The first line is `sep=…` and names the separator.
    pub sep_line: bool,
    /// Most frequent number of cells in a row; 0 = not known.
    pub width: usize,
}

impl Dialect {
    /// Cells parted by `delimiter`, quoted with `"`.
    pub const fn of(delimiter: Option<u8>) -> Self {
        Dialect { delimiter, quote: Some(b'"'), backslash: false, runs: false, sep_line: false, width: 0 }
    }

    /// The separator as a person reads it.
    pub fn name(&self) -> String {
        match self.delimiter {
            None => "one cell a line".to_owned(),
            Some(b'\t') => "tab".to_owned(),
            Some(b' ') => "blanks".to_owned(),
            Some(byte) => char::from(byte).to_string(),
        }
    }
}

/// The dialect taken, and a second one where two fit alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Detected {
    /// The likeliest.
    pub dialect: Dialect,
    /// Fits as well.
    pub rival: Option<Dialect>,
}

/// Separators in daily use.
const COMMON: [u8; 4] = [b',', b';', b'\t', b'|'];
/// Separators looked at only when no common one splits most rows.
const RARE: [u8; 13] = [b':', b'^', b'~', b'!', b'#', b'&', b'*', b'_', b'@', b'$', b'=', 0x1f, b' '];
/// Score of a common separator below which rare ones are looked at beside it, and below which it is hardly one.
const GOOD: f64 = 0.8;
const POOR: f64 = 0.4;
/// Rows and bytes looked at.
const SAMPLE_ROWS: usize = 2_000;
const SAMPLE_BYTES: usize = 512 * 1024;

/// Finds the dialect of a text.
pub fn detect(text: &str) -> Detected {
    let mut start = Dialect::of(None);
    if let Some(delimiter) = split::sep_line(text) {
        start = Dialect { delimiter: Some(delimiter), sep_line: true, ..start };
        return Detected { dialect: finish(text, start), rival: None };
    }
    let sample = sample(text);
    let mut fits: Vec<Fit> = COMMON
        .iter()
        .filter(|&&byte| sample.as_bytes().contains(&byte))
        .map(|&byte| measure(sample, Dialect::of(Some(byte))))
        .collect();
    fits.sort_by(|a, b| b.score.total_cmp(&a.score));
    // Commas in many notes split rows too, but into nothing known.
    let common = fits.first().filter(|best| best.split >= 0.5).map_or(0.0, |best| best.score);
    if common < GOOD {
        let rare = RARE.iter().filter(|&&byte| sample.as_bytes().contains(&byte)).filter_map(|&byte| {
            let fit = measure(sample, Dialect { runs: byte == b' ', ..Dialect::of(Some(byte)) });
            // A list of tests has one number in a row of four and more.
            let values = fit.values >= 0.3 || fit.width >= 4 && fit.alike >= 0.8 && fit.values >= 0.15;
            (fit.split >= 0.8 && fit.alike >= 0.6 && values).then_some(fit)
        });
        let best = rare.max_by(|a, b| a.score.total_cmp(&b.score));
        // Commas of decimals part many rows into numbers, but unevenly: "25,2^8,1".
        let clearly = |best: &Fit| if common < POOR { 1.5 } else { 1.2 } * common < best.score;
        if let Some(best) = best.filter(|best| clearly(best) && (common < POOR || best.width >= 3)) {
            return Detected { dialect: finish(text, best.dialect), rival: None };
        }
    }
    // A separator that parts hardly any line is punctuation, unless it lines up the same cells again and again.
    let usable = |fit: &&Fit| fit.split >= 0.25 || fit.repeated >= 3;
    let Some(best) = fits.iter().find(usable) else {
        return Detected { dialect: finish(text, start), rival: None };
    };
    let rival = fits
        .iter()
        .filter(|fit| fit.dialect != best.dialect)
        .find(|fit| fit.score >= 0.93 * best.score && fit.split >= 0.8 && fit.alike >= 0.6);
    Detected { dialect: finish(text, best.dialect), rival: rival.map(|fit| finish(text, fit.dialect)) }
}

/// Fills in quote, escape and width of a dialect whose separator is settled.
pub fn finish(text: &str, mut dialect: Dialect) -> Dialect {
    let sample = sample(text);
    if apostrophes(sample, dialect) {
        dialect.quote = Some(b'\'');
    }
    let quote = char::from(dialect.quote.unwrap_or(b'"'));
    dialect.backslash =
        sample.contains(&format!("\\{quote}")[..]) && !sample.contains(&format!("{quote}{quote}{quote}")[..]);
    dialect.width = measure(sample, dialect).width;
    dialect
}

/// The head of a text, cut at a line end.
fn sample(text: &str) -> &str {
    if text.len() <= SAMPLE_BYTES {
        return text;
    }
    let mut end = SAMPLE_BYTES;
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    match text[..end].rfind(['\n', '\r']) {
        Some(line_end) => &text[..=line_end],
        None => &text[..end],
    }
}

/// Whether cells stand between apostrophes: most cells that start with one end with one.
fn apostrophes(sample: &str, dialect: Dialect) -> bool {
    if !sample.contains('\'') || sample.contains('"') {
        return false;
    }
    let (mut opened, mut closed, mut cells) = (0_usize, 0_usize, 0_usize);
    let mut records = Records::new(sample, Dialect { quote: None, ..dialect });
    while let Some(record) = records.next_record() {
        if record.line as usize > SAMPLE_ROWS {
            break;
        }
        for field in record.fields {
            let cell = field.text.trim();
            cells += usize::from(!cell.is_empty());
            opened += usize::from(cell.len() > 1 && cell.starts_with('\''));
            closed += usize::from(cell.len() > 1 && cell.ends_with('\''));
        }
    }
    opened > 1 && closed * 10 >= opened * 7 && opened * 10 >= cells
}

/// How a candidate cuts the sample.
struct Fit {
    dialect: Dialect,
    /// Share of the rows that it splits at all.
    split: f64,
    /// How alike the split rows are: the sum of squared shares of their lengths.
    alike: f64,
    /// Share of the cells that are numbers, days or times.
    values: f64,
    /// Rows of the most frequent length.
    repeated: usize,
    width: usize,
    score: f64,
}

fn measure(sample: &str, dialect: Dialect) -> Fit {
    let mut lengths: Vec<usize> = Vec::new();
    let (mut rows, mut cells, mut values, mut known) = (0_usize, 0_usize, 0_usize, 0.0);
    let mut records = Records::new(sample, dialect);
    let delimiter = dialect.delimiter.unwrap_or(0);
    while let Some(record) = records.next_record() {
        if rows >= SAMPLE_ROWS {
            break;
        }
        if record.fields.iter().all(|field| field.text.trim().is_empty()) {
            continue;
        }
        rows += 1;
        let length = record.fields.len();
        if lengths.len() <= length {
            lengths.resize(length + 1, 0);
        }
        lengths[length] += 1;
        if length < 2 {
            continue;
        }
        for field in record.fields {
            let cell = field.text.trim();
            match look(cell) {
                Look::Blank => continue,
                // "2025-01-05 06:00;pH;8" begins with a day and was not cut.
                Look::Date if plainness(cell, delimiter) == 0.0 => {}
                Look::Number | Look::Date | Look::Time => {
                    values += 1;
                    known += 1.0;
                }
                Look::Word if field.quoted => known += 0.9,
                Look::Word => known += plainness(cell, delimiter),
            }
            cells += 1;
        }
    }
    let share = |count: usize, of: usize| if of == 0 { 0.0 } else { count as f64 / of as f64 };
    let split = share(lengths.iter().skip(2).sum(), rows);
    let alike = lengths.iter().skip(2).map(|&count| share(count, rows).powi(2)).sum::<f64>();
    let (width, repeated) = lengths
        .iter()
        .copied()
        .enumerate()
        .skip(2)
        .fold((0, 0), |best, (length, count)| if count > 0 && count >= best.1 { (length, count) } else { best });
    let type_share = if cells == 0 { 0.0 } else { known / cells as f64 };
    let score = (0.5 * split + 0.5 * alike) * type_share * type_share;
    Fit { dialect, split, alike, values: share(values, cells), repeated, width, score }
}

/// How little a word looks like a row that was not cut: other separators inside speak against the candidate.
fn plainness(cell: &str, delimiter: u8) -> f64 {
    let inside = |byte: u8| byte != delimiter && cell.as_bytes().contains(&byte);
    if inside(b';') || inside(b'\t') || inside(b'|') {
        0.0
    } else if inside(b',') {
        0.6
    } else if cell.len() > 60 {
        0.75
    } else {
        0.9
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn delimiter(text: &str) -> Option<u8> {
        detect(text).dialect.delimiter
    }

    #[test]
    fn separators_of_clean_files_are_found() {
        for byte in [b',', b';', b'\t', b'|', b':', b'^', b'~'] {
            let d = char::from(byte);
            let text = format!(
                "Date{d}Temp{d}KH{d}NO3\n2024-03-02{d}25.1{d}8.2{d}5\n2024-03-09{d}25.3{d}8.1{d}6\n2024-03-16{d}25.2{d}8.0{d}5\n"
            );
            assert_eq!(delimiter(&text), Some(byte), "{d}");
        }
    }

    #[test]
    fn decimal_commas_do_not_win_over_the_separator() {
        for d in [';', '\t', '|'] {
            let text = format!(
                "Datum{d}Temp{d}KH\n02.03.2024{d}25,1{d}8,2\n09.03.2024{d}25,3{d}8,1\n16.03.2024{d}25,0{d}7,9\n"
            );
            assert_eq!(delimiter(&text), Some(d as u8), "{d}");
        }
        let text = "a;b;c\n1,5;2,5;3,5\n1,6;2,6;3,6\n";
        assert_eq!(delimiter(text), Some(b';'));
    }

    #[test]
    fn decimal_commas_do_not_win_over_a_rare_separator() {
        for d in RARE.into_iter().filter(|byte| byte.is_ascii_graphic() && !matches!(byte, b'_' | b'*' | b'=')) {
            let d = char::from(d);
            let wide = format!(
                "Logbuch vom Becken, 2025\n\nTag{d}Temp{d}Salz{d}KH{d}NO3{d}PO4{d}Notiz\n02.03.2024{d}25,1{d}34,9{d}8,2{d}7{d}0,05{d}\n09.03.2024{d}25,3{d}35,0{d}8,1{d}6{d}0,05{d}Glas gereinigt, Pumpe auch\n16.03.2024{d}25,0{d}—{d}7,9{d}—{d}0,04{d}\n23.03.2024{d}25,0{d}34,8{d}8,0{d}5{d}0,04{d}\n?{d}{d}{d}{d}{d}{d}Torch tot\n"
            );
            assert_eq!(delimiter(&wide), Some(d as u8), "{d}");
            let long = format!(
                "Tag{d}Becken{d}Wert{d}Ergebnis{d}Einheit{d}Notiz\n2025-03-01{d}Lärche{d}Temperatur{d}25,2{d}°C{d}\n{d}{d}KH{d}8,3{d}°dKH{d}\n{d}{d}Nitrat{d}7{d}mg/l{d}\n{d}{d}Phosphat{d}0,06{d}mg/l{d}\n2025-03-08{d}Lärche{d}Temperatur{d}25,4{d}°C{d}trüb\n{d}{d}KH{d}8,1{d}°dKH{d}\n{d}{d}Nitrat{d}6{d}mg/l{d}\n"
            );
            assert_eq!(delimiter(&long), Some(d as u8), "{d}");
        }
        let times =
            "Date,Time,Temp,Note\n2024-03-02,06:00:10,25.1,\n2024-03-02,12:00:10,25.3,ok\n2024-03-02,18:00:10,25.2,\n";
        assert_eq!(delimiter(times), Some(b','));
        let ragged = "Date and time,Temp\n2024-03-02 06:00:10,25.1\n2024-03-02 12:00:10,25.3,ok,fine\n2024-03-02 18:00:10,25.2,a,b,c\n";
        assert_eq!(delimiter(ragged), Some(b','));
    }

    #[test]
    fn notes_with_other_separators_do_not_mislead() {
        let text = "Date,KH,Notes\n2024-03-02,8.2,\"hammer; torch; both open\"\n2024-03-09,8.1,\"moved; fed; cleaned\"\n2024-03-16,8.0,ok\n";
        assert_eq!(delimiter(text), Some(b','));
        let text = "Date;KH;Notes\n2024-03-02;8.2;hammer, torch, both open\n2024-03-09;8.1;moved, fed, cleaned\n2024-03-16;8.0;ok\n";
        assert_eq!(delimiter(text), Some(b';'));
    }

    #[test]
    fn titles_short_rows_and_footers_do_not_mislead() {
        let text = "Reef log, big tank\nkept by hand, every week\n\nDate;KH;NO3\n2024-03-02;8,2;5\n2024-03-09;8,1\n2024-03-16;8,0;5\n\nall tests at noon, more or less\n";
        assert_eq!(delimiter(text), Some(b';'));
    }

    #[test]
    fn the_sep_line_decides() {
        let detected = detect("sep=|\nDate|KH, dKH\n2024-03-02|8\n").dialect;
        assert!(detected.sep_line);
        assert_eq!(detected.delimiter, Some(b'|'));
        assert_eq!(delimiter("\"sep=;\"\r\na;b\r\n"), Some(b';'));
    }

    #[test]
    fn prose_has_no_separator() {
        assert_eq!(
            delimiter("the hammer is well\nthe torch is not, I fear\nall others are open\nnothing new\nfine\n"),
            None
        );
        assert_eq!(delimiter(""), None);
    }

    #[test]
    fn columns_lined_up_with_blanks_are_cut() {
        let dialect =
            detect("Date        Temp  KH\n2024-03-02  25.1  8.2\n2024-03-09  25.3  8.1\n2024-03-16  25.2  8.0\n")
                .dialect;
        assert_eq!((dialect.delimiter, dialect.runs), (Some(b' '), true));
    }

    #[test]
    fn apostrophes_may_quote() {
        let dialect = detect("'Date','KH','Notes'\n'2024-03-02','8.2','a, b'\n'2024-03-09','8.1','c'\n").dialect;
        assert_eq!((dialect.delimiter, dialect.quote), (Some(b','), Some(b'\'')));
        assert_eq!(detect("Date,KH\n'2024-03-02,8.2\n'2024-03-09,8.1\n").dialect.quote, Some(b'"'));
    }

    #[test]
    fn two_separators_that_fit_alike_are_both_named() {
        let detected = detect("1;2,3;4\n5;6,7;8\n9;1,2;3\n");
        assert!(detected.rival.is_some() || detected.dialect.delimiter == Some(b';'));
        let detected = detect("a|b;c\nd|e;f\ng|h;i\n");
        assert!(detected.rival.is_some());
    }
}
