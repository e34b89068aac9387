//! The OpenAPI 3.1 document: made from the registered routes, so that whatever is served is documented and
//! whatever is documented is served. `strandline openapi` prints it, `openapi/openapi.json` holds it.

use std::sync::LazyLock;

use serde_json::Value;
use utoipa::OpenApi as _;
use utoipa::openapi::path::PathItem;
use utoipa::openapi::security::{ApiKey, ApiKeyValue, Http, HttpAuthScheme, SecurityRequirement, SecurityScheme};
use utoipa::openapi::{OpenApi, RefOr};
use utoipa_actix_web::AppExt;
use utoipa_swagger_ui::{Config, SwaggerUi};

use crate::access::client;
use crate::problem::{Content, Kind};
use crate::route;

pub mod examples; // answers as the tests received them
mod limits; // bounds and headers, the same wherever they occur
pub mod problems; // responses of failures, the same wherever they occur
mod words; // closed lists of words

/// Address of the document.
pub const ADDRESS: &str = "/api/v1/openapi.json";

#[derive(utoipa::OpenApi)]
#[openapi(
    info(
        title = "Strandline",
        description = "A reef-keeping club's husbandry records, pooled: which conditions went with survival and growth, \
            taxon by taxon, and how sure one can be.\n\n\
            **What the figures are.** They are associations in the records of keepers who chose their water, their corals \
            and what to write down. They do not show that changing a value changes an outcome, and nothing here is advice \
            to dose. What cannot be said is a refusal with its reason and what is lacking, never a zero.\n\n\
            **Who sees what.** Public answers need no token, if the club publishes. Members and curators send \
            `Authorization: Bearer strand_…`, or sign in (`POST /api/v1/session`). Counts, ratios and curves are rounded, cut or suppressed by audience, so that \
            nobody's losses can be told from a pooled answer.\n\n\
            **Promise.** Within `/api/v1` names stay and members are only added: ignore those you do not know. Days are \
            local calendar days, stamps are RFC 3339 in UTC, absent values are `null`. Unknown query parameters are refused, \
            never ignored. Failures are problems as of RFC 9457, and their `type` leads to a page.",
        license(name = "MIT", identifier = "MIT")
    ),
    servers((url = "/", description = "This server")),
    tags(
        (name = "club", description = "The club as a whole, and the vocabulary of its records"),
        (name = "answers", description = "What the records say, taxon by taxon"),
        (name = "uploads", description = "From a member's file to the club's records, and back"),
        (name = "records", description = "The current records row by row: a member's own, a curator's all"),
        (name = "people", description = "Who is asking, a member's own things, and keys for programs"),
        (name = "desk", description = "The curator's desk: members, settings, releases, and who did what"),
        (name = "service", description = "Health of the server, and pages about problems")
    )
)]
struct Base;

static DOCUMENT: LazyLock<OpenApi> = LazyLock::new(|| {
    let (_, mut document) =
        actix_web::App::new().into_utoipa_app().openapi(Base::openapi()).configure(route::register).split_for_parts();
    finish(&mut document);
    document
});

/// The document.
pub fn openapi() -> &'static OpenApi {
    &DOCUMENT
}

/// A body of which no member is needed may be left out where something is made or done: it stands for all defaults.
fn leave_out_bodies(document: &mut Value) {
    let needs_none = |document: &Value, path: &str| -> Option<bool> {
        let schema = &document["paths"][path]["post"]["requestBody"]["content"]["application/json"]["schema"];
        let of = document.pointer(schema["$ref"].as_str()?.strip_prefix('#')?)?;
        Some(of["type"] == "object" && of["required"].as_array().is_none_or(Vec::is_empty))
    };
    let paths: Vec<String> =
        document["paths"].as_object().into_iter().flat_map(|paths| paths.keys().cloned()).collect();
    for path in paths {
        if needs_none(document, &path) == Some(true) {
            document["paths"][&path]["post"]["requestBody"]["required"] = Value::Bool(false);
        }
    }
}

/// The document as indented JSON, ended by a line feed.
///
/// # Errors
/// The document does not serialise: a fault of the program.
pub fn openapi_json() -> Result<String, serde_json::Error> {
    let mut document = serde_json::to_value(openapi())?;
    words::put(&mut document);
    leave_out_bodies(&mut document);
    limits::put(&mut document);
    let mut text = serde_json::to_string_pretty(&document)?;
    text.push('\n');
    Ok(text)
}

/// The browsable page, which loads nothing from outside.
pub fn page() -> SwaggerUi {
    let config =
        Config::new([ADDRESS]).validator_url("none").display_request_duration(true).default_models_expand_depth(0);
    SwaggerUi::new("/docs/{_:.*}").config(config)
}

