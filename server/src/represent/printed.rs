//! A text as a page of its own, to be read or printed: nothing is loaded from outside.

use pulldown_cmark::{Options, Parser, html};

const STYLE: &str = "body{margin:2rem auto;max-width:48rem;padding:0 1rem;background:#fbf8f1;color:#1d2b3a;\
font:1rem/1.5 Georgia,'Times New Roman',serif;font-variant-numeric:tabular-nums}h1,h2{color:#12355b}figure{margin:1.5rem 0}svg{max-width:100%;height:auto}\
table{border-collapse:collapse;width:100%;font-size:.85rem;margin:1rem 0}\
th,td{border-bottom:1px solid #12355b;padding:.25rem .5rem;text-align:left;vertical-align:top}\
@media print{body{background:none;margin:0;max-width:none}h2{break-after:avoid}tr{break-inside:avoid}}";

/// The page of a Markdown text under a title; the first two pictures stand before its first part, the others before the
/// part on growth.
pub fn page(title: &str, markdown: &str, pictures: &[String]) -> String {
    let mut body = String::new();
    html::push_html(&mut body, Parser::new_ext(markdown, Options::ENABLE_TABLES));
    let (first, later) = pictures.split_at(pictures.len().min(2));
    for (place, pictures) in [("<h2>Growth", later), ("<h2>", first)] {
        let figures: String = pictures.iter().map(|svg| format!("<figure>\n{svg}</figure>\n")).collect();
        match body.find(place) {
            Some(at) => body.insert_str(at, &figures),
            None => body.push_str(&figures),
        }
    }
    let title = title.replace('&', "&amp;").replace('<', "&lt;");
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
         <style>{STYLE}</style>\n</head>\n<body>\n<main>\n{body}</main>\n</body>\n</html>\n"
    )
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_table_becomes_a_table_and_nothing_is_loaded() {
        let page = super::page("A & B", "# A\n\n| x | y |\n|---|---|\n| 1 | 2 |\n\n## B\n", &["<svg/>".to_owned()]);
        assert!(page.contains("<title>A &amp; B</title>") && page.contains("<td>1</td>"), "{page}");
        assert!(page.find("<svg/>").unwrap() < page.find("<h2>B").unwrap(), "{page}");
        assert!(!page.contains("http") && !page.contains("<script"));
    }
}
