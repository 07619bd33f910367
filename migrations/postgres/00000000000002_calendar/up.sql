-- Secret addresses of calendars: what is due in one barn, or what an account may do anywhere. The address itself is never
-- stored, only its hash.
CREATE TABLE calendar (
    id TEXT NOT NULL PRIMARY KEY,
    account_id TEXT NOT NULL REFERENCES account (id),
    barn_id TEXT REFERENCES barn (id),
    token_hash BYTEA NOT NULL UNIQUE,
    created_at TIMESTAMP NOT NULL,
    revoked_at TIMESTAMP
);
CREATE INDEX calendar_by_account ON calendar (account_id);
