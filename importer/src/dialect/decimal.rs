//! Which mark stands before decimals, decided once for a whole file from all its numbers.

/// What the numbers of a file say about their decimal mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Marks {
    /// Numbers that can only be read with a decimal comma: "25,1", "0,125".
    pub commas: u64,
    /// Numbers that can only be read with a decimal point.
    pub points: u64,
    /// Numbers with one comma and three digits behind it ("1,310"): a thousand or a decimal.
    pub open_commas: u64,
}

impl Marks {
    /// Takes a cell into account; cells that are no plain number say nothing.
    pub fn see(&mut self, cell: &str) {
        let bytes = cell.trim().trim_start_matches(['<', '>', '~', '=', '-', '+', ' ']).as_bytes();
        let end = bytes
            .iter()
            .position(|byte| !(byte.is_ascii_digit() || matches!(byte, b',' | b'.')))
            .unwrap_or(bytes.len());
        let (number, rest) = bytes.split_at(end);
        // A unit may follow, another number or a date's sign may not.
        if number.is_empty() || rest.iter().any(u8::is_ascii_digit) || matches!(rest.first(), Some(b'/' | b'-' | b':'))
        {
            return;
        }
        let commas = number.iter().filter(|&&byte| byte == b',').count();
        let points = number.iter().filter(|&&byte| byte == b'.').count();
        let Some(last) = number.iter().rposition(|byte| matches!(byte, b',' | b'.')) else { return };
        let (before, after) = (last, number.len() - last - 1);
        if after == 0 {
            return;
        }
        match (commas, points) {
            (1, 0) if after != 3 || before == 0 || number[0] == b'0' || before > 3 => self.commas += 1,
            (1, 0) => self.open_commas += 1,
            (0, 1) if after != 3 || before == 0 || number[0] == b'0' || before > 3 || number.starts_with(b"1.0") => {
                self.points += 1
            }
            // Both marks: the last one is the decimal mark, if it stands alone.
            (1, _) if number[last] == b',' && points > 0 => self.commas += 1,
            (_, 1) if number[last] == b'.' && commas > 0 => self.points += 1,
            _ => {}
        }
    }

    /// Whether the decimal mark is a comma. `semicolons` = the separator is one that leaves the comma free.
    pub const fn decimal_comma(self, comma_is_free: bool) -> bool {
        if self.commas == self.points {
            comma_is_free && self.points == 0 && self.open_commas > 0
        } else {
            self.commas > self.points
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marks(cells: &[&str]) -> Marks {
        let mut marks = Marks::default();
        cells.iter().for_each(|cell| marks.see(cell));
        marks
    }

    #[test]
    fn the_whole_file_decides() {
        assert!(marks(&["25,1", "8,2", "1,025", "2024-03-02", "02.03.2024"]).decimal_comma(true));
        assert!(!marks(&["25.1", "8.2", "25,4"]).decimal_comma(false));
        assert!(!marks(&["1,310", "430", "8.2"]).decimal_comma(false));
        assert!(marks(&["1,025", "1,026"]).decimal_comma(true));
        assert!(!marks(&["1,310"]).decimal_comma(false));
        assert!(marks(&["1.310,5"]).decimal_comma(false));
        assert_eq!(marks(&["02.03.2024", "5/10", "5-10", "12:30", "word", ""]), Marks::default());
        assert_eq!(marks(&["<0,02", "8,2 dKH", "0,125"]).commas, 3);
    }
}
