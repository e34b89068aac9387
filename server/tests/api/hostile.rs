//! Requests that mean no good: each gets an answer of its kind, changes nothing that it may not change, and the server goes on.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::api_support::{Api, json_of, problem_of, register, water};
use crate::samples::sample;

/// Texts that break a statement which is put together out of texts (OWASP, "SQL Injection").
const INJECTIONS: [&str; 6] = [
    "'; DROP TABLE specimen; --",
    "' OR '1'='1",
    "x') UNION VALUES (version()) --",
    "$1; CALL pg_sleep(5)",
    "%' AND 1=CAST(version() AS int) --",
    "\\'; --",
];

/// A request byte by byte; the whole answer as text.
fn raw(api: &Api, bytes: &[u8]) -> String {
    let mut stream = connect(api);
    stream.write_all(bytes).unwrap();
    rest(&mut stream)
}

fn connect(api: &Api) -> TcpStream {
    let stream = TcpStream::connect(api.base.trim_start_matches("http://")).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    stream
}

/// What comes until the connection ends.
fn rest(stream: &mut TcpStream) -> String {
    let mut answer = Vec::new();
    // A server that hangs up with bytes of ours unread resets the connection; what came before counts.
    let mut part = [0u8; 4096];
    while let Ok(read @ 1..) = stream.read(&mut part) {
        answer.extend_from_slice(&part[..read]);
    }
    String::from_utf8_lossy(&answer).into_owned()
}

fn is_well(api: &Api) {
    assert_eq!(api.get("/health/ready").send().unwrap().status(), 200);
}

#[test]
fn sql_in_every_place_for_text_is_text() {
    let api = Api::start();
    api.commit_register(&api.osprey, "name=corals.csv&as_of=2025-06-01", register(), "2024-01-01");
    let before = json_of(api.get("/api/v1/specimens").bearer_auth(&api.curator).send().unwrap(), 200);
    let all = json_of(api.get("/api/v1/taxa").send().unwrap(), 200)["taxa"].as_array().unwrap().len();
    for text in INJECTIONS {
        let found = json_of(api.get("/api/v1/taxa").query(&[("q", text)]).send().unwrap(), 200);
        // "table" and "or" are words of names: a few are found, and not everything.
        assert!(found["taxa"].as_array().unwrap().len() < all, "{text}");
        for path in ["specimens", "readings", "uploads"] {
            let asked = api.get(&format!("/api/v1/{path}")).query(&[("keeper", text)]).bearer_auth(&api.curator);
            let answer = asked.send().unwrap();
            let status = answer.status().as_u16();
            assert!([200, 400, 404, 422].contains(&status), "{path} {text}: {status}");
            if status == 200 {
                assert_eq!(json_of(answer, 200)[path], json!([]), "{path} {text}");
            }
        }
        let encoded: String = text.bytes().map(|byte| format!("%{byte:02X}")).collect();
        problem_of(api.get(&format!("/api/v1/taxa/{encoded}")).send().unwrap(), 404, "unknown-taxon");
        problem_of(api.get(&format!("/api/v1/parameters/{encoded}")).send().unwrap(), 404, "unknown-parameter");
        let asked = api.get("/api/v1/taxa/goniopora/survival").query(&[("by", text)]).send().unwrap();
        problem_of(asked, 400, "invalid-query");
        // What may hold any text holds this one, letter by letter.
        let tank = api.post("/api/v1/tanks").bearer_auth(&api.heron).json(&json!({"name": text, "litres": 60.0}));
        assert_eq!(json_of(tank.send().unwrap(), 201)["record"]["name"], text);
        let file = format!("Date,Tank,Nitrate (mg/L)\n2025-01-01,\"{}\",5\n", text.replace('"', "\"\""));
        let upload = api.upload(&api.heron, "name=tests.csv", file);
        assert_ne!(upload["state"], "failed", "{upload}");
        let answer = api.get("/api/v1/me").bearer_auth(text).send().unwrap();
        problem_of(answer, 401, "unauthorised");
        let signing = json!({"name": text, "password": text});
        problem_of(api.post("/api/v1/session").json(&signing).send().unwrap(), 401, "wrong-password");
    }
    let after = api.get("/api/v1/specimens?keeper=osprey").bearer_auth(&api.curator).send().unwrap();
    assert_eq!(json_of(after, 200)["specimens"], before["specimens"]);
    is_well(&api);
}

