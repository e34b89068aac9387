//! Every table that the API serves can be opened in a spreadsheet program: no cell is run, and numbers stay numbers.

use crate::answers::club;
use crate::api_support::{Api, json_of};

#[test]
fn no_cell_of_a_served_table_is_run_by_a_spreadsheet_program() {
    let api = Api::start();
    club(&api);
    let document = json_of(api.get("/api/v1/openapi.json").send().unwrap(), 200);
    let paths: Vec<String> = document["paths"]
        .as_object()
        .unwrap()
        .iter()
        .filter(|(_, methods)| methods["get"]["responses"]["200"]["content"].get("text/csv").is_some())
        .map(|(path, _)| path.replace("{slug}", "goniopora").replace("{code}", "nitrate"))
        .collect();
    assert!(paths.len() >= 6 && paths.iter().all(|path| !path.contains('{')), "{paths:?}");
    let mut negative = 0;
    for path in &paths {
        let by: &[&str] =
            if path.ends_with("survival") || path.ends_with("growth") { &["none", "nitrate"] } else { &[""] };
        for by in by {
            for (form, delimiter) in [("standard", b','), ("excel", b';')] {
                let by = if by.is_empty() { String::new() } else { format!("&by={by}") };
                let path = format!("{path}?format=csv&csv={form}{by}");
                let response = api.get(&path).bearer_auth(&api.curator).send().unwrap();
                assert_eq!(response.status(), 200, "{path}");
                let text = response.text().unwrap();
                let text = text.trim_start_matches('\u{feff}');
                let mut reader =
                    csv::ReaderBuilder::new().delimiter(delimiter).has_headers(false).from_reader(text.as_bytes());
                for cell in reader.records().flat_map(|row| row.unwrap().iter().map(str::to_owned).collect::<Vec<_>>())
                {
                    let begins = cell.trim_start_matches(['"', '\'', ' ']);
                    let runs = begins.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']);
                    let number = cell.replace(',', ".").parse::<f64>().is_ok();
                    negative += usize::from(runs && number);
                    assert!(!runs || number || cell.starts_with('\''), "{path}: {cell:?}");
                }
            }
        }
    }
    // The lowest oxidation-reduction potential and temperature of the catalogue lie below 0.
    assert!(negative > 0);
}
