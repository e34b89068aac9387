//! `strandline survival` and `strandline growth` as a person calls them: published figures at their own tolerance, and
//! what is said where there are none.
//!
//! The sources and licences of the numbers and data stand in `analysis/tests/reference/README.md`.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

fn reference() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../analysis/tests/reference")
}

/// Runs the command in the folder of the published tables.
fn strandline(line: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_strandline"))
        .args(line.split_whitespace())
        .current_dir(reference())
        .output()
        .unwrap()
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// The one object that is printed.
fn figures(line: &str) -> Value {
    let output = strandline(&format!("{line} --json"));
    assert_eq!(output.status.code(), Some(0), "{line}: {}", stderr(&output));
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(text.lines().count(), 1, "{line}");
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{line}: {error}"))
}

/// A published case.
struct Case {
    name: String,
    file: Value,
    compared: usize,
}

impl Case {
    fn open(name: &str) -> Case {
        let text = std::fs::read_to_string(reference().join(format!("{name}.json"))).unwrap();
        Case { name: name.to_owned(), file: serde_json::from_str(&text).unwrap(), compared: 0 }
    }

    fn expected(&self, path: &str) -> &Value {
        let found = self.file.pointer(&format!("/expected/{path}"));
        found.unwrap_or_else(|| panic!("{}: no expected {path}", self.name))
    }

    /// The same number, to the case's tolerance, or none in both.
    fn same(&mut self, path: &str, got: &Value) {
        let want = self.expected(path).clone();
        self.against(path, &want, got, 1.0);
    }

    fn against(&mut self, path: &str, want: &Value, got: &Value, unit: f64) {
        self.compared += 1;
        let tolerance = self.file["rel_tolerance"].as_f64().unwrap();
        let name = &self.name;
        // One number may stand for a list of one.
        let want = match want {
            Value::Array(list) if list.len() == 1 => &list[0],
            other => other,
        };
        match (want.as_f64(), got.as_f64()) {
            (Some(want), Some(got)) => {
                let off = (got * unit - want).abs() / want.abs().max(1e-8);
                assert!(off <= tolerance, "{name}: {path}: {got}, expected {want} (relative error {off:e})");
            }
            (None, None) => assert!(want.is_null() && got.is_null(), "{name}: {path}: {got}, expected {want}"),
            _ => panic!("{name}: {path}: {got}, expected {want}"),
        }
    }

    /// A list against one field of a list of objects.
    fn column(&mut self, path: &str, rows: &Value, field: &str, units: &[f64]) {
        let want = match self.expected(path).clone() {
            Value::Array(list) => list,
            one => vec![one],
        };
        let rows = rows.as_array().unwrap_or_else(|| panic!("{}: {path}: no list but {rows}", self.name));
        assert_eq!(want.len(), rows.len(), "{}: {path}", self.name);
        for (at, (want, row)) in want.iter().zip(rows).enumerate() {
            let unit = units.get(at).copied().unwrap_or(1.0);
            self.against(&format!("{path}/{at}"), want, &row[field], unit);
        }
    }

    fn curves(mut self, column: &str, found: &Value, medians: bool) {
        let groups = found["groups"].as_array().unwrap();
        assert_eq!(groups.len(), self.expected("curves").as_object().unwrap().len(), "{}", self.name);
        for group in groups {
            let label = format!("{column}={}", group["group"].as_str().unwrap());
            for (theirs, ours) in [
                ("time", "time"),
                ("n_risk", "at_risk"),
                ("n_event", "events"),
                ("surv", "survival"),
                ("se", "std_error"),
                ("lower", "lower"),
                ("upper", "upper"),
            ] {
                self.column(&format!("curves/{label}/{theirs}"), &group["curve"], ours, &[]);
            }
            if medians {
                self.same(&format!("quantiles/quantile/{label}/1"), &group["median"]["estimate"]);
                self.same(&format!("quantiles/lower/{label}/1"), &group["median"]["lower"]);
                self.same(&format!("quantiles/upper/{label}/1"), &group["median"]["upper"]);
            }
        }
        self.done();
    }

    fn test(mut self, at: &str, found: &Value) {
        for (theirs, ours) in [("chisq", "statistic"), ("df", "df"), ("p", "p")] {
            self.same(&format!("{at}{theirs}"), &found["log_rank"][ours]);
        }
        self.done();
    }

    fn model(&mut self, at: &str, found: &Value, units: &[f64]) {
        let ratios = &found["cox"]["coefficients"];
        self.column(&format!("{at}/coef"), ratios, "coef", units);
        if self.expected(at).get("naive_se").is_some() {
            self.column(&format!("{at}/se"), ratios, "robust_std_error", units);
            self.column(&format!("{at}/naive_se"), ratios, "std_error", units);
        } else {
            self.column(&format!("{at}/se"), ratios, "std_error", units);
            assert!(ratios.as_array().unwrap().iter().all(|ratio| ratio["robust_std_error"].is_null()));
        }
        self.same(&format!("{at}/loglik/0"), &found["cox"]["log_likelihood"]["at_zero"]);
        self.same(&format!("{at}/loglik/1"), &found["cox"]["log_likelihood"]["fitted"]);
        for ratio in ratios.as_array().unwrap() {
            let (coef, hazard_ratio) = (ratio["coef"].as_f64().unwrap(), ratio["hazard_ratio"].as_f64().unwrap());
            assert!((coef.exp() - hazard_ratio).abs() <= 1e-12 * hazard_ratio);
        }
    }

    fn proportionality(&mut self, at: &str, found: &Value) {
        for (theirs, ours) in [("chisq", "statistic"), ("df", "df"), ("p", "p")] {
            self.column(&format!("{at}/{theirs}"), &found["proportionality"], ours, &[]);
        }
    }

    fn done(self) {
        assert!(self.compared > 0, "{}: nothing was compared", self.name);
    }
}

#[test]
fn curves_medians_and_means() {
    let found = figures("survival aml.csv --stop time --event status --by x --horizon 35");
    Case::open("km_na_aml").curves("x", &found, true);
    let mut case = Case::open("rmst_aml");
    for group in found["groups"].as_array().unwrap() {
        let at = format!("by_group/x={}", group["group"].as_str().unwrap());
        case.same(&format!("{at}/rmst"), &group["rmst"]["estimate"]);
        case.same(&format!("{at}/se"), &group["rmst"]["std_error"]);
        case.same(&format!("{at}/tau"), &group["rmst"]["horizon"]);
    }
    // Ours is the second less the first, theirs the first less the second.
    let less = &found["groups"][1]["rmst"]["difference"];
    assert_eq!(less["reference"], "Maintained");
    let turned = |name: &str| serde_json::json!(-less[name].as_f64().unwrap());
    case.same("difference_first_minus_second", &turned("estimate"));
    case.same("se_difference", &less["std_error"]);
    case.same("lower", &turned("upper"));
    case.same("upper", &turned("lower"));
    case.same("p", &less["p"]);
    case.done();
    Case::open("logrank_aml").test("logrank/", &found);
    let mut case = Case::open("km_na_aml");
    for (interval, key) in [("plain", "plain_ci"), ("log", "log_ci")] {
        let found = figures(&format!("survival aml.csv --stop time --event status --by x --interval {interval}"));
        for group in found["groups"].as_array().unwrap() {
            let at = format!("{key}/x={}", group["group"].as_str().unwrap());
            case.column(&format!("{at}/lower"), &group["curve"], "lower", &[]);
            case.column(&format!("{at}/upper"), &group["curve"], "upper", &[]);
        }
    }
    case.done();
}

#[test]
fn lung() {
    let found =
        figures("survival lung.csv --stop time --event event --by sex --covariates age,sex,ph_ecog --horizon 365");
    Case::open("km_na_lung").curves("sex", &found, true);
    Case::open("logrank_lung_strata").test("plain/", &found);
    let mut case = Case::open("cox_lung_efron");
    case.model("efron", &found, &[]);
    case.proportionality("zph_km", &found);
    case.done();
    let stratified = figures("survival lung.csv --stop time --event event --by sex --strata ph_ecog");
    Case::open("logrank_lung_strata").test("stratified/", &stratified);
}

#[test]
fn late_entry() {
    let line = "survival channing.csv --start entry --stop time --event event --by gender --covariates gender";
    let found = figures(line);
    Case::open("km_delayed_entry_channing").curves("gender", &found, true);
    Case::open("logrank_delayed_entry_channing").test("", &found);
    let mut case = Case::open("cox_delayed_entry_channing");
    case.model("fit", &found, &[]);
    case.proportionality("zph_km", &found);
    case.done();
    Case::open("km_delayed_entry_channing_from816").curves("gender", &figures(&format!("{line} --from 816")), true);
    // The collapse of the men's curve is said, with the smallest risk set in the title.
    let said = strandline(line);
    assert!(
        stderr(&said).contains("strandline: the curve of 1 falls to 0") && stderr(&said).contains("channing.csv"),
        "{}",
        stderr(&said)
    );
    let text = String::from_utf8(said.stdout).unwrap();
    assert!(
        text.contains("gender = 1: 96 rows, 46 deaths. Curve from 751,") && text.contains("at least 1 at risk"),
        "{text}"
    );
}

#[test]
fn rows_that_change_group_clusters_and_strata() {
    let heart = figures(
        "survival heart.csv --start start --stop stop --event event --by transplant --covariates age,surgery,transplant --cluster id",
    );
    Case::open("km_heart_by_current_state").curves("transplant", &heart, false);
    Case::open("logrank_heart_time_varying").test("", &heart);
    let mut case = Case::open("cox_heart_time_varying");
    case.model("main_cluster_id", &heart, &[]);
    case.proportionality("zph_km_main", &heart);
    case.done();
    let rats = figures("survival rats.csv --stop time --event status --covariates rx,sex --cluster litter");
    let mut case = Case::open("cox_rats_cluster");
    case.model("fit", &rats, &[]);
    case.done();
    assert_eq!(rats["cox"]["coefficients"][1]["name"], "sex:m");
    let mut case = Case::open("cox_cgd_strata_cluster");
    let cgd = "survival cgd.csv --start tstart --stop tstop --event status --covariates treat,age,steroids";
    case.model("cluster_id", &figures(&format!("{cgd} --cluster id")), &[]);
    case.model("strata_center_cluster_id", &figures(&format!("{cgd} --cluster id --strata center")), &[]);
    case.model("cluster_center", &figures(&format!("{cgd} --cluster center")), &[]);
    case.done();
}

#[test]
fn four_groups_and_a_category() {
    let line = "survival veteran.csv --stop time --event status";
    let found = figures(&format!("{line} --by celltype --covariates trt,karno,diagtime,age,prior"));
    Case::open("logrank_veteran_k4").test("plain/", &found);
    Case::open("logrank_veteran_k4").test("stratified_trt/", &figures(&format!("{line} --by celltype --strata trt")));
    let mut case = Case::open("cox_veteran_zph");
    // Published per ten months since a prior therapy.
    case.model("fit", &found, &[1.0, 1.0, 1.0, 1.0, 10.0]);
    case.proportionality("zph_km", &found);
    let stratified = figures(&format!("{line} --covariates trt,karno,diagtime,age --strata celltype"));
    case.model("strata_celltype", &stratified, &[]);
    case.proportionality("zph_km_strata", &stratified);
    case.done();
    let names = |line: &str| -> Vec<String> {
        let found = figures(line);
        let ratios = found["cox"]["coefficients"].as_array().unwrap().clone();
        ratios.iter().map(|ratio| ratio["name"].as_str().unwrap().to_owned()).collect()
    };
    let category = format!("{line} --covariates celltype");
    assert_eq!(names(&category), ["celltype:large", "celltype:smallcell", "celltype:squamous"]);
    assert_eq!(
        names(&format!("{category} --reference celltype=squamous")),
        ["celltype:adeno", "celltype:large", "celltype:smallcell"]
    );
}

#[test]
fn separation_has_a_penalised_fit_beside_it() {
    let found = figures("survival separation.csv --stop time --event event --covariates x");
    let ratio = &found["cox"]["coefficients"][0];
    assert_eq!(ratio["refused"]["code"], "Separation");
    assert!(["coef", "hazard_ratio", "std_error", "lower", "upper", "p"].iter().all(|key| ratio[*key].is_null()));
    let mut case = Case::open("firth_separation");
    case.column("firth/coef", &found["cox"]["firth"]["coefficients"], "coef", &[]);
    case.column("firth/se_inverse_unpenalised_information", &found["cox"]["firth"]["coefficients"], "std_error", &[]);
    case.done();
    assert_eq!(found["proportionality"]["refused"]["code"], "Separation");
}

#[test]
fn growth_of_specimens_and_groups() {
    let line = "growth growth_sim.csv --specimen specimen --day day --size size_mm2";
    let found = figures(line);
    let case = Case::open("growth_slopes_sim");
    let want = case.expected("ols_slope_per_month").as_array().unwrap();
    let specimens = found["specimens"].as_array().unwrap();
    assert_eq!(specimens.len(), want.len());
    for (own, want) in specimens.iter().zip(want) {
        let keys: Vec<&str> = own.as_object().unwrap().keys().map(String::as_str).collect();
        assert_eq!(keys, ["specimen", "group", "n", "first", "last", "sgr_percent_per_day", "lower", "upper"]);
        let (got, want) = (own["sgr_percent_per_day"].as_f64().unwrap() * 0.304375, want.as_f64().unwrap());
        // The published months carry seven digits.
        assert!((got - want).abs() <= 2e-6 * want.abs().max(0.01), "{got} {want}");
    }
    let group = found["groups"][0].as_object().unwrap();
    let keys: Vec<&str> = group.keys().map(String::as_str).collect();
    assert_eq!(
        keys,
        ["group", "specimens", "tanks", "slope_per_month", "std_error", "df", "lower", "upper", "ratio_per_month"]
    );
    assert_eq!(found["model"]["kind"], "theil_sen");
    assert!(["criterion", "variances"].iter().all(|key| found["model"][*key].is_null()));
    let in_tanks = strandline(&format!("{line} --tank tank --by band --json"));
    assert_eq!(in_tanks.stdout, strandline(&format!("{line} --tank tank --by band --json")).stdout);
    let in_tanks: Value = serde_json::from_slice(&in_tanks.stdout).unwrap();
    // Fifty specimens in ten named tanks have one model.
    assert_eq!(in_tanks["groups"][1]["tanks"], 5);
    assert_eq!(in_tanks["model"]["kind"], "reml");
    assert!(in_tanks["model"]["criterion"].is_f64() && in_tanks["model"]["variances"]["tank"].is_f64());
    let [slope, lower, upper] =
        ["slope_per_month", "lower", "upper"].map(|key| in_tanks["groups"][1][key].as_f64().unwrap());
    assert!(lower < slope && slope < upper);
    assert_eq!(in_tanks["refusals"].as_array().map(Vec::len), Some(0));
    let text = String::from_utf8(strandline(line).stdout).unwrap();
    assert!(text.contains("growth_sim.csv: 303 sizes of 50 specimens"), "{text}");
}

/// A table of its own.
struct Room {
    room: TempDir,
}

impl Room {
    fn with(bytes: impl AsRef<[u8]>) -> Room {
        let room = tempfile::tempdir().unwrap();
        std::fs::write(room.path().join("t.csv"), bytes).unwrap();
        Room { room }
    }

    fn run(&self, line: &str) -> Output {
        Command::new(env!("CARGO_BIN_EXE_strandline"))
            .args(line.split_whitespace())
            .current_dir(self.room.path())
            .output()
            .unwrap()
    }

    fn figures(&self, line: &str) -> Value {
        let output = self.run(&format!("{line} --json"));
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        serde_json::from_str(&text).unwrap()
    }

    /// Nothing on standard output, this exit code, all parts on standard error.
    fn fails(&self, line: &str, code: i32, parts: &[&str]) {
        let output = self.run(line);
        let said = stderr(&output);
        assert_eq!(output.status.code(), Some(code), "{said}");
        assert!(output.stdout.is_empty());
        assert!(said.starts_with("strandline: "), "{said}");
        assert!(parts.iter().all(|part| said.contains(part)), "{said}");
    }
}

const ASK: &str = "survival t.csv --stop time --event died";

#[test]
fn parts_not_asked_for_are_absent_and_all_others_are_there() {
    let room = Room::with("time,died,g\n5,1,a\n8,1,b\n9,0,a\n,1,b\n");
    let found = room.figures(ASK);
    assert_eq!(found.as_object().unwrap().keys().collect::<Vec<_>>(), ["groups", "dropped_rows"]);
    assert_eq!(found["dropped_rows"], 1);
    let group = found["groups"][0].as_object().unwrap();
    assert_eq!(group.keys().collect::<Vec<_>>(), ["group", "n", "events", "curve", "median"]);
    assert_eq!((&group["group"], &group["n"], &group["events"]), (&"all".into(), &3.into(), &2.into()));
    let point = group["curve"][0].as_object().unwrap();
    let keys: Vec<&str> = point.keys().map(String::as_str).collect();
    assert_eq!(keys, ["time", "at_risk", "events", "survival", "std_error", "lower", "upper"]);
    let all = room.figures(&format!("{ASK} --by g --covariates g --horizon 7"));
    let keys: Vec<&str> = all.as_object().unwrap().keys().map(String::as_str).collect();
    assert_eq!(keys, ["groups", "log_rank", "cox", "proportionality", "dropped_rows"]);
}

#[test]
fn nobody_dead_one_dead_all_dead_at_once() {
    let none =
        Room::with("time,died,g,x\n50,0,a,1\n70,0,b,2\n80,0,a,3\n").figures(&format!("{ASK} --by g --covariates x"));
    for part in [&none["groups"][0]["curve"], &none["log_rank"], &none["cox"], &none["proportionality"]] {
        assert_eq!(part["refused"]["code"], "NoEvents", "{part}");
        let keys: Vec<&str> = part["refused"].as_object().unwrap().keys().map(String::as_str).collect();
        assert_eq!(keys, ["code", "have", "need", "message"]);
    }
    let one = Room::with("time,died,g,x\n5,1,a,1\n8,0,b,2\n9,0,a,3\n12,0,b,0\n").figures(&format!("{ASK} --by g"));
    assert_eq!(one["groups"][0]["curve"][0]["survival"], 0.5);
    assert_eq!(one["groups"][1]["curve"]["refused"]["code"], "NoEvents");
    assert!((one["log_rank"]["statistic"].as_f64().unwrap() - 1.0).abs() < 1e-12);
    let all = Room::with("time,died,g,x\n7,1,a,1\n7,1,b,2\n7,1,a,3\n7,1,b,4\n")
        .figures(&format!("{ASK} --by g --covariates x"));
    let point = &all["groups"][0]["curve"][0];
    assert_eq!(point["survival"], 0.0);
    assert!(point["std_error"].is_null() && point["lower"].is_null());
    assert_eq!(all["log_rank"]["refused"]["code"], "Singular");
}

#[test]
fn an_empty_group_and_a_constant_covariate() {
    let found =
        Room::with("time,died,g,x\n5,1,a,3\n8,0,a,3\n,1,b,3\n").figures(&format!("{ASK} --by g --covariates x"));
    assert_eq!((&found["groups"][1]["group"], &found["groups"][1]["n"]), (&"b".into(), &0.into()));
    assert_eq!(found["groups"][1]["curve"]["refused"]["code"], "EmptyGroup");
    assert_eq!(found["log_rank"]["refused"]["code"], "EmptyGroup");
    assert_eq!(found["cox"]["refused"]["code"], "Singular");
    assert!(found["cox"]["refused"]["message"].as_str().unwrap().contains('x'));
}

#[test]
fn minimums_hold_only_when_asked_for() {
    let room = Room::with("time,died,g,x\n5,1,a,1\n8,1,b,2\n9,0,a,3\n12,1,b,1\n14,1,a,2\n20,0,b,5\n");
    let line = format!("{ASK} --by g --covariates x --horizon 10");
    let open = room.figures(&line);
    assert!(open["cox"]["coefficients"][0]["coef"].is_number() && open["log_rank"]["p"].is_number());
    let strict = room.figures(&format!("{line} --minimums"));
    assert_eq!(strict["groups"][0]["curve"]["refused"]["code"], "TooFewSpecimens");
    for part in [&strict["log_rank"], &strict["cox"], &strict["groups"][0]["rmst"]] {
        assert_eq!(part["refused"]["code"], "TooFewEvents");
    }
}

#[test]
fn a_wrong_cell_is_named_with_its_file_column_row_and_line() {
    let with = |row: &str| Room::with(format!("from,time,died\n0,5,1\n\n{row}\n"));
    let ask = format!("{ASK} --start from");
    // The blank line is no row, but it is a line.
    with("abc,9,1").fails(&ask, 3, &["'abc' is not a number, t.csv, column from, row 2 (line 4): "]);
    with("3,NaN,1").fails(&ask, 3, &["'NaN' is not a finite number, t.csv, column time, row 2 (line 4): "]);
    with("3,inf,1").fails(&ask, 3, &["not a finite number", "column time, row 2 (line 4)"]);
    with("-3,9,1").fails(&ask, 3, &["-3 is before 0", "column from, row 2 (line 4)"]);
    with("9,4,1").fails(&ask, 3, &["ends at 4, before its start at 9", "row 2 (line 4)"]);
    with("4,4,1").fails(&ask, 3, &["starts and ends at 4", "row 2 (line 4)", "half a day"]);
    with("3,9,dead").fails(&ask, 3, &["'dead' is not 0, 1, true or false", "column died, row 2 (line 4)"]);
    with("3,9").fails(&ask, 3, &["2 cells under 3 column names", "row 2 (line 4)"]);
    with("3,9,1,7").fails(&ask, 3, &["4 cells under 3 column names", "row 2 (line 4)"]);
    with("3,9,\"1\n5,6,1").fails(&ask, 3, &["a quote opens here and is never closed", "line 4"]);
    let windows = Room::with("from,time,died\r\n0,5,1\r\n\r\n9,4,1\r\n");
    windows.fails(&ask, 3, &["row 2 (line 4)"]);
    let windows = Room::with("sep=,\r\nfrom,time,died\r\n0,5,1\r\n9,4,1\r\n");
    windows.fails(&ask, 3, &["row 2 (line 4)"]);
    assert_eq!(with(",9,1").figures(&ask)["dropped_rows"], 1);
}

#[test]
fn a_wrong_request_names_what_there_is() {
    let room = Room::with("time,died,g,x\n5,1,a,1\n8,1,b,2\n9,0,a,3\n");
    room.fails("survival t.csv --stop tme --event died", 2, &["no column 'tme', t.csv: did you mean 'time'?"]);
    room.fails(&format!("{ASK} --by genus"), 2, &["no column 'genus'", "time, died, g, x"]);
    room.fails(&format!("{ASK} --covariates g --reference g=c"), 2, &["no level 'c'", "a, b"]);
    room.fails(&format!("{ASK} --covariates g --reference x=1"), 2, &["'x' has a reference level and is no covariate"]);
    room.fails(&format!("{ASK} --horizon -5"), 2, &["horizon"]);
    room.fails(&format!("{ASK} --from -5"), 2, &["start"]);
    room.fails("growth t.csv --specimen g --day time --size sise", 2, &["no column 'sise'"]);
    assert_eq!(room.run("survival t.csv --stop time").status.code(), Some(2));
    assert_eq!(room.run(&format!("{ASK} --interval wide")).status.code(), Some(2));
    assert_eq!(room.run(&format!("{ASK} --reference g")).status.code(), Some(2));
}

#[test]
fn what_is_no_table_is_unreadable() {
    Room::with("").fails(ASK, 3, &["there is nothing in it, t.csv"]);
    Room::with("time,died\n").fails(ASK, 3, &["a header and no row, t.csv"]);
    Room::with("time,died\n,1\n4,\n").fails(ASK, 3, &["each of the 2 rows has an empty cell", "time, died"]);
    Room::with(b"PK\x03\x04\x14\x00\x00\x00\x08\x00\x00\x00\x00\x00").fails(ASK, 3, &["it is no text, t.csv"]);
    Room::with("").fails("survival other.csv --stop time --event died", 3, &["cannot read the file", "other.csv"]);
    Room::with("specimen,day,mm\nA,0,5\nA,30,-2\n").fails(
        "growth t.csv --specimen specimen --day day --size mm",
        3,
        &["the size -2 is not above 0, t.csv, column mm, row 2 (line 3): "],
    );
}

#[test]
fn other_separators_marks_and_encodings_are_read() {
    let want = Room::with("time,died\n5.5,1\n8.25,0\n9,1\n").figures(ASK);
    let german = Room::with("sep=;\ntime;died\n5,5;1\n8,25;0\n9;1\n");
    assert_eq!(german.figures(ASK), want);
    assert!(stderr(&german.run(ASK)).contains("decimal comma, t.csv"));
    assert_eq!(Room::with("\u{feff}time\tdied\r\n5.5\t1\r\n8.25\tFALSE\r\n9\ttrue\r\n").figures(ASK), want);
    let wide: Vec<u8> = "\u{feff}time|died\n5.5|1\n8.25|0\n9|1\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    assert_eq!(Room::with(wide).figures(ASK), want);
}

#[test]
fn text_guarded_against_formulas_is_the_text_it_was() {
    let figures = |text: &str| {
        let table = format!("time,died,g\n5,1,{text}\n8,0,b\n9,1,{text}\n12,0,b\n");
        Room::with(table).figures(&format!("{ASK} --by g"))
    };
    let guarded = figures("'=wild");
    assert_eq!(guarded["groups"][0]["group"], "=wild");
    assert_eq!(guarded, figures("=wild"));
}

#[test]
fn a_reader_who_stops_reading_is_no_failure() {
    let rows: Vec<String> = (1..20_000).map(|i| format!("{i},1")).collect();
    let room = Room::with(format!("time,died\n{}\n", rows.join("\n")));
    let mut child = Command::new(env!("CARGO_BIN_EXE_strandline"))
        .args(ASK.split_whitespace())
        .current_dir(room.room.path())
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
}

/// A level of reference without the covariates that it is for would be passed over in silence.
#[test]
fn a_reference_level_needs_covariates() {
    let output = strandline("survival none.csv --stop time --event status --reference ph.ecog=1");
    assert_eq!(output.status.code(), Some(2), "{}", stderr(&output));
    assert!(stderr(&output).contains("--covariates"), "{}", stderr(&output));
}

/// A delimited table as Parquet, every column as text or, where all its cells are numbers, as numbers.
fn as_parquet(csv: &str) -> Vec<u8> {
    use std::sync::Arc;

    use parquet::basic::{LogicalType, Type as Physical};
    use parquet::data_type::{ByteArray, ByteArrayType, DoubleType};
    use parquet::file::properties::WriterProperties;
    use parquet::file::writer::SerializedFileWriter;
    use parquet::schema::types::Type;

    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let names: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows: Vec<Vec<String>> = reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
    let numbers = |at: usize| -> Option<Vec<Option<f64>>> {
        rows.iter().map(|row| if row[at].is_empty() { Some(None) } else { row[at].parse().ok().map(Some) }).collect()
    };
    let field = |at: usize| match numbers(at) {
        Some(_) => Type::primitive_type_builder(&names[at], Physical::DOUBLE).build(),
        None => Type::primitive_type_builder(&names[at], Physical::BYTE_ARRAY)
            .with_logical_type(Some(LogicalType::String))
            .build(),
    };
    let fields = (0..names.len()).map(|at| Arc::new(field(at).unwrap())).collect();
    let schema = Type::group_type_builder("rows").with_fields(fields).build().unwrap();
    let mut bytes = Vec::new();
    let properties = Arc::new(WriterProperties::builder().build());
    let mut writer = SerializedFileWriter::new(&mut bytes, Arc::new(schema), properties).unwrap();
    let mut group = writer.next_row_group().unwrap();
    for at in 0..names.len() {
        let mut column = group.next_column().unwrap().unwrap();
        match numbers(at) {
            Some(numbers) => {
                let levels: Vec<i16> = numbers.iter().map(|number| i16::from(number.is_some())).collect();
                let values: Vec<f64> = numbers.into_iter().flatten().collect();
                column.typed::<DoubleType>().write_batch(&values, Some(&levels), None).unwrap();
            }
            None => {
                let values: Vec<ByteArray> = rows.iter().map(|row| ByteArray::from(row[at].as_str())).collect();
                let levels = vec![1; values.len()];
                column.typed::<ByteArrayType>().write_batch(&values, Some(&levels), None).unwrap();
            }
        }
        column.close().unwrap();
    }
    group.close().unwrap();
    writer.close().unwrap();
    bytes
}

#[test]
fn a_table_in_parquet_says_what_it_says_in_csv() {
    let folder = TempDir::new().unwrap();
    let mut asked = 0;
    for file in std::fs::read_dir(reference()).unwrap() {
        let path = file.unwrap().path();
        if path.extension().is_none_or(|extension| extension != "csv") {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let header = text.lines().next().unwrap_or_default();
        let columns: Vec<&str> = header.split(',').collect();
        if !(columns.contains(&"time") && columns.contains(&"event")) {
            continue;
        }
        let written = folder.path().join("table.parquet");
        std::fs::write(&written, as_parquet(&text)).unwrap();
        let question = "--stop time --event event";
        let of_csv = figures(&format!("survival {} {question}", path.display()));
        assert_eq!(figures(&format!("survival {} {question}", written.display())), of_csv, "{}", path.display());
        asked += 1;
    }
    assert!(asked > 0, "no table of times was found");

    // What is damaged is said, with the place and the remedy.
    let cut = folder.path().join("cut.parquet");
    std::fs::write(&cut, b"PAR1 and nothing more").unwrap();
    let output = strandline(&format!("survival {} --stop time --event event", cut.display()));
    assert_eq!(output.status.code(), Some(3));
    assert!(
        stderr(&output).contains("cut.parquet") && stderr(&output).contains("save it again"),
        "{}",
        stderr(&output)
    );
}