#[test]
fn no_address_leads_to_a_file() {
    let api = Api::start();
    for path in [
        "/../../../../etc/passwd",
        "/docs/../../../../etc/passwd",
        "/docs/..%2f..%2f..%2fetc%2fpasswd",
        "/docs/%2e%2e/%2e%2e/%2e%2e/etc/passwd",
        "/problems/..%2f..%2fopenapi.json",
        "/api/v1/taxa/..%2f..%2fetc%2fpasswd",
        "//etc/passwd",
        "/docs/\\..\\..\\etc\\passwd",
    ] {
        let answer = raw(&api, format!("GET {path} HTTP/1.1\r\nHost: club\r\nConnection: close\r\n\r\n").as_bytes());
        let status = answer.split(' ').nth(1).unwrap_or_default().to_owned();
        assert!(["404", "400"].contains(&status.as_str()), "{path}: {answer}");
        assert!(!answer.contains("root:"), "{path}");
    }
    // Names of files are names, wherever they say that they lie.
    for name in ["../../etc/passwd.csv", "C:\\logs\\passwd.csv", "/etc/passwd.csv"] {
        let upload = api
            .post("/api/v1/uploads")
            .query(&[("name", name)])
            .bearer_auth(&api.heron)
            .header("content-type", "text/csv")
            .body(water(&format!("Lagoon {name}"), 3.0));
        let upload = json_of(upload.send().unwrap(), 202);
        assert_eq!(upload["name"], "passwd.csv");
        api.settle(&api.heron, upload["links"]["self"].as_str().unwrap());
    }
    let archive = api.get("/api/v1/me/export").bearer_auth(&api.heron).send().unwrap().bytes().unwrap();
    let archive = zip::ZipArchive::new(std::io::Cursor::new(archive)).unwrap();
    for name in archive.file_names().map(Result::unwrap) {
        assert!(!name.contains("..") && !name.starts_with('/') && !name.contains('\\'), "{name}");
    }
}

#[test]
fn bodies_that_are_too_large_are_not_received() {
    let api = Api::start_with(|settings| settings.largest_upload = 2 * 1024 * 1024);
    // What is announced is refused before it comes.
    let head = format!(
        "POST /api/v1/uploads?name=a.csv HTTP/1.1\r\nHost: club\r\nAuthorization: Bearer {}\r\nContent-Type: text/csv\r\n\
         Content-Length: 3000000000\r\n\r\n",
        api.heron
    );
    let began = Instant::now();
    let answer = raw(&api, head.as_bytes());
    assert!(answer.starts_with("HTTP/1.1 413") && answer.contains("/problems/too-large"), "{answer}");
    assert!(began.elapsed() < Duration::from_secs(15));
    // What is not announced is refused once it is too much.
    let chunked = |path: &str, media: &str, bytes: usize| {
        let body = reqwest::blocking::Body::new(std::io::repeat(b' ').take(bytes as u64));
        api.post(path).bearer_auth(&api.curator).header("content-type", media.to_owned()).body(body).send()
    };
    for (path, media, bytes) in [
        ("/api/v1/tokens", "application/json", 3 << 20),
        ("/api/v1/uploads?name=a.csv&keeper=osprey", "text/csv", 5 << 20),
    ] {
        // The connection may end before all is sent; then there is no answer to read, and that is one too.
        if let Ok(answer) = chunked(path, media, bytes) {
            problem_of(answer, 413, "too-large");
        }
    }
    let form = |name: &str, bytes: usize| {
        let body = format!(
            "--x\r\nContent-Disposition: form-data; name=\"{name}\"; filename=\"a.csv\"\r\n\r\n{}\r\n--x--\r\n",
            "a".repeat(bytes)
        );
        let request = api.post("/api/v1/uploads").bearer_auth(&api.heron);
        request.header("content-type", "multipart/form-data; boundary=x").body(body).send()
    };
    if let Ok(answer) = form("file", 5 << 20) {
        problem_of(answer, 413, "too-large");
    }
    problem_of(form("tank", 5000).unwrap(), 400, "bad-request");
    // So do heads.
    let long = "a".repeat(200_000);
    let answer = raw(&api, format!("GET /api/v1/club HTTP/1.1\r\nHost: club\r\nX-A: {long}\r\n\r\n").as_bytes());
    assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 4"), "{answer}");
    is_well(&api);
}

