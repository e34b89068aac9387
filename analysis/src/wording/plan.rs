//! What to record, in words. No plan tells anybody to change water, buy corals or lose any.

use crate::answer::PlanStep;

/// The end of every plan.
pub const CLOSING: &str = "Do not change your water or buy corals to fill a gap.";

/// The steps as one text.
pub fn sentence(steps: &[PlanStep]) -> String {
    let mut text = "Cannot tell yet.".to_owned();
    for step in steps.iter().filter(|step| !step.sentence.is_empty()) {
        text.push(' ');
        text.push_str(&step.sentence);
    }
    format!("{text} {CLOSING}")
}

/// How steps are said.
pub struct Step {
    /// Exact readers.
    pub exact: bool,
}

/// A number of coral-years, whole from ten on.
fn years(years: f64) -> String {
    if years >= 9.5 {
        format!("{years:.0} coral-years")
    } else if years >= 0.95 {
        format!("{years:.1} coral-years")
    } else {
        "less than one coral-year".to_owned()
    }
}

impl Step {
    /// Open questions.
    pub fn held(&self, questions: Option<u64>, freed: Option<f64>) -> String {
        let count = match questions {
            Some(1) => "1 held question".to_owned(),
            Some(n) => format!("{n} held questions"),
            None => "A few held questions".to_owned(),
        };
        match freed {
            Some(freed) if freed > 0.0 => format!("{count} would free {} already logged.", years(freed)),
            // None of the time logged hangs on them.
            _ if questions == Some(1) => format!("{count} is open."),
            _ => format!("{count} are open."),
        }
    }

    /// Keepers who test rarely.
    pub fn rare_tests(&self, keepers: Option<u64>) -> String {
        match keepers {
            Some(1) => "1 member who keeps this coral tests less than monthly.".to_owned(),
            Some(n) => format!("{n} members who keep this coral test less than monthly."),
            None => "A few members who keep this coral test less than monthly.".to_owned(),
        }
    }

    /// Time still to come.
    pub fn wait(&self, left: f64) -> String {
        if left <= 0.0 {
            "What is logged would then be about enough.".to_owned()
        } else {
            format!("After that, roughly {} more from tanks already at these values.", years(left))
        }
    }
}
