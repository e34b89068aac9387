//! Examples of answers: what the tests received from a club of 24 corals, kept in `openapi/examples` and compared by
//! a test, so that no example is typed by hand.

use serde_json::Value;
use utoipa::openapi::RefOr;
use utoipa::openapi::path::Operation;

macro_rules! examples {
    ($($operation:literal),+ $(,)?) => {
        /// Operations whose answer has an example, with its text.
        pub const ALL: &[(&str, &str)] = &[
            $(($operation, include_str!(concat!("../../../openapi/examples/", $operation, ".json")))),+
        ];
    };
}

examples!(
    "get_club",
    "list_parameters",
    "get_parameter",
    "list_taxa",
    "get_taxon",
    "get_survival",
    "get_growth",
    "get_conditions",
    "get_bands",
    "get_hazard",
    "get_lead_up",
    "get_plan",
    "get_casebook",
    "get_claims",
    "get_report",
    "get_newsletter",
    "create_issue",
    "list_issues",
    "get_issue",
    "withdraw_issue",
    "create_upload",
    "list_uploads",
    "get_upload",
    "delete_upload",
    "list_findings",
    "get_preview",
    "answer_questions",
    "commit_upload",
    "get_layout",
    "create_link",
    "list_links",
    "revoke_link",
    "get_question",
    "answer_question",
    "preview_kit",
    "answer_kit",
    "list_kits",
    "undo_kit",
    "preview_band",
    "create_band",
    "list_bands",
    "withdraw_band",
    "create_claim",
    "withdraw_claim",
    "list_asks",
    "preview_name",
    "create_name",
    "list_names",
    "withdraw_name",
    "preview_merge",
    "create_merge",
    "list_merges",
    "undo_merge",
    "create_roll_call",
    "list_tanks",
    "list_specimens",
    "list_stays",
    "list_readings",
    "list_sizings",
    "list_sightings",
    "list_endings",
    "list_routines",
    "list_events",
    "list_incidents",
    "list_placements",
    "list_instruments",
    "create_tank",
    "get_tank",
    "change_tank",
    "create_specimen",
    "get_specimen",
    "change_specimen",
    "create_stay",
    "get_stay",
    "change_stay",
    "delete_stay",
    "create_reading",
    "get_reading",
    "change_reading",
    "delete_reading",
    "create_sizing",
    "get_sizing",
    "change_sizing",
    "delete_sizing",
    "create_sighting",
    "get_sighting",
    "change_sighting",
    "delete_sighting",
    "create_ending",
    "get_ending",
    "change_ending",
    "delete_ending",
    "create_routine",
    "get_routine",
    "change_routine",
    "delete_routine",
    "create_event",
    "get_event",
    "change_event",
    "delete_event",
    "create_incident",
    "get_incident",
    "change_incident",
    "delete_incident",
    "create_placement",
    "get_placement",
    "change_placement",
    "delete_placement",
    "create_instrument",
    "get_instrument",
    "change_instrument",
    "get_me",
    "create_token",
    "list_tokens",
    "revoke_token",
    "create_curator",
    "create_session",
    "get_session",
    "delete_session",
    "change_password",
    "create_own_token",
    "list_own_tokens",
    "revoke_own_token",
    "create_invitation",
    "list_invitations",
    "accept_invitation",
    "revoke_invitation",
    "list_accounts",
    "change_account",
    "withdraw_me",
    "list_keepers",
    "create_keeper",
    "change_keeper",
    "withdraw_keeper",
    "list_settings",
    "change_settings",
    "list_releases",
    "create_release",
    "list_audit",
    "get_live",
    "get_ready",
);

/// Puts the example of an operation into its successful JSON answers.
pub fn put(operation: &mut Operation) {
    let id = operation.operation_id.clone().unwrap_or_default();
    let Some((_, text)) = ALL.iter().find(|(of, _)| *of == id) else {
        return;
    };
    // A file that is no JSON leaves the answer without an example, which a test notices.
    let Ok(example) = serde_json::from_str::<Value>(text) else {
        return;
    };
    for (status, response) in &mut operation.responses.responses {
        if let RefOr::T(response) = response
            && status.starts_with('2')
            && let Some(RefOr::T(content)) = response.content.get_mut("application/json")
        {
            content.example = Some(example.clone());
        }
    }
}
