//! A link as a QR code, as an image.

use std::fmt::Write as _;

use qrcode::{Color, EcLevel, QrCode};

use crate::problem::Problem;

/// So many light squares stand around a code, as ISO/IEC 18004 asks for.
const QUIET: usize = 4;

/// So many pixels a square is wide, unless a page says otherwise.
const PIXELS: usize = 4;

/// The code of a link as an SVG image, black on white whatever the page's colours are.
///
/// # Errors
///
/// A failure of ours if the link is too long for a code.
pub(crate) fn svg(link: &str) -> Result<String, Problem> {
    let code = QrCode::with_error_correction_level(link, EcLevel::M).map_err(Problem::internal)?;
    let (width, side) = (code.width(), code.width() + 2 * QUIET);
    let pixels = side * PIXELS;
    let mut dark = String::new();
    for (n, color) in code.to_colors().into_iter().enumerate() {
        if color == Color::Dark {
            // Writing to a string can't fail.
            let _ = write!(dark, "M{} {}h1v1h-1z", n % width + QUIET, n / width + QUIET);
        }
    }
    Ok(format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" aria-label=\"The link as a QR code\" \
         width=\"{pixels}\" height=\"{pixels}\" viewBox=\"0 0 {side} {side}\" shape-rendering=\"crispEdges\">\
         <path fill=\"#fff\" d=\"M0 0h{side}v{side}H0z\"/><path fill=\"#000\" d=\"{dark}\"/></svg>"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The image as a decoder sees it, each square several pixels wide. Reads the paths that we write, and nothing else.
    fn drawn(svg: &str, scale: usize) -> (usize, Vec<bool>) {
        let document = roxmltree::Document::parse(svg).expect("XML");
        let root = document.root_element();
        let view = root.attribute("viewBox").expect("a view");
        let side: usize = view
            .rsplit(' ')
            .next()
            .and_then(|text| text.parse().ok())
            .expect("a side");
        let paths: Vec<_> = root.children().collect();
        assert_eq!(paths.len(), 2);
        assert_eq!(paths[1].attribute("fill"), Some("#000"));
        let mut dark = vec![false; side * side];
        for square in paths[1].attribute("d").expect("a path").split('M').skip(1) {
            let at = square.strip_suffix("h1v1h-1z").expect("a square");
            let (x, y) = at.split_once(' ').expect("a place");
            let (x, y): (usize, usize) = (x.parse().expect("x"), y.parse().expect("y"));
            dark[y * side + x] = true;
        }
        let wide = side * scale;
        let pixels = (0..wide * wide)
            .map(|n| dark[n / wide / scale * side + n % wide / scale])
            .collect();
        (wide, pixels)
    }

    /// Checked with rqrr, a decoder that shares no code with the encoder.
    #[test]
    fn another_decoder_reads_the_link() {
        for link in [
            "https://saltmarsh.example/shared/kR3mVbYw0sJ8fQ2nTzL5cXhDpGaU7eOi",
            "http://192.0.2.4:8040/shared/________________________________",
        ] {
            let (side, dark) = drawn(&svg(link).expect("a code"), 5);
            let mut image = rqrr::PreparedImage::prepare_from_greyscale(side, side, |x, y| {
                if dark[y * side + x] { 0 } else { 255 }
            });
            let grids = image.detect_grids();
            assert_eq!(grids.len(), 1, "{link}");
            let (_, read) = grids[0].decode().expect("a code");
            assert_eq!(read, link);
        }
        assert!(svg(&"x".repeat(5000)).is_err());
    }
}
