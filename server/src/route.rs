//! The one list of routes. Each is registered with its documentation, so what is served is documented and what
//! is documented is served; never register one in another way.

use utoipa_actix_web::scope;
use utoipa_actix_web::service_config::ServiceConfig;

mod accounts; // who may sign in
mod audit; // who did what
mod bands; // what is taught beside what was seen
mod casebook; // single losses
mod claims; // what the club teaches
mod club; // the club as a whole
mod club_bands; // the ranges that the club teaches
mod club_claims; // what the club itself teaches
mod club_names; // what names of corals mean in the club
mod conditions; // conditions side by side
mod growth; // how fast they grew
mod hazard; // when they are lost
mod health; // live and ready
mod invitations; // links with which accounts are made
mod keepers; // members who keep records
mod kits; // what a kit can show, for all who have it
mod layouts; // how files of one shape are read
mod lead_up; // the weeks before losses
mod me; // who is asking
mod merges; // two names that are one tank or one coral
mod metrics; // what an operator watches
mod newsletter; // an issue, assembled and printed
mod openapi; // the document itself
mod own_tokens; // keys for the programs of whoever is signed in
mod page; // one address of a collection: cursors
mod parameters; // what is measured
mod picture; // answers as pictures
mod plan; // what to record to know
mod prepared; // what a release answers before it is asked
mod problems; // pages about problems
mod question_links; // links to single questions
mod questions; // one question behind its link
mod record_edits; // single records, made and changed by hand
mod records; // the current records row by row
mod releases; // what public and members read
mod report; // everything about one taxon
mod representation; // how an answer is to be written
mod roll_call; // all seen alive today, except …
mod session; // signing in and out, and the first curator
mod settings; // decisions of the club
mod shape; // documented shapes of answers
mod statistics; // what survival and growth share
mod survival; // how long they lived
mod taxa; // corals and kin, with the records' counts
mod taxon_question; // a question about one taxon that is not split
mod tokens; // keys for programs
mod upload_steps; // answers, commit, undo
mod upload_views; // findings, preview
mod uploads; // from a file to the club's records
mod who_to_ask; // what only members can say

pub use me::Me;
pub use page::Links;
pub use parameters::KINDS;
pub use prepared::prepare;
pub use records::{
    EndingRecord, EventRecord, IncidentRecord, InstrumentRecord, PlacementRecord, ReadingRecord, RoutineRecord,
    SightingRecord, SizingRecord, SpecimenRecord, StayRecord, TankRecord,
};
pub use report::{CONDITIONS, Report};
pub use representation::CSV;
pub use shape::{
    BandsAnswer, CasebookAnswer, ClaimsAnswer, ConditionsAnswer, GrowthAnswer, HazardAnswer, LeadUpAnswer, PlanAnswer,
    SurvivalAnswer,
};
pub use taxa::RANKS;
pub use upload_steps::UploadCommitted;
pub use uploads::{UploadReceived, UploadShown};

