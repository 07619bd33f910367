-- The same text runs on SQLite and on PostgreSQL.

-- Which places of a log name which lot, by its letters and digits in capitals. It only says where to look: the log decides
-- what was given. A row for each event that names one, amendments too; append only, as the log is.
CREATE TABLE lot (
    horse_id TEXT NOT NULL REFERENCES horse (id),
    seq BIGINT NOT NULL,
    lot_key TEXT NOT NULL,
    PRIMARY KEY (horse_id, seq)
);
CREATE INDEX lot_by_key ON lot (lot_key, horse_id);

-- What is computed from the log and kept beside it, once it has caught up with what was there before it.
CREATE TABLE projection (
    name TEXT NOT NULL PRIMARY KEY,
    caught_up_at TIMESTAMP NOT NULL
);
