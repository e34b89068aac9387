//! The weeks before losses, in words.

use crate::answer::LeadUpLine;

/// How to read the lines: how many conditions differ, and that signs may be the loss itself.
pub fn read(lines: &[LeadUpLine]) -> String {
    let apart =
        |line: &&LeadUpLine| line.lower.zip(line.upper).is_some_and(|(lower, upper)| lower > 0.0 || upper < 0.0);
    let of_kind = |kind: &str| lines.iter().filter(|line| line.kind == kind).filter(apart).count();
    let (conditions, signs) = (of_kind("condition"), of_kind("sign"));
    let compared = lines.iter().filter(|line| line.lower.is_some()).count();
    let first = if compared == 0 {
        "These records cannot tell yet what differed in the weeks before losses.".to_owned()
    } else {
        format!(
            "Of {compared} comparisons of the weeks before losses with corals of the same age in other tanks, {} of \
             conditions and {} of signs have limits on one side of 0; one in twenty would by chance.",
            conditions, signs
        )
    };
    format!("{first} How a coral looked in the last weeks may be the loss itself beginning; it is no condition.")
}
