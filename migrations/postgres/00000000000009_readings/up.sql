-- Who read a horse's record without being its owner: one row for each reader, kind of reading and day, so that it grows with
-- readers and days and not with requests.
CREATE TABLE reading (
    horse_id TEXT NOT NULL REFERENCES horse (id),
    -- By UTC.
    day DATE NOT NULL,
    -- An account, a link to a history or a calendar, and its id.
    reader TEXT NOT NULL,
    reader_id TEXT NOT NULL,
    way TEXT NOT NULL,
    first_at TIMESTAMP NOT NULL,
    last_at TIMESTAMP NOT NULL,
    times BIGINT NOT NULL,
    PRIMARY KEY (horse_id, day, reader, reader_id, way)
);
CREATE INDEX reading_by_day ON reading (day);
CREATE INDEX reading_by_reader ON reading (reader_id, day);
