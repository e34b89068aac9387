//! What the service costs, beside something bare, in one run:
//!
//! - `requests`: an answer that is kept and a 304, beside a bare actix-web handler that returns the same bytes;
//! - `load`: 200 clients while 1,000,000 readings of 400 keepers are imported through the server;
//! - `cold`: `survival?by=nitrate` of that club by a server that has just started, beside R, which reads the same records
//!   from csv, builds the same episodes and fits the same Kaplan–Meier curves and Cox model (package survival).
//!
//! `cargo bench -p server --bench service --profile dev [-- [requests|load|cold] [KEEPERS [READINGS]]]`; without words all of them. Needs
//! `wrk` for the first and `Rscript` with survival for the last. Prints tables; only ratios within a run count.

mod bare; // a handler that returns given bytes
mod club; // files of a large club
mod cold; // the first question, beside R
mod load; // many clients during an import
mod process; // the served program
mod requests; // requests a second

fn main() {
    let mut words: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with("--")).collect();
    if words.first().is_some_and(|word| word == "bare") {
        return bare::serve(&words[1], &words[2]);
    }
    let mut number = |usual| {
        let at = words.iter().position(|word| word.parse::<usize>().is_ok());
        at.map_or(usual, |at| words.remove(at).parse().unwrap_or(usual))
    };
    let (keepers, readings) = (number(400), number(1_000_000));
    let has = |word: &str| words.is_empty() || words.iter().any(|given| given == word);
    let room = tempfile::Builder::new().prefix("strandline-bench.").tempdir().expect("a directory");
    // PostgreSQL runs as another user where this one is root.
    std::fs::set_permissions(room.path(), std::os::unix::fs::PermissionsExt::from_mode(0o777)).expect("open to all");
    let club = club::Large::write(room.path(), keepers, readings);
    let mut served = process::Served::start(room.path());
    club.register(&served);
    if has("requests") {
        requests::run(&served, room.path());
    }
    if has("load") || has("cold") {
        load::run(&served, &club);
    }
    if has("cold") {
        cold::run(&mut served, &club);
    }
}
