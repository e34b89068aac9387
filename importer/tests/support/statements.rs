//! What the writer of a log says each of its cells means: the `.expected` file beside it, RFC 4180 with the header
//! `cell,kind,what,when,value,more`.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use importer::context::{Context, KnownSpecimen, KnownTank};

/// One line.
#[derive(Debug, Clone)]
pub struct Statement {
    /// Sheet, if named.
    pub sheet: Option<String>,
    /// Rows and columns, from 1, both ends included; `None` = about the file.
    pub range: Option<[u32; 4]>,
    /// What kind of statement.
    pub kind: String,
    /// What it is about.
    pub what: String,
    /// When.
    pub when: String,
    /// Value.
    pub value: String,
    /// The rest.
    pub more: BTreeMap<String, String>,
    /// Line in the file.
    pub line: usize,
}

/// The statements about a log.
pub fn statements(log: &Path) -> Vec<Statement> {
    let path = PathBuf::from(format!("{}.expected", log.display()));
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .from_path(&path)
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    reader
        .records()
        .enumerate()
        .map(|(at, record)| {
            let record = record.unwrap_or_else(|error| panic!("{}: {error}", path.display()));
            let field = |at: usize| record.get(at).unwrap_or_default().trim().to_owned();
            let (sheet, range) = place(&field(0));
            let more = field(5)
                .split(';')
                .filter_map(|part| part.split_once('='))
                .map(|(name, value)| (name.trim().to_owned(), value.trim().to_owned()))
                .collect();
            Statement {
                sheet,
                range,
                kind: field(1),
                what: field(2),
                when: field(3),
                value: field(4),
                more,
                line: at + 2,
            }
        })
        .collect()
}

/// "B4", "A1:C3", "Sheet name!B4".
fn place(text: &str) -> (Option<String>, Option<[u32; 4]>) {
    let (sheet, cells) = match text.rsplit_once('!') {
        Some((sheet, cells)) => (Some(sheet.trim_matches('\'').to_owned()), cells),
        None => (None, text),
    };
    if cells.is_empty() {
        return (sheet, None);
    }
    let (first, last) = cells.split_once(':').unwrap_or((cells, cells));
    let corner = |text: &str| {
        let digits = text.trim_start_matches(|letter: char| letter.is_ascii_alphabetic());
        let letters = &text[..text.len() - digits.len()];
        let column =
            letters.bytes().fold(0, |sum, letter| sum * 26 + u32::from(letter.to_ascii_uppercase() - b'A') + 1);
        (digits.parse::<u32>().unwrap_or_else(|_| panic!("{text} is no cell")), column)
    };
    let ((top, left), (bottom, right)) = (corner(first), corner(last));
    (sheet, Some([top, left, bottom, right]))
}

/// What the reader is told beside the bytes.
pub fn context(statements: &[Statement]) -> Context {
    let mut context = Context::default();
    for one in statements {
        match one.kind.as_str() {
            "today" => context.today = Some(one.what.parse().unwrap_or_else(|_| panic!("{} is no day", one.what))),
            "tank" => context.tank = Some(one.what.clone()),
            "as_of" => context.as_of = one.what.parse().ok(),
            "keeper" => context.keeper_known = true,
            "keeper_tank" => {
                context.keeper_known = true;
                context.tanks.push(KnownTank { name: one.what.clone(), aliases: Vec::new() });
            }
            "keeper_coral" => {
                context.keeper_known = true;
                context.specimens.push(KnownSpecimen {
                    label: one.what.clone(),
                    taxon: analysis::vocabulary::TaxonSlug::parse(&one.value),
                    tank: one.more.get("tank").cloned(),
                    alive: true,
                    ended: None,
                });
            }
            _ => {}
        }
    }
    context
}
