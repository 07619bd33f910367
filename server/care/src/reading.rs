//! Who read a horse's record, and what of it: the words for it, which the store, the server and the client share.

use crate::kind::codes;

codes! {
    /// By what somebody read.
    Reader {
        /// Signed in to an account.
        Account = "account",
        /// By a link to a history, without an account.
        Share = "share",
        /// A calendar program, by a calendar's address.
        Calendar = "calendar",
    }
}

codes! {
    /// What was read.
    Way {
        /// Who the horse is: its page, or its line in a list.
        Profile = "profile",
        /// Its history, or a page of it.
        History = "history",
        /// Its history as a table for a spreadsheet.
        Table = "table",
        /// Its history as a document to print.
        Document = "document",
        /// Its history in one signed file.
        Bundle = "bundle",
        /// Its log, copied to a device.
        Sync = "sync",
        /// Its log, as it is signed and chained.
        Log = "log",
        /// A photo or document.
        File = "file",
        /// What is due, or a plan of visits.
        Due = "due",
        /// Whether it may enter a show or country.
        Entry = "entry",
        /// That it had a lot that is recalled.
        Recall = "recall",
        /// Its part in a barn's fevers, diseases and egg counts.
        Health = "health",
        /// The report of an adverse reaction.
        Reaction = "reaction",
        /// A notice of an entry.
        Notice = "notice",
    }
}

impl Way {
    /// What was read, in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Profile => "who it is",
            Self::History => "its history",
            Self::Table => "its history, as a table",
            Self::Document => "its history, to print",
            Self::Bundle => "its history, in one signed file",
            Self::Sync => "its log, copied to a device",
            Self::Log => "its signed log",
            Self::File => "a photo or document",
            Self::Due => "what is due",
            Self::Entry => "whether it may enter",
            Self::Recall => "a lot that it had",
            Self::Health => "its part in the barn's health",
            Self::Reaction => "the report of a reaction",
            Self::Notice => "a notice",
        }
    }
}
