//! Many files at once. All are handed in and read side by side; then each keeper's are committed in turn, keepers side
//! by side. What one file makes of corals and tanks the next ones may name, so lists of corals go first, and a file with
//! doubts is read again when another of its keeper's was committed since. A file that fails stops no other.

use std::collections::BTreeMap;
use std::num::NonZero;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use importer::finding::{Finding, Severity};
use serde_json::Value;

use super::Item;
use super::progress::{Progress, Step};
use super::table::{Done, Fate};
use crate::command::failure::Failure;
use crate::command::read;

/// Files at work at most; more gain nothing on the machines a club has and take the server's connections.
const MOST_WORKERS: usize = 8;

/// Where files go.
pub trait Club: Sync {
    /// Hands a file in and has it read, proposals of accepted findings taken.
    fn hand_in(&self, item: &Item) -> Result<HandedIn, Failure>;
    /// Reads a file again that is not committed: what was committed since may settle its doubts.
    fn read_again(&self, item: &Item, upload: i64) -> Result<Read, Failure>;
    /// Commits; `None` if doubts turned up in the last moment and none may be left open. Otherwise its records.
    fn commit(&self, item: &Item, upload: i64, leave_open: bool) -> Result<Option<u64>, Failure>;
    /// What could not be taken as it stands.
    fn findings(&self, item: &Item, upload: i64) -> Result<Vec<Finding>, Failure>;
    /// Puts a file aside that is not loaded.
    fn put_aside(&self, item: &Item, upload: i64) -> Result<(), Failure>;
    /// The document of the layout of a file that is loaded.
    fn layout(&self, item: &Item, upload: i64) -> Result<Value, Failure>;
}

/// What became of handing a file in.
pub enum HandedIn {
    /// The same bytes are loaded already, by this upload.
    Unchanged(i64),
    /// It waits for its commit.
    Read(Read),
}

/// A file as read.
pub struct Read {
    /// Its number.
    pub upload: i64,
    /// It says nothing, and why is in its findings.
    pub failed: bool,
    /// It lists corals that other files may name.
    pub lists_corals: bool,
    /// What could not be taken as it stands.
    pub findings: Vec<Finding>,
}

impl Read {
    fn doubtful(&self) -> bool {
        self.findings.iter().any(|finding| finding.severity != Severity::Noted)
    }
}

/// A file between reading and its turn; taken once.
type Waiting = Mutex<Option<Result<HandedIn, Failure>>>;

/// Imports files; what became of each, in their order. The layout of a file that is loaded is written to `save_layout`.
pub fn run(club: &dyn Club, items: &[Item], yes: bool, save_layout: Option<&Path>) -> Vec<Done> {
    let workers = std::thread::available_parallelism().map_or(2, NonZero::get).clamp(2, MOST_WORKERS);
    let progress = Progress::new(items.len());
    let waiting: Vec<Waiting> = side_by_side(workers, items, |item| {
        let _bar = progress.begin(&item.shown, Step::Read);
        Mutex::new(Some(club.hand_in(item)))
    });
    let done = side_by_side(workers, &turns(items, &waiting), |turn| {
        let mut committed = false;
        let mut done = Vec::with_capacity(turn.len());
        for &at in turn {
            let Some(read) = waiting[at].lock().unwrap_or_else(PoisonError::into_inner).take() else { continue };
            let _bar = progress.begin(&items[at].shown, Step::Settle);
            let way = Way { yes, save_layout };
            done.push((at, finish(club, &items[at], read, way, &mut committed, &progress)));
        }
        done
    });
    progress.finish();
    let mut done: Vec<(usize, Done)> = done.into_iter().flatten().collect();
    done.sort_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, line)| line).collect()
}

/// Positions of the files of each keeper in the order of their commits.
fn turns(items: &[Item], waiting: &[Waiting]) -> Vec<Vec<usize>> {
    let mut turns: BTreeMap<&str, Vec<(bool, usize)>> = BTreeMap::new();
    for (at, (item, waiting)) in items.iter().zip(waiting).enumerate() {
        let waiting = waiting.lock().unwrap_or_else(PoisonError::into_inner);
        let lists_corals = matches!(&*waiting, Some(Ok(HandedIn::Read(read))) if read.lists_corals);
        turns.entry(&item.keeper).or_default().push((!lists_corals, at));
    }
    turns
        .into_values()
        .map(|mut turn| {
            turn.sort_unstable();
            turn.into_iter().map(|(_, at)| at).collect()
        })
        .collect()
}

/// How files are finished.
#[derive(Clone, Copy)]
struct Way<'a> {
    /// What is certain is committed, the rest held.
    yes: bool,
    /// Where the layout goes.
    save_layout: Option<&'a Path>,
}

fn finish(
    club: &dyn Club,
    item: &Item,
    read: Result<HandedIn, Failure>,
    way: Way,
    committed: &mut bool,
    progress: &Progress,
) -> Done {
    let finished = read.and_then(|read| {
        let (upload, settled) = match read {
            HandedIn::Unchanged(upload) => (upload, (Fate::Unchanged, 0, Vec::new())),
            HandedIn::Read(read) => (read.upload, settle(club, item, read, way.yes, committed)?),
        };
        if let Some(path) = way.save_layout.filter(|_| settled.0.is_loaded()) {
            read::write_layout(path, &club.layout(item, upload)?)?;
        }
        Ok(settled)
    });
    match finished {
        Ok((fate, records, findings)) => {
            let lines: Vec<String> = findings.iter().map(|finding| line(&item.shown, finding)).collect();
            progress.print(&lines);
            Done::new(item, fate, records, &findings)
        }
        Err(why) => {
            progress.print(&[format!("strandline: {why}")]);
            Done::failed(item, &why)
        }
    }
}

fn settle(
    club: &dyn Club,
    item: &Item,
    mut read: Read,
    yes: bool,
    committed: &mut bool,
) -> Result<(Fate, u64, Vec<Finding>), Failure> {
    if read.doubtful() && !read.failed && *committed {
        read = club.read_again(item, read.upload)?;
    }
    let records = if read.failed || (read.doubtful() && !yes) {
        None
    } else {
        let records = club.commit(item, read.upload, yes)?;
        // Commits of the same keeper since may have changed what it says.
        read.findings = club.findings(item, read.upload)?;
        records
    };
    let Some(records) = records else {
        club.put_aside(item, read.upload)?;
        return Ok((if read.failed { Fate::Unreadable } else { Fate::NotLoaded }, 0, read.findings));
    };
    *committed = true;
    Ok((if read.doubtful() { Fate::Held } else { Fate::Committed }, records, read.findings))
}

/// One line a finding.
fn line(file: &str, finding: &Finding) -> String {
    let word = match finding.severity {
        Severity::Refused => "refused",
        Severity::Questioned => "question",
        Severity::Noted => "noted",
    };
    format!("{file}{}: {word} {}: {} {}", read::place_of(finding), finding.code, finding.message, finding.remedy)
}

/// Does something for each, several at a time; results in order.
fn side_by_side<T: Sync, R: Send>(workers: usize, over: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let mut results: Vec<(usize, R)> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..workers.min(over.len()))
            .map(|_| {
                scope.spawn(|| {
                    let mut own = Vec::new();
                    while let Some((at, thing)) =
                        Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|at| Some((at, over.get(at)?)))
                    {
                        own.push((at, work(thing)));
                    }
                    own
                })
            })
            .collect();
        threads
            .into_iter()
            .flat_map(|thread| thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    results.sort_by_key(|(at, _)| *at);
    results.into_iter().map(|(_, result)| result).collect()
}
