//! The `strandline` command as a child process, and a server run by it.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;

use crate::client::Client;

/// The command as it was built beside these tests.
///
/// # Panics
/// If it was not built: `cargo build -p server --bin strandline` makes it.
pub fn path() -> PathBuf {
    let test = std::env::current_exe().expect("a test knows its own file");
    let folder = test.ancestors().nth(2).expect("tests live in target/PROFILE/deps");
    let program = folder.join("strandline");
    assert!(program.exists(), "{} is missing: run `cargo build -p server --bin strandline` first", program.display());
    program
}

/// A command with an environment of its own: none of the caller's variables reach it.
pub fn command(data: &Path) -> Command {
    let mut command = Command::new(path());
    command
        .env_clear()
        .env("PATH", std::env::var_os("PATH").unwrap_or_default())
        .env("HOME", data)
        .env("STRANDLINE_DATA", data)
        .env("LANG", "C.UTF-8");
    command
}

/// Runs the command to its end.
///
/// # Panics
/// If it cannot be started.
pub fn run(data: &Path, arguments: &[&str]) -> Output {
    command(data).args(arguments).stdin(Stdio::null()).output().expect("strandline starts")
}

/// Standard error as text.
pub fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Standard output as text.
pub fn stdout(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// A running `strandline serve` (or `demo`).
pub struct Server {
    child: Child,
    /// Where it listens, with scheme.
    pub address: String,
    data: PathBuf,
    lines: mpsc::Receiver<String>,
    before: Vec<String>,
}

impl Server {
    /// Starts `strandline serve` on a free port.
    pub fn start(data: &Path) -> Self {
        Self::start_with(data, &["serve", "--listen", "127.0.0.1:0"], Duration::from_secs(60))
    }

    /// Starts with other arguments; they must lead to serving.
    ///
    /// # Panics
    /// If it does not listen in time; the message holds what it wrote.
    pub fn start_with(data: &Path, arguments: &[&str], patience: Duration) -> Self {
        Self::start_command(command(data), data, arguments, patience)
    }

    /// Starts a command that was made with [`command`], for variables of its own.
    ///
    /// # Panics
    /// As [`Server::start_with`].
    pub fn start_command(mut command: Command, data: &Path, arguments: &[&str], patience: Duration) -> Self {
        let mut child = command
            .args(arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("strandline starts");
        let (sender, lines) = mpsc::channel();
        let stderr = child.stderr.take().expect("standard error is piped");
        let stdout = child.stdout.take().expect("standard output is piped");
        for stream in [Box::new(stderr) as Box<dyn std::io::Read + Send>, Box::new(stdout)] {
            let sender = sender.clone();
            std::thread::spawn(move || {
                for line in BufReader::new(stream).lines().map_while(Result::ok) {
                    if sender.send(line).is_err() {
                        break;
                    }
                }
            });
        }
        let end = Instant::now() + patience;
        let mut seen = Vec::new();
        loop {
            let left = end.saturating_duration_since(Instant::now());
            match lines.recv_timeout(left) {
                Ok(line) => {
                    if let Some(address) = line.split("listening on ").nth(1) {
                        let address = address.trim().trim_end_matches('/').to_owned();
                        return Server { child, address, data: data.to_owned(), lines, before: seen };
                    }
                    seen.push(line);
                }
                Err(_) => {
                    let _ = child.kill();
                    let _ = child.wait();
                    panic!("strandline {arguments:?} did not listen; it wrote:\n{}", seen.join("\n"));
                }
            }
        }
    }

    /// Makes a token with the command, beside the running server.
    pub fn token(&self, arguments: &[&str]) -> String {
        let output = run(&self.data, &[&["token", "new"], arguments].concat());
        assert!(output.status.success(), "token new {arguments:?}: {}", stderr(&output));
        stdout(&output).trim().to_owned()
    }

    /// A client with a token.
    pub fn client(&self, token: Option<&str>) -> Client {
        Client::new(&self.address, token)
    }

    /// Process number.
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// What it wrote before it listened.
    pub fn written_before(&self) -> &[String] {
        &self.before
    }

    /// What it wrote since it listens.
    pub fn written(&self) -> Vec<String> {
        self.lines.try_iter().collect()
    }

    /// Ends it as a power cut would.
    ///
    /// # Panics
    /// If the process cannot be signalled.
    pub fn kill(mut self) {
        self.child.kill().expect("a running child can be killed");
        self.child.wait().expect("a killed child ends");
    }

    /// Ctrl-C; returns its exit code and what it wrote since it listens.
    pub fn interrupt_and_read(self) -> (Option<i32>, Vec<String>) {
        let mut this = self;
        let (_, none) = mpsc::channel();
        let lines = std::mem::replace(&mut this.lines, none);
        let code = this.interrupt();
        (code, lines.iter().collect())
    }

    /// Ctrl-C; returns its exit code.
    ///
    /// # Panics
    /// If it does not end within 20 seconds.
    pub fn interrupt(mut self) -> Option<i32> {
        kill(Pid::from_raw(self.child.id() as i32), Signal::SIGINT).expect("a running child can be signalled");
        let end = Instant::now() + Duration::from_secs(20);
        while Instant::now() < end {
            if let Some(status) = self.child.try_wait().expect("a child can be asked") {
                return status.code();
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("strandline did not end within 20 s of Ctrl-C");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if let Ok(None) = self.child.try_wait() {
            // A test that failed half-way: end it as a person would, so that its Postgres ends too.
            let _ = kill(Pid::from_raw(self.child.id() as i32), Signal::SIGINT);
            let end = Instant::now() + Duration::from_secs(10);
            while Instant::now() < end && matches!(self.child.try_wait(), Ok(None)) {
                std::thread::sleep(Duration::from_millis(50));
            }
            let _ = self.child.kill();
        }
    }
}