#[test]
fn senders_that_are_too_slow_are_sent_away() {
    let api = Api::start_with(|settings| settings.patience = Duration::from_millis(700));
    let head = |more: &str| {
        let token = &api.heron;
        format!(
            "POST /api/v1/{more}\r\nHost: club\r\nAuthorization: Bearer {token}\r\nTransfer-Encoding: chunked\r\n\r\n"
        )
    };
    let drip = |head: &str, first: &str| {
        let mut stream = connect(&api);
        let began = Instant::now();
        stream.write_all(head.as_bytes()).unwrap();
        stream.write_all(first.as_bytes()).unwrap();
        let mut other = stream.try_clone().unwrap();
        // A byte now and then, as long as anybody listens.
        std::thread::spawn(move || {
            while other.write_all(b"1\r\n \r\n").is_ok() && began.elapsed() < Duration::from_secs(15) {
                std::thread::sleep(Duration::from_millis(100));
            }
        });
        let mut answer = String::new();
        let mut part = [0u8; 4096];
        while !answer.ends_with('}') {
            match stream.read(&mut part) {
                Ok(read @ 1..) => answer += &String::from_utf8_lossy(&part[..read]),
                _ => break,
            }
        }
        assert!(began.elapsed() < Duration::from_secs(8), "{:?}", began.elapsed());
        answer
    };
    let part = "--x\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a\"\r\n\r\nDate";
    let form = format!("{:x}\r\n{part}\r\n", part.len());
    for (more, first) in [
        ("tanks HTTP/1.1\r\nContent-Type: application/json", ""),
        ("uploads?name=a.csv HTTP/1.1\r\nContent-Type: text/csv", "4\r\nDate\r\n"),
        ("uploads HTTP/1.1\r\nContent-Type: multipart/form-data; boundary=x", form.as_str()),
    ] {
        let answer = drip(&head(more), first);
        assert!(answer.starts_with("HTTP/1.1 408") && answer.contains("/problems/too-slow"), "{more}: {answer}");
    }
    // A head that never ends.
    let mut stream = connect(&api);
    let began = Instant::now();
    stream.write_all(b"GET /api/v1/club HTTP/1.1\r\nHost: cl").unwrap();
    let answer = rest(&mut stream);
    assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 408"), "{answer}");
    assert!(began.elapsed() < Duration::from_secs(10), "{:?}", began.elapsed());
    // Many that hold on hold nobody up.
    let held: Vec<TcpStream> = (0..100)
        .map(|_| {
            let mut stream = connect(&api);
            stream.write_all(b"GET /api/v1/club HTTP/1.1\r\n").unwrap();
            stream
        })
        .collect();
    is_well(&api);
    drop(held);
}

#[test]
fn json_that_is_none_is_said_to_be_none() {
    let api = Api::start();
    let send = |body: Vec<u8>| {
        let request = api.post("/api/v1/tanks").bearer_auth(&api.heron).header("content-type", "application/json");
        request.body(body).send().unwrap()
    };
    let nested = |depth: usize| [b"[".repeat(depth), b"]".repeat(depth)].concat();
    for body in [
        b"{".to_vec(),
        b"{\"name\": \"a\",}".to_vec(),
        b"{\"name\": NaN}".to_vec(),
        b"{\"name\": \"\xff\xfe\"}".to_vec(),
        b"\xef\xbb\xbf{}".to_vec(),
        b"{\"name\": \"a\", \"name\": \"b\"}".to_vec(),
        b"{\"name\": \"a\"} {\"name\": \"b\"}".to_vec(),
        b"[]".to_vec(),
        b"null".to_vec(),
        b"{\"name\": \"a\", \"litres\": 1e999}".to_vec(),
        nested(100_000),
        [b"{\"name\":".to_vec(), nested(10_000), b"}".to_vec()].concat(),
    ] {
        let shown = String::from_utf8_lossy(&body[..body.len().min(40)]).into_owned();
        let answer = send(body);
        let status = answer.status().as_u16();
        assert!(status == 400 || status == 422, "{shown}: {status}");
        let kind = if status == 400 { "invalid-body" } else { "invalid-value" };
        problem_of(answer, status, kind);
    }
    let tanks = json_of(api.get("/api/v1/tanks").bearer_auth(&api.heron).send().unwrap(), 200);
    assert_eq!(tanks["tanks"], json!([]));
    is_well(&api);
}

