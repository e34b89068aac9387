//! Keys for programs: shown once, kept as hashes, narrowed by scopes, ended by expiry and withdrawal.

use diesel::RunQueryDsl;
use serde_json::{Value, json};

use crate::api_support::{Api, json_of, problem_of};

fn make(api: &Api, body: &Value) -> Value {
    json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(body).send().unwrap(), 201)
}

#[test]
fn a_token_is_shown_once_and_kept_as_a_hash() {
    let api = Api::start();
    let made = make(
        &api,
        &json!({"role": "keeper", "keeper": "dunlin", "create": true, "label": "phone", "expires_days": 30}),
    );
    let secret = made["token"].as_str().unwrap().to_owned();
    assert!(secret.starts_with("strand_") && secret.len() == 7 + 64, "{secret}");
    let me = json_of(api.get("/api/v1/me").bearer_auth(&secret).send().unwrap(), 200);
    assert_eq!(
        (&me["role"], &me["keeper"], &me["scopes"]),
        (&json!("keeper"), &json!("dunlin"), &json!(["read", "upload"]))
    );

    let list = json_of(api.get("/api/v1/tokens?limit=1000").bearer_auth(&api.curator).send().unwrap(), 200);
    assert!(!list.to_string().contains(&secret));
    let row = list["tokens"].as_array().unwrap().iter().find(|row| row["id"] == made["id"]).unwrap();
    assert_eq!(row["prefix"], secret[..13]);
    assert!(row["last_used_at"].is_string(), "its use was noted");
    assert!(row["expires_at"].is_string());
    #[derive(diesel::QueryableByName)]
    struct Count {
        #[diesel(sql_type = diesel::sql_types::BigInt)]
        n: i64,
    }
    let kept: Count = diesel::sql_query("SELECT count(*) AS n FROM token WHERE position($1 IN token::text) > 0")
        .bind::<diesel::sql_types::Text, _>(&secret[13..])
        .get_result(&mut api.connect())
        .unwrap();
    assert_eq!(kept.n, 0, "the database does not hold the token itself");
}

#[test]
fn a_withdrawn_and_an_expired_token_end() {
    let api = Api::start();
    let made = make(&api, &json!({"role": "reader"}));
    let secret = made["token"].as_str().unwrap();
    let path = format!("/api/v1/tokens/{}", made["id"]);
    let first = json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200);
    let again = json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200);
    assert_eq!(first, again);
    problem_of(api.get("/api/v1/me").bearer_auth(secret).send().unwrap(), 401, "unauthorised");
    problem_of(api.delete("/api/v1/tokens/999999").bearer_auth(&api.curator).send().unwrap(), 404, "unknown-token");

    let made = make(&api, &json!({"role": "reader", "expires_days": 1}));
    let secret = made["token"].as_str().unwrap();
    assert_eq!(api.get("/api/v1/me").bearer_auth(secret).send().unwrap().status(), 200);
    diesel::sql_query("UPDATE token SET expires_at = now() - interval '1 second' WHERE id = $1")
        .bind::<diesel::sql_types::BigInt, _>(made["id"].as_i64().unwrap())
        .execute(&mut api.connect())
        .unwrap();
    problem_of(api.get("/api/v1/me").bearer_auth(secret).send().unwrap(), 401, "unauthorised");
}

#[test]
fn scopes_narrow_what_a_role_may_do() {
    let api = Api::start();
    let made = make(&api, &json!({"role": "curator", "scopes": ["read"]}));
    let secret = made["token"].as_str().unwrap();
    assert_eq!(api.get("/api/v1/uploads").bearer_auth(secret).send().unwrap().status(), 200);
    problem_of(api.get("/api/v1/tokens").bearer_auth(secret).send().unwrap(), 403, "forbidden");
    let post = api.post("/api/v1/uploads?name=a.csv&keeper=osprey").bearer_auth(secret).body("a");
    problem_of(post.send().unwrap(), 403, "forbidden");
    let wide =
        api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&json!({"role": "reader", "scopes": ["upload"]}));
    problem_of(wide.send().unwrap(), 422, "invalid-value");
    let nobody =
        api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&json!({"role": "keeper", "keeper": "nobody"}));
    problem_of(nobody.send().unwrap(), 422, "invalid-value");
    let lacking = api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&json!({"role": "keeper"}));
    problem_of(lacking.send().unwrap(), 422, "invalid-value");
}

#[test]
fn a_long_list_is_read_page_by_page() {
    let api = Api::start();
    for _ in 0..5 {
        make(&api, &json!({"role": "reader"}));
    }
    let mut path = "/api/v1/tokens?limit=2".to_owned();
    let mut ids = Vec::new();
    loop {
        let response = api.get(&path).bearer_auth(&api.curator).send().unwrap();
        let link = response.headers().get("link").map(|value| value.to_str().unwrap().to_owned());
        let page = json_of(response, 200);
        ids.extend(page["tokens"].as_array().unwrap().iter().map(|row| row["id"].as_i64().unwrap()));
        let Some(next) = page["links"]["next"].as_str() else {
            assert_eq!(link, None);
            break;
        };
        assert_eq!(link.unwrap(), format!("<{next}>; rel=\"next\""));
        assert!(next.contains("limit=2"));
        path = next.to_owned();
    }
    assert_eq!(ids.len(), 9, "four of the start and five more");
    assert!(ids.windows(2).all(|pair| pair[0] < pair[1]));
    problem_of(api.get("/api/v1/tokens?cursor=00").bearer_auth(&api.curator).send().unwrap(), 400, "invalid-query");
}
