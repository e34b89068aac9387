//! People of the tests who sign in: browsers, invitations, what the audit says of them.

use diesel::RunQueryDsl;
use reqwest::blocking::{RequestBuilder, Response};
use serde_json::{Value, json};

use crate::api_support::{Api, json_of};

/// A password that is taken.
pub const PASSWORD: &str = "a tern fishes at dusk";
/// Another.
pub const OTHER: &str = "kelp sways, limpets stay";

/// A browser that keeps its cookie.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Browser {
    pub cookie: String,
    pub csrf: String,
}

impl Browser {
    pub fn of(response: Response, status: u16) -> (Self, Value) {
        let cookie = set_cookie(&response);
        let body = json_of(response, status);
        let csrf = body["csrf"].as_str().unwrap().to_owned();
        (Browser { cookie: cookie.split(';').next().unwrap().to_owned(), csrf }, body)
    }

    pub fn sign(&self, request: RequestBuilder) -> RequestBuilder {
        request.header("cookie", &self.cookie).header("x-csrf-token", &self.csrf)
    }

    pub fn who(&self, api: &Api) -> Response {
        api.get("/api/v1/session").header("cookie", &self.cookie).send().unwrap()
    }
}

pub fn set_cookie(response: &Response) -> String {
    response.headers().get("set-cookie").expect("a cookie comes").to_str().unwrap().to_owned()
}

pub fn sign_in(api: &Api, name: &str, password: &str) -> Response {
    api.post("/api/v1/session").json(&json!({"name": name, "password": password})).send().unwrap()
}

pub fn invite(api: &Api, body: &Value) -> (Value, String) {
    let made = json_of(api.post("/api/v1/invitations").bearer_auth(&api.curator).json(body).send().unwrap(), 201);
    let secret = made["url"].as_str().unwrap().rsplit('/').next().unwrap().to_owned();
    (made, secret)
}

pub fn accept(api: &Api, secret: &str, name: &str) -> Response {
    let body = json!({"secret": secret, "name": name, "password": PASSWORD});
    api.post("/api/v1/invitations/accept").json(&body).send().unwrap()
}

/// Somebody with an account.
pub fn member(api: &Api, name: &str, body: &Value) -> (Browser, i64) {
    let (browser, who) = Browser::of(accept(api, &invite(api, body).1, name), 201);
    (browser, who["account"].as_i64().unwrap())
}

pub fn sql(api: &Api, text: &str) {
    diesel::sql_query(text).execute(&mut api.connect()).unwrap();
}

pub fn audited(api: &Api, action: &str) -> Vec<Value> {
    let path = format!("/api/v1/audit?action={}", action.replace(' ', "%20"));
    json_of(api.get(&path).bearer_auth(&api.curator).send().unwrap(), 200)["audit"].as_array().unwrap().clone()
}
