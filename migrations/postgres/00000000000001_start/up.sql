-- The same text runs on SQLite and on PostgreSQL. Ids are lower-case UUID text, instants are UTC, hashes are raw bytes.

-- One row: which ledger this is.
CREATE TABLE ledger (
    id INTEGER NOT NULL PRIMARY KEY CHECK (id = 1),
    server_id TEXT NOT NULL,
    epoch TEXT NOT NULL,
    origin TEXT NOT NULL
);

-- Every life of the ledger: another epoch begins after a restore or a promoted standby.
CREATE TABLE ledger_epoch (
    epoch TEXT NOT NULL PRIMARY KEY,
    began_at TIMESTAMP NOT NULL,
    reason TEXT NOT NULL
);

CREATE TABLE account (
    id TEXT NOT NULL PRIMARY KEY,
    email TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    password_hash TEXT NOT NULL,
    operator BOOLEAN NOT NULL,
    created_at TIMESTAMP NOT NULL,
    disabled_at TIMESTAMP
);

CREATE TABLE device (
    id TEXT NOT NULL PRIMARY KEY,
    account_id TEXT NOT NULL REFERENCES account (id),
    name TEXT NOT NULL,
    public_key BYTEA NOT NULL UNIQUE,
    created_at TIMESTAMP NOT NULL,
    revoked_at TIMESTAMP
);
CREATE INDEX device_by_account ON device (account_id);

-- The refresh token itself is never stored: its generation and a random seed are, from which the server's secret makes it.
CREATE TABLE session (
    id TEXT NOT NULL PRIMARY KEY,
    account_id TEXT NOT NULL REFERENCES account (id),
    device_id TEXT REFERENCES device (id),
    created_at TIMESTAMP NOT NULL,
    authenticated_at TIMESTAMP NOT NULL,
    last_used_at TIMESTAMP NOT NULL,
    ends_at TIMESTAMP NOT NULL,
    generation BIGINT NOT NULL,
    seed BYTEA NOT NULL,
    ended_at TIMESTAMP,
    ended_why TEXT
);
CREATE INDEX session_by_account ON session (account_id);

-- Failed sign-ins, by account and by network, shared by all replicas and kept over restarts.
CREATE TABLE throttle (
    key TEXT NOT NULL PRIMARY KEY,
    failures BIGINT NOT NULL,
    last_failed_at TIMESTAMP NOT NULL
);

CREATE TABLE barn (
    id TEXT NOT NULL PRIMARY KEY,
    owner_id TEXT NOT NULL REFERENCES account (id),
    name TEXT NOT NULL,
    time_zone TEXT NOT NULL,
    region TEXT,
    created_at TIMESTAMP NOT NULL
);
CREATE INDEX barn_by_owner ON barn (owner_id);

-- Narrow on purpose: this row is the lock of the horse's log and holds its head.
CREATE TABLE horse (
    id TEXT NOT NULL PRIMARY KEY,
    barn_id TEXT NOT NULL REFERENCES barn (id),
    owner_id TEXT NOT NULL REFERENCES account (id),
    head_seq BIGINT NOT NULL,
    head BYTEA NOT NULL,
    created_at TIMESTAMP NOT NULL
);
CREATE INDEX horse_by_barn ON horse (barn_id);
CREATE INDEX horse_by_owner ON horse (owner_id);

-- Whose a horse was and where it stood, from when: a row for each change. What came in late is judged by it.
CREATE TABLE tenure (
    horse_id TEXT NOT NULL REFERENCES horse (id),
    from_at TIMESTAMP NOT NULL,
    owner_id TEXT NOT NULL REFERENCES account (id),
    barn_id TEXT NOT NULL REFERENCES barn (id),
    PRIMARY KEY (horse_id, from_at)
);

-- The log. Append only; content and salt are dropped only by erasure, and the chain still verifies.
CREATE TABLE event (
    horse_id TEXT NOT NULL REFERENCES horse (id),
    seq BIGINT NOT NULL,
    id TEXT NOT NULL,
    kind TEXT NOT NULL,
    performed_at TIMESTAMP NOT NULL,
    author_id TEXT NOT NULL,
    device_id TEXT NOT NULL,
    target_id TEXT,
    received_at TIMESTAMP NOT NULL,
    envelope TEXT NOT NULL,
    content TEXT,
    salt BYTEA,
    signature BYTEA NOT NULL,
    head BYTEA NOT NULL,
    -- Whether it decides how later events are judged: identity, care plans, amendments, retractions.
    shapes BOOLEAN NOT NULL,
    PRIMARY KEY (horse_id, seq)
);
CREATE UNIQUE INDEX event_by_id ON event (id);
CREATE INDEX event_by_day ON event (horse_id, performed_at, seq);
CREATE INDEX event_that_shapes ON event (horse_id, seq) WHERE shapes;
CREATE INDEX event_by_target ON event (target_id) WHERE target_id IS NOT NULL;

