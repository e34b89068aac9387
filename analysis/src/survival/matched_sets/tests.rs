use super::*;

fn column(values: &[f64]) -> Vec<Covariate> {
    vec![Covariate { name: "exposed".into(), values: values.to_vec() }]
}

/// Pairs of one case and one control: `both`, `case only`, `control only`, `neither` exposed.
fn pairs(counts: [usize; 4]) -> (Vec<u32>, Vec<bool>, Vec<f64>) {
    let kinds = [(1.0, 1.0), (1.0, 0.0), (0.0, 1.0), (0.0, 0.0)];
    let (mut set, mut case, mut exposed) = (Vec::new(), Vec::new(), Vec::new());
    for (count, (of_case, of_control)) in counts.iter().zip(kinds) {
        for _ in 0..*count {
            let id = (set.len() / 2) as u32;
            set.extend([id, id]);
            case.extend([true, false]);
            exposed.extend([of_case, of_control]);
        }
    }
    (set, case, exposed)
}

#[test]
fn pairs_have_the_ratio_of_the_discordant_ones() {
    // 12 pairs with the case alone exposed, 4 with the control alone: 12/4, variance of its logarithm 1/12 + 1/4.
    let (set, case, exposed) = pairs([7, 12, 4, 20]);
    let covariates = column(&exposed);
    let fit = conditional_logistic(&MatchedInput { set: &set, case: &case, covariates: &covariates, cluster: None })
        .expect("a ratio");
    let ratio = &fit.odds_ratios[0];
    assert!((ratio.odds_ratio.expect("a ratio") - 3.0).abs() < 1e-9);
    assert!((ratio.std_error.expect("an error") - (1.0f64 / 12.0 + 0.25).sqrt()).abs() < 1e-9);
    assert!((fit.log_likelihood.at_zero + 43.0 * 2f64.ln()).abs() < 1e-12);
    assert_eq!((fit.sets, fit.controls, fit.left_out), (43, 43, 0));
}

#[test]
fn one_case_and_two_controls_by_hand() {
    // Sets with one of three exposed: the case in 6, a control in 4. With psi the odds ratio the chance that it is the case
    // is psi/(psi + 2): psi = 2 * 6/4 = 3. Sets with two of three exposed would add psi/(2 psi + 1).
    let (mut set, mut case, mut exposed) = (Vec::new(), Vec::new(), Vec::new());
    for id in 0..10 {
        set.extend([id; 3]);
        case.extend([true, false, false]);
        exposed.extend(if id < 6 { [1.0, 0.0, 0.0] } else { [0.0, 0.0, 1.0] });
    }
    let covariates = column(&exposed);
    let input = MatchedInput { set: &set, case: &case, covariates: &covariates, cluster: None };
    let fit = conditional_logistic(&input).expect("a ratio");
    assert!((fit.odds_ratios[0].odds_ratio.expect("a ratio") - 3.0).abs() < 1e-9);
    // Information: 10 sets with the chance 3/5: 10 * 0.6 * 0.4.
    assert!((fit.odds_ratios[0].std_error.expect("an error") - 2.4f64.sqrt().recip()).abs() < 1e-9);
    assert!((fit.log_likelihood.fitted - (6.0 * 0.6f64.ln() + 4.0 * 0.2f64.ln())).abs() < 1e-9);
}

#[test]
fn a_set_alone_says_nothing_and_a_set_without_a_case_is_a_mistake() {
    let (mut set, mut case, mut exposed) = pairs([1, 5, 3, 2]);
    let whole = |set: &[u32], case: &[bool], exposed: &[f64]| {
        conditional_logistic(&MatchedInput { set, case, covariates: &column(exposed), cluster: None })
    };
    let before = whole(&set, &case, &exposed).expect("a ratio");
    set.push(900);
    case.push(true);
    exposed.push(1.0);
    let after = whole(&set, &case, &exposed).expect("a ratio");
    assert_eq!((after.left_out, after.sets), (1, before.sets));
    assert_eq!(after.odds_ratios, before.odds_ratios);
    let code = |fit: Result<MatchedFit, Refusal>| fit.map(|_| ()).map_err(|refused| refused.code);
    assert_eq!(code(whole(&[1, 1], &[false, false], &[0.0, 1.0])), Err(RefusalCode::InvalidInput));
    assert_eq!(code(whole(&[1, 1], &[true, true], &[0.0, 1.0])), Err(RefusalCode::InvalidInput));
    assert_eq!(code(whole(&[1, 2], &[true, true], &[0.0, 1.0])), Err(RefusalCode::EmptyGroup));
    assert_eq!(code(whole(&[1, 1], &[true], &[0.0, 1.0])), Err(RefusalCode::InvalidInput));
    // Every case exposed and no control: no finite ratio.
    let (set, case, exposed) = pairs([0, 6, 0, 0]);
    let separated = whole(&set, &case, &exposed).expect("a fit beside the refusal");
    assert_eq!(separated.odds_ratios[0].odds_ratio, None);
    assert_eq!(separated.odds_ratios[0].refused.as_ref().map(|r| r.code), Some(RefusalCode::Separation));
}