#[test]
fn forms_that_are_none_are_said_to_be_none() {
    let api = Api::start();
    let part = |name: &str| format!("--x\r\nContent-Disposition: form-data; {name}\r\n\r\nDate,Nitrate\r\n");
    let send = |media: &str, body: String| {
        api.post("/api/v1/uploads").bearer_auth(&api.heron).header("content-type", media).body(body).send().unwrap()
    };
    let form = "multipart/form-data; boundary=x";
    for (media, body) in [
        ("multipart/form-data", part("name=\"file\"")),
        ("multipart/form-data; boundary=", part("name=\"file\"")),
        (form, String::new()),
        (form, "no form at all".to_owned()),
        (form, part("name=\"file\"; filename=\"a.csv\"")),
        (form, part("name=\"file\"; filename=\"a.csv\"") + "--x"),
        (form, "--x\r\n\r\nDate\r\n--x--\r\n".to_owned()),
        (form, part("filename=\"a.csv\"") + "--x--\r\n"),
    ] {
        let answer = send(media, body.clone());
        assert_eq!(answer.status(), 400, "{media} {body:?}");
        let problem: Value = answer.json().unwrap();
        assert!(["/problems/bad-request", "/problems/invalid-query"].contains(&problem["type"].as_str().unwrap()));
    }
    let file = part("name=\"file\"; filename=\"a.csv\"");
    let problem = problem_of(send(form, format!("{file}{file}--x--\r\n")), 400, "invalid-query");
    assert_eq!(problem["errors"][0]["code"], "repeated");
    let problem = problem_of(send(form, format!("{file}{}--x--\r\n", part("name=\"keper\""))), 400, "invalid-query");
    assert!(problem["detail"].as_str().unwrap().contains("did you mean 'keeper'?"), "{problem}");
    let uploads = json_of(api.get("/api/v1/uploads").bearer_auth(&api.heron).send().unwrap(), 200);
    assert_eq!(uploads["uploads"], json!([]));
}

#[test]
fn what_is_no_http_is_answered_and_ended() {
    let api = Api::start();
    for bytes in [
        &b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03"[..],
        b"GET /api/v1/club\r\n\r\n",
        b"GET /api/v1/club HTTP/1.1\r\nHost: a\r\nContent-Length: -1\r\n\r\n",
        b"GET /api/v1/club HTTP/1.1\r\nHost: a\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nabcde",
        b"GET /api/v1/club HTTP/1.1\r\nHost: a\r\nX-A: a\0b\r\n\r\n",
        b"\xff\xff\xff\xff\r\n\r\n",
    ] {
        let mut stream = connect(&api);
        stream.write_all(bytes).unwrap();
        stream.shutdown(std::net::Shutdown::Write).unwrap();
        let answer = rest(&mut stream);
        assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 4"), "{bytes:?}: {answer}");
    }
    // Two requests in one (request smuggling): a length and chunks together are refused (RFC 9112, section 6.3).
    let answer = raw(
        &api,
        b"POST /api/v1/tokens HTTP/1.1\r\nHost: a\r\nContent-Length: 4\r\nTransfer-Encoding: chunked\r\n\
          Connection: close\r\n\r\n0\r\n\r\nGET /api/v1/me HTTP/1.1\r\nHost: a\r\n\r\n",
    );
    assert_eq!(answer.matches("HTTP/1.1").count(), 1, "{answer}");
    assert!(answer.starts_with("HTTP/1.1 4"), "{answer}");
    is_well(&api);
}

