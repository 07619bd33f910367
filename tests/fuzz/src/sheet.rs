//! A visit sheet: the first line says of which kind and form, the rest is the file.

use std::path::Path;

use whorl_care::kind::Kind;
use whorl_cli::sheet::{Defaults, read};

use crate::halves;

/// Every line that is read stands in the file, and so does every fault; what is read is of the kind that was asked for or that
/// the line names, in details that are an object.
pub(crate) fn run(bytes: &[u8]) {
    let Some((first, text)) = halves(bytes) else {
        return;
    };
    let (name, kind) = first.split_once(' ').unwrap_or((first, ""));
    let path = Path::new(if name == "toml" {
        "visit.toml"
    } else {
        "visit.csv"
    });
    let defaults = Defaults {
        kind: kind.parse::<Kind>().ok(),
        day: Some("2027-03-04".to_owned()),
        ..Defaults::default()
    };
    let Ok(sheet) = read(path, text.as_bytes(), &defaults) else {
        return;
    };
    assert!(
        !sheet.lines.is_empty() || !sheet.wrong.is_empty(),
        "nothing said"
    );
    let last = text.split(['\n', '\r']).count();
    for line in &sheet.lines {
        assert!((1..=last).contains(&line.number), "line {}", line.number);
        for place in &line.places {
            assert!(
                (1..=last).contains(&place.line),
                "a part on line {}",
                place.line
            );
        }
    }
    for wrong in &sheet.wrong {
        assert!(
            (1..=last).contains(&wrong.line),
            "a fault on line {}",
            wrong.line
        );
        assert!(!wrong.detail.is_empty());
    }
}