/// Forty specimens of two species in ten tanks; every fourth is lost.
struct Club {
    episodes: Episodes,
    specimen: Vec<u64>,
    species: Vec<u32>,
    tank: Vec<u32>,
}

fn club() -> Club {
    let n = 40u32;
    Club {
        episodes: Episodes::validated(
            (0..n).map(|i| f64::from(i % 5) * 10.0).collect(),
            (0..n).map(|i| 100.0 + f64::from(i * 13 % 90)).collect(),
            (0..n).map(|i| i % 4 == 0).collect(),
        )
        .expect("sound rows"),
        specimen: (0..u64::from(n)).collect(),
        species: (0..n).map(|i| i % 2).collect(),
        tank: (0..n).map(|i| i % 10).collect(),
    }
}

impl Club {
    fn sets(&self, seed: u64) -> Vec<MatchedSet> {
        let Club { episodes, specimen, species, tank } = self;
        draw_controls(&RiskRows { episodes, specimen, species, tank }, seed).expect("sound rows")
    }

    /// What was drawn, by specimen: the same whatever the order of the rows.
    fn drawn(&self, seed: u64) -> BTreeMap<u64, Vec<u64>> {
        let names = |set: &MatchedSet| set.controls.iter().map(|c| self.specimen[c.row]).collect();
        self.sets(seed).iter().map(|set| (self.specimen[set.case], names(set))).collect()
    }

    fn reordered(&self, order: &[usize]) -> Club {
        let pick = |ids: &[u32]| order.iter().map(|&at| ids[at]).collect();
        Club {
            episodes: self.episodes.subset(order),
            specimen: order.iter().map(|&at| self.specimen[at]).collect(),
            species: pick(&self.species),
            tank: pick(&self.tank),
        }
    }
}

#[test]
fn controls_are_alike_elsewhere_alive_and_at_risk() {
    let club = club();
    let sets = club.sets(11);
    assert_eq!(sets.len() as u64, club.episodes.deaths());
    for set in &sets {
        assert!(set.controls.len() == CONTROLS.min(set.candidates));
        for control in &set.controls {
            assert_eq!(club.species[control.row], club.species[set.case]);
            assert_ne!(club.tank[control.row], club.tank[set.case]);
            assert!((control.age - set.age).abs() <= AGE_WINDOW_DAYS);
            assert!(control.age > club.episodes.start[control.row] && control.age <= club.episodes.stop[control.row]);
            assert!(!club.episodes.event[control.row] || control.age < club.episodes.stop[control.row]);
        }
        let mut own: Vec<u64> = set.controls.iter().map(|c| club.specimen[c.row]).collect();
        own.dedup();
        assert_eq!(own.len(), set.controls.len(), "no specimen twice");
    }
    assert!(sets.iter().any(|set| set.candidates > CONTROLS));
    // A control may later be lost itself.
    assert!(sets.iter().flat_map(|set| &set.controls).any(|control| club.episodes.event[control.row]));
}

#[test]
fn the_draw_hangs_on_the_seed_and_the_candidates_alone() {
    let club = club();
    assert_eq!(club.drawn(11), club.drawn(11));
    assert_ne!(club.drawn(11), club.drawn(12));
    let order: Vec<usize> = (0..40).map(|i| (i * 27 + 5) % 40).collect();
    assert_eq!(club.reordered(&order).drawn(11), club.drawn(11));
    // Without the other species nothing changes for this one.
    let even: Vec<usize> = (0..40).filter(|i| i % 2 == 0).collect();
    let own = club.reordered(&even).drawn(11);
    assert!(own.iter().all(|(case, controls)| club.drawn(11).get(case) == Some(controls)));
}

#[test]
fn one_candidate_more_takes_the_place_of_one_at_most() {
    let club = club();
    let fewer: Vec<usize> = (0..40).filter(|i| *i != 6).collect();
    let (all, without) = (club.drawn(11), club.reordered(&fewer).drawn(11));
    let mut changed = 0;
    for (case, controls) in &without {
        let kept = controls.iter().filter(|control| all[case].contains(control)).count();
        assert!(kept + 1 >= all[case].len(), "{case}: {controls:?} of {:?}", all[case]);
        changed += usize::from(controls != &all[case]);
    }
    assert!(changed > 0, "it is drawn for none");
}

#[test]
fn each_candidate_is_drawn_about_equally_often() {
    let club = club();
    let mut counts: BTreeMap<u64, usize> = BTreeMap::new();
    let mut candidates = 0;
    for seed in 0..2000 {
        let sets = club.sets(seed);
        let set = sets.iter().find(|set| set.candidates > CONTROLS).expect("a set with a choice");
        candidates = set.candidates;
        for control in &set.controls {
            *counts.entry(club.specimen[control.row]).or_default() += 1;
        }
    }
    assert_eq!(counts.len(), candidates);
    let expected = 2000.0 * CONTROLS as f64 / candidates as f64;
    let spread = (expected * (1.0 - CONTROLS as f64 / candidates as f64)).sqrt();
    for (specimen, count) in counts {
        assert!((count as f64 - expected).abs() < 5.0 * spread, "{specimen}: {count} of {expected}");
    }
}
