//! Whom to ask for what: open questions and gaps in the records, member by member, with the number of answers that each
//! would help. Members stand in the order of the question that helps most; nobody's losses are counted.

use std::collections::{BTreeMap, HashMap};

use analysis::answer::{Ask, AskedOfMember, Lacks, Lifted};
use chrono::NaiveDate;
use diesel::prelude::*;
use importer::finding::Severity;
use migrations::schema::{keeper, specimen, tank, upload};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::access::Scope;
use crate::answer::{Snapshot, current_edition};
use crate::problem::Problem;
use crate::upload::hand_in;

mod words; // questions and letters

/// How `lifts` is counted, as printed beside it.
pub const METHOD: &str = "An answer is one on survival of a taxon with at least ten corals on record, undivided or by origin, \
    feeding, flow, carbon, water changes, light or the water values of the list 'water_in_band', as a curator reads it. It is lacking \
    if its lead sentence, or by a split the comparison of its levels, is refused for want of corals, tanks, keepers, losses, looks or \
    known conditions. 'lifts' counts the lacking answers to which what is asked would add: days at an unknown level of \
    their split made known or, unless it is known conditions that the answer wants, a coral that is in none of its figures, or time under \
    observation. For an open question of a file those are answers that lack corals held \
    in the same log: it may settle fewer of them. No question promises that an answer is then given.";

/// Corals named in a question at most.
const NAMED: usize = 20;

/// Whom to ask for what.
#[derive(Debug, Serialize, Deserialize)]
pub struct Asking {
    /// State of the records.
    pub edition: i64,
    /// Answers that are lacking.
    pub lacking: usize,
    /// Members of whom something can be asked.
    pub keepers: Vec<KeeperAsks>,
}

/// What to ask of one member.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct KeeperAsks {
    /// Name in the club.
    #[schema(example = "osprey")]
    pub keeper: String,
    /// The question that helps most answers first.
    pub asks: Vec<AskShown>,
    /// The first of them as a letter, ready to copy.
    pub text: String,
}

/// One thing to ask.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct AskShown {
    /// `open_question`, `complete_since`, `losses_listed`, `acquired`, `death_day`, `unseen`, `origin`, or the code of a split of
    /// answers whose levels are not known: `feeding`, `flow`, `carbon`, `water_change`, `par`, a water value.
    #[schema(example = "complete_since")]
    pub about: String,
    /// The question.
    #[schema(example = "From which day on would your list of corals show every loss?")]
    pub question: String,
    /// Lacking answers that it would help.
    #[schema(example = 4)]
    pub lifts: usize,
    /// Which those are.
    pub answers: Vec<LiftedShown>,
    /// Names of the corals it is about, as its keeper calls them; at most 20.
    pub corals: Vec<String>,
    /// How many they are.
    #[schema(example = 2)]
    pub coral_count: usize,
    /// Names of the tanks it is about.
    pub tanks: Vec<String>,
    /// Last day of such a test in these tanks; `null` = there is none, or it is not about tests.
    pub last_test: Option<NaiveDate>,
    /// The upload that asks it; `POST /uploads/{id}/links` makes a link to it that its keeper can answer.
    #[schema(example = 17)]
    pub upload: Option<i64>,
    /// Its key there.
    #[schema(example = "complete_since_missing")]
    pub key: Option<String>,
}

/// An answer that is lacking.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct LiftedShown {
    /// Slug of the taxon.
    #[schema(example = "goniopora")]
    pub taxon: String,
    /// Code of the split.
    #[schema(example = "nitrate")]
    pub by: String,
}

fn shown(lifts: &[Lifted]) -> Vec<LiftedShown> {
    lifts.iter().map(|(taxon, by)| LiftedShown { taxon: taxon.as_str().to_owned(), by: (*by).to_owned() }).collect()
}

/// What the places of a club are called, in the order in which it is read.
#[derive(Default)]
pub struct Names {
    /// Of which state of the records.
    pub edition: i64,
    keepers: Vec<String>,
    tanks: Vec<String>,
    specimens: Vec<String>,
    /// Open questions: keeper, upload, key, sentence, and the corals held in its log.
    open: Vec<Open>,
}

struct Open {
    keeper: u32,
    upload: i64,
    key: String,
    sentence: String,
    held: Vec<u32>,
}

