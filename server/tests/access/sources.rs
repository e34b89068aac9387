//! Where the checks of access stand, read from the sources: the mutation test takes each of them out, and a decision that
//! is none of them is found here.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Receivers and methods of the access module that give a scope, a holder or rows: each call is a check.
const RECEIVERS: [&str; 3] = ["caller", "scope", "desk"];
const METHODS: [&str; 9] =
    ["administers", "records", "holds", "audience", "signed_in", "upload", "uploads", "owner", "keeper"];

/// Calls that narrow nothing: statistics ask with a pooled scope, which is nobody's own.
const POOLED: [&str; 2] = ["src/answer.rs", "src/answer/load.rs"];

/// One check.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Check {
    /// As the mutation names it: a name, or `FILE:LINE` from the repository's root.
    pub key: String,
    /// `FILE:LINE` from the crate's folder.
    pub place: String,
    /// What is asked there.
    pub what: String,
}

impl Check {
    /// Whether it is a call that gives a scope, a holder or rows, not a condition with a name.
    #[allow(dead_code, reason = "the mutation alone asks")]
    pub fn is_call(&self) -> bool {
        self.key.starts_with("server/")
    }
}

fn files(folder: &Path, all: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, all);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            all.push(path);
        }
    }
}

/// Each file of the crate from its folder on, with its lines up to its unit tests.
fn sources() -> Vec<(String, Vec<String>)> {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let mut all = Vec::new();
    files(&root.join("src"), &mut all);
    all.sort();
    let read = |path: PathBuf| {
        let text = std::fs::read_to_string(&path).unwrap();
        let lines = text.lines().take_while(|line| !line.starts_with("#[cfg(test)]")).map(str::to_owned).collect();
        (path.strip_prefix(&root).unwrap().to_str().unwrap().to_owned(), lines)
    };
    all.into_iter().map(read).collect()
}

/// Every check of the crate, in the order of the sources.
pub fn checks() -> Vec<Check> {
    let mut all = Vec::new();
    for (file, lines) in sources() {
        if file.starts_with("src/command") || POOLED.contains(&file.as_str()) {
            continue;
        }
        for (number, line) in lines.iter().enumerate() {
            let place = format!("{file}:{}", number + 1);
            if line.trim_start().starts_with("//") {
                continue;
            }
            for receiver in RECEIVERS {
                for method in METHODS {
                    let call = format!("{receiver}.{method}(");
                    let begins = line.find(&call).filter(|at| {
                        !line[..*at]
                            .ends_with(|letter: char| letter.is_alphanumeric() || letter == '_' || letter == '.')
                    });
                    if let Some(at) = begins {
                        let said: String = line[at..].chars().take_while(|letter| *letter != ')').collect();
                        all.push(Check {
                            key: format!("server/{place}"),
                            place: place.clone(),
                            what: format!("{said})"),
                        });
                    }
                }
            }
        }
        named(&file, &lines, &mut all);
    }
    all
}

/// The checks that have a name, which may stand in the line after the word.
fn named(file: &str, lines: &[String], all: &mut Vec<Check>) {
    for (number, line) in lines.iter().enumerate().filter(|(_, line)| !line.trim_start().starts_with("//")) {
        for word in ["check!(", "check_row!("] {
            let here = line
                .find(word)
                .filter(|at| !line[..*at].ends_with(|letter: char| letter.is_alphanumeric() || letter == '_'));
            let Some(at) = here else { continue };
            let rest = line[at + word.len()..].trim();
            let rest = if rest.is_empty() { lines.get(number + 1).map_or("", |next| next.trim()) } else { rest };
            if let Some(name) = rest.strip_prefix('"').and_then(|rest| rest.split('"').next()) {
                let place = format!("{file}:{}", number + 1);
                all.push(Check { key: name.to_owned(), place, what: name.to_owned() });
            }
        }
    }
}

