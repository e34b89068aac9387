//! Releases: what public and members read stays as it was frozen, until enough has changed or somebody withdraws.

use diesel::prelude::*;
use serde_json::{Value, json};
use server::route::{
    BandsAnswer, CasebookAnswer, ClaimsAnswer, ConditionsAnswer, HazardAnswer, LeadUpAnswer, PlanAnswer,
};

use crate::answers::club;
use crate::api_support::{Api, json_of, problem_of};

const ABOUT: [&str; 6] = ["conditions", "bands", "hazard", "lead-up", "plan", "casebook"];

fn ask(api: &Api, about: &str, token: Option<&str>) -> Value {
    let request = api.get(&format!("/api/v1/taxa/goniopora/{about}"));
    let request = if let Some(token) = token { request.bearer_auth(token) } else { request };
    json_of(request.send().unwrap(), 200)
}

/// One more coral of a member of the club made by `club`, lost or alive.
fn one_more(api: &Api, keeper: u32) {
    let body = json!({"role": "keeper", "keeper": format!("keeper{keeper}")});
    let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
    let token = made["token"].as_str().unwrap();
    let register =
        format!("ID,Coral,Acquired,Tank,Date died\nNEW{keeper},Goniopora sp.,2024-02-01,Tank {keeper},2024-05-01\n");
    api.commit_register(token, "name=more.csv&log=more&as_of=2024-12-30", register, "2023-12-01");
}

/// Says that a release is due, as the clock does, and asks for something so that it is made.
fn next_release(api: &Api, reason: &str) -> i64 {
    let mut connection = api.database.connect();
    server::release::ask_for(&mut connection, reason).unwrap();
    server::release::make_those_due(&mut connection).unwrap();
    use migrations::schema::release::dsl;
    dsl::release.select(diesel::dsl::max(dsl::number)).first::<Option<i64>>(&mut connection).unwrap().unwrap()
}

#[test]
fn what_is_served_is_what_is_documented() {
    let api = Api::start();
    club(&api);
    fn same<T: serde::Serialize + serde::de::DeserializeOwned>(sent: &Value) {
        let read: T = serde_json::from_value(sent.clone()).unwrap_or_else(|error| panic!("{error}: {sent:#}"));
        assert_eq!(&serde_json::to_value(&read).unwrap(), sent);
    }
    for token in [None, Some(api.reader.as_str()), Some(api.curator.as_str())] {
        same::<ConditionsAnswer>(&ask(&api, "conditions", token));
        same::<BandsAnswer>(&ask(&api, "bands", token));
        same::<HazardAnswer>(&ask(&api, "hazard", token));
        same::<LeadUpAnswer>(&ask(&api, "lead-up", token));
        same::<PlanAnswer>(&ask(&api, "plan", token));
        same::<CasebookAnswer>(&ask(&api, "casebook", token));
        let request = api.get("/api/v1/claims");
        let request = if let Some(token) = token { request.bearer_auth(token) } else { request };
        same::<ClaimsAnswer>(&json_of(request.send().unwrap(), 200));
    }
}

#[test]
fn members_read_a_release_and_curators_the_edition() {
    let api = Api::start();
    club(&api);
    for about in ABOUT {
        let (curator, member) = (ask(&api, about, Some(&api.curator)), ask(&api, about, Some(&api.reader)));
        assert!(curator["edition"].is_i64() && curator["release"].is_null(), "{about}");
        assert!(member["release"].is_i64() && member["edition"].is_null(), "{about}");
        let table = api.get(&format!("/api/v1/taxa/goniopora/{about}?format=csv")).bearer_auth(&api.curator);
        let table = table.send().unwrap().text().unwrap();
        let width = table.lines().next().unwrap().split(',').count();
        assert!(width > 8 && table.lines().count() > 1, "{about}: {table}");
    }
    // q awaits a release for curators and is there, or refused with another reason, in one.
    let awaits = |answer: &Value| answer.to_string().contains("AwaitsRelease");
    assert!(awaits(&ask(&api, "conditions", Some(&api.curator))));
    assert!(!awaits(&ask(&api, "conditions", Some(&api.reader))));
    // No answer names anybody, and the public has no casebook.
    for about in ABOUT {
        assert!(!ask(&api, about, Some(&api.curator)).to_string().contains("keeper1"), "{about}");
    }
    assert_eq!(ask(&api, "casebook", None)["result"]["refused"]["code"], "Suppressed");
}

