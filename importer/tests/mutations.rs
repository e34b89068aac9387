//! Every sample log, bent: bits turned, pieces cut out, doubled, swapped with other logs'. No reader stops, and the laws
//! of every file hold. Seeded, so that a failure comes again.

#[path = "support/targets.rs"]
mod targets;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Mutations of each log and target.
const ROUNDS: u64 = 12;
/// Bytes of a log that is bent; larger ones show no more.
const MOST_BYTES: u64 = 24 * 1024;

/// A small generator of numbers (xorshift, Marsaglia 2003), enough to bend files.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, end: usize) -> usize {
        (self.next() % end.max(1) as u64) as usize
    }
}

fn logs(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            logs(&path, into);
        } else if !path.to_string_lossy().contains(".expected")
            && path.extension().is_some_and(|end| end != "md")
            && path.metadata().unwrap().len() <= MOST_BYTES
        {
            into.push(path);
        }
    }
}

fn bent(bytes: &[u8], other: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for _ in 0..=dice.below(3) {
        let at = dice.below(bytes.len());
        let end = (at + 1 + dice.below(64)).min(bytes.len());
        match dice.below(7) {
            0 if !bytes.is_empty() => bytes[at] ^= 1 << dice.below(8),
            1 => bytes.truncate(at),
            2 => drop(bytes.drain(at..end)),
            3 => {
                let piece = bytes[at..end].to_vec();
                bytes.splice(at..at, piece);
            }
            4 => {
                let from = dice.below(other.len());
                let piece = other[from..(from + 1 + dice.below(200)).min(other.len())].to_vec();
                bytes.splice(at..end, piece);
            }
            5 => bytes.insert(at, [0, b'"', b'\n', b',', b';', 0xff, b'9', b'-'][dice.below(8)]),
            _ => bytes[at..end].reverse(),
        }
        if bytes.is_empty() {
            bytes.push(b'x');
        }
    }
    bytes
}

#[test]
fn no_bent_file_stops_a_reader() {
    let mut paths = Vec::new();
    logs(&Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logs"), &mut paths);
    paths.sort();
    assert!(paths.len() > 60, "{} logs", paths.len());
    let files: Vec<Vec<u8>> = paths.iter().map(|path| std::fs::read(path).unwrap()).collect();
    let (next, runs) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let workers = std::thread::available_parallelism().map_or(2, std::num::NonZero::get);
    let failures: Vec<String> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..workers)
            .map(|_| {
                scope.spawn(|| {
                    let mut failures = Vec::new();
                    loop {
                        let at = next.fetch_add(1, Ordering::Relaxed);
                        let Some(file) = files.get(at) else { break failures };
                        let other = &files[(at * 7 + 3) % files.len()];
                        for round in 0..ROUNDS {
                            let mut dice = Dice(0x9e37_79b9_7f4a_7c15 ^ ((at as u64) << 20) ^ (round + 1));
                            let bytes = if round == 0 { file.clone() } else { bent(file, other, &mut dice) };
                            for (name, target) in targets::TARGETS {
                                runs.fetch_add(1, Ordering::Relaxed);
                                if catch_unwind(AssertUnwindSafe(|| target(&bytes))).is_err() {
                                    failures.push(format!("{name} stops on {}, round {round}", paths[at].display()));
                                }
                            }
                        }
                    }
                })
            })
            .collect();
        threads.into_iter().flat_map(|thread| thread.join().unwrap()).collect()
    });
    println!("{} runs over {} logs", runs.into_inner(), files.len());
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}
