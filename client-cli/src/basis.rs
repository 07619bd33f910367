//! What stands under every computed answer for people: what to know, and what it rests on.

use whorl_care::figure::Warning;
use whorl_care::rules::Source;

use crate::render::Sheet;

/// Adds the warnings, the cautions, and the sources.
#[must_use]
pub fn under(
    mut sheet: Sheet,
    warnings: &[Warning],
    cautions: &[String],
    sources: &[Source],
) -> Sheet {
    for warning in warnings {
        sheet = sheet.line(format!("! {}", warning.text));
    }
    for caution in cautions {
        sheet = sheet.line(format!("- {caution}"));
    }
    for source in sources {
        sheet = sheet.line(format!("Source: {}", source.citation));
    }
    sheet
}
