//! Accounts: set up, invited, disabled; tokens of one's own.

use diesel::RunQueryDsl;
use reqwest::blocking::Response;
use serde_json::{Value, json};
use server::access::setup;

use crate::api_support::{Api, json_of, problem_of, water};
use crate::people::{Browser, OTHER, PASSWORD, accept, audited, invite, member, sign_in, sql};

fn set_up(api: &Api, code: &str) -> Response {
    let body = json!({"code": code, "club": "Tidepool Reef Circle", "name": "sanderling", "password": PASSWORD});
    api.post("/api/v1/setup").json(&body).send().unwrap()
}

#[test]
fn the_first_curator_is_made_with_the_code_of_the_console_once() {
    let api = Api::start();
    let first = setup::renew(&mut api.connect()).unwrap().expect("nobody has an account yet");
    assert_eq!(first.len(), 24, "five groups of four");
    let code = setup::renew(&mut api.connect()).unwrap().expect("still nobody");
    assert_ne!(first, code, "each start makes a new one");
    problem_of(set_up(&api, &first), 422, "invalid-value");
    // A password that is not taken uses nothing up, and every fault comes at once.
    let poor = json!({"code": code, "club": " ", "name": "", "password": "short"});
    let said = problem_of(api.post("/api/v1/setup").json(&poor).send().unwrap(), 422, "invalid-value");
    let faults: Vec<&str> =
        said["errors"].as_array().unwrap().iter().map(|fault| fault["pointer"].as_str().unwrap()).collect();
    assert_eq!(faults, ["/password", "/name", "/club"]);

    let (browser, who) = Browser::of(set_up(&api, &code.to_lowercase().replace('-', " ")), 201);
    assert_eq!((&who["name"], &who["role"]), (&json!("sanderling"), &json!("curator")));
    assert_eq!(who["scopes"], json!(["read", "upload", "admin"]));
    let settings = browser.sign(api.get("/api/v1/settings")).send().unwrap();
    assert!(json_of(settings, 200).to_string().contains("Tidepool Reef Circle"));
    problem_of(set_up(&api, &code), 409, "already-set-up");
    assert_eq!(setup::renew(&mut api.connect()).unwrap(), None, "a club with an account gets no code");
    assert_eq!(audited(&api, "set up")[0]["actor"], json!(format!("account {}", who["account"])));
}

#[test]
fn two_who_set_up_at_once_are_one_curator() {
    let api = Api::start();
    let code = setup::renew(&mut api.connect()).unwrap().unwrap();
    let statuses: Vec<u16> = std::thread::scope(|scope| {
        let asked = |name: &'static str| {
            let (api, code) = (&api, &code);
            scope.spawn(move || {
                let body = json!({"code": code, "club": "Reef Circle", "name": name, "password": PASSWORD});
                api.post("/api/v1/setup").json(&body).send().unwrap().status().as_u16()
            })
        };
        let both = [asked("sanderling"), asked("dunlin")];
        both.map(|thread| thread.join().unwrap()).to_vec()
    });
    assert_eq!(statuses.iter().filter(|status| **status == 201).count(), 1, "{statuses:?}");
    assert!(statuses.iter().all(|status| [201, 409, 422].contains(status)), "{statuses:?}");
}

#[test]
fn guesses_of_the_setup_code_have_to_wait() {
    let api = Api::start();
    let code = setup::renew(&mut api.connect()).unwrap().unwrap();
    let mut statuses = Vec::new();
    for _ in 0..7 {
        statuses.push(set_up(&api, "0000-0000-0000-0000-0000").status().as_u16());
    }
    assert_eq!(statuses[..5], [422; 5]);
    assert!(statuses[5..].contains(&429), "{statuses:?}");
    let said = problem_of(set_up(&api, &code), 429, "quota-exceeded");
    assert!(said["detail"].as_str().unwrap().contains("wait"));
}

