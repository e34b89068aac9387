//! Requests a second of an answer that is kept, and of a 304, beside a bare handler with the same bytes and headers.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use crate::process::Served;

const ROUNDS: usize = 5;
const SECONDS: u32 = 4;
const PATH: &str = "/api/v1/taxa/goniopora/survival?by=none";

struct Counted {
    per_second: f64,
    median_ms: f64,
}

pub fn run(served: &Served, room: &Path) {
    let http = served.http();
    let ask = || http.get(format!("{}{PATH}", served.address)).send().expect("an answer");
    // The first is worked out, the second kept.
    (0..2).for_each(|_| drop(ask()));
    let answer = ask();
    assert_eq!(answer.status(), 200);
    let tag = answer.headers()["etag"].to_str().expect("a tag").to_owned();
    let file = room.join("answer");
    let headers: String = answer
        .headers()
        .iter()
        .filter(|(name, _)| !["date", "content-length", "connection", "transfer-encoding"].contains(&name.as_str()))
        .map(|(name, value)| format!("{name}: {}\n", value.to_str().unwrap_or_default()))
        .collect();
    std::fs::write(file.with_extension("headers"), &headers).expect("written");
    let bytes = answer.bytes().expect("its bytes");
    std::fs::write(&file, &bytes).expect("written");
    let port = served.port + 1;
    let mut bare = Command::new(std::env::current_exe().expect("this program"))
        .args(["bare", &port.to_string(), file.to_str().expect("a path")])
        .stdout(Stdio::null())
        .spawn()
        .expect("this program");
    std::thread::sleep(Duration::from_secs(1));
    // One core serves, the other asks.
    pin(served.id());
    pin(bare.id());
    let ours = format!("{}{PATH}", served.address);
    let theirs = format!("http://127.0.0.1:{port}{PATH}");
    let mut all: [Vec<Counted>; 4] = Default::default();
    for _ in 0..ROUNDS {
        for (at, (url, tag)) in
            [(&theirs, None), (&ours, None), (&theirs, Some(&tag)), (&ours, Some(&tag))].into_iter().enumerate()
        {
            all[at].push(wrk(url, tag.map(String::as_str)));
        }
    }
    let _ = bare.kill();
    let _ = bare.wait();
    println!("\n{} bytes; 32 connections, {SECONDS} s a time, median of {ROUNDS}", bytes.len());
    println!("{:34} {:>12} {:>10}", "", "requests/s", "p50 ms");
    let names =
        ["a bare handler, 200", "an answer that is kept, 200", "a bare handler, 304", "an answer that is kept, 304"];
    let mut medians = Vec::new();
    for (name, counted) in names.into_iter().zip(&mut all) {
        let rate = median(counted.iter().map(|one| one.per_second).collect());
        println!("{name:34} {rate:>12.0} {:>10.2}", median(counted.iter().map(|one| one.median_ms).collect()));
        medians.push(rate);
    }
    for (what, at, floor) in [("an answer that is kept", 0, 0.8), ("a 304", 2, 0.9)] {
        let ratio = medians[at + 1] / medians[at];
        let met = if ratio >= floor { "met" } else { "MISSED" };
        println!("{what}: {ratio:.2} of a bare handler (>= {floor}) {met}");
    }
}

fn pin(process: u32) {
    let pinned =
        Command::new("taskset").args(["-a", "-p", "-c", "0", &process.to_string()]).stdout(Stdio::null()).status();
    assert!(pinned.is_ok_and(|status| status.success()), "taskset");
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn wrk(url: &str, tag: Option<&str>) -> Counted {
    let mut command = Command::new("taskset");
    command.args(["-c", "1", "wrk", "-t1", "-c32", "--latency", &format!("-d{SECONDS}s")]);
    if let Some(tag) = tag {
        command.args(["-H", &format!("If-None-Match: {tag}")]);
    }
    let out = command.arg(url).output().expect("wrk");
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    let after = |word: &str| {
        let line = text.lines().find(|line| line.trim_start().starts_with(word)).unwrap_or_else(|| panic!("{text}"));
        line.trim_start()[word.len()..].trim().to_owned()
    };
    assert!(!text.contains("Socket errors") && !text.contains("Non-2xx"), "{text}");
    let p50 = after("50%");
    let (number, unit) = p50.split_at(p50.find(|c: char| c.is_alphabetic()).expect("a unit"));
    let scale = match unit {
        "us" => 0.001,
        "ms" => 1.0,
        _ => 1000.0,
    };
    Counted {
        per_second: after("Requests/sec:").parse().expect("a number"),
        median_ms: number.parse::<f64>().expect("a number") * scale,
    }
}