-- Recorded under a grant that had ended when they came; an owner decides.
CREATE TABLE held_event (
    id TEXT NOT NULL PRIMARY KEY,
    horse_id TEXT NOT NULL REFERENCES horse (id),
    author_id TEXT NOT NULL REFERENCES account (id),
    reason TEXT NOT NULL,
    received_at TIMESTAMP NOT NULL,
    envelope TEXT NOT NULL,
    content TEXT NOT NULL,
    salt BYTEA NOT NULL,
    signature BYTEA NOT NULL,
    accepted BOOLEAN,
    decided_by TEXT REFERENCES account (id),
    decided_at TIMESTAMP
);
CREATE INDEX held_event_by_horse ON held_event (horse_id);

CREATE TABLE access_grant (
    id TEXT NOT NULL PRIMARY KEY,
    account_id TEXT NOT NULL REFERENCES account (id),
    role TEXT NOT NULL,
    horse_id TEXT REFERENCES horse (id),
    barn_id TEXT REFERENCES barn (id),
    from_at TIMESTAMP NOT NULL,
    until_at TIMESTAMP,
    kinds TEXT,
    granted_by TEXT NOT NULL REFERENCES account (id),
    created_at TIMESTAMP NOT NULL,
    revoked_at TIMESTAMP,
    revoked_by TEXT REFERENCES account (id),
    CHECK ((horse_id IS NULL) <> (barn_id IS NULL))
);
CREATE INDEX access_grant_by_account ON access_grant (account_id);
CREATE INDEX access_grant_by_horse ON access_grant (horse_id);
CREATE INDEX access_grant_by_barn ON access_grant (barn_id);

-- A horse that a barn's grant covers no more, by the word of the horse's owner.
CREATE TABLE grant_exemption (
    grant_id TEXT NOT NULL REFERENCES access_grant (id),
    horse_id TEXT NOT NULL REFERENCES horse (id),
    from_at TIMESTAMP NOT NULL,
    made_by TEXT NOT NULL REFERENCES account (id),
    PRIMARY KEY (horse_id, grant_id)
);

-- What somebody may still read of a horse that was theirs.
CREATE TABLE sight (
    account_id TEXT NOT NULL REFERENCES account (id),
    horse_id TEXT NOT NULL REFERENCES horse (id),
    until_seq BIGINT NOT NULL,
    PRIMARY KEY (account_id, horse_id)
);

CREATE TABLE invitation (
    id TEXT NOT NULL PRIMARY KEY,
    code_hash BYTEA NOT NULL UNIQUE,
    role TEXT NOT NULL,
    horse_id TEXT REFERENCES horse (id),
    barn_id TEXT REFERENCES barn (id),
    from_at TIMESTAMP NOT NULL,
    until_at TIMESTAMP,
    kinds TEXT,
    created_by TEXT NOT NULL REFERENCES account (id),
    created_at TIMESTAMP NOT NULL,
    expires_at TIMESTAMP NOT NULL,
    accepted_by TEXT REFERENCES account (id),
    accepted_at TIMESTAMP,
    withdrawn_at TIMESTAMP,
    CHECK ((horse_id IS NULL) <> (barn_id IS NULL))
);
CREATE INDEX invitation_by_creator ON invitation (created_by);
CREATE INDEX invitation_by_horse ON invitation (horse_id);

CREATE TABLE licence (
    id TEXT NOT NULL PRIMARY KEY,
    account_id TEXT NOT NULL REFERENCES account (id),
    role TEXT NOT NULL,
    number TEXT NOT NULL,
    jurisdiction TEXT NOT NULL,
    valid_until DATE,
    created_at TIMESTAMP NOT NULL,
    seen_by TEXT REFERENCES account (id),
    seen_at TIMESTAMP,
    withdrawn_at TIMESTAMP
);
CREATE INDEX licence_by_account ON licence (account_id);

-- Offered to an address, whether or not it has an account: the offer must not tell.
CREATE TABLE transfer (
    id TEXT NOT NULL PRIMARY KEY,
    horse_id TEXT NOT NULL REFERENCES horse (id),
    from_account TEXT NOT NULL REFERENCES account (id),
    to_email TEXT NOT NULL,
    state TEXT NOT NULL,
    offered_at TIMESTAMP NOT NULL,
    expires_at TIMESTAMP NOT NULL,
    decided_at TIMESTAMP,
    at_seq BIGINT
);
CREATE INDEX transfer_by_horse ON transfer (horse_id);
CREATE INDEX transfer_by_seller ON transfer (from_account);
CREATE INDEX transfer_by_buyer ON transfer (to_email);

CREATE TABLE attachment (
    horse_id TEXT NOT NULL REFERENCES horse (id),
    sha256 TEXT NOT NULL,
    media_type TEXT NOT NULL,
    bytes BIGINT NOT NULL,
    uploaded_by TEXT NOT NULL REFERENCES account (id),
    created_at TIMESTAMP NOT NULL,
    body BYTEA NOT NULL,
    PRIMARY KEY (horse_id, sha256)
);
