//! A link as a QR code.

use qrcode::{Color, EcLevel, QrCode};

/// The dark squares of a code, as columns and rows, and how many squares it is wide.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Code {
    /// How many squares it is wide and high.
    pub(super) side: usize,
    /// The dark ones.
    pub(super) dark: Vec<(usize, usize)>,
}

/// The code for a link; none if it is too long for one.
pub(super) fn code(link: &str) -> Option<Code> {
    let code = QrCode::with_error_correction_level(link, EcLevel::M).ok()?;
    let side = code.width();
    let colours = code.to_colors();
    let dark = colours
        .iter()
        .enumerate()
        .filter(|(_, colour)| **colour == Color::Dark)
        .map(|(n, _)| (n % side, n / side))
        .collect();
    Some(Code { side, dark })
}