#[test]
fn figures_change_with_three_members_and_not_with_two() {
    let api = Api::start();
    club(&api);
    let first = ask(&api, "hazard", Some(&api.reader));
    assert_eq!(first["release"], 1);
    one_more(&api, 1);
    // Frozen: what was committed since is not there.
    assert_eq!(ask(&api, "hazard", Some(&api.reader)), first);
    assert_eq!(next_release(&api, "scheduled"), 2);
    assert_eq!(ask(&api, "hazard", Some(&api.reader)), first, "one member changed it");
    one_more(&api, 2);
    assert_eq!(next_release(&api, "scheduled"), 3);
    assert_eq!(ask(&api, "hazard", Some(&api.reader)), first, "two members changed it");
    one_more(&api, 4);
    assert_eq!(next_release(&api, "scheduled"), 4);
    let later = ask(&api, "hazard", Some(&api.reader));
    assert_eq!(later["release"], 4);
    assert_eq!(later["evidence"]["deaths"], 13);
    // What was kept of the older releases is gone with their use: splits of which some block changed by fewer stand.
    use migrations::schema::release::dsl;
    let mut connection = api.database.connect();
    let kept: Vec<i64> = dsl::release
        .filter(dsl::records.is_not_null().and(dsl::members.is_not_null()))
        .order(dsl::number)
        .select(dsl::number)
        .load(&mut connection)
        .unwrap();
    assert_eq!(kept, [1, 4]);
}

#[test]
fn a_split_stands_until_three_members_have_changed_a_block_of_it() {
    let api = Api::start();
    club(&api);
    let by_nitrate = |api: &Api| {
        let path = "/api/v1/taxa/goniopora/survival?by=nitrate&edges=15";
        json_of(api.get(path).bearer_auth(&api.reader).send().unwrap(), 200)
    };
    let first = by_nitrate(&api);
    assert!(first["result"]["groups"].as_array().is_some_and(|groups| groups.len() == 2), "{first:#}");
    // Two members with little nitrate and one with much: three in all, but no three in one block.
    for keeper in [1, 2, 4] {
        one_more(&api, keeper);
    }
    assert_eq!(next_release(&api, "scheduled"), 2);
    assert_eq!(ask(&api, "hazard", Some(&api.reader))["release"], 2);
    assert_eq!(by_nitrate(&api), first);
    assert_eq!(ask(&api, "conditions", Some(&api.reader))["release"], 1, "it is made of all splits");
    // With a third on either side both blocks follow.
    for keeper in [3, 5, 6] {
        one_more(&api, keeper);
    }
    assert_eq!(next_release(&api, "scheduled"), 3);
    assert_eq!(by_nitrate(&api)["release"], 3);
}

/// A member's token to write with.
fn keeper(api: &Api, keeper: u32) -> String {
    let body = json!({"role": "keeper", "keeper": format!("keeper{keeper}")});
    let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
    made["token"].as_str().unwrap().to_owned()
}

/// Nitrate tests of a member, as the club made by `club` has them, on these days.
fn tests(api: &Api, of: u32, log: &str, days: impl Iterator<Item = chrono::NaiveDate>) {
    let nitrate = if of <= 3 { 8 } else { 25 };
    let rows: String = days.map(|day| format!("{day},{nitrate}\n")).collect();
    api.commit(&keeper(api, of), &format!("name={log}.csv&log={log}"), format!("Date,Nitrate (mg/L)\n{rows}"));
}

