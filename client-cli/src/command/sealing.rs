//! What is kept back when a history is handed on: the flags that `whorl export` and `whorl share` have in common.

use chrono::NaiveDate;
use whorl_care::kind::Kind;
use whorl_care::sentence::words;
use whorl_contract::bundle::Seal;

use super::history::kind;

/// What is kept back.
#[derive(Debug, clap::Args)]
pub struct Sealing {
    /// Keep back what entries of this kind say, such as `lameness_exam`; may be given several times
    #[arg(long = "seal", value_name = "KIND", value_delimiter = ',', value_parser = kind)]
    kinds: Vec<Kind>,
    /// Keep back what entries say of the time before this day
    #[arg(long = "seal-before", value_name = "DATE")]
    before: Option<NaiveDate>,
    /// Keep back what entries say of the time after this day
    #[arg(long = "seal-after", value_name = "DATE")]
    after: Option<NaiveDate>,
    /// Keep back their kind, day and author as well, so that only their place in the log can be known
    #[arg(long)]
    leaf_only: bool,
}

impl Sealing {
    /// As the server takes it.
    pub(super) fn seal(self) -> Seal {
        Seal {
            kinds: self.kinds,
            before: self.before,
            after: self.after,
            leaf_only: self.leaf_only,
        }
    }
}

/// What a seal keeps back, in words.
pub(super) fn told(seal: &Seal) -> String {
    if seal.is_nothing() {
        return "nothing".to_owned();
    }
    let kinds = seal.kinds.iter().map(|kind| words(kind.code()));
    let before = seal.before.map(|day| format!("before {day}"));
    let after = seal.after.map(|day| format!("after {day}"));
    let mut said: Vec<String> = kinds.chain(before).chain(after).collect();
    if seal.leaf_only {
        said.push("their kind, day and author too".to_owned());
    }
    said.join(", ")
}