/// The names, with all open questions.
///
/// # Errors
/// The database refused, or findings cannot be read.
pub fn names(connection: &mut PgConnection, desk: &Scope) -> Result<Names, Problem> {
    desk.administers()?;
    connection.build_transaction().repeatable_read().read_only().run(|connection| {
        let edition = current_edition(connection)?.number;
        let mut keepers: Vec<(i64, String)> = keeper::table.select((keeper::id, keeper::handle)).load(connection)?;
        keepers.sort_by(|a, b| a.1.cmp(&b.1));
        let position: HashMap<i64, u32> = keepers.iter().map(|(id, _)| *id).zip(0u32..).collect();
        let of = |id: i64| position.get(&id).copied().unwrap_or(u32::MAX);
        let mut tanks: Vec<(i64, String, String)> =
            tank::table.select((tank::keeper_id, tank::key, tank::name)).load(connection)?;
        tanks.sort_by(|a, b| (of(a.0), &a.1).cmp(&(of(b.0), &b.1)));
        type SpecimenRow = (i64, String, String, Option<i64>, Vec<String>);
        let mut specimens: Vec<SpecimenRow> = specimen::table
            .select((specimen::keeper_id, specimen::key, specimen::label, specimen::log_id, specimen::held))
            .load(connection)?;
        specimens.sort_by(|a, b| (of(a.0), &a.1).cmp(&(of(b.0), &b.1)));
        let mut held: BTreeMap<i64, Vec<u32>> = BTreeMap::new();
        for (at, row) in (0u32..).zip(&specimens) {
            if let (Some(log), false) = (row.3, row.4.is_empty()) {
                held.entry(log).or_default().push(at);
            }
        }
        let asked: Vec<(i64, i64, Option<i64>)> = upload::table
            .filter(upload::state.eq_any(["questions", "committed"]).and(upload::question_count.gt(0)))
            .order(upload::id)
            .select((upload::id, upload::keeper_id, upload::log_id))
            .load(connection)?;
        let mut open = Vec::new();
        for (id, keeper_id, log) in asked {
            let findings = importer::load::findings(connection, id).map_err(|error| hand_in::problem(&error))?;
            let asks = findings.into_iter().filter(|finding| {
                finding.severity == Severity::Questioned && !finding.choices.is_empty() && finding.answered.is_none()
            });
            open.extend(asks.map(|finding| Open {
                keeper: of(keeper_id),
                upload: id,
                key: finding.key,
                sentence: finding.message,
                held: log.and_then(|log| held.get(&log).cloned()).unwrap_or_default(),
            }));
        }
        Ok(Names {
            edition,
            keepers: keepers.into_iter().map(|(_, handle)| handle).collect(),
            tanks: tanks.into_iter().map(|(.., name)| name).collect(),
            specimens: specimens.into_iter().map(|(_, _, label, ..)| label).collect(),
            open,
        })
    })
}

/// Whom to ask for what, of records and names of one state.
pub fn asking(snapshot: &Snapshot, names: &Names, today: NaiveDate) -> Asking {
    let lacks = Lacks::of(&snapshot.club);
    let mut by_keeper: BTreeMap<u32, Vec<AskShown>> = BTreeMap::new();
    for ask in lacks.asks(today) {
        // What the file itself asks is asked by its own question.
        let asked_by_file = ask.asked == AskedOfMember::CompleteSince
            && names.open.iter().any(|open| open.keeper == ask.keeper && open.key.starts_with("complete_since"));
        if !asked_by_file {
            by_keeper.entry(ask.keeper).or_default().push(names.ask(&ask));
        }
    }
    for open in &names.open {
        by_keeper.entry(open.keeper).or_default().push(names.open(open, &lacks));
    }
    let mut keepers: Vec<KeeperAsks> = by_keeper
        .into_iter()
        .filter_map(|(at, mut asks)| {
            let keeper = names.keepers.get(at as usize)?.clone();
            asks.sort_by(|one, other| {
                let by = |ask: &AskShown| (ask.about != OPEN, ask.about.clone(), ask.upload);
                other.lifts.cmp(&one.lifts).then_with(|| by(one).cmp(&by(other)))
            });
            let text = words::letter(&keeper, &asks);
            Some(KeeperAsks { keeper, asks, text })
        })
        .collect();
    let most = |of: &KeeperAsks| of.asks.first().map_or(0, |ask| ask.lifts);
    keepers.sort_by(|one, other| most(other).cmp(&most(one)).then_with(|| one.keeper.cmp(&other.keeper)));
    Asking { edition: snapshot.edition, lacking: lacks.count(), keepers }
}

/// The code of what a file asks.
const OPEN: &str = "open_question";

impl Names {
    /// What of them is not of the state of the records: the open questions, as one text.
    pub fn asked(&self) -> String {
        let open = self.open.iter().map(|open| format!("{} {}", open.upload, open.key));
        open.collect::<Vec<_>>().join("\n")
    }

    fn ask(&self, ask: &Ask) -> AskShown {
        let name = |names: &[String], at: &u32| names.get(*at as usize).cloned().unwrap_or_default();
        let corals: Vec<String> = ask.specimens.iter().take(NAMED).map(|at| name(&self.specimens, at)).collect();
        let tanks: Vec<String> = ask.tanks.iter().map(|at| name(&self.tanks, at)).collect();
        let about = words::About { corals: &corals, coral_count: ask.specimens.len(), tanks: &tanks, last: ask.last };
        AskShown {
            about: ask.asked.code().to_owned(),
            question: words::question(ask.asked, &about),
            lifts: ask.lifts.len(),
            answers: shown(&ask.lifts),
            coral_count: ask.specimens.len(),
            corals,
            tanks,
            last_test: ask.last,
            upload: None,
            key: None,
        }
    }

    fn open(&self, open: &Open, lacks: &Lacks) -> AskShown {
        let lifts = lacks.lifted_by_settling(&open.held);
        AskShown {
            about: OPEN.to_owned(),
            question: open.sentence.clone(),
            lifts: lifts.len(),
            answers: shown(&lifts),
            corals: Vec::new(),
            coral_count: 0,
            tanks: Vec::new(),
            last_test: None,
            upload: Some(open.upload),
            key: Some(open.key.clone()),
        }
    }
}
