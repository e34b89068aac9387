use super::*;

const CUTS: [f64; 6] = [1.0, 2.0, 5.0, 10.0, 20.0, 40.0];

/// Tanks with days at two steps and in two pieces of age. Deaths are those expected, rounded up or down by a fixed pattern
/// that favours no step; `rate` is per 1000 days.
fn club(tanks: u32, days: f64, rate: [f64; 7]) -> Vec<LossCell> {
    let mut cells = Vec::new();
    for tank in 0..tanks {
        for step in [tank % 7, (tank + 1) % 7] {
            for age_piece in 0..2 {
                let expected = rate[step as usize] * days / 1000.0 * f64::from(2 - age_piece);
                let share = f64::from((tank / 7 * 3 + step * 4 + age_piece * 5) % 10) / 10.0;
                let deaths = (expected + share).floor() as u64;
                cells.push(LossCell { tank, age_piece, step, deaths, days });
            }
        }
    }
    cells
}

fn range(cells: &[LossCell]) -> (BinTest, FewestRange) {
    let answer = fewest_losses(cells, &CUTS, 0.01, 4).expect("an answer");
    match answer.found {
        Found::Range(range) => (answer.tested, range),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_range_that_is_there_is_found() {
    let cells = club(70, 400.0, [8.0, 8.0, 2.0, 2.0, 2.0, 8.0, 8.0]);
    let (tested, found) = range(&cells);
    assert_eq!(tested.bins.len(), 7);
    assert!(tested.test.p < 1e-4, "{:?}", tested.test);
    assert_eq!((found.lower.at, found.upper.at), (Some(2.0), Some(20.0)));
    assert!(found.lower.lower <= Some(2.0) && found.lower.upper >= Some(2.0));
    assert!(found.stability > 0.9, "{}", found.stability);
    assert!((2..5).contains(&found.lowest));
    assert_eq!(found.ratios[found.lowest].hazard_ratio, 1.0);
    for (at, ratio) in found.ratios.iter().enumerate() {
        assert_eq!(ratio.hazard_ratio <= ALIKE, (2..5).contains(&at), "bin {at}: {ratio:?}");
        let limits = ratio.limits.given().expect("limits");
        assert!(limits.lower >= 1.0 || (2..5).contains(&at), "the lowest of each draw was picked: {limits:?}");
    }
}

#[test]
fn a_range_at_the_end_of_the_days_has_no_edge_there() {
    let (_, found) = range(&club(70, 400.0, [9.0, 9.0, 9.0, 2.0, 2.0, 2.0, 2.0]));
    assert_eq!((found.lower.at, found.upper.at, found.upper.upper), (Some(5.0), None, None));
    // Days above the last cut reach at least that cut.
    assert_eq!((found.lower.seen_up_to, found.upper.seen_up_to), (1.0, 40.0));
    // Without days above 10 the range ends with the days on record, in the step from 5 on.
    let mut lower_only = club(70, 400.0, [9.0, 9.0, 2.0, 2.0, 2.0, 2.0, 2.0]);
    lower_only.retain(|cell| cell.step < 4);
    let (_, found) = range(&lower_only);
    assert_eq!((found.lower.at, found.upper.at, found.upper.seen_up_to), (Some(2.0), None, 5.0));
}

#[test]
fn the_order_of_the_cells_the_unit_of_time_and_the_names_of_tanks_change_nothing() {
    let cells = club(63, 400.0, [8.0, 5.0, 2.0, 2.0, 3.0, 8.0, 9.0]);
    let (tested, found) = range(&cells);
    let mut other = cells.clone();
    other.reverse();
    other.rotate_left(17);
    assert_eq!(range(&other), (tested.clone(), found.clone()));
    let hours: Vec<LossCell> = cells.iter().map(|cell| LossCell { days: 24.0 * cell.days, ..*cell }).collect();
    let (in_hours, same) = range(&hours);
    assert_eq!((same.lower, same.upper, same.stability), (found.lower, found.upper, found.stability));
    assert!((in_hours.test.statistic - tested.test.statistic).abs() < 1e-8 * tested.test.statistic);
    let renamed: Vec<LossCell> = cells.iter().map(|cell| LossCell { tank: 3 * cell.tank + 7, ..*cell }).collect();
    assert_eq!(range(&renamed).1, found);
}

#[test]
fn each_tank_twice_moves_no_ratio_and_nearly_doubles_the_statistic() {
    let cells = club(63, 400.0, [8.0, 5.0, 2.0, 2.0, 3.0, 8.0, 9.0]);
    let twice: Vec<LossCell> =
        cells.iter().copied().chain(cells.iter().map(|cell| LossCell { tank: cell.tank + 1000, ..*cell })).collect();
    let ((once, a), (double, b)) = (range(&cells), range(&twice));
    for (a, b) in a.ratios.iter().zip(&b.ratios) {
        assert!((a.hazard_ratio - b.hazard_ratio).abs() < 1e-9);
    }
    // Clusters over clusters less one: 63/62 once, 126/125 twice.
    let want = 2.0 * (63.0 / 62.0) / (126.0 / 125.0);
    assert!((double.test.statistic / once.test.statistic - want).abs() < 1e-6);
}

#[test]
fn without_a_difference_nothing_is_said_of_a_range() {
    let cells = club(70, 400.0, [4.0; 7]);
    let tested = bin_test(&cells, &CUTS).expect("a test");
    assert!(tested.test.p > 0.2, "{:?}", tested.test);
    let answer = fewest_losses(&cells, &CUTS, tested.test.p, 4).expect("an answer");
    assert_eq!(answer.found, Found::NoDifference);
    assert_eq!(fewest_losses(&cells, &CUTS, Q, 4).expect("an answer").found, Found::NoDifference);
}

#[test]
fn two_ranges_as_low_as_each_other_are_not_stable() {
    // Drawing other tanks picks now the one end, now the other.
    let cells = club(70, 400.0, [2.0, 9.0, 9.0, 9.0, 9.0, 9.0, 2.0]);
    match fewest_losses(&cells, &CUTS, 0.05, 4).expect("an answer").found {
        Found::NotStable { stability } => assert!(stability < STABILITY),
        other => panic!("{other:?}"),
    }
}

#[test]
fn what_is_lacking_is_said() {
    let code = |cells: &[LossCell], cuts: &[f64]| bin_test(cells, cuts).map(|_| ()).map_err(|refused| refused.code);
    let cells = club(70, 400.0, [4.0; 7]);
    assert_eq!(code(&cells[..8], &CUTS), Err(RefusalCode::TooFewEvents));
    let few_tanks: Vec<LossCell> = cells.iter().map(|cell| LossCell { tank: cell.tank % 9, ..*cell }).collect();
    assert_eq!(code(&few_tanks, &CUTS), Err(RefusalCode::TooFewTanks));
    let one_bin: Vec<LossCell> = cells.iter().map(|cell| LossCell { step: 3, ..*cell }).collect();
    assert_eq!(code(&one_bin, &CUTS), Err(RefusalCode::TooFewEvents));
    for cuts in [&[][..], &[2.0, 1.0], &[f64::NAN], &[1.0]] {
        assert_eq!(code(&cells, cuts), Err(RefusalCode::InvalidInput), "{cuts:?}");
    }
    let timeless: Vec<LossCell> = cells.iter().map(|cell| LossCell { days: 0.0, deaths: 1, ..*cell }).collect();
    assert_eq!(code(&timeless, &CUTS), Err(RefusalCode::InvalidInput));
    assert_eq!(fewest_losses(&cells, &CUTS, f64::NAN, 1).map_err(|r| r.code).err(), Some(RefusalCode::InvalidInput));
}