fn day(text: &str) -> chrono::NaiveDate {
    text.parse().unwrap()
}

/// A line of the conditions of Goniopora, as members read it.
fn line(api: &Api, condition: &str) -> Value {
    let answer = ask(api, "conditions", Some(&api.reader));
    let lines = answer["result"]["conditions"].as_array().unwrap_or_else(|| panic!("{answer:#}"));
    let line = lines.iter().find(|line| line["condition"] == condition).unwrap();
    json!({"release": answer["release"], "line": line})
}

#[test]
fn a_line_on_cells_of_its_own_is_withheld_until_three_members_have_changed_it() {
    let api = Api::start();
    club(&api);
    let first = line(&api, "nitrate_testing_gap");
    assert!(first["line"]["evidence"]["level"]["specimens"].is_i64(), "{first:#}");
    let nitrate = line(&api, "nitrate");
    assert!(nitrate["line"]["evidence"]["level"]["specimens"].is_i64(), "{nitrate:#}");
    // Tests between the monthly ones shorten the gaps of one member and change nothing else; two more write of years
    // before they had corals.
    let between =
        || (0..14).map(|month| crate::answers::arrival() - chrono::Days::new(15) + chrono::Days::new(30 * month));
    tests(&api, 1, "between", between());
    for of in [2, 3] {
        tests(&api, of, "early", [day("2015-03-01")].into_iter());
    }
    assert_eq!(next_release(&api, "scheduled"), 2);
    let withheld = line(&api, "nitrate_testing_gap");
    assert_eq!(withheld["release"], 2);
    assert_eq!(withheld["line"]["refused"]["code"], "Suppressed", "{withheld:#}");
    assert_eq!(withheld["line"]["evidence"]["level"]["refused"]["code"], "Suppressed");
    assert_eq!(line(&api, "nitrate")["line"]["evidence"], nitrate["line"]["evidence"], "the others are told");
    // It is withheld from the next release too, whatever else is written.
    for of in [4, 5, 6] {
        tests(&api, of, "early", [day("2015-03-01")].into_iter());
    }
    assert_eq!(next_release(&api, "scheduled"), 3);
    assert_eq!(line(&api, "nitrate_testing_gap")["line"]["refused"]["code"], "Suppressed");
    for of in [2, 3] {
        tests(&api, of, "between", between());
    }
    tests(&api, 4, "earlier", [day("2014-03-01")].into_iter());
    assert_eq!(next_release(&api, "scheduled"), 4);
    let told = line(&api, "nitrate_testing_gap");
    assert_eq!(told["release"], 4);
    let days = |line: &Value| line["line"]["evidence"]["level"]["specimen_days"].as_f64().unwrap();
    assert!(days(&told) < days(&first), "gaps are shorter now: {told:#}");
    // Somebody withdraws: what was told rests on records that are gone, and is withheld beside the rest of the taxon.
    let mut connection = api.database.connect();
    diesel::sql_query("DELETE FROM keeper WHERE handle = 'keeper6'").execute(&mut connection).unwrap();
    assert_eq!(ask(&api, "conditions", Some(&api.reader))["result"]["refused"]["code"], "Suppressed");
}

