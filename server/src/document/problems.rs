//! Responses of failures. Those that any operation can give are added to each; those of one kind are references.

use std::collections::BTreeMap;

use serde_json::json;
use utoipa::openapi::path::Operation;
use utoipa::openapi::response::Response;
use utoipa::openapi::{ContentBuilder, Ref, RefOr, ResponseBuilder};

use crate::problem::{Kind, Problem};

/// The responses of the kinds that one operation adds to the usual ones, by status.
pub fn responses(kinds: &[Kind]) -> BTreeMap<String, RefOr<Response>> {
    let mut by_status: BTreeMap<u16, Vec<Kind>> = BTreeMap::new();
    for kind in kinds {
        by_status.entry(kind.status()).or_default().push(*kind);
    }
    by_status
        .into_iter()
        .map(|(status, kinds)| {
            let response = match kinds.as_slice() {
                [one] => RefOr::Ref(Ref::new(format!("#/components/responses/{}", one.slug()))),
                several => RefOr::T(response(several)),
            };
            (status.to_string(), response)
        })
        .collect()
}

/// One response for kinds of one status, with an example of each.
pub fn response(kinds: &[Kind]) -> Response {
    let says: Vec<String> =
        kinds.iter().map(|kind| format!("{} ([{}]({}))", kind.title(), kind.slug(), kind.address())).collect();
    let mut content = ContentBuilder::new().schema(Some(Ref::from_schema_name("Problem")));
    match kinds {
        [one] => content = content.example(Some(example(*one))),
        several => {
            content = content.examples_from_iter(several.iter().map(|kind| {
                let example = utoipa::openapi::example::ExampleBuilder::new()
                    .summary(kind.title())
                    .value(Some(example(*kind)))
                    .build();
                (kind.slug(), example)
            }));
        }
    }
    ResponseBuilder::new().description(says.join("; ")).content("application/problem+json", content.build()).build()
}

fn example(kind: Kind) -> serde_json::Value {
    let page = kind.page().lines().nth(2).unwrap_or_default();
    let mut problem = Problem::new(kind, page);
    problem.request_id = Some("5f1d0c2e9a7b4c3d8e6f001122334455".to_owned());
    serde_json::to_value(problem).unwrap_or_else(|_| json!({}))
}

/// Adds what any operation can answer: a query that cannot be used, no right, too many requests, a failure.
pub fn usual(path: &str, method: &str, operation: &mut Operation) {
    let mut kinds = vec![Kind::InvalidQuery, Kind::QuotaExceeded, Kind::Internal];
    if path.starts_with("/api/") {
        kinds.extend([Kind::DatabaseUnavailable, Kind::Unauthorised]);
    }
    let secured = operation.security.as_ref().is_some_and(|security| {
        let none = utoipa::openapi::security::SecurityRequirement::default();
        !security.is_empty() && !security.contains(&none)
    });
    if secured {
        kinds.push(Kind::Forbidden);
        if method != "GET" {
            kinds.push(Kind::CrossSite);
        }
    }
    for (status, response) in responses(&kinds) {
        operation.responses.responses.entry(status).or_insert(response);
    }
}

/// A list of kinds as the responses of an operation: `problems!(UploadProblems: UnknownUpload, WrongState)`.
#[macro_export]
macro_rules! problems {
    ($(#[$doc:meta])* $name:ident: $($kind:ident),+ $(,)?) => {
        $(#[$doc])*
        pub struct $name;

        impl utoipa::IntoResponses for $name {
            fn responses() -> std::collections::BTreeMap<String, utoipa::openapi::RefOr<utoipa::openapi::response::Response>> {
                $crate::document::problems::responses(&[$($crate::problem::Kind::$kind),+])
            }
        }
    };
}
