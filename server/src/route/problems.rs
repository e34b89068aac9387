//! Pages about problems: where the `type` of each leads.

use actix_web::http::header;
use actix_web::{HttpResponse, get, web};

use crate::problem::{Kind, Problem};
use crate::problems;
use crate::query::{Nothing, Query, hint};

problems!(
    /// No such kind.
    NoSuchKind: NotFound
);

/// What a kind of problem means and what to do about it
///
/// The `type` of every problem leads here.
#[utoipa::path(
    tag = "service",
    security(()),
    params(("kind" = String, Path, description = "Last segment of the problem's `type`", example = "invalid-query")),
    responses((status = 200, description = "The page", body = String, content_type = "text/html"), NoSuchKind)
)]
#[get("/problems/{kind}")]
pub async fn get_problem(path: web::Path<String>, _: Query<Nothing>) -> Result<HttpResponse, Problem> {
    let slug = path.into_inner();
    let kind = Kind::parse(&slug).ok_or_else(|| {
        let known = Kind::ALL.iter().map(|kind| kind.slug());
        Problem::new(Kind::NotFound, format!("'{slug}' is no kind of problem; {}", hint(&slug, known)))
    })?;
    Ok(HttpResponse::Ok()
        .content_type("text/html; charset=utf-8")
        .insert_header((header::CACHE_CONTROL, "public, max-age=86400"))
        .insert_header((header::CONTENT_SECURITY_POLICY, "default-src 'none'; style-src 'unsafe-inline'"))
        .body(page(kind)))
}

fn page(kind: Kind) -> String {
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
         <style>body{{max-width:38rem;margin:2rem auto;padding:0 1rem;font:1.1rem/1.5 serif;background:#fbf9f2;color:#1d2b45}}\
         code{{font-size:.95em}}a{{color:inherit}}h1,h2{{font-weight:normal}}</style>\n</head>\n<body>\n{body}<p><small>Status \
         {status}, type <code>{address}</code></small></p>\n</body>\n</html>\n",
        title = escape(kind.title()),
        body = html(kind.page()),
        status = kind.status(),
        address = kind.address(),
    )
}

/// The subset of Markdown that the pages are written in: headings, paragraphs, lists, code and links.
fn html(markdown: &str) -> String {
    let mut out = String::new();
    let mut listing = false;
    for line in markdown.lines() {
        let item = line.strip_prefix("- ");
        if listing && item.is_none() {
            out.push_str("</ul>\n");
            listing = false;
        }
        match (item, line) {
            (Some(item), _) => {
                if !listing {
                    out.push_str("<ul>\n");
                    listing = true;
                }
                out.push_str(&format!("<li>{}</li>\n", inline(item)));
            }
            (None, "") => {}
            (None, line) => {
                let (tag, text) = match (line.strip_prefix("## "), line.strip_prefix("# ")) {
                    (Some(text), _) => ("h2", text),
                    (None, Some(text)) => ("h1", text),
                    (None, None) => ("p", line),
                };
                out.push_str(&format!("<{tag}>{}</{tag}>\n", inline(text)));
            }
        }
    }
    if listing {
        out.push_str("</ul>\n");
    }
    out
}

fn inline(text: &str) -> String {
    let mut out = String::new();
    for (at, part) in text.split('`').enumerate() {
        if at % 2 == 1 {
            out.push_str(&format!("<code>{}</code>", escape(part)));
        } else {
            out.push_str(&linked(part));
        }
    }
    out
}

fn linked(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some((before, label, address, after)) = link(rest) {
        out.push_str(&escape(before));
        out.push_str(&format!("<a href=\"{}\">{}</a>", escape(address), escape(label)));
        rest = after;
    }
    out.push_str(&escape(rest));
    out
}

fn link(text: &str) -> Option<(&str, &str, &str, &str)> {
    let (before, rest) = text.split_once('[')?;
    let (label, rest) = rest.split_once("](")?;
    let (address, after) = rest.split_once(')')?;
    Some((before, label, address, after))
}

/// Text as it may stand in a page.
pub fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_subset_is_turned_into_html() {
        let made = html("# A\n\nSee [the document](/docs/), `a<b`.\n\n## B\n\n- one\n- two\n");
        assert_eq!(
            made,
            "<h1>A</h1>\n<p>See <a href=\"/docs/\">the document</a>, <code>a&lt;b</code>.</p>\n<h2>B</h2>\n\
             <ul>\n<li>one</li>\n<li>two</li>\n</ul>\n"
        );
    }

    #[test]
    fn no_page_uses_more_than_the_subset() {
        for kind in Kind::ALL {
            let text = kind.page();
            assert_eq!(text.matches('`').count() % 2, 0, "{}: code ends", kind.slug());
            for line in text.lines() {
                let plain =
                    !line.starts_with(['>', '*', '|', '!', '\t']) && !line.starts_with("###") && !line.contains("**");
                assert!(plain, "{}: {line}", kind.slug());
            }
        }
    }
}
