-- Of an entry that came with its leaf alone: the kinds that this account could see as it came, so that it is of none of
-- them. Null where the server didn't say: then it may be anything.
ALTER TABLE log ADD COLUMN open_kinds TEXT;
