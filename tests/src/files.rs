//! Fixtures and folders.

use std::os::unix::fs::PermissionsExt;
use std::path::PathBuf;

use tempfile::TempDir;

/// A folder that the unprivileged user who runs Postgres may enter.
///
/// # Panics
/// If the temporary folder cannot be made.
pub fn data_folder() -> TempDir {
    let folder = tempfile::Builder::new().prefix("strandline-").tempdir().expect("a temporary folder");
    std::fs::set_permissions(folder.path(), std::fs::Permissions::from_mode(0o755)).expect("own folder");
    folder
}

/// A file of `tests/fixtures`.
pub fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

/// Its content.
///
/// # Panics
/// If there is none of that name.
pub fn read_fixture(name: &str) -> Vec<u8> {
    let path = fixture(name);
    std::fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}
