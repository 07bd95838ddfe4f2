//! Drawings as PNG, with the fonts of the papers and no others.

use crate::finding::{Problem, ProblemKind};
use crate::land::paper::Picture;
use crate::land::typeface::FACES;
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};
use std::sync::{Arc, LazyLock};

static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = fontdb::Database::new();
    FACES.iter().for_each(|f| fonts.load_font_data(f.bytes().to_vec()));
    fonts.set_sans_serif_family("Rowfall Sans");
    fonts.set_serif_family("Rowfall Sans");
    Arc::new(fonts)
});

fn bug(message: String) -> Problem {
    Problem::new(ProblemKind::Bug, "picture", message)
}

/// A drawing as read by the renderer.
///
/// # Errors
/// When it is not well-formed SVG.
pub fn tree(svg: &str) -> Result<Tree, Problem> {
    let options = Options { fontdb: FONTS.clone(), font_family: "Rowfall Sans".to_owned(), ..Options::default() };
    Tree::from_str(svg, &options).map_err(|e| bug(format!("a drawing could not be read: {e}")))
}

/// The bytes of a PNG.
///
/// # Errors
/// When the drawing cannot be read or is too large.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "pixels of a sheet")]
pub fn png(picture: &Picture) -> Result<Vec<u8>, Problem> {
    let tree = tree(&picture.svg)?;
    let scale = picture.width_px as f32 / tree.size().width();
    let height = (tree.size().height() * scale).round().max(1.0) as u32;
    let mut pixels = Pixmap::new(picture.width_px, height).ok_or_else(|| bug("a picture without size".to_owned()))?;
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixels.as_mut());
    pixels.encode_png().map_err(|e| bug(format!("a picture could not be packed: {e}")))
}
