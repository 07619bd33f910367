//! Ways to get it wrong. The simulator is worth something only if it notices each of them.

/// What a broken server or client does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fault {
    /// The server answers before what it took is durable.
    AnswersBeforeItCommits,
    /// The server takes an event again that it has already.
    KnowsNoRepetition,
    /// The server gives out a place before it looks whether it has the event: a repetition leaves a gap.
    CountsBeforeItLooks,
    /// The server tells events apart by their id alone.
    TakesAnyBodyForAKnownId,
    /// The server decides by the grants that were there when the request was sent.
    LooksAtGrantsOutsideTheLock,
    /// The server says that it took what it only holds for the owner.
    AcknowledgesWhatItHolds,
    /// The server comes back from a backup as if nothing had happened.
    HidesThatItWasRestored,
    /// The server gives a log in the order of the devices' clocks.
    OrdersByTime,
    /// The server skips the first entry of every page but the first.
    SkipsAtThePageBreak,
    /// The server shows entries to whom it names no such horse.
    ShowsWhatIsNotTheirs,
    /// The server writes anew what it was sent, without the fields that it doesn't know.
    DropsUnknownFields,
    /// The server answers with where the logs stood some time ago.
    ReadsFromALaggingCopy,
    /// The client drops what the server refused.
    DropsWhatIsRefused,
    /// The client drops what it has sent, whatever the answer.
    DropsWhatWasSent,
    /// The client takes each life of the server's ledger for the one that it knows.
    OverlooksTheEpoch,
    /// The client clears its outbox of a horse that went out of sight.
    DropsWhatWaitsWithTheHorse,
    /// The client keeps what it was sent without checking the chain.
    BelievesWhatItIsSent,
    /// The client keeps the copy of a horse that went out of sight.
    KeepsWhatWentOutOfSight,
}