/// Registers every route.
pub fn register(config: &mut ServiceConfig) {
    config
        .service(
            scope::scope("/api/v1")
                .service(openapi::get_openapi)
                .service(club::get_club)
                .service(parameters::list_parameters)
                .service(parameters::get_parameter)
                .service(taxa::list_taxa)
                .service(taxa::get_taxon)
                .service(survival::get_survival)
                .service(growth::get_growth)
                .service(conditions::get_conditions)
                .service(bands::get_bands)
                .service(hazard::get_hazard)
                .service(lead_up::get_lead_up)
                .service(plan::get_plan)
                .service(casebook::get_casebook)
                .service(report::get_report)
                .service(claims::get_claims)
                .service(newsletter::get_newsletter)
                .service(newsletter::create_issue)
                .service(newsletter::list_issues)
                .service(newsletter::get_issue)
                .service(newsletter::withdraw_issue)
                .service(uploads::create_upload)
                .service(uploads::list_uploads)
                .service(uploads::get_upload)
                .service(upload_steps::delete_upload)
                .service(upload_views::list_findings)
                .service(upload_views::get_preview)
                .service(upload_steps::answer_questions)
                .service(upload_steps::commit_upload)
                .service(layouts::get_layout)
                .service(question_links::create_link)
                .service(question_links::list_links)
                .service(question_links::revoke_link)
                .service(kits::preview_kit)
                .service(kits::answer_kit)
                .service(kits::list_kits)
                .service(kits::undo_kit)
                .service(club_bands::preview_band)
                .service(club_bands::create_band)
                .service(club_bands::list_bands)
                .service(club_bands::withdraw_band)
                .service(club_claims::create_claim)
                .service(club_claims::withdraw_claim)
                .service(who_to_ask::list_asks)
                .service(merges::preview_merge)
                .service(merges::create_merge)
                .service(merges::list_merges)
                .service(merges::undo_merge)
                .service(club_names::preview_name)
                .service(club_names::create_name)
                .service(club_names::list_names)
                .service(club_names::withdraw_name)
                .service(roll_call::create_roll_call)
                .service(records::list_tanks)
                .service(records::list_specimens)
                .service(records::list_stays)
                .service(records::list_readings)
                .service(records::list_sizings)
                .service(records::list_sightings)
                .service(records::list_endings)
                .service(records::list_routines)
                .service(records::list_events)
                .service(records::list_incidents)
                .service(records::list_placements)
                .service(records::list_instruments)
                .service(record_edits::create_tank)
                .service(record_edits::get_tank)
                .service(record_edits::change_tank)
                .service(record_edits::create_specimen)
                .service(record_edits::get_specimen)
                .service(record_edits::change_specimen)
                .service(record_edits::create_stay)
                .service(record_edits::get_stay)
                .service(record_edits::change_stay)
                .service(record_edits::delete_stay)
                .service(record_edits::create_reading)
                .service(record_edits::get_reading)
                .service(record_edits::change_reading)
                .service(record_edits::delete_reading)
                .service(record_edits::create_sizing)
                .service(record_edits::get_sizing)
                .service(record_edits::change_sizing)
                .service(record_edits::delete_sizing)
                .service(record_edits::create_sighting)
                .service(record_edits::get_sighting)
                .service(record_edits::change_sighting)
                .service(record_edits::delete_sighting)
                .service(record_edits::create_ending)
                .service(record_edits::get_ending)
                .service(record_edits::change_ending)
                .service(record_edits::delete_ending)
                .service(record_edits::create_routine)
                .service(record_edits::get_routine)
                .service(record_edits::change_routine)
                .service(record_edits::delete_routine)
                .service(record_edits::create_event)
                .service(record_edits::get_event)
                .service(record_edits::change_event)
                .service(record_edits::delete_event)
                .service(record_edits::create_incident)
                .service(record_edits::get_incident)
                .service(record_edits::change_incident)
                .service(record_edits::delete_incident)
                .service(record_edits::create_placement)
                .service(record_edits::get_placement)
                .service(record_edits::change_placement)
                .service(record_edits::delete_placement)
                .service(record_edits::create_instrument)
                .service(record_edits::get_instrument)
                .service(record_edits::change_instrument)
                .service(me::get_me)
                .service(me::export_me)
                .service(me::withdraw_me)
                .service(keepers::list_keepers)
                .service(keepers::create_keeper)
                .service(keepers::change_keeper)
                .service(keepers::withdraw_keeper)
                .service(settings::list_settings)
                .service(settings::change_settings)
                .service(releases::list_releases)
                .service(releases::create_release)
                .service(audit::list_audit)
                .service(tokens::create_token)
                .service(tokens::list_tokens)
                .service(tokens::revoke_token)
                .service(session::create_curator)
                .service(session::create_session)
                .service(session::get_session)
                .service(session::delete_session)
                .service(session::change_password)
                .service(own_tokens::create_own_token)
                .service(own_tokens::list_own_tokens)
                .service(own_tokens::revoke_own_token)
                .service(invitations::create_invitation)
                .service(invitations::list_invitations)
                .service(invitations::accept_invitation)
                .service(invitations::revoke_invitation)
                .service(accounts::list_accounts)
                .service(accounts::change_account),
        )
        .service(questions::get_question)
        .service(questions::answer_question)
        .service(health::get_live)
        .service(health::get_ready)
        .service(metrics::get_metrics)
        .service(problems::get_problem);
}
