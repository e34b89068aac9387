//! A club of three keepers with records of their own, a reader and a curator, each with a token and a session.

use reqwest::blocking::{RequestBuilder, Response};
use serde_json::{Value, json};

use crate::api_support::{Api, json_of, register, water};

/// The keepers.
pub const KEEPERS: [&str; 3] = ["osprey", "heron", "dunlin"];
/// A password that is taken.
pub const PASSWORD: &str = "a tern fishes at dusk";

/// What a request carries to say who sends it.
#[derive(Debug, Clone)]
pub enum Credential {
    Nothing,
    Token(String),
    Session { cookie: String, csrf: String },
}

impl Credential {
    pub fn sign(&self, request: RequestBuilder) -> RequestBuilder {
        match self {
            Credential::Nothing => request,
            Credential::Token(token) => request.bearer_auth(token),
            Credential::Session { cookie, csrf } => request.header("cookie", cookie).header("x-csrf-token", csrf),
        }
    }

    /// The session that an answer begins.
    pub fn of(response: Response, status: u16) -> Self {
        let cookie = response.headers().get("set-cookie").expect("a cookie comes").to_str().unwrap().to_owned();
        let cookie = cookie.split(';').next().unwrap().to_owned();
        let csrf = json_of(response, status)["csrf"].as_str().unwrap().to_owned();
        Credential::Session { cookie, csrf }
    }
}

/// How the one request that is looked at is sent: a mutation lives from its beginning to its end.
pub type Strike<'a> = &'a dyn Fn(RequestBuilder) -> Response;

/// Sends it as it is.
pub fn plainly(request: RequestBuilder) -> Response {
    request.send().unwrap()
}

/// An invitation for somebody new; its secret.
pub fn invite(api: &Api, role: &str, keeper: Option<&str>) -> String {
    let body = json!({"role": role, "keeper": keeper});
    let made = api.post("/api/v1/invitations").bearer_auth(&api.curator).json(&body).send().unwrap();
    secret_of(&json_of(made, 201))
}

/// The secret in the link of an invitation.
pub fn secret_of(made: &Value) -> String {
    made["url"].as_str().unwrap().rsplit('/').next().unwrap().to_owned()
}

/// Accepts an invitation with [`PASSWORD`].
pub fn accept(api: &Api, secret: &str, name: &str) -> Credential {
    let body = json!({"secret": secret, "name": name, "password": PASSWORD});
    Credential::of(api.post("/api/v1/invitations/accept").json(&body).send().unwrap(), 201)
}

pub struct World {
    pub api: Api,
    tokens: [String; 3],
    sessions: [Credential; 3],
    pub reader: Credential,
    pub curator: Credential,
}

impl World {
    pub fn start() -> Self {
        let api = Api::start();
        let body = json!({"role": "keeper", "keeper": "dunlin", "create": true});
        let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
        let tokens = [api.osprey.clone(), api.heron.clone(), made["token"].as_str().unwrap().to_owned()];
        for (number, token) in tokens.iter().enumerate() {
            api.commit_register(token, "name=corals.csv&as_of=2025-06-01", register(), "2024-01-01");
            api.commit(token, "name=water.csv", water("Lagoon", 2.0 + number as f64 / 10.0));
        }
        let session = |role: &str, keeper: Option<&str>| {
            let name = keeper.map_or_else(|| format!("the {role}"), |keeper| format!("account of {keeper}"));
            accept(&api, &invite(&api, role, keeper), &name)
        };
        let sessions = KEEPERS.map(|keeper| session("keeper", Some(keeper)));
        let (reader, curator) = (session("reader", None), session("curator", None));
        World { tokens, sessions, reader, curator, api }
    }

    /// The club as one keeper sees it, beside another: positions in [`KEEPERS`].
    pub fn seen_by(&self, owner: usize, other: usize) -> Api {
        self.api.seen_by(&self.tokens[owner], &self.tokens[other])
    }

    /// Signs those in again whose session is over; `false` where somebody cannot be.
    #[allow(dead_code, reason = "the mutation alone ends sessions of others")]
    pub fn mend(&mut self) -> bool {
        super::attempts::forget_guesses(self);
        let Self { api, sessions, reader, curator, .. } = self;
        let names = KEEPERS.map(|keeper| format!("account of {keeper}")).into_iter();
        let names = names.chain(["the reader".to_owned(), "the curator".to_owned()]);
        for (session, name) in sessions.iter_mut().chain([reader, curator]).zip(names) {
            if session.sign(api.get("/api/v1/session")).send().unwrap().status() == 401 {
                let body = json!({"name": name, "password": PASSWORD});
                let answer = api.post("/api/v1/session").json(&body).send().unwrap();
                if answer.status() != 201 {
                    return false;
                }
                *session = Credential::of(answer, 201);
            }
        }
        let tokens = self.tokens.iter().chain([&api.curator, &api.reader]);
        tokens.into_iter().all(|token| api.get("/api/v1/me").bearer_auth(token).send().unwrap().status() == 200)
    }

    /// The session of a keeper.
    pub fn session(&self, keeper: usize) -> &Credential {
        &self.sessions[keeper]
    }
}
