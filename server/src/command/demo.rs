//! `strandline demo`: its own private Postgres and directory, loopback only. Writes the demo club's spreadsheets,
//! imports them through the ordinary importer, prints what was held and what was learned, then serves.

use std::collections::BTreeMap;
use std::fs;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;

use analysis::answer::{self, Audience, By, Outcome, Question, SurvivalAnswer};
use analysis::vocabulary::{ParameterCode, TaxonSlug};
use clap::Args;
use diesel::PgConnection;
use diesel::prelude::*;
use importer::finding::{Answer, Severity};
use importer::load::{self, LoadError, NewUpload, State};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::access::{NewToken, Role, Scope, account, issue};
use crate::app::Settings;
use crate::config::Config;
use crate::demo::{DemoClub, words};
use crate::release;

use super::failure::Failure;
use super::output::put;
use super::serve::{listen, log_to_stderr, serve};
use super::{answer_text, database};

mod worked; // one taxon beside its truth, and one that cannot be answered

/// Arguments of `strandline demo`.
#[derive(Args)]
pub struct DemoArgs {
    /// Port to listen on, on this machine only [env: STRANDLINE_LISTEN]
    #[arg(long, value_name = "ADDRESS:PORT")]
    pub listen: Option<String>,
    /// Stop after printing, without serving
    #[arg(long)]
    no_serve: bool,
}

/// Who imports, in the audit.
const BY: &str = "demo";

/// The day on which the demo's secretary imports everything.
fn import_day(club: &DemoClub) -> chrono::NaiveDate {
    words::first_day(club.truth.design.first_year) + chrono::Days::new(club.truth.design.days as u64 + 20)
}

/// Runs the demo.
pub fn run(config: &Config, args: &DemoArgs) -> Result<u8, Failure> {
    log_to_stderr();
    let mut config = config.clone();
    config.database_url = None;
    config.data = config.data.join("demo");
    if !config.listen.ip().is_loopback() {
        return Err(Failure::usage(format!(
            "the demo has tokens that it prints, {}: let it listen on 127.0.0.1 only",
            config.listen
        )));
    }
    let listener = if args.no_serve { None } else { Some(listen(loopback(config.listen))?) };
    let database = database::private(&config)?;
    let club = DemoClub::write().map_err(|error| Failure::place(error.to_string()))?;
    write_files(&club, &config.data.join("logs"))?;
    let mut connection = database.connection()?;
    settings(&mut connection)?;
    let held = import(&mut connection, &club)?;
    print_held(&held)?;
    print_learned(&mut connection, &club)?;
    // The first release, so that the first reader need not wait for it.
    release::standing(&mut connection, None, analysis::club::SEVERAL)
        .map_err(|problem| Failure::place(problem.detail.clone()))?;
    if let Some(listener) = listener {
        let address = listener.local_addr().unwrap_or(config.listen);
        let curator = token(&mut connection, Role::Curator, None)?;
        let keeper = token(&mut connection, Role::Keeper, Some(words::MEMBERS[0]))?;
        let failed = |problem: crate::problem::Problem| Failure::place(problem.detail.clone());
        let secretary = account::of_demo(&mut connection, "curator", Role::Curator, None).map_err(failed)?;
        let member = words::MEMBERS[0];
        let own = account::of_demo(&mut connection, member, Role::Keeper, Some(member)).map_err(failed)?;
        drop(connection);
        put(format!("\nThe demo club's API: http://{address}/docs/"))?;
        put(format!("  curator's token:   {curator}"))?;
        put(format!("  token of {}: {keeper}", words::MEMBERS[0]))?;
        put(format!("  to sign in:        curator, password '{secretary}'; {member}, password '{own}'"))?;
        put(format!("  curl -s http://{address}/api/v1/club"))?;
        put(format!(
            "  curl -s -H 'Authorization: Bearer {curator}' 'http://{address}/api/v1/taxa/goniopora/survival?by=nitrate'"
        ))?;
        put("Stop with Ctrl-C.")?;
        serve(listener, Settings::new(database.pool().clone()))?;
    } else {
        drop(connection);
    }
    database.close()?;
    Ok(0)
}

fn loopback(address: SocketAddr) -> SocketAddr {
    if address.ip().is_loopback() { address } else { SocketAddr::new(Ipv4Addr::LOCALHOST.into(), address.port()) }
}

fn write_files(club: &DemoClub, folder: &Path) -> Result<(), Failure> {
    for file in &club.files {
        let member = folder.join(&file.keeper);
        fs::create_dir_all(&member).map_err(|error| Failure::unwritable(&member, &error))?;
        let path = member.join(&file.name);
        fs::write(&path, &file.bytes).map_err(|error| Failure::unwritable(&path, &error))?;
    }
    eprintln!(
        "strandline: {} spreadsheets of {} members are in {}",
        club.files.len(),
        club.truth.keepers.len(),
        folder.display()
    );
    Ok(())
}

fn settings(connection: &mut PgConnection) -> Result<(), Failure> {
    use migrations::schema::club_setting::dsl;
    // The demo shows what a club that publishes shows.
    for (key, value) in [("name", serde_json::json!(words::CLUB)), ("publish", serde_json::json!(true))] {
        diesel::insert_into(dsl::club_setting)
            .values((dsl::key.eq(key), dsl::value.eq(value), dsl::set_by.eq(BY)))
            .on_conflict_do_nothing()
            .execute(connection)?;
    }
    Ok(())
}