#[test]
fn answers_about_every_taxon_take_each_from_the_release_that_stands_for_it() {
    let api = Api::start();
    club(&api);
    let listed = |token: &str| {
        let list = json_of(api.get("/api/v1/taxa?q=Goniopora").bearer_auth(token).send().unwrap(), 200);
        let of = list["taxa"].as_array().unwrap().iter().find(|taxon| taxon["slug"] == "goniopora").unwrap();
        of["records"]["specimens"].clone()
    };
    let claimed = || {
        let claims = json_of(api.get("/api/v1/claims").bearer_auth(&api.reader).send().unwrap(), 200);
        let of =
            |claim: &Value| claim["taxa"].as_array().unwrap().iter().find(|of| of["taxon"] == "goniopora").cloned();
        let lines: Vec<Value> = claims["claims"].as_array().unwrap().iter().filter_map(of).collect();
        (claims["release"].clone(), lines)
    };
    let first = claimed();
    assert!(first.1.iter().any(|line| line.to_string().contains("hazard_ratio")), "{first:#?}");
    assert_eq!(listed(&api.reader), 24);
    // Three members write, and one of them of Goniopora.
    one_more(&api, 1);
    for of in [2, 3] {
        let register =
            format!("ID,Coral,Acquired,Tank,Date died\nA{of},Alveopora sp.,2024-02-01,Tank {of},2024-05-01\n");
        api.commit_register(&keeper(&api, of), "name=a.csv&log=a&as_of=2024-12-30", register, "2023-12-01");
    }
    assert_eq!(next_release(&api, "scheduled"), 2);
    assert_eq!(listed(&api.curator), 25);
    assert_eq!(listed(&api.reader), 24, "one member changed it");
    let later = claimed();
    assert_eq!(later.0, 2);
    assert_eq!(later.1, first.1);
    // A species without records of its own falls back to the genus, of which release 1 stands: not by way of it.
    let path = "/api/v1/taxa/goniopora-stokesi/survival";
    let species = json_of(api.get(path).bearer_auth(&api.reader).send().unwrap(), 200);
    let step =
        species["taxon"]["fallback"].as_array().unwrap().iter().find(|step| step["taxon"] == "goniopora").unwrap();
    assert_eq!(step["refused"]["code"], "Suppressed", "{species:#}");
    let exact = json_of(api.get(path).bearer_auth(&api.curator).send().unwrap(), 200);
    assert_eq!(exact["taxon"]["answered"], "goniopora");
}

#[test]
fn the_weeks_before_losses_are_told_over_all_years() {
    let api = Api::start();
    club(&api);
    let asked = |token: &str| api.get("/api/v1/taxa/goniopora/lead-up?since=2023").bearer_auth(token).send().unwrap();
    let problem = problem_of(asked(&api.reader), 400, "invalid-query");
    assert!(problem["errors"][0]["detail"].as_str().unwrap().contains("all years"), "{problem:#}");
    json_of(asked(&api.curator), 200);
}

#[test]
fn a_withdrawal_forces_a_release_and_withholds_what_would_tell_who() {
    let api = Api::start();
    club(&api);
    let first = ask(&api, "hazard", Some(&api.reader));
    assert_eq!(first["evidence"]["deaths"], 10);
    let mut connection = api.database.connect();
    diesel::sql_query("DELETE FROM keeper WHERE handle = 'keeper1'").execute(&mut connection).unwrap();
    // Nobody waits for the clock: the next question makes the release.
    let withheld = ask(&api, "hazard", Some(&api.reader));
    assert_eq!(withheld["result"]["refused"]["code"], "Suppressed", "{withheld:#}");
    use migrations::schema::release::dsl;
    let reasons: Vec<String> = dsl::release.order(dsl::number).select(dsl::reason).load(&mut connection).unwrap();
    assert_eq!(reasons, ["first", "withdrawal"]);
    let old: Option<Vec<u8>> = dsl::release.find(1).select(dsl::records).first(&mut connection).unwrap();
    assert!(old.is_none(), "the records of the one who withdrew are kept nowhere");
    // Three members' changes, the withdrawal among them, and it is told again.
    one_more(&api, 2);
    one_more(&api, 3);
    next_release(&api, "scheduled");
    let told = ask(&api, "hazard", Some(&api.reader));
    assert_eq!(told["evidence"]["deaths"], 10, "{told:#}");
    assert_eq!(told["release"], 3);
}

