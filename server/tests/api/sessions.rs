//! Sessions: cookies, other sites, passwords, guesses.

use reqwest::blocking::RequestBuilder;
use serde_json::{Value, json};

use crate::api_support::{Api, json_of, problem_of, water};
use crate::people::{Browser, OTHER, PASSWORD, audited, member, set_cookie, sign_in, sql};

#[test]
fn cookies_are_kept_from_scripts_and_other_sites() {
    let api = Api::start();
    member(&api, "dunlin", &json!({"role": "reader"}));
    let here = set_cookie(&sign_in(&api, "Dunlin", PASSWORD));
    for part in ["strandline=", "; HttpOnly", "; SameSite=Lax", "; Path=/", "; Max-Age=2592000"] {
        assert!(here.contains(part), "{here}: {part}");
    }
    assert!(!here.contains("Secure") && !here.contains("Domain"), "{here}");
    let body = json!({"name": "dunlin", "password": PASSWORD});
    let behind = |request: RequestBuilder| {
        let request = request.header("x-forwarded-proto", "https").header("x-forwarded-for", "192.0.2.7");
        request.header("x-forwarded-host", "club.example")
    };
    let secure =
        behind(api.post("/api/v1/session").header("origin", "https://club.example").json(&body)).send().unwrap();
    let cookie = set_cookie(&secure);
    assert!(cookie.starts_with("__Host-strandline=") && cookie.contains("; Secure"), "{cookie}");
    let value = cookie.split(';').next().unwrap();
    assert_eq!(behind(api.get("/api/v1/session").header("cookie", value)).send().unwrap().status(), 200);
    assert_eq!(
        api.get("/api/v1/session").header("cookie", value).send().unwrap().status(),
        401,
        "over plain HTTP it is none"
    );
    let open = api.post("/api/v1/session").header("x-forwarded-for", "192.0.2.7").json(&body);
    problem_of(open.send().unwrap(), 403, "https-needed");
    // What other sites' pages read of a session's answer is nothing: browsers send no cookie to `*`.
    let shown = api.get("/api/v1/session").header("cookie", here.split(';').next().unwrap()).send().unwrap();
    assert_eq!(shown.headers()["access-control-allow-origin"], "*");
    assert!(!shown.headers().contains_key("access-control-allow-credentials"));
    assert_eq!(shown.headers()["cache-control"], "no-store");
}

#[test]
fn a_session_is_made_anew_at_each_sign_in_and_a_cookie_from_elsewhere_is_none() {
    let api = Api::start();
    member(&api, "dunlin", &json!({"role": "reader"}));
    let body = json!({"name": "dunlin", "password": PASSWORD});
    let planted = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef";
    let request = api.post("/api/v1/session").header("cookie", format!("strandline={planted}")).json(&body);
    let (first, _) = Browser::of(request.send().unwrap(), 201);
    assert!(!first.cookie.contains(planted));
    let of_planted = api.get("/api/v1/session").header("cookie", format!("strandline={planted}")).send().unwrap();
    problem_of(of_planted, 401, "unauthorised");
    let (second, _) =
        Browser::of(api.post("/api/v1/session").header("cookie", &first.cookie).json(&body).send().unwrap(), 201);
    assert_ne!(first, second);
    assert_eq!(first.who(&api).status(), 401, "the session from before the sign-in is over");
    assert_eq!(second.who(&api).status(), 200);
    // A stale cookie keeps nobody from what everybody may read.
    let public = api.get("/api/v1/club").header("cookie", &first.cookie).send().unwrap();
    assert_eq!(
        (public.status().as_u16(), public.headers()["cache-control"].to_str().unwrap().contains("public")),
        (200, true)
    );
    let vary = public.headers()["vary"].to_str().unwrap().to_owned();
    assert!(vary.contains("Cookie"), "{vary}");

    let out = second.sign(api.delete("/api/v1/session")).send().unwrap();
    assert!(set_cookie(&out).contains("Max-Age=0"));
    assert_eq!(json_of(out, 200)["signed_out"], true);
    assert_eq!(second.who(&api).status(), 401);
    assert!(!audited(&api, "sign out").is_empty());
}

#[test]
fn a_session_rests_a_week_and_lasts_a_month_by_the_clock_of_the_database() {
    let api = Api::start();
    let (browser, id) = member(&api, "dunlin", &json!({"role": "reader"}));
    let shift = |column: &str, by: &str| {
        sql(&api, &format!("UPDATE session SET {column} = now() {by} WHERE account_id = {id}"))
    };
    for (column, by, status) in [
        ("last_used_at", "- interval '7 days' + interval '1 minute'", 200),
        ("last_used_at", "- interval '7 days' - interval '1 second'", 401),
        ("last_used_at", "", 200),
        ("expires_at", "+ interval '1 minute'", 200),
        ("expires_at", "- interval '1 second'", 401),
    ] {
        shift(column, by);
        assert_eq!(browser.who(&api).status(), status, "{column} = now {by}");
    }
    shift("expires_at", "+ interval '1 day'");
    shift("last_used_at", "- interval '2 days'");
    assert_eq!(browser.who(&api).status(), 200);
    let used = json_of(api.get("/api/v1/accounts").bearer_auth(&api.curator).send().unwrap(), 200);
    assert_eq!(used["accounts"][0]["sessions"], 1, "its use was noted");
}

