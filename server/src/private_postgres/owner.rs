//! The operating-system user that runs Postgres, and what that user may reach.
//!
//! An ordinary user runs it as themselves. Root never does: Postgres refuses it, so the owner of existing data, else
//! `postgres`, else `nobody` takes its place.

use super::error::PostgresError;
use nix::unistd::{Uid, User, getegid, geteuid};
use std::{
    fs,
    os::unix::{
        fs::{MetadataExt, chown},
        process::CommandExt,
    },
    path::Path,
    process::Command,
};

/// A user to run programs as.
#[derive(Debug, Clone)]
pub(super) struct Owner {
    uid: u32,
    gid: u32,
    name: String,
    /// Whether this process has to change to that user (it is root).
    drop: bool,
}

impl Owner {
    /// The user for `cluster`, which need not exist yet.
    pub(super) fn of(cluster: &Path) -> Result<Self, PostgresError> {
        let me = geteuid();
        let existing = match fs::metadata(cluster) {
            Ok(metadata) => Some((metadata.uid(), metadata.gid())),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => None,
            Err(source) => {
                return Err(PostgresError::File {
                    action: "look at the database",
                    path: cluster.to_owned(),
                    source,
                    remedy: "run strandline as the user who made it, or choose another directory with STRANDLINE_DATA",
                });
            }
        };
        if !me.is_root() {
            return match existing {
                Some((uid, _)) if uid != me.as_raw() => {
                    Err(PostgresError::NotOwner { owner: name_of(uid), dir: cluster.to_owned() })
                }
                _ => Ok(Self { uid: me.as_raw(), gid: getegid().as_raw(), name: name_of(me.as_raw()), drop: false }),
            };
        }
        match existing {
            Some((0, _)) => Err(PostgresError::OwnedByRoot { user: unprivileged()?.name, dir: cluster.to_owned() }),
            Some((uid, gid)) => Ok(Self { uid, gid, name: name_of(uid), drop: true }),
            None => unprivileged(),
        }
    }

    /// The user's number.
    pub(super) fn uid(&self) -> u32 {
        self.uid
    }

    /// A command that runs as this user, outside the terminal's process group, with an environment of its own.
    ///
    /// Ctrl-C in a terminal goes to the whole group: Postgres must end after strandline's last transaction, not with it.
    pub(super) fn command(&self, program: &Path) -> Command {
        let mut command = Command::new(program);
        command
            .env_clear()
            .env("LC_ALL", "C.UTF-8")
            .env("PATH", "/usr/local/bin:/usr/bin:/bin")
            .current_dir("/")
            .process_group(0);
        if self.drop {
            // The standard library also drops root's supplementary groups.
            command.gid(self.gid).uid(self.uid);
        }
        command
    }

    /// Gives a path that was just made to this user.
    pub(super) fn own(&self, path: &Path) -> Result<(), PostgresError> {
        if !self.drop {
            return Ok(());
        }
        chown(path, Some(self.uid), Some(self.gid)).map_err(|source| PostgresError::File {
            action: "give the directory to the user who runs PostgreSQL",
            path: path.to_owned(),
            source,
            remedy: "choose a directory on a file system that keeps owners, with STRANDLINE_DATA",
        })
    }

    /// Checks that every directory from the root down to `to` (resolved, no links) lets this user through.
    pub(super) fn reaches(&self, to: &Path, remedy: impl Fn(&Path) -> String) -> Result<(), PostgresError> {
        if !self.drop {
            return Ok(());
        }
        let mut ancestors: Vec<&Path> = to.ancestors().collect();
        ancestors.reverse();
        for dir in ancestors {
            let metadata = fs::metadata(dir).map_err(|source| PostgresError::File {
                action: "look at a directory",
                path: dir.to_owned(),
                source,
                remedy: "choose another directory with STRANDLINE_DATA",
            })?;
            if metadata.is_dir() && !self.may_enter(metadata.uid(), metadata.gid(), metadata.mode()) {
                return Err(PostgresError::Untraversable {
                    blocked: dir.to_owned(),
                    to: to.to_owned(),
                    user: self.name.clone(),
                    remedy: remedy(dir),
                });
            }
        }
        Ok(())
    }

    /// The x bit that counts for this user: the owner's, else the group's, else everybody's.
    fn may_enter(&self, uid: u32, gid: u32, mode: u32) -> bool {
        let bit = if uid == self.uid {
            0o100
        } else if gid == self.gid {
            0o010
        } else {
            0o001
        };
        mode & bit != 0
    }
}

fn unprivileged() -> Result<Owner, PostgresError> {
    ["postgres", "nobody"]
        .into_iter()
        .find_map(|name| User::from_name(name).ok().flatten())
        .map(|user| Owner { uid: user.uid.as_raw(), gid: user.gid.as_raw(), name: user.name, drop: true })
        .ok_or(PostgresError::NoUser)
}

fn name_of(uid: u32) -> String {
    match User::from_uid(Uid::from_raw(uid)) {
        Ok(Some(user)) => user.name,
        _ => format!("number {uid}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_right_bit_of_the_mode_counts() {
        let owner = Owner { uid: 101, gid: 104, name: "postgres".into(), drop: true };
        assert!(owner.may_enter(0, 0, 0o711));
        assert!(!owner.may_enter(0, 0, 0o770));
        assert!(owner.may_enter(0, 104, 0o710));
        // The owner's own bit wins even where others may enter.
        assert!(!owner.may_enter(101, 104, 0o077));
        assert!(owner.may_enter(101, 0, 0o700));
    }
}