#[test]
fn a_token_of_another_member_reaches_nothing() {
    let api = Api::start();
    let upload = api.commit(&api.osprey, "name=tests.csv", water("Lagoon", 4.0));
    let made = api.post("/api/v1/tanks").bearer_auth(&api.osprey).json(&json!({"name": "Nursery", "litres": 60.0}));
    let tank = json_of(made.send().unwrap(), 201)["record"]["id"].clone();
    for path in ["", "/findings", "/preview", "/layout"] {
        let asked = api.get(&format!("/api/v1/uploads/{}{path}", upload["id"])).bearer_auth(&api.heron);
        problem_of(asked.send().unwrap(), 404, "unknown-upload");
    }
    let upload = format!("/api/v1/uploads/{}", upload["id"]);
    problem_of(api.delete(&upload).bearer_auth(&api.heron).send().unwrap(), 404, "unknown-upload");
    let record = format!("/api/v1/tanks/{tank}");
    for request in [api.get(&record), api.patch(&record).json(&json!({"litres": 1.0}))] {
        problem_of(request.bearer_auth(&api.heron).send().unwrap(), 404, "unknown-record");
    }
    let named = api.get("/api/v1/tanks?keeper=osprey").bearer_auth(&api.heron).send().unwrap();
    assert!(!named.text().unwrap().contains("Nursery"));
    let rows = json_of(api.get("/api/v1/tanks").bearer_auth(&api.osprey).send().unwrap(), 200);
    assert_eq!(rows["tanks"].as_array().unwrap().len(), 2);
}

#[test]
fn a_key_that_is_replayed_with_other_bytes_does_nothing() {
    let api = Api::start();
    let send = |key: &str, body: &Value, token: &str| {
        let request = api.post("/api/v1/readings").bearer_auth(token).header("idempotency-key", format!("\"{key}\""));
        request.json(body).send().unwrap()
    };
    api.commit(&api.osprey, "name=tests.csv", water("Lagoon", 4.0));
    let first = json_of(send("evening", &sample("readings", 1), &api.osprey), 201);
    assert_eq!(json_of(send("evening", &sample("readings", 1), &api.osprey), 201), first);
    problem_of(send("evening", &sample("readings", 2), &api.osprey), 422, "key-reused");
    // The same key of another member is another key: the work is tried, and this member has no such tank.
    let other = send("evening", &sample("readings", 1), &api.heron);
    problem_of(other, 422, "invalid-value");
    let readings = json_of(api.get("/api/v1/readings").bearer_auth(&api.osprey).send().unwrap(), 200);
    let of = |number: usize| sample("readings", number)["taken_time"].clone();
    let times: Vec<&Value> =
        readings["readings"].as_array().unwrap().iter().map(|reading| &reading["taken_time"]).collect();
    assert!(times.contains(&&of(1)) && !times.contains(&&of(2)), "{times:?}");
    for key in ["\"\"", "no quotes", "\"a\" \"b\"", "\"\u{e9}\""] {
        let request = api.post("/api/v1/readings").bearer_auth(&api.osprey).header("idempotency-key", key.as_bytes());
        problem_of(request.json(&sample("readings", 9)).send().unwrap(), 400, "invalid-query");
    }
}

/// Clocks of a phone, a server and a database that do not agree.
#[test]
fn clocks_that_differ_change_no_record() {
    // The server's day is 30 June 2025 (see `today`), the database's is the real one: years apart.
    let api = Api::start();
    let send = |body: Value| api.post("/api/v1/tanks").bearer_auth(&api.osprey).json(&body).send().unwrap();
    json_of(send(json!({"name": "Lagoon", "litres": 100.0, "started": "2025-06-30"})), 201);
    let read = |day: &str| {
        let body = json!({"tank": "Lagoon", "parameter": "nitrate", "taken_on": day, "value": 5.0});
        api.post("/api/v1/readings").bearer_auth(&api.osprey).json(&body).send().unwrap()
    };
    json_of(read("2025-06-30"), 201);
    // A day that has not come here is refused by name, and a file's is kept as a finding.
    let problem = problem_of(read("2025-07-02"), 422, "invalid-value");
    assert!(problem["detail"].as_str().unwrap().contains("2025-06-30"), "{problem}");
    let upload = api.upload(
        &api.osprey,
        "name=late.csv",
        "Date,Tank,Nitrate (mg/L)\n2025-06-29,Lagoon,5\n2025-08-01,Lagoon,6\n",
    );
    let findings = api.findings(&api.osprey, &upload);
    assert!(findings.as_array().unwrap().iter().any(|of| of["code"] == "date_in_future"), "{findings}");
    // What has to end ends by one clock, the database's: whatever a caller or this server believes.
    let token = json_of(
        api.post("/api/v1/tokens")
            .bearer_auth(&api.curator)
            .json(&json!({"role": "reader", "expires_days": 1}))
            .send()
            .unwrap(),
        201,
    );
    let ask = |date: &str| {
        let request = api.get("/api/v1/me").bearer_auth(token["token"].as_str().unwrap());
        request.header("date", date.to_owned()).send().unwrap().status()
    };
    for date in ["Thu, 01 Jan 1970 00:00:00 GMT", "Fri, 31 Dec 2099 23:59:59 GMT"] {
        assert_eq!(ask(date), 200, "{date}");
    }
    // A copy that claims to be from the future is not taken for a newer one without its tag.
    let answer = api.get("/api/v1/parameters").header("if-modified-since", "soon").send().unwrap();
    assert_eq!(answer.status(), 200);
    let tag = answer.headers()["etag"].clone();
    let asked = api.get("/api/v1/parameters").header("if-none-match", "\"other\"");
    let asked = asked.header("if-modified-since", "Fri, 31 Dec 2099 23:59:59 GMT").send().unwrap();
    assert_eq!(asked.status(), 200, "the tag decides (RFC 9110, section 13.2.2)");
    let asked = api.get("/api/v1/parameters").header("if-none-match", tag);
    let asked = asked.header("if-modified-since", "Thu, 01 Jan 1970 00:00:00 GMT").send().unwrap();
    assert_eq!(asked.status(), 304);
}

