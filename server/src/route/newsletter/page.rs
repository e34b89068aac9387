//! An issue as Markdown, and as a page of its own that prints: nothing is loaded from outside.

use std::fmt::Write;

use super::{Issue, Line};
use crate::route::report::page::page as of_markdown;

/// The issue as Markdown; pictures are links, or for the page marks that they take the place of.
pub fn markdown(issue: &Issue, with_marks: bool) -> String {
    let mut text = String::new();
    // Writing to a string cannot fail.
    let _ = write(&mut text, issue, with_marks);
    text
}

/// The issue as a page, with its pictures in it.
pub fn page(issue: &Issue) -> String {
    let mut page = of_markdown(&title(issue), &markdown(issue, true), &[]);
    for item in &issue.taxa {
        page =
            page.replacen(&format!("<p>{}</p>", mark(&item.taxon)), &format!("<figure>\n{}</figure>", item.drawn), 1);
    }
    page
}

fn title(issue: &Issue) -> String {
    format!("{}: what our records say", issue.club.as_deref().unwrap_or("Our club"))
}

fn mark(taxon: &str) -> String {
    format!("picture-of-{taxon}")
}

fn table(out: &mut String, lines: &[Line]) -> std::fmt::Result {
    if lines.is_empty() {
        return Ok(());
    }
    writeln!(out, "| what | figure |\n|---|---|")?;
    for line in lines {
        writeln!(out, "| {} | {} |", line.what.replace('|', "/"), line.figure.replace('|', "/"))?;
    }
    writeln!(out)
}

fn write(out: &mut String, issue: &Issue, with_marks: bool) -> std::fmt::Result {
    writeln!(out, "# {}\n", title(issue))?;
    write!(out, "Release {} of {}.", issue.release, issue.made_on)?;
    if let Some(since) = issue.since {
        write!(out, " What has changed since {since}")?;
        match issue.unchanged {
            0 => write!(out, ".")?,
            1 => write!(out, "; the figures of one kind stand as they were.")?,
            several => write!(out, "; the figures of {several} kinds stand as they were.")?,
        }
    }
    writeln!(out, "\n")?;
    for item in &issue.taxa {
        writeln!(out, "## {}\n\n{}\n", item.name, item.paragraph)?;
        table(out, &item.table)?;
        match with_marks {
            true => writeln!(out, "{}\n", mark(&item.taxon))?,
            false => writeln!(out, "![{}: share alive since purchase]({})\n", item.name, item.picture)?,
        }
        writeln!(out, "*Figures of release {}, {}.*\n", item.release, item.made_on)?;
    }
    if !issue.claims.is_empty() {
        writeln!(out, "## What we teach\n")?;
        for claim in &issue.claims {
            writeln!(out, "{}\n", claim.paragraph)?;
            table(out, &claim.table)?;
        }
    }
    if !issue.cannot_tell.is_empty() {
        writeln!(out, "## What we cannot tell yet\n")?;
        for untold in &issue.cannot_tell {
            writeln!(out, "- {}: {}", untold.name, untold.reason)?;
        }
        writeln!(
            out,
            "\nWhat would help: one \u{201c}all seen alive\u{201d} a month, the day of each loss, and a test a fortnight.\n"
        )?;
    }
    writeln!(out, "## Read with care\n")?;
    for caution in &issue.cautions {
        writeln!(out, "- {caution}")?;
    }
    writeln!(out, "\n{}", issue.citation)
}
