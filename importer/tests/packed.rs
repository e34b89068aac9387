//! A file read and packed as it goes says what the same file read at once says.

use std::path::Path;

use importer::context::Context;
use importer::read::{read, read_packed};
use importer::record::Record;

fn sorted(records: Vec<Record>) -> Vec<String> {
    let mut lines: Vec<String> = records.iter().map(|record| serde_json::to_string(record).unwrap()).collect();
    lines.sort();
    lines
}

#[test]
fn every_log_says_the_same_packed_and_not() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logs/corpus");
    let context = Context { today: chrono::NaiveDate::from_ymd_opt(2025, 6, 30), ..Context::default() };
    let (mut logs, mut tests) = (0, 0);
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if name.ends_with(".expected") {
            continue;
        }
        let bytes = std::fs::read(&path).unwrap();
        let whole = read(&name, &bytes, &context);
        let (outcome, packed) = read_packed(&name, &bytes, &context).unwrap();
        assert!(outcome.records.is_empty());
        assert_eq!(
            (&outcome.findings, outcome.cells, &outcome.about),
            (&whole.findings, whole.cells, &whole.about),
            "{name}"
        );
        assert_eq!(sorted(packed.unpack().unwrap()), sorted(whole.records), "{name}");
        logs += 1;
        tests += packed.months.values().map(|block| block.count).sum::<u32>();
    }
    assert!(logs > 100 && tests > 1000, "{logs} logs, {tests} tests");
}
