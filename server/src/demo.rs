//! The demo club: invented members on an imaginary coast, whose spreadsheets are written here and then read by
//! the ordinary importer. The writer knows nothing of the reader: it shares no table of spellings with it.

pub mod member; // one simulated member's habits of writing
pub mod sheet; // tables as text files and workbooks
pub mod tables; // a member's tests, corals and looks as tables
pub mod words; // names of the club, its members and what they write

use analysis::simulation::{Design, SimulatedClub};

use member::Style;

/// A spreadsheet of a member, ready to be written to disk.
#[derive(Debug, Clone, PartialEq)]
pub struct MemberFile {
    /// Handle of the member.
    pub keeper: String,
    /// File name.
    pub name: String,
    /// Content.
    pub bytes: Vec<u8>,
}

/// What a member would say when asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MemberAnswers {
    /// Handle of the member.
    pub keeper: String,
    /// "From what day did you write down every coral?"; `None` = this member has not answered.
    pub complete_since: Option<chrono::NaiveDate>,
}

/// The demo club with its files.
#[derive(Debug, Clone)]
pub struct DemoClub {
    /// The truth it was drawn from.
    pub truth: SimulatedClub,
    /// Files, by member.
    pub files: Vec<MemberFile>,
    /// Answers, by member.
    pub answers: Vec<MemberAnswers>,
}

/// Something that kept a file from being written.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// A workbook could not be made.
    #[error("demo workbook, {file}: {source}")]
    Workbook {
        /// File name.
        file: String,
        /// Why.
        source: rust_xlsxwriter::XlsxError,
    },
    /// A text file could not be made.
    #[error("demo text file, {file}: {source}")]
    Text {
        /// File name.
        file: String,
        /// Why.
        source: csv::Error,
    },
}

impl DemoClub {
    /// Draws the club and writes its members' files in memory.
    pub fn write() -> Result<Self, DemoError> {
        Self::write_from(Design::demo())
    }

    /// The same from any design.
    pub fn write_from(design: Design) -> Result<Self, DemoError> {
        let truth = SimulatedClub::draw(design);
        let mut files = Vec::new();
        let mut answers = Vec::new();
        for keeper in 0..truth.keepers.len() {
            let member = member::Member::new(&truth, keeper);
            for (name, bytes) in member.files()? {
                files.push(MemberFile { keeper: member.handle.clone(), name, bytes });
            }
            let answered = member.style != Style::Terse;
            answers.push(MemberAnswers {
                keeper: member.handle.clone(),
                complete_since: answered.then(|| member.day(truth.keepers[keeper].complete_since)),
            });
        }
        Ok(DemoClub { truth, files, answers })
    }
}
