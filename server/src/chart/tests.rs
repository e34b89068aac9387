//! Pictures by their structure: every text lies on the paper and on no other, shapes tell groups apart, and the same
//! picture is the same bytes.

use super::rows::{Axis, Estimate, Row};
use super::sheet::Words;
use super::{Size, bands, pixels};

#[path = "../../tests/support/legible.rs"]
mod support;

fn assert_legible(svg: &str) {
    support::legible(svg).unwrap_or_else(|fault| panic!("{fault}: {svg}"));
}

fn rows(count: usize) -> Vec<Row> {
    (0..count)
        .map(|n| Row {
            label: format!(
                "condition number {n}, with a name that is much longer than a column is wide, above 15 mg/L"
            ),
            is_heading: n % 5 == 0,
            estimate: (n % 5 != 0 && n % 7 != 3).then_some(Estimate {
                value: 0.2 + n as f64 * 0.3,
                lower: Some(0.001),
                upper: Some(40.0 * n as f64),
            }),
            figures: if n % 7 == 3 {
                "Needs 6 more deaths, 2 more keepers and tanks.".into()
            } else {
                "0.85 (0.36 to 2.0); thin; q 1.0".into()
            },
            kind: n,
        })
        .collect()
}

fn words() -> Words {
    Words {
        title: "Large-polyped stony corals without look-alikes: which conditions went with losses".into(),
        sentence: "Clearest association: none. No condition passes; these records cannot tell yet.".into(),
        notes: vec!["Of 98 conditions on the list 61 cannot be told yet.".into()],
        source: "Tarn Quay Reef Circle, release 3 of 2026-07-20: conditions of lps & kin <all>.".into(),
        alternative: String::new(),
    }
}

fn axis(is_log: bool) -> Axis {
    Axis {
        is_log,
        title: "hazard ratio (each step of the axis multiplies)".into(),
        figures: "ratio (95 %), grade".into(),
        ends: Some(("← fewer losses among these".into(), "more losses among these →".into())),
        reference: Some(1.0),
    }
}

#[test]
fn long_names_many_rows_and_wide_limits_stay_legible() {
    for size in [Size::Column, Size::Slide] {
        for is_log in [true, false] {
            for count in [0, 1, 3, 24] {
                assert_legible(&bands::finish(words(), rows(count), &axis(is_log), &[], size));
            }
        }
    }
}

#[test]
fn a_slide_is_sixteen_to_nine_and_says_what_it_leaves_out() {
    let svg = bands::finish(words(), rows(60), &axis(true), &[], Size::Slide);
    assert!(svg.contains("width=\"1280\"") && svg.contains("height=\"720\""));
    assert!(svg.contains("all are in the answer."));
    let png = pixels::png(&svg, Size::Slide).unwrap();
    // Width and height stand at bytes 16 to 23 (PNG, ISO/IEC 15948, 11.2.2).
    assert_eq!(png[16..24], [0, 0, 7, 128, 0, 0, 4, 56]);
}

#[test]
fn the_same_picture_is_the_same_bytes_and_speaks_to_those_who_do_not_see_it() {
    let make = || bands::finish(words(), rows(9), &axis(true), &[], Size::Column);
    let svg = make();
    assert_eq!(svg, make());
    assert_eq!(pixels::png(&svg, Size::Column).unwrap(), pixels::png(&make(), Size::Column).unwrap());
    assert!(svg.contains("role=\"img\"") && svg.contains("aria-labelledby=\"t"));
    assert!(svg.contains("<title id=\"t") && svg.contains("<desc id=\"d"));
    assert!(svg.contains("lps &amp; kin &lt;all&gt;"), "text is escaped");
    assert!(svg.contains("An arrow: the limit lies beyond the axis"));
}
