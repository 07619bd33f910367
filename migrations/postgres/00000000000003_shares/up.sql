-- A link by which a horse's history can be read without an account. The token itself is not kept, only its hash.
CREATE TABLE share (
    horse_id TEXT NOT NULL REFERENCES horse (id),
    id TEXT NOT NULL,
    token_hash BYTEA NOT NULL UNIQUE,
    made_by TEXT NOT NULL REFERENCES account (id),
    label TEXT,
    -- What is kept back: codes of kinds with commas between them, days, and whether all but the leaf is.
    sealed_kinds TEXT NOT NULL,
    sealed_before DATE,
    sealed_after DATE,
    leaf_only BOOLEAN NOT NULL,
    created_at TIMESTAMP NOT NULL,
    expires_at TIMESTAMP NOT NULL,
    revoked_at TIMESTAMP,
    views BIGINT NOT NULL,
    last_seen_at TIMESTAMP,
    PRIMARY KEY (horse_id, id)
);
