//! The page for the next records secretary: what runs, who may do what, what waits, and no secret.

use chrono::Utc;
use server::hand_over::{Place, page};

use crate::api_support::{Api, register};

#[test]
fn the_page_says_what_waits_and_holds_no_secret() {
    let api = Api::start();
    api.upload(&api.osprey, "name=corals | new.csv&as_of=2025-06-01", register());
    let place = Place { configuration: "listen 127.0.0.1:8080".to_owned(), version: "0.0.0", at: Utc::now() };
    let text = page(&mut api.connect(), &place).unwrap();
    assert!(text.contains("listen 127.0.0.1:8080"), "{text}");
    // A file with a question, its name unable to break the table.
    assert!(text.contains("| osprey | corals \\| new.csv | 1 |"), "{text}");
    assert!(text.contains("2 members keep records; 0 people can sign in"), "{text}");
    assert!(text.contains("No release has been made yet"), "{text}");
    // Tokens by their first characters alone.
    for token in [&api.curator, &api.osprey, &api.heron, &api.reader] {
        assert!(!text.contains(token.as_str()) && text.contains(&token[..13]), "{text}");
    }
    for step in ["strandline backup", "strandline check", "strandline restore", "who-to-ask"] {
        assert!(text.contains(step), "{step}");
    }
}
