use super::caution;
use super::comparison::{Side, two_digits};
use super::lead::{Lead, OutOf, Started, lead_sentence, no_event};
use super::*;
use crate::answer::{AtHorizon, Grade, Outcome, RatePart};
use crate::vocabulary::OriginBasis;
use proptest::prelude::*;

fn lead(survival: f64, lower: f64, upper: f64) -> Lead {
    Lead {
        outcome: Outcome::Death,
        survival,
        lower,
        upper,
        horizon: 365.0,
        start_time: 0.0,
        started: Started::Bought,
        grade: Grade::Thin,
        varies: false,
    }
}

#[test]
fn of_ten_bought() {
    let said = |lead: Lead| lead_sentence(&lead).unwrap_or_else(|refusal| refusal.message);
    assert_eq!(said(lead(0.68, 0.52, 0.81)), "Of 10 bought, about 7 were alive after a year (5 to 9).");
    assert_eq!(said(lead(0.02, 0.003, 0.08)), "Of 10 bought, hardly any were alive after a year (0 to 1).");
    assert_eq!(said(lead(0.97, 0.9, 0.99)), "Of 10 bought, nearly all were alive after a year (9 to 10).");
    let cut = Lead { started: Started::Cut, horizon: 90.0, ..lead(0.68, 0.52, 0.81) };
    assert_eq!(said(cut), "Of 10 started, about 7 were alive after 90 days (5 to 9).");
    let late = Lead { start_time: 30.0, ..lead(0.68, 0.52, 0.81) };
    assert_eq!(said(late), "Of 10 alive at 30 days, about 7 were alive after a year (5 to 9).");
    assert_eq!(said(lead(0.6, 0.25, 0.85)), "Cannot tell: anything between 2 and 9 of 10.");
    let strong = Lead { grade: Grade::Strong, ..lead(0.684, 0.611, 0.752) };
    assert_eq!(said(strong), "Of 100 bought, about 68 were alive after a year (61 to 76).");
    let changing = Lead { varies: true, ..lead(0.68, 0.52, 0.81) };
    assert_eq!(
        said(changing),
        "If the present condition were kept: of 10 bought, about 7 were alive after a year (5 to 9)."
    );
    let wide = Lead { grade: Grade::Strong, ..lead(0.684, 0.55, 0.752) };
    assert_eq!(said(wide), "Of 10 bought, about 7 were alive after a year (5 to 8).");
}

#[test]
fn each_outcome_has_its_own_sentence() {
    let said = |outcome, start_time, horizon| {
        let lead = Lead { outcome, start_time, horizon, ..lead(0.6, 0.42, 0.77) };
        lead_sentence(&lead).unwrap_or_else(|refusal| refusal.message)
    };
    let decline = Outcome::FirstSeriousDecline;
    assert_eq!(said(decline, 0.0, 365.0), "Of 10 bought, about 6 had no serious decline by a year (4 to 8).");
    assert_eq!(
        said(decline, 12.0, 365.0),
        "Of 10 without a serious decline at 12 days, about 6 still had none by a year (4 to 8)."
    );
    let either = Outcome::DeathOrDecline;
    assert_eq!(
        said(either, 0.0, 90.0),
        "Of 10 bought, about 6 were alive without a serious decline after 90 days (4 to 8)."
    );
    assert_eq!(
        said(either, 12.0, 90.0),
        "Of 10 alive without a serious decline at 12 days, about 6 still were after 90 days (4 to 8)."
    );
    let after = Outcome::DeathAfterDecline;
    assert_eq!(said(after, 0.0, 180.0), "Of 10 seen in serious decline, about 6 were alive 180 days later (4 to 8).");
    assert_eq!(
        said(after, 12.0, 180.0),
        "Of 10 alive 12 days after a serious decline was seen, about 6 were alive 180 days after it (4 to 8)."
    );
    assert_eq!(
        no_event(decline, 14, 3652.5).message,
        "None of 14 seen in serious decline in 120 coral-months; up to 4 of 10 a year would still fit, not allowing for \
         tanks."
    );
}

#[test]
fn limits_that_are_whole_stay_whole() {
    // 0.1 + 0.6 is 0.7 less the last digit.
    assert_eq!(OutOf::new(10, 0.75, 0.1 + 0.6, 0.9).lower, 7);
    assert_eq!(OutOf::new(10, 0.25, 0.2, 0.1 + 0.2).upper, 3);
}

#[test]
fn no_death_yet_says_what_would_still_fit() {
    // 10 coral-years: 10 (1 - exp(-3.689/10)) = 3.09, so up to 4 of 10.
    let said = no_event(Outcome::Death, 14, 3652.5).message;
    assert_eq!(
        said,
        "None of 14 lost in 120 coral-months; up to 4 of 10 a year would still fit, not allowing for tanks."
    );
}

proptest! {
    #[test]
    fn outward_limits_hold_the_exact_ones_and_the_middle(a in 0.0..=1.0_f64, b in 0.0..=1.0_f64, c in 0.0..=1.0_f64) {
        let mut sorted = [a, b, c];
        sorted.sort_by(f64::total_cmp);
        let [lower, survival, upper] = sorted;
        for of in [10, 100] {
            let numbers = OutOf::new(of, survival, lower, upper);
            let n = f64::from(of);
            prop_assert!(f64::from(numbers.lower) <= n * lower + 1e-9);
            prop_assert!(f64::from(numbers.upper) >= n * upper - 1e-9);
            prop_assert!(numbers.lower <= numbers.middle && numbers.middle <= numbers.upper);
        }
    }
}

