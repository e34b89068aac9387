//! Prints a file as the csv crate reads it with its own settings (comma, first row a header): what a program sees that
//! looks no further. For comparison only.
//!
//! `cargo run --release --example plain_csv -- FILE`

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args_os().nth(1).ok_or("usage: plain_csv FILE")?;
    let mut reader = csv::Reader::from_path(path)?;
    let mut writer = csv::Writer::from_writer(std::io::stdout().lock());
    writer.write_record(reader.headers()?)?;
    for record in reader.records() {
        writer.write_record(&record?)?;
    }
    writer.flush()?;
    Ok(())
}
