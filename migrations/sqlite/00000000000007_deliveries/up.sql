-- The same text runs on SQLite and on PostgreSQL.

-- What somebody wants to be told by e-mail; whoever has no row gets what goes without saying.
CREATE TABLE notice_setting (
    account_id TEXT NOT NULL PRIMARY KEY REFERENCES account (id),
    email TEXT NOT NULL
);

-- Addresses of programs that are told of an account's notices. The secret that signs for them is in no table: the server's
-- keys make it from the seed.
CREATE TABLE webhook (
    id TEXT NOT NULL PRIMARY KEY,
    account_id TEXT NOT NULL REFERENCES account (id),
    url TEXT NOT NULL,
    seed BYTEA NOT NULL,
    -- The seed before the last rotation, which signs too for a while after it.
    seed_before BYTEA,
    created_at TIMESTAMP NOT NULL,
    rotated_at TIMESTAMP,
    ended_at TIMESTAMP,
    ended_why TEXT
);
CREATE INDEX webhook_by_account ON webhook (account_id);

-- What is to be sent, by e-mail (no webhook) or to a webhook: written together with the notice, so that none is lost.
CREATE TABLE delivery (
    id TEXT NOT NULL PRIMARY KEY,
    account_id TEXT NOT NULL REFERENCES account (id),
    notice_id TEXT NOT NULL,
    -- The state of the notice that it tells of.
    version BIGINT NOT NULL,
    webhook_id TEXT REFERENCES webhook (id),
    created_at TIMESTAMP NOT NULL,
    -- How often somebody took it in hand. Whoever does has it until next_at; a later one knows by the number that it is theirs.
    attempts BIGINT NOT NULL,
    -- When it may be taken in hand; null once it has ended.
    next_at TIMESTAMP,
    ended_at TIMESTAMP,
    outcome TEXT,
    error TEXT
);
CREATE INDEX delivery_due ON delivery (next_at) WHERE next_at IS NOT NULL;
CREATE INDEX delivery_ended ON delivery (ended_at) WHERE ended_at IS NOT NULL;
CREATE INDEX delivery_by_notice ON delivery (notice_id);
