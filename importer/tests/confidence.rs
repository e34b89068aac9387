//! The confidence stated of what a column is, against how often it is right, on made-up tables of a seed that the fit has
//! not seen. A small version of `cargo run -p importer --example confidence`.

#[path = "support/degraded.rs"]
mod degraded;

use degraded::{WAYS, Way, brier, calibration_error, judged, reliability};

/// Tables of the seed that is tested; another than those of the example.
const SEED: u64 = 77;
const TABLES: usize = 2_000;
/// Columns from which a band counts, and how far it may be off.
const ENOUGH: usize = 200;
const OFF: f64 = 0.05;

#[test]
fn stated_confidence_is_the_share_that_is_right() {
    let all = judged(SEED, TABLES);
    assert!(all.len() > 8 * TABLES, "{} columns", all.len());
    let mut counted = 0;
    for band in reliability(&all) {
        println!("{:?}: {} columns, stated {:.3}, right {:.3}", band.range, band.columns, band.stated, band.right);
        if band.columns >= ENOUGH {
            counted += 1;
            assert!((band.stated - band.right).abs() <= OFF, "{band:?}");
        }
    }
    assert!(counted >= 3, "too few bands with {ENOUGH} columns");
    println!("Brier score {:.4}, expected calibration error {:.4}", brier(&all), calibration_error(&all));
    assert!(brier(&all) < 0.02);
    assert!(calibration_error(&all) < 0.02);
}

#[test]
fn hardly_a_column_is_loaded_as_what_it_is_not() {
    let all = judged(SEED + 1, TABLES);
    let wrong: Vec<&str> = all.iter().filter(|one| one.silently_wrong()).map(|one| one.shown.as_str()).collect();
    // One in a thousand of the columns with a worsened header.
    let worse = all.iter().filter(|one| one.way != Way::Word).count();
    assert!(wrong.len() * 1000 <= worse, "{} of {worse}:\n{}", wrong.len(), wrong.join("\n"));
    for way in WAYS {
        let of: Vec<_> = all.iter().filter(|one| one.way == way).collect();
        assert!(of.len() >= 100, "{way:?}: {}", of.len());
        let known = of.iter().filter(|one| one.right && !one.asked).count();
        if matches!(way, Way::Word | Way::WordAndUnit | Way::OtherLanguage) {
            assert!(known * 1000 >= of.len() * 995, "{way:?}: {known} of {}", of.len());
        }
    }
}

#[test]
fn the_same_seed_gives_the_same_columns() {
    let shown = |seed| judged(seed, 50).into_iter().map(|one| (one.shown, one.stated)).collect::<Vec<_>>();
    assert_eq!(shown(5), shown(5));
    assert_ne!(shown(5), shown(6));
}
