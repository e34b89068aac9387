//! Who is behind a process number, read from `/proc`. Never signals anyone.

use std::{fs, io, os::unix::ffi::OsStrExt, path::Path};

/// What a process number from an old `postmaster.pid` stands for now.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Process {
    /// No such process, or one that has ended and waits to be reaped.
    Gone,
    /// A postmaster on the given cluster.
    Ours,
    /// Somebody else's process that got the same number.
    Stranger,
    /// A PostgreSQL, or a process we may not look at: cannot be told.
    Unknown,
}

/// Looks at `pid` and says what it is to the cluster directory `cluster` (an absolute, resolved path).
pub(super) fn look(pid: u32, cluster: &Path) -> Process {
    let proc = Path::new("/proc").join(pid.to_string());
    let stat = match fs::read_to_string(proc.join("stat")) {
        Ok(stat) => stat,
        // Without /proc (not Linux) nothing can be told.
        Err(error) if error.kind() == io::ErrorKind::NotFound && Path::new("/proc/self").exists() => {
            return Process::Gone;
        }
        Err(_) => return Process::Unknown,
    };
    // `pid (comm) state …`; the name may itself hold brackets and blanks.
    let Some((name, rest)) = stat.split_once('(').and_then(|(_, tail)| tail.rsplit_once(')')) else {
        return Process::Unknown;
    };
    if matches!(rest.trim_start().chars().next(), Some('Z' | 'X')) {
        return Process::Gone;
    }
    if name != "postgres" {
        return Process::Stranger;
    }
    match fs::read(proc.join("cmdline")) {
        Ok(line) if names_cluster(&line, cluster) => return Process::Ours,
        Ok(_) => {}
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Process::Gone,
        Err(_) => return Process::Unknown,
    }
    // Started without -D: every process of a PostgreSQL works inside its cluster.
    match fs::read_link(proc.join("cwd")) {
        Ok(cwd) if cwd == cluster => Process::Ours,
        Ok(_) => Process::Stranger,
        Err(_) => Process::Unknown,
    }
}

/// Whether a NUL-separated command line has `-D cluster` or `-Dcluster`.
fn names_cluster(line: &[u8], cluster: &Path) -> bool {
    let cluster = cluster.as_os_str().as_bytes();
    let words: Vec<&[u8]> = line.split(|&byte| byte == 0).collect();
    words.windows(2).any(|pair| pair[0] == b"-D" && pair[1] == cluster)
        || words.iter().any(|word| word.strip_prefix(b"-D") == Some(cluster))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::process::{Command, Stdio};

    #[test]
    fn a_command_line_names_its_cluster() {
        let cluster = Path::new("/data/with blank");
        assert!(names_cluster(b"/bin/postgres\0-D\0/data/with blank\0-k\0/run\0", cluster));
        assert!(names_cluster(b"postgres\0-D/data/with blank\0", cluster));
        assert!(!names_cluster(b"postgres\0-D\0/data\0", cluster));
        assert!(!names_cluster(b"postgres\0/data/with blank\0", cluster));
        assert!(!names_cluster(b"", cluster));
    }

    #[test]
    fn another_program_with_the_number_is_a_stranger() {
        assert_eq!(look(std::process::id(), Path::new("/nowhere")), Process::Stranger);
    }

    #[test]
    fn an_ended_child_is_gone_before_and_after_it_is_reaped() {
        let mut child = Command::new("true").stdin(Stdio::null()).spawn().unwrap();
        let pid = child.id();
        // Not reaped yet: it is a zombie as soon as it has ended.
        let started = std::time::Instant::now();
        while look(pid, Path::new("/nowhere")) != Process::Gone {
            assert!(started.elapsed().as_secs() < 10, "`true` never ended");
            std::thread::sleep(std::time::Duration::from_millis(5));
        }
        child.wait().unwrap();
        assert_eq!(look(pid, Path::new("/nowhere")), Process::Gone);
    }
}
