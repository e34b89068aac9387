//! The demo club, through its own spreadsheets and the ordinary importer: what comes out is what was put in, and a
//! second start finds the same club.

use std::time::Duration;

use analysis::simulation::{Design, SimulatedClub};
use serde_json::Value;

use tests::files::data_folder;
use tests::program::{Server, run, stderr, stdout};

/// The eight taxa that are meant to be answerable; the last two of the design are not.
const ANSWERABLE: usize = 8;

fn start(folder: &tempfile::TempDir) -> Server {
    Server::start_with(folder.path(), &["demo", "--listen", "127.0.0.1:0"], Duration::from_secs(600))
}

fn first_group(answer: &Value) -> &Value {
    &answer["result"]["groups"][0]
}

#[test]
fn the_demo_recovers_its_truth_and_starts_twice_alike() {
    let folder = data_folder();
    let printed = run(folder.path(), &["demo", "--no-serve"]);
    assert!(printed.status.success(), "{}", stderr(&printed));
    let text = stdout(&printed);
    assert!(text.contains("what was not taken as it stands"), "{text}");
    assert!(text.contains("hazard ratio"), "{text}");
    assert!(text.contains("without register sightings"), "{text}");

    let server = start(&folder);
    let data = folder.path().join("demo");
    let token = run(&data, &["token", "new", "--role", "curator"]);
    assert!(token.status.success(), "{}", stderr(&token));
    let curator = server.client(Some(stdout(&token).trim()));
    let club = curator.get("/club");

    let truth = SimulatedClub::draw(Design::demo());
    let mut table =
        String::from("taxon                     true   estimate  95 % interval     without register sightings\n");
    let mut missed = Vec::new();
    for plan in &truth.design.taxa[..ANSWERABLE] {
        let answer = curator.get(&format!("/taxa/{}/survival?by=none&horizon_days=365", plan.taxon));
        let put_in = truth.true_one_year(plan.taxon).expect("the taxon has specimens");
        let point = &first_group(&answer)["at_horizon"];
        let (survival, lower, upper) = (point["survival"].as_f64(), point["lower"].as_f64(), point["upper"].as_f64());
        let (Some(survival), Some(lower), Some(upper)) = (survival, lower, upper) else {
            panic!("{} is refused: {point}", plan.taxon);
        };
        let beside = answer["sensitivity"]
            .as_array()
            .expect("sensitivity runs")
            .iter()
            .find(|run| run["run"] == "no_register_sightings")
            .unwrap_or_else(|| panic!("{}: the run without register sightings stands beside", plan.taxon));
        table.push_str(&format!(
            "{:24} {put_in:6.3}  {survival:8.3}  {lower:.3} to {upper:.3}    {}\n",
            plan.taxon.as_str(),
            beside["estimate"]
        ));
        if put_in < lower || put_in > upper {
            missed.push(plan.taxon.as_str());
        }
    }
    println!("{table}");
    assert!(missed.is_empty(), "the truth lies outside the interval of {missed:?}\n{table}");
    for plan in &truth.design.taxa[ANSWERABLE..] {
        let answer = curator.get(&format!("/taxa/{}/survival?by=none&horizon_days=365", plan.taxon));
        assert!(answer.to_string().contains("refused"), "{} has too few to answer: {answer}", plan.taxon);
    }
    assert_eq!(server.interrupt(), Some(0));

    let again = start(&folder);
    let token = run(&data, &["token", "new", "--role", "curator"]);
    assert_eq!(again.client(Some(stdout(&token).trim())).get("/club"), club, "a second start changes nothing");
    assert_eq!(again.interrupt(), Some(0));
}
