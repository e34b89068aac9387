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
    "get_me",
    "create_token",
    "list_tokens",
    "revoke_token",
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
