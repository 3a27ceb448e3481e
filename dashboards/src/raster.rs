//! SVG to PNG for mail and chat, with a committed font so that it looks the same everywhere.
use crate::say;
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree};
use std::fmt;

/// DejaVu Sans, the letters our pictures use (see `font/LICENCE.txt`).
const FONT: &[u8] = include_bytes!("../font/DejaVuSans-subset.ttf");
/// Most pixels along either side of a picture.
pub const MOST_SIDE_PX: u32 = 12_000;
/// Most pixels of a picture (4 bytes each while it is drawn).
pub const MOST_PX: u64 = 40_000_000;

/// Why no PNG came out.
#[derive(Clone, Debug, PartialEq)]
pub enum RasterError {
    /// The SVG could not be read.
    Svg {
        /// What the reader said.
        why: String,
    },
    /// The picture would be empty, or larger than [`MOST_SIDE_PX`] or [`MOST_PX`].
    Size {
        /// Width asked for, px.
        width: f64,
        /// Height asked for, px.
        height: f64,
    },
    /// The pixels could not be written as PNG.
    Encode {
        /// What the writer said.
        why: String,
    },
}

impl fmt::Display for RasterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&match self {
            Self::Svg { why } => say!("png-unread", why = why),
            Self::Size { width, height } => {
                let (width, height) = (format!("{width:.0}"), format!("{height:.0}"));
                say!("png-size", width = width, height = height, side = MOST_SIDE_PX, all = MOST_PX)
            }
            Self::Encode { why } => say!("png-encode", why = why),
        })
    }
}

impl std::error::Error for RasterError {}

/// A picture as PNG, `scale` device pixels to one of the SVG's.
///
/// # Errors
/// [`RasterError`] where the SVG is none, or the size is senseless.
pub fn svg_to_png(svg: &str, scale: f32) -> Result<Vec<u8>, RasterError> {
    let mut options = Options::default();
    let fonts = options.fontdb_mut();
    fonts.load_font_data(FONT.to_vec());
    fonts.set_sans_serif_family("DejaVu Sans");
    fonts.set_serif_family("DejaVu Sans");
    fonts.set_monospace_family("DejaVu Sans");
    // A picture must not read files of the machine it is drawn on.
    options.image_href_resolver.resolve_string = Box::new(|_, _| None);
    let tree = Tree::from_str(svg, &options).map_err(|e| RasterError::Svg { why: e.to_string() })?;
    let (width, height) =
        (f64::from(tree.size().width() * scale).ceil(), f64::from(tree.size().height() * scale).ceil());
    let side = 1.0..=f64::from(MOST_SIDE_PX);
    if !side.contains(&width) || !side.contains(&height) || width * height > MOST_PX as f64 {
        return Err(RasterError::Size { width, height });
    }
    let mut pixels = Pixmap::new(width as u32, height as u32).ok_or(RasterError::Size { width, height })?;
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixels.as_mut());
    pixels.encode_png().map_err(|e| RasterError::Encode { why: e.to_string() })
}