#[test]
fn each_check_has_a_name_or_place_of_its_own() {
    let all = checks();
    assert!(all.len() > 60, "{} checks", all.len());
    let keys: BTreeSet<&str> = all.iter().map(|check| check.key.as_str()).collect();
    for key in &keys {
        let here: Vec<&Check> = all.iter().filter(|check| check.key == *key).collect();
        assert_eq!(here.len(), 1, "{here:?}: two checks in one line, or of one name, cannot be told apart");
    }
}

#[test]
fn nothing_but_the_access_module_looks_at_roles_and_rights() {
    // Files that pass on who asks, and decide nothing by it; how often each may.
    let shown = [
        ("src/route/me.rs", 5),
        ("src/route/session.rs", 3),
        ("src/route/own_tokens.rs", 2),
        ("src/route/parameters.rs", 1),
        ("src/route/statistics.rs", 1),
        ("src/upload/hand_in.rs", 1),
    ];
    let words = ["holder.role", "holder.rights", "holder.keeper", "holder.account_id", ".holder()", "caller.role()"];
    for (file, lines) in sources() {
        if file.starts_with("src/access") || file.starts_with("src/command") {
            continue;
        }
        let found = lines.iter().filter(|line| words.iter().any(|word| line.contains(word))).count();
        let allowed = shown.iter().find(|(of, _)| *of == file).map_or(0, |(_, count)| *count);
        assert!(found <= allowed, "{file}: {found} lines look at who asks; ask the access module instead");
    }
}

#[test]
fn every_refusal_of_the_access_module_stands_behind_a_check() {
    let refusals = [
        "Kind::Forbidden",
        "Kind::Unauthorised",
        "Kind::CrossSite",
        "Kind::HttpsNeeded",
        "Kind::WrongPassword",
        "Kind::AlreadySetUp",
        "Kind::UnknownUpload",
        "Kind::UnknownLink",
        "Kind::UnknownInvitation",
        "Kind::NotPublished",
        "forbidden()",
        "unauthorised(",
        "cross_site(",
        "refused()",
        "unknown()",
    ];
    // What is refused where the thing is not there at all, or nobody said who they are: there is nothing to let pass.
    let none = ["src/access/withdrawal.rs"];
    for (file, lines) in sources().into_iter().filter(|(file, _)| file.starts_with("src/access/")) {
        if none.contains(&file.as_str()) {
            continue;
        }
        for (number, line) in lines.iter().enumerate() {
            let code = line.trim_start();
            let refuses = refusals.iter().any(|word| code.contains(word)) && !code.starts_with("//");
            if !refuses || code.starts_with("fn ") || code.starts_with("pub") {
                continue;
            }
            let (from, to) = (number.saturating_sub(22), (number + 4).min(lines.len()));
            let behind = lines[from..to].iter().any(|line| {
                [
                    "check!(",
                    "check_row!(",
                    "mutation::here()",
                    "self.within()",
                    "self.somebody()",
                    "token::find(",
                    "match (holder.role",
                ]
                .iter()
                .any(|word| line.contains(word))
            });
            let defines = lines[from..=number].iter().rev().find(|line| line.contains("fn "));
            let own = defines.is_some_and(|line| {
                [
                    "fn forbidden",
                    "fn cross_site",
                    "fn refused",
                    "fn unknown",
                    "fn bearer",
                    "fn somebody",
                    "fn one",
                    "fn revoke",
                ]
                .iter()
                .any(|name| line.contains(name))
            });
            assert!(behind || own, "{file}:{}: {code}: refused without a named check", number + 1);
        }
    }
}

#[test]
fn secrets_expire_by_the_clock_of_the_database_alone() {
    for (file, lines) in sources().into_iter().filter(|(file, _)| file.starts_with("src/access/")) {
        for (number, line) in lines.iter().enumerate() {
            for clock in ["Utc::now", "Local::now", "SystemTime", "Instant::now"] {
                assert!(!line.contains(clock), "{file}:{}: this machine's clock", number + 1);
            }
        }
    }
}
