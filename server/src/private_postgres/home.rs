//! The directories of one private Postgres and the lock that keeps a second strandline out.
//!
//! ```text
//! <home>/lock            held while a strandline uses the directory; names its process
//! <home>/cluster/        the database (cluster.new/ while initdb works)
//! <home>/run/            the socket, unless the path is too long for one
//! <home>/postgres.log    what the server says; postgres.log.old before it
//! ```
//! `home` belongs to whoever runs strandline; `cluster` and `run` to the user who runs Postgres, mode 0700.

use super::{error::PostgresError, owner::Owner};
use nix::{fcntl::OFlag, unistd::geteuid};
use sha2::{Digest, Sha256};
use std::{
    env, fs,
    fs::{File, OpenOptions, Permissions, TryLockError},
    io::{self, Read, Seek, SeekFrom, Write},
    os::unix::{
        ffi::OsStrExt,
        fs::{MetadataExt, OpenOptionsExt, PermissionsExt},
    },
    path::{Path, PathBuf},
};

/// The longest path a Unix socket can have, in bytes (`sun_path` of Linux less the closing NUL).
const LONGEST_SOCKET: usize = 107;

/// The socket's name; the port in it is a name only, nothing listens on TCP.
const SOCKET: &str = ".s.PGSQL.5432";

/// The log is set aside at a start when it has grown beyond this.
const LONGEST_LOG: u64 = 10 * 1024 * 1024;

/// One data directory, locked.
#[derive(Debug)]
pub(super) struct Home {
    dir: PathBuf,
    _lock: File,
}

impl Home {
    /// Makes the directory where it is missing, resolves it, and takes its lock.
    pub(super) fn open(dir: &Path) -> Result<Self, PostgresError> {
        // Root's Postgres runs as somebody else, who has to pass through; only the names inside stay hidden.
        let mode = if geteuid().is_root() { 0o711 } else { 0o700 };
        make_all(dir, mode).map_err(|source| PostgresError::File {
            action: "make the data directory",
            path: dir.to_owned(),
            source,
            remedy: "choose one you may write to, with STRANDLINE_DATA or --data",
        })?;
        let dir = fs::canonicalize(dir).map_err(|source| PostgresError::File {
            action: "open the data directory",
            path: dir.to_owned(),
            source,
            remedy: "choose another one with STRANDLINE_DATA or --data",
        })?;
        let lock = lock(&dir)?;
        Ok(Self { dir, _lock: lock })
    }

    pub(super) fn dir(&self) -> &Path {
        &self.dir
    }

    pub(super) fn cluster(&self) -> PathBuf {
        cluster_of(&self.dir)
    }

    pub(super) fn log(&self) -> PathBuf {
        self.dir.join("postgres.log")
    }

    /// The major version that wrote the cluster; `None` before there is one.
    pub(super) fn data_version(&self) -> Result<Option<u32>, PostgresError> {
        version_of(&self.cluster())
    }

    /// Opens the log for the server to write to, after setting an overgrown one aside. Returns its present length too.
    pub(super) fn open_log(&self) -> Result<(File, u64), PostgresError> {
        let path = self.log();
        let fail = |action| {
            let path = path.clone();
            move |source| PostgresError::File {
                action,
                path,
                source,
                remedy: "see that the directory is yours and its disk is not full",
            }
        };
        if fs::symlink_metadata(&path).is_ok_and(|metadata| metadata.len() > LONGEST_LOG) {
            fs::rename(&path, self.dir.join("postgres.log.old")).map_err(fail("set the old log aside"))?;
        }
        let file = options().append(true).open(&path).map_err(fail("open the log"))?;
        let length = file.metadata().map_err(fail("open the log"))?.len();
        Ok((file, length))
    }

    /// The directory of the socket, made if missing: `run` in the home, or a short one elsewhere when that path is too
    /// long or holds characters that a socket's name cannot have.
    pub(super) fn socket_dir(&self, owner: &Owner) -> Result<PathBuf, PostgresError> {
        let run = self.dir.join("run");
        if fits(&run) {
            private_dir(&run, owner)?;
            return Ok(run);
        }
        let short = self.short_dir(owner);
        private_dir(&short, owner)?;
        Ok(short)
    }

