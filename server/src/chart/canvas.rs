//! Paper to draw on: rules, marks and texts with a letter size, as nodes of SVG.

use svg::node::element::{Group, Line, Path, Text};

use super::letters;

/// Ink-blue, for rules, axes and figures: contrast with the paper 10.6 to 1 (WCAG 2.2 asks for 4.5).
pub const INK: &str = "#12355b";
/// Paper.
pub const PAPER: &str = "#fbf8f1";
/// Words beside the figures: contrast with the paper 9 to 1.
pub const WORDS: &str = "#33404d";
/// Light rules.
pub const RULE: &str = "#b9c3cd";

/// Strokes that tell lines apart in black and white too: a pattern of dashes and a colour.
pub const STROKES: [(&str, &str); 6] = [
    ("none", INK),
    ("7 3", "#8a3b12"),
    ("2 2.5", "#2d5a3d"),
    ("10 3 2 3", "#5b2a6b"),
    ("5 2 1 2 1 2", "#33404d"),
    ("1 4", "#7a5a00"),
];

/// Where a text stands beside its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum At {
    /// Begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// Ends there.
    End,
}

/// How a text is set.
#[derive(Debug, Clone, Copy)]
pub struct Set {
    /// Letter size.
    pub size: f64,
    /// Bold or not.
    pub bold: bool,
    /// Colour.
    pub ink: &'static str,
    /// Where.
    pub at: At,
}

/// What is drawn so far.
pub struct Canvas {
    nodes: Group,
}

/// A number of SVG: hundredths are enough.
pub fn short(x: f64) -> String {
    let text = format!("{x:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

impl Canvas {
    /// Blank paper.
    pub fn new() -> Self {
        Canvas { nodes: Group::new() }
    }

    /// What was drawn.
    pub fn into_nodes(self) -> Group {
        self.nodes
    }

    fn add(&mut self, node: impl Into<Box<dyn svg::Node>>) {
        self.nodes = std::mem::take(&mut self.nodes).add(node);
    }

    /// A text on one line whose foot is at `y`. Its length is fixed, so that it fits in other fonts too.
    pub fn text(&mut self, x: f64, y: f64, set: Set, text: &str) {
        if text.is_empty() {
            return;
        }
        let anchor = match set.at {
            At::Start => "start",
            At::Middle => "middle",
            At::End => "end",
        };
        let mut node = Text::new(text)
            .set("x", short(x))
            .set("y", short(y))
            .set("font-size", short(set.size))
            .set("fill", set.ink)
            .set("text-anchor", anchor);
        if set.bold {
            node = node.set("font-weight", "bold");
        }
        if text.chars().count() > 3 {
            let length = letters::width(text, set.size, set.bold);
            node = node.set("textLength", short(length)).set("lengthAdjust", "spacingAndGlyphs");
        }
        self.add(node);
    }

    /// Texts below each other within `room`; gives where the next line's foot would be.
    pub fn paragraph(&mut self, x: f64, y: f64, set: Set, room: f64, text: &str) -> f64 {
        let mut foot = y;
        for line in letters::lines(text, set.size, set.bold, room) {
            self.text(x, foot, set, &line);
            foot += set.size * 1.3;
        }
        foot
    }

    /// A straight rule.
    pub fn rule(&mut self, from: (f64, f64), to: (f64, f64), ink: &str, thick: f64) {
        let line = Line::new()
            .set("x1", short(from.0))
            .set("y1", short(from.1))
            .set("x2", short(to.0))
            .set("y2", short(to.1))
            .set("stroke", ink)
            .set("stroke-width", short(thick));
        self.add(line);
    }

    /// A line through points, with a stroke of [`STROKES`].
    pub fn line(&mut self, points: &[(f64, f64)], stroke: usize, thick: f64) {
        let (dashes, ink) = STROKES[stroke % STROKES.len()];
        let path = Path::new()
            .set("d", path(points))
            .set("fill", "none")
            .set("stroke", ink)
            .set("stroke-width", short(thick))
            .set("stroke-linejoin", "miter")
            .set("stroke-dasharray", dashes);
        self.add(path);
    }

    /// A filled shape through points, so light that what lies below shows.
    pub fn area(&mut self, points: &[(f64, f64)], ink: &str, opacity: f64) {
        let path = Path::new()
            .set("d", format!("{} Z", path(points)))
            .set("fill", ink)
            .set("fill-opacity", short(opacity))
            .set("stroke", "none");
        self.add(path);
    }

    /// A filled shape.
    pub fn shape(&mut self, points: &[(f64, f64)], ink: &str) {
        self.area(points, ink, 1.0);
    }

    /// A mark at an estimate: a square, a diamond or a triangle, so that groups differ in shape too.
    pub fn mark(&mut self, x: f64, y: f64, kind: usize, radius: f64, ink: &str) {
        let r = radius;
        let points: Vec<(f64, f64)> = match kind % 3 {
            0 => vec![(x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)],
            1 => vec![(x, y - 1.4 * r), (x + 1.4 * r, y), (x, y + 1.4 * r), (x - 1.4 * r, y)],
            _ => vec![(x, y - 1.4 * r), (x + 1.3 * r, y + r), (x - 1.3 * r, y + r)],
        };
        self.shape(&points, ink);
    }
}

fn path(points: &[(f64, f64)]) -> String {
    let mut d = String::new();
    for (i, (x, y)) in points.iter().enumerate() {
        d += &format!("{}{} {}", if i == 0 { "M" } else { " L" }, short(*x), short(*y));
    }
    d
}
