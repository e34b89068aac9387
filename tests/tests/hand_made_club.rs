//! A club small enough to count by hand, through files, HTTP and the analysis, against a table made on paper
//! (`fixtures/hand_made/README.md`). Then one more death in a grown register, and its undo.

use serde_json::{Value, json};

use tests::client::Client;
use tests::files::{data_folder, read_fixture};
use tests::program::Server;

/// As keeper 4 wrote it the first time.
const WHY_QU1: &str = "found dead";
const SLACK: f64 = 1e-9;

/// First days of the six logs, 30 days before the first coral of each: what the keepers answer.
const COMPLETE_SINCE: [&str; 6] = ["2022-01-08", "2022-02-12", "2021-12-24", "2022-04-02", "2022-03-12", "2022-05-20"];

fn keeper(number: usize) -> String {
    format!("keeper{number}")
}

fn load_club(curator: &Client) -> Vec<i64> {
    let mut registers = Vec::new();
    for number in 1..=6 {
        let register = curator.upload(
            Some(&keeper(number)),
            "register.xlsx",
            read_fixture(&format!("hand_made/keeper{number}_register.xlsx")),
        );
        let id = register["id"].as_i64().unwrap();
        let questions: Vec<Value> =
            curator.findings(id).into_iter().filter(|finding| finding["severity"] == "questioned").collect();
        let codes: Vec<&str> = questions.iter().filter_map(|question| question["code"].as_str()).collect();
        assert_eq!(codes, ["complete_since_missing"], "keeper {number}");
        curator.answer(id, &[(questions[0]["key"].as_str().unwrap(), "day", json!(COMPLETE_SINCE[number - 1]))]);
        curator.commit(id, false);
        registers.push(id);
        let wide = curator.upload(
            Some(&keeper(number)),
            "wide.csv",
            read_fixture(&format!("hand_made/keeper{number}_wide.csv")),
        );
        assert_eq!(wide["state"], "ready", "keeper {number}: {:?}", curator.findings(wide["id"].as_i64().unwrap()));
        curator.commit(wide["id"].as_i64().unwrap(), false);
    }
    registers
}

fn roll_calls(server: &Server) {
    for (number, day) in [(4, "2023-01-03"), (6, "2023-03-02")] {
        let token = server.token(&["--role", "keeper", "--keeper", &keeper(number)]);
        let response =
            server.client(Some(&token)).send(reqwest::Method::POST, "/roll-call", Some(json!({ "on": day })));
        let status = response.status().as_u16();
        assert!((200..300).contains(&status), "roll call: {status} {}", response.text().unwrap_or_default());
    }
}

fn group<'a>(answer: &'a Value, name: &str) -> &'a Value {
    answer["result"]["groups"]
        .as_array()
        .unwrap_or_else(|| panic!("no groups in {answer}"))
        .iter()
        .find(|group| group["group"] == name)
        .unwrap_or_else(|| panic!("no group {name} in {answer}"))
}

fn near(got: &Value, want: f64, what: &str) {
    let got = got.as_f64().unwrap_or_else(|| panic!("{what} is {got}"));
    assert!((got - want).abs() <= SLACK, "{what}: {got}, by hand {want}");
}

/// (day, at risk, survival): counted on paper, while five or more are at risk.
const WITHIN: [(f64, i64, f64); 3] = [(66.0, 8, 7.0 / 8.0), (71.0, 7, 3.0 / 4.0), (77.0, 6, 5.0 / 8.0)];
const ABOVE: [(f64, i64, f64); 4] =
    [(96.0, 8, 7.0 / 8.0), (104.0, 7, 3.0 / 4.0), (121.0, 7, 9.0 / 14.0), (133.0, 6, 15.0 / 28.0)];
/// (at risk within, at risk above, died within) at all ten deaths.
const DEATHS: [(f64, f64, bool); 10] = [
    (8.0, 4.0, true),
    (7.0, 4.0, true),
    (6.0, 4.0, true),
    (1.0, 8.0, false),
    (1.0, 7.0, false),
    (0.0, 7.0, false),
    (0.0, 6.0, false),
    (3.0, 2.0, false),
    (3.0, 1.0, true),
    (2.0, 1.0, true),
];

fn check_curve(answer: &Value, name: &str, table: &[(f64, i64, f64)]) {
    let curve: Vec<&Value> = group(answer, name)["curve"]
        .as_array()
        .unwrap_or_else(|| panic!("curve of {name}: {answer}"))
        .iter()
        .filter(|step| step["events"].as_i64() > Some(0))
        .collect();
    assert_eq!(curve.len(), table.len(), "{name}: {curve:?}");
    for (step, (time, at_risk, survival)) in curve.iter().zip(table) {
        near(&step["time"], *time, "time");
        assert_eq!(step["at_risk"].as_i64(), Some(*at_risk), "{name} at {time}");
        near(&step["survival"], *survival, "survival");
    }
}

