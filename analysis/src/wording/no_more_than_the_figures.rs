//! Over generated figures: no sentence claims more than its figures bear.

use proptest::prelude::*;

use super::comparison::ratio;
use super::forbidden;
use crate::answer::{
    CoxCoefficient, Grade, HazardAtAge, HazardPiece, LeadUpLine, Outcome, PlanStep, RateLimits, SeenEdge,
};
use crate::refusal::{Part, Refusal, RefusalCode};

fn coefficient(hazard_ratio: f64, limits: Option<(f64, f64)>) -> CoxCoefficient {
    CoxCoefficient {
        name: "nitrate:outside".to_owned(),
        reference: "within".to_owned(),
        coef: Some(hazard_ratio.ln()),
        hazard_ratio: Some(hazard_ratio),
        std_error: Some(0.1),
        robust_std_error: Some(0.1),
        lower: limits.map(|limits| limits.0),
        upper: limits.map(|limits| limits.1),
        p: None,
        grade: Some(Grade::Thin),
        firth: None,
        refused: None,
    }
}

fn outcome() -> impl Strategy<Value = Outcome> {
    prop::sample::select(Outcome::ALL)
}

/// Ratios near 1 and far from it.
fn ratios() -> impl Strategy<Value = (f64, f64, f64)> {
    prop::array::uniform3(-2.5..2.5_f64).prop_map(|mut logs| {
        logs.sort_by(f64::total_cmp);
        (logs[0].exp(), logs[1].exp(), logs[2].exp())
    })
}

fn not_told<T>() -> Part<T> {
    Part::Refused { refused: Refusal::plain(RefusalCode::TooFewClusters, "Too few tanks.") }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_ratio_is_higher_or_lower_only_if_its_whole_interval_is((lower, middle, upper) in ratios(), of in outcome(), known in any::<bool>()) {
        let told = ratio(of, "with nitrate above 15 mg/L", &coefficient(middle, known.then_some((lower, upper)))).expect("a ratio");
        prop_assert_eq!(forbidden(&told), Vec::<&str>::new());
        let little = lower > 0.8 && upper < 1.25;
        let word = if !known {
            "cannot tell"
        } else if little {
            "Little difference seen"
        } else if lower > 1.0 {
            "was higher among"
        } else if upper < 1.0 {
            "was lower among"
        } else {
            "cannot tell"
        };
        for other in ["cannot tell", "Little difference seen", "was higher among", "was lower among"] {
            prop_assert_eq!(told.contains(other), other == word, "{}", told);
        }
    }

    #[test]
    fn an_age_is_highest_only_if_its_limits_lie_above_the_whole(
        pieces in prop::collection::vec((0.1..20.0_f64, 0.0..1.0_f64, any::<bool>()), 1..6),
        overall in 0.1..20.0_f64,
        of in outcome(),
    ) {
        let ages: Vec<HazardAtAge> = (0u32..).zip(&pieces).map(|(at, (rate, share, known))| HazardAtAge {
            piece: HazardPiece {
                from_day: 100.0 * f64::from(at),
                to_day: Some(100.0 * f64::from(at) + 100.0),
                events: 5,
                specimen_days: 1000.0,
                rate: *rate,
                lower: rate * share,
                upper: rate * 2.0,
            },
            clustered: if *known { Part::Given(RateLimits { lower: rate * share, upper: rate * 2.0 }) } else { not_told() },
        }).collect();
        let told = super::hazard::highest(of, &ages, overall);
        prop_assert_eq!(forbidden(&told), Vec::<&str>::new());
        let above = pieces.iter().any(|(rate, share, known)| *known && rate * share > overall);
        prop_assert_eq!(told.starts_with("Highest"), above, "{}", told);
        prop_assert_eq!(told.contains("cannot tell"), !above, "{}", told);
    }

    #[test]
    fn a_plan_never_asks_for_water_corals_or_losses(
        held in proptest::option::of(0..40u64),
        keepers in proptest::option::of(0..12u64),
        years in -5.0..500.0_f64,
        exact in any::<bool>(),
    ) {
        let words = super::plan::Step { exact };
        let step = |kind, sentence| PlanStep { kind, count: None, specimen_years: None, sentence };
        let steps = [
            step("held", words.held(held, exact.then_some(years))),
            step("rare_tests", words.rare_tests(keepers)),
            step("wait", words.wait(years)),
        ];
        let told = super::plan::sentence(&steps);
        prop_assert!(told.starts_with("Cannot tell yet.") && told.ends_with(super::plan::CLOSING), "{}", told);
        let before = told.trim_end_matches(super::plan::CLOSING);
        for word in ["change your water", "lose", "sacrifice", "death", "died", "buy"] {
            prop_assert!(!before.contains(word), "{}", told);
        }
        prop_assert_eq!(forbidden(before), Vec::<&str>::new());
    }

    #[test]
    fn a_range_is_named_as_what_was_seen_and_no_more(
        edges in prop::array::uniform2(proptest::option::of(0.0..50.0_f64)),
        stability in 0.6..1.0_f64,
    ) {
        let edge = |at: Option<f64>| SeenEdge {
            estimate: at,
            lower: at.map(|at| at - 1.0),
            upper: at.map(|at| at + 1.0),
            seen_up_to: 40.0,
        };
        let told = super::bands::seen("Nitrate", "mg/L", &edge(edges[0]), &edge(edges[1]), stability);
        prop_assert!(told.starts_with("Range with fewest losses in our tanks so far"), "{}", told);
        prop_assert_eq!(told.matches("no edge seen").count(), edges.iter().filter(|edge| edge.is_none()).count());
        prop_assert_eq!(forbidden(&told), Vec::<&str>::new());
    }

    #[test]
    fn what_differed_before_losses_is_counted_and_signs_stand_apart(
        limits in prop::collection::vec((-2.0..2.0_f64, 0.0..2.0_f64, any::<bool>(), any::<bool>()), 0..20),
    ) {
        let lines: Vec<LeadUpLine> = limits.iter().map(|(lower, width, sign, known)| LeadUpLine {
            condition: "nitrate".to_owned(),
            name: String::new(),
            kind: if *sign { "sign" } else { "condition" },
            window: [1, 14],
            difference: Part::Given(lower + width / 2.0),
            lower: known.then_some(*lower),
            upper: known.then_some(lower + width),
            odds_ratio: not_told(),
            cases: Part::Given(7),
            controls: Part::Given(30),
        }).collect();
        let told = super::lead_up::read(&lines);
        prop_assert_eq!(forbidden(&told), Vec::<&str>::new());
        let apart = |is_sign: bool| limits.iter().filter(|(lower, width, sign, known)| {
            *known && *sign == is_sign && (*lower > 0.0 || lower + width < 0.0)
        }).count();
        if limits.iter().any(|(.., known)| *known) {
            let counted = format!("{} of conditions and {} of signs", apart(false), apart(true));
            prop_assert!(told.contains(&counted), "{}", told);
        } else {
            prop_assert!(told.contains("cannot tell yet"), "{}", told);
        }
    }
}
