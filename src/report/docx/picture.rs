//! A chart as a picture for print, with the font that comes with the program.

use crate::report::chart::with_plain_colours;
use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree};
use std::io;
use std::sync::Arc;

/// `DejaVu` Sans; its licence is in the same folder.
const FONT: &[u8] = include_bytes!("DejaVuSans.ttf");
const FAMILY: &str = "DejaVu Sans";

/// Pixels in a millimetre: 300 in an inch.
const PIXELS_A_MM: f64 = 300.0 / 25.4;

/// Draws charts as pixels.
pub struct Painter {
    options: Options<'static>,
}

/// A picture.
pub struct Picture {
    /// Its file.
    pub png: Vec<u8>,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
}

impl Painter {
    pub fn new() -> Self {
        let mut options = Options { font_family: FAMILY.to_owned(), ..Options::default() };
        let fonts = options.fontdb_mut();
        fonts.load_font_source(resvg::usvg::fontdb::Source::Binary(Arc::new(FONT)));
        fonts.set_sans_serif_family(FAMILY);
        Self { options }
    }

    /// A chart that is to be so wide on paper.
    pub fn paint(&self, svg: &str, width_mm: f64) -> io::Result<Picture> {
        let tree = Tree::from_str(&with_plain_colours(svg), &self.options).map_err(io::Error::other)?;
        #[allow(clippy::cast_possible_truncation)] // some thousand pixels, as single precision
        let scale = (width_mm * PIXELS_A_MM) as f32 / tree.size().width();
        let pixels = |length: f32| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // some thousand pixels
            let pixels = (length * scale).ceil() as u32;
            pixels
        };
        let (width, height) = (pixels(tree.size().width()), pixels(tree.size().height()));
        let mut pixmap = Pixmap::new(width, height).ok_or_else(|| io::Error::other("a picture without size"))?;
        pixmap.fill(Color::WHITE);
        resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixmap.as_mut());
        let png = pixmap.encode_png().map_err(io::Error::other)?;
        Ok(Picture { png, width, height })
    }
}