fn finish(document: &mut OpenApi) {
    let components = document.components.get_or_insert_default();
    components.security_schemes.insert(
        "token".to_owned(),
        RefOr::T(SecurityScheme::Http({
            let mut bearer = Http::new(HttpAuthScheme::Bearer);
            bearer.description = Some(
                "A token that begins with `strand_`. A curator makes it with `POST /api/v1/tokens`, or the operator with \
                 `strandline token new`. It is shown once. Roles: reader {read}, keeper {read, upload}, curator {read, \
                 upload, admin}."
                    .to_owned(),
            );
            bearer
        })),
    );
    for (name, place, described) in [
        (
            "session",
            ApiKey::Cookie as fn(ApiKeyValue) -> ApiKey,
            "A browser that is signed in (`POST /api/v1/session`). Its cookie is called `__Host-strandline` behind TLS and \
             `strandline` on the machine itself.",
        ),
        (
            "csrf",
            ApiKey::Header,
            "What requests of a session that change something carry besides its cookie: `csrf` of `GET /api/v1/session`. \
             Tokens need none.",
        ),
    ] {
        let key = if name == "session" { client::COOKIE_OF_HOST } else { client::CSRF };
        let scheme = SecurityScheme::ApiKey(place(ApiKeyValue::with_description(key, described)));
        components.security_schemes.insert(name.to_owned(), RefOr::T(scheme));
    }
    let mut schemas = Vec::new();
    <Content as utoipa::ToSchema>::schemas(&mut schemas);
    schemas.push((<Content as utoipa::ToSchema>::name().into_owned(), <Content as utoipa::PartialSchema>::schema()));
    components.schemas.extend(schemas);
    for kind in Kind::ALL {
        components.responses.insert(kind.slug().to_owned(), RefOr::T(problems::response(&[*kind])));
    }
    for (path, item) in &mut document.paths.paths {
        for (method, operation) in operations_mut(item) {
            by_session(method, operation);
            problems::usual(path, method, operation);
            examples::put(operation);
        }
    }
}

/// Whatever a token opens, a session of its role opens too; what changes something needs the session's own token besides.
fn by_session(method: &str, operation: &mut utoipa::openapi::path::Operation) {
    let Some(security) = &mut operation.security else { return };
    let none: [&str; 0] = [];
    let is = |requirement: &SecurityRequirement, name: &str| {
        serde_json::to_value(requirement).is_ok_and(|value| value.get(name).is_some())
    };
    let opened = security.iter().any(|requirement| is(requirement, "token") || is(requirement, "session"));
    if opened {
        security.retain(|requirement| !is(requirement, "session"));
        let session = SecurityRequirement::new("session", none);
        security.push(if method == "GET" { session } else { session.add("csrf", none) });
    }
}

fn operations_mut(item: &mut PathItem) -> Vec<(&'static str, &mut utoipa::openapi::path::Operation)> {
    [
        ("GET", item.get.as_mut()),
        ("PUT", item.put.as_mut()),
        ("POST", item.post.as_mut()),
        ("DELETE", item.delete.as_mut()),
        ("PATCH", item.patch.as_mut()),
    ]
    .into_iter()
    .filter_map(|(method, operation)| operation.map(|operation| (method, operation)))
    .collect()
}

/// Every operation: method, address as documented, operation id.
pub fn operations() -> Vec<(&'static str, String, String)> {
    let mut all = Vec::new();
    for (path, item) in &openapi().paths.paths {
        let here = [
            ("GET", &item.get),
            ("PUT", &item.put),
            ("POST", &item.post),
            ("DELETE", &item.delete),
            ("PATCH", &item.patch),
        ];
        for (method, operation) in here {
            if let Some(operation) = operation {
                all.push((method, path.clone(), operation.operation_id.clone().unwrap_or_default()));
            }
        }
    }
    all
}

/// The methods that an address takes; none if it is not served. One that stands in the document as it is, is no other
/// address's part.
pub fn methods_at(path: &str) -> Vec<String> {
    let literal = openapi().paths.paths.contains_key(path);
    let mut methods: Vec<String> = operations()
        .into_iter()
        .filter(|(_, pattern, _)| if literal { pattern == path } else { fits(pattern, path) })
        .map(|(method, _, _)| method.to_owned())
        .collect();
    methods.sort();
    methods.dedup();
    methods
}

/// All addresses, as documented.
pub fn addresses() -> Vec<String> {
    openapi().paths.paths.keys().cloned().collect()
}

fn fits(pattern: &str, path: &str) -> bool {
    let (mut pattern, mut path) = (pattern.split('/'), path.split('/'));
    loop {
        match (pattern.next(), path.next()) {
            (None, None) => return true,
            (Some(wanted), Some(given)) if wanted == given || (wanted.starts_with('{') && !given.is_empty()) => {}
            _ => return false,
        }
    }
}
