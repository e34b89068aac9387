//! The embedded steps are part of the crate: a new or changed one builds it anew.

fn main() {
    println!("cargo:rerun-if-changed=sql");
}
