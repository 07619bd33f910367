//! Tables for spreadsheets: RFC 4180, with no cell that a spreadsheet would take for a formula.

use crate::failure::Failure;

/// Rows as CSV, with a heading.
///
/// # Errors
///
/// [`Failure::Device`] if they can't be written.
pub fn csv<const N: usize>(
    head: [&str; N],
    rows: impl IntoIterator<Item = [String; N]>,
) -> Result<Vec<u8>, Failure> {
    let failed = |error: csv::Error| Failure::Device(error.to_string());
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(head).map_err(failed)?;
    for row in rows {
        writer
            .write_record(row.map(|cell| tame(&cell)))
            .map_err(failed)?;
    }
    writer
        .into_inner()
        .map_err(|error| Failure::Device(error.to_string()))
}

/// A cell that begins like a formula gets an apostrophe in front, by which spreadsheets know text.
#[must_use]
pub fn tame(cell: &str) -> String {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0']) {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn lines_and_quotes_are_those_of_rfc_4180() {
        let rows = [["a,b".to_owned(), "say \"hm\"\nand go".to_owned()]];
        let bytes = csv(["one", "two"], rows).expect("written");
        assert_eq!(
            String::from_utf8(bytes).expect("UTF-8"),
            "one,two\r\n\"a,b\",\"say \"\"hm\"\"\nand go\"\r\n"
        );
    }

    proptest! {
        #[test]
        fn no_cell_is_a_formula_and_nothing_is_lost(cell in "\\PC*|[=+@\t\r\n-].{0,9}") {
            let bytes = csv(["cell"], [[cell.clone()]]).expect("written");
            let mut reader = csv::Reader::from_reader(bytes.as_slice());
            let read = reader.records().next().expect("a row").expect("read");
            let read = read.get(0).expect("a cell");
            prop_assert!(!read.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0']));
            prop_assert_eq!(read.strip_prefix('\'').filter(|_| !cell.starts_with('\'')).unwrap_or(read), cell);
        }
    }
}