/// Score of the partial likelihood of one 0/1 covariate without ties: sum of x - n1 e^b / (n0 + n1 e^b).
fn log_hazard_ratio() -> f64 {
    let score = |b: f64| {
        DEATHS
            .iter()
            .map(|(within, above, died_within)| {
                f64::from(u8::from(!died_within)) - above * b.exp() / (within + above * b.exp())
            })
            .sum::<f64>()
    };
    let (mut low, mut high) = (-5.0, 5.0);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if score(middle) > 0.0 { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[test]
fn the_answer_equals_the_table_made_by_hand() {
    let folder = data_folder();
    let server = Server::start(folder.path());
    let curator = server.client(Some(&server.token(&["--role", "curator"])));
    for number in 1..=6 {
        server.token(&["--role", "keeper", "--keeper", &keeper(number), "--create"]);
    }
    let registers = load_club(&curator);
    roll_calls(&server);

    let path = "/taxa/goniopora/survival?by=nitrate";
    let answer = curator.get(path);
    check_curve(&answer, "within", &WITHIN);
    check_curve(&answer, "above", &ABOVE);
    for (name, days) in [("within", 691.0), ("above", 1000.0)] {
        let evidence = &group(&answer, name)["evidence"];
        assert_eq!(evidence["deaths"], 5, "{name}");
        near(&evidence["specimen_days"], days, "coral-days");
        assert_eq!(group(&answer, name)["events"], 5);
    }
    // Log-rank by hand: E and V over the ten deaths, one death each.
    let expected: f64 = DEATHS.iter().map(|(w, a, _)| w / (w + a)).sum();
    let variance: f64 = DEATHS.iter().map(|(w, a, _)| w * a / (w + a).powi(2)).sum();
    near(&answer["result"]["log_rank"]["statistic"], (5.0 - expected).powi(2) / variance, "log-rank");
    let above = &answer["result"]["cox"]["coefficients"]
        .as_array()
        .unwrap_or_else(|| panic!("no Cox fit: {}", answer["result"]["cox"]))
        .iter()
        .find(|coefficient| {
            coefficient["name"].as_str().is_some_and(|name| name.contains("above") || name.contains("within"))
        })
        .expect("a coefficient of the band")
        .clone();
    let ratio = log_hazard_ratio();
    let got = above["coef"].as_f64().expect("a coefficient");
    assert!((got.abs() - ratio.abs()).abs() < 1e-7, "ln hazard ratio {got}, by bisection {ratio}");
    let text = answer.to_string();
    assert!(text.contains("TooFewClusters"), "six tanks give no clustered interval: {}", answer["result"]["cox"]);

    // Public: suppressed, and it says so.
    let (status, public) = server.client(None).try_get(path);
    assert!(status == 200 || status == 403 || status == 404, "{status}: {public}");
    set_publish(&folder, true);
    let public = server.client(None).get(path);
    assert_eq!(public["result"]["refused"]["code"], "Suppressed", "{public}");
    assert!(!public.to_string().contains("0.875"), "{public}");

    // The same register a month later, one row longer: a coral that was forgotten, lost on its day 60 within the band.
    let before = without_stamp(&curator.get(path));
    let upload = curator.upload(Some(&keeper(4)), "register.xlsx", grown_register());
    let id = upload["id"].as_i64().unwrap();
    assert_eq!(upload["state"], "ready", "{:?}", curator.findings(id));
    curator.commit(id, false);
    let after = curator.get(path);
    assert_eq!(group(&after, "above")["events"], 5);
    assert_eq!(group(&after, "within")["events"], 6);
    // By hand: nine within the band on day 60, one of them dies; the later steps are those of before, times 8/9.
    let mut steps = vec![(60.0, 9, 8.0 / 9.0)];
    steps.extend(WITHIN.map(|(day, at_risk, survival)| (day, at_risk, survival * 8.0 / 9.0)));
    check_curve(&after, "within", &steps);
    check_curve(&after, "above", &ABOVE);

    let undone = curator.delete(id);
    assert_eq!(undone["state"], "undone");
    assert_eq!(curator.delete(id), undone, "a second undo answers the same");
    assert_eq!(without_stamp(&curator.get(path)), before, "undo gives the first answer back");
    assert_eq!(registers.len(), 6);
    assert_eq!(server.interrupt(), Some(0), "Ctrl-C stops cleanly");
}

/// The answer's text without the edition.
fn without_stamp(answer: &Value) -> String {
    let mut answer = answer.clone();
    if let Some(object) = answer.as_object_mut() {
        assert!(object.remove("edition").is_some(), "an answer names its edition");
    }
    answer.to_string()
}

/// Keeper 4's register a month later: the same rows and one more.
fn grown_register() -> Vec<u8> {
    let mut book = rust_xlsxwriter::Workbook::new();
    let page = book.add_worksheet();
    page.set_name("Livestock").unwrap();
    let rows = [
        ["Ref", "What it is", "Arrived", "Home tank", "Left us", "Why"],
        ["QU1", "Goniopora sp.", "2022-05-02", "Quern", "2022-07-18", WHY_QU1],
        ["QU2", "Goniopora sp.", "2022-05-08", "Quern", "", ""],
        ["QU3", "Goniopora sp.", "2022-05-02", "Quern", "2022-07-01", "dead"],
    ];
    for (row, cells) in (0u32..).zip(rows) {
        for (column, cell) in (0u16..).zip(cells) {
            if !cell.is_empty() {
                page.write_string(row, column, cell).unwrap();
            }
        }
    }
    book.save_to_buffer().unwrap()
}

fn set_publish(folder: &tempfile::TempDir, on: bool) {
    use diesel::prelude::*;
    let url =
        std::fs::read_to_string(folder.path().join("database.url")).expect("the running server wrote its address");
    let mut connection = diesel::PgConnection::establish(url.trim()).expect("the private Postgres");
    diesel::sql_query("INSERT INTO club_setting (key, value, set_by) VALUES ('publish', to_jsonb($1::bool), 'test') ON CONFLICT (key) DO UPDATE SET value = excluded.value")
        .bind::<diesel::sql_types::Bool, _>(on)
        .execute(&mut connection)
        .expect("the setting");
}
