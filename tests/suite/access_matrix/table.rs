//! The table of answers, as it stands in the file beside.

use std::collections::BTreeMap;

const TEXT: &str = include_str!("../access_matrix.txt");

/// The width of the first column.
const NAME: usize = 30;

/// What everybody is to be answered.
pub(super) struct Table {
    columns: Vec<String>,
    rows: BTreeMap<String, Vec<String>>,
}

impl Table {
    /// Reads it.
    pub(super) fn read() -> Self {
        let lines = TEXT
            .lines()
            .filter(|line| !line.starts_with('#') && !line.trim().is_empty());
        let mut lines = lines.map(|line| {
            let mut words = line.split_whitespace().map(str::to_owned);
            (words.next().expect("a name"), words.collect::<Vec<_>>())
        });
        let (first, columns) = lines.next().expect("the names of the columns");
        assert_eq!(first, "operation");
        let mut rows = BTreeMap::new();
        for (name, cells) in lines {
            assert_eq!(cells.len(), columns.len(), "{name}");
            assert!(rows.insert(name.clone(), cells).is_none(), "{name} twice");
        }
        Self { columns, rows }
    }

    /// Who is asked about, in order.
    pub(super) fn columns(&self) -> &[String] {
        &self.columns
    }

    /// What the row of an operation says.
    pub(super) fn row(&self, name: &str) -> Option<&[String]> {
        self.rows.get(name).map(Vec::as_slice)
    }

    /// The names of all rows.
    pub(super) fn rows(&self) -> impl Iterator<Item = &String> {
        self.rows.keys()
    }

    /// A row as it would stand in the file.
    pub(super) fn line(name: &str, cells: &[String]) -> String {
        let cells: Vec<String> = cells.iter().map(|cell| format!("{cell:<4}")).collect();
        format!("{name:<NAME$}{}", cells.join(" "))
    }
}