#[test]
fn a_release_that_a_withdrawal_forces_is_owed_even_after_it_failed() {
    let api = Api::start();
    club(&api);
    ask(&api, "hazard", Some(&api.reader));
    let mut connection = api.database.connect();
    diesel::sql_query("DELETE FROM keeper WHERE handle = 'keeper1'").execute(&mut connection).unwrap();
    let late = "UPDATE release_due SET attempts = 5, state = 'failed', not_before = now() + interval '1 day'";
    diesel::sql_query(late).execute(&mut connection).unwrap();
    let after = ask(&api, "hazard", Some(&api.reader));
    assert_eq!(after["result"]["refused"]["code"], "Suppressed", "{after:#}");
}

#[test]
fn an_answer_of_a_release_is_the_same_after_a_restart() {
    let api = Api::start();
    club(&api);
    let path = "/api/v1/taxa/goniopora/conditions";
    let bytes = |api: &Api| api.get(path).bearer_auth(&api.reader).send().unwrap().bytes().unwrap();
    let (before, tokens, database) = (bytes(&api), api.tokens(), api.database.clone());
    drop(api);
    let api = Api::serve(database, tokens, |_| {});
    assert_eq!(bytes(&api), before);
}

/// How many answers of a reader are kept.
fn kept(api: &Api, audience: &str) -> i64 {
    use migrations::schema::release_answer::dsl;
    let of = dsl::release_answer.filter(dsl::audience.eq(audience));
    of.count().get_result(&mut api.database.connect()).unwrap()
}

#[test]
fn answers_of_a_release_are_there_before_anybody_asks() {
    let api = Api::start();
    club(&api);
    next_release(&api, "first");
    assert_eq!(kept(&api, "member"), 0);
    let pool = server::pool::open(api.database.url(), 2).unwrap();
    let answers = server::answer::Answers::default();
    assert!(!server::route::prepare(&pool, &answers, &|| true).unwrap(), "told to stop, it is not done");
    assert!(server::route::prepare(&pool, &answers, &|| false).unwrap());
    let prepared = kept(&api, "member");
    for about in ["conditions", "bands", "hazard", "lead-up", "casebook", "survival?by=nitrate", "growth"] {
        json_of(api.get(&format!("/api/v1/taxa/goniopora/{about}")).bearer_auth(&api.reader).send().unwrap(), 200);
    }
    json_of(api.get("/api/v1/claims").bearer_auth(&api.reader).send().unwrap(), 200);
    assert_eq!(kept(&api, "member"), prepared, "what was asked had been worked out");
    assert!(server::route::prepare(&pool, &answers, &|| false).unwrap());
    assert_eq!(kept(&api, "member"), prepared);
    // The public's only where the club publishes.
    let public = kept(&api, "public");
    let request = api.get("/api/v1/taxa/goniopora/hazard").send().unwrap();
    assert_eq!(public > 0, request.status() == 200);
}

#[test]
fn a_server_prepares_the_release_that_it_finds() {
    let api = Api::start();
    club(&api);
    next_release(&api, "first");
    let (tokens, database) = (api.tokens(), api.database.clone());
    drop(api);
    let api = Api::serve(database, tokens, |settings| settings.prepares = true);
    let begun = std::time::Instant::now();
    while kept(&api, "member") == 0 {
        assert!(begun.elapsed().as_secs() < 60, "nothing was prepared");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
}

#[test]
fn a_plan_refuses_what_it_does_not_offer() {
    let api = Api::start();
    club(&api);
    let plan = |query: &str, token: &str| {
        api.get(&format!("/api/v1/taxa/goniopora/plan?{query}")).bearer_auth(token).send().unwrap()
    };
    let problem = problem_of(plan("condition=nitrat", &api.reader), 400, "invalid-query");
    assert!(problem["errors"][0]["detail"].as_str().unwrap().contains("'nitrate'"), "{problem:#}");
    problem_of(plan("hazard_ratio=1.7", &api.reader), 400, "invalid-query");
    json_of(plan("hazard_ratio=1.7&power=0.9", &api.curator), 200);
    problem_of(plan("hazard_ratio=1", &api.curator), 400, "invalid-query");
}