#[test]
fn an_invitation_makes_one_account_with_the_role_it_names() {
    let api = Api::start();
    let (made, secret) = invite(&api, &json!({"role": "keeper", "keeper": "sanderling", "expires_days": 3}));
    assert!(made["url"].as_str().unwrap().contains("/join/"), "{made}");
    assert_eq!((&made["keeper"], &made["accepted_at"]), (&json!("sanderling"), &Value::Null));
    // Nothing of it is used up by a name that is taken or a password that is not.
    member(&api, "dunlin", &json!({"role": "reader"}));
    problem_of(accept(&api, &secret, "DUNLIN"), 422, "invalid-value");
    let poor = json!({"secret": secret, "name": "sanderling", "password": "sanderling 1234"});
    let said = problem_of(api.post("/api/v1/invitations/accept").json(&poor).send().unwrap(), 422, "invalid-value");
    assert_eq!(
        (&said["errors"][0]["pointer"], &said["errors"][0]["code"]),
        (&json!("/password"), &json!("too_common"))
    );
    assert!(!said.to_string().contains("1234"), "a password is never said again");

    let (browser, who) = Browser::of(accept(&api, &secret, "sanderling"), 201);
    assert_eq!((&who["role"], &who["keeper"]), (&json!("keeper"), &json!("sanderling")));
    // A session does what a token of its role does: its own file, and nobody else's.
    let sent = browser.sign(api.post("/api/v1/uploads?name=a.csv")).header("content-type", "text/csv");
    let received = json_of(sent.body(water("Lagoon", 2.0)).send().unwrap(), 202);
    assert_eq!(received["keeper"], "sanderling");
    problem_of(browser.sign(api.get("/api/v1/accounts")).send().unwrap(), 403, "forbidden");

    problem_of(accept(&api, &secret, "whimbrel"), 404, "unknown-invitation");
    let list = json_of(api.get("/api/v1/invitations").bearer_auth(&api.curator).send().unwrap(), 200);
    assert!(!list.to_string().contains(&secret));
    let row = list["invitations"].as_array().unwrap().iter().find(|row| row["id"] == made["id"]).unwrap();
    assert!(row["accepted_at"].is_string() && row["account"] == who["account"], "{row}");
    #[derive(diesel::QueryableByName)]
    struct Count {
        #[diesel(sql_type = diesel::sql_types::BigInt)]
        n: i64,
    }
    let kept: Count =
        diesel::sql_query("SELECT count(*) AS n FROM invitation WHERE position($1 IN invitation::text) > 0")
            .bind::<diesel::sql_types::Text, _>(&secret)
            .get_result(&mut api.connect())
            .unwrap();
    assert_eq!(kept.n, 0, "the database holds the hash alone");
    for (action, count) in [("invite", 2), ("accept invitation", 2), ("make account", 2), ("make keeper", 1)] {
        assert_eq!(audited(&api, action).len(), count, "{action}");
    }
}

#[test]
fn an_invitation_that_was_withdrawn_or_has_expired_leads_nowhere() {
    let api = Api::start();
    let (made, secret) = invite(&api, &json!({"role": "reader"}));
    let path = format!("/api/v1/invitations/{}", made["id"]);
    let first = json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200);
    let again = json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200);
    assert!(first == again && first["revoked_at"].is_string());
    let withdrawn = problem_of(accept(&api, &secret, "dunlin"), 404, "unknown-invitation");

    let (made, secret) = invite(&api, &json!({"role": "reader"}));
    // The database's clock decides: a moment before it holds, a moment after it does not.
    sql(
        &api,
        &format!("UPDATE invitation SET expires_at = now() - interval '1 millisecond' WHERE id = {}", made["id"]),
    );
    let expired = problem_of(accept(&api, &secret, "dunlin"), 404, "unknown-invitation");
    assert_eq!(withdrawn["detail"], expired["detail"], "which it was is not told");
    sql(&api, &format!("UPDATE invitation SET expires_at = now() + interval '1 minute' WHERE id = {}", made["id"]));
    assert_eq!(accept(&api, &secret, "dunlin").status(), 201);
    problem_of(
        api.delete("/api/v1/invitations/999").bearer_auth(&api.curator).send().unwrap(),
        404,
        "unknown-invitation",
    );
    for (body, kind) in
        [(json!({"role": "king"}), "invalid-body"), (json!({"role": "reader", "expires_days": 61}), "invalid-body")]
    {
        problem_of(api.post("/api/v1/invitations").bearer_auth(&api.curator).json(&body).send().unwrap(), 400, kind);
    }
    for body in [
        json!({}),
        json!({"role": "reader", "account": 1}),
        json!({"role": "keeper"}),
        json!({"role": "curator", "keeper": "osprey"}),
        json!({"role": "keeper", "keeper": " x"}),
    ] {
        let asked = api.post("/api/v1/invitations").bearer_auth(&api.curator).json(&body);
        problem_of(asked.send().unwrap(), 422, "invalid-value");
    }
    let nobody = api.post("/api/v1/invitations").bearer_auth(&api.curator).json(&json!({"account": 999}));
    problem_of(nobody.send().unwrap(), 404, "unknown-account");
}

#[test]
fn who_forgot_a_password_gets_a_link_to_choose_a_new_one() {
    let api = Api::start();
    let (browser, id) = member(&api, "dunlin", &json!({"role": "reader"}));
    for _ in 0..6 {
        sign_in(&api, "dunlin", "a guess that is wrong");
    }
    let (_, secret) = invite(&api, &json!({"account": id}));
    let named = json!({"secret": secret, "name": "whimbrel", "password": OTHER});
    problem_of(api.post("/api/v1/invitations/accept").json(&named).send().unwrap(), 422, "invalid-value");
    let body = json!({"secret": secret, "password": OTHER});
    let (fresh, who) = Browser::of(api.post("/api/v1/invitations/accept").json(&body).send().unwrap(), 201);
    assert_eq!((&who["name"], &who["account"]), (&json!("dunlin"), &json!(id)));
    assert_eq!(browser.who(&api).status(), 401, "every session from before is over");
    assert_eq!(fresh.who(&api).status(), 200);
    problem_of(sign_in(&api, "dunlin", PASSWORD), 401, "wrong-password");
    assert_eq!(sign_in(&api, "dunlin", OTHER).status(), 201, "the failures from before are forgotten");
}

