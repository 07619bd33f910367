//! A link as a QR code in block characters, to be read off a terminal by a phone.

use qrcode::{Color, EcLevel, QrCode};

use crate::failure::Failure;

/// So many light squares stand around a code, as ISO/IEC 18004 asks for.
const QUIET: usize = 4;

/// The code, two rows of squares to a line. Light squares are drawn, since most terminals are dark; on a light one the
/// code is inverted, which phones read too.
///
/// # Errors
///
/// [`Failure::Device`] if the link is too long for a code.
pub fn blocks(link: &str) -> Result<String, Failure> {
    let code = QrCode::with_error_correction_level(link, EcLevel::L)
        .map_err(|why| Failure::Device(format!("no QR code can be made of the link: {why}")))?;
    let (width, colors) = (code.width(), code.to_colors());
    let side = width + 2 * QUIET;
    let is_light = |x: usize, y: usize| {
        let inside = (QUIET..QUIET + width).contains(&x) && (QUIET..QUIET + width).contains(&y);
        !inside || colors.get((y - QUIET) * width + x - QUIET) == Some(&Color::Light)
    };
    let drawn = |y: usize| -> String {
        (0..side)
            .map(|x| match (is_light(x, y), is_light(x, y + 1)) {
                (true, true) => '█',
                (true, false) => '▀',
                (false, true) => '▄',
                (false, false) => ' ',
            })
            .collect()
    };
    let lines: Vec<String> = (0..side).step_by(2).map(drawn).collect();
    Ok(lines.join("\n"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Checked with rqrr, a decoder that shares no code with the encoder.
    #[test]
    fn another_decoder_reads_it_off_the_terminal() {
        let link = "https://saltmarsh.example/shared/kR3mVbYw0sJ8fQ2nTzL5cXhDpGaU7eOi";
        let blocks = blocks(link).expect("a code");
        let lines: Vec<Vec<char>> = blocks.lines().map(|line| line.chars().collect()).collect();
        let (side, scale) = (lines[0].len(), 4);
        assert!(side <= 80, "{side} columns");
        let is_light = |x: usize, y: usize| match lines[y / 2][x] {
            '█' => true,
            '▀' => y.is_multiple_of(2),
            '▄' => !y.is_multiple_of(2),
            _ => false,
        };
        let (wide, high) = (side * scale, lines.len() * 2 * scale);
        let mut image = rqrr::PreparedImage::prepare_from_greyscale(wide, high, |x, y| {
            if is_light(x / scale, y / scale) {
                255
            } else {
                0
            }
        });
        let grids = image.detect_grids();
        assert_eq!(grids.len(), 1);
        assert_eq!(grids[0].decode().expect("a code").1, link);
    }
}
