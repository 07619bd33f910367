-- The client's own database: what this device recorded, and its copy of the logs that it may see.
-- Times are RFC 3339 texts, ids hyphenated lower-case texts, hashes and signatures base64url as on the wire.

CREATE TABLE setting (
    name TEXT PRIMARY KEY NOT NULL,
    value TEXT NOT NULL
);

-- Signed events that the server has not taken yet, or that have not come back in a log yet. Exact bytes.
CREATE TABLE outbox (
    position INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    event_id TEXT NOT NULL UNIQUE,
    horse_id TEXT NOT NULL,
    kind TEXT NOT NULL,
    envelope TEXT NOT NULL,
    content TEXT NOT NULL,
    salt TEXT NOT NULL,
    signature TEXT NOT NULL,
    -- By its leaf an entry of a log is known for this event, even where all else of it is sealed.
    leaf TEXT NOT NULL UNIQUE,
    -- Somebody else's or an older event, pushed back because the server lost it.
    returned BOOLEAN NOT NULL DEFAULT FALSE,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'held', 'refused', 'acknowledged')),
    problem TEXT,
    queued_at TEXT NOT NULL,
    answered_at TEXT,
    answered_epoch TEXT
);
CREATE INDEX outbox_horse ON outbox (horse_id);

-- Horses added offline: opened on the server before their events go there.
CREATE TABLE new_horse (
    horse_id TEXT PRIMARY KEY NOT NULL,
    barn_id TEXT NOT NULL,
    problem TEXT,
    queued_at TEXT NOT NULL
);

-- The copy of each horse's log, as pulled and verified. What is sealed is null.
CREATE TABLE log (
    horse_id TEXT NOT NULL,
    seq BIGINT NOT NULL CHECK (seq > 0),
    event_id TEXT,
    kind TEXT,
    received_at TEXT NOT NULL,
    envelope TEXT,
    content TEXT,
    salt TEXT,
    signature TEXT,
    leaf TEXT NOT NULL,
    head TEXT NOT NULL,
    PRIMARY KEY (horse_id, seq)
);
CREATE INDEX log_event ON log (event_id);

-- Entries that the server once had and no longer has, or has otherwise: kept, never overwritten.
CREATE TABLE kept (
    position INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    kept_at TEXT NOT NULL,
    epoch TEXT,
    horse_id TEXT NOT NULL,
    seq BIGINT NOT NULL,
    event_id TEXT,
    kind TEXT,
    received_at TEXT NOT NULL,
    envelope TEXT,
    content TEXT,
    salt TEXT,
    signature TEXT,
    leaf TEXT NOT NULL,
    head TEXT NOT NULL
);

-- The devices that signed what we hold; the first key seen for a device is the one that counts.
CREATE TABLE signer (
    device_id TEXT PRIMARY KEY NOT NULL,
    public_key TEXT NOT NULL,
    account_id TEXT NOT NULL,
    name TEXT NOT NULL,
    first_seen_at TEXT NOT NULL
);

-- Horses and barns as the server last described them (or as they were added here).
CREATE TABLE horse (
    horse_id TEXT PRIMARY KEY NOT NULL,
    name TEXT,
    body TEXT,
    locked_at TEXT,
    -- Unknown to the server since it began anew: hidden, but its copy is kept until the horse is there again.
    set_aside BOOLEAN NOT NULL DEFAULT FALSE
);
CREATE TABLE barn (
    barn_id TEXT PRIMARY KEY NOT NULL,
    body TEXT NOT NULL
);

-- Heads that the server signed: what it once said a log was, it can't unsay.
CREATE TABLE signed_head (
    horse_id TEXT NOT NULL,
    seq BIGINT NOT NULL,
    head TEXT NOT NULL,
    epoch TEXT NOT NULL,
    note TEXT NOT NULL,
    PRIMARY KEY (horse_id, seq, head)
);

-- Photos and documents that wait for their way to the server; their bytes are files beside this database.
CREATE TABLE upload (
    horse_id TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    media_type TEXT NOT NULL,
    problem TEXT,
    done BOOLEAN NOT NULL DEFAULT FALSE,
    PRIMARY KEY (horse_id, sha256)
);