#[test]
fn a_curator_disables_an_account_and_ends_its_sessions() {
    let api = Api::start();
    let (boss, boss_id) = member(&api, "whimbrel", &json!({"role": "curator"}));
    let (browser, id) = member(&api, "dunlin", &json!({"role": "keeper", "keeper": "osprey"}));
    let made =
        json_of(browser.sign(api.post("/api/v1/me/tokens")).json(&json!({"label": "phone"})).send().unwrap(), 201);
    let token = made["token"].as_str().unwrap();
    let change =
        |id: i64, body: &Value| boss.sign(api.patch(&format!("/api/v1/accounts/{id}"))).json(body).send().unwrap();
    let ended = json_of(change(id, &json!({"end_sessions": true})), 200);
    assert_eq!(
        (&ended["sessions_ended"], &ended["sessions"], &ended["disabled_at"]),
        (&json!(1), &json!(0), &Value::Null)
    );
    assert_eq!(browser.who(&api).status(), 401);
    assert_eq!(api.get("/api/v1/me").bearer_auth(token).send().unwrap().status(), 200, "a token is no session");
    let (browser, _) = Browser::of(sign_in(&api, "dunlin", PASSWORD), 201);
    let off = json_of(change(id, &json!({"disabled": true})), 200);
    assert!(off["disabled_at"].is_string() && off["sessions_ended"] == 1, "{off}");
    assert_eq!(browser.who(&api).status(), 401);
    problem_of(api.get("/api/v1/me").bearer_auth(token).send().unwrap(), 401, "unauthorised");
    problem_of(sign_in(&api, "dunlin", PASSWORD), 401, "wrong-password");
    json_of(change(id, &json!({"disabled": false})), 200);
    assert_eq!(sign_in(&api, "dunlin", PASSWORD).status(), 201);
    problem_of(change(boss_id, &json!({"disabled": true})), 422, "invalid-value");
    problem_of(change(999, &json!({"disabled": true})), 404, "unknown-account");
    for action in ["end sessions", "disable account", "enable account"] {
        assert_eq!(audited(&api, action)[0]["actor"], format!("account {boss_id}"), "{action}");
    }
    // A member who withdraws takes the account along.
    let (browser, _) = Browser::of(sign_in(&api, "dunlin", PASSWORD), 201);
    json_of(browser.sign(api.delete("/api/v1/me?confirm=osprey")).send().unwrap(), 200);
    problem_of(sign_in(&api, "dunlin", PASSWORD), 401, "wrong-password");
}

#[test]
fn a_token_of_ones_own_has_at_most_ones_own_rights() {
    let api = Api::start();
    let (browser, id) = member(&api, "dunlin", &json!({"role": "keeper", "keeper": "osprey"}));
    let (other, _) = member(&api, "whimbrel", &json!({"role": "keeper", "keeper": "heron"}));
    let make = |body: &Value| browser.sign(api.post("/api/v1/me/tokens")).json(body).send().unwrap();
    problem_of(make(&json!({"scopes": ["admin"]})), 422, "invalid-value");
    problem_of(make(&json!({"scopes": []})), 400, "invalid-body");
    problem_of(make(&json!({"role": "curator"})), 400, "invalid-body");
    let made = json_of(make(&json!({"scopes": ["read"], "label": "spreadsheet", "expires_days": 90})), 201);
    let token = made["token"].as_str().unwrap();
    let me = json_of(api.get("/api/v1/me").bearer_auth(token).send().unwrap(), 200);
    assert_eq!((&me["keeper"], &me["scopes"], &me["account"]), (&json!("osprey"), &json!(["read"]), &json!(id)));
    problem_of(api.post("/api/v1/uploads?name=a.csv").bearer_auth(token).body("a").send().unwrap(), 403, "forbidden");
    let by_token = api.post("/api/v1/me/tokens").bearer_auth(token).json(&json!({}));
    problem_of(by_token.send().unwrap(), 403, "forbidden");

    let path = format!("/api/v1/me/tokens/{}", made["id"]);
    let list = |of: &Browser| {
        let list = json_of(of.sign(api.get("/api/v1/me/tokens")).send().unwrap(), 200);
        list["tokens"].as_array().unwrap().len()
    };
    assert_eq!(
        (list(&browser), list(&other)),
        (1, 0),
        "the tokens of a member that a curator made are not the account's"
    );
    problem_of(other.sign(api.delete(&path)).send().unwrap(), 404, "unknown-token");
    let gone = json_of(browser.sign(api.delete(&path)).send().unwrap(), 200);
    assert!(gone["revoked_at"].is_string());
    problem_of(api.get("/api/v1/me").bearer_auth(token).send().unwrap(), 401, "unauthorised");
    assert_eq!(audited(&api, "issue token")[0]["actor"], format!("account {id}"));
}