    /// Below `XDG_RUNTIME_DIR` for an ordinary user who has a usable one, else below `/tmp`. The name is the data
    /// directory's own, so that the next start finds it again.
    fn short_dir(&self, owner: &Owner) -> PathBuf {
        let digest = Sha256::digest(self.dir.as_os_str().as_bytes());
        let code: String = digest[..6].iter().map(|byte| format!("{byte:02x}")).collect();
        let name = format!("strandline-{}-{code}", owner.uid());
        if !geteuid().is_root()
            && let Some(runtime) = env::var_os("XDG_RUNTIME_DIR").map(PathBuf::from)
            && runtime.is_absolute()
            && fs::metadata(&runtime).is_ok_and(|metadata| metadata.is_dir() && metadata.uid() == owner.uid())
            && fits(&runtime.join(&name))
        {
            return runtime.join(name);
        }
        Path::new("/tmp").join(name)
    }
}

/// Removes what a killed server left in its socket directory: it would be taken for a running one.
pub(super) fn clear_socket(dir: &Path) -> Result<(), PostgresError> {
    for name in [SOCKET.to_owned(), format!("{SOCKET}.lock")] {
        remove(&dir.join(name))?;
    }
    Ok(())
}

/// Removes a file; one that is not there is as good.
pub(super) fn remove(path: &Path) -> Result<(), PostgresError> {
    match fs::remove_file(path) {
        Err(source) if source.kind() != io::ErrorKind::NotFound => Err(PostgresError::File {
            action: "remove a file left by a killed PostgreSQL",
            path: path.to_owned(),
            source,
            remedy: "run strandline as the user who owns it",
        }),
        _ => Ok(()),
    }
}

/// Whether a socket in `dir` has a path that the system takes and that no list of directories would split.
fn fits(dir: &Path) -> bool {
    dir.as_os_str().len() + 1 + SOCKET.len() <= LONGEST_SOCKET
        && dir.to_str().is_some_and(|text| !text.contains([',', '"', '\\']) && text.trim() == text)
}

/// Makes `dir` 0700 for `owner`, or checks that an existing one is exactly that.
fn private_dir(dir: &Path, owner: &Owner) -> Result<(), PostgresError> {
    match fs::create_dir(dir) {
        Ok(()) => {
            owner.own(dir)?;
            fs::set_permissions(dir, Permissions::from_mode(0o700)).map_err(|source| PostgresError::File {
                action: "close the socket's directory to others",
                path: dir.to_owned(),
                source,
                remedy: "choose a directory on another file system, with STRANDLINE_DATA",
            })
        }
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => check_private(dir, owner),
        Err(source) => Err(PostgresError::File {
            action: "make the socket's directory",
            path: dir.to_owned(),
            source,
            remedy: "see that the directory above it is writable and its disk is not full",
        }),
    }
}

fn check_private(dir: &Path, owner: &Owner) -> Result<(), PostgresError> {
    let unsafe_because = |reason: String| PostgresError::UnsafeSocketDirectory { dir: dir.to_owned(), reason };
    // Of the link itself: somebody else's link in /tmp must not lead us anywhere.
    let metadata = fs::symlink_metadata(dir)
        .map_err(|error| unsafe_because(format!("the socket's directory cannot be looked at ({error})")))?;
    if !metadata.is_dir() {
        Err(unsafe_because("the socket's place is taken by something that is no directory".into()))
    } else if metadata.uid() != owner.uid() {
        Err(unsafe_because(format!(
            "the socket's directory belongs to user number {}, not {}",
            metadata.uid(),
            owner.uid()
        )))
    } else if metadata.mode() & 0o077 != 0 {
        Err(unsafe_because(format!("the socket's directory is open to others (mode {:03o})", metadata.mode() & 0o777)))
    } else {
        Ok(())
    }
}

/// Private files that never follow a link: root may be working in somebody else's directory.
fn options() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.create(true).mode(0o600).custom_flags(OFlag::O_NOFOLLOW.bits());
    options
}

fn lock(dir: &Path) -> Result<File, PostgresError> {
    let path = dir.join("lock");
    let fail = |source| PostgresError::File {
        action: "lock the data directory",
        path: path.clone(),
        source,
        remedy: "run strandline as the user who owns it, or choose another directory with STRANDLINE_DATA",
    };
    let mut file = options().read(true).write(true).open(&path).map_err(fail)?;
    match file.try_lock() {
        Ok(()) => {
            // The number is for the other's message only; the lock itself is what counts.
            file.set_len(0).map_err(fail)?;
            file.seek(SeekFrom::Start(0)).map_err(fail)?;
            writeln!(file, "{}", std::process::id()).map_err(fail)?;
            Ok(file)
        }
        Err(TryLockError::WouldBlock) => {
            let mut text = String::new();
            let pid = file.read_to_string(&mut text).ok().and_then(|_| text.trim().parse().ok());
            Err(PostgresError::Busy { dir: dir.to_owned(), pid })
        }
        Err(TryLockError::Error(source)) => Err(fail(source)),
    }
}

