//! Charts as images for slides.

use std::sync::{Arc, LazyLock};

use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

use crate::charts::FACES;

/// A chart could not be made an image.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("a chart could not be made an image: {0}")]
pub struct PngError(String);

/// Points of an image for one of the chart: 470 pt become 1,410 points, enough
/// for half a slide.
const SCALE: f32 = 3.0;

/// Our own faces; none of the system's, so that every computer draws the same.
static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = fontdb::Database::new();
    for face in FACES {
        fonts.load_font_data(face.to_vec());
    }
    Arc::new(fonts)
});

/// The chart as PNG on white.
///
/// # Errors
///
/// [`PngError`] if the SVG can't be read or has no size.
pub fn png(svg: &str) -> Result<Vec<u8>, PngError> {
    let fail = |why: &dyn std::fmt::Display| PngError(why.to_string());
    let options = Options {
        fontdb: FONTS.clone(),
        ..Options::default()
    };
    let tree = Tree::from_str(svg, &options).map_err(|e| fail(&e))?;
    let size = tree.size();
    let pixels = |length: f32| (length * SCALE).ceil() as u32;
    let mut image = Pixmap::new(pixels(size.width()), pixels(size.height()))
        .ok_or_else(|| fail(&"it has no size"))?;
    image.fill(Color::WHITE);
    resvg::render(
        &tree,
        Transform::from_scale(SCALE, SCALE),
        &mut image.as_mut(),
    );
    image.encode_png().map_err(|e| fail(&e))
}
