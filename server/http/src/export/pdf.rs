//! A horse's history on paper: A4, tagged for screen readers, the same bytes for the same input.
//!
//! The document shows what the log says and proves nothing by itself; it says so, and how to check the record.

mod draw;
mod font;
mod layout;
mod qr;
mod tell;
#[cfg(test)]
mod tests;

use chrono::NaiveDate;
use whorl_care::horse::Horse as Profile;
use whorl_care::ids::HorseId;
use whorl_contract::history::HistoryEntry;
use whorl_contract::key::Hash;

use crate::problem::Problem;

/// What a document is made of.
#[derive(Clone, Debug)]
pub(crate) struct Document<'a> {
    /// The horse.
    pub(crate) horse_id: HorseId,
    /// Who it is, as the reader may know it.
    pub(crate) profile: &'a Profile,
    /// Its entries in the order they are printed, amended and withdrawn ones among them.
    pub(crate) entries: &'a [HistoryEntry],
    /// What is left out, in words, a sentence each.
    pub(crate) withheld: &'a [String],
    /// How many events the log had, and its head then.
    pub(crate) head: (i64, Hash),
    /// The server that holds the record, by the name in its signatures.
    pub(crate) server: &'a str,
    /// The day it is made.
    pub(crate) on: NaiveDate,
    /// Where the history can be read, if it is shared.
    pub(crate) link: Option<&'a str>,
}

/// The document as a PDF file.
///
/// # Errors
///
/// A failure of ours if it can't be written.
pub(crate) fn write(document: &Document<'_>) -> Result<Vec<u8>, Problem> {
    let fonts = font::Fonts::load().map_err(Problem::internal)?;
    let blocks = tell::blocks(document);
    let laid = layout::lay(&blocks, &tell::foot(document), &fonts);
    draw::draw(&laid, &tell::title(document), document.on, &fonts).map_err(Problem::internal)
}
