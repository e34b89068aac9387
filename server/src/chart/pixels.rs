//! A picture as PNG: the SVG drawn with the font that ships with the program, so that it is the same on every machine.

use std::sync::{Arc, LazyLock};

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

use super::Size;
use super::letters::{BOLD, FAMILY, REGULAR};
use crate::problem::Problem;

static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(REGULAR.to_vec());
    fonts.load_font_data(BOLD.to_vec());
    fonts.set_serif_family(FAMILY);
    Arc::new(fonts)
});

/// A picture as it will be drawn, letters turned into outlines.
///
/// # Errors
/// It is no picture: a fault of this program.
pub fn tree(svg: &str) -> Result<Tree, Problem> {
    let options = Options { font_family: FAMILY.to_owned(), fontdb: FONTS.clone(), ..Options::default() };
    Tree::from_str(svg, &options).map_err(|error| Problem::internal(&error))
}

/// The bytes of a picture as PNG: a column twice as wide as in SVG, a slide 1920 by 1080.
///
/// # Errors
/// It is no picture: a fault of this program.
pub fn png(svg: &str, size: Size) -> Result<Vec<u8>, Problem> {
    let tree = tree(svg)?;
    let scale = match size {
        Size::Column => 2.0,
        Size::Slide => 1920.0 / tree.size().width(),
    };
    let (width, height) = ((tree.size().width() * scale).round(), (tree.size().height() * scale).round());
    let mut paper =
        Pixmap::new(width as u32, height as u32).ok_or_else(|| Problem::internal(&"no room for a picture"))?;
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut paper.as_mut());
    paper.encode_png().map_err(|error| Problem::internal(&error))
}
