//! An issue as Markdown, and as a page of its own that prints: nothing is loaded from outside.

use std::fmt::Write;

use super::frozen::FrozenIssue;
use super::{Correction, Issue, Line};
use crate::represent::printed::page as of_markdown;

/// The issue as Markdown; pictures are links.
pub fn markdown(issue: &Issue) -> String {
    text(|out| write(out, issue, "", false))
}

/// The issue as a page, with its pictures in it.
pub fn page(issue: &Issue) -> String {
    with_pictures(of_markdown(&title(issue), &text(|out| write(out, issue, "", true)), &[]), issue)
}

/// A printed issue as Markdown.
pub fn printed_markdown(shown: &FrozenIssue) -> String {
    text(|out| write(out, &shown.issue, &notices(shown), false))
}

/// A printed issue as a page.
pub fn printed_page(shown: &FrozenIssue) -> String {
    let text = text(|out| write(out, &shown.issue, &notices(shown), true));
    with_pictures(of_markdown(&shown.printed.title, &text, &[]), &shown.issue)
}

/// Text written by `write`: writing to a string cannot fail.
fn text(write: impl FnOnce(&mut String) -> std::fmt::Result) -> String {
    let mut text = String::new();
    let _ = write(&mut text);
    text
}

fn with_pictures(mut page: String, issue: &Issue) -> String {
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

/// What stands above a printed issue.
fn notices(shown: &FrozenIssue) -> String {
    let printed = &shown.printed;
    text(|out| {
        writeln!(
            out,
            "**{}**: issue {}, printed on {}, signed by {}.\n",
            printed.title,
            printed.number,
            printed.frozen_at.date_naive(),
            printed.signed_by
        )?;
        if let Some(note) = &printed.note {
            writeln!(out, "{note}\n")?;
        }
        if let Some(at) = printed.withdrawn_at {
            writeln!(out, "**This issue was withdrawn on {}. Do not pass it on.**\n", at.date_naive())?;
        }
        corrections(out, "Correction notice: what stands no longer as it was printed", &shown.corrections_since)
    })
}

fn corrections(out: &mut String, title: &str, corrections: &[Correction]) -> std::fmt::Result {
    if corrections.is_empty() {
        return Ok(());
    }
    writeln!(out, "## {title}\n\n| what | printed in | printed | stands now |\n|---|---|---|---|")?;
    for of in corrections {
        let cell = |figure: &Option<String>| figure.as_deref().unwrap_or("not shown").replace('|', "/");
        let now =
            of.now.as_ref().or(of.reason.as_ref()).map_or_else(|| "no figure".to_owned(), |of| of.replace('|', "/"));
        writeln!(out, "| {} | issue {} | {} | {now} |", of.what.replace('|', "/"), of.printed_in, cell(&of.printed))?;
    }
    writeln!(
        out,
        "\nFigures change as members record more; a change is not a finding about the corals that came since.\n"
    )
}

fn write(out: &mut String, issue: &Issue, above: &str, with_marks: bool) -> std::fmt::Result {
    writeln!(out, "# {}\n", title(issue))?;
    out.push_str(above);
    write!(out, "Release {} of {}.", issue.release, issue.made_on)?;
    if let Some(since) = &issue.since {
        let since = if since.contains('-') { since.clone() } else { format!("release {since}") };
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
        match (item.drawn.is_empty(), with_marks) {
            (true, _) => {}
            (false, true) => writeln!(out, "{}\n", mark(&item.taxon))?,
            (false, false) => writeln!(out, "![{}: share alive since purchase]({})\n", item.name, item.picture)?,
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
    corrections(out, "What we printed and what stands no longer", &issue.corrections)?;
    writeln!(out, "## Read with care\n")?;
    for caution in &issue.cautions {
        writeln!(out, "- {caution}")?;
    }
    writeln!(out, "\n{}", issue.citation)
}
