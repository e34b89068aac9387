//! How far the confidence that the reader states of a column's meaning can be trusted, on made-up tables.
//!
//! ```text
//! cargo run -p importer --example confidence            # the table, on tables that the fit has not seen
//! cargo run -p importer --example confidence -- --fit   # the knots of `meaning/confidence.rs`, fitted again
//! cargo run -p importer --example confidence -- --wrong # columns loaded as something they are not
//! ```

use importer::meaning::confidence::weight_of;

#[path = "../tests/support/degraded.rs"]
mod degraded;

use degraded::{Judged, WAYS, brier, calibration_error, judged, reliability};

/// Seed of the tables that the knots are fitted to, and of those they are measured on.
const FITTED: u64 = 20_240_301;
const MEASURED: u64 = 20_240_302;
const TABLES: usize = 5_000;

fn main() {
    let asked = std::env::args().nth(1).unwrap_or_default();
    if asked == "--fit" {
        return fit();
    }
    let all = judged(MEASURED, TABLES);
    if asked == "--wrong" {
        all.iter().filter(|one| one.silently_wrong()).for_each(|one| println!("{:.3} {}", one.stated, one.shown));
        return;
    }
    let worse: Vec<Judged> = all.iter().filter(|one| one.way != degraded::Way::Word).cloned().collect();
    for (title, columns) in [("all columns", &all), ("columns with a worsened header", &worse)] {
        println!("{title}: {}", columns.len());
        println!("| confidence | columns | stated | right |\n|---|---|---|---|");
        for band in reliability(columns) {
            let (from, to) = band.range;
            println!("| {from} to {to} | {} | {:.3} | {:.3} |", band.columns, band.stated, band.right);
        }
        println!("Brier score {:.4}, expected calibration error {:.4}\n", brier(columns), calibration_error(columns));
    }
    println!(
        "| header | columns | read and right | asked, right one first | asked, otherwise | read wrongly |\n|---|---|---|---|---|---|"
    );
    for way in WAYS {
        let of: Vec<&Judged> = all.iter().filter(|one| one.way == way).collect();
        let count = |is: &dyn Fn(&Judged) -> bool| of.iter().filter(|one| is(one)).count();
        println!(
            "| {way:?} | {} | {} | {} | {} | {} |",
            of.len(),
            count(&|one| one.right && !one.asked),
            count(&|one| one.right && one.asked),
            count(&|one| !one.right && one.asked),
            count(&Judged::silently_wrong)
        );
    }
}

/// Isotonic regression of right on weight by pooling adjacent violators, then knots at the pools' means.
fn fit() {
    let mut points: Vec<(f64, f64)> = judged(FITTED, 2 * TABLES)
        .iter()
        .filter(|one| one.stated < 1.0 && one.way != degraded::Way::Word)
        .map(|one| (weight_of(one.stated), f64::from(u8::from(one.right))))
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Pools of (sum of weights, sum of rights, count).
    let mut pools: Vec<(f64, f64, f64)> = Vec::new();
    for (weight, right) in points {
        pools.push((weight, right, 1.0));
        while let [.., before, last] = pools.as_slice()
            && before.1 / before.2 >= last.1 / last.2
        {
            let joined = (before.0 + last.0, before.1 + last.1, before.2 + last.2);
            pools.truncate(pools.len() - 2);
            pools.push(joined);
        }
    }
    for (weights, rights, count) in &pools {
        println!("({:.4}, {:.4}), // {count} columns", weights / count, rights / count);
    }
}