#[test]
fn what_another_site_sends_in_a_session_is_refused() {
    let api = Api::start();
    let (browser, _) = member(&api, "whimbrel", &json!({"role": "curator"}));
    let (other, _) = member(&api, "dunlin", &json!({"role": "curator"}));
    let body = json!({"release_days": 7});
    let patch = || api.patch("/api/v1/settings").json(&body);
    let refused = |request: RequestBuilder| problem_of(request.send().unwrap(), 403, "cross-site");
    refused(patch().header("cookie", &browser.cookie));
    refused(patch().header("cookie", &browser.cookie).header("x-csrf-token", ""));
    refused(patch().header("cookie", &browser.cookie).header("x-csrf-token", &other.csrf));
    refused(browser.sign(patch()).header("origin", "https://elsewhere.example"));
    refused(browser.sign(patch()).header("origin", "null"));
    refused(browser.sign(patch()).header("sec-fetch-site", "cross-site"));
    refused(browser.sign(patch()).header("sec-fetch-site", "same-site"));
    let own = api.base.clone();
    json_of(browser.sign(patch()).header("origin", &own).header("sec-fetch-site", "same-origin").send().unwrap(), 200);
    // Reading needs none of it; a token goes before a cookie and needs none of it either.
    let read =
        api.get("/api/v1/settings").header("cookie", &browser.cookie).header("origin", "https://elsewhere.example");
    json_of(read.send().unwrap(), 200);
    let token = patch().bearer_auth(&api.curator).header("cookie", &browser.cookie);
    json_of(token.header("origin", "https://elsewhere.example").send().unwrap(), 200);
    // A form of another site cannot sign anybody in as somebody else.
    let form = api.post("/api/v1/session").header("content-type", "text/plain").body("{}");
    problem_of(form.send().unwrap(), 415, "unsupported-media-type");
    let login = api.post("/api/v1/session").header("sec-fetch-site", "cross-site");
    refused(login.json(&json!({"name": "dunlin", "password": PASSWORD})));
}

#[test]
fn a_changed_password_ends_every_session() {
    let api = Api::start();
    let (first, id) = member(&api, "dunlin", &json!({"role": "reader"}));
    let (second, _) = Browser::of(sign_in(&api, "dunlin", PASSWORD), 201);
    let change = |browser: &Browser, present: &str, new: &str| {
        let body = json!({"present": present, "new": new});
        browser.sign(api.post("/api/v1/me/password")).json(&body).send().unwrap()
    };
    problem_of(change(&first, "not the present one", OTHER), 401, "wrong-password");
    let said = problem_of(change(&first, PASSWORD, "dunlindunlindunlin"), 422, "invalid-value");
    assert_eq!(said["errors"][0]["pointer"], "/new");
    let (third, _) = Browser::of(change(&first, PASSWORD, OTHER), 200);
    for (browser, status) in [(&first, 401), (&second, 401), (&third, 200)] {
        assert_eq!(browser.who(&api).status(), status);
    }
    problem_of(sign_in(&api, "dunlin", PASSWORD), 401, "wrong-password");
    assert_eq!(sign_in(&api, "dunlin", OTHER).status(), 201);
    for action in ["change password", "fail to change password", "fail to sign in"] {
        assert_eq!(audited(&api, action)[0]["subject"], format!("account {id}"), "{action}");
    }
    let by_token = api.post("/api/v1/me/password").bearer_auth(&api.osprey).json(&json!({"present": "", "new": ""}));
    problem_of(by_token.send().unwrap(), 403, "forbidden");
}

#[test]
fn a_password_is_in_no_answer_whatever_is_sent() {
    let api = Api::start();
    for body in [
        r#"{"name": "dunlin", "password": 7351273512735127}"#,
        r#"{"name": "dunlin", "password": ["7351273512735127"]}"#,
        r#"{"name": "dunlin", "password": "7351273512735127", "more": 1}"#,
        r#"{"name": "dunlin", "password": "7351273512735127""#,
        r#"{"name": "dunlin", "password": "7351273512735127"}"#,
    ] {
        let sent = api.post("/api/v1/session").header("content-type", "application/json").body(body).send().unwrap();
        assert!([400, 401].contains(&sent.status().as_u16()));
        let text = sent.text().unwrap();
        assert!(!text.contains("73512"), "{text}");
    }
}