#[test]
fn forbidden_words_are_found_as_whole_words_only() {
    assert_eq!(forbidden("It is safe and easy, and kills nothing."), vec!["kills", "safe", "easy"]);
    assert_eq!(forbidden("Unsafely easier; no effects."), Vec::<&str>::new());
    assert_eq!(forbidden("There was No effect."), vec!["no effect"]);
}

#[test]
fn cautions_and_refusals_hold_no_forbidden_word() {
    let of_outcomes = Outcome::ALL.iter().flat_map(|&outcome| {
        [
            caution::wide_intervals(outcome, 3, 20),
            caution::one_tank_event(outcome, 1, 4),
            caution::unknown_goes_with_survival(outcome, 1.0, 2.0),
            caution::wald_limits(outcome),
        ]
    });
    let cautions = [
        caution::association(),
        caution::entry_assumed(1),
        caution::date_held(2),
        caution::deaths_apart(None),
        caution::deaths_apart(Some(3)),
        caution::from_first_poor_look(),
        caution::looks_without_score(3, 40),
        caution::sensitive(crate::follow_up::Run::BESIDE),
        caution::not_proportional(),
        caution::survivors_measured(),
        caution::rounded(),
        caution::not_for_passing_on(),
        caution::present_state(),
        caution::origin_as_said(&[]),
        caution::origin_as_said(&[(Some(OriginBasis::SellerSaid), 40), (None, 3)]),
    ];
    for caution in cautions.into_iter().chain(of_outcomes) {
        assert_eq!(forbidden(&caution.sentence), Vec::<&str>::new(), "{}", caution.sentence);
    }
}

#[test]
fn no_outcome_has_a_forbidden_word_and_only_deaths_are_called_deaths() {
    use crate::refusal::RefusalCode::{NoEvents, Separation, TooFewEvents};
    for &outcome in Outcome::ALL {
        let w = outcome.words();
        let mut texts = vec![w.one, w.many, w.losses, w.rate, w.ends, w.happened, w.lost, w.tanks_had, w.since];
        texts.extend([NoEvents, TooFewEvents, Separation].map(|code| super::outcome::refusal(code, outcome)));
        for text in texts {
            assert_eq!(forbidden(text), Vec::<&str>::new(), "{text}");
            let of_decline = outcome == Outcome::FirstSeriousDecline && text != w.ends;
            assert!(!of_decline || !text.contains("death"), "{text}");
        }
    }
}

#[test]
fn two_digits_without_an_exponent() {
    let said: Vec<String> = [1.0, 0.034_56, 12.34, 123.4, 0.999, 0.0].into_iter().map(two_digits).collect();
    assert_eq!(said, ["1.0", "0.035", "12", "123", "1.00", "0"]);
}

#[test]
fn a_refusal_in_a_few_words_is_true_of_a_part_as_of_the_whole() {
    use crate::refusal::RefusalCode::{EmptyGroup, NoEvents};
    // A split without a death under a known level is refused while its taxon has deaths on record.
    for &outcome in Outcome::ALL {
        assert!(!super::outcome::refusal(NoEvents, outcome).contains("yet"));
    }
    // One group has no other beside it, though many corals stand in it.
    assert!(!refusal(EmptyGroup).starts_with("nothing under"));
}

/// Levels of shares with limits, on curves from a day on.
fn side(phrase: &str, start_time: f64, share: [f64; 3]) -> Side {
    let [survival, lower, upper] = share;
    Side {
        phrase: phrase.to_owned(),
        start_time,
        at_horizon: Some(AtHorizon { time: 365.0, survival, lower: Some(lower), upper: Some(upper) }),
        rate: Some(RatePart { per_100_months: 2.0, lower: 1.0, upper: 4.0 }),
    }
}

#[test]
fn shares_stand_side_by_side_only_where_they_mean_the_same_and_say_something() {
    let said = |one: [f64; 3], starts: [f64; 2], other: [f64; 3], varies| {
        let (a, b) = (side("fed", starts[0], one), side("not fed", starts[1], other));
        comparison::sides(Outcome::Death, &a, &b, 365.0, varies).unwrap_or_default()
    };
    let (seven, five) = ([0.7, 0.6, 0.8], [0.52, 0.4, 0.61]);
    assert_eq!(
        said(seven, [0.0; 2], five, false),
        "Of corals fed, about 7 of 10 were alive after a year (6 to 8); of those not fed, about 5 of 10 (4 to 7)."
    );
    assert_eq!(
        said(seven, [30.0; 2], five, true),
        "If the present condition were kept: of corals alive at 30 days fed, about 7 of 10 were alive after a year \
         (6 to 8); of those not fed, about 5 of 10 (4 to 7)."
    );
    let rates = "Corals fed: 2.0 losses per 100 coral-months (1.0 to 4.0); corals not fed: 2.0 (1.0 to 4.0), limits not \
                 allowing for tanks.";
    // Curves of unlike beginning, equal middles, and limits six of ten apart.
    assert_eq!(said(seven, [0.0, 30.0], five, false), rates);
    assert_eq!(said(seven, [0.0; 2], [0.66, 0.6, 0.75], false), rates);
    assert_eq!(said(seven, [0.0; 2], [0.52, 0.2, 0.75], false), rates);
}

#[test]
fn a_ratio_under_other_rules_is_said_with_the_limits_it_has() {
    let words = crate::follow_up::Run::WithinKeeper.in_words();
    assert_eq!(
        comparison::under(words, 1.3, Some((0.84, 2.13))),
        "With corals compared within one keeper's tanks only, hazard ratio 1.3 (0.84 to 2.1)."
    );
    assert_eq!(
        comparison::under("guessed names left out", 0.9, None),
        "With guessed names left out, hazard ratio 0.90."
    );
}
