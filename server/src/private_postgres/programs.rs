//! Finds the installed PostgreSQL programs. Never installs or downloads anything.

use super::error::PostgresError;
use std::{
    env, fs,
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

/// The oldest major version that the schema is written for.
pub(super) const OLDEST: u32 = 15;

/// Where Debian and its descendants keep the versions side by side.
const VERSIONS: &str = "/usr/lib/postgresql";

/// A folder with `postgres` and `initdb`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Programs {
    /// The resolved folder.
    pub(super) dir: PathBuf,
    /// Major version of its `postgres`.
    pub(super) major: u32,
}

impl Programs {
    /// The full path of one program.
    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.dir.join(name)
    }
}

/// The programs to use: those in `pg_bin` if given, else the first that fit of `pg_config --bindir`, the newest
/// version below `/usr/lib/postgresql`, and `PATH`. `data_version` is the major version that wrote the existing data.
pub(super) fn find(
    pg_bin: Option<&Path>,
    data_version: Option<u32>,
    cluster: &Path,
) -> Result<Programs, PostgresError> {
    let found = match pg_bin {
        Some(dir) => vec![open(dir).map_err(|reason| PostgresError::UnusablePrograms { dir: dir.to_owned(), reason })?],
        None => installed(),
    };
    if found.is_empty() {
        return Err(PostgresError::NoPrograms { looked: format!("`pg_config --bindir`, {VERSIONS}/*/bin and PATH") });
    }
    choose(found, data_version, cluster)
}

fn choose(found: Vec<Programs>, data_version: Option<u32>, cluster: &Path) -> Result<Programs, PostgresError> {
    let list = found
        .iter()
        .map(|programs| format!("{} in {}", programs.major, programs.dir.display()))
        .collect::<Vec<_>>()
        .join(", ");
    match data_version {
        Some(data) => found
            .into_iter()
            .find(|programs| programs.major == data)
            .ok_or_else(|| PostgresError::OtherVersion { data, found: list, dir: cluster.to_owned() }),
        None => found
            .into_iter()
            .find(|programs| programs.major >= OLDEST)
            .ok_or(PostgresError::TooOld { found: list, needed: OLDEST }),
    }
}

/// All usable folders, best first, each once.
fn installed() -> Vec<Programs> {
    let mut found: Vec<Programs> = Vec::new();
    for dir in candidates() {
        if let Ok(programs) = open(&dir)
            && !found.contains(&programs)
        {
            found.push(programs);
        }
    }
    found
}

fn candidates() -> Vec<PathBuf> {
    let mut dirs = Vec::new();
    if let Ok(answer) = Command::new("pg_config").arg("--bindir").stdin(Stdio::null()).output()
        && let Ok(dir) = String::from_utf8(answer.stdout)
        && !dir.trim().is_empty()
    {
        dirs.push(PathBuf::from(dir.trim()));
    }
    dirs.extend(versions(Path::new(VERSIONS)));
    if let Some(path) = env::var_os("PATH") {
        // A program found through a link looks for its companions beside the real file.
        dirs.extend(
            env::split_paths(&path)
                .filter_map(|dir| fs::canonicalize(dir.join("postgres")).ok()?.parent().map(Path::to_owned)),
        );
    }
    dirs
}

/// `<root>/<version>/bin`, the newest version first.
fn versions(root: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(root) else {
        return Vec::new();
    };
    let mut numbered: Vec<(u32, PathBuf)> = entries
        .flatten()
        .filter_map(|entry| {
            let number = entry.file_name().to_str()?.split('.').next()?.parse().ok()?;
            Some((number, entry.path().join("bin")))
        })
        .collect();
    numbered.sort_by(|left, right| right.cmp(left));
    numbered.into_iter().map(|(_, dir)| dir).collect()
}

/// Reads the folder's version; the error says what is wrong with the folder.
fn open(dir: &Path) -> Result<Programs, String> {
    let dir = fs::canonicalize(dir).map_err(|error| format!("the folder cannot be opened ({error})"))?;
    for name in ["postgres", "initdb"] {
        if !dir.join(name).is_file() {
            return Err(format!("there is no program {name} in this folder"));
        }
    }
    let answer = Command::new(dir.join("postgres"))
        .arg("--version")
        .stdin(Stdio::null())
        .output()
        .map_err(|error| format!("the program postgres in this folder does not run ({error})"))?;
    let line = String::from_utf8_lossy(&answer.stdout).into_owned();
    major(&line)
        .map(|major| Programs { dir, major })
        .ok_or_else(|| format!("the program postgres in this folder gives no version (`{}`)", line.trim()))
}

/// 15 from `postgres (PostgreSQL) 15.18 (Debian …)`, 19 from `postgres (PostgreSQL) 19beta1`.
fn major(line: &str) -> Option<u32> {
    let rest = line.trim().strip_prefix("postgres (PostgreSQL) ")?;
    let digits = rest.len() - rest.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    rest[..digits].parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn programs(major: u32) -> Programs {
        Programs { dir: format!("/opt/{major}").into(), major }
    }

    #[test]
    fn the_version_line_is_read() {
        assert_eq!(major("postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)\n"), Some(15));
        assert_eq!(major("postgres (PostgreSQL) 19beta1"), Some(19));
        assert_eq!(major("something else 15.1"), None);
        assert_eq!(major(""), None);
    }

    #[test]
    fn existing_data_decide_the_version() {
        let both = vec![programs(17), programs(15)];
        let dir = Path::new("/data");
        assert_eq!(choose(both.clone(), Some(15), dir).unwrap().major, 15);
        assert_eq!(choose(both.clone(), None, dir).unwrap().major, 17);
        let error = choose(both, Some(16), dir).unwrap_err().to_string();
        assert!(error.contains("PostgreSQL 16, /data"), "{error}");
        assert!(error.contains("apt-get install postgresql-16"), "{error}");
    }

    #[test]
    fn too_old_is_said_with_what_was_found() {
        let error = choose(vec![programs(13)], None, Path::new("/data")).unwrap_err().to_string();
        assert!(error.contains("15 or newer"), "{error}");
        assert!(error.contains("13 in /opt/13"), "{error}");
    }

    #[test]
    fn the_newest_version_comes_first_by_number_not_by_letter() {
        let root = tempfile::tempdir().unwrap();
        for name in ["9.6", "15", "100", "notes"] {
            fs::create_dir(root.path().join(name)).unwrap();
        }
        let names: Vec<_> =
            versions(root.path()).iter().map(|dir| dir.parent().unwrap().file_name().unwrap().to_owned()).collect();
        assert_eq!(names, ["100", "15", "9.6"]);
    }

    #[test]
    fn a_named_folder_without_programs_is_an_error_of_its_own() {
        let empty = tempfile::tempdir().unwrap();
        let error = find(Some(empty.path()), None, Path::new("/data")).unwrap_err();
        assert!(matches!(error, PostgresError::UnusablePrograms { .. }));
        assert!(error.to_string().contains("no program postgres"), "{error}");
    }
}
