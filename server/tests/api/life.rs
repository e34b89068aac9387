//! One club's whole life, by the client that `strandline import --server` uses and, where people sign in, by hand: set up,
//! invited, handed in, asked, answered, committed, asked as curator, member and public, exported, withdrawn, asked again.

use importer::finding::Answer;
use serde_json::{Value, json};
use server::client::{Client, ClientError, NewFile};

use crate::api_support::{Api, json_of};
use crate::people::PASSWORD;

/// A browser's side of a session.
struct SignedIn {
    cookie: String,
    csrf: String,
}

impl SignedIn {
    fn of(response: reqwest::blocking::Response, status: u16) -> Self {
        let cookie = response.headers().get("set-cookie").cloned();
        let csrf = json_of(response, status)["csrf"].as_str().unwrap().to_owned();
        let cookie = cookie.unwrap().to_str().unwrap().split(';').next().unwrap().to_owned();
        SignedIn { cookie, csrf }
    }

    fn post(&self, api: &Api, path: &str, body: Value) -> Value {
        let request = api.post(path).header("cookie", &self.cookie).header("x-csrf-token", &self.csrf);
        json_of(request.json(&body).send().unwrap(), 201)
    }

    /// A token of one's own.
    fn client(&self, api: &Api, scopes: &[&str]) -> Client {
        let body = json!({"scopes": scopes, "label": "life", "expires_days": 30});
        let made = self.post(api, "/api/v1/me/tokens", body);
        Client::new(&api.base, made["token"].as_str()).unwrap()
    }
}

/// Four corals of one keeper, of which some died; the water of a year.
fn files(number: u32) -> (String, String) {
    let mut corals = String::from("ID,Coral,Acquired,Tank,Date died\n");
    for coral in 0..4 {
        let died = if coral <= number % 3 { format!("2024-0{}-11", 3 + coral) } else { String::new() };
        corals += &format!("C{coral},Goniopora sp.,2024-01-05,Tank {number},{died}\n");
    }
    let mut tests = String::from("Date,Nitrate (mg/L)\n");
    for month in 1..=12 {
        tests += &format!("2024-{month:02}-0{},{}\n", 1 + number, 4 + 3 * number);
    }
    (corals, tests)
}

fn hand_in(member: &Client, number: u32) {
    let (corals, tests) = files(number);
    let as_of = chrono::NaiveDate::from_ymd_opt(2024, 12, 30);
    let file = NewFile { name: "corals.csv", as_of, ..NewFile::default() };
    let sent = member.upload(&file, corals.clone().into_bytes(), Some("corals")).unwrap();
    // Sent again with its key, it is the same upload.
    let again = member.upload(&file, corals.into_bytes(), Some("corals")).unwrap();
    assert_eq!((sent.upload.id, sent.already), (again.upload.id, false));
    let read = member.settled(sent.upload.id).unwrap();
    assert_eq!(read.state, "questions");
    let asked = member.findings(read.id).unwrap();
    let question = asked.iter().find(|finding| finding.code == "complete_since_missing").unwrap();
    // A commit with an open question is refused, and says why.
    let Err(ClientError::Refused { refusal, .. }) = member.commit(read.id, false) else { panic!("it was taken") };
    assert_eq!((refusal.status, refusal.kind.as_str()), (409, "/problems/open-questions"));
    let value = Some(json!("2023-12-01"));
    let answer = Answer { key: question.key.clone(), choice: "day".to_owned(), value };
    assert_eq!(member.answer(read.id, std::slice::from_ref(&answer)).unwrap().state, "ready");
    let done = member.commit(read.id, false).unwrap();
    assert_eq!(done.upload.state, "committed");
    assert!(done.committed.recorded >= 4, "{done:?}");
    let tank = format!("Tank {number}");
    let file = NewFile { name: "tests.csv", tank: Some(&tank), ..NewFile::default() };
    let sent = member.upload(&file, tests.into_bytes(), None).unwrap();
    let read = member.settled(sent.upload.id).unwrap();
    assert_eq!(read.state, "ready", "{:?}", member.findings(read.id).unwrap());
    member.commit(read.id, false).unwrap();
    let _: Value = member.post("/roll-call", &json!({"on": "2024-12-31"})).unwrap();
}