/// Open questions and refusals by code: how many, and one as a person reads it.
type Held = BTreeMap<(Severity, String), (usize, String)>;

fn import(connection: &mut PgConnection, club: &DemoClub) -> Result<Held, Failure> {
    let bar = ProgressBar::with_draw_target(Some(club.files.len() as u64), ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("importing {bar:30} {pos}/{len} {msg}") {
        bar.set_style(style);
    }
    let mut held = Held::new();
    let today = import_day(club);
    for file in &club.files {
        bar.set_message(format!("{} {}", file.keeper, file.name));
        let failed = |error: LoadError| Failure::place(format!("{error}, {}/{}", file.keeper, file.name));
        let keeper = load::ensure_keeper(connection, &file.keeper).map_err(failed)?;
        let new = NewUpload {
            keeper_id: keeper,
            name: &file.name,
            bytes: &file.bytes,
            tank: None,
            log: None,
            as_of: None,
            layout: None,
            received_by: BY,
            token_id: None,
            account_id: None,
            idempotency_key: None,
        };
        let received = load::receive(connection, &new).map_err(failed)?;
        let upload = received.upload_id;
        if received.already.is_none() {
            let state = load::stage(connection, upload, today).map_err(failed)?.state;
            answer_as_member(connection, club, file, upload)?;
            if state == State::Failed {
                load::discard(connection, upload, BY).map_err(failed)?;
            } else {
                load::commit(connection, upload, true).map_err(failed)?;
            }
        }
        for finding in load::findings(connection, upload).map_err(failed)? {
            if finding.severity != Severity::Noted {
                let line = held
                    .entry((finding.severity, finding.code.clone()))
                    .or_insert_with(|| (0, format!("{}/{}: {}", file.keeper, file.name, finding.message)));
                line.0 += 1;
            }
        }
        bar.inc(1);
    }
    bar.finish_and_clear();
    Ok(held)
}

/// The one thing every register asks: since when the list is complete. Most members answer.
fn answer_as_member(
    connection: &mut PgConnection,
    club: &DemoClub,
    file: &crate::demo::MemberFile,
    upload: i64,
) -> Result<(), Failure> {
    let failed = |error: LoadError| Failure::place(format!("{error}, {}/{}", file.keeper, file.name));
    let Some(since) =
        club.answers.iter().find(|answers| answers.keeper == file.keeper).and_then(|answers| answers.complete_since)
    else {
        return Ok(());
    };
    let answers: Vec<Answer> = load::findings(connection, upload)
        .map_err(failed)?
        .into_iter()
        .filter(|finding| finding.code == "complete_since_missing")
        .map(|finding| Answer { key: finding.key, choice: "day".to_owned(), value: Some(serde_json::json!(since)) })
        .collect();
    if !answers.is_empty() {
        load::answer(connection, upload, &answers, &file.keeper).map_err(failed)?;
    }
    Ok(())
}

fn print_held(held: &Held) -> Result<(), Failure> {
    put(format!("{}: what was not taken as it stands", words::CLUB))?;
    if held.is_empty() {
        put("  nothing")?;
    }
    for ((severity, code), (n, example)) in held {
        let word = if *severity == Severity::Refused { "refused" } else { "held" };
        put(format!("  {n:>3} {word} {code}\n        {example}"))?;
    }
    Ok(())
}

fn print_learned(connection: &mut PgConnection, club: &DemoClub) -> Result<(), Failure> {
    let snapshot = crate::answer::club(connection, &Scope::of_operator())?;
    let (records, stamp) = (&snapshot.club, snapshot.stamp());
    let nitrate = ParameterCode::parse("nitrate");
    put(
        "\nWhat the records say, one year after purchase (95 % interval), and nitrate inside the taught band against outside",
    )?;
    for plan in &club.truth.design.taxa {
        let alone = ask(records, plan.taxon, By::None, &stamp);
        put(answer_text::one_year(&alone))?;
        if let (true, Some(truth)) = (alone.taxon.asked == alone.taxon.answered, club.truth.true_one_year(plan.taxon)) {
            put(format!("    put in: {:.0} % alive after a year", 100.0 * truth))?;
        }
        put(format!("    {}", answer_text::without_register(&alone)))?;
        if let Some(nitrate) = nitrate {
            let banded = ask(records, plan.taxon, By::Parameter(nitrate), &stamp);
            put(format!("    {}", answer_text::band(&banded)))?;
        }
    }
    for line in worked::lines(records, &club.truth.design, &stamp) {
        put(line)?;
    }
    put("These are associations in logs that keepers chose to keep; they are no reason to change a tank.")?;
    Ok(())
}

fn ask(records: &analysis::club::Club, taxon: TaxonSlug, by: By, stamp: &answer::Stamp) -> SurvivalAnswer {
    let question =
        Question { taxon, outcome: Outcome::Death, by, edges: None, given: None, horizon_days: 365.0, since: None };
    answer::survival(records, &question, Audience::Curator, stamp)
}

fn token(connection: &mut PgConnection, role: Role, keeper: Option<&str>) -> Result<String, Failure> {
    let new = NewToken {
        role,
        rights: Vec::new(),
        keeper: keeper.map(str::to_owned),
        create_keeper: false,
        label: Some("demo".to_owned()),
        expires_days: Some(1),
        account_id: None,
    };
    issue(connection, &new, BY).map(|issued| issued.secret).map_err(|error| Failure::place(error.to_string()))
}
