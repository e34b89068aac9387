//! Imports point down only, and the core has no clock, files, database or network.

use std::process::Command;

use serde_json::Value;

fn own_dependencies() -> Vec<(String, Vec<String>)> {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--no-deps", "--offline"])
        .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
        .output()
        .expect("cargo runs");
    let metadata: Value = serde_json::from_slice(&output.stdout).expect("cargo prints JSON");
    let packages = metadata["packages"].as_array().expect("packages");
    let names: Vec<String> = packages.iter().map(|p| p["name"].as_str().unwrap_or_default().to_owned()).collect();
    packages
        .iter()
        .map(|package| {
            let own = package["dependencies"]
                .as_array()
                .expect("dependencies")
                .iter()
                .filter(|dependency| dependency["kind"].is_null())
                .filter_map(|dependency| dependency["name"].as_str())
                .filter(|name| names.iter().any(|own| own == name))
                .map(str::to_owned)
                .collect();
            (package["name"].as_str().unwrap_or_default().to_owned(), own)
        })
        .collect()
}

#[test]
fn imports_point_down_only() {
    let allowed: &[(&str, &[&str])] = &[
        ("analysis", &[]),
        ("migrations", &[]),
        ("importer", &["analysis", "migrations"]),
        ("server", &["analysis", "importer", "migrations"]),
        ("tests", &["analysis", "importer", "migrations", "server"]),
    ];
    let found = own_dependencies();
    assert_eq!(found.len(), allowed.len(), "a new crate needs a floor: {found:?}");
    for (name, own) in found {
        let (_, may) = allowed.iter().find(|(crate_name, _)| *crate_name == name).expect("every crate has a floor");
        for dependency in own {
            assert!(may.contains(&dependency.as_str()), "{name} may not use {dependency}");
        }
    }
}

#[test]
fn the_core_is_pure_and_the_importer_knows_no_http() {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
    let banned: &[(&str, &[&str])] = &[
        (
            "analysis/src",
            &["std::fs", "std::net", "std::env", "diesel", "Utc::now", "Local::now", "Instant::now", "SystemTime"],
        ),
        ("importer/src", &["actix", "reqwest", "utoipa", "std::net", "Utc::now", "Local::now"]),
        ("migrations/src", &["analysis::", "importer::"]),
    ];
    let mut files = 0;
    for (folder, words) in banned {
        let mut open = vec![std::path::Path::new(root).join(folder)];
        while let Some(folder) = open.pop() {
            for entry in std::fs::read_dir(&folder).expect("a source folder") {
                let path = entry.expect("an entry").path();
                if path.is_dir() {
                    open.push(path);
                    continue;
                }
                let text = std::fs::read_to_string(&path).expect("a source file");
                files += 1;
                for line in text.lines().filter(|line| !line.trim_start().starts_with("//")) {
                    for word in *words {
                        assert!(!line.contains(word), "{} uses {word}: {line}", path.display());
                    }
                }
            }
        }
    }
    assert!(files > 30, "only {files} files were looked at");
}