#[test]
fn from_the_first_account_to_a_withdrawal() {
    let api = Api::start();
    // Set up.
    let code = server::access::setup::renew(&mut api.connect()).unwrap().expect("nobody has an account yet");
    let body =
        json!({"code": code, "club": "Tarn Quay Reef Circle", "name": "records secretary", "password": PASSWORD});
    let secretary = SignedIn::of(api.post("/api/v1/setup").json(&body).send().unwrap(), 201);
    let curator = secretary.client(&api, &["read", "upload", "admin"]);
    assert_eq!(curator.me().unwrap().role, "curator");
    // Invite; each accepts and makes a token for a program.
    let members: Vec<(String, Client)> = (1..=6)
        .map(|number| {
            let handle = format!("member{number}");
            let made = json!({"handle": handle});
            let _: Value = curator.post("/keepers", &made).unwrap();
            let invited = secretary.post(&api, "/api/v1/invitations", json!({"role": "keeper", "keeper": handle}));
            let secret = invited["url"].as_str().unwrap().rsplit('/').next().unwrap().to_owned();
            let body = json!({"secret": secret, "name": format!("person {number}"), "password": PASSWORD});
            let person = SignedIn::of(api.post("/api/v1/invitations/accept").json(&body).send().unwrap(), 201);
            (handle, person.client(&api, &["read", "upload"]))
        })
        .collect();
    for (number, (_, member)) in (1..).zip(&members) {
        hand_in(member, number);
    }
    // Ask: each as they may.
    let public = Client::new(&api.base, None).unwrap();
    let query = [("by", "none"), ("horizon_days", "180")];
    let exact = curator.survival("goniopora", &query).unwrap();
    let of_member = members[0].1.survival("goniopora", &query).unwrap();
    let of_public = public.survival("goniopora", &query).unwrap();
    let corals = |answer: &server::route::SurvivalAnswer| {
        serde_json::to_value(answer).unwrap()["result"]["groups"][0]["evidence"]["specimens"].clone()
    };
    assert_eq!([corals(&exact), corals(&of_member), corals(&of_public)], [json!(24), json!(24), json!(25)]);
    let fault = public.survival("goniopora", &[("bye", "none")]).unwrap_err();
    let ClientError::Refused { refusal, .. } = fault else { panic!("{fault}") };
    assert_eq!((refusal.status, refusal.errors[0].parameter.as_deref()), (400, Some("bye")));
    assert!(public.growth("goniopora", &[]).is_ok());
    assert!(!public.newsletter(&[]).unwrap().cautions.is_empty());
    // Export, and leave.
    let archive = members[2].1.export().unwrap();
    assert!(archive.starts_with(b"PK"), "a ZIP archive");
    let leaving = api.delete("/api/v1/keepers/member3?confirm=member3");
    let gone = leaving.header("cookie", &secretary.cookie).header("x-csrf-token", &secretary.csrf).send().unwrap();
    assert_eq!(gone.status(), 200);
    let Err(ClientError::Refused { refusal, .. }) = members[2].1.me() else { panic!("the token still works") };
    assert_eq!(refusal.status, 401);
    // Ask again: the curator's answer is without the member, everybody else's is withheld until more has changed.
    assert_eq!(corals(&curator.survival("goniopora", &query).unwrap()), json!(20));
    for asker in [&public, &members[0].1] {
        let answer = serde_json::to_value(asker.survival("goniopora", &query).unwrap()).unwrap();
        assert!(answer["result"]["refused"].is_object(), "{answer:#}");
    }
    let nobody = Client::new("http://127.0.0.1:1", None).unwrap();
    assert!(matches!(nobody.me(), Err(ClientError::NoAnswer { .. })));
}
