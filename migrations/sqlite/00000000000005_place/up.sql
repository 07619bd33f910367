-- Where the record was last served from: which PostgreSQL and which of its timelines, or the how manieth start of a server on
-- the SQLite file. When it comes back somewhere else, another epoch begins. Null until the first start in a new place.
ALTER TABLE ledger ADD COLUMN place TEXT;
