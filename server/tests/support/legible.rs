//! Whether the words of a picture can be read: in the font that ships with the program every text lies on the paper, and
//! none on another.

use std::sync::Arc;

use resvg::usvg::{Group, Node, Options, Rect, Tree, fontdb};

/// Every text with the box of its letters.
fn texts(group: &Group, found: &mut Vec<(String, Rect)>) {
    for node in group.children() {
        match node {
            Node::Group(group) => texts(group, found),
            Node::Text(text) => {
                let words: String = text.chunks().iter().map(|chunk| chunk.text()).collect();
                found.push((words, text.abs_bounding_box()));
            }
            _ => {}
        }
    }
}

/// The first text that leaves the paper or lies on another.
pub fn legible(svg: &str) -> Result<(), String> {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(include_bytes!(concat!(env!("CARGO_MANIFEST_DIR"), "/fonts/LinLibertine_R.otf")).to_vec());
    fonts.load_font_data(include_bytes!(concat!(env!("CARGO_MANIFEST_DIR"), "/fonts/LinLibertine_RB.otf")).to_vec());
    let options = Options { fontdb: Arc::new(fonts), ..Options::default() };
    let tree = Tree::from_str(svg, &options).map_err(|error| error.to_string())?;
    let mut found = Vec::new();
    texts(tree.root(), &mut found);
    if found.is_empty() {
        return Err("a picture without a word".to_owned());
    }
    let (width, height) = (tree.size().width(), tree.size().height());
    for (n, (words, at)) in found.iter().enumerate() {
        if at.left() < 0.0 || at.top() < 0.0 || at.right() > width || at.bottom() > height {
            return Err(format!("'{words}' leaves the paper: {at:?} of {width} by {height}"));
        }
        for (other, beside) in &found[n + 1..] {
            let across = at.right().min(beside.right()) - at.left().max(beside.left());
            let along = at.bottom().min(beside.bottom()) - at.top().max(beside.top());
            // Feet and accents may reach into the next line.
            if across > 1.0 && along > 0.35 * at.height().min(beside.height()) {
                return Err(format!("'{words}' lies on '{other}'"));
            }
        }
    }
    Ok(())
}
