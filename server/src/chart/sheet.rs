//! The paper around a drawing: title above, notes and the source below, a text alternative for all of it.

use sha2::{Digest, Sha256};
use svg::Document;
use svg::node::element::{Description, Group, Rectangle, Title};

use super::Size;
use super::canvas::{At, Canvas, INK, PAPER, Set, WORDS, short};
use super::letters::FAMILY;

/// Width of a column.
const COLUMN: f64 = 560.0;
/// Width of a slide, before it is enlarged: 16 to 9 of [`SLIDE_HEIGHT`].
const SLIDE: f64 = 800.0;
const SLIDE_HEIGHT: f64 = 450.0;
const MARGIN: f64 = 22.0;

/// What is said around a drawing.
#[derive(Debug, Clone, Default)]
pub struct Words {
    /// What the picture shows, in a line.
    pub title: String,
    /// The answer in a sentence, or why there is none.
    pub sentence: String,
    /// What is to be known beside the drawing: refusals, marks, cautions.
    pub notes: Vec<String>,
    /// Where the figures come from.
    pub source: String,
    /// The figures in words, for those who do not see them.
    pub alternative: String,
}

/// Where a drawing may be made.
pub struct Room {
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Width.
    pub width: f64,
    /// How high the drawing may be for the picture to keep its shape; `None` = as high as it must be.
    pub height: Option<f64>,
    /// Letter size of words in the drawing.
    pub letters: f64,
}

/// Sets the words around a drawing: `draw` draws in the room it is given and gives the lower edge of what it drew. It may be
/// called twice.
pub fn compose(words: &Words, size: Size, draw: impl Fn(&mut Canvas, &Room) -> f64) -> String {
    let width = if size == Size::Column { COLUMN } else { SLIDE };
    let mut room = Room { left: MARGIN, top: 0.0, width: width - 2.0 * MARGIN, height: None, letters: 12.0 };
    let (mut canvas, mut end) = page(words, &mut room, &draw);
    if size == Size::Slide {
        let drawn = SLIDE_HEIGHT - (end - room.height.unwrap_or_default());
        room.height = Some(drawn.max(60.0));
        (canvas, end) = page(words, &mut room, &draw);
    }
    let height = if size == Size::Column { end } else { end.max(SLIDE_HEIGHT) };
    // A slide that needs more height than it has keeps its shape with broader margins.
    let broad = if size == Size::Column { width } else { height * 16.0 / 9.0 };
    let left = (width - broad) / 2.0;
    let (shown_width, shown_height) = if size == Size::Column { (width, height) } else { (1280.0, 720.0) };
    let id = id(words);
    let drawing: Group = canvas.into_nodes();
    let document = Document::new()
        .set("viewBox", format!("{} 0 {} {}", short(left), short(broad), short(height)))
        .set("width", short(shown_width))
        .set("height", short(shown_height))
        .set("role", "img")
        .set("aria-labelledby", format!("t{id} d{id}"))
        .set("font-family", format!("'{FAMILY}', 'Linux Libertine', Georgia, serif"))
        .set("style", "font-variant-numeric: lining-nums tabular-nums")
        .add(Title::new(words.title.as_str()).set("id", format!("t{id}")))
        .add(Description::new().set("id", format!("d{id}")).add(svg::node::Text::new(description(words))))
        .add(
            Rectangle::new()
                .set("x", short(left))
                .set("y", "0")
                .set("width", short(broad))
                .set("height", short(height))
                .set("fill", PAPER),
        )
        .add(drawing);
    document.to_string() + "\n"
}

/// Everything on the page; `room.height` comes back as the height of the drawing.
fn page(words: &Words, room: &mut Room, draw: &impl Fn(&mut Canvas, &Room) -> f64) -> (Canvas, f64) {
    let mut canvas = Canvas::new();
    let (left, width) = (room.left, room.width);
    canvas.rule((left, 16.0), (left + width, 16.0), INK, 1.6);
    canvas.rule((left, 19.0), (left + width, 19.0), INK, 0.5);
    let title = Set { size: 17.0, bold: true, ink: INK, at: At::Start };
    let mut y = canvas.paragraph(left, 38.0, title, width, &words.title);
    let lead = Set { size: 13.0, bold: false, ink: WORDS, at: At::Start };
    y = canvas.paragraph(left, y, lead, width, &words.sentence);
    room.top = y;
    let end = draw(&mut canvas, room);
    room.height = Some(end - room.top);
    y = end + 16.0;
    let note = Set { size: 10.5, bold: false, ink: WORDS, at: At::Start };
    for text in &words.notes {
        y = canvas.paragraph(left, y, note, width, text);
    }
    canvas.rule((left, y - 6.0), (left + width, y - 6.0), INK, 0.5);
    y = canvas.paragraph(left, y + 7.0, note, width, &words.source);
    (canvas, y + 2.0)
}

fn description(words: &Words) -> String {
    let mut said = vec![words.sentence.as_str(), words.alternative.as_str()];
    said.extend(words.notes.iter().map(String::as_str));
    said.push(&words.source);
    said.retain(|text| !text.is_empty());
    said.join(" ")
}

/// Tells pictures on one page apart.
fn id(words: &Words) -> String {
    let digest = Sha256::digest(format!("{}\0{}\0{}", words.title, words.source, words.alternative));
    crate::represent::hex(&digest[..6])
}
