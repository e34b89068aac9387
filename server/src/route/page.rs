//! One page of a collection. A cursor is opaque, says which collection and filters it belongs to, and is refused
//! with any others: a page must never continue another list than the one it began.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::query::Fields;
use crate::represent::{encode, hex};

/// Where the next page is.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Links {
    /// Address of the next page with every parameter of this one; `null` on the last page.
    #[schema(example = "/api/v1/uploads?limit=2&cursor=7b2276223a31…")]
    pub next: Option<String>,
}

/// Items of one page, and the place after the last of them.
pub struct Page<T> {
    /// The items.
    pub items: Vec<T>,
    next: Option<i64>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Cursor {
    v: u8,
    of: String,
    filters: Vec<String>,
    after: i64,
}

impl<T> Page<T> {
    /// A page out of one item more than fits, if there is one.
    pub fn of(mut rows: Vec<T>, limit: i64, place: impl Fn(&T) -> i64) -> Self {
        let fits = usize::try_from(limit).unwrap_or(usize::MAX);
        let more = rows.len() > fits;
        rows.truncate(fits);
        let next = if more { rows.last().map(place) } else { None };
        Page { items: rows, next }
    }

    /// The links of the page; `filters` as they were given to [`cursor`].
    pub fn links(&self, request: &HttpRequest, of: &str, filters: &[String]) -> Links {
        let next = self.next.map(|after| {
            let cursor = Cursor { v: 1, of: of.to_owned(), filters: filters.to_vec(), after };
            // Strings and numbers always serialise.
            let text = hex(&serde_json::to_vec(&cursor).unwrap_or_default());
            let mut pairs = web::Query::<Vec<(String, String)>>::from_query(request.query_string())
                .map(web::Query::into_inner)
                .unwrap_or_default();
            pairs.retain(|(name, _)| name != "cursor");
            pairs.push(("cursor".to_owned(), text));
            let query: Vec<String> =
                pairs.iter().map(|(name, value)| format!("{}={}", encode(name), encode(value))).collect();
            format!("{}?{}", request.path(), query.join("&"))
        });
        Links { next }
    }
}

/// The size of a page.
pub fn limit(fields: &mut Fields) -> i64 {
    fields.whole("limit", 1, 1000).unwrap_or(50)
}

/// The place at which a page begins, if the cursor belongs to this collection with these filters.
pub fn cursor(fields: &mut Fields, of: &str, filters: &[String]) -> Option<i64> {
    fields.value("cursor", |text| place(text, of, filters))
}

/// The place that a cursor of this collection with these filters stands for.
///
/// # Errors
/// What is wrong with it.
pub fn place(text: &str, of: &str, filters: &[String]) -> Result<i64, String> {
    let cursor: Option<Cursor> = unhex(text).and_then(|bytes| serde_json::from_slice(&bytes).ok());
    match cursor {
        Some(cursor) if cursor.v == 1 && cursor.of == of && cursor.filters == filters => Ok(cursor.after),
        Some(_) => Err("'cursor' belongs to another list or other filters; begin again without it".to_owned()),
        None => Err("'cursor' is none; take it from 'links.next' or leave it out".to_owned()),
    }
}

fn unhex(text: &str) -> Option<Vec<u8>> {
    if !text.len().is_multiple_of(2) || !text.is_ascii() {
        return None;
    }
    (0..text.len()).step_by(2).map(|at| u8::from_str_radix(&text[at..at + 2], 16).ok()).collect()
}

/// A response of a page: the next link stands in the header too (RFC 8288).
pub fn send(links: &Links) -> HttpResponseBuilder {
    let mut response = HttpResponse::Ok();
    response.insert_header((header::CACHE_CONTROL, "private, no-cache"));
    if let Some(next) = &links.next {
        response.insert_header((header::LINK, format!("<{next}>; rel=\"next\"")));
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::query::{Asked, read};
    use actix_web::test::TestRequest;
    use utoipa::IntoParams;

    #[derive(IntoParams)]
    #[allow(dead_code)]
    struct Sample {
        limit: i64,
        kind: Option<String>,
        cursor: Option<i64>,
    }

    impl Asked for Sample {
        fn read(fields: &mut Fields) -> Self {
            let kind = fields.text("kind");
            let filters: Vec<String> = kind.iter().cloned().collect();
            Sample { limit: limit(fields), cursor: cursor(fields, "sample", &filters), kind }
        }
    }

    #[test]
    fn a_cursor_goes_on_and_fits_no_other_list() {
        let request = TestRequest::with_uri("/x?kind=a&limit=2").to_http_request();
        let page = Page::of(vec![3, 5, 8], 2, |item| *item);
        assert_eq!(page.items, [3, 5]);
        let next = page.links(&request, "sample", &["a".to_owned()]).next.unwrap();
        let query = next.strip_prefix("/x?").unwrap();
        assert!(query.starts_with("kind=a&limit=2&cursor="));
        assert_eq!(read::<Sample>(query).unwrap().cursor, Some(5));
        assert!(read::<Sample>(&query.replace("kind=a", "kind=b")).is_err());
        assert!(read::<Sample>("cursor=zz").is_err());
        assert!(read::<Sample>("cursor=é1").is_err());
        assert!(Page::of(vec![3, 5], 2, |item| *item).links(&request, "sample", &[]).next.is_none());
    }
}
