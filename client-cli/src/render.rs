//! What a command answers: tables for people, one JSON document for programs. Nothing else prints.

use std::fmt::Write as _;

use chrono::{DateTime, FixedOffset, Utc};
use unicode_width::UnicodeWidthStr;

mod table;

/// An answer for people: lines and tables, in order.
#[derive(Debug, Default)]
pub struct Sheet {
    blocks: Vec<Block>,
}

#[derive(Debug)]
enum Block {
    Line(String),
    Table(Vec<String>, Vec<Vec<String>>),
}

impl Sheet {
    /// An empty answer.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a line of text.
    #[must_use]
    pub fn line(mut self, text: impl Into<String>) -> Self {
        self.blocks.push(Block::Line(text.into()));
        self
    }

    /// Adds a table, or `nothing` if it has no rows.
    #[must_use]
    pub fn table(
        mut self,
        head: &[&str],
        rows: impl IntoIterator<Item = Vec<String>>,
        nothing: &str,
    ) -> Self {
        let rows: Vec<_> = rows.into_iter().collect();
        self.blocks.push(if rows.is_empty() {
            Block::Line(nothing.to_owned())
        } else {
            Block::Table(head.iter().map(|&text| text.to_owned()).collect(), rows)
        });
        self
    }

    /// Adds facts, one a line: what it is, and its value.
    #[must_use]
    pub fn facts(mut self, facts: impl IntoIterator<Item = (&'static str, String)>) -> Self {
        let rows = facts
            .into_iter()
            .map(|(name, value)| vec![name.to_owned(), value]);
        self.blocks.push(Block::Table(Vec::new(), rows.collect()));
        self
    }

    /// The text, for a terminal of `width` columns, or for a file.
    #[must_use]
    pub fn text(&self, width: Option<u16>) -> String {
        let mut text = String::new();
        for block in &self.blocks {
            // Writing to a String can't fail.
            let _ = match block {
                Block::Line(line) => writeln!(text, "{}", flowed(&plain(line), width)),
                Block::Table(head, rows) => writeln!(text, "{}", table(head, rows, width)),
            };
        }
        text
    }
}

/// A line in lines that fit; one with a word that can't stays whole, so that an address can be copied.
fn flowed(line: &str, width: Option<u16>) -> String {
    let room = width.map_or(usize::MAX, usize::from);
    if line.split_whitespace().any(|word| word.width() > room) {
        return line.to_owned();
    }
    table::wrapped(line, room).join("\n")
}

fn table(head: &[String], rows: &[Vec<String>], width: Option<u16>) -> String {
    let rows: Vec<Vec<String>> = rows
        .iter()
        .map(|row| row.iter().map(|cell| plain(cell)).collect())
        .collect();
    table::lines(head, &rows, width).join("\n")
}

/// Text as it may stand on a terminal: what other people wrote can't move the cursor or change colours.
#[must_use]
pub fn plain(text: &str) -> String {
    text.chars()
        .map(|one| {
            if one.is_control() && one != '\n' && one != '\t' {
                '\u{fffd}'
            } else {
                one
            }
        })
        .collect()
}

/// Text on one line.
#[must_use]
pub fn one_line(text: &str) -> String {
    plain(&text.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// An instant by the wall clock here, to the minute.
#[must_use]
pub fn moment(at: DateTime<Utc>, here: FixedOffset) -> String {
    at.with_timezone(&here).format("%Y-%m-%d %H:%M").to_string()
}

/// When something happened, by the wall clock there, to the minute; a dash where that isn't known.
#[must_use]
pub fn happened(at: Option<DateTime<FixedOffset>>) -> String {
    at.map_or_else(
        || "–".to_owned(),
        |at| at.format("%Y-%m-%d %H:%M").to_string(),
    )
}

/// An instant by the wall clock here, or a dash.
#[must_use]
pub fn moment_or_dash(at: Option<DateTime<Utc>>, here: FixedOffset) -> String {
    at.map_or_else(|| "–".to_owned(), |at| moment(at, here))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_others_wrote_cannot_steer_the_terminal() {
        let sheet = Sheet::new().line("Plover\u{1b}[2J\u{7}").table(
            &["horse"],
            [vec!["\u{1b}]0;x".to_owned()]],
            "none",
        );
        let text = sheet.text(Some(40));
        assert!(!text.chars().any(|one| one.is_control() && one != '\n'));
        assert!(text.contains("Plover"));
    }

    #[test]
    fn a_table_keeps_to_the_terminal() {
        let long = "a long story ".repeat(20);
        let sheet = Sheet::new().table(&["what"], [vec![long]], "none");
        assert!(
            sheet
                .text(Some(40))
                .lines()
                .all(|line| line.chars().count() <= 40)
        );
        assert_eq!(
            Sheet::new().table(&["x"], [], "nothing yet").text(None),
            "nothing yet\n"
        );
    }
}
