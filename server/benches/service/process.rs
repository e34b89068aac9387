//! `strandline serve` as a process of its own, with a data directory of its own.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use server::client::Client;

const PROGRAM: &str = env!("CARGO_BIN_EXE_strandline");

pub struct Served {
    pub address: String,
    pub port: u16,
    pub token: String,
    data: PathBuf,
    child: Child,
}

fn free_port() -> u16 {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    listener.local_addr().expect("its address").port()
}

impl Served {
    pub fn start(room: &Path) -> Self {
        let data = room.join("data");
        let token = strandline(&data).args(["token", "new", "--role", "curator"]).output().expect("the program");
        assert!(token.status.success(), "{}", String::from_utf8_lossy(&token.stderr));
        let token = String::from_utf8(token.stdout).expect("a token").trim().to_owned();
        let port = free_port();
        let child = serve(&data, port);
        let served = Served { address: format!("http://127.0.0.1:{port}"), port, token, data, child };
        served.wait();
        served
    }

    /// Stops it and starts it again: nothing is in memory any more.
    pub fn again(&mut self) {
        self.stop();
        self.child = serve(&self.data, self.port);
        self.wait();
    }

    pub fn curator(&self) -> Client {
        Client::new(&self.address, Some(&self.token)).expect("a client")
    }

    pub fn http(&self) -> reqwest::blocking::Client {
        reqwest::blocking::Client::builder().timeout(Duration::from_secs(120)).build().expect("a client")
    }

    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// What the process says on standard error is in this file.
    pub fn log(&self) -> PathBuf {
        self.data.with_extension("log")
    }

    fn wait(&self) {
        let end = Instant::now() + Duration::from_secs(60);
        let http = self.http();
        while !http.get(format!("{}/health/ready", self.address)).send().is_ok_and(|answer| answer.status() == 200) {
            assert!(Instant::now() < end, "the server does not come up");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    fn stop(&mut self) {
        let stopped = Command::new("kill").args(["-INT", &self.child.id().to_string()]).status();
        assert!(stopped.is_ok_and(|status| status.success()));
        self.child.wait().expect("its end");
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        self.stop();
    }
}

fn strandline(data: &Path) -> Command {
    let mut command = Command::new(PROGRAM);
    command.env("STRANDLINE_DATA", data);
    command
}

fn serve(data: &Path, port: u16) -> Child {
    let log = std::fs::File::create(data.with_extension("log")).expect("a log");
    strandline(data)
        .args(["serve", "--listen", &format!("127.0.0.1:{port}")])
        .env("RUST_LOG", "warn,server::route::statistics=debug,server::answer=debug")
        .stderr(Stdio::from(log))
        .spawn()
        .expect("the program")
}
