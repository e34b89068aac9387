//! Addresses that are not served, and methods that an address does not take. What is served is read from the
//! document, which is made from the registered routes.

use actix_web::http::Method;
use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse};

use crate::document;
use crate::problem::{Kind, Problem};
use crate::query::hint;

/// Answers what no route took.
pub async fn answer(request: HttpRequest) -> Result<HttpResponse, Problem> {
    let methods = document::methods_at(request.path());
    if methods.is_empty() {
        let known = document::addresses();
        return Err(Problem::new(
            Kind::NotFound,
            format!("Nothing is at '{}'; {}", request.path(), hint(request.path(), known.iter().map(String::as_str))),
        ));
    }
    let allow = allow(&methods);
    if request.method() == Method::OPTIONS {
        return Ok(HttpResponse::NoContent()
            .insert_header((header::ALLOW, allow.clone()))
            .insert_header((header::ACCESS_CONTROL_ALLOW_METHODS, "GET, HEAD, OPTIONS"))
            .insert_header((header::ACCESS_CONTROL_ALLOW_HEADERS, "Authorization, Accept, If-None-Match, X-Request-Id"))
            .insert_header((header::ACCESS_CONTROL_MAX_AGE, "86400"))
            .finish());
    }
    Err(not_taken(&request, &methods))
}

/// A part of an address is not of the kind that stands there: `preview` is no number.
pub fn not_a_segment(request: &HttpRequest) -> Problem {
    let path = request.path();
    let methods = document::methods_at(path);
    if methods.iter().any(|method| method == request.method().as_str()) {
        let detail = format!("'{path}' is no address here: a part of it is not of the kind that stands there.");
        return Problem::new(Kind::NotFound, detail);
    }
    not_taken(request, &methods)
}

fn not_taken(request: &HttpRequest, methods: &[String]) -> Problem {
    let allow = allow(methods);
    let detail = format!("'{}' does not take {}; it takes {allow}.", request.path(), request.method());
    Problem::new(Kind::MethodNotAllowed, detail).header(header::ALLOW, &allow)
}

/// The methods with those that follow from them.
fn allow(methods: &[String]) -> String {
    let mut all: Vec<&str> = Vec::new();
    for method in methods {
        all.push(method);
        if method == "GET" {
            all.push("HEAD");
        }
    }
    all.push("OPTIONS");
    all.join(", ")
}
