ALTER TABLE log DROP COLUMN open_kinds;