#[test]
fn guesses_wait_longer_and_longer_on_every_server() {
    let api = Api::start();
    member(&api, "dunlin", &json!({"role": "reader"}));
    let beside = Api::serve(api.database.clone(), api.tokens(), |_| {});
    for name in ["dunlin", "nobody of this name"] {
        sql(&api, "DELETE FROM guess");
        let mut refused = Vec::new();
        // Two servers count together, and a name that nobody has is answered like one that somebody has.
        for turn in 0..7 {
            let server = if turn % 2 == 0 { &api } else { &beside };
            let response = sign_in(server, name, "a guess that is wrong");
            let wait = response.headers().get("retry-after").map(|value| value.to_str().unwrap().to_owned());
            let status = response.status().as_u16();
            let body: Value = response.json().unwrap();
            refused.push((status, body["detail"].as_str().unwrap().to_owned(), wait));
        }
        let statuses: Vec<u16> = refused.iter().map(|(status, ..)| *status).collect();
        assert_eq!(statuses[..5], [401; 5], "{name}: {statuses:?}");
        let (status, said, wait) = refused.iter().find(|(status, ..)| *status == 429).expect("one has to wait");
        assert!(*status == 429 && said.contains("wait"), "{said}");
        assert!((1..=4).contains(&wait.as_ref().unwrap().parse::<u32>().unwrap()), "{wait:?}");
        assert_eq!(refused[0].1, "Name and password do not fit. Whoever forgot a password asks a curator.");
    }
    // The right password waits too, and is taken when its time has come; then the count begins anew.
    sql(&api, "DELETE FROM guess");
    for _ in 0..5 {
        sign_in(&api, "dunlin", "a guess that is wrong");
    }
    sql(&api, "UPDATE guess SET free_at = now() + interval '1 minute' WHERE kind = 'account'");
    problem_of(sign_in(&api, "DUNLIN", PASSWORD), 429, "quota-exceeded");
    sql(&api, "UPDATE guess SET free_at = now()");
    assert_eq!(sign_in(&api, "dunlin", PASSWORD).status(), 201);
    assert_eq!(sign_in(&api, "dunlin", PASSWORD).status(), 201);
    // After a hundred failures in a row no password is looked at, however long somebody waits.
    problem_of(sign_in(&api, "dunlin", "a guess that is wrong"), 401, "wrong-password");
    sql(&api, "UPDATE guess SET failures = 100, free_at = now() - interval '1 day' WHERE kind = 'account'");
    problem_of(sign_in(&api, "dunlin", PASSWORD), 429, "quota-exceeded");
    // An address waits as well, whatever names it tries; another address does not.
    sql(&api, "DELETE FROM guess");
    let from = |address: &str, name: &str, password: &str| {
        let request =
            api.post("/api/v1/session").header("x-forwarded-for", address).header("x-forwarded-proto", "https");
        request.json(&json!({"name": name, "password": password})).send().unwrap()
    };
    from("192.0.2.7", "somebody", "a guess that is wrong");
    sql(&api, "UPDATE guess SET failures = 30, free_at = now() + interval '1 minute' WHERE kind = 'address'");
    problem_of(from("192.0.2.7", "dunlin", PASSWORD), 429, "quota-exceeded");
    assert_eq!(from("192.0.2.8", "dunlin", PASSWORD).status(), 201);
}

#[test]
fn guesses_sent_at_once_do_not_all_pass() {
    let api = Api::start();
    member(&api, "dunlin", &json!({"role": "reader"}));
    let statuses: Vec<u16> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..16)
            .map(|_| scope.spawn(|| sign_in(&api, "dunlin", "a guess that is wrong").status().as_u16()))
            .collect();
        threads.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    let looked_at = statuses.iter().filter(|status| **status == 401).count();
    assert!(looked_at <= 6, "{statuses:?}");
}

#[test]
fn an_idempotency_key_is_the_accounts_in_every_session() {
    let api = Api::start();
    let (first, _) = member(&api, "dunlin", &json!({"role": "keeper", "keeper": "osprey"}));
    let (second, _) = Browser::of(sign_in(&api, "dunlin", PASSWORD), 201);
    let send = |browser: &Browser, nitrate: f64| {
        let request = browser.sign(api.post("/api/v1/uploads?name=a.csv")).header("idempotency-key", "\"tide-1\"");
        request.header("content-type", "text/csv").body(water("Lagoon", nitrate)).send().unwrap()
    };
    let made = json_of(send(&first, 2.0), 202);
    let again = send(&second, 2.0);
    assert_eq!(again.json::<Value>().unwrap()["id"], made["id"]);
    problem_of(send(&second, 3.0), 422, "key-reused");
}
