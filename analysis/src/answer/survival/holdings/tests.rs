use super::*;

type Held<'a> = (&'a str, &'a str, &'a [(&'a str, f64)]);

/// Cells "a" and "b" are a block each.
fn holdings(held: &[Held]) -> Holdings {
    let mut made = Holdings::default();
    for (cell, member, lives) in held {
        let share = made.cells.entry((*cell).to_owned()).or_default().entry((*member).to_owned()).or_default();
        for (specimen, days) in *lives {
            share.add(stable_hash(specimen), Life { days: *days, ..Life::default() });
            share.tanks.insert(stable_hash(member) as u32);
        }
    }
    for cell in ["a", "b"] {
        made.member.insert(BTreeSet::from([cell.to_owned()]));
    }
    made
}

const BEFORE: &[Held] = &[
    ("a", "ann", &[("1", 10.0)]),
    ("a", "bo", &[("2", 10.0), ("3", 20.0)]),
    ("a", "cy", &[("4", 10.0), ("5", 20.0)]),
    ("b", "ann", &[("1", 30.0)]),
    ("b", "bo", &[("6", 30.0)]),
    ("b", "di", &[("7", 30.0)]),
];

fn with(changes: &[Held]) -> Holdings {
    let mut held = BEFORE.to_vec();
    held.extend(changes);
    holdings(&held)
}

#[test]
fn a_block_changes_with_three_members_and_not_with_fewer() {
    let before = holdings(BEFORE);
    assert!(before.may_follow(&before));
    // Three members changed, but only two of them in one block.
    assert!(
        !with(&[("a", "ann", &[("1", 1.0)]), ("a", "bo", &[("2", 1.0)]), ("b", "di", &[("7", 1.0)])])
            .may_follow(&before)
    );
    let three = [("a", "ann", &[("1", 1.0)] as &[_]), ("a", "bo", &[("2", 1.0)]), ("a", "cy", &[("4", 1.0)])];
    assert!(with(&three).may_follow(&before));
    // One who comes and one who goes change it too.
    assert!(!with(&[("a", "new", &[("8", 1.0)])]).may_follow(&before));
    assert!(!holdings(&BEFORE[..5]).may_follow(&before));
}

#[test]
fn blocks_that_overlap_need_enough_in_common() {
    let before = holdings(BEFORE);
    let joined = |cells: &[&str]| cells.iter().map(|cell| (*cell).to_owned()).collect::<BTreeSet<String>>();
    // Wider blocks take nothing apart that was not printed apart already.
    let mut wider = before.clone();
    wider.member = BTreeSet::from([joined(&["a", "b"])]);
    assert!(wider.may_follow(&before));
    // Finer ones do where nobody changed anything: what is left of figures of a wider taxon that stand may be too small.
    assert!(!before.may_follow(&wider));
    let mut hidden = before.clone();
    hidden.member.clear();
    assert!(!before.may_follow(&hidden) && hidden.may_follow(&before));
    // A third cell of one member: (a, c) before and (c, b) now have only it in common.
    let third = [("c", "ann", &[("9", 5.0)] as &[_])];
    let (mut old, mut new) = (with(&third), with(&third));
    old.member = BTreeSet::from([joined(&["a", "c"]), joined(&["b"])]);
    new.member = BTreeSet::from([joined(&["a"]), joined(&["b", "c"])]);
    assert!(!new.may_follow(&old));
    assert!(old.may_follow(&old));
}

#[test]
fn sizes_of_two_members_are_not_hidden_by_the_time_of_three() {
    let before = holdings(BEFORE);
    let three = [("a", "ann", &[("1", 1.0)] as &[_]), ("a", "bo", &[("2", 1.0)]), ("a", "cy", &[("4", 1.0)])];
    let mut now = with(&three);
    for member in ["ann", "bo", "cy"] {
        assert_eq!(now.may_follow(&before), member == "ann", "{member}");
        let share = now.cells.get_mut("a").and_then(|cell| cell.get_mut(member)).expect("a share");
        share.lives.values_mut().for_each(|life| life.sizes = 7);
    }
    assert!(now.may_follow(&before));
}

#[test]
fn who_is_gone_counts_as_one_who_changed_and_nothing_of_theirs_is_kept() {
    let kept = holdings(BEFORE).without_the_gone(|member| member != "ann");
    let text = serde_json::to_string(&kept).expect("JSON");
    assert!(!text.contains(&stable_hash("1").to_string()) && text.contains(&stable_hash("2").to_string()));
    let without = |changes: &[Held]| {
        let held: Vec<Held> = BEFORE.iter().chain(changes).copied().filter(|held| held.1 != "ann").collect();
        holdings(&held)
    };
    assert!(!without(&[("a", "bo", &[("2", 1.0)])]).may_follow(&kept), "two changed one block");
    let more = [("a", "bo", &[("2", 1.0)] as &[_]), ("a", "cy", &[("4", 1.0)])];
    assert!(!without(&more).may_follow(&kept), "one is gone from the other block");
    let both = [more[0], more[1], ("b", "bo", &[("6", 1.0)]), ("b", "di", &[("7", 1.0)])];
    assert!(without(&both).may_follow(&kept));
}

#[test]
fn time_moved_within_a_block_changes_nothing() {
    let (mut old, mut new) = (holdings(BEFORE), holdings(BEFORE));
    let whole: BTreeSet<String> = ["a", "b"].into_iter().map(str::to_owned).collect();
    old.member = BTreeSet::from([whole.clone()]);
    new.member = BTreeSet::from([whole]);
    let [a, b] = ["a", "b"].map(|cell| new.cells[cell]["ann"].clone());
    new.cells.get_mut("a").unwrap().insert("ann".to_owned(), b);
    new.cells.get_mut("b").unwrap().insert("ann".to_owned(), a);
    assert!(new.may_follow(&old));
}
