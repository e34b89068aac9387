//! 200 clients that go on asking while a million readings come in through the same server.

use std::process::Command;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::club::Large;
use crate::process::Served;

const CLIENTS: usize = 200;
const PAUSE: Duration = Duration::from_secs(1);

#[derive(Default)]
struct Kept {
    answered: usize,
    /// Longest that this client waited for one answer.
    longest: Duration,
    faults: Vec<String>,
    times: Vec<Duration>,
}

pub fn run(served: &Served, club: &Large) {
    let paths = [
        "/api/v1/taxa/goniopora/survival?by=none",
        "/api/v1/taxa/goniopora/survival?by=origin",
        "/api/v1/club",
        "/api/v1/taxa",
        "/api/v1/parameters",
        "/api/v1/newsletter",
        "/health/ready",
    ];
    for path in paths {
        served.http().get(format!("{}{path}", served.address)).send().expect("an answer");
    }
    let over = AtomicBool::new(false);
    let kept: Mutex<Vec<Kept>> = Mutex::default();
    let (mut memory, mut seconds) = (Vec::new(), 0.0);
    std::thread::scope(|scope| {
        for number in 0..CLIENTS {
            let (over, kept) = (&over, &kept);
            scope.spawn(move || {
                let http = served.http();
                let mut own = Kept::default();
                let mut turn = number;
                while !over.load(Ordering::Relaxed) {
                    let path = paths[turn % paths.len()];
                    let began = Instant::now();
                    match http
                        .get(format!("{}{path}", served.address))
                        .send()
                        .and_then(|answer| Ok((answer.status(), answer.bytes()?)))
                    {
                        Ok((status, _)) if status.is_success() => own.answered += 1,
                        Ok((status, body)) => {
                            own.faults.push(format!("{path}: {status} {}", String::from_utf8_lossy(&body)))
                        }
                        Err(error) => own.faults.push(format!("{path}: {error:?}")),
                    }
                    own.longest = own.longest.max(began.elapsed());
                    own.times.push(began.elapsed());
                    turn += 1;
                    std::thread::sleep(PAUSE);
                }
                kept.lock().expect("whole").push(own);
            });
        }
        let began = Instant::now();
        let mut import = Command::new(env!("CARGO_BIN_EXE_strandline"))
            .args(["import", "--keeper-by-folder", "--server", &served.address, "--yes"])
            .arg(&club.folder)
            .env("STRANDLINE_TOKEN", &served.token)
            .stdout(std::process::Stdio::piped())
            .spawn()
            .expect("the program");
        let ended = loop {
            memory.push(resident(served.id()));
            if let Some(ended) = import.try_wait().expect("its state") {
                break ended;
            }
            std::thread::sleep(Duration::from_millis(500));
        };
        seconds = began.elapsed().as_secs_f64();
        over.store(true, Ordering::Relaxed);
        assert!(ended.code().is_some_and(|code| code <= 1), "{ended:?}");
    });
    let kept = kept.into_inner().expect("whole");
    let mut times: Vec<Duration> = kept.iter().flat_map(|own| own.times.iter().copied()).collect();
    times.sort();
    let faults: Vec<&String> = kept.iter().flat_map(|own| &own.faults).collect();
    let quarter =
        |at: usize| memory[memory.len() * at / 4..memory.len() * (at + 1) / 4].iter().copied().max().unwrap_or(0);
    println!(
        "\n{CLIENTS} clients, a request a second each, while {} readings of {} keepers come in",
        club.readings, club.keepers
    );
    println!("import {seconds:.0} s, {:.0} readings/s", club.readings as f64 / seconds);
    println!(
        "answers {}, faults {}; each client {} to {} answers; waits: p50 {:.0} ms, longest {:.1} s",
        times.len(),
        faults.len(),
        kept.iter().map(|own| own.answered).min().unwrap_or(0),
        kept.iter().map(|own| own.answered).max().unwrap_or(0),
        times[times.len() / 2].as_secs_f64() * 1000.0,
        times.last().map_or(0.0, Duration::as_secs_f64),
    );
    println!("resident memory of the server, highest of each quarter: {:?} MiB", [0, 1, 2, 3].map(quarter));
    faults.iter().take(3).for_each(|fault| println!("fault: {fault}"));
}

/// Resident memory of a process, MiB.
fn resident(process: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap_or_default();
    line.trim().trim_end_matches(" kB").parse::<u64>().unwrap_or(0) / 1024
}
