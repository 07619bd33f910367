-- The same text runs on SQLite and on PostgreSQL.

-- Who must know of which entry: a row for each person, written in the transaction that appends to the log. It holds no word
-- of what was found: that is read from the log, by whoever may see it when they look.
CREATE TABLE notice (
    horse_id TEXT NOT NULL REFERENCES horse (id),
    event_id TEXT NOT NULL,
    account_id TEXT NOT NULL REFERENCES account (id),
    -- Whether it is about a record that is held; one that enters later may get a notice of its own.
    held BOOLEAN NOT NULL,
    id TEXT NOT NULL,
    kind TEXT NOT NULL,
    seq BIGINT NOT NULL,
    topic TEXT NOT NULL,
    state TEXT NOT NULL,
    -- Rises with each change of its state.
    version BIGINT NOT NULL,
    raised_at TIMESTAMP NOT NULL,
    changed_at TIMESTAMP NOT NULL,
    read_at TIMESTAMP,
    PRIMARY KEY (horse_id, event_id, account_id, held)
);
CREATE INDEX notice_by_account ON notice (account_id, changed_at, id);
CREATE INDEX notice_unread ON notice (account_id, changed_at, id) WHERE read_at IS NULL;