/// Makes a directory and its missing parents with exactly this mode, whatever the umask.
fn make_all(dir: &Path, mode: u32) -> io::Result<()> {
    if dir.is_dir() {
        return Ok(());
    }
    if let Some(parent) = dir.parent().filter(|parent| !parent.as_os_str().is_empty()) {
        make_all(parent, mode)?;
    }
    match fs::create_dir(dir) {
        Ok(()) => fs::set_permissions(dir, Permissions::from_mode(mode)),
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists && dir.is_dir() => Ok(()),
        Err(error) => Err(error),
    }
}

/// Where the cluster of a directory is.
pub(super) fn cluster_of(dir: &Path) -> PathBuf {
    dir.join("cluster")
}

/// The major version that wrote a cluster; `None` before there is one. It may be in use.
pub(super) fn version_of(cluster: &Path) -> Result<Option<u32>, PostgresError> {
    let path = cluster.join("PG_VERSION");
    match fs::read_to_string(&path) {
        Ok(text) => match text.trim().parse() {
            Ok(version) => Ok(Some(version)),
            Err(_) => Err(PostgresError::File {
                action: "read the database's version",
                path,
                source: io::Error::new(io::ErrorKind::InvalidData, format!("it reads `{}`", text.trim())),
                remedy: "restore the directory from a backup",
            }),
        },
        Err(error) if error.kind() == io::ErrorKind::NotFound && !cluster.exists() => Ok(None),
        Err(source) => Err(PostgresError::File {
            action: "read the database's version",
            path,
            source,
            remedy: "restore the directory from a backup, or choose another one with STRANDLINE_DATA",
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_socket_path_fits_up_to_its_last_byte() {
        let longest = LONGEST_SOCKET - SOCKET.len() - 1;
        assert!(fits(Path::new(&format!("/{}", "x".repeat(longest - 1)))));
        assert!(!fits(Path::new(&format!("/{}", "x".repeat(longest)))));
        assert!(!fits(Path::new("/reef, club/run")));
        assert!(fits(Path::new("/reef club/run")));
    }

    #[test]
    fn missing_parents_are_made_with_the_mode() {
        let root = tempfile::tempdir().unwrap();
        let dir = root.path().join("a/b");
        make_all(&dir, 0o711).unwrap();
        for made in [root.path().join("a"), dir] {
            assert_eq!(fs::metadata(made).unwrap().mode() & 0o777, 0o711);
        }
    }

    #[test]
    fn a_second_lock_names_the_holder() {
        let root = tempfile::tempdir().unwrap();
        let held = lock(root.path()).unwrap();
        let error = lock(root.path()).unwrap_err();
        assert!(matches!(error, PostgresError::Busy { pid: Some(pid), .. } if pid == std::process::id()));
        drop(held);
        lock(root.path()).unwrap();
    }

    #[test]
    fn a_link_in_place_of_the_lock_is_not_followed() {
        let root = tempfile::tempdir().unwrap();
        let victim = root.path().join("victim");
        fs::write(&victim, "precious").unwrap();
        std::os::unix::fs::symlink(&victim, root.path().join("lock")).unwrap();
        assert!(matches!(lock(root.path()), Err(PostgresError::File { .. })));
        assert_eq!(fs::read_to_string(&victim).unwrap(), "precious");
    }

    #[test]
    fn an_overgrown_log_is_set_aside() {
        let root = tempfile::tempdir().unwrap();
        let home = Home::open(root.path()).unwrap();
        File::create(home.log()).unwrap().set_len(LONGEST_LOG + 1).unwrap();
        let (_, length) = home.open_log().unwrap();
        assert_eq!(length, 0);
        assert!(home.dir().join("postgres.log.old").exists());
    }

    #[test]
    fn a_directory_open_to_others_is_not_used_for_the_socket() {
        let root = tempfile::tempdir().unwrap();
        let owner = Owner::of(&root.path().join("cluster")).unwrap();
        let dir = root.path().join("run");
        private_dir(&dir, &owner).unwrap();
        private_dir(&dir, &owner).unwrap();
        fs::set_permissions(&dir, Permissions::from_mode(0o755)).unwrap();
        let error = private_dir(&dir, &owner).unwrap_err().to_string();
        assert!(error.contains("mode 755"), "{error}");
        let link = root.path().join("link");
        std::os::unix::fs::symlink(&dir, &link).unwrap();
        assert!(private_dir(&link, &owner).is_err());
    }
}