#[test]
fn pages_of_other_sites_read_what_the_club_lets_them() {
    use server::app::Origins;
    let from = |api: &Api, origin: &str| {
        let answer = api.get("/api/v1/parameters").header("origin", origin.to_owned()).send().unwrap();
        let told = |name: &str| answer.headers().get(name).map(|value| value.to_str().unwrap().to_owned());
        (told("access-control-allow-origin"), told("vary").unwrap_or_default())
    };
    let own = "https://club.example".to_owned();
    let any = Api::start();
    assert_eq!(from(&any, "https://anywhere.example").0.as_deref(), Some("*"));
    let some = Api::start_with(|settings| settings.origins = Origins::Only(vec![own.clone()]));
    let (allowed, vary) = from(&some, &own);
    assert_eq!(allowed, Some(own));
    assert!(vary.contains("Origin") && vary.contains("Accept"), "{vary}");
    assert_eq!(from(&some, "https://anywhere.example").0, None);
    let none = Api::start_with(|settings| settings.origins = Origins::Only(Vec::new()));
    assert_eq!(from(&none, "https://club.example").0, None);
    // Nobody's page may change anything.
    let request = any.client.request(reqwest::Method::OPTIONS, any.url("/api/v1/tanks"));
    let request = request.header("origin", "https://a.example").header("access-control-request-method", "POST");
    let answer = request.send().unwrap();
    assert_eq!(answer.headers()["access-control-allow-methods"], "GET, HEAD, OPTIONS");
    assert!(answer.headers().get("access-control-allow-credentials").is_none());
}

/// Requests that are running when the server is told to stop get their answers; new ones find nobody.
#[test]
fn a_server_that_stops_answers_what_it_has_begun() {
    let mut api = Api::start();
    let address = api.base.trim_start_matches("http://").to_owned();
    let body = b"Date,Tank,Nitrate (mg/L)\n2025-01-01,Lagoon,5\n";
    let mut stream = connect(&api);
    let head = format!(
        "POST /api/v1/uploads?name=a.csv HTTP/1.1\r\nHost: club\r\nAuthorization: Bearer {}\r\nContent-Type: text/csv\r\n\
         Content-Length: {}\r\n\r\n",
        api.heron,
        body.len()
    );
    stream.write_all(head.as_bytes()).unwrap();
    stream.write_all(&body[..20]).unwrap();
    std::thread::sleep(Duration::from_millis(300));
    let stopping = std::thread::spawn(move || {
        api.end();
        api
    });
    std::thread::sleep(Duration::from_millis(500));
    stream.write_all(&body[20..]).unwrap();
    let answer = rest(&mut stream);
    assert!(answer.starts_with("HTTP/1.1 202"), "{answer}");
    drop(stopping.join().unwrap());
    assert!(TcpStream::connect(address).is_err(), "nobody listens any more");
}
